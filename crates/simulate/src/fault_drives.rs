//! One drive for every finding that a single drive can carry, and healthy ones beside them.
//!
//! In: a name. Out: a [`Scenario`] that tells the truth of its unit. Each is the invented
//! Brindlecote 30 with one thing wrong, on a road that lets it show; the car, its roads and
//! its owners do not exist. The drives are shorter than a quarter of an hour, so that all
//! of them can go through a whole test.

use crate::channels::Rates;
use crate::controller::{Gains, Strategy};
use crate::fault_roads as roads;
use crate::faults::{
    ActuatorFaults, Chatter, ControllerFaults, Faults, Judder, Leak, PackFaults, Protection, Ripple,
};
use crate::road::{Piece, Style};
use crate::scenario::{Scenario, Sensors};
use crate::vehicle::VehicleTrue;

/// Names of the drives with one fault each.
pub const FAULT_DRIVES: &[&str] = &[
    "lazy-actuator",
    "actuator-not-moving",
    "does-not-grip",
    "dragging-pack",
    "slow-release",
    "scattered-timing",
    "lazy-cold",
    "supply-sag",
    "motor-works-hard",
    "command-chatter",
    "front-rear-mismatch",
    "losing-pressure",
    "working-on-the-straight",
    "hard-hit",
    "repeated-launches",
    "low-oil",
    "hot-without-clutch",
    "does-not-cool",
    "judder",
    "tone-ring",
    "late-on-throttle",
    "hangs-on-after-lift",
    "protection-mode",
    "torque-report-disagrees",
    "towed",
];

/// Names of the drives with nothing wrong; the last is hard and hot all the same.
pub const HEALTHY_DRIVES: &[&str] = &[
    "healthy-town",
    "healthy-highway",
    "healthy-gravel",
    "track-day-hot-pack",
];

/// The drive of that name, of [`FAULT_DRIVES`] or [`HEALTHY_DRIVES`].
pub fn fault_drive(name: &str) -> Option<Scenario> {
    let make: fn(&mut Scenario) = match name {
        "lazy-actuator" => lazy_actuator,
        "actuator-not-moving" => actuator_not_moving,
        "does-not-grip" => does_not_grip,
        "dragging-pack" => dragging_pack,
        "slow-release" => slow_release,
        "scattered-timing" => scattered_timing,
        "lazy-cold" => lazy_cold,
        "supply-sag" => supply_sag,
        "motor-works-hard" => motor_works_hard,
        "command-chatter" => command_chatter,
        "front-rear-mismatch" => front_rear_mismatch,
        "losing-pressure" => losing_pressure,
        "working-on-the-straight" => working_on_the_straight,
        "hard-hit" => hard_hit,
        "repeated-launches" => repeated_launches,
        "low-oil" => low_oil,
        "hot-without-clutch" => hot_without_clutch,
        "does-not-cool" => does_not_cool,
        "judder" => judder,
        "tone-ring" => tone_ring,
        "late-on-throttle" => late_on_throttle,
        "hangs-on-after-lift" => hangs_on_after_lift,
        "protection-mode" => protection_mode,
        "torque-report-disagrees" => torque_report_disagrees,
        "towed" => towed,
        "healthy-town" => healthy_town,
        "healthy-highway" => healthy_highway,
        "healthy-gravel" => healthy_gravel,
        "track-day-hot-pack" => track_day_hot_pack,
        _ => return None,
    };
    let all = FAULT_DRIVES.iter().chain(HEALTHY_DRIVES);
    let place = all.take_while(|other| **other != name).count();
    let mut scenario = base(name, 31_000 + place as u64);
    make(&mut scenario);
    scenario.story = format!("A made-up drive for tests: {}.", scenario.title);
    Some(scenario)
}

/// A driver who is firm with the pedals.
const FIRM: Style = Style {
    lateral_m_per_s2: 2.6,
    accelerate_m_per_s2: 5.0,
    brake_m_per_s2: 4.0,
    power_from: 0.4,
    pedal_per_s: 5.0,
    squeeze: 0.3,
    spin_tolerance_m_per_s: 3.0,
    speed_wander: 0.015,
    lane_wander_per_m: 1.2e-4,
};

/// A controller that closes the pack when the throttle is pressed.
const EAGER: Gains = Gains {
    per_throttle: 0.95,
    per_excess_s_per_rad: 0.10,
    ready: 0.0,
};

