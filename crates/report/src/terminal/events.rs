//! The few events that matter most.

use super::layout::{Align, Mark, Page, columns_width};
use crate::ranking::{counted_by_kind, foremost, remark};
use crate::words::{drive_time, duration, number, percent};
use halfshaft_health::Results;

const N_SHOWN: usize = 5;

/// Columns left out on a narrow terminal: what says least of an event goes first.
const DROPPED_FIRST: [&str; 3] = ["asked", "slip", "peak"];

pub(super) fn section(page: &mut Page, results: &Results) {
    let events = &results.events;
    if events.is_empty() {
        page.heading("Engagement events");
        page.paragraph("  ", "None was seen.", Mark::Plain);
        return;
    }
    let (word, foremost) = foremost(events, N_SHOWN);
    let n_all = counted_by_kind(events);
    if foremost.len() < events.len() {
        page.heading(&format!("The {} {word} of {n_all}", foremost.len()));
    } else {
        page.heading(&format!("{n_all}, {word} first"));
    }
    let optional = |value: Option<f64>, unit: &str| match value {
        Some(value) if value.is_finite() => format!("{} {unit}", number(value)),
        _ => "–".to_owned(),
    };
    let head = ["at", "lasts", "heat", "peak", "slip", "asked", ""];
    let mut table = vec![head.map(str::to_owned).to_vec()];
    let cells = foremost.iter().map(|event| {
        let heat = optional(event.heat_kj, "kJ");
        let heat = if event.is_broken && event.heat_kj.is_some() {
            format!("≥ {heat}")
        } else {
            heat
        };
        vec![
            drive_time(event.span.start),
            duration(event.span.seconds()),
            heat,
            optional(event.heat_peak_kw, "kW"),
            optional(event.slip_peak, "rad/s"),
            event.command_peak.map_or("–".to_owned(), percent),
            remark(event).to_owned(),
        ]
    });
    table.extend(cells);
    let mut aligns = vec![Align::Right; 6];
    aligns.push(Align::Left);
    let mut marks = vec![Mark::Plain; 7];
    marks[2] = Mark::Heat;
    for title in DROPPED_FIRST {
        let is_fitting = columns_width(&table) <= page.width;
        if let (false, Some(at)) = (is_fitting, table[0].iter().position(|cell| cell == title)) {
            table.iter_mut().for_each(|row| drop(row.remove(at)));
            aligns.remove(at);
            marks.remove(at);
        }
    }
    page.columns(&table, &aligns, &marks);
}
