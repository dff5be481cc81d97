//! What is known once of a whole drive, compared: the tyres, the torque the pack holds, the cooling.
//!
//! In: two sessions. Out: [`Compared`]. The scatter of each value is its own: what a map or a stiffness is off
//! by alike in both drives cancels and is not in it.

use super::bootstrap::{Wander, Z_80};
use super::session::{HeldAt, Once, Session};
use super::{Block, Change, Compared};
use crate::figure_id::FigureId;
use crate::limits::{Compare, SDS_OF_90};
use crate::reason::{DriveFact, Reason};

/// Commands so far apart are alike, share of full. Engineering guess: the torque between two
/// such is all but one.
const LIKE_COMMAND: f64 = 0.05;

/// Every such figure.
pub fn all(before: &Session, after: &Session, limits: &Compare) -> Vec<Compared> {
    let hidden = before.tyres_hidden.max(after.tyres_hidden);
    let mut all = vec![
        Compared {
            name: FigureId::TyreRatio.word(),
            title: "Right rear tyre faster than left, on straights",
            unit: "%",
            outcome: both(before, after, |side| side.tyre_ratio.as_ref())
                .map(|(one, other)| tyres(one, other, hidden)),
            method: "difference of the ratios by straight running, each with its own deviation; what preload may hide is in the smallest",
            whose: None,
            again: None,
        },
        Compared {
            name: "held_torque",
            title: "Torque held, by the tyres",
            unit: "N.m",
            outcome: both(before, after, |side| side.held.as_ref())
                .and_then(|(one, other)| held(one, other))
                .map(|change| change.widened(limits.same_held_share, &Wander::NONE, 0.0)),
            method: "difference of the torque that bends show at commands within 5 %, mean weighted by its scatter; the tyres' stiffness is the same in both",
            whose: None,
            again: None,
        },
    ];
    for (name, unit, one) in &before.thermal {
        let Some((_, _, other)) = after.thermal.iter().find(|(known, _, _)| known == name) else {
            continue;
        };
        let Some((name, title, unit)) = thermal_words(name, unit) else {
            continue;
        };
        // No sensor sees the pack.
        let share = match name {
            "pack_to_oil" => 3.0 * limits.same_thermal_share,
            _ => limits.same_thermal_share,
        };
        all.push(Compared {
            name,
            title,
            unit,
            outcome: Ok(wandered(one, other, share)),
            method: "difference of the numbers that the temperatures of each drive were fitted with",
            whose: None,
            again: None,
        });
    }
    all
}

/// Names of the numbers of the temperature model.
fn thermal_words(name: &str, unit: &str) -> Option<(&'static str, &'static str, &'static str)> {
    let known = [
        (
            "conductance from pack to oil",
            "pack_to_oil",
            "Conductance from pack to oil",
        ),
        (
            "conductance from oil to housing",
            "oil_to_housing",
            "Conductance from oil to housing",
        ),
        (
            "conductance from housing to still air",
            "housing_to_still_air",
            "Conductance from housing to still air",
        ),
        (
            "what 30 m/s of air adds to it",
            "housing_to_air",
            "Conductance that 30 m/s of air adds",
        ),
    ];
    let found = known.into_iter().find(|(words, _, _)| *words == name);
    found
        .filter(|_| unit == "W/K")
        .map(|(_, name, title)| (name, title, "W/K"))
}

fn both<'a, T>(
    before: &'a Session,
    after: &'a Session,
    of: impl Fn(&'a Session) -> Option<&'a Result<T, Reason>>,
) -> Result<(&'a T, &'a T), Reason> {
    let side = |session, is_before| {
        let refused = |why| Reason::OfSession {
            is_before,
            why: Box::new(why),
        };
        let found = of(session).ok_or_else(|| refused(DriveFact::EachTime.into()))?;
        found.as_ref().map_err(|why| refused(why.clone()))
    };
    Ok((side(before, true)?, side(after, false)?))
}

fn change(before: Once, after: Once) -> Change {
    let sd = before.sd.hypot(after.sd);
    let difference = after.value - before.value;
    Change {
        before: before.value,
        after: after.value,
        difference,
        low: difference - SDS_OF_90 * sd,
        high: difference + SDS_OF_90 * sd,
        smallest: (SDS_OF_90 + Z_80) * sd,
        block: Block::Drive,
        n_blocks: (1, 1),
        n_pairs: None,
    }
}

/// The change from the mean of some drives to that of others, with a share by which drives of one car are off.
fn wandered(before: &[Once], after: &[Once], share: f64) -> Change {
    let mean = |side: &[Once]| {
        let n = side.len() as f64;
        Once {
            value: side.iter().map(|one| one.value).sum::<f64>() / n,
            sd: side.iter().map(|one| one.sd * one.sd).sum::<f64>().sqrt() / n,
        }
    };
    let values = [before, after].map(|side| {
        side.iter()
            .map(|one| (one.value, one.sd * one.sd))
            .collect()
    });
    let change = Change {
        n_blocks: (before.len(), after.len()),
        ..change(mean(before), mean(after))
    };
    change.widened(share, &Wander::of(&values), 0.0)
}

