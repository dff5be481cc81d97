//! Golden numbers: closed forms that the whole program, from log text to figure, must give.
//!
//! All are derived; each sum stands in its comment. The car: clutch between case and one
//! side gear, track 1.55 m, rolling radius 0.32 m. Wheels come as rad/s in floats, every
//! 10 ms, so that nothing but the program's own arithmetic is on trial.

mod common;

use common::{assess, estimate, float_frame, map, refusal};
use halfshaft_health::FigureId;
use halfshaft_health::Results;

/// The map of the test car. `clutch` states layout and torque, `wheel` adds facts to the
/// wheel speeds.
fn car(clutch: &str, wheel: &str) -> String {
    format!(
        "map \"golden\"\n\
         vehicle \"golden\"\n  rear track 1.55 m\n  rolling radius 0.32 m\n{clutch}\
         bus main\n  in the log \"can0\"\n\
         frame 0x100 on main\n  length 8 bytes\n  every 10 ms\n\
         \x20 wheel.rear.left in bytes 3 2 1 0\n    float\n    step 1 rad/s\n{wheel}\
         \x20 wheel.rear.right in bytes 7 6 5 4\n    float\n    step 1 rad/s\n{wheel}\
         frame 0x101 on main\n  length 8 bytes\n  every 10 ms\n\
         \x20 yaw.rate in bytes 3 2 1 0\n    float\n    step 1 rad/s\n\
         \x20 clutch.torque in bytes 7 6 5 4\n    float\n    step 1 N.m\n    means {}\n    full at 1000 N.m\n",
        if clutch.contains("axle bias") {
            "axle bias"
        } else {
            "pack torque"
        },
    )
}

const ONE_SIDE: &str = "  clutch between case and left side gear\n  torque from clutch.torque\n";

/// A drive: for each 10 ms until `seconds`, case speed, axle speed difference, yaw rate
/// and torque; `None` is a lost sample.
fn drive(seconds: f64, sample: impl Fn(f64) -> Option<[f64; 4]>) -> Vec<u8> {
    let mut log = String::new();
    for index in 0..=(seconds * 100.0).round() as i64 {
        let time = index as f64 * 0.01;
        if let Some([case, difference, yaw, torque]) = sample(time) {
            float_frame(
                &mut log,
                time,
                0x100,
                &[case - 0.5 * difference, case + 0.5 * difference],
            );
            float_frame(&mut log, time, 0x101, &[yaw, torque]);
        }
    }
    log.into_bytes()
}

#[track_caller]
fn near(got: f64, wanted: f64, share: f64) {
    assert!(
        (got - wanted).abs() <= share * wanted.abs(),
        "{got} is not {wanted} within {share}"
    );
}

fn bend(radius_m: f64, speed: f64, degrees: f64, torque: f64) -> (f64, [f64; 4]) {
    let yaw = speed / radius_m;
    let difference = 1.55 * yaw / 0.32;
    (
        degrees.to_radians() / yaw,
        [speed / 0.32, difference, yaw, torque],
    )
}

fn golden(log: &[u8]) -> Results {
    assess(&map(&car(ONE_SIDE, "")), log)
}

#[test]
fn every_figure_is_there_in_the_order_of_its_declaration() {
    let results = golden(&drive(2.0, |_| Some([60.0, 30.0, 0.0, 800.0])));
    let ids: Vec<FigureId> = results.figures.iter().map(|figure| figure.id).collect();
    assert_eq!(ids, FigureId::ALL);
}

#[test]
fn k1_preload_in_a_bend_costs_the_same_at_any_speed_and_radius() {
    // 80 N·m · ½ · 1.55 m · 90° / 0.32 m = 304.3 J, whatever the speed.
    for (radius, speed) in [(20.0, 10.0), (20.0, 5.0), (12.0, 6.0), (40.0, 15.0)] {
        let (seconds, sample) = bend(radius, speed, 90.0, 80.0);
        let results = golden(&drive((seconds * 100.0).round() / 100.0, |_| Some(sample)));
        // Rounding the bend to whole samples moves its angle by up to 0.3 %.
        near(estimate(&results, FigureId::HeatTotal).value, 0.3043, 0.005);
        near(estimate(&results, FigureId::TurnTotal).value, 90.0, 0.005);
    }
    // 304.3 J over 90° are 3.381 J/deg; below 90° the figure is refused, so twice as far.
    let (seconds, sample) = bend(20.0, 10.0, 180.0, 80.0);
    let results = golden(&drive(seconds, |_| Some(sample)));
    near(
        estimate(&results, FigureId::HeatPerDegree).value,
        3.3815,
        0.002,
    );
}

