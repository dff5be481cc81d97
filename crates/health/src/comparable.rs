//! What of a drive later drives of the same car can be compared with.
//!
//! In: [`Results`]. Out: a [`Comparable`] for every quantity of the baseline that this drive
//! can give, with its grade, or why it has no value. A quantity that no drive can give as yet
//! is not in the list. It does not compare: that is `baseline` and the findings.

use crate::reason::{DriveFact, Reason};
use halfshaft_driveline::response::pool::Pool;
use halfshaft_driveline::thermal::Anchor;

use crate::actuator::Timing;
use crate::baseline::Quantity;
use crate::figures::actuator::stated_spread;
use crate::held::commanded;
use crate::limits::Grades;
use crate::nouns::Grade;
use crate::results::Results;

/// Grade from which a value is worth comparing with. Source: none, engineering guess.
pub const COMPARED_FROM: Grade = Grade::B;

/// One quantity of one drive.
#[derive(Clone, Debug, PartialEq)]
pub struct Comparable {
    /// Which.
    pub quantity: Quantity,
    /// The value in the unit of its quantity, or why there is none.
    pub outcome: Result<f64, Reason>,
    /// How far it can be trusted; `None` without a value.
    pub grade: Option<Grade>,
}

/// Which pool of a timing.
type Pooled = fn(&Timing) -> &Pool;

/// What this drive gives to compare with.
pub fn comparable(results: &Results) -> Vec<Comparable> {
    let mut all = timed(results);
    all.push(held(results));
    all.extend(heated(results));
    all.push(cooled(results));
    all.push(holds(results));
    all
}

/// What the pack holds over what the map states. The doubts of tyres and map are those of the earlier drives too.
fn holds(results: &Results) -> Comparable {
    let held = results.held_torque.as_ref().map_err(Clone::clone);
    let found = held
        .and_then(|held| commanded(held, results.limits.grip.held_pieces as usize))
        .map(|curve| (curve.over_stated, COMPARED_FROM));
    graded(Quantity::HeldOverStated, found)
}

/// The motor's current while a full engagement is held.
fn held(results: &Results) -> Comparable {
    let found = actuator(results).and_then(|actuator| {
        let current = actuator.motor.hold_current();
        let current = current.ok_or(DriveFact::HeldCurrent)?;
        // A spread of currents holds amperes in its fields of seconds.
        let factor = results.limits.grades.of_events(current.n_events);
        // Less what an open clutch draws, as the finding takes it.
        let idle_a = actuator.motor.idle_a.unwrap_or(0.0).abs();
        Ok((current.median - idle_a, Grade::of(factor)))
    });
    graded(Quantity::HoldCurrent, found)
}

/// The time constant of cooling at standstill, as the drive showed it.
fn cooled(results: &Results) -> Comparable {
    let found = results
        .outlook
        .as_ref()
        .map_err(Clone::clone)
        .and_then(|outlook| {
            let shown = outlook.cool_down.shown.as_ref().map_err(Clone::clone)?;
            let decay = shown.decay;
            if decay
                .mean_speed_m_per_s
                .is_none_or(|speed| speed > results.limits.cooling.stands_below_m_per_s)
            {
                return Err(DriveFact::StandingCooling.into());
            }
            let factor =
                results.limits.grades.time_constant_sd * decay.time_constant_s / decay.sd_s;
            Ok((decay.time_constant_s, Grade::of(factor.min(1.0))))
        });
    graded(Quantity::StandingCooling, found)
}

/// The actuator's times, brought to 60 °C and 13.5 V.
fn timed(results: &Results) -> Vec<Comparable> {
    let times: [(Quantity, Pooled); 3] = [
        (Quantity::DeadTime, |timing| &timing.dead_time),
        (Quantity::RiseTime, |timing| &timing.rise_time),
        (Quantity::TransitionTime, |timing| &timing.transition_time),
    ];
    let engaged = times.map(|(quantity, pool)| {
        let found = actuator(results).and_then(|actuator| {
            let timing = &actuator.engage;
            normal(pool(timing), timing, &results.limits.grades)
        });
        graded(quantity, found)
    });
    let released = actuator(results)
        .map(|actuator| &actuator.release)
        .and_then(|timing| normal(&timing.transition_time, timing, &results.limits.grades));
    let mut all = Vec::from(engaged);
    all.push(graded(Quantity::ReleaseTime, released));
    all
}

fn actuator(results: &Results) -> Result<&crate::actuator::Actuator, Reason> {
    results.actuator.as_ref().map_err(Clone::clone)
}

