//! The limits that health judges by: value, unit, reason, source, sensitivity.
//!
//! A number that is a judgement stands here and nowhere else.

/// Road speed above which the car counts as moving, m/s: 5 km/h.
///
/// Reason: many wheel-speed signals read 0 below two to three km/h. Source: none,
/// engineering guess. Sensitivity: moving time only.
pub const MOVING_FROM: f64 = 5.0 / 3.6;

/// Slip above which the pack counts as slipping, rad/s.
///
/// Reason: parts slow creep from working slip. Source: none, engineering guess.
/// Sensitivity: sorts regions and partial time only; heat is never cut here, since a
/// tenth and more of an ordinary drive's heat lies below it.
pub const WORKING_SLIP: f64 = 0.3;

/// Torque of one pack above which slip makes heat worth counting as partial, N·m.
///
/// Source: none, engineering guess. Used with [`TORQUE_FLOOR_PRELOADS`].
pub const TORQUE_FLOOR_NM: f64 = 50.0;

/// The same as a multiple of the preload. Source: none, engineering guess.
pub const TORQUE_FLOOR_PRELOADS: f64 = 1.5;

/// Command above which slip counts as heat-making when torque is unknown.
///
/// Source: none, engineering guess.
pub const COMMAND_FLOOR: f64 = 0.10;

/// Command from which nearly all is asked for (region R5).
///
/// Source: none, engineering guess.
pub const ASKED_FOR_ALL: f64 = 0.8;

/// Time the pack is given to hold after the mechanism has settled, s (region R5).
///
/// Source: none, engineering guess.
pub const HOLD_WITHIN_S: f64 = 1.0;

/// Share by which slip must have fallen by then (region R5).
///
/// Source: none, engineering guess.
pub const HOLD_FALL: f64 = 0.30;

/// Openness below which an open pack counts as holding (region R6).
///
/// Source: none, engineering guess.
pub const HOLDING_OPENNESS: f64 = 0.5;

/// How long it must do so in a bend, s (region R6).
///
/// Source: none, engineering guess.
pub const HOLDING_FOR_S: f64 = 2.0;

/// Axle speed difference, asked by a bend or seen before a command, from which there is
/// something to hold, rad/s. Source: none, engineering guess.
pub const OPPORTUNITY: f64 = 1.0;

/// How long before a command a difference still counts as seen before it, s.
///
/// Source: none, engineering guess.
pub const OPPORTUNITY_BEFORE_S: f64 = 0.5;

/// Bend radius below which heading change counts as turning, m.
///
/// Source: none, engineering guess. Sensitivity: `turn_total` only.
pub const BEND_RADIUS_M: f64 = 150.0;

/// Of the slip a bend asks for, tyre compliance may eat a tenth: bends count where
/// track/radius is at least this many times bias/(stiffness·radius of the tyre).
///
/// Source: none, engineering guess.
pub const COMPLIANCE_MARGIN: f64 = 10.0;

/// Excess slip that starts an event without command, at the axle, rad/s.
///
/// Source: none, engineering guess.
pub const SLIP_EVENT_FROM: f64 = 1.5;

/// Excess slip below which it ends, rad/s. Source: none, engineering guess.
pub const SLIP_EVENT_BELOW: f64 = 0.75;

/// How far the torque of a command runs ahead of that of the mechanism: heat summed on
/// the command read 14 to 73 % high on simulated drives. The upper end bounds the band.
///
/// Source: simulation. Sensitivity: the low end of every heat figure by command.
pub const COMMAND_HEAT_EXCESS: f64 = 1.73;

/// Minutes of moving that show a unit: fewer lower the grade of the log in proportion.
///
/// Source: none, engineering guess.
pub const ENOUGH_MOVING_MIN: f64 = 10.0;

/// Factor of a log in which nothing says what the clutch was asked: never better than C.
///
/// Source: none, engineering guess.
pub const UNSEEN_COMMAND: f64 = 0.5;