/// Sound car, warm, on the road of steps; drives change what they need.
fn base(name: &str, seed: u64) -> Scenario {
    let mut vehicle = VehicleTrue::brindlecote_30();
    vehicle.is_automatic = true;
    vehicle.strategy = Strategy::Road(EAGER);
    Scenario {
        name: name.to_owned(),
        title: String::new(),
        story: String::new(),
        seed,
        vehicle,
        pieces: roads::steps(36),
        style: FIRM,
        sensors: Sensors {
            oil_wakes_s: 3.0,
            ..Sensors::USUAL
        },
        rates: Rates {
            unit_ms: 20,
            more_ms: Some(20),
            others: false,
            ..Rates::QUICK
        },
        ambient_c: 16.0,
        start_c: 48.0,
        start_stamp_s: 1_762_000_000,
        silences_s: Vec::new(),
        longest_s: 760.0,
        faults: Faults::NONE,
        tells_unit: true,
    }
}

fn lazy_actuator(scenario: &mut Scenario) {
    scenario.title = "the actuator is slow at full voltage and warm".to_owned();
    scenario.vehicle.actuator.lag_s = 0.32;
    scenario.vehicle.actuator.dead_time_s = 0.06;
}

fn actuator_not_moving(scenario: &mut Scenario) {
    scenario.title = "the motor's plug falls off on the way".to_owned();
    scenario.faults.actuator.unplugged_from_s = Some(150.0);
}

fn does_not_grip(scenario: &mut Scenario) {
    scenario.title = "the mechanism follows, the worn pack carries a tenth".to_owned();
    scenario.faults.pack = PackFaults {
        torque_share: 0.1,
        ..Faults::NONE.pack
    };
    scenario.vehicle.strategy = Strategy::Road(Gains {
        per_throttle: 2.6,
        ..EAGER
    });
    scenario.pieces = roads::long_bends(26);
    scenario.style = Style {
        lateral_m_per_s2: 2.2,
        accelerate_m_per_s2: 2.2,
        power_from: 0.15,
        ..FIRM
    };
}

fn dragging_pack(scenario: &mut Scenario) {
    scenario.title = "the pack holds though nobody asks".to_owned();
    scenario.faults.pack.drag_torque_nm = 620.0;
    // It begins late: a pack that drags in every bend of a log cannot be told from a map
    // with a wrong track.
    scenario.faults.pack.drag_from_s = 540.0;
    scenario.pieces = roads::steady_bends(12);
    scenario.pieces.extend(roads::steps(16));
    scenario.pieces.extend(roads::steady_bends(5));
}

fn slow_release(scenario: &mut Scenario) {
    scenario.title = "it closes at once and lets go late".to_owned();
    scenario.faults.actuator.release_lag_s = Some(0.55);
}

fn scattered_timing(scenario: &mut Scenario) {
    scenario.title = "no two engagements take the same time".to_owned();
    scenario.vehicle.actuator.lag_s = 0.12;
    scenario.faults.actuator.lag_scatter = 0.85;
}

fn lazy_cold(scenario: &mut Scenario) {
    scenario.title = "thick oil makes the first minutes slow".to_owned();
    scenario.faults.actuator.lag_per_k_below_20_c = 0.05;
    scenario.pieces = roads::steps(36);
    // The gears warm the oil past 20 °C within the drive.
    scenario.start_c = -8.0;
    scenario.ambient_c = 2.0;
}

fn supply_sag(scenario: &mut Scenario) {
    scenario.title = "a bad joint in the supply: the voltage sags and the motor slows".to_owned();
    scenario.vehicle.actuator.supply_resistance_ohm = 0.55;
    scenario.vehicle.actuator.lag_s = 0.09;
    scenario.faults.actuator = ActuatorFaults {
        slows_with_voltage: true,
        ..ActuatorFaults::NONE
    };
}

fn motor_works_hard(scenario: &mut Scenario) {
    scenario.title = "the motor holds with 1.6 times its rated current".to_owned();
    // 1.6 times the 16 A the map states, at full position; a sound one holds with 5 A.
    scenario.vehicle.actuator.holding_current_a = 25.6;
    // The supply is sound: it must not sag with that current.
    scenario.vehicle.actuator.supply_resistance_ohm = 0.02;
    scenario.vehicle.strategy = Strategy::Road(Gains {
        per_throttle: 1.5,
        ..EAGER
    });
}

fn command_chatter(scenario: &mut Scenario) {
    scenario.title = "the controller hunts".to_owned();
    scenario.faults.controller.chatter = Some(Chatter {
        swing: 0.28,
        period_s: 0.36,
    });
    scenario.style.accelerate_m_per_s2 = 4.0;
}

fn front_rear_mismatch(scenario: &mut Scenario) {
    scenario.title = "front tyres of 1.5 % less radius".to_owned();
    scenario.pieces = roads::motorway(5);
    scenario.faults.wheels.front_faster = 0.015;
}

