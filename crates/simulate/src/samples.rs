//! The sample drives: one invented shop, one invented model of car, four of its days.
//!
//! In: nothing. Out: [`scenarios`], each with its story. Nettle Lane Driveline, its people,
//! the Brindlecote 30 and the Hollowmere circuit do not exist.

use crate::actuator::ActuatorParameters;
use crate::channels::Rates;
use crate::controller::{Gains, Strategy};
use crate::faults::Faults;
use crate::road::{Piece, Style};
use crate::scenario::{Scenario, Sensors};
use crate::vehicle::VehicleTrue;

/// The sample drives, in the order of their stories.
pub fn scenarios() -> Vec<Scenario> {
    vec![
        healthy_road(),
        hard_track_day(),
        tired_motor(),
        mismatched_tyres(),
    ]
}

/// What the drives share, for a day that begins at `start_stamp_s`.
fn drive(
    name: &str,
    title: &str,
    story: &str,
    seed: u64,
    start_stamp_s: i64,
    pieces: Vec<Piece>,
) -> Scenario {
    Scenario {
        name: name.to_owned(),
        title: title.to_owned(),
        story: story.to_owned(),
        seed,
        vehicle: VehicleTrue::brindlecote_30(),
        pieces,
        style: Style::BRISK,
        sensors: Sensors::USUAL,
        rates: Rates::LEAN,
        ambient_c: 14.0,
        start_c: 30.0,
        start_stamp_s,
        silences_s: Vec::new(),
        longest_s: 1800.0,
        faults: Faults::NONE,
        tells_unit: false,
    }
}

// Out of town: junctions, a country road that sweeps, a village.
fn country_loop(side: f64) -> Vec<Piece> {
    vec![
        Piece::straight(160.0, 50.0),
        Piece::bend(12.0, side * 90.0, 50.0),
        Piece::straight(220.0, 55.0),
        Piece::stop(7.0),
        Piece::straight(90.0, 55.0),
        Piece::bend(45.0, -side * 60.0, 60.0),
        Piece::straight(350.0, 85.0),
        Piece::bend(220.0, side * 45.0, 85.0),
        Piece::bend(180.0, -side * 50.0, 85.0),
        Piece::straight(240.0, 90.0),
        Piece::bend(90.0, side * 70.0, 80.0),
        Piece::bend(70.0, -side * 55.0, 80.0),
        Piece::straight(420.0, 95.0),
        Piece::bend(28.0, -side * 85.0, 60.0),
        Piece::straight(130.0, 50.0),
        Piece::bend(11.0, side * 75.0, 50.0),
        Piece::straight(60.0, 30.0),
        Piece::stop(4.0),
    ]
}

fn healthy_road() -> Scenario {
    let sides = [1.0, -1.0, 1.0, -1.0, 1.0];
    let mut pieces: Vec<Piece> = sides.into_iter().flat_map(country_loop).collect();
    pieces.push(Piece::stop(15.0));
    let style = Style {
        accelerate_m_per_s2: 2.8,
        lateral_m_per_s2: 3.6,
        ..Style::BRISK
    };
    Scenario {
        style,
        ..drive(
            "healthy-road",
            "a healthy unit on a mixed road",
            "Ida Brannock drives the shop's own Brindlecote 30 round the lanes after a service, to \
             have one drive on file that shows what good looks like. Nothing is wrong with it.",
            30_001,
            1_741_683_600,
            pieces,
        )
    }
}

fn hard_track_day() -> Scenario {
    // The straights are as long as it takes for the lap to end where it began.
    let lap = [
        Piece::straight(387.5, 190.0),
        Piece::bend(32.0, 95.0, 120.0),
        Piece::straight(81.1, 140.0),
        Piece::bend(55.0, -70.0, 140.0),
        Piece::bend(45.0, 150.0, 110.0),
        Piece::straight(301.8, 190.0),
        Piece::bend(26.0, 130.0, 90.0),
        Piece::straight(171.1, 150.0),
        Piece::bend(18.0, -150.0, 80.0),
        Piece::straight(109.7, 160.0),
        Piece::bend(85.0, 120.0, 150.0),
        Piece::bend(40.0, 85.0, 120.0),
    ];
    let mut pieces = vec![Piece::straight(70.0, 40.0), Piece::stop(5.0)];
    for _ in 0..6 {
        pieces.extend(lap);
    }
    // The lap home is slow, then the car stands and the oil goes on warming for a while.
    pieces.extend(lap.map(|piece| Piece {
        speed_m_per_s: piece.speed_m_per_s.min(16.0),
        ..piece
    }));
    pieces.push(Piece::stop(45.0));
    let mut scenario = drive(
        "hard-track-day",
        "six laps flat out and one home",
        "Joost Wendel takes his Brindlecote 30 round the Hollowmere circuit on a warm day and asks \
         how many laps the axle will stand. The inside wheel spins out of the tight bends, and his \
         mild calibration lets the pack slip under torque instead of closing it.",
        30_002,
        1_749_897_300,
        pieces,
    );
    // A stronger engine, a stiff rear bar, and a calibration that dislikes closing.
    scenario.vehicle.drive_torque_nm = 3000.0;
    scenario.vehicle.drive_power_w = 250e3;
    scenario.vehicle.grip = 0.98;
    scenario.vehicle.rear_roll_share = 0.62;
    scenario.vehicle.strategy = Strategy::Road(Gains {
        per_throttle: 0.42,
        per_excess_s_per_rad: 0.03,
        ready: 0.07,
    });
    scenario.style = Style {
        lateral_m_per_s2: 6.3,
        power_from: 0.25,
        spin_tolerance_m_per_s: 9.0,
        ..Style::TRACK
    };
    scenario.ambient_c = 27.0;
    scenario.start_c = 70.0;
    scenario
}

