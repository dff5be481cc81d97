//! One drive for every finding that a single drive can carry, and healthy ones beside them.
//!
//! In: a name. Out: a [`Scenario`] whose truth covers the unit too. A drive is a row of
//! [`FAULT_DRIVES`]: the invented Brindlecote 30 with one thing wrong, on a road that lets it
//! show; the car, its roads and its owners do not exist. The drives are shorter than a quarter
//! of an hour, so that all of them can go through a whole test. To add one, add its row, last
//! of those with a fault; the seeds of those behind it move on.

use crate::fault_drive::{FaultDrive, SENSORS, SOUND, firm, gains};
use crate::fault_roads::Stretch::{Same, Sides};
use crate::fault_roads::{
    CAR_PARK, DIRT_LAP, GRAVEL, HIGHWAY, LAP, LONG_BENDS, MOTORWAY, OFF_MOTORWAY, ONTO_MOTORWAY,
    ONTO_TRACK, PIT_STOP_AND_LAP, SLIPPERY_START, STEADY_BENDS, STEPS, TOWN,
};
use crate::faults::{Chatter, Judder, Leak, Protection, Ripple};
use crate::road::{Piece, Style};
use crate::scenario::{Scenario, Sensors};
use crate::vehicle::VehicleTrue;

/// Hard laps of a sound car with a controller that dislikes closing.
const HARD_LAPS: FaultDrive = FaultDrive {
    road: &[ONTO_TRACK, Same(9, LAP), Same(1, &[Piece::stop(60.0)])],
    style: Style {
        lateral_m_per_s2: 6.3,
        power_from: 0.25,
        spin_tolerance_m_per_s: 9.0,
        ..Style::TRACK
    },
    gains: gains(0.6, 0.01, 0.07),
    ambient_c: 20.0,
    start_c: 60.0,
    car: track_car,
    ..SOUND
};

/// A stronger engine and a stiff rear bar.
fn track_car(car: &mut VehicleTrue) {
    car.drive_torque_nm = 3000.0;
    car.drive_power_w = 250e3;
    car.grip = 0.98;
    car.rear_roll_share = 0.62;
}