fn losing_pressure(scenario: &mut Scenario) {
    scenario.title = "the right rear tyre loses its air half way".to_owned();
    scenario.pieces = roads::motorway(6);
    scenario.faults.wheels.leak = Some(Leak {
        from_m: 9_000.0,
        // Preload hides 0.27 % of it.
        mismatch: 0.009,
        over_m: 300.0,
    });
}

fn working_on_the_straight(scenario: &mut Scenario) {
    scenario.title = "unlike tyres, and a calibration that never rests".to_owned();
    scenario.pieces = roads::motorway(5);
    scenario.vehicle.tyre_mismatch = 0.018;
    scenario.faults.controller.cruise_command = 0.22;
}

fn hard_hit(scenario: &mut Scenario) {
    scenario.title = "pulled out of the ice at any price".to_owned();
    scenario.pieces = vec![Piece::straight(50.0, 120.0).grip(0.12, 0.9)];
    scenario.pieces.push(Piece::straight(80.0, 40.0));
    scenario.pieces.push(Piece::stop(20.0));
    scenario.pieces.extend(roads::steps(32));
    scenario.style.spin_tolerance_m_per_s = 26.0;
    scenario.style.accelerate_m_per_s2 = 9.0;
    scenario.vehicle.strategy = Strategy::Road(Gains {
        per_throttle: 0.62,
        per_excess_s_per_rad: 0.002,
        ready: 0.0,
    });
}

fn repeated_launches(scenario: &mut Scenario) {
    scenario.title = "one start after the other with a wheel on wet paint".to_owned();
    scenario.pieces = roads::slippery_starts(22, 16.0, 0.2);
    scenario.style.spin_tolerance_m_per_s = 7.0;
    scenario.vehicle.strategy = Strategy::Road(Gains {
        per_throttle: 0.4,
        per_excess_s_per_rad: 0.002,
        ready: 0.0,
    });
}

/// Hard laps of a sound car with a controller that dislikes closing.
fn hard_laps(scenario: &mut Scenario) {
    scenario.pieces = roads::laps(9);
    scenario.pieces.push(Piece::stop(60.0));
    scenario.style = Style {
        lateral_m_per_s2: 6.3,
        power_from: 0.25,
        spin_tolerance_m_per_s: 9.0,
        ..Style::TRACK
    };
    let vehicle = &mut scenario.vehicle;
    vehicle.drive_torque_nm = 3000.0;
    vehicle.drive_power_w = 250e3;
    vehicle.grip = 0.98;
    vehicle.rear_roll_share = 0.62;
    vehicle.strategy = Strategy::Road(Gains {
        per_throttle: 0.6,
        per_excess_s_per_rad: 0.01,
        ready: 0.07,
    });
    scenario.ambient_c = 20.0;
    scenario.start_c = 60.0;
}

fn low_oil(scenario: &mut Scenario) {
    hard_laps(scenario);
    scenario.title = "a third of the oil is left".to_owned();
    scenario.pieces = roads::laps(5);
    // Pauses let pack and oil become equal.
    let lap = roads::laps(1);
    for _ in 0..4 {
        scenario.pieces.push(Piece::stop(25.0));
        scenario.pieces.extend(lap.iter().copied());
    }
    scenario.ambient_c = 4.0;
    scenario.vehicle.thermal.oil_j_per_k = 600.0;
    scenario.vehicle.thermal.pack_to_oil_w_per_k = 25.0;
}

fn hot_without_clutch(scenario: &mut Scenario) {
    scenario.title = "a bearing cooks the oil, the pack hardly works".to_owned();
    scenario.pieces = roads::motorway(6);
    scenario.vehicle.thermal.gear_loss_share = 0.1;
    scenario.ambient_c = 24.0;
    scenario.start_c = 75.0;
}

fn does_not_cool(scenario: &mut Scenario) {
    scenario.title = "mud on the housing: it keeps its heat at standstill".to_owned();
    scenario.pieces = roads::steps(22);
    scenario.pieces.push(Piece::stop(510.0));
    scenario.vehicle.thermal.still_air_w_per_k = 3.5;
    scenario.vehicle.thermal.air_at_30_m_per_s_w_per_k = 9.0;
    scenario.start_c = 66.0;
    scenario.longest_s = 1020.0;
}

