//! The axle whose wheels run away from those of the other.

use super::{Twins, Wheels, arrangement};
use crate::curve::{Together, quantile};
use crate::signal::Signal;

/// Correlation with the first axle: of one that is sent in like manner, and of one in another frame, byte
/// order or period. Engineering guess.
const LEAST_ALIKE: f64 = 0.3;
const LEAST_UNLIKE: f64 = 0.9;

/// How well two must stand together where they are not sent as the first are.
const LEAST_OF_A_PAIR: f64 = 2.2;

/// Adds the other axle to one: on ice or in a drift its wheels run away from these, and are twins of
/// each other alone. It stands in a frame alike, and they all rest on one code.
pub(super) fn with_the_other_axle(
    signals: &[Signal],
    speeds: &[usize],
    twins: &[Vec<Option<Twins>>],
    wheels: &mut Wheels,
) {
    let lowest = |signal: usize| {
        quantile(
            signals[signal].curve.iter().map(|value| f64::from(*value)),
            0.002,
        )
    };
    let [first, second] = [wheels.signals[0], wheels.signals[1]];
    let mut best: Option<(f64, [usize; 2])> = None;
    for (one, row) in twins.iter().enumerate() {
        for (other, pair) in row.iter().enumerate().skip(one + 1) {
            let Some(pair) = pair else {
                continue;
            };
            let two = [speeds[one], speeds[other]];
            let is_new = !two.contains(&first) && !two.contains(&second);
            let arrangement = arrangement(signals, &[first, second, two[0], two[1]]);
            let together = Together::of_curves(&signals[first].curve, &signals[two[0]].curve);
            let range = signals[first].quality.range;
            let one_rest = (lowest(two[0]) - lowest(first)).abs() < 0.05 * range;
            // Sent in another manner, it must run with this one all the more.
            let is_alike = arrangement >= 2.0 && together.r() >= LEAST_ALIKE;
            let is_unlike = together.r() >= LEAST_UNLIKE
                && super::arrangement(signals, &two) >= LEAST_OF_A_PAIR;
            if !is_new || !(is_alike || is_unlike) || !one_rest {
                continue;
            }
            let ends = |signal: usize| signals[signal].layout().map(|layout| layout.2);
            let same_places = ends(two[0]) == ends(first) && ends(two[1]) == ends(second);
            let score = arrangement - 10.0 * pair.distance + if same_places { 0.5 } else { 0.0 };
            if best.as_ref().is_none_or(|(known, _)| score > *known) {
                best = Some((score, two));
            }
        }
    }
    if let Some((_, two)) = best {
        wheels.signals.extend(two);
        wheels.offsets.extend([0.0, 0.0]);
        wheels.others.retain(|signal| !two.contains(signal));
    }
}