fn tired_motor() -> Scenario {
    let mut pieces = Vec::new();
    for side in [1.0, -1.0, 1.0, -1.0, 1.0, -1.0] {
        pieces.extend([
            Piece::straight(140.0, 60.0),
            Piece::bend(10.0, side * 95.0, 50.0),
            Piece::straight(110.0, 70.0),
            Piece::bend(16.0, -side * 120.0, 60.0),
            Piece::straight(180.0, 85.0),
            Piece::stop(5.0),
            // A wet kerb under one wheel when pulling away.
            Piece::straight(14.0, 60.0).grip(0.35, 0.9),
            Piece::straight(150.0, 80.0),
            Piece::bend(38.0, side * 100.0, 80.0),
            Piece::bend(60.0, -side * 60.0, 90.0),
            Piece::straight(260.0, 95.0),
            Piece::bend(14.0, side * 80.0, 60.0),
            Piece::straight(80.0, 50.0),
            Piece::stop(4.0),
        ]);
    }
    let mut scenario = drive(
        "tired-motor",
        "the clutch motor answers late and draws too much",
        "Maren Tull says her Brindlecote 30 lights up a wheel out of every junction and then bites \
         with a thump. The controller asks in time; the motor moves late, slowly and with too much \
         current.",
        30_003,
        1_760_086_800,
        pieces,
    );
    scenario.vehicle.actuator = ActuatorParameters {
        dead_time_s: 0.17,
        lag_s: 0.24,
        fastest_per_s: 6.0,
        holding_current_a: 8.5,
        friction_current_a: 3.6,
        moving_current_a_s: 2.0,
        supply_resistance_ohm: 0.11,
    };
    scenario.vehicle.supply_v = 13.4;
    scenario.style = Style {
        accelerate_m_per_s2: 4.5,
        spin_tolerance_m_per_s: 3.0,
        ..Style::BRISK
    };
    scenario.ambient_c = 8.0;
    scenario.start_c = 41.0;
    scenario
}

fn mismatched_tyres() -> Scenario {
    let mut pieces = vec![
        Piece::straight(200.0, 50.0),
        Piece::bend(15.0, 90.0, 50.0),
        Piece::straight(300.0, 60.0),
        Piece::stop(6.0),
        Piece::straight(150.0, 60.0),
        Piece::bend(60.0, -110.0, 60.0),
    ];
    for side in [1.0, -1.0, 1.0] {
        pieces.extend([
            Piece::straight(2600.0, 118.0),
            Piece::bend(900.0, side * 25.0, 118.0),
            Piece::straight(1700.0, 118.0),
            Piece::bend(700.0, -side * 20.0, 112.0),
        ]);
    }
    pieces.extend([
        Piece::straight(900.0, 110.0),
        Piece::bend(55.0, 120.0, 60.0),
        Piece::straight(120.0, 50.0),
        Piece::stop(8.0),
        Piece::straight(250.0, 50.0),
        Piece::bend(12.0, -90.0, 50.0),
        Piece::straight(150.0, 50.0),
        Piece::stop(10.0),
    ]);
    let mut scenario = drive(
        "mismatched-tyres",
        "one new rear tyre beside a worn one, on the motorway",
        "After a puncture Edda Korhal had one rear tyre replaced and kept the worn one on the other \
         side. On the long straights the pack turns all the time, though nobody asks it to work.",
        30_004,
        1_764_403_200,
        pieces,
    );
    scenario.vehicle.tyre_mismatch = 0.0105;
    scenario.style = Style {
        accelerate_m_per_s2: 2.6,
        ..Style::CALM
    };
    scenario.ambient_c = 5.0;
    scenario.start_c = 22.0;
    scenario
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::run::run;
    use crate::truth::Truth;

    fn truth(name: &str) -> Truth {
        let scenario = scenarios()
            .into_iter()
            .find(|scenario| scenario.name == name)
            .unwrap();
        run(&scenario, &mut |_| {})
    }

    #[test]
    fn every_drive_tells_its_story() {
        let (healthy, track) = (truth("healthy-road"), truth("hard-track-day"));
        let (tired, tyres) = (truth("tired-motor"), truth("mismatched-tyres"));
        for drive in [&healthy, &track, &tired, &tyres] {
            assert!(
                (300.0..1200.0).contains(&drive.duration_s),
                "{} {}",
                drive.name,
                drive.duration_s
            );
            assert!(
                drive.moving_time_s < drive.duration_s - 10.0,
                "{} stands at times",
                drive.name
            );
        }
        assert!(healthy.heat_per_km_kj.unwrap() < 2.0 && healthy.oil_temp_max_c < 80.0);
        assert!(healthy.heat_share_below_0_3_rad_per_s > 0.15);
        assert!(track.heat_per_km_kj.unwrap() > 6.0 && track.oil_temp_max_c > 130.0);
        assert!(
            track.inside_wheel_faster_s > 10.0 && track.heat_spin_kj > 0.5 * track.heat_total_kj
        );
        assert!(tired.transition_time_s > 4.0 * healthy.transition_time_s);
        // On the straights 70 of the 269 N·m that 1.05 % would make slips: about 1.2 kJ/km.
        assert!((0.8..2.0).contains(&tyres.heat_per_km_kj.unwrap()));
        assert!(tyres.heat_mismatch_kj > 0.6 * tyres.heat_total_kj);
        assert!(healthy.heat_preload_kj > 0.3 * healthy.heat_total_kj);
        assert!(tyres.stuck_moving_s < 0.2 * tyres.moving_time_s);
    }
}