#[test]
fn k2_preload_power_in_a_bend() {
    // R 20 m at 10 m/s: difference 2.42 rad/s, slip 1.21, 97 W at 80 N·m.
    let (_, sample) = bend(20.0, 10.0, 90.0, 80.0);
    near(sample[1], 2.42, 1e-3);
    let results = golden(&drive(3.0, |_| Some(sample)));
    near(estimate(&results, FigureId::SlipPeak).value, 1.21, 2e-3);
    near(estimate(&results, FigureId::HeatPeak).value, 0.0969, 2e-3);
}

#[test]
fn k3_mismatched_tyres_on_a_straight_kilometre() {
    // ½ · 100 N·m · 0.01 · 1000 m / 0.32 m = 1562 J; 43 W at 100 km/h, over 36 s.
    let speed = 100.0 / 3.6;
    let results = golden(&drive(36.0, |_| {
        Some([speed / 0.32, 0.01 * speed / 0.32, 0.0, 100.0])
    }));
    near(estimate(&results, FigureId::HeatTotal).value, 1.5625, 2e-3);
    near(estimate(&results, FigureId::HeatPeak).value, 0.0434, 2e-3);
    near(estimate(&results, FigureId::HeatPerKm).value, 1.5625, 2e-3);
}

#[test]
fn k4_wheelspin() {
    // 800 N·m · 15 rad/s = 12 kW; for 2 s 24 kJ.
    let results = golden(&drive(2.0, |_| Some([60.0, 30.0, 0.0, 800.0])));
    near(estimate(&results, FigureId::HeatTotal).value, 24.0, 1e-3);
    near(estimate(&results, FigureId::HeatPeak).value, 12.0, 1e-3);
    near(estimate(&results, FigureId::SlipPeak).value, 15.0, 1e-3);
    near(
        estimate(&results, FigureId::PartialHeatMaking).value,
        2.0,
        1e-3,
    );
}

#[test]
fn k5_a_stuck_pack_makes_no_heat() {
    let results = golden(&drive(10.0, |_| Some([60.0, 0.0, 0.0, 1000.0])));
    assert_eq!(estimate(&results, FigureId::HeatTotal).value, 0.0);
    assert_eq!(estimate(&results, FigureId::PartialHeatMaking).value, 0.0);
}

#[test]
fn k6_backwards_makes_the_same_heat_of_the_same_sign() {
    let (seconds, [case, difference, yaw, torque]) = bend(20.0, 10.0, 90.0, 80.0);
    let log = drive((seconds * 100.0).round() / 100.0, |_| {
        Some([-case, -difference, -yaw, torque])
    });
    near(
        estimate(&golden(&log), FigureId::HeatTotal).value,
        0.3043,
        0.005,
    );
}

#[test]
fn k7_layouts() {
    let log = drive(2.0, |_| Some([60.0, 30.0, 0.0, 800.0]));
    let power =
        |clutch: &str| estimate(&assess(&map(&car(clutch, "")), &log), FigureId::HeatPeak).value;
    // Shaft to shaft the pack sees the whole difference: 800 N·m · 30 rad/s = 24 kW with
    // the same pack torque, and with the same bias (pack torque half of it) 12 kW.
    near(
        power("  clutch between left and right shaft\n  torque from clutch.torque\n"),
        24.0,
        1e-3,
    );
    let places = [
        "clutch between left and right shaft",
        "clutch between case and left side gear",
        "clutches between case and both side gears",
    ];
    for place in places {
        let clutch = format!("  {place}\n  torque from clutch.torque\n    # axle bias\n");
        near(power(&clutch), 12.0, 1e-3);
    }
    // Over the 2 s of the drive 48 kJ, and 24 kJ.
    let shafts = "  clutch between left and right shaft\n  torque from clutch.torque\n";
    for (meaning, kilojoules) in [("", 48.0), ("    # axle bias\n", 24.0)] {
        let results = assess(&map(&car(&format!("{shafts}{meaning}"), "")), &log);
        near(
            estimate(&results, FigureId::HeatTotal).value,
            kilojoules,
            1e-3,
        );
    }
}

