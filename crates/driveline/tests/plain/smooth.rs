//! The smoother against windows that are added up anew around every sample, interval by interval.
//!
//! The smoother takes differences of sums that run on through the whole run; they keep sixteen
//! digits of all that was added up, not of what lies in a window. So a mean may be off by 1e-14
//! for each sample of the run, times the whole run's sum, over the window; counts by as much.

use halfshaft_driveline::align::{Aligned, PackTorque};
use halfshaft_driveline::smooth::{DEFINITION, N_WINDOWS, Slipping, Smoothed, Smoother, WINDOWS_S};
use halfshaft_model::Time;
use proptest::prelude::*;

/// What is compared of a smoothed sample.
#[derive(Debug, Default)]
struct Means {
    time: i64,
    before_s: f64,
    after_s: f64,
    torque_before_nm: Option<f64>,
    torque_after_nm: Option<f64>,
    slip_means: [f64; N_WINDOWS],
    n_in_window: [f64; N_WINDOWS],
    n_changes: [f64; N_WINDOWS],
    difference_mean: f64,
    yaw_mean: Option<f64>,
    power_mean: Option<f64>,
}

fn quick(of: &Smoothed) -> Means {
    Means {
        time: of.sample.aligned.time.0,
        before_s: of.before_s,
        after_s: of.after_s,
        torque_before_nm: of.torque_before_nm,
        torque_after_nm: of.torque_after_nm,
        slip_means: of.slip_means,
        n_in_window: of.n_in_window,
        n_changes: of.n_changes,
        difference_mean: of.difference_mean,
        yaw_mean: of.yaw_mean,
        power_mean: of.power_mean,
    }
}

fn time(sample: &Slipping) -> i64 {
    sample.aligned.time.0
}

fn difference(sample: &Slipping) -> f64 {
    sample.aligned.right - sample.aligned.left
}

/// Torque at both ends of an interval; a held one lasts to its end.
fn torque(first: &Slipping, second: &Slipping) -> Option<(f64, f64)> {
    let (start, end) = (first.aligned.torque?, second.aligned.torque?);
    if start.is_held {
        return Some((start.torque_nm, start.torque_nm));
    }
    (start.run == end.run).then_some((start.torque_nm, end.torque_nm))
}

/// Sums over a window, from interval to interval; `None` once one lacks the quantity.
struct Sums {
    slip: f64,
    difference: f64,
    n: f64,
    n_changes: f64,
    yaw: Option<f64>,
    power: Option<f64>,
}

fn sums(run: &[Slipping], start: i64, end: i64) -> Sums {
    let mut sums = Sums {
        slip: 0.0,
        difference: 0.0,
        n: 0.0,
        n_changes: 0.0,
        yaw: Some(0.0),
        power: Some(0.0),
    };
    for pair in run.windows(2) {
        let (first, second) = (&pair[0], &pair[1]);
        let (from, to) = (start.max(time(first)), end.min(time(second)));
        if from >= to {
            continue;
        }
        let share = |at: i64| (at - time(first)) as f64 / (time(second) - time(first)) as f64;
        let (share_before, share_after) = (share(from), share(to));
        // Linear from one sample to the next, so the mean of a part is the value in its middle.
        let integral = |(at_first, at_second): (f64, f64)| {
            let middle = 0.5 * (share_before + share_after);
            (at_first + middle * (at_second - at_first)) * (to - from) as f64 * 1e-9
        };
        sums.slip += integral((first.slip, second.slip));
        sums.difference += integral((difference(first), difference(second)));
        if second.aligned.is_wheel_sample {
            sums.n += share_after - share_before;
            let has_changed = first.aligned.left != second.aligned.left
                || first.aligned.right != second.aligned.right;
            if has_changed {
                sums.n_changes += share_after - share_before;
            }
        }
        let yaw = first.yaw_rate.zip(second.yaw_rate).map(integral);
        sums.yaw = sums.yaw.zip(yaw).map(|(sum, more)| sum + more);
        let power = torque(first, second)
            .map(|(start, end)| integral((start * first.slip, end * second.slip)));
        sums.power = sums.power.zip(power).map(|(sum, more)| sum + more);
    }
    sums
}

