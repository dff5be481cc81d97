//! What the owner is told of the actuator, in one or two sentences.

use halfshaft_driveline::response::pool::Pool;
use halfshaft_driveline::response::resolution::StatedTime;

use super::{Actuator, Timing};
use crate::baseline::{Baseline, Quantity, Reference};
use crate::limits::ActuatorLimits;

/// How quickly the clutch closes and releases, and whether that is as it should be.
///
/// Says so where the samples are too slow, where too few moves were seen, and where there is
/// nothing to compare with. "As it should be" is less than [`ActuatorLimits::lazy_ratio`] times
/// what it is compared with, and [`ActuatorLimits::release_s`].
pub fn sentence(actuator: &Actuator, baseline: &Baseline, limits: &ActuatorLimits) -> String {
    let least = limits.least_steps as usize;
    let closing = match Pace::of(&actuator.engage.transition_time, least) {
        few @ Pace::Few(_) => whole_way_s(&actuator.engage, least).map_or(few, Pace::Median),
        known => known,
    };
    let opening = Pace::of(&actuator.release.transition_time, least);
    let times = match (closing, opening) {
        (Pace::Median(close_s), Pace::Median(open_s)) => format!(
            "The clutch closes in {close_s:.2} s after the command and releases in {open_s:.2} s"
        ),
        (Pace::Median(close_s), _) => {
            format!("The clutch closes in {close_s:.2} s after the command")
        }
        (Pace::Below(below_s), _) => {
            return format!(
                "The clutch closes in less than {below_s:.2} s after the command; the log is too coarse to tell more."
            );
        }
        (Pace::Few(n), _) => {
            let n = match n {
                0 => "no quick move".to_owned(),
                1 => "1 quick move".to_owned(),
                n => format!("{n} quick moves"),
            };
            return format!(
                "How quickly the clutch closes cannot be said: {n} of the command could be timed in this drive, \
                 {least} are needed."
            );
        }
    };
    let Pace::Median(close_s) = closing else {
        return format!("{times}.");
    };
    let expected = baseline.get(Quantity::TransitionTime);
    let (is_lazy, compared) = match expected {
        Some(Reference { value, n_drives }) => {
            let what = match n_drives {
                0 => format!("rated {value:.2} s"),
                _ => format!("{value:.2} s before"),
            };
            (close_s > limits.lazy_ratio * value, Some(what))
        }
        None => (close_s > limits.lazy_rise_s, None),
    };
    let is_slow_to_open = matches!(opening, Pace::Median(open_s) if open_s > limits.release_s);
    match (is_lazy, is_slow_to_open, compared) {
        (false, false, Some(what)) => {
            format!("{times}; that is as it should be for this unit ({what}).")
        }
        (false, false, None) => format!(
            "{times}. Nothing says what this unit should take, but no actuator in order takes longer than {} s.",
            limits.lazy_rise_s
        ),
        (true, false, Some(what)) => {
            format!("{times}. Closing is slower than it should be ({what}).")
        }
        (true, false, None) => format!("{times}. Closing is slow for any such unit."),
        (false, true, _) => format!("{times}. Closing is in order, releasing is slow."),
        (true, true, Some(what)) => {
            format!("{times}. Both are slower than they should be ({what}).")
        }
        (true, true, None) => format!("{times}. Both are slow for any such unit."),
    }
}

/// Time from a command step to 90 % of the way, s, where no step over the whole way was timed but
/// dead time and rise were: θ + rise · ln 10 / ln 9, as both are those of a first-order lag. Derived.
pub fn whole_way_s(timing: &Timing, least: usize) -> Option<f64> {
    let median = |pool: &Pool| match Pace::of(pool, least) {
        Pace::Median(seconds) if seconds.is_finite() => Some(seconds),
        _ => None,
    };
    let per_rise = std::f64::consts::LN_10 / 9.0_f64.ln();
    Some(median(&timing.dead_time)? + per_rise * median(&timing.rise_time)?)
}