#[test]
fn a_geared_pack_slips_with_the_case_as_well() {
    // 1.2 · 30 rad/s + 0.1 · 60 rad/s = 42 rad/s; 800 N·m · 42 rad/s = 33.6 kW, 67.2 kJ in 2 s.
    // As an axle bias of 1.4 times the pack's torque it is 24 kW.
    let log = drive(2.0, |_| Some([60.0, 30.0, 0.0, 800.0]));
    let geared = "  clutch geared\n    slip per difference 1.2\n    slip per case speed 0.1\n    \
                  bias per pack torque 1.4\n  torque from clutch.torque\n";
    let results = assess(&map(&car(geared, "")), &log);
    near(estimate(&results, FigureId::SlipPeak).value, 42.0, 1e-3);
    near(estimate(&results, FigureId::HeatTotal).value, 67.2, 1e-3);
    let bias = assess(&map(&car(&format!("{geared}    # axle bias\n"), "")), &log);
    near(estimate(&bias, FigureId::HeatPeak).value, 24.0, 1e-3);
}

/// The pack of 16 faces, radii 60 and 40 mm; its mean friction radius at uniform pressure is
/// ⅔·(60³ − 40³)/(60² − 40²) = 50.667 mm.
const PACK: &str = "  faces 16\n  outer radius 60 mm\n  inner radius 40 mm\n  friction 0.12\n";

#[test]
fn torque_by_clamp_force() {
    // µ·F·N·r = 0.12 · 8000 N · 16 · 50.667 mm = 778.24 N·m; at 15 rad/s for 2 s 23.347 kJ.
    let log = drive(2.0, |_| Some([60.0, 30.0, 0.0, 8000.0]));
    let clutch = format!(
        "  clutch between case and left side gear\n{PACK}  torque from clamp force clutch.force\n"
    );
    let text = car(&clutch, "").replace(
        "clutch.torque in bytes 7 6 5 4\n    float\n    step 1 N.m\n    means pack torque\n    full at 1000 N.m\n",
        "clutch.force in bytes 7 6 5 4\n    float\n    step 1 N\n    full at 20000 N\n",
    );
    let results = assess(&map(&text), &log);
    near(estimate(&results, FigureId::HeatTotal).value, 23.347, 1e-3);
}

#[test]
fn torque_by_a_table_of_two_inputs() {
    // Position half way, 120 of 240 deg, in oil of 80 °C: 600 N·m, which neither the position
    // at another temperature nor the inputs the other way round give. 15 rad/s for 2 s: 18 kJ.
    let log = drive(2.0, |_| Some([60.0, 30.0, 80.0, 120.0]));
    let text = car(
        "  clutch between case and left side gear\n  \
         torque from table held of clutch.position and oil.temperature\n    gives pack torque\n",
        "",
    );
    let text = text
        .replace(
            "yaw.rate in bytes 3 2 1 0\n    float\n    step 1 rad/s",
            "oil.temperature in bytes 3 2 1 0\n    float\n    step 1 degC",
        )
        .replace(
            "clutch.torque in bytes 7 6 5 4\n    float\n    step 1 N.m\n    means pack torque\n    full at 1000 N.m\n",
            "clutch.position in bytes 7 6 5 4\n    float\n    step 1 deg\n    full at 240 deg\n",
        )
        + "table held\n  input deg\n  second input degC at 40 80 120\n  output N.m\n  hold beyond its ends\n  \
           at 0 gives 0 0 0\n  at 120 gives 700 600 500\n  at 240 gives 1500 1200 900\n";
    let results = assess(&map(&text), &log);
    near(estimate(&results, FigureId::HeatTotal).value, 18.0, 1e-3);
}

#[test]
fn an_event_slides_its_slip_times_the_mean_radius() {
    // 15 rad/s for 2 s are 30 rad; at 50.667 mm 1.52 m.
    let clutch = format!("{ONE_SIDE}{PACK}");
    let log = drive(4.0, |time| {
        let spins = (1.0..3.0).contains(&time);
        Some([60.0, if spins { 30.0 } else { 0.0 }, 0.0, 800.0])
    });
    let results = assess(&map(&car(&clutch, "")), &log);
    let [event] = results.events.as_slice() else {
        panic!("{:?}", results.events);
    };
    // Its ends are found by the mean over 0.2 s, a sample or two off.
    near(
        event.slip_distance_m.expect("slip and radius are known"),
        1.52,
        0.02,
    );
}