/// Every drive: first those with one fault each, then those with nothing wrong, of which the
/// last is hard and hot all the same.
pub const FAULT_DRIVES: &[FaultDrive] = &[
    FaultDrive {
        name: "lazy-actuator",
        title: "the actuator is slow at full voltage and warm",
        raises: &["lazy-actuator"],
        // The same slow motor opens the clutch: 0.80 s, at the limit of a slow release.
        may_raise: &["slow-release", "hangs-on-after-lift"],
        car: |car| (car.actuator.lag_s, car.actuator.dead_time_s) = (0.32, 0.06),
        ..SOUND
    },
    FaultDrive {
        name: "actuator-not-moving",
        title: "the motor's plug falls off on the way",
        raises: &["actuator-not-moving"],
        fault: |faults| faults.actuator.unplugged_from_s = Some(150.0),
        ..SOUND
    },
    FaultDrive {
        name: "does-not-grip",
        title: "the mechanism follows, the worn pack carries a tenth",
        raises: &["does-not-grip"],
        road: &[Sides(26, LONG_BENDS)],
        style: Style {
            power_from: 0.15,
            ..firm(2.2, 2.2, 3.0)
        },
        gains: gains(2.6, 0.10, 0.0),
        fault: |faults| faults.pack.torque_share = 0.1,
        ..SOUND
    },
    FaultDrive {
        name: "dragging-pack",
        title: "the pack holds though nobody asks",
        raises: &["dragging-pack"],
        road: &[
            Sides(12, STEADY_BENDS),
            Sides(16, STEPS),
            Sides(5, STEADY_BENDS),
        ],
        // It begins late: a pack that drags in every bend of a log cannot be told from a map
        // with a wrong track.
        fault: |faults| (faults.pack.drag_torque_nm, faults.pack.drag_from_s) = (620.0, 540.0),
        ..SOUND
    },
    FaultDrive {
        name: "slow-release",
        title: "it closes at once and releases late",
        raises: &["slow-release"],
        // A clutch that releases slowly hangs on, by the mechanism's part.
        may_raise: &["hangs-on-after-lift"],
        fault: |faults| faults.actuator.release_lag_s = Some(0.55),
        ..SOUND
    },
    FaultDrive {
        name: "scattered-timing",
        title: "no two engagements take the same time",
        raises: &["scattered-timing"],
        // Its median lag is twice that of a sound unit.
        may_raise: &["lazy-actuator"],
        car: |car| car.actuator.lag_s = 0.12,
        fault: |faults| faults.actuator.lag_scatter = 0.85,
        ..SOUND
    },
    FaultDrive {
        name: "lazy-cold",
        title: "thick oil makes the first minutes slow",
        raises: &["lazy-cold"],
        // The gears warm the oil past 20 °C within the drive.
        ambient_c: 2.0,
        start_c: -8.0,
        fault: |faults| faults.actuator.lag_per_k_below_20_c = 0.05,
        ..SOUND
    },
    FaultDrive {
        name: "supply-sag",
        title: "a bad joint in the supply: the voltage sags and the motor slows",
        raises: &["supply-sag"],
        // The sagging voltage slows the motor.
        may_raise: &["lazy-actuator"],
        car: |car| (car.actuator.supply_resistance_ohm, car.actuator.lag_s) = (0.55, 0.09),
        fault: |faults| faults.actuator.slows_with_voltage = true,
        ..SOUND
    },
    FaultDrive {
        name: "motor-works-hard",
        title: "the motor holds with 1.6 times its rated current",
        raises: &["motor-works-hard"],
        gains: gains(1.5, 0.10, 0.0),
        car: |car| {
            // 1.6 times the 16 A the map states, at full position; a sound one holds with 5 A.
            car.actuator.holding_current_a = 25.6;
            // The supply is sound: it must not sag with that current.
            car.actuator.supply_resistance_ohm = 0.02;
        },
        ..SOUND
    },
    FaultDrive {
        name: "command-chatter",
        title: "the controller hunts",
        raises: &["command-chatter"],
        style: firm(2.6, 4.0, 3.0),
        fault: |faults| {
            faults.controller.chatter = Some(Chatter {
                swing: 0.28,
                period_s: 0.36,
            });
        },
        ..SOUND
    },
    FaultDrive {
        name: "front-rear-mismatch",
        title: "front tyres of 1.5 % less radius",
        raises: &["front-rear-mismatch"],
        road: &[ONTO_MOTORWAY, Sides(5, MOTORWAY), OFF_MOTORWAY],
        fault: |faults| faults.wheels.front_faster = 0.015,
        ..SOUND
    },
    FaultDrive {
        name: "losing-pressure",
        title: "the right rear tyre loses its air half way",
        raises: &["losing-pressure"],
        // A tyre that lost pressure is a mismatched one.
        may_raise: &["tyres-mismatched"],
        road: &[ONTO_MOTORWAY, Sides(6, MOTORWAY), OFF_MOTORWAY],
        fault: |faults| {
            faults.wheels.leak = Some(Leak {
                from_m: 9_000.0,
                // Preload hides 0.27 % of it.
                mismatch: 0.009,
                over_m: 300.0,
            });
        },
        ..SOUND
    },
    FaultDrive {
        name: "working-on-the-straight",
        title: "unlike tyres, and a calibration that never rests",
        raises: &["working-on-the-straight"],
        // Its tyres are what keeps the pack at work.
        may_raise: &["tyres-mismatched"],
        road: &[ONTO_MOTORWAY, Sides(5, MOTORWAY), OFF_MOTORWAY],
        car: |car| car.tyre_mismatch = 0.018,
        fault: |faults| faults.controller.cruise_command = 0.22,
        ..SOUND
    },
    FaultDrive {
        name: "hard-hit",
        title: "pulled out of the ice at any price",
        raises: &["hard-hit"],
        road: &[
            Same(
                1,
                &[
                    Piece::straight(50.0, 120.0).grip(0.12, 0.9),
                    Piece::straight(80.0, 40.0),
                    Piece::stop(20.0),
                ],
            ),
            Sides(32, STEPS),
        ],
        style: firm(2.6, 9.0, 26.0),
        gains: gains(0.62, 0.002, 0.0),
        ..SOUND
    },
    FaultDrive {
        name: "repeated-launches",
        title: "one start after the other with a wheel on wet paint",
        raises: &["repeated-launches"],
        road: &[Sides(22, SLIPPERY_START)],
        style: firm(2.6, 5.0, 7.0),
        gains: gains(0.4, 0.002, 0.0),
        ..SOUND
    },
    FaultDrive {
        name: "low-oil",
        title: "a third of the oil is left",
        raises: &["low-oil"],
        // Pauses let pack and oil become equal.
        road: &[ONTO_TRACK, Same(5, LAP), Same(4, PIT_STOP_AND_LAP)],
        ambient_c: 4.0,
        car: |car| {
            track_car(car);
            car.thermal.oil_j_per_k = 600.0;
            car.thermal.pack_to_oil_w_per_k = 25.0;
        },
        ..HARD_LAPS
    },
    FaultDrive {
        name: "hot-without-clutch",
        title: "a bearing cooks the oil, the pack hardly works",
        raises: &["hot-without-clutch"],
        road: &[ONTO_MOTORWAY, Sides(6, MOTORWAY), OFF_MOTORWAY],
        ambient_c: 24.0,
        start_c: 75.0,
        car: |car| car.thermal.gear_loss_share = 0.1,
        ..SOUND
    },
    FaultDrive {
        name: "does-not-cool",
        title: "mud on the housing: it keeps its heat at standstill",
        raises: &["does-not-cool"],
        road: &[Sides(22, STEPS), Same(1, &[Piece::stop(510.0)])],
        start_c: 66.0,
        longest_s: 1020.0,
        car: |car| {
            car.thermal.still_air_w_per_k = 3.5;
            car.thermal.air_at_30_m_per_s_w_per_k = 9.0;
        },
        ..SOUND
    },
    FaultDrive {
        name: "judder",
        title: "stick and slip in slow loaded turns",
        raises: &["judder"],
        road: &[
            Same(1, &[Piece::straight(60.0, 30.0)]),
            Sides(40, CAR_PARK),
            Same(1, &[Piece::stop(5.0)]),
        ],
        style: firm(3.0, 2.0, 3.0),
        // A ramp: the engine pulls all the time and the controller closes the pack a little.
        gains: gains(2.6, 0.0, 0.0),
        car: |car| car.rolling_resistance = 0.12,
        fault: |faults| {
            faults.pack.judder = Some(Judder {
                frequency_hz: 12.0,
                amplitude_rad_per_s: 1.3,
                from_torque_nm: 85.0,
                from_difference_rad_per_s: 1.5,
                below_m_per_s: 7.0,
            });
        },
        ..SOUND
    },
    FaultDrive {
        name: "tone-ring",
        title: "the tone ring of the left rear wheel has a crack",
        raises: &["tone-ring"],
        fault: |faults| {
            faults.wheels.ripple = Some(Ripple {
                is_right: false,
                share: 0.03,
                per_turn: 1.0,
            });
        },
        ..SOUND
    },
    FaultDrive {
        name: "late-on-throttle",
        title: "the controller thinks before it asks",
        raises: &["late-on-throttle"],
        fault: |faults| faults.controller.throttle_on_delay_s = 0.65,
        ..SOUND
    },
    FaultDrive {
        name: "hangs-on-after-lift",
        title: "the controller asks on after the driver has lifted",
        raises: &["hangs-on-after-lift"],
        fault: |faults| faults.controller.lift_off_delay_s = 0.8,
        ..SOUND
    },
    FaultDrive {
        name: "protection-mode",
        title: "the car lets the clutch go to save it",
        raises: &["protection-mode"],
        fault: |faults| {
            faults.controller.protection = Some(Protection {
                above_oil_c: 105.0,
                from_throttle: 0.5,
                lasts_s: 3.0,
            });
        },
        ..HARD_LAPS
    },
    FaultDrive {
        name: "torque-report-disagrees",
        title: "the car reports 40 % less than the table gives",
        raises: &["torque-report-disagrees"],
        fault: |faults| faults.reported_torque_share = 0.6,
        ..SOUND
    },
    FaultDrive {
        name: "towed",
        title: "driven, then towed with one wheel on a dolly",
        raises: &["not-driving"],
        road: &[
            Sides(30, STEPS),
            Same(
                1,
                &[
                    Piece::stop(20.0),
                    Piece::straight(150.0, 30.0).towed(),
                    Piece::bend(60.0, 60.0, 30.0).towed(),
                    Piece::straight(120.0, 30.0).towed(),
                    Piece::stop(5.0),
                ],
            ),
        ],
        ..SOUND
    },
    FaultDrive {
        name: "healthy-town",
        title: "a sound unit in town",
        road: &[Sides(12, TOWN)],
        style: firm(3.2, 3.2, 3.0),
        ..SOUND
    },
    FaultDrive {
        name: "healthy-highway",
        title: "a sound unit on the motorway",
        road: &[Sides(8, HIGHWAY)],
        style: firm(3.2, 3.4, 3.0),
        ..SOUND
    },
    FaultDrive {
        name: "healthy-gravel",
        title: "a sound unit on a loose forest road",
        road: &[
            Sides(18, GRAVEL),
            Same(1, &[Piece::straight(40.0, 30.0), Piece::stop(5.0)]),
        ],
        style: firm(2.6, 2.8, 2.5),
        // Loose ground needs a controller that does not respond to every stone.
        gains: gains(0.95, 0.05, 0.0),
        sensors: Sensors {
            wheel_noise_km_per_h: 0.06,
            yaw_noise_deg_per_s: 0.15,
            ..SENSORS
        },
        ..SOUND
    },
    FaultDrive {
        name: "track-day-hot-pack",
        title: "hard laps of a sound car, half on dirt: the pack runs well above the oil",
        road: &[
            ONTO_TRACK,
            Same(11, DIRT_LAP),
            Same(1, &[Piece::stop(60.0)]),
        ],
        style: Style {
            lateral_m_per_s2: 5.5,
            spin_tolerance_m_per_s: 12.0,
            ..Style::TRACK
        },
        gains: gains(0.62, 0.002, 0.0),
        ambient_c: 2.0,
        start_c: 40.0,
        ..SOUND
    },
];

/// The drive of that name, of [`FAULT_DRIVES`].
pub fn fault_drive(name: &str) -> Option<Scenario> {
    let index = FAULT_DRIVES.iter().position(|drive| drive.name == name)?;
    Some(FAULT_DRIVES[index].scenario(31_000 + index as u64))
}