fn plain(run: &[Slipping], index: usize) -> Means {
    let (here, last) = (&run[index], run.len() - 1);
    let seconds = |from: usize, to: usize| (time(&run[to]) - time(&run[from])) as f64 * 1e-9;
    let mut means = Means {
        time: time(here),
        difference_mean: difference(here),
        yaw_mean: here.yaw_rate,
        ..Means::default()
    };
    if index > 0 {
        means.before_s = seconds(index - 1, index);
        means.torque_before_nm = torque(&run[index - 1], here).map(|ends| ends.1);
    }
    if index < last {
        means.after_s = seconds(index, index + 1);
        means.torque_after_nm = torque(here, &run[index + 1]).map(|ends| ends.0);
    }
    for (window, width_s) in WINDOWS_S.into_iter().enumerate() {
        let half = (0.5e9 * width_s).round() as i64;
        let start = (time(here) - half).max(time(&run[0]));
        let end = (time(here) + half).min(time(&run[last]));
        let length_s = (end - start) as f64 * 1e-9;
        let sums = sums(run, start, end);
        means.n_in_window[window] = sums.n.max(1.0);
        means.n_changes[window] = sums.n_changes;
        means.slip_means[window] = if length_s > 0.0 {
            sums.slip / length_s
        } else {
            here.slip
        };
        if window == DEFINITION && length_s > 0.0 {
            means.difference_mean = sums.difference / length_s;
            means.yaw_mean = sums.yaw.map_or(here.yaw_rate, |sum| Some(sum / length_s));
            means.power_mean = sums.power.map(|sum| sum / length_s);
        }
    }
    means
}

/// How far a running sum may be off, as a share of the largest value in the run times its length.
fn check(got: &Means, wanted: &Means, run: &[Slipping]) -> Result<(), TestCaseError> {
    let run_s = (time(&run[run.len() - 1]) - time(&run[0])) as f64 * 1e-9;
    let off = 1e-14 * run.len() as f64;
    let near = |got: f64, wanted: f64, largest: f64, window_s: f64, what: &str| {
        let tolerance = off * largest * (1.0 + run_s / window_s);
        prop_assert!(
            (got - wanted).abs() <= tolerance,
            "{what}: {got} is not {wanted}\n{got:?}"
        );
        Ok(())
    };
    let one = |got: Option<f64>, wanted: Option<f64>, largest: f64, what: &str| {
        prop_assert_eq!(got.is_some(), wanted.is_some(), "{}", what);
        near(
            got.unwrap_or(0.0),
            wanted.unwrap_or(0.0),
            largest,
            0.1,
            what,
        )
    };
    prop_assert_eq!(got.time, wanted.time);
    near(got.before_s, wanted.before_s, 1e-2, 1.0, "before")?;
    near(got.after_s, wanted.after_s, 1e-2, 1.0, "after")?;
    prop_assert_eq!(got.torque_before_nm, wanted.torque_before_nm);
    prop_assert_eq!(got.torque_after_nm, wanted.torque_after_nm);
    for (window, width_s) in WINDOWS_S.into_iter().enumerate() {
        // At an edge of the run half a window is left.
        let window_s = 0.5 * width_s;
        near(
            got.slip_means[window],
            wanted.slip_means[window],
            20.0,
            window_s,
            "slip",
        )?;
        near(
            got.n_in_window[window],
            wanted.n_in_window[window],
            run.len() as f64,
            1e9,
            "n",
        )?;
        near(
            got.n_changes[window],
            wanted.n_changes[window],
            run.len() as f64,
            1e9,
            "changes",
        )?;
    }
    one(
        Some(got.difference_mean),
        Some(wanted.difference_mean),
        4.0,
        "difference",
    )?;
    one(got.yaw_mean, wanted.yaw_mean, 1.0, "yaw")?;
    one(got.power_mean, wanted.power_mean, 20.0 * 1000.0, "power")
}

/// A sample of the drive by chance, and how long after the one before.
type Drawn = (u8, f64, f64, (u8, u8), Option<f64>, Option<f64>);