#[test]
fn closing_and_release_have_their_own_time() {
    // Lags with a dead time of 0.1 s, 0.1 s closing and 0.3 s opening:
    // 0.1 + 2.303 · 0.1 = 0.330 s to 90 %, 0.1 + 2.303 · 0.3 = 0.791 s to 10 %.
    let text = car(ONE_SIDE, "")
        .replace("yaw.rate in", "clutch.command in")
        .replace(
            "step 1 rad/s\n  clutch.torque",
            "step 1 %\n    means share\n    full at 100 %\n  clutch.torque",
        );
    let log = drive(120.0, |time| {
        let within = time.rem_euclid(6.0);
        let (is_closed, since) = (within >= 3.0, within.rem_euclid(3.0) - 0.1);
        let left = |lag_s: f64| (-since.max(0.0) / lag_s).exp();
        let share = match (is_closed, time < 3.0) {
            (true, _) => 1.0 - left(0.1),
            (false, true) => 0.0,
            (false, false) => left(0.3),
        };
        Some([60.0, 0.0, if is_closed { 80.0 } else { 0.0 }, 800.0 * share])
    });
    let results = assess(&map(&text), &log);
    near(
        estimate(&results, FigureId::TransitionTime).value,
        0.330,
        0.05,
    );
    near(estimate(&results, FigureId::ReleaseTime).value, 0.791, 0.05);
}

#[test]
fn k8_a_gap_is_not_bridged() {
    // K4 with its middle second missing: 12 kJ "at least", and a gap of 1 s.
    let log = drive(2.0, |time| {
        (time <= 0.5 || time >= 1.5).then_some([60.0, 30.0, 0.0, 800.0])
    });
    let results = golden(&log);
    let heat = estimate(&results, FigureId::HeatTotal);
    near(heat.value, 12.0, 1e-3);
    assert!(heat.is_at_least && heat.high >= 24.0, "{heat:?}");
    let gap = &results.quality.gaps[0];
    near(gap.span.seconds(), 1.0, 1e-6);
}

/// The map of a car whose command and response come in frames of their own, each every so many ms.
fn unsynchronised(period_ms: u32) -> String {
    car(ONE_SIDE, "")
        .replace("every 10 ms", &format!("every {period_ms} ms"))
        .replace(
            "  yaw.rate in bytes 3 2 1 0\n    float\n    step 1 rad/s\n  clutch.torque in bytes 7 6 5 4",
            "  clutch.torque in bytes 3 2 1 0",
        )
        .replace("frame 0x101 on main\n  length 8 bytes", "frame 0x101 on main\n  length 4 bytes")
        + &format!(
            "frame 0x102 on main\n  length 4 bytes\n  every {period_ms} ms\n  clutch.command in bytes 3 2 1 0\n\
             \x20   float\n    step 1 %\n    means share\n    full at 100 %\n"
        )
}

#[test]
fn k9_times_of_an_unsynchronised_log_are_right_to_a_fifth_of_its_period() {
    // 180 ms of dead time and a lag that rises from 10 to 90 % in 320 ms: τ = 320/ln 9 = 145.6 ms.
    // 200 steps, 5.9 s apart and a little, so that they fall anywhere between the samples.
    let (dead_s, rise_s) = (0.180, 0.320);
    let lag_s = rise_s / 9.0_f64.ln();
    // Closed for 3 s of each turn. Both levels are reached to 1 part in 10⁸ before the next.
    let turn = |time: f64| (time / 5.917).floor();
    let since = |time: f64| time - 5.917 * turn(time) - 1.0;
    let asked = |time: f64| time > 0.0 && (0.0..3.0).contains(&since(time));
    let share = |time: f64| {
        let since = since(time - dead_s);
        match (time < dead_s, since) {
            (true, _) => 0.0,
            (_, since) if since < 0.0 => (-(since + 2.917) / lag_s).exp(),
            (_, since) if since < 3.0 => 1.0 - (-since / lag_s).exp(),
            (_, since) => (-(since - 3.0) / lag_s).exp(),
        }
    };
    for period_ms in [10, 20, 50, 100] {
        let period_s = 1e-3 * f64::from(period_ms);
        let mut log = String::new();
        for index in 0..(200.0 * 5.917 / period_s) as i32 {
            let time = f64::from(index) * period_s;
            // The response comes a third of a period after the command.
            float_frame(&mut log, time, 0x100, &[60.0, 60.0]);
            let command = if asked(time) { 80.0 } else { 0.0 };
            float_frame(&mut log, time, 0x102, &[command]);
            let later = time + 0.31 * period_s;
            float_frame(&mut log, later, 0x101, &[800.0 * share(later)]);
        }
        let results = assess(&map(&unsynchronised(period_ms)), log.as_bytes());
        for (id, wanted_s) in [
            (FigureId::DeadTime, dead_s),
            (FigureId::RiseTime, rise_s),
            (FigureId::TransitionTime, dead_s + 10.0_f64.ln() * lag_s),
            (FigureId::ReleaseTime, dead_s + 10.0_f64.ln() * lag_s),
        ] {
            let found_s = estimate(&results, id).value;
            assert!(
                (found_s - wanted_s).abs() <= 0.2 * period_s,
                "{id} at {period_ms} ms: {found_s}, true {wanted_s}"
            );
        }
    }
}

