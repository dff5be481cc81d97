//! The table of engagement events.
//!
//! Road speed is left out: how fast somebody drove is personal, and the pack does not
//! need it. `report.json` has it.

use super::{close_ups, table};
use crate::ranking::{counted_by_kind, foremost, remark};
use crate::words::{duration, number, percent};
use halfshaft_health::{Event, Results};
use maud::{Markup, html};

/// Rows shown; beyond that `report.json` has the rest.
const MAX_ROWS: usize = 200;

/// Events set in bold: the few one would look at first.
const N_FOREMOST: usize = 5;

pub(super) fn section(results: &Results) -> Markup {
    let events = &results.events;
    let (word, leading) = foremost(events, N_FOREMOST);
    // A table with all in bold would point at nothing.
    let leading = if events.len() > N_FOREMOST {
        leading
    } else {
        Vec::new()
    };
    let is_leading = |event: &Event| leading.iter().any(|&lead| std::ptr::eq(lead, event));
    html! {
        section #events {
            h2 { "Engagement events" }
            @if events.is_empty() {
                p { "None was seen in this log." }
            } @else {
                p.note {
                    (counted_by_kind(events)) " in order of time."
                    @if !leading.is_empty() { " The " (N_FOREMOST) " " (word) " are marked ●." }
                }
                (table("Table of engagement events", "events", &[
                    ("", "When"), ("number", "Lasts"), ("number", "Heat"), ("number", "Highest rate"),
                    ("number", "Highest slip"), ("number", "Time slipping"), ("number", "Asked"),
                    ("", "Remark")
                ], html! { @for event in events.iter().take(MAX_ROWS) { (row(event, is_leading(event))) } }))
                @if events.len() > MAX_ROWS {
                    p { "And " (events.len() - MAX_ROWS) " more; report.json lists every one." }
                }
            }
        }
    }
}

fn row(event: &Event, is_leading: bool) -> Markup {
    let lower_bound = if event.is_broken && event.heat_kj.is_some() {
        "at least "
    } else {
        ""
    };
    html! {
        tr.leading[is_leading] {
            th scope="row" { (close_ups::link(event.span)) @if is_leading { " ●" } }
            td.number { (duration(event.span.seconds())) }
            td.number { (lower_bound) (amount(event.heat_kj, "kJ")) }
            td.number { (amount(event.heat_peak_kw, "kW")) }
            td.number { (amount(event.slip_peak, "rad/s")) }
            td.number { (amount(event.partial_heat_making_s, "s")) }
            td.number { (event.command_peak.map_or("–".to_owned(), percent)) }
            td { (remark(event)) }
        }
    }
}

fn amount(value: Option<f64>, unit: &str) -> String {
    match value {
        Some(value) if value.is_finite() => format!("{}\u{a0}{unit}", number(value)),
        _ => "–".to_owned(),
    }
}
