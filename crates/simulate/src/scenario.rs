//! One drive to simulate: the car, the road, the driver, the sensors, the faults.
//!
//! In: nothing, or a seed. Out: a [`Scenario`]. The sample drives are in `samples.rs`.

use crate::channels::Rates;
use crate::controller::{Gains, Strategy};
use crate::faults::Faults;
use crate::random::Random;
use crate::road::{Piece, Style};
use crate::vehicle::VehicleTrue;
use halfshaft_model::Layout;

/// What the sensors make of the truth, and what the bus makes of that.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sensors {
    /// Standard deviation of each wheel speed, km/h.
    pub wheel_noise_km_per_h: f64,
    /// Wheel speeds below this read 0, km/h.
    pub wheel_cutout_km_per_h: f64,
    /// Yaw rate shown when the car stands, deg/s.
    pub yaw_bias_deg_per_s: f64,
    /// Standard deviation of the yaw rate, deg/s.
    pub yaw_noise_deg_per_s: f64,
    /// Standard deviation of the position, deg.
    pub position_noise_deg: f64,
    /// The oil sensor wakes this long after the bus, s.
    pub oil_wakes_s: f64,
    /// The position is valid this long after the bus, s.
    pub position_wakes_s: f64,
    /// A frame is late by up to this much, s.
    pub jitter_s: f64,
    /// Step of the logger's clock, s.
    pub stamp_step_s: f64,
    /// Share of the frames that never reach the logger.
    pub loss_share: f64,
}

impl Sensors {
    /// Usual sensors.
    pub const USUAL: Sensors = Sensors {
        wheel_noise_km_per_h: 0.03,
        wheel_cutout_km_per_h: 0.5,
        yaw_bias_deg_per_s: 0.12,
        yaw_noise_deg_per_s: 0.05,
        position_noise_deg: 0.02,
        oil_wakes_s: 12.0,
        position_wakes_s: 0.5,
        jitter_s: 0.6e-3,
        stamp_step_s: 1e-6,
        loss_share: 0.0,
    };
}

/// One drive.
#[derive(Clone, Debug)]
pub struct Scenario {
    /// Short name, as in file names.
    pub name: String,
    /// What it shows, in a line.
    pub title: String,
    /// Its story.
    pub story: String,
    /// Seed of every random number of the drive.
    pub seed: u64,
    /// The car.
    pub vehicle: VehicleTrue,
    /// The road.
    pub pieces: Vec<Piece>,
    /// The driver.
    pub style: Style,
    /// The sensors.
    pub sensors: Sensors,
    /// How often frames are sent.
    pub rates: Rates,
    /// Air temperature, °C.
    pub ambient_c: f64,
    /// Temperature of the axle at the start, °C.
    pub start_c: f64,
    /// Stamp of the first frame, s since 1970.
    pub start_stamp_s: i64,
    /// Stretches during which the logger hears nothing, s from the start.
    pub silences_s: Vec<[f64; 2]>,
    /// The drive is cut here at the latest, s.
    pub longest_s: f64,
    /// What is wrong with the car.
    pub faults: Faults,
    /// Whether the truth holds the state inside the unit too.
    pub tells_unit: bool,
}

/// What a random drive may vary; see [`random_drive`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RandomRange {
    /// Shortest and longest drive, s.
    pub duration_s: [f64; 2],
    /// Least and greatest wheel noise, km/h.
    pub wheel_noise_km_per_h: [f64; 2],
    /// Greatest tyre mismatch either way.
    pub tyre_mismatch: f64,
    /// Whether the place of the pack varies.
    pub vary_layout: bool,
}

impl Default for RandomRange {
    fn default() -> RandomRange {
        RandomRange {
            duration_s: [60.0, 180.0],
            wheel_noise_km_per_h: [0.0, 0.1],
            tyre_mismatch: 0.006,
            vary_layout: true,
        }
    }
}

