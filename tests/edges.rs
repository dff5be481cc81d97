//! Where a figure could be quietly wrong: logs that lack something, each worked by hand.
//!
//! The car is that of the golden numbers: wheels at 50 and 54 rad/s slip by 2 rad/s at the
//! pack; at 500 N·m that is 1 kW, 10 kJ in 10 s.

mod common;

use common::{assess, estimate, figure, float_frame, map, refusal};
use halfshaft_health::FigureId;
use halfshaft_health::{EventKind, Grade, Results};

const HEAD: &str = "map \"edges\"\n\nvehicle \"edges\"\n  rear track 1.55 m\n  front track 1.55 m\n  rolling radius 0.32 m +/- 0 %\n";
const ONE_SIDE: &str = "  clutch between case and one side gear\n";
const WHEELS: &str = "\nframe 0x100\n  length 8 bytes\n  every 10 ms\n\
    \x20 wheel.rear.left in bytes 3 2 1 0\n    float\n    step 1 rad/s\n\
    \x20 wheel.rear.right in bytes 7 6 5 4\n    float\n    step 1 rad/s\n";
const COMMAND: &str = "\nframe 0x101\n  length 4 bytes\n  every 10 ms\n\
    \x20 clutch.command in bytes 3 2 1 0\n    float\n    step 1 none\n    means share\n    full at 1 none\n";
const TORQUE: &str = "\nframe 0x102\n  length 4 bytes\n  every 10 ms\n\
    \x20 clutch.torque in bytes 3 2 1 0\n    float\n    step 1 N.m\n    means pack torque\n    full at 1000 N.m\n";
const YAW: &str = "\nframe 0x103\n  length 4 bytes\n  every 10 ms\n\
    \x20 yaw.rate in bytes 3 2 1 0\n    float\n    step 1 rad/s\n";
const FRONT: &str = "\nframe 0x104\n  length 8 bytes\n  every 10 ms\n\
    \x20 wheel.front.left in bytes 3 2 1 0\n    float\n    step 1 rad/s\n\
    \x20 wheel.front.right in bytes 7 6 5 4\n    float\n    step 1 rad/s\n";
const FROM_TORQUE: &str = "  torque from clutch.torque\n    trust +/- 10 %\n";

/// A log of `seconds`: at each 10 ms the frames that `at` gives.
fn log(seconds: f64, at: impl Fn(f64) -> Vec<(u32, Vec<f64>)>) -> String {
    let mut log = String::new();
    for index in 0..=(seconds * 100.0).round() as i64 {
        let time = index as f64 * 0.01;
        for (id, values) in at(time) {
            float_frame(&mut log, time, id, &values);
        }
    }
    log
}

fn run(parts: &[&str], log: &str) -> Results {
    assess(&map(&(HEAD.to_owned() + &parts.concat())), log.as_bytes())
}

#[track_caller]
fn near(got: f64, wanted: f64, tolerance: f64) {
    assert!(
        (got - wanted).abs() <= tolerance,
        "{got} is not {wanted} ± {tolerance}"
    );
}

#[test]
fn wheels_that_end_early_or_begin_late_make_at_least() {
    for from in [0.0, 5.0] {
        let log = log(10.0, |time| {
            let mut frames = vec![(0x102, vec![500.0])];
            if time >= from && time <= from + 5.0 {
                frames.push((0x100, vec![50.0, 54.0]));
            }
            frames
        });
        let heat = estimate(
            &run(&[ONE_SIDE, FROM_TORQUE, WHEELS, TORQUE], &log),
            FigureId::HeatTotal,
        );
        near(heat.value, 5.0, 0.02);
        assert!(heat.is_at_least && heat.high >= 10.0, "{heat:?}");
    }
}

#[test]
fn a_command_that_ends_early_is_at_least_and_not_grade_a() {
    let log = log(10.0, |time| {
        let mut frames = vec![(0x100, vec![50.0, 50.0])];
        if time <= 5.0 {
            frames.push((0x101, vec![0.5]));
        }
        frames
    });
    let results = run(&[ONE_SIDE, WHEELS, COMMAND], &log);
    let commanded = estimate(&results, FigureId::PartialByCommand);
    assert!(
        commanded.is_at_least && commanded.high >= 10.0,
        "{commanded:?}"
    );
    assert!(figure(&results, FigureId::PartialByCommand).grade > Some(Grade::A));
}

