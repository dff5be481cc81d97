//! Invented sessions against each other: what is seen, what is not, and whose it is.

use halfshaft_model::Time;

use super::session::testing::{CORNERS, session};
use super::*;
use crate::limits::Compare;
use crate::reason::{DriveFact, Paired, Reason};

/// The usual limits, with nothing but scatter in the band.
fn scatter_only() -> Compare {
    Compare {
        same_car_share: 0.0,
        same_open_share: 0.0,
        same_slid_share: 0.0,
        same_time_share: 0.0,
        ..Compare::default()
    }
}

/// One drive before and one after.
fn compared(before: &Session, after: &Session) -> Comparison {
    compare(
        std::slice::from_ref(before),
        std::slice::from_ref(after),
        &[],
        &scatter_only(),
    )
}

fn heat(_: usize, corner: usize) -> f64 {
    0.5 + 0.3 * corner as f64
}

fn more(lap: usize, corner: usize) -> f64 {
    1.2 * heat(lap, corner)
}

fn change(before: &Session, after: &Session, name: &str) -> Change {
    let found = compared(before, after);
    let figure = found.figure(name).expect("it is compared");
    figure.outcome.clone().expect("it is told")
}

#[test]
fn a_fifth_more_heat_is_found_and_none_is_not() {
    let (before, same) = (session(6, 1, heat), session(7, 2, heat));
    let after = session(7, 3, more);
    for name in ["heat_per_lap", "heat_per_corner", "heat_per_degree_open"] {
        let none = change(&before, &same, name);
        assert!(!none.is_seen() && none.smallest > 0.0, "{name}: {none:?}");
        let found = change(&before, &after, name);
        let truth = 0.2 * found.before;
        assert!(found.is_seen() && found.low > 0.0, "{name}: {found:?}");
        assert!(
            found.low < 1.3 * truth && 0.7 * truth < found.high,
            "{name}: {found:?}"
        );
        let back = change(&after, &before, name);
        assert!(back.high < 0.0, "{name}: {back:?}");
    }
}

#[test]
fn passes_that_are_not_alike_are_left_out() {
    let (before, after) = (session(6, 1, heat), session(6, 2, more));
    let pairs = |change: Change| change.n_pairs.expect("corners are paired");
    let all = pairs(change(&before, &after, "heat_per_corner"));
    assert_eq!(all, 6 * 6 * CORNERS.len());
    let spoilt = |spoil: fn(&mut Pass)| {
        let mut other = after.clone();
        other
            .passes
            .iter_mut()
            .filter(|pass| pass.lap >= 3)
            .for_each(spoil);
        pairs(change(&before, &other, "heat_per_corner"))
    };
    assert_eq!(spoilt(|pass| pass.entry_speed_m_per_s *= 1.3), all / 2);
    assert_eq!(spoilt(|pass| pass.supply_v = Some(12.0)), all / 2);
    assert_eq!(spoilt(|pass| pass.oil_c = Some(40.0)), all / 2);
    assert_eq!(spoilt(|pass| pass.oil_c = None), all);
    assert_eq!(spoilt(|pass| pass.heat_kj = None), all / 2);
}

#[test]
fn bands_hold_the_truth_nine_times_out_of_ten() {
    // The true difference of the mean corner.
    let mean = (0..CORNERS.len()).map(|c| heat(0, c)).sum::<f64>() / CORNERS.len() as f64;
    let (mut n_held, mut n_held_none, n_all) = (0, 0, 60);
    for pair in 0..n_all {
        let before = session(5, 1000 + pair, heat);
        let after = session(6, 2000 + pair, more);
        let found = change(&before, &after, "heat_per_corner");
        n_held += u64::from(found.low <= 0.2 * mean && 0.2 * mean <= found.high);
        let same = session(6, 3000 + pair, heat);
        let none = change(&before, &same, "heat_per_lap");
        n_held_none += u64::from(!none.is_seen());
    }
    for n in [n_held, n_held_none] {
        let share = n as f64 / n_all as f64;
        assert!((0.85..=0.97).contains(&share), "{share}");
    }
}

