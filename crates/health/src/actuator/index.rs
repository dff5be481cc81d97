//! The health of the actuator as one number from 0 to 100, by its worst item.
//!
//! In: what the drive says of the actuator, what to compare with, limits. Out:
//! [`HealthIndex`], with every item it was taken over. 100 is as it was or should be, 50
//! where the finding of that item would fire, 0 at twice that excess. It hides no weights,
//! and refuses fewer than ten clean steps.

use crate::reason::{Counted, DriveFact, Reason};
use halfshaft_driveline::response::Direction;
use halfshaft_driveline::response::pool::{Pool, Quantity as Pooled, pool};
use halfshaft_driveline::response::resolution::{Spread, StatedTime, spread};
use halfshaft_model::Vehicle;

use super::Actuator;
use super::unmixed;
use crate::baseline::{Baseline, Quantity};
use crate::limits::{ActuatorLimits, MEDIAN_ERROR, SDS_OF_10_TO_90, SDS_OF_90};

/// One item of the index.
#[derive(Clone, Debug, PartialEq)]
pub struct HealthItem {
    /// What it is.
    pub name: &'static str,
    /// Value of the drive; times at 60 °C and 13.5 V where these were known.
    pub value: f64,
    /// Its unit.
    pub unit: &'static str,
    /// Value that gives 100.
    pub good: f64,
    /// Value that gives 50, where a finding fires.
    pub limit: f64,
    /// What `good` is.
    pub source: String,
    /// 0 to 100.
    pub score: f64,
    /// The same by the low and the high end of the value.
    pub score_band: (f64, f64),
}

/// The index.
#[derive(Clone, Debug, PartialEq)]
pub struct HealthIndex {
    /// 0 to 100: the score of the losing item.
    pub value: f64,
    /// Every item that could be judged, in a fixed order.
    pub items: Vec<HealthItem>,
    /// Index of the losing one.
    pub losing: usize,
}

impl HealthIndex {
    /// The losing item.
    pub fn losing_item(&self) -> &HealthItem {
        &self.items[self.losing]
    }
}

/// Score of a value: 100·clamp(1 − (x − good)/(span·(limit − good)), 0, 1).
///
/// Derived from the definition of the index; `span` 2 puts the limit at 50.
pub fn score(value: f64, good: f64, limit: f64, span: f64) -> f64 {
    let excess = (value - good) / (span * (limit - good));
    100.0 * (1.0 - excess).clamp(0.0, 1.0)
}

