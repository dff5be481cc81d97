//! Which events to show first, and what sets one apart.

use crate::words::counted;
use halfshaft_health::{Event, EventKind};
use std::cmp::Ordering;

/// What events are ranked by: the first of these that any event has.
fn rank(events: &[Event]) -> (&'static str, fn(&Event) -> Option<f64>) {
    if events.iter().any(|event| event.heat_kj.is_some()) {
        ("hottest", |event| event.heat_kj)
    } else if events
        .iter()
        .any(|event| event.partial_heat_making_s.is_some())
    {
        ("longest slipping", |event| event.partial_heat_making_s)
    } else {
        ("longest", |event| Some(event.span.seconds()))
    }
}

/// The word for the rank, and the `n` highest events, highest first; equal ones stay in
/// order of time.
pub fn foremost(events: &[Event], n: usize) -> (&'static str, Vec<&Event>) {
    let (word, key) = rank(events);
    let key = |event: &Event| key(event).filter(|value| value.is_finite());
    let mut ranked: Vec<&Event> = events.iter().collect();
    ranked.sort_by(|a, b| key(b).partial_cmp(&key(a)).unwrap_or(Ordering::Equal));
    ranked.truncate(n);
    (word, ranked)
}

/// How many events of each kind, in words: commanded ones are engagements.
pub fn counted_by_kind(events: &[Event]) -> String {
    let n = |kind| events.iter().filter(|event| event.kind == kind).count() as u64;
    let engagements = counted(n(EventKind::Command), "engagement", "engagements");
    match n(EventKind::SlipOnly) {
        0 => engagements,
        slips => format!(
            "{engagements} and {}",
            counted(slips, "slip without command", "slips without command")
        ),
    }
}

/// What sets an event apart, in few words; empty for an ordinary one.
pub fn remark(event: &Event) -> &'static str {
    match (event.kind, event.is_broken) {
        (EventKind::Command, false) => "",
        (EventKind::Command, true) => "not whole",
        (EventKind::SlipOnly, false) => "slip only",
        (EventKind::SlipOnly, true) => "slip only, not whole",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use halfshaft_model::{Span, Time};

    fn event(start_s: f64, heat_kj: Option<f64>) -> Event {
        Event {
            kind: EventKind::Command,
            span: Span {
                start: Time::from_seconds(start_s),
                end: Time::from_seconds(start_s + 1.0 + start_s / 10.0),
            },
            command_peak: None,
            slip_peak: None,
            heat_kj,
            heat_peak_kw: None,
            heat_mean_kw: None,
            slip_distance_m: None,
            partial_heat_making_s: None,
            speed_peak_m_per_s: None,
            is_broken: false,
        }
    }

    #[track_caller]
    fn check(heats: &[Option<f64>], word: &str, starts: &[f64]) {
        let events: Vec<Event> = heats
            .iter()
            .enumerate()
            .map(|(index, &heat)| event(index as f64, heat))
            .collect();
        let (got, foremost) = foremost(&events, 2);
        let got_starts: Vec<f64> = foremost
            .iter()
            .map(|event| event.span.start.seconds())
            .collect();
        assert_eq!((got, got_starts.as_slice()), (word, starts));
    }

    #[test]
    fn the_hottest_come_first_and_unknown_heat_comes_last() {
        check(&[Some(1.0), None, Some(3.0)], "hottest", &[2.0, 0.0]);
        check(
            &[Some(f64::NAN), Some(2.0), Some(2.0)],
            "hottest",
            &[1.0, 2.0],
        );
        check(&[None, None, None], "longest", &[2.0, 1.0]);
        check(&[], "longest", &[]);
    }
}