/// A preload that ties the axle hides a change of the tyres up to what it can tie.
fn tyres(before: &[Once], after: &[Once], hidden: f64) -> Change {
    let change = wandered(before, after, 0.0);
    Change {
        smallest: change.smallest + hidden,
        ..change
    }
}

/// Torque at like commands: each of one drive with the nearest of the other.
fn held(before: &[HeldAt], after: &[HeldAt]) -> Result<Change, Reason> {
    let mut sums = [0.0; 3];
    let mut n_pairs = 0;
    for one in before {
        let apart = |other: &&HeldAt| (other.command - one.command).abs();
        let Some(other) = after
            .iter()
            .min_by(|a, b| apart(a).total_cmp(&apart(b)))
            .filter(|other| apart(other) <= LIKE_COMMAND)
        else {
            continue;
        };
        let variance = one.held_nm.sd.powi(2) + other.held_nm.sd.powi(2);
        let weight = 1.0 / variance.max(1e-6);
        sums[0] += weight;
        sums[1] += weight * one.held_nm.value;
        sums[2] += weight * other.held_nm.value;
        n_pairs += 1;
    }
    if n_pairs == 0 {
        return Err(DriveFact::LikeCommands.into());
    }
    let [weight, one, other] = sums;
    // Half of the variance of the difference on each side.
    let sd = (0.5 / weight).sqrt();
    let once = |sum: f64| Once {
        value: sum / weight,
        sd,
    };
    Ok(Change {
        n_pairs: Some(n_pairs),
        ..change(once(one), once(other))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn held_at(command: f64, value: f64) -> HeldAt {
        HeldAt {
            command,
            held_nm: Once { value, sd: 20.0 },
        }
    }

    #[test]
    fn torque_is_compared_at_like_commands_only() {
        let before = [
            held_at(0.2, 200.0),
            held_at(0.5, 400.0),
            held_at(0.9, 700.0),
        ];
        let after = [held_at(0.22, 150.0), held_at(0.53, 270.0)];
        let found = held(&before, &after).unwrap();
        // Derived: means of 200 and 400, of 150 and 270; 20·√2 of each pair, /√2 of two.
        assert_eq!((found.before, found.after), (300.0, 210.0));
        assert!((found.high - found.difference - SDS_OF_90 * 20.0).abs() < 1e-9);
        assert_eq!(found.n_pairs, Some(2));
        assert!(found.is_seen());
        assert!(held(&before[2..], &after).is_err());
    }

    #[test]
    fn a_tyre_changed_for_another_is_seen_and_none_is_not() {
        let side = |value: f64| Session {
            tyre_ratio: Some(Ok(vec![Once { value, sd: 0.05 }])),
            ..Session::default()
        };
        let found = |after: f64| {
            all(&side(0.1), &side(after), &Compare::default())[0]
                .outcome
                .clone()
                .unwrap()
        };
        assert!(found(0.6).is_seen());
        assert!(!found(0.15).is_seen());
        let tied = |hidden| Session {
            tyres_hidden: hidden,
            ..side(0.0)
        };
        let smallest = |hidden| {
            all(&tied(hidden), &side(0.0), &Compare::default())[0]
                .outcome
                .clone()
                .unwrap()
                .smallest
        };
        assert!((smallest(0.6) - smallest(0.0) - 0.6).abs() < 1e-12);
        assert!(
            all(&side(0.0), &Session::default(), &Compare::default())[0]
                .outcome
                .is_err()
        );
    }

    #[test]
    fn what_weather_and_roads_do_is_assumed() {
        let once = |value| vec![Once { value, sd: 0.0 }];
        let side = || Session {
            held: Some(Ok(vec![HeldAt {
                command: 0.5,
                held_nm: Once {
                    value: 400.0,
                    sd: 0.0,
                },
            }])),
            thermal: vec![(
                "conductance from oil to housing".to_owned(),
                "W/K".to_owned(),
                once(80.0),
            )],
            ..Session::default()
        };
        let all = all(&side(), &side(), &Compare::default());
        let half = |name: &str| {
            let figure = all.iter().find(|one| one.name == name).unwrap();
            figure.outcome.clone().unwrap().high
        };
        // By hand: 5 % of 80 W/K, 15 % of 400 N.m.
        assert!((half("oil_to_housing") - 4.0).abs() < 1e-6);
        assert!((half("held_torque") - 60.0).abs() < 1e-2);
    }
}
