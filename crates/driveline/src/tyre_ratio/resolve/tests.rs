//! The evidence: drives on which a mean or a median would be wrong, and each oddity.

use super::super::calibration::RatioEstimate;
use super::super::proof::MOST_POINTS;
use super::super::testing::{Drive, RADIUS_M, Road, TRACK_M, basis};
use super::*;

const RATIO: f64 = 0.006;

fn drive(road: Road, seconds: f64) -> Drive {
    Drive {
        ratio_log: RATIO,
        ..Drive::new(road, seconds)
    }
}

#[track_caller]
fn found(calibration: &Calibration) -> RatioEstimate {
    match &calibration.outcome {
        Ok(estimate) => *estimate,
        Err(reason) => panic!("{reason:?}"),
    }
}

#[track_caller]
fn check(drive: &Drive, mode: Mode, wanted: f64, tolerance: f64) {
    let calibration = drive.calibrate();
    let estimate = found(&calibration);
    assert_eq!(calibration.mode, mode);
    assert!(
        (estimate.ratio_log - wanted).abs() < tolerance,
        "{drive:?}: {estimate:?}"
    );
    assert!(estimate.sd < 2.0 * tolerance, "{estimate:?}");
    assert_eq!(calibration.step, None, "{drive:?}");
    assert!(!calibration.are_sides_swapped && !calibration.are_signals_identical);
}

#[test]
fn neither_one_way_bends_nor_yaw_bias_fool_either_mode() {
    for (road, seconds) in [
        (Road::Mixed, 300.0),
        (Road::Oval, 300.0),
        (Road::Oval, 1800.0),
    ] {
        for seed in 0..4 {
            let with_yaw = Drive {
                seed,
                ..drive(road, seconds)
            };
            check(&with_yaw, Mode::YawRegression, RATIO, 2e-4);
            let without = Drive {
                has_yaw: false,
                ..with_yaw
            };
            check(&without, Mode::ShortestThird, RATIO, 3e-4);
            let fronts = Drive {
                has_front: true,
                ..without
            };
            check(&fronts, Mode::FrontWheels, RATIO, 2e-4);
        }
    }
    // The plain mean of the same windows is off by the bends: 1.55/65·204/444 = 1.1 %.
    let oval = drive(Road::Oval, 1800.0).run();
    let ratios: Vec<f64> = oval.kept.fit.iter().map(Window::ratio_log).collect();
    let mean = ratios.iter().sum::<f64>() / ratios.len() as f64;
    assert!((mean - RATIO - 0.011).abs() < 5e-4, "{mean}");
}

#[test]
fn a_bias_seen_at_standstill_is_believed() {
    // 3 deg/s is more than would be believed of a car that was never seen standing.
    let yaw_bias = 3.0_f64.to_radians();
    let mut oval = Drive {
        yaw_bias,
        ..drive(Road::Oval, 600.0)
    }
    .run();
    assert!(oval.calibration(&basis()).outcome.is_err());
    for _ in 0..200 {
        oval.stands(yaw_bias, 0.02);
    }
    let calibration = oval.calibration(&basis());
    assert!((found(&calibration).ratio_log - RATIO).abs() < 5e-5);
    let bias = calibration.yaw_bias.unwrap();
    assert!((bias - yaw_bias).abs() < 3e-4, "{bias}");
}

#[test]
fn a_drive_longer_than_memory_is_calibrated_as_well() {
    for has_yaw in [true, false] {
        let run = Drive {
            has_yaw,
            ..drive(Road::Mixed, 40_000.0)
        }
        .run();
        let calibration = run.calibration(&basis());
        assert!((found(&calibration).ratio_log - RATIO).abs() < 1e-4);
        assert_eq!(calibration.step, None);
    }
}