fn times(values: &[f64], is_normal: bool) -> Option<Result<Times, Reason>> {
    Some(Ok(Times {
        events: (0..)
            .map(|n| Time::from_seconds(60.0 * f64::from(n / 4)))
            .zip(values)
            .map(|(at, time_s)| Event::plain(at, *time_s))
            .collect(),
        doubt_s: 0.0,
        is_normal,
    }))
}

#[test]
fn a_slower_actuator_is_found_without_laps() {
    let values = |from: f64| -> Vec<f64> {
        (0..40)
            .map(|n| from + 0.001 * f64::from(n * 7 % 11))
            .collect()
    };
    let mut before = Session {
        no_laps: Some(DriveFact::RepeatedPath.into()),
        ..Session::default()
    };
    let mut after = before.clone();
    before.actuator[1] = times(&values(0.1), true);
    after.actuator[1] = times(&values(0.13), true);
    let found = change(&before, &after, "rise_time");
    assert!(
        found.low > 0.02 && found.low <= 0.03 && 0.03 <= found.high,
        "{found:?}"
    );
    assert_eq!(found.n_blocks, (10, 10));
    let comparison = compared(&before, &after);
    assert!(comparison.notes[0].contains("only stretches and events"));
    let refused = |after: &Session, name: &str| {
        let comparison = compared(&before, after);
        let figure = comparison.figure(name).expect("it is compared");
        figure.outcome.clone().expect_err("it is not told")
    };
    assert_eq!(
        refused(&after, "heat_per_lap"),
        DriveFact::RepeatedPath.into()
    );
    // Too few blocks, another footing, no value.
    after.actuator[1] = times(&values(0.13)[..8], true);
    let few = Reason::TooFewOfEach {
        what: Paired::EventBlocks,
        found: [10, 2],
        needed: scatter_only().least_blocks as usize,
    };
    assert_eq!(refused(&after, "rise_time"), few);
    after.actuator[1] = times(&values(0.13), false);
    assert_eq!(refused(&after, "rise_time"), DriveFact::AlikeEvents.into());
    after.actuator[1] = Some(Err(DriveFact::QuickMove.into()));
    let no_move = Reason::OfSession {
        is_before: false,
        why: Box::new(DriveFact::QuickMove.into()),
    };
    assert_eq!(refused(&after, "rise_time"), no_move);
    // An older record holds no single time.
    after.actuator[1] = None;
    after.is_older = true;
    let words = refused(&after, "rise_time").to_string();
    assert!(words.starts_with("after: a report of an older"), "{words}");
    let notes = compared(&before, &after).notes;
    assert!(
        notes[0].starts_with("A report after is of an older"),
        "{notes:?}"
    );
}

#[test]
fn open_bends_of_other_roads_are_compared_by_stretch() {
    let side = |per_degree: f64| Session {
        stretches: (0..8)
            .map(|n| {
                let open_turned_deg = 100.0 + 20.0 * f64::from(n);
                let scatter = 1.0 + 0.02 * f64::from(n % 3);
                Stretch {
                    drive: 0,
                    open_heat_j: per_degree * scatter * open_turned_deg,
                    open_turned_deg,
                    peak_w_per_mm2: None,
                }
            })
            .collect(),
        ..Session::default()
    };
    let found = change(&side(2.0), &side(2.4), "heat_per_degree_open");
    assert_eq!(found.block, Block::Stretch);
    assert!(found.low > 0.3 && found.high < 0.5, "{found:?}");
}