/// What may be said of one way.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Pace {
    /// It takes this, s.
    Median(f64),
    /// It takes less than this, s: the samples show no more.
    Below(f64),
    /// So few moves were timed.
    Few(usize),
}

impl Pace {
    /// Of a pool, where `least` moves are needed.
    pub fn of(pool: &Pool, least: usize) -> Pace {
        match pool.stated {
            StatedTime::NoEvent => Pace::Few(0),
            StatedTime::Singly(spread) if spread.n_events < least => Pace::Few(spread.n_events),
            StatedTime::Singly(spread) | StatedTime::Pooled { spread, .. } => {
                Pace::Median(spread.median)
            }
            StatedTime::BelowResolution { below_s } => Pace::Below(below_s),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::actuator::Motor;
    use crate::findings::testing::answer;
    use halfshaft_driveline::response::Direction::{Engage, Release};
    use halfshaft_driveline::response::resolution::Resolution;
    use halfshaft_model::Vehicle;

    fn told(n: usize, lag_s: f64, period_s: f64, rated_s: Option<f64>) -> String {
        let found = (0..n).flat_map(|index| {
            [Engage, Release].map(|direction| {
                let mut got = answer(index, direction, (0.03, lag_s), (60.0, 13.5));
                got.resolution = Some(Resolution {
                    cause_period_s: period_s,
                    answer_period_s: period_s,
                });
                got.phase = Some(0.0);
                got
            })
        });
        let actuator = Actuator::of(found.collect(), None, None, Motor::default());
        let baseline = Baseline::of_map(&Vehicle {
            rated_rise_s: rated_s,
            ..Vehicle::default()
        });
        sentence(&actuator, &baseline, &ActuatorLimits::default())
    }

    #[test]
    fn without_a_whole_step_the_closing_is_that_of_dead_time_and_rise() {
        // Derived: 0.03 + 2.303·0.06 = 0.168 s, from 0.03 and 2.197·0.06 = 0.132 s.
        let found = (0..12).map(|index| answer(index, Engage, (0.03, 0.06), (60.0, 13.5)));
        let mut actuator = Actuator::of(found.collect(), None, None, Motor::default());
        let seconds = whole_way_s(&actuator.engage, 5).expect("both are known");
        assert!((seconds - 0.1682).abs() < 1e-3, "{seconds}");
        actuator.engage.transition_time.stated = StatedTime::NoEvent;
        let words = sentence(
            &actuator,
            &Baseline::of_map(&Vehicle::default()),
            &ActuatorLimits::default(),
        );
        assert!(words.starts_with("The clutch closes in 0.17 s"), "{words}");
        assert_eq!(whole_way_s(&actuator.engage, 13), None);
    }

    #[test]
    fn in_words() {
        // Derived: 0.03 + 2.303·0.06 = 0.168 s; with a lag of 0.4 s 0.951 s.
        for (got, wanted) in [
            (
                told(12, 0.06, 0.01, Some(0.15)),
                "The clutch closes in 0.17 s after the command and releases in 0.17 s; that is as it should be for this \
                 unit (rated 0.15 s).",
            ),
            (
                told(12, 0.4, 0.01, Some(0.15)),
                "The clutch closes in 0.95 s after the command and releases in 0.95 s. Both are slower than they should \
                 be (rated 0.15 s).",
            ),
            (
                told(12, 0.06, 0.01, None),
                "The clutch closes in 0.17 s after the command and releases in 0.17 s. Nothing says what this unit should \
                 take, but no actuator in order takes longer than 0.5 s.",
            ),
            (
                told(12, 0.06, 0.2, Some(0.15)),
                "The clutch closes in less than 0.33 s after the command; the log is too coarse to tell more.",
            ),
            (
                told(3, 0.06, 0.01, Some(0.15)),
                "How quickly the clutch closes cannot be said: 3 quick moves of the command could be timed in this \
                 drive, 10 are needed.",
            ),
        ] {
            assert_eq!(got, wanted);
        }
    }
}