#[test]
fn turning_falls_back_on_the_front_wheels_when_the_yaw_rate_is_not_there() {
    // R 20 m at 10 m/s for π s: 90°.
    let yaw = 0.5;
    let difference = 1.55 * yaw / 0.32;
    let pair = vec![31.25 - 0.5 * difference, 31.25 + 0.5 * difference];
    let log = log(std::f64::consts::PI, |_| {
        vec![(0x100, pair.clone()), (0x104, pair.clone())]
    });
    let results = run(&[ONE_SIDE, WHEELS, YAW, FRONT], &log);
    near(estimate(&results, FigureId::TurnTotal).value, 90.0, 1.0);
}

#[test]
fn half_a_yaw_rate_is_at_least() {
    let log = log(10.0, |time| {
        let mut frames = vec![(0x100, vec![30.0, 32.4])];
        if time < 5.0 {
            frames.push((0x103, vec![0.5]));
        }
        frames
    });
    let turned = estimate(&run(&[ONE_SIDE, WHEELS, YAW], &log), FigureId::TurnTotal);
    near(turned.value, 143.0, 2.0);
    assert!(turned.is_at_least && turned.high >= 286.0, "{turned:?}");
}

#[test]
fn partial_engagement_goes_by_command_where_the_torque_is_only_the_preload_or_never_spoke() {
    let log = log(10.0, |time| {
        let command = if (2.0..8.0).contains(&time) { 0.5 } else { 0.0 };
        vec![(0x100, vec![50.0, 54.0]), (0x101, vec![command])]
    });
    let preload = run(&[ONE_SIDE, "  preload 75 N.m\n", WHEELS, COMMAND], &log);
    let silent = run(&[ONE_SIDE, FROM_TORQUE, WHEELS, COMMAND, TORQUE], &log);
    for results in [&preload, &silent] {
        near(
            estimate(results, FigureId::PartialHeatMaking).value,
            6.0,
            0.02,
        );
        let figure = figure(results, FigureId::PartialHeatMaking);
        assert!(figure.method.contains("by command"), "{}", figure.method);
        assert!(figure.grade > Some(Grade::A));
    }
    assert!(estimate(&preload, FigureId::HeatTotal).is_at_least);
    assert!(refusal(&silent, FigureId::HeatTotal).contains("clutch.torque"));
}

#[test]
fn one_engagement_across_a_gap_is_one_and_broken() {
    let log = log(10.0, |time| {
        let mut frames = vec![(0x100, vec![50.0, 54.0])];
        if !(4.0..5.0).contains(&time) {
            frames.push((
                0x101,
                vec![if (2.0..8.0).contains(&time) { 0.5 } else { 0.0 }],
            ));
        }
        frames
    });
    let results = run(&[ONE_SIDE, WHEELS, COMMAND], &log);
    let n = estimate(&results, FigureId::Engagements);
    assert_eq!(n.value, 1.0);
    assert!(n.low <= 1.0 && n.high >= 2.0, "{n:?}");
    let event = &results.events[0];
    assert!(event.is_broken);
    near(event.span.seconds(), 6.0, 0.02);
}

#[test]
fn torque_worked_out_from_the_command_is_torque_by_command() {
    let derived = "\ntable from-command\n  input none\n  output N.m\n  hold beyond its ends\n  at 0 gives 0\n  at 1 gives 1000\n\
                   \nwork out clutch.torque = from-command(clutch.command)\n  means pack torque\n";
    let log = log(10.0, |_| {
        vec![(0x100, vec![50.0, 54.0]), (0x101, vec![0.5])]
    });
    let results = run(&[ONE_SIDE, FROM_TORQUE, WHEELS, COMMAND, derived], &log);
    let heat = estimate(&results, FigureId::HeatTotal);
    near(heat.value, 10.0, 0.03);
    assert!(heat.low < 10.0 / 1.7, "{heat:?}");
    assert_eq!(figure(&results, FigureId::HeatTotal).grade, Some(Grade::C));
    assert!(
        results
            .cannot_tell
            .iter()
            .any(|open| open.code == "heat-by-state")
    );
}