/// Factor of a log whose wheel speeds dropped out or stood still: never better than B.
///
/// Source: none, engineering guess.
pub const DOUBTED_WHEELS: f64 = 0.8;

/// Median openness in open bends that track, radius, scales and signs of the map may have.
///
/// Reason: freely rolling wheels make 1; preload through the tyres' compliance takes a tenth
/// and a little more. Source: none, engineering guess.
pub const RIGHT_GEOMETRY: std::ops::RangeInclusive<f64> = 0.75..=1.12;

/// Turning in open bends that this needs, deg. Source: none, engineering guess.
pub const GEOMETRY_TURN_DEG: f64 = 180.0;

/// Factor of figures that rest on a geometry found wrong: D.
///
/// Source: none, engineering guess.
pub const WRONG_GEOMETRY: f64 = 0.3;

/// Noise floor taken while none has been learned: standard deviation of one slip sample,
/// rad/s. Source: none, engineering guess; about 0.05 km/h of noise per wheel.
pub const USUAL_SLIP_SD: f64 = 0.03;

/// A stretch at the start or the end of a log in which a channel is not there counts as
/// hidden from this length on, s. Source: none, engineering guess.
pub const UNCOVERED_FROM_S: f64 = 0.5;

/// Excess slip this soon before or after a command belongs to it, s, unless it lasts
/// longer than [`OWN_SLIP_EVENT_S`]. Source: none, engineering guess.
pub const FRINGE_S: f64 = 0.3;

/// See [`FRINGE_S`], s. Source: none, engineering guess.
pub const OWN_SLIP_EVENT_S: f64 = 1.0;

/// Relative standard deviation of a rolling radius the map states without tolerance, and
/// of a road speed. Source: none, engineering guess (tread, load, pressure).
pub const USUAL_RADIUS_SD: f64 = 0.02;

/// Relative standard deviation of the scale of a yaw-rate sensor.
///
/// Source: none, engineering guess.
pub const YAW_SCALE_SD: f64 = 0.02;

/// Standard deviation of an oil temperature sensor, K. Source: none, engineering guess.
pub const OIL_SENSOR_SD_K: f64 = 2.0;

/// Half width of the 90 % interval of a normal distribution, in standard deviations.
/// Source: any table of the normal distribution.
pub const SDS_OF_90: f64 = 1.645;

/// Engagements needed before a log can speak of the clutch at all.
///
/// Source: none, engineering guess.
pub const ENOUGH_EVENTS: u64 = 5;

/// Tyre mismatch worth a note, as a share of the rolling speed: 0.5 %.
///
/// Reason: two tyres of one make and size, one half worn, differ by about that. Source:
/// none, engineering guess. Sensitivity: at 100 N·m and a radius of 0.32 m it costs
/// 0.8 kJ/km (derived: T·ε·1000/(2r)).
pub const MISMATCH_NOTE: f64 = 0.005;

/// Tyre mismatch to act on: 1 %. Source: none, engineering guess. Sensitivity: 1.6 kJ/km
/// at 100 N·m and 0.32 m (derived).
pub const MISMATCH_ACT: f64 = 0.010;

/// Standard deviation of the tyre ratio above which nothing is said of the tyres: 0.15 %.
///
/// Source: none, engineering guess: three of them stay below [`MISMATCH_NOTE`].
pub const MISMATCH_SD: f64 = 0.0015;

/// Change of the tyre ratio within two kilometres that means lost pressure: 0.3 %.
///
/// Reason: tyres that warm up change by less than 0.2 %. Source: none, engineering guess.
/// Sensitivity: about a fifth of the pressure of one tyre (from memory).
pub const PRESSURE_STEP: f64 = 0.003;

/// Slope of the tyre ratio that means losing pressure, per km: 0.05 %. Its 90 % interval
/// must lie above. Source: none, engineering guess.
pub const PRESSURE_SLOPE_PER_KM: f64 = 0.0005;