/// The index of a drive, or why there is none.
pub fn health_index(
    actuator: &Actuator,
    baseline: &Baseline,
    vehicle: &Vehicle,
    limits: &ActuatorLimits,
) -> Result<HealthIndex, Reason> {
    let least = limits.least_steps as usize;
    let n_clean = actuator
        .responses
        .iter()
        .filter(|response| response.rise_time_s().is_some())
        .count();
    if n_clean < least {
        return Err(Reason::TooFew {
            what: Counted::CleanSteps,
            found: n_clean,
            needed: least,
        });
    }
    let past = |quantity| {
        let known = baseline.get(quantity);
        known.map(|reference| (reference.value, reference.source()))
    };
    let usual = "the usual value by guess";
    let mut items = Vec::new();
    let mut add = |name, unit, found: Option<Spread>, compare: (f64, f64, String)| {
        let Some(found) = found.filter(|found| found.median.is_finite()) else {
            return;
        };
        let (good, limit, source) = compare;
        let sd = (found.p90 - found.p10) / SDS_OF_10_TO_90;
        let half = SDS_OF_90 * MEDIAN_ERROR * sd / (found.n_events as f64).sqrt();
        let of = |value| score(value, good, limit, limits.index_span);
        items.push(HealthItem {
            name,
            value: found.median,
            unit,
            good,
            limit,
            source,
            score: of(found.median),
            score_band: (of(found.median + half), of(found.median - half)),
        });
    };
    let timed = |quantity, ratio: f64, (good, limit): (f64, f64)| match past(quantity) {
        Some((value, source)) => (value, ratio * value, source),
        None => (good, limit, usual.to_owned()),
    };
    let (engage, release) = (&actuator.engage, &actuator.release);
    let enough = |pool: &Pool| told(pool).filter(|spread| spread.n_events >= least);
    add(
        "dead time",
        "s",
        enough(&engage.dead_time),
        timed(
            Quantity::DeadTime,
            limits.dead_ratio,
            (limits.dead_usual_s, limits.dead_s),
        ),
    );
    add(
        "rise time",
        "s",
        enough(&engage.rise_time),
        timed(
            Quantity::RiseTime,
            limits.lazy_ratio,
            (limits.rise_usual_s, limits.lazy_rise_s),
        ),
    );
    if let Some((value, source)) = past(Quantity::TransitionTime) {
        let compare = (value, limits.lazy_ratio * value, source);
        add(
            "time to close",
            "s",
            enough(&engage.transition_time),
            compare,
        );
    }
    add(
        "time to let go",
        "s",
        enough(&release.transition_time),
        timed(
            Quantity::ReleaseTime,
            limits.release_ratio,
            (limits.rise_usual_s, limits.release_s),
        ),
    );
    // Scatter only where single times are told, and of answers not mixed with another.
    let alone: Vec<_> = actuator
        .responses
        .iter()
        .filter(|response| response.direction() == Direction::Engage)
        .copied()
        .collect();
    let alone = unmixed(&actuator.responses, alone, limits.mixed_s);
    let rises = pool(&alone, Direction::Engage, Pooled::RiseTime);
    let single = match rises.stated {
        StatedTime::Singly(_) => rises.normal,
        _ => None,
    };
    let scatter = single
        .filter(|spread| spread.n_events >= limits.scatter_events as usize)
        .map(|spread| {
            let share = (spread.p90 - spread.p10) / SDS_OF_10_TO_90 / spread.median;
            exactly(share, spread.n_events)
        });
    add(
        "scatter of the rise",
        "",
        scatter,
        (limits.scatter_usual, limits.scatter, usual.to_owned()),
    );
    let errors: Vec<f64> = actuator
        .responses
        .iter()
        .filter_map(|response| Some(response.steady_error?.abs()))
        .collect();
    add(
        "error of the position",
        "",
        spread(&errors).filter(|spread| spread.n_events >= limits.settled_steps as usize),
        (
            limits.position_usual,
            limits.position_error,
            usual.to_owned(),
        ),
    );
    let rated = || {
        let rated_a = vehicle.motor_current_a.filter(|rated| *rated > 0.0)?;
        Some((rated_a, "the motor's rated current of the map".to_owned()))
    };
    if let Some((value, source)) = past(Quantity::HoldCurrent).or_else(rated) {
        let held = actuator.motor.hold_current();
        add(
            "current to hold",
            "A",
            held.filter(|spread| spread.n_events >= limits.hold_times as usize),
            (value, limits.hold_ratio * value, source),
        );
    }
    let losing = items
        .iter()
        .enumerate()
        .min_by(|(_, one), (_, other)| one.score.total_cmp(&other.score))
        .map(|(index, _)| index)
        .ok_or(DriveFact::IndexTimes)?;
    Ok(HealthIndex {
        value: items[losing].score,
        items,
        losing,
    })
}

/// A time brought to 60 °C and 13.5 V where that can be, else as measured.
fn told(pool: &Pool) -> Option<Spread> {
    match pool.stated {
        StatedTime::Singly(spread) | StatedTime::Pooled { spread, .. } => Some(
            pool.normal
                .filter(|normal| 2 * normal.n_events > spread.n_events)
                .unwrap_or(spread),
        ),
        StatedTime::BelowResolution { .. } | StatedTime::NoEvent => None,
    }
}