/// A short drive for tests: town, bends, launches, wheelspin and cruising in random order.
pub fn random_drive(seed: u64, range: &RandomRange) -> Scenario {
    let mut random = Random::new(seed);
    let longest_s = random.between(range.duration_s[0], range.duration_s[1]);
    let mut vehicle = VehicleTrue::brindlecote_30();
    vehicle.tyre_mismatch = random.between(-range.tyre_mismatch, range.tyre_mismatch);
    vehicle.radius_m = random.between(0.30, 0.35);
    vehicle.track_rear_m = random.between(1.48, 1.64);
    vehicle.track_front_m = vehicle.track_rear_m - 0.01;
    let strength = random.between(0.7, 1.3);
    let preload = random.between(0.5, 1.4);
    for (i, point) in vehicle.torque_points.iter_mut().enumerate() {
        point.1 *= if i == 0 {
            strength * preload.min(1.2)
        } else {
            strength
        };
    }
    vehicle.actuator.dead_time_s = random.between(0.015, 0.09);
    vehicle.actuator.lag_s = random.between(0.035, 0.16);
    vehicle.strategy = Strategy::Road(Gains {
        per_throttle: random.between(0.5, 0.9),
        per_excess_s_per_rad: random.between(0.05, 0.15),
        ready: if random.below(2) == 0 { 0.0 } else { 0.07 },
    });
    if range.vary_layout {
        vehicle.layout = match random.below(4) {
            0 => Layout::CaseToBothSides,
            1 => Layout::ShaftToShaft,
            _ => Layout::CaseToOneSide,
        };
    }
    let style = match random.below(3) {
        0 => Style::CALM,
        1 => Style::BRISK,
        _ => Style::TRACK,
    };
    let wheel_noise = random.between(range.wheel_noise_km_per_h[0], range.wheel_noise_km_per_h[1]);
    let sensors = Sensors {
        wheel_noise_km_per_h: wheel_noise,
        yaw_bias_deg_per_s: random.between(-0.3, 0.3),
        oil_wakes_s: 5.0,
        ..Sensors::USUAL
    };
    // A minute of driving is at most 2.5 km; the drive is cut at its length anyway.
    let mut pieces = vec![Piece::straight(random.between(80.0, 200.0), 60.0)];
    let mut length_m = 0.0;
    while length_m < longest_s * 40.0 {
        length_m += random_piece(&mut random, &mut pieces);
    }
    Scenario {
        name: format!("random-{seed}"),
        title: "a random drive".to_owned(),
        story: String::new(),
        seed,
        vehicle,
        pieces,
        style,
        sensors,
        rates: Rates::QUICK,
        ambient_c: random.between(-5.0, 30.0).round(),
        start_c: random.between(20.0, 80.0).round(),
        start_stamp_s: 1_700_000_000,
        silences_s: Vec::new(),
        longest_s,
        faults: Faults::NONE,
        tells_unit: false,
    }
}

fn random_piece(random: &mut Random, pieces: &mut Vec<Piece>) -> f64 {
    let side = if random.below(2) == 0 { 1.0 } else { -1.0 };
    match random.below(10) {
        0 | 1 => {
            let length_m = random.between(30.0, 120.0);
            pieces.push(Piece::straight(length_m, random.between(30.0, 60.0)));
            pieces.push(Piece::stop(random.between(1.0, 5.0)));
            // Wheels turn on the spot of a wet line now and then.
            if random.below(3) == 0 {
                pieces.push(Piece::straight(12.0, 40.0).grip(0.3, 0.9));
            }
            length_m
        }
        2 => {
            let length_m = random.between(100.0, 400.0);
            pieces.push(Piece::straight(length_m, random.between(60.0, 120.0)));
            length_m
        }
        3..=5 => {
            let (radius_m, angle_deg) = (random.between(9.0, 25.0), random.between(50.0, 120.0));
            pieces.push(Piece::bend(radius_m, side * angle_deg, 60.0));
            pieces.push(Piece::straight(random.between(30.0, 120.0), 70.0));
            radius_m * angle_deg.to_radians() + 75.0
        }
        6..=8 => {
            let (radius_m, angle_deg) = (random.between(30.0, 120.0), random.between(30.0, 150.0));
            pieces.push(Piece::bend(radius_m, side * angle_deg, 110.0));
            radius_m * angle_deg.to_radians()
        }
        _ => {
            let radius_m = random.between(150.0, 350.0);
            pieces.push(Piece::bend(
                radius_m,
                side * random.between(20.0, 60.0),
                120.0,
            ));
            radius_m * 0.7
        }
    }
}