#[test]
fn grades_follow_windows_stretches_and_agreement() {
    let long = drive(Road::Mixed, 1800.0).calibrate();
    assert!(found(&long).grade_factor >= 0.9 && long.n_windows >= 200 && long.n_stretches >= 3);
    let short = drive(Road::Mixed, 300.0).calibrate();
    assert!((0.7..0.9).contains(&found(&short).grade_factor));
    // One straight without end is one stretch.
    let one = drive(Road::Straight, 1800.0).calibrate();
    assert!(one.n_windows >= 200 && one.n_stretches == 1);
    assert!((0.7..0.9).contains(&found(&one).grade_factor));
}

fn causes(left_out: &[(Under, u32)]) -> Vec<Under> {
    left_out.iter().map(|(under, _)| *under).collect()
}

#[test]
fn too_little_straight_road_is_refused_with_the_counts() {
    // 10 windows beyond the warm-up, and 33 without a yaw rate: a third of these is chance.
    for (seconds, has_yaw, least) in [(105.0, true, 15), (150.0, false, 40)] {
        let few = Drive {
            has_yaw,
            ..drive(Road::Straight, seconds)
        }
        .calibrate();
        let Err(Refusal::FewStraights {
            found,
            needed,
            left_out,
        }) = few.outcome
        else {
            panic!("{:?}", few.outcome);
        };
        assert_eq!((found, needed), (few.n_windows, least));
        assert!(causes(&left_out).contains(&Under::WarmUp), "{left_out:?}");
    }
    let some = drive(Road::Straight, 150.0).calibrate();
    assert!((15..40).contains(&some.n_windows), "{}", some.n_windows);
    assert!((0.4..0.7).contains(&found(&some).grade_factor));
    assert!(found(&some).sd >= 5e-4 && (found(&some).ratio_log - RATIO).abs() < 1e-3);
    for has_yaw in [true, false] {
        let winding = Drive {
            has_yaw,
            ..drive(Road::Winding, 900.0)
        }
        .calibrate();
        let is_for_bends = match &winding.outcome {
            Err(Refusal::FewStraights { left_out, .. }) => causes(left_out).contains(&Under::Bend),
            Err(Refusal::NoStraightStandsOut { .. }) => true,
            _ => false,
        };
        assert!(is_for_bends, "{:?}", winding.outcome);
    }
    let all = drive(Road::Mixed, 600.0).run_with(|_, rolling| rolling.command = Some(0.3));
    let Err(Refusal::FewStraights {
        found: 0, left_out, ..
    }) = all.calibration(&basis()).outcome
    else {
        panic!("a command all the time leaves no straight");
    };
    assert!(causes(&left_out).contains(&Under::Commanded));
}

#[test]
fn a_torque_without_command_ties_the_wheels_too() {
    let tied = drive(Road::Mixed, 600.0).run_with(|way, rolling| {
        rolling.torque_nm = Some(if way > 8000.0 { 300.0 } else { 70.0 });
    });
    let rejected = tied.calibration(&basis()).rejected;
    assert!(
        rejected
            .iter()
            .any(|(under, n)| *under == Under::Torque && *n > 20),
        "{rejected:?}"
    );
}

#[test]
fn swapped_sides_show_in_the_sign_and_are_not_swapped_back() {
    for road in [Road::Mixed, Road::Oval] {
        let calibration = Drive {
            are_swapped: true,
            ..drive(road, 600.0)
        }
        .calibrate();
        assert!(calibration.are_sides_swapped);
        assert!((found(&calibration).ratio_log + RATIO).abs() < 3e-4);
    }
}

#[test]
fn one_signal_under_two_names_is_refused() {
    let calibration = Drive {
        are_identical: true,
        ..drive(Road::Mixed, 600.0)
    }
    .calibrate();
    assert!(calibration.are_signals_identical);
    assert_eq!(calibration.outcome, Err(Refusal::OneSignal));
    // On straights alone it may be a pack that sticks.
    let straight = Drive {
        are_identical: true,
        ..drive(Road::Straight, 600.0)
    }
    .calibrate();
    assert!(!straight.are_signals_identical);
}