/// The median at 60 °C and 13.5 V with the factor of its grade: of what the samples tell, and
/// of the events that say oil temperature and voltage.
fn normal(pool: &Pool, timing: &Timing, grades: &Grades) -> Result<(f64, Grade), Reason> {
    stated_spread(pool, timing)?;
    let normal = pool.normal.ok_or(DriveFact::OilAndVoltage)?;
    let factor = grades.of_median(pool, normal.n_events);
    Ok((normal.median, Grade::of(factor)))
}

/// What heat did to the temperature; only where a sensor holds the model.
fn heated(results: &Results) -> [Comparable; 2] {
    let fitted = results
        .thermal
        .as_ref()
        .map_err(Clone::clone)
        .and_then(|thermal| match &thermal.anchor {
            Anchor::Fitted(_) => Ok(thermal),
            Anchor::Open(why) => Err(Reason::NotAnchored(why.clone())),
        });
    // A temperature is as good as the torque and the log behind it. In a ratio between drives of one car the errors
    // of the map fall out, and how far the rest wanders is seen from drive to drive.
    let grade = Grade::B;
    let rise = fitted
        .clone()
        .and_then(|thermal| Ok(thermal.rise_k_per_kj.clone()?));
    let equalisation = fitted.map(|thermal| thermal.equalisation_s.value);
    [
        graded(Quantity::RisePerHeat, rise.map(|value| (value, grade))),
        graded(
            Quantity::Equalisation,
            equalisation.map(|value| (value, grade)),
        ),
    ]
}

fn graded(quantity: Quantity, found: Result<(f64, Grade), Reason>) -> Comparable {
    let sound = found.and_then(|(value, grade)| match value.is_finite() && value > 0.0 {
        true => Ok((value, grade)),
        false => Err(DriveFact::Positive.into()),
    });
    Comparable {
        quantity,
        grade: sound.as_ref().ok().map(|(_, grade)| *grade),
        outcome: sound.map(|(value, _)| value),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use halfshaft_driveline::Driveline;
    use halfshaft_driveline::response::resolution::{Spread, StatedTime};
    use halfshaft_model::{ChannelSpec, Vehicle};

    fn empty() -> Results {
        let (vehicle, channels): (Vehicle, [ChannelSpec; 0]) = Default::default();
        let learned = Driveline::new(&vehicle, &channels).learned();
        crate::Health::new(&vehicle, &channels).results(&learned)
    }

    #[test]
    fn without_anything_each_says_why() {
        let all = comparable(&empty());
        let names: Vec<Quantity> = all.iter().map(|one| one.quantity).collect();
        assert_eq!(
            names,
            [
                Quantity::DeadTime,
                Quantity::RiseTime,
                Quantity::TransitionTime,
                Quantity::ReleaseTime,
                Quantity::HoldCurrent,
                Quantity::RisePerHeat,
                Quantity::Equalisation,
                Quantity::StandingCooling,
                Quantity::HeldOverStated,
            ]
        );
        for one in &all {
            assert!(one.outcome.is_err() && one.grade.is_none(), "{one:?}");
        }
    }

    #[test]
    fn few_events_lower_the_grade_and_none_at_a_known_voltage_gives_none() {
        let spread = |n_events| Spread {
            n_events,
            median: 0.2,
            p10: 0.1,
            p90: 0.3,
            variation: None,
        };
        let pool = |normal, stated| Pool {
            stated,
            resolution: None,
            edge_doubt_s: None,
            error_s: 0.0,
            n_unusable: 0,
            by_oil_c: Vec::new(),
            by_supply_v: Vec::new(),
            slopes: Default::default(),
            normal,
        };
        let timing = |pool: &Pool| Timing {
            dead_time: pool.clone(),
            rise_time: pool.clone(),
            transition_time: pool.clone(),
            n_edges: 20,
            crossings: None,
            reasons: Vec::new(),
        };
        let found = |pool: Pool| normal(&pool, &timing(&pool), &Grades::default());
        let singly = StatedTime::Singly(spread(20));
        assert_eq!(found(pool(Some(spread(20)), singly)), Ok((0.2, Grade::A)));
        assert_eq!(found(pool(Some(spread(5)), singly)), Ok((0.2, Grade::C)));
        let told = StatedTime::Pooled {
            spread: spread(20),
            sampling_sd_s: 0.01,
        };
        assert_eq!(found(pool(Some(spread(20)), told)), Ok((0.2, Grade::B)));
        assert!(found(pool(None, singly)).is_err());
        let below = StatedTime::BelowResolution { below_s: 0.1 };
        assert!(found(pool(Some(spread(20)), below)).is_err());
    }
}
