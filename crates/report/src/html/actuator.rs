//! How quickly the clutch answered, and whose delay it was.
//!
//! In: the pooled times of the drive. Out: tables and drawings. A time the sample periods hide is
//! shown as "below", never as a number.

use super::table;
use super::{delays, overlay, rise_by_oil};
use crate::words::{clean, counted, number, sentence};
use halfshaft_health::Results;
use halfshaft_health::actuator::{Actuator, Timing};
use halfshaft_health::response::Direction;
use halfshaft_health::response::ladder::Pedal;
use halfshaft_health::response::pool::{Band, Pool};
use halfshaft_health::response::resolution::{Spread, StatedTime};
use maud::{Markup, html};

pub(super) fn section(results: &Results) -> Markup {
    html! {
        section #actuator {
            h2 { "Actuator" }
            @match &results.actuator {
                Err(why) => p { "Its times are not known: " (sentence(&clean(why))) },
                Ok(actuator) => (tables(actuator)),
            }
            @if let Some(apparent) = &results.apparent { (super::apparent::paragraph(apparent)) }
        }
    }
}

fn tables(actuator: &Actuator) -> Markup {
    html! {
        @if let Some(signal) = &actuator.signal {
            p.note { "What the mechanism did is read from " (clean(signal)) ". Times are of a first-order lag with dead time, driven by the logged command." }
        }
        (table("Table of the actuator’s times", "timing", &[
            ("", "Time"), ("number", "Edges"), ("number", "Median"), ("number", "10 to 90 % of them"),
            ("number", "At 60\u{a0}°C and 13.5\u{a0}V"), ("", "Periods: command, answer")
        ], html! {
            (direction("Closing", &actuator.engage))
            (direction("Releasing", &actuator.release))
        }))
        div.strips.proofs {
            (overlay::figure("Closing", "answers-closing", &actuator.responses, Direction::Engage))
            (overlay::figure("Releasing", "answers-releasing", &actuator.responses, Direction::Release))
            (rise_by_oil::figure(actuator))
        }
        (reasons("Closing", &actuator.engage))
        (reasons("Releasing", &actuator.release))
        (super::crossings::table(&actuator.engage, &actuator.release))
        h3 { "Delay after the pedal" }
        (delays::ladder(Pedal::On, actuator.throttle_on.as_ref()))
        (delays::ladder(Pedal::Off, actuator.lift_off.as_ref()))
    }
}

fn direction(word: &str, timing: &Timing) -> Markup {
    let rows = [
        ("dead time", &timing.dead_time),
        ("10 to 90 % of the way", &timing.rise_time),
        ("command to 90 % of the way", &timing.transition_time),
    ];
    html! {
        @for (name, pool) in rows {
            (pooled(&format!("{word}: {name}"), pool))
            // What the sample periods hide, they hide at any temperature and voltage.
            @if pool.is_stated() { @for band in &pool.by_oil_c { (banded(band, "oil", "°C")) }
            @for band in &pool.by_supply_v { (banded(band, "supply", "V")) } }
        }
    }
}

fn pooled(name: &str, pool: &Pool) -> Markup {
    let periods = pool.resolution.map_or("–".to_owned(), |periods| {
        format!(
            "{}, {}",
            ms(periods.cause_period_s),
            ms(periods.answer_period_s)
        )
    });
    let (n, median, ends) = match pool.stated {
        StatedTime::Singly(spread) | StatedTime::Pooled { spread, .. } => (
            spread.n_events.to_string(),
            ms(spread.median),
            ends(&spread),
        ),
        StatedTime::BelowResolution { below_s } => (
            "–".to_owned(),
            format!("below {}", ms(below_s)),
            "hidden by the sample periods".to_owned(),
        ),
        StatedTime::NoEvent => ("0".to_owned(), "–".to_owned(), "–".to_owned()),
    };
    let normal = pool.normal.filter(|_| pool.is_stated());
    html! {
        tr {
            th scope="row" {
                (name)
                @if let Some(doubt_s) = pool.edge_doubt_s { small { "may be off by " (ms(doubt_s)) " either way: edges fall at one place of the command’s period" } }
            }
            td.number { (n) }
            td.number { (median) }
            td.number { (ends) }
            td.number { (normal.map_or("–".to_owned(), |spread| ms(spread.median))) }
            td { (periods) }
        }
    }
}

fn banded(band: &Band, of: &str, unit: &str) -> Markup {
    let range = match (band.from, band.to) {
        (Some(from), Some(to)) => format!("{} to {}\u{a0}{unit}", number(from), number(to)),
        (Some(from), None) => format!("{}\u{a0}{unit} and above", number(from)),
        (None, Some(to)) => format!("below {}\u{a0}{unit}", number(to)),
        (None, None) => "any".to_owned(),
    };
    html! {
        tr.quiet {
            th scope="row" { small { (of) " " (range) } }
            td.number { (band.spread.n_events) }
            td.number { (ms(band.spread.median)) }
            td.number { (ends(&band.spread)) }
            td {}
            td {}
        }
    }
}

fn reasons(word: &str, timing: &Timing) -> Markup {
    html! {
        @if !timing.reasons.is_empty() {
            p.note {
                (word) ": of " (counted(timing.n_edges as u64, "edge", "edges")) " these tell nothing: "
                @for (index, (reason, n)) in timing.reasons.iter().enumerate() {
                    @if index > 0 { "; " }
                    (n) " because " (reason.text())
                }
                "."
            }
        }
    }
}

pub(super) fn ends(spread: &Spread) -> String {
    format!("{} to {}", ms(spread.p10), ms(spread.p90))
}

pub(super) fn ms(seconds: f64) -> String {
    format!("{}\u{a0}ms", number(seconds * 1e3))
}