/// The same times with another drive's number.
fn moved(n_drive: usize, level_s: f64, per_step_s: f64, steps: [f64; 2]) -> Session {
    let events = (0..60).map(|n| {
        let step = steps[n % 2] + 0.001 * (n % 7) as f64;
        Event {
            drive: n_drive,
            step: Some(step),
            ..Event::plain(
                Time::from_seconds(20.0 * n as f64),
                level_s + per_step_s * step + 0.0005 * (n * 5 % 9) as f64,
            )
        }
    });
    let mut session = Session::default();
    session.actuator[1] = Some(Ok(Times {
        events: events.collect(),
        doubt_s: 0.0,
        is_normal: true,
    }));
    session
}

#[test]
fn longer_steps_are_no_slower_actuator() {
    // A limit of speed: a tenth of a second for a whole way; the other driver asks for longer steps.
    let before = moved(0, 0.05, 0.1, [0.3, 0.6]);
    let after = moved(0, 0.05, 0.1, [0.4, 0.9]);
    let found = change(&before, &after, "rise_time");
    assert!(
        !found.is_seen() && found.difference.abs() < 0.002,
        "{found:?}"
    );
    let slower = change(&before, &moved(0, 0.06, 0.1, [0.4, 0.9]), "rise_time");
    assert!((slower.difference - 0.01).abs() < 0.002, "{slower:?}");
    assert!(slower.is_seen());
}

/// Laps of 90 s that heat oil of 2 kJ/K, which gives 80 W/K to a housing of 12 kJ/K, and that so much per kelvin to
/// air of `air_c`; both begin at `start_c`.
fn warming(start_c: f64, air_c: f64, to_air_w_per_k: f64, seed: u64) -> Session {
    let mut session = session(9, seed, heat);
    let (mut oil_c, mut housing_c) = (start_c, start_c);
    session.air_c = vec![Some(air_c)];
    for lap in &mut session.laps {
        let from_c = oil_c;
        let heat_w = 1e3 * lap.heat_kj.unwrap_or(0.0) / 5.0;
        for _ in 0..90 {
            let across_w = 80.0 * (oil_c - housing_c);
            oil_c += (heat_w - across_w) / 2e3;
            housing_c += (across_w - to_air_w_per_k * (housing_c - air_c)) / 12e3;
        }
        lap.oil_start_c = Some(from_c);
        lap.oil_rise_k = Some(oil_c - from_c);
    }
    session
}

#[test]
fn a_warm_start_and_cold_air_are_no_other_cooling() {
    let before = warming(50.0, 10.0, 25.0, 1);
    let same = change(&before, &warming(35.0, 20.0, 25.0, 2), "oil_rise_per_lap");
    assert!(!same.is_seen(), "{same:?}");
    let cooled = change(&before, &warming(35.0, 20.0, 60.0, 3), "oil_rise_per_lap");
    assert!(cooled.high < 0.0, "{cooled:?}");
}

#[test]
fn what_goes_away_again_is_the_cars_and_what_stays_drifted() {
    let at = |level_s: f64| moved(0, level_s, 0.0, [0.5, 0.5]);
    let whose = |again: f64| {
        let sides = [at(0.05), at(0.07), at(again)].map(|one| vec![one]);
        let found = compare(&sides[0], &sides[1], &sides[2], &scatter_only());
        let figure = found.figure("rise_time").expect("it is compared").clone();
        (figure.whose, figure.again)
    };
    let (back, again) = whose(0.0505);
    assert_eq!(back, Some(Whose::Car));
    let again = again.expect("it was driven again").expect("it is told");
    assert!((again.back.difference - 0.0195).abs() < 1e-3, "{again:?}");
    // It stayed, or went on.
    assert_eq!(whose(0.07).0, Some(Whose::Drift));
    assert_eq!(whose(0.09).0, Some(Whose::Drift));
    // Without the figure on the way back it is not confirmed.
    let sides = [vec![at(0.05)], vec![at(0.07)], vec![Session::default()]];
    let found = compare(&sides[0], &sides[1], &sides[2], &scatter_only());
    assert_eq!(
        found.figure("rise_time").unwrap().whose,
        Some(Whose::Unconfirmed)
    );
}

