//! Under what a lap or a corner was driven: oil and supply voltage.
//!
//! In: laps and corners, the strip of the oil, the answers of the actuator, which hold the
//! voltage. Out: the same laps with what is known near enough in time.

use halfshaft_driveline::response::Response;
use halfshaft_model::Time;

use crate::actuator::Actuator;
use crate::nouns::{Laps, Strip};
use crate::reason::Reason;

/// Writes oil and voltage to laps and corners, where they are known within `near_s`.
pub fn note_conditions(
    laps: &mut Laps,
    strips: &[Strip],
    actuator: &Result<Actuator, Reason>,
    near_s: f64,
) {
    let slots = strips
        .iter()
        .find(|strip| strip.name == "oil_temperature")
        .map_or(&[][..], |strip| &strip.slots);
    let responses = actuator
        .as_ref()
        .map_or(&[][..], |actuator| &actuator.responses);
    let oil_c = |time| {
        let slot = nearest(slots, time, near_s, |slot| slot.span.start)?;
        Some(0.5 * (slot.low + slot.high))
    };
    for lap in &mut laps.laps {
        let ends = oil_c(lap.span.end).zip(oil_c(lap.span.start));
        lap.oil_rise_k = ends.map(|(end, start)| end - start);
    }
    for corner in &mut laps.corners {
        let at = corner.span.start;
        corner.oil_c = oil_c(at);
        let response = nearest(responses, at, near_s, Response::time);
        corner.supply_v = response.and_then(|one| one.supply_v);
    }
}

/// The nearest in time of things in order of time, if near at all.
fn nearest<T>(all: &[T], time: Time, near_s: f64, when: impl Fn(&T) -> Time) -> Option<&T> {
    let after = all.partition_point(|one| when(one) < time);
    let apart = |one: &T| when(one).since(time).abs();
    let around = [after.checked_sub(1), Some(after)];
    around
        .into_iter()
        .filter_map(|index| all.get(index?))
        .min_by(|one, other| apart(one).total_cmp(&apart(other)))
        .filter(|one| apart(one) <= near_s)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_a_minute_away_is_known_and_what_is_further_is_not() {
        let all = [0.0, 10.0, 200.0].map(Time::from_seconds);
        let near = |at| {
            nearest(&all, Time::from_seconds(at), 60.0, |time| *time).map(|time| time.seconds())
        };
        assert_eq!(near(-60.0), Some(0.0));
        assert_eq!(near(7.0), Some(10.0));
        assert_eq!(near(70.0), Some(10.0));
        assert_eq!((near(70.1), near(139.9)), (None, None));
        assert_eq!(near(140.0), Some(200.0));
    }
}