/// Share of straight running spent in heat-making partial engagement that is too much.
///
/// Source: none, engineering guess. Sensitivity: a healthy simulated drive shows less than
/// a hundredth.
pub const STRAIGHT_PARTIAL_SHARE: f64 = 0.10;

/// Road speed from which straight running is looked at, m/s: 50 km/h. Source: none,
/// engineering guess; below it launches and junctions rule.
pub const STRAIGHT_FROM: f64 = 50.0 / 3.6;

/// Axle speed difference asked by a bend below which the road counts as straight, rad/s.
///
/// Reason: the pack of a straight road then slips by less than half of [`WORKING_SLIP`].
/// Source: derived.
pub const STRAIGHT_DIFFERENCE: f64 = 0.3;

/// The same as curvature, 1/m: a radius of 500 m. Source: none, engineering guess.
pub const STRAIGHT_CURVATURE: f64 = 1.0 / 500.0;

/// Straight running needed to judge it, s. Source: none, engineering guess.
pub const STRAIGHT_LEAST_S: f64 = 60.0;

/// Heat-making stretches on the straight needed, unless one lasts
/// [`STRAIGHT_SUSTAINED_S`]. Source: none, engineering guess: once is chance.
pub const OCCURRENCES: usize = 3;

/// See [`OCCURRENCES`], s. Source: none, engineering guess.
pub const STRAIGHT_SUSTAINED_S: f64 = 5.0;

/// Oil temperature to warn at where the map states none, °C.
///
/// Source: from memory, an editable value of the map. Sensitivity: the finding and its
/// severity follow it degree by degree.
pub const OIL_WARN_C: f64 = 130.0;

/// Oil temperature never to pass where the map states none, °C. Source: from memory, an
/// editable value of the map.
pub const OIL_LIMIT_C: f64 = 150.0;

/// How long the oil must stay above, s. Source: none, engineering guess: parts heat from
/// a spike of the sensor.
pub const OIL_ABOVE_S: f64 = 10.0;

/// Silence of the oil temperature that ends a stretch, s, or three of the channel's own
/// periods where that is longer. Source: none, engineering guess: oil moves slowly.
pub const OIL_REACH_S: f64 = 5.0;

/// Fastest believable change of the oil temperature, K/s. Source: none, engineering
/// guess: 9 kW into a litre of oil alone. A change below [`OIL_JUMP_K`] is never a jump.
pub const OIL_SLEW_K_PER_S: f64 = 5.0;

/// See [`OIL_SLEW_K_PER_S`], K.
pub const OIL_JUMP_K: f64 = 10.0;

/// Energy of one event per net lining area that may hurt, J/mm² (paper).
///
/// Source: from memory, 0.5 to 1 J/mm² for paper; carbon bears 1.5 to 2 times as much.
/// Sensitivity: the torque's tolerance passes on in full.
pub const HIT_ENERGY_J_PER_MM2: f64 = 1.0;

/// Power per net lining area that may hurt when it lasts [`HIT_POWER_S`], W/mm². Source: from
/// memory, brief peaks of 1 to 2 W/mm² for paper.
pub const HIT_POWER_W_PER_MM2: f64 = 1.5;

/// See [`HIT_POWER_W_PER_MM2`], s. Source: none, engineering guess.
pub const HIT_POWER_S: f64 = 0.3;

/// Excess of the axle speed difference that makes a launch, rad/s: some 11 km/h between
/// the wheels. Source: none, engineering guess.
pub const LAUNCH_EXCESS: f64 = 10.0;

/// How long it must last to be a launch, s: a wheel that slips for less while pulling out
/// over a wet line makes little heat. Source: none, engineering guess. Sensitivity: pulling
/// out over twelve slippery metres in a simulated drive spins a wheel for 0.8 s.
pub const LAUNCH_LEAST_S: f64 = 1.0;

/// Road speed below which it is a launch, m/s: 20 km/h. Source: none, engineering guess.
pub const LAUNCH_BELOW: f64 = 20.0 / 3.6;