#[test]
fn a_puncture_is_found_where_it_was_and_the_longer_part_is_calibrated() {
    for (has_yaw, road) in [
        (true, Road::Mixed),
        (true, Road::Oval),
        (false, Road::Straight),
        (false, Road::Oval),
    ] {
        for (at_m, kept) in [(6_000.0, RATIO + 0.005), (14_000.0, RATIO)] {
            let calibration = Drive {
                has_yaw,
                puncture: (at_m, 0.005),
                ..drive(road, 800.0)
            }
            .calibrate();
            let Some(step) = calibration.step else {
                panic!("{has_yaw} {road:?} {at_m}")
            };
            assert!((step.km - 1e-3 * at_m).abs() < 0.5, "{step:?}");
            assert!((step.size() - 0.005).abs() < 5e-4, "{step:?}");
            let estimate = found(&calibration);
            assert!((estimate.ratio_log - kept).abs() < 3e-4, "{estimate:?}");
        }
    }
}

#[test]
fn a_loss_that_begins_on_the_way_is_found_from_there() {
    // Derived: 0.08 % per km from 8 km on over the 9 km that are left is 0.7 %.
    let mut calibrations = Vec::new();
    for per_km in [0.0, 8e-4] {
        let drive = drive(Road::Mixed, 720.0);
        let ratio = drive.run_with(|way, rolling| {
            let lost = per_km * (1e-3 * way - 8.0).max(0.0);
            rolling.right *= lost.exp();
        });
        calibrations.push(ratio.calibration(&basis()));
    }
    let slides: Vec<_> = calibrations.iter().map(|found| found.slide).collect();
    let steady = slides[0].unwrap();
    assert!(steady.change.abs() < 1e-3, "{steady:?}");
    let lost = slides[1].unwrap();
    assert!((lost.km - 8.0).abs() < 1.5, "{lost:?}");
    assert!((lost.per_km.0 - 8e-4).abs() < 1e-4, "{lost:?}");
    assert!((lost.change - 7.2e-3).abs() < 1e-3, "{lost:?}");
}

#[test]
fn a_tied_axle_that_comes_from_right_hand_into_left_hand_sweeps_loses_no_air() {
    // Gentle sweeps of 700 m radius, all right and then all left: by the bend 0.22 % each way, of
    // which an axle tied by preload shows nothing.
    let drive = Drive {
        hidden: 0.005,
        ratio_log: 0.0,
        ..drive(Road::Straight, 700.0)
    };
    let ratio = drive.run_with(|way, rolling| {
        let yaw = rolling.radius_m * rolling.left / 700.0;
        let yaw = if way < 8_000.0 { -yaw } else { yaw };
        rolling.yaw_rate = rolling.yaw_rate.map(|before| before + yaw);
        rolling.kinematic = rolling
            .kinematic
            .map(|before| before + TRACK_M * yaw / RADIUS_M);
    });
    let calibration = ratio.calibration(&basis());
    assert_eq!(calibration.step, None);
}

#[test]
fn a_wheel_that_spins_or_an_axle_that_is_tied_shows_no_swapped_sides() {
    for (hidden, spins) in [(0.5, false), (0.0, true)] {
        let drive = Drive {
            hidden,
            ..drive(Road::Winding, 300.0)
        };
        let ratio = drive.run_with(|way, rolling| {
            // The inside wheel breaks away in every bend, for half of it.
            let kinematic = rolling.kinematic.unwrap_or(0.0);
            if spins && kinematic.abs() > 0.4 && way % 60.0 < 30.0 {
                let inside = 8.0_f64.copysign(kinematic);
                rolling.difference_mean -= inside;
                rolling.left += 0.5 * inside;
                rolling.right -= 0.5 * inside;
            }
        });
        let calibration = ratio.calibration(&basis());
        assert!(!calibration.are_sides_swapped, "{hidden} {spins}");
    }
}

#[test]
fn warming_tyres_drift_and_do_not_step() {
    for road in [Road::Mixed, Road::Oval, Road::Straight] {
        let calibration = Drive {
            warming: 0.002,
            ..drive(road, 400.0)
        }
        .calibrate();
        assert_eq!(calibration.step, None);
        let (slope, sd) = calibration.drift_per_km.unwrap();
        assert!((slope - 2e-4).abs() < 4.0 * sd + 2e-5, "{slope} {sd}");
        let steady = drive(road, 400.0).calibrate();
        let (slope, sd) = steady.drift_per_km.unwrap();
        assert!(slope.abs() < 4.0 * sd + 1e-6, "{slope} {sd}");
    }
}