#[test]
fn slipping_under_load_begins_at_its_slip_and_its_torque() {
    // Rule: more than 0.3 rad/s of the pack and more than 50 N·m, or 1.5 times the preload; 4 s.
    // The pack slips half of what the wheels differ.
    let preload = format!("  preload 60 N.m\n{ONE_SIDE}");
    for (clutch, slip, torque, seconds) in [
        (ONE_SIDE, 0.29, 100.0, 0.0),
        (ONE_SIDE, 0.31, 100.0, 4.0),
        (ONE_SIDE, 1.0, 49.0, 0.0),
        (ONE_SIDE, 1.0, 51.0, 4.0),
        (&preload, 1.0, 88.0, 0.0),
        (&preload, 1.0, 92.0, 4.0),
    ] {
        let log = drive(4.0, |_| Some([60.0, 2.0 * slip, 0.0, torque]));
        let results = assess(&map(&car(clutch, "")), &log);
        let found_s = estimate(&results, FigureId::PartialHeatMaking).value;
        assert!(
            (found_s - seconds).abs() < 0.02,
            "{slip} {torque}: {found_s}"
        );
    }
}

#[test]
fn k10_tyre_corrected_speeds_are_no_basis_for_heat() {
    let log = drive(36.0, |_| Some([86.8, 0.0, 0.0, 100.0]));
    let results = assess(&map(&car(ONE_SIDE, "    corrected by the car\n")), &log);
    for name in [FigureId::HeatTotal, FigureId::HeatPeak, FigureId::HeatPerKm] {
        let reason = refusal(&results, name);
        assert!(reason.contains("corrected"), "{name}: {reason}");
    }
    assert!(results.cannot_tell.iter().any(|open| open.code == "heat"));
}

#[test]
fn means_are_not_multiplied() {
    // 0 N·m with 2 rad/s half the time and 800 N·m with none the other half is 0 W, not 400.
    let log = drive(10.0, |time| {
        Some(if time.rem_euclid(2.0) < 1.0 {
            [60.0, 2.0, 0.0, 0.0]
        } else {
            [60.0, 0.0, 0.0, 800.0]
        })
    });
    // Ten changes, each blurred over one sample: 800 N·m · 1 rad/s · 10 ms · ⅙ at most.
    assert!(estimate(&golden(&log), FigureId::HeatTotal).value < 0.015);
}

#[test]
fn quantised_wheels_without_slip_make_no_heat() {
    // Steps of 1/16 km/h rectified would read 5.8 W at 800 N·m, 20.8 kJ in an hour.
    let step = 1.0 / 16.0 / 3.6 / 0.32;
    let (mut log, mut state) = (String::new(), 3_u64);
    for index in 0..60_000 {
        let time = f64::from(index) * 0.01;
        let speed = 60.0 + 10.0 * (time * 0.3).sin();
        let mut quantised = || {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            let noise = (state >> 11) as f64 / (1_u64 << 53) as f64 - 0.5;
            ((speed / step + noise).round()) * step
        };
        float_frame(&mut log, time, 0x100, &[quantised(), quantised()]);
        float_frame(&mut log, time, 0x101, &[0.0, 800.0]);
    }
    let results = golden(log.as_bytes());
    let floor = results
        .noise_floor
        .expect("ten minutes are enough to learn a floor");
    let heat = estimate(&results, FigureId::HeatTotal).value;
    // Ten minutes rectified would be 3.5 kJ; a twentieth of that is left.
    assert!(
        heat < 0.17,
        "{heat} kJ above a floor of {} rad/s",
        floor.smallest_slip
    );
}
