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