#[test]
fn preload_hides_and_the_bound_says_how_much() {
    // Derived: 70/(80 000·0.32) = 0.273 %. Straight running shows 0.6 − 0.273 %.
    let hidden = 70.0 / (80e3 * RADIUS_M);
    for (road, has_yaw) in [(Road::Mixed, true), (Road::Oval, true), (Road::Oval, false)] {
        for ratio_log in [RATIO, -RATIO] {
            let calibration = Drive {
                hidden,
                has_yaw,
                ratio_log,
                ..drive(road, 600.0)
            }
            .calibrate();
            let estimate = found(&calibration);
            let shown = ratio_log - hidden.copysign(ratio_log);
            assert!((estimate.ratio_log - shown).abs() < 2e-4, "{estimate:?}");
            assert!((estimate.low..=estimate.high).contains(&ratio_log));
            assert!((calibration.hidden_by_preload - hidden).abs() < 1e-9);
        }
        // A mismatch within the bound does not show at all.
        let stuck = Drive {
            hidden,
            has_yaw,
            ratio_log: 0.001,
            ..drive(road, 600.0)
        }
        .calibrate();
        assert!(found(&stuck).ratio_log.abs() < 1e-4);
    }
}

#[test]
fn a_mismatch_that_collapses_under_command_is_real() {
    let run = drive(Road::Mixed, 900.0).run_with(|way, rolling| {
        if way.rem_euclid(3000.0) > 2000.0 {
            rolling.command = Some(0.5);
            rolling.right = rolling.left;
        }
    });
    let collapse = run.calibration(&basis()).collapses_with_command.unwrap();
    assert!(
        collapse.is_collapsed && collapse.commanded == 0.0,
        "{collapse:?}"
    );
    let steady = drive(Road::Mixed, 900.0).run_with(|way, rolling| {
        if way.rem_euclid(3000.0) > 2000.0 {
            rolling.command = Some(0.5);
        }
    });
    let collapse = steady.calibration(&basis()).collapses_with_command.unwrap();
    assert!(!collapse.is_collapsed, "{collapse:?}");
}

#[test]
fn the_track_is_found_from_bends_both_ways_only() {
    let mixed = drive(Road::Mixed, 900.0).calibrate();
    let (track, sd) = mixed.track_found_m.unwrap();
    assert!((track - 1.55).abs() < 0.02 && sd < 0.02, "{track} {sd}");
    assert_eq!(drive(Road::Oval, 900.0).calibrate().track_found_m, None);
}

#[test]
fn an_inside_wheel_that_breaks_away_is_left_out() {
    let spinning = drive(Road::Mixed, 600.0).run_with(|way, rolling| {
        if way.rem_euclid(250.0) < 60.0 {
            rolling.left += 6.0;
            rolling.difference_mean -= 6.0;
        }
    });
    let calibration = spinning.calibration(&basis());
    assert!((found(&calibration).ratio_log - RATIO).abs() < 2e-4);
    assert!(
        calibration
            .rejected
            .iter()
            .any(|(under, n)| *under == Under::Excess && *n > 20)
    );
}

#[test]
fn a_space_saver_spare_is_no_wheelspin() {
    let spare = Drive {
        ratio_log: 0.05,
        ..drive(Road::Mixed, 600.0)
    }
    .calibrate();
    assert!((found(&spare).ratio_log - 0.05).abs() < 2e-4);
}

#[test]
fn points_are_bounded_and_marked() {
    let calibration = drive(Road::Oval, 3600.0).calibrate();
    let points = &calibration.points;
    assert!(points.len() <= MOST_POINTS && points.len() > 400);
    assert!(points.iter().filter(|point| point.is_accepted).count() > 150);
    assert!(points.is_sorted_by(|one, two| one.km < two.km));
}