fn judder(scenario: &mut Scenario) {
    scenario.title = "stick and slip in slow loaded turns".to_owned();
    scenario.pieces = roads::car_park(40);
    scenario.style = Style {
        accelerate_m_per_s2: 2.0,
        lateral_m_per_s2: 3.0,
        ..FIRM
    };
    // A ramp: the engine pulls all the time and the controller closes the pack a little.
    scenario.vehicle.rolling_resistance = 0.12;
    scenario.vehicle.strategy = Strategy::Road(Gains {
        per_throttle: 2.6,
        per_excess_s_per_rad: 0.0,
        ready: 0.0,
    });
    scenario.faults.pack.judder = Some(Judder {
        frequency_hz: 12.0,
        amplitude_rad_per_s: 1.3,
        from_torque_nm: 85.0,
        from_difference_rad_per_s: 1.5,
        below_m_per_s: 7.0,
    });
}

fn tone_ring(scenario: &mut Scenario) {
    scenario.title = "the tone ring of the left rear wheel has a crack".to_owned();
    scenario.faults.wheels.ripple = Some(Ripple {
        is_right: false,
        share: 0.03,
        per_turn: 1.0,
    });
}

fn late_on_throttle(scenario: &mut Scenario) {
    scenario.title = "the controller thinks before it asks".to_owned();
    scenario.faults.controller = ControllerFaults {
        throttle_on_delay_s: 0.65,
        ..ControllerFaults::NONE
    };
}

fn hangs_on_after_lift(scenario: &mut Scenario) {
    scenario.title = "the controller asks on after the driver has lifted".to_owned();
    scenario.faults.controller = ControllerFaults {
        lift_off_delay_s: 0.8,
        ..ControllerFaults::NONE
    };
}

fn protection_mode(scenario: &mut Scenario) {
    hard_laps(scenario);
    scenario.title = "the car lets the clutch go to save it".to_owned();
    scenario.faults.controller.protection = Some(Protection {
        above_oil_c: 105.0,
        from_throttle: 0.5,
        lasts_s: 3.0,
    });
}

fn torque_report_disagrees(scenario: &mut Scenario) {
    scenario.title = "the car reports 40 % less than the table gives".to_owned();
    scenario.faults.reported_torque_share = 0.6;
}

fn towed(scenario: &mut Scenario) {
    scenario.title = "driven, then towed with one wheel on a dolly".to_owned();
    scenario.pieces = roads::steps(30);
    scenario.pieces.extend([
        Piece::stop(20.0),
        Piece::straight(150.0, 30.0).towed(),
        Piece::bend(60.0, 60.0, 30.0).towed(),
        Piece::straight(120.0, 30.0).towed(),
        Piece::stop(5.0),
    ]);
}

fn healthy_town(scenario: &mut Scenario) {
    scenario.title = "a sound unit in town".to_owned();
    scenario.pieces = roads::town(12);
    scenario.style = Style {
        accelerate_m_per_s2: 3.2,
        lateral_m_per_s2: 3.2,
        ..FIRM
    };
}

fn healthy_highway(scenario: &mut Scenario) {
    scenario.title = "a sound unit on the motorway".to_owned();
    scenario.pieces = roads::highway(8, 1500.0);
    scenario.style = Style {
        accelerate_m_per_s2: 3.4,
        lateral_m_per_s2: 3.2,
        ..FIRM
    };
}

fn healthy_gravel(scenario: &mut Scenario) {
    scenario.title = "a sound unit on a loose forest road".to_owned();
    scenario.pieces = roads::gravel(18, 0.6);
    scenario.style = Style {
        accelerate_m_per_s2: 2.8,
        lateral_m_per_s2: 2.6,
        spin_tolerance_m_per_s: 2.5,
        ..FIRM
    };
    // Loose ground wants a controller that does not answer every stone.
    scenario.vehicle.strategy = Strategy::Road(Gains {
        per_excess_s_per_rad: 0.05,
        ..EAGER
    });
    scenario.sensors.wheel_noise_km_per_h = 0.06;
    scenario.sensors.yaw_noise_deg_per_s = 0.15;
}

fn track_day_hot_pack(scenario: &mut Scenario) {
    scenario.title =
        "hard laps of a sound car, half on dirt: the pack runs well above the oil".to_owned();
    scenario.pieces = roads::dirt_laps(11, 55.0);
    scenario.pieces.push(Piece::stop(60.0));
    scenario.style = Style {
        lateral_m_per_s2: 5.5,
        spin_tolerance_m_per_s: 12.0,
        ..Style::TRACK
    };
    scenario.vehicle.strategy = Strategy::Road(Gains {
        per_throttle: 0.62,
        per_excess_s_per_rad: 0.002,
        ready: 0.0,
    });
    scenario.ambient_c = 2.0;
    scenario.start_c = 40.0;
}