fn drawn(n: std::ops::Range<usize>) -> impl Strategy<Value = Vec<Drawn>> {
    let one = (
        0..120_u8,
        -0.3..0.3_f64,
        -20.0..20.0_f64,
        (0..4_u8, 0..4_u8),
        prop::option::weighted(0.97, -1.0..1.0_f64),
        prop::option::weighted(0.97, 0.0..1000.0_f64),
    );
    prop::collection::vec(one, n)
}

/// Runs of samples; without jitter, windows end at samples now and then.
fn runs((period_ms, has_jitter): (f64, bool), drawn: &[Drawn]) -> Vec<Vec<Slipping>> {
    let mut runs: Vec<Vec<Slipping>> = vec![Vec::new()];
    let (mut time_ms, mut torque_run, mut is_held) = (0.0, 0, false);
    for &(kind, jitter, slip, (left, right), yaw_rate, torque_nm) in drawn {
        time_ms += match kind {
            // A run that goes on over a second, as a slow channel does.
            0 => 1100.0,
            _ if has_jitter => period_ms * (1.0 + jitter),
            _ => period_ms.round(),
        };
        if kind == 1 {
            runs.push(Vec::new());
        }
        torque_run += u32::from(kind == 2);
        is_held ^= kind == 3;
        let torque = torque_nm.map(|torque_nm| PackTorque {
            torque_nm,
            run: torque_run,
            is_held,
            is_by_command: false,
        });
        let aligned = Aligned {
            time: Time((time_ms * 1e6) as i64),
            left: 50.0 + f64::from(left),
            right: 50.0 + f64::from(right),
            wheel_runs: (0, 0),
            is_wheel_sample: kind % 4 != 0,
            front: None,
            speed_m_per_s: None,
            yaw_rate,
            command: None,
            state: None,
            torque,
            is_braking: false,
            is_controlled: false,
        };
        if let Some(run) = runs.last_mut() {
            run.push(Slipping {
                aligned,
                slip,
                yaw_rate,
            });
        }
    }
    runs.retain(|run| !run.is_empty());
    runs
}

fn compare(runs: &[Vec<Slipping>]) -> Result<(), TestCaseError> {
    let mut smoother = Smoother::default();
    let mut got: Vec<Means> = Vec::new();
    for run in runs {
        for (index, sample) in run.iter().enumerate() {
            smoother.push(sample, index > 0, &mut |of| got.push(quick(of)));
        }
    }
    smoother.finish(&mut |of| got.push(quick(of)));
    prop_assert_eq!(got.len(), runs.iter().map(Vec::len).sum::<usize>());
    let mut got = got.iter();
    for run in runs {
        for (index, got) in got.by_ref().take(run.len()).enumerate() {
            check(got, &plain(run, index), run)?;
        }
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 60, failure_persistence: None, ..ProptestConfig::default() })]
    #[test]
    fn windows_are_what_they_would_be_added_up_anew(
        pace in (2.0..60.0_f64, any::<bool>()),
        drawn in drawn(1..300),
    ) {
        compare(&runs(pace, &drawn))?;
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 4, failure_persistence: None, ..ProptestConfig::default() })]
    #[test]
    fn a_run_so_long_that_its_start_is_thrown_away_is_smoothed_the_same(
        pace in (3.0..6.0_f64, any::<bool>()),
        drawn in drawn(2500..2600),
    ) {
        let one_run: Vec<Drawn> = drawn.into_iter().map(|mut one| {
            one.0 = one.0.max(2);
            one
        }).collect();
        compare(&runs(pace, &one_run))?;
    }

    #[test]
    fn a_sample_is_given_out_when_half_the_widest_window_behind_it_is_known(
        pace in (3.0..60.0_f64, any::<bool>()),
        drawn in drawn(300..600),
    ) {
        for run in runs(pace, &drawn) {
            let mut smoother = Smoother::default();
            let mut n_given = 0;
            for (index, sample) in run.iter().enumerate() {
                smoother.push(sample, index > 0, &mut |_| n_given += 1);
                let is_known = |early: &&Slipping| time(sample) - time(early) > 1_600_000_000;
                prop_assert_eq!(n_given, run.iter().filter(is_known).count());
            }
        }
    }
}