/// Launches within [`LAUNCH_WINDOW_S`] that make the finding. Source: none, engineering
/// guess. Sensitivity: the count itself.
pub const LAUNCHES: usize = 3;

/// See [`LAUNCHES`], s. Source: none, engineering guess: half a time constant of a
/// standing housing.
pub const LAUNCH_WINDOW_S: f64 = 600.0;

/// Quiet time that parts two launches, s; and the time within which a launch must have
/// moved the car, or it was a wheel in the air. Source: none, engineering guess.
pub const LAUNCH_APART_S: f64 = 3.0;

/// Standing time after which the oil and the housing are of one temperature, s.
///
/// Source: derived from the guessed heat capacities: pack and oil settle within some 20 s.
pub const COOLING_SETTLES_S: f64 = 60.0;

/// Cooling needed to fit its time constant, s. Source: none, engineering guess.
pub const COOLING_LEAST_S: f64 = 300.0;

/// How much warmer than the air the oil must be at the end of it, K, and by how much it
/// must fall, K. Source: none, engineering guess: a step of 1 K is then a small part.
pub const COOLING_LEAST_K: (f64, f64) = (20.0, 2.0);

/// Time constant of a standing axle while no drive of the same car tells it, s: 22 min.
///
/// Source: none, engineering guess: 10.8 kJ/K of oil and housing at 8 W/K. Sensitivity:
/// the finding follows it in proportion.
pub const USUAL_STANDING_TIME_S: f64 = 1350.0;

/// How many times the usual time constant does not cool. Source: none, engineering guess.
pub const COOLING_RATIO: f64 = 1.5;

/// A rear wheel slower than this stands, rad/s: 0.1 km/h at the tyre. Source: none.
pub const WHEEL_STANDS: f64 = 0.1;

/// How long the wheels must disagree with a drive, s. Source: none, engineering guess:
/// longer than any start on ice.
pub const NOT_DRIVING_S: f64 = 10.0;

/// Shortest drive that is given a class of use, km. Source: none, engineering guess.
pub const CLASS_LEAST_KM: f64 = 10.0;

/// Length of a stretch that is given its own class, km. Source: as [`CLASS_LEAST_KM`].
pub const CLASS_STRETCH_KM: f64 = 10.0;

/// Needles known at the least for a class of use, and for one that is a lower bound.
///
/// Source: none, engineering guess: with two, one of them odd decides.
pub const CLASS_LEAST_NEEDLES: (usize, usize) = (3, 2);

/// Upper edges of the levels of use 0 to 4, heat-making partial engagement, s/100 km.
///
/// Reason: each is two to four times the one before, so that a level is a kind of use and
/// not a shade. Source: none, engineering guess, for this and the four below. Sensitivity:
/// a reading on an edge moves the class by one, and then both classes are said.
pub const CLASS_PARTIAL_S: [f64; 5] = [5.0, 20.0, 60.0, 180.0, 600.0];

/// The same by heat, kJ/km. See [`CLASS_PARTIAL_S`].
pub const CLASS_HEAT_KJ: [f64; 5] = [0.3, 1.0, 3.0, 8.0, 25.0];

/// The same by engagements per 100 km. See [`CLASS_PARTIAL_S`].
pub const CLASS_EVENTS: [f64; 5] = [10.0, 40.0, 120.0, 300.0, 800.0];

/// The same by oil temperature passed in 1 % of the time, °C: the oil wears faster with
/// every ten to fifteen kelvin (disputed). See [`CLASS_PARTIAL_S`].
pub const CLASS_OIL_C: [f64; 5] = [80.0, 90.0, 100.0, 115.0, 130.0];

/// The same by peak power per net lining area that one event in a hundred passes, W/mm²;
/// the last is that of a hard hit. See [`CLASS_PARTIAL_S`].
pub const CLASS_POWER_W_PER_MM2: [f64; 5] = [0.05, 0.15, 0.3, 0.7, 1.5];