/// A value without spread.
fn exactly(value: f64, n_events: usize) -> Spread {
    Spread {
        n_events,
        median: value,
        p10: value,
        p90: value,
        variation: None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::actuator::{Hold, Motor};
    use crate::baseline::Reference;
    use crate::findings::testing::answer;
    use halfshaft_driveline::response::Direction::{Engage, Release};
    use halfshaft_model::{Span, Time};

    fn actuator(n: usize, lag_s: f64, hold_a: f64) -> Actuator {
        let found = (0..n).flat_map(|index| {
            let of = |direction, step| answer(3 * step, direction, (0.04, lag_s), (60.0, 13.5));
            [of(Engage, 2 * index), of(Release, 2 * index + 1)]
        });
        let holds = (0..5).map(|_| Hold {
            span: Span {
                start: Time(0),
                end: Time(1),
            },
            current_a: hold_a,
            state: 0.9,
        });
        let motor = Motor {
            holds: holds.collect(),
            ..Motor::default()
        };
        Actuator::of(found.collect(), None, None, motor)
    }

    fn index(actuator: &Actuator, baseline: &Baseline) -> Result<HealthIndex, Reason> {
        let vehicle = Vehicle {
            motor_current_a: Some(16.0),
            ..Vehicle::default()
        };
        health_index(actuator, baseline, &vehicle, &ActuatorLimits::default())
    }

    #[test]
    fn score_of_a_value() {
        // By hand: good 0.2, limit 0.3, span 2: 0.2 is 100, 0.3 is 50, 0.4 and more 0.
        for (value, wanted) in [
            (0.1, 100.0),
            (0.2, 100.0),
            (0.3, 50.0),
            (0.35, 25.0),
            (0.9, 0.0),
        ] {
            assert!(
                (score(value, 0.2, 0.3, 2.0) - wanted).abs() < 1e-9,
                "{value}"
            );
        }
    }

    #[test]
    fn the_worst_item_is_the_index_and_is_named() {
        let good = index(&actuator(24, 0.05, 5.0), &Baseline::default()).unwrap();
        assert!(good.value > 99.0, "{good:?}");
        assert_eq!(good.items.len(), 6, "{good:?}");
        // By hand: 20 A against 16 A rated: 1 − 4/(2·0.3·16) = 0.583.
        let hard = index(&actuator(24, 0.05, 20.0), &Baseline::default()).unwrap();
        assert_eq!(hard.losing_item().name, "current to hold");
        assert!((hard.value - 58.33).abs() < 0.01, "{hard:?}");
        // By hand: rise 2.197·0.2 = 0.4394 s: 1 − 0.2394/0.6 = 0.601; to let go
        // 0.04 + 2.303·0.2 = 0.5006: 1 − 0.3006/1.2 = 0.7495.
        let slow = index(&actuator(24, 0.2, 5.0), &Baseline::default()).unwrap();
        assert_eq!(slow.losing_item().name, "rise time");
        assert!((slow.value - 60.1).abs() < 0.1, "{slow:?}");
    }

    #[test]
    fn its_own_past_is_what_it_is_compared_with() {
        let mut baseline = Baseline::default();
        let known = Reference {
            value: 0.2197,
            n_drives: 3,
        };
        baseline.set(Quantity::RiseTime, known);
        // By hand: twice what it was: 1 − 1/(2·0.5) = 0.
        let got = index(&actuator(24, 0.2, 5.0), &baseline).unwrap();
        assert_eq!(got.losing_item().name, "rise time");
        assert!(got.value < 0.1, "{got:?}");
        assert!(got.losing_item().source.contains("3 earlier drives"));
    }

    #[test]
    fn few_steps_give_none() {
        let reason = index(&actuator(4, 0.05, 5.0), &Baseline::default()).unwrap_err();
        assert!(
            matches!(reason, Reason::TooFew { found: 8, .. }),
            "{reason}"
        );
    }
}