#[test]
fn drives_of_a_side_are_pooled_and_their_wander_counts() {
    let side = |seeds: [u64; 2], factor: [f64; 2]| {
        [0, 1].map(|drive| {
            session(6, seeds[drive], |lap, corner| {
                factor[drive] * heat(lap, corner)
            })
        })
    };
    let (before, after) = (side([1, 2], [1.0, 1.0]), side([3, 4], [1.2, 1.2]));
    let limits = Compare::default();
    let of = |before: &[Session], after: &[Session]| {
        let found = compare(before, after, &[], &limits);
        assert_eq!(found.matched, Ok(CORNERS.len()));
        let figure = found.figure("heat_per_corner").expect("it is compared");
        figure.outcome.clone().expect("it is told")
    };
    let two = of(&before, &after);
    assert_eq!(two.n_blocks, (12, 12));
    // Twice the laps of drives alike: a narrower band than of one each.
    let one = of(&before[..1], &after[..1]);
    assert!(two.high - two.low < one.high - one.low, "{two:?} {one:?}");
    assert!(two.is_seen());
    // Drives of one side a fifth apart: the same difference is none.
    let apart = of(&side([1, 2], [0.9, 1.1]), &side([3, 4], [1.05, 1.25]));
    assert!(apart.high - apart.low > two.high - two.low, "{apart:?}");
    // A drive elsewhere leaves its side without laps.
    let mut elsewhere = before[1].clone();
    for pass in &mut elsewhere.passes {
        pass.turned_deg = -pass.turned_deg;
    }
    let found = compare(&[before[0].clone(), elsewhere], &after, &[], &limits);
    assert!(found.matched.is_err());
}

/// Half the band of a figure by the usual limits.
fn half(before: &Session, after: &Session, name: &str, limits: &Compare) -> f64 {
    let found = compare(
        std::slice::from_ref(before),
        std::slice::from_ref(after),
        &[],
        limits,
    );
    let figure = found.figure(name).expect("it is compared");
    let change = figure.outcome.clone().expect("it is told");
    0.5 * (change.high - change.low)
}

#[test]
fn what_drives_of_one_car_are_off_by_is_assumed() {
    let usual = Compare::default();
    // Without any scatter the band is what is assumed: 2 % of a time of 0.1 s, 2 % of 3 J/deg.
    let mut side = Session {
        stretches: vec![
            Stretch {
                open_heat_j: 300.0,
                open_turned_deg: 100.0,
                ..Stretch::default()
            };
            4
        ],
        ..Session::default()
    };
    side.actuator[1] = times(&[0.1; 40], true);
    let of_time = half(&side, &side, "rise_time", &usual);
    assert!((of_time - 0.002).abs() < 1e-9, "{of_time}");
    let of_bends = half(&side, &side, "heat_per_degree_open", &usual);
    assert!((of_bends - 0.06).abs() < 1e-9, "{of_bends}");
    // And a fifth of the way slid.
    let mut laps = session(5, 1, heat);
    for lap in &mut laps.laps {
        lap.slid_m = Some(50.0);
    }
    let of_slid = half(&laps, &laps, "slid_per_lap", &usual);
    assert!((of_slid - 10.0).abs() < 1e-9, "{of_slid}");
    // Other starts and other air: the band spans half of the way between them, neither more nor less.
    let (warm, cold) = (warming(50.0, 10.0, 25.0, 1), warming(35.0, 20.0, 25.0, 2));
    let spanning = |start_share| {
        half(
            &warm,
            &cold,
            "oil_rise_per_lap",
            &Compare {
                start_share,
                ..usual
            },
        )
    };
    let found = half(&warm, &cold, "oil_rise_per_lap", &usual);
    assert!((found - spanning(0.5)).abs() < 1e-12, "{found}");
    for other in [0.0, 0.45, 0.55] {
        assert!((found - spanning(other)).abs() > 1e-6, "{found} {other}");
    }
}
