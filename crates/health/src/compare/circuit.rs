//! Which corner of one session is which of another.
//!
//! In: the corners of the usual lap of each session, by distance and heading change. Out:
//! pairs of corner numbers, or why the two are not laps of one circuit. Laps found by the
//! repeated path may begin anywhere on it, so the laps are turned against each other until
//! most corners lie on each other.

use crate::reason::{DriveFact, Reason};
use halfshaft_driveline::median::upper_median;

use super::session::Session;
use crate::limits::Compare;

/// A corner of the usual lap.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Place {
    number: u32,
    // As a share of the lap, 0 to 1.
    at: f64,
    turned_deg: f64,
}

/// Corner numbers of the same corner, before and after.
pub fn matched(
    before: &Session,
    after: &Session,
    limits: &Compare,
) -> Result<Vec<(u32, u32)>, Reason> {
    let lengths =
        [before, after].map(|session| middle(session.laps.iter().map(|lap| lap.length_m)));
    let [Some(length_before), Some(length_after)] = lengths else {
        let side = if before.laps.is_empty() {
            before
        } else {
            after
        };
        return Err(side.no_laps.clone().unwrap_or(DriveFact::LapsInBoth.into()));
    };
    let apart = (length_after / length_before - 1.0).abs();
    if apart > limits.lap_length_share {
        return Err(Reason::UnlikeLaps {
            before_m: length_before,
            after_m: length_after,
        });
    }
    let (ours, theirs) = (places(before, length_before), places(after, length_after));
    let most = ours.len().max(theirs.len());
    let pairs = best(&ours, &theirs, length_before, limits);
    if pairs.is_empty() || (pairs.len() as f64) < limits.same_corners_share * most as f64 {
        return Err(Reason::UnlikeCorners {
            n_alike: pairs.len(),
            n_all: most,
        });
    }
    Ok(pairs)
}

/// Corners that at least half of the laps have.
fn places(session: &Session, length_m: f64) -> Vec<Place> {
    let mut numbers: Vec<u32> = session.passes.iter().map(|pass| pass.corner).collect();
    numbers.sort_unstable();
    numbers.dedup();
    numbers
        .into_iter()
        .filter_map(|number| {
            let passes = || session.passes.iter().filter(|pass| pass.corner == number);
            if 2 * passes().count() < session.laps.len() {
                return None;
            }
            Some(Place {
                number,
                at: middle(passes().map(|pass| pass.middle_m))? / length_m,
                turned_deg: middle(passes().map(|pass| pass.turned_deg))?,
            })
        })
        .collect()
}

/// The median of those that are numbers.
fn middle(values: impl Iterator<Item = f64>) -> Option<f64> {
    upper_median(values.filter(|value| value.is_finite()))
}

/// The pairs of the turn that puts most corners on each other, the closest among equals.
fn best(ours: &[Place], theirs: &[Place], length_m: f64, limits: &Compare) -> Vec<(u32, u32)> {
    let reach = limits.same_place_m / length_m + limits.same_place_share;
    let mut best: (Vec<(u32, u32)>, f64) = (Vec::new(), f64::INFINITY);
    for our in ours {
        for their in theirs
            .iter()
            .filter(|their| is_same_turn(our, their, limits))
        {
            let (pairs, apart) = on_each_other(ours, theirs, their.at - our.at, reach, limits);
            if pairs.len() > best.0.len() || (pairs.len() == best.0.len() && apart < best.1) {
                best = (pairs, apart);
            }
        }
    }
    best.0
}

fn on_each_other(
    ours: &[Place],
    theirs: &[Place],
    shift: f64,
    reach: f64,
    limits: &Compare,
) -> (Vec<(u32, u32)>, f64) {
    let mut taken = vec![false; theirs.len()];
    let mut pairs = Vec::new();
    let mut sum = 0.0;
    for our in ours {
        let nearest = theirs
            .iter()
            .enumerate()
            .filter(|(index, their)| !taken[*index] && is_same_turn(our, their, limits))
            .map(|(index, their)| (index, round_apart(our.at + shift, their.at)))
            .filter(|(_, apart)| *apart <= reach)
            .min_by(|one, other| one.1.total_cmp(&other.1));
        if let Some((index, apart)) = nearest {
            taken[index] = true;
            pairs.push((our.number, theirs[index].number));
            sum += apart;
        }
    }
    (pairs, sum)
}

/// How far apart two places of a lap are, going the shorter way round, as a share of the lap.
fn round_apart(one: f64, other: f64) -> f64 {
    let apart = (one - other).rem_euclid(1.0);
    apart.min(1.0 - apart)
}

fn is_same_turn(one: &Place, other: &Place, limits: &Compare) -> bool {
    let apart = (one.turned_deg - other.turned_deg).abs();
    one.turned_deg * other.turned_deg > 0.0
        && apart
            <= limits
                .same_turn_deg
                .max(limits.same_turn_share * one.turned_deg.abs())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::compare::session::testing::{CORNERS, session};

    #[test]
    fn laps_that_begin_elsewhere_are_turned() {
        let before = session(5, 1, |_, _| 1.0);
        let mut after = session(4, 2, |_, _| 1.0);
        let limits = Compare::default();
        let same: Vec<(u32, u32)> = (1..=CORNERS.len() as u32).map(|n| (n, n)).collect();
        assert_eq!(matched(&before, &after, &limits), Ok(same));
        // The lap of the second session begins 600 m further on, behind two corners.
        for pass in &mut after.passes {
            pass.middle_m = (pass.middle_m - 600.0).rem_euclid(2000.0);
            pass.corner = (pass.corner + CORNERS.len() as u32 - 3) % CORNERS.len() as u32 + 1;
        }
        let turned = matched(&before, &after, &limits).unwrap();
        assert_eq!(turned.len(), CORNERS.len());
        assert_eq!(turned[2], (3, 1));
    }

    #[test]
    fn another_circuit_is_none() {
        let before = session(5, 1, |_, _| 1.0);
        let limits = Compare::default();
        let mut mirrored = before.clone();
        for pass in &mut mirrored.passes {
            pass.turned_deg = -pass.turned_deg;
        }
        assert!(matched(&before, &mirrored, &limits).is_err());
        let mut longer = before.clone();
        for lap in &mut longer.laps {
            lap.length_m *= 1.2;
        }
        let reason = matched(&before, &longer, &limits).unwrap_err();
        assert!(reason.to_string().contains("2400 m"), "{reason}");
        let none = Session {
            no_laps: Some(DriveFact::RepeatedPath.into()),
            ..Session::default()
        };
        let reason = matched(&before, &none, &limits).unwrap_err();
        assert_eq!(reason, DriveFact::RepeatedPath.into());
    }
}