#[test]
fn what_the_map_does_not_state_of_the_layout_is_refused_and_not_guessed() {
    let log = log(5.0, |_| {
        vec![
            (0x100, vec![50.0, 54.0]),
            (0x101, vec![0.5]),
            (0x102, vec![500.0]),
        ]
    });
    let geared = "  clutch geared\n";
    for (layout, reason) in [("", "where the clutch sits"), (geared, "both its factors")] {
        let results = run(&[layout, FROM_TORQUE, WHEELS, COMMAND, TORQUE], &log);
        for name in [
            FigureId::SlipPeak,
            FigureId::HeatTotal,
            FigureId::HeatPeak,
            FigureId::PartialHeatMaking,
        ] {
            assert!(
                refusal(&results, name).contains(reason),
                "{name}: {}",
                refusal(&results, name)
            );
        }
        assert!(results.regions.is_err() && results.noise_floor.is_none());
        let events = &results.events;
        assert!(
            events
                .iter()
                .all(|event| event.slip_peak.is_none() && event.partial_heat_making_s.is_none())
        );
    }
}

#[test]
fn a_stuck_pack_makes_no_heat_on_a_logger_that_batches_its_stamps() {
    // 1000 N·m, 0.05 rad/s of noise per wheel, stamps 3 and 17 ms apart in turn.
    let (mut text, mut state) = (String::new(), 5_u64);
    let mut noise = || {
        let uniform = |state: &mut u64| {
            *state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            (*state >> 11) as f64 / (1_u64 << 53) as f64
        };
        0.05 * (0..12).fold(-6.0, |sum, _| sum + uniform(&mut state))
    };
    for index in 0..30_000_u32 {
        let time = f64::from(index / 2) * 0.02 + if index % 2 == 0 { 0.0 } else { 0.003 };
        float_frame(&mut text, time, 0x100, &[50.0 + noise(), 50.0 + noise()]);
        float_frame(&mut text, time, 0x102, &[1000.0]);
    }
    let heat = estimate(
        &run(&[ONE_SIDE, FROM_TORQUE, WHEELS, TORQUE], &text),
        FigureId::HeatTotal,
    );
    // Rectified it would be 4.4 kJ in these five minutes.
    assert!(heat.value < 0.05 && heat.low == 0.0, "{heat:?}");
}

#[test]
fn a_wheel_signal_lost_at_speed_is_not_wheelspin() {
    let log = log(10.0, |time| {
        let right = if (4.0..4.5).contains(&time) {
            0.0
        } else {
            50.0
        };
        vec![(0x100, vec![50.0, right]), (0x102, vec![500.0])]
    });
    let results = run(&[ONE_SIDE, FROM_TORQUE, WHEELS, TORQUE], &log);
    // Taken for slip it would be 6 kJ.
    let heat = estimate(&results, FigureId::HeatTotal);
    assert!(heat.value < 0.15, "{heat:?}");
    assert!(estimate(&results, FigureId::SlipPeak).value < 15.0);
}

#[test]
fn wheelspin_that_goes_on_at_the_end_of_the_log_is_listed() {
    let log = log(10.0, |time| {
        let right = if time < 5.0 { 50.0 } else { 70.0 };
        vec![
            (0x100, vec![50.0, right]),
            (0x101, vec![0.0]),
            (0x103, vec![0.0]),
        ]
    });
    let results = run(&[ONE_SIDE, WHEELS, COMMAND, YAW], &log);
    let slips: Vec<_> = results
        .events
        .iter()
        .filter(|event| event.kind == EventKind::SlipOnly)
        .collect();
    assert_eq!(slips.len(), 1);
    near(slips[0].span.seconds(), 5.0, 0.15);
    assert!(slips[0].is_broken);
}

#[test]
fn one_hertz_logs_have_no_gap_at_their_start() {
    let mut text = String::new();
    for index in 0..60 {
        let time = f64::from(index);
        float_frame(&mut text, time, 0x100, &[50.0, 54.0]);
        float_frame(&mut text, time, 0x102, &[500.0]);
    }
    let unstated = |part: &str| part.replace("  every 10 ms\n", "");
    let results = run(
        &[ONE_SIDE, FROM_TORQUE, &unstated(WHEELS), &unstated(TORQUE)],
        &text,
    );
    let heat = estimate(&results, FigureId::HeatTotal);
    near(heat.value, 59.0, 0.1);
    assert!(!heat.is_at_least, "{heat:?}");
    assert_eq!(results.quality.n_gaps, 0);
}
