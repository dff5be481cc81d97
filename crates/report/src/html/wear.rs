//! What the drive took out of the pack and the oil: severity, temperatures, oil distance.
//!
//! In: the settled results. Out: tables and drawings, each with its basis.

use super::exceedance;
use super::{scroll, table};
use crate::words::{band, clean, number, sentence};
use halfshaft_health::Reason;
use halfshaft_health::duty::CycleMatrix;
use halfshaft_health::duty::rainflow::METHOD;
use halfshaft_health::thermal::FitOutcome;
use halfshaft_health::thermal::estimate::ThermalEstimate;
use halfshaft_health::{Estimate, Results};
use maud::{Markup, html};

use crate::words::KM_PER_MILE;

pub(super) fn section(results: &Results) -> Markup {
    html! {
        section #wear {
            h2 { "Severity, temperatures, oil" }
            (severity(results))
            (exceedance::part("exceedance-power", "Power per lining area", &results.duty.power))
            (exceedance::part("exceedance-energy", "Energy per lining area, of one event", &results.duty.energy))
            (cycles("Cycles of the pack torque, N·m", &results.duty.torque_cycles))
            (super::miner::paragraph(&results.duty))
            @if let Ok(found) = &results.duty.temperature_cycles { (cycles("Cycles of the estimated pack temperature, K by °C", found)) }
            h3 { "Model of the temperatures" }
            @match &results.thermal {
                Err(why) => p { "Not known: " (sentence(&clean(why))) },
                Ok(thermal) => (temperatures(thermal)),
            }
            (oil(results))
        }
    }
}

fn severity(results: &Results) -> Markup {
    html! {
        h3 { "Severity" }
        @match &results.severity {
            Err(why) => p { "Not known: " (sentence(&clean(why))) },
            Ok(index) => {
                p { @if index.is_at_least { "At least " } strong { (number(index.value)) } " of 100: the greatest of four ramps, nothing is averaged." }
                (table("Table of the ramps of severity", "ramps", &[
                    ("", "Ramp"), ("number", "Reading"), ("number", "0 to 100 over"), ("number", "Points")
                ], html! {
                    @for ramp in &index.ramps { tr {
                        th scope="row" { (ramp.title) @if index.winner == Some(ramp.name) { " ● decides" } }
                        td.number { (ramp.value.map_or("not known".to_owned(), |value| format!("{}\u{a0}{}", number(value), ramp.unit))) }
                        td.number { (number(ramp.quiet)) " to " (number(ramp.limit)) }
                        td.number { (ramp.points.map_or("–".to_owned(), number)) }
                    } }
                }))
            }
        }
    }
}

/// Cycles by range and mean; rows and columns that hold none are left out.
fn cycles(title: &str, matrix: &CycleMatrix) -> Markup {
    let n_means = matrix.mean_edges.len() + 1;
    let count = |row: usize, column: usize| matrix.counts[row * n_means + column];
    let rows: Vec<usize> = (0..=matrix.range_edges.len())
        .filter(|row| (0..n_means).any(|column| count(*row, column) > 0.0))
        .collect();
    let columns: Vec<usize> = (0..n_means)
        .filter(|column| rows.iter().any(|row| count(*row, *column) > 0.0))
        .collect();
    html! {
        h3 { (title) }
        @if rows.is_empty() {
            p { "None was counted." }
        } @else {
            p.note { (sentence(METHOD)) " Ranges down, means across; half a cycle is a range gone through one way." }
            (scroll(&format!("Table: {title}"), html! {
                table.cycles {
                    thead { tr {
                        th scope="col" { "Range" }
                        @for column in &columns { th.number scope="col" { (edge(&matrix.mean_edges, *column)) } }
                    } }
                    tbody { @for row in &rows { tr {
                        th scope="row" { (edge(&matrix.range_edges, *row)) }
                        @for column in &columns { td.number { (number(count(*row, *column))) } }
                    } } }
                }
            }))
        }
    }
}

fn edge(edges: &[f64], index: usize) -> String {
    match edges.get(index) {
        Some(edge) => format!("≤ {}", number(*edge)),
        None => format!("> {}", number(edges.last().copied().unwrap_or(0.0))),
    }
}

fn temperatures(thermal: &ThermalEstimate) -> Markup {
    use halfshaft_health::thermal::estimate::Anchor;
    let peak = &thermal.pack_max.celsius;
    html! {
        p {
            "Hottest pack " (number(peak.value)) "\u{a0}°C, " (number(peak.low)) " to " (number(peak.high)) ". "
            @match &thermal.anchor {
                Anchor::Fitted(_) => "Fitted to the sensor",
                Anchor::Open(why) => { "By the model alone: " (clean(Reason::from(why.clone()))) },
            }
            @if let Some(sd) = thermal.residual_sd_k { ", readings lie " (number(sd)) "\u{a0}K about the fit" }
            "."
        }
        (table("Table of thermal parameters", "thermal", &[
            ("", "Parameter"), ("number", "Before ± sd"), ("number", "After ± sd"), ("", "The drive")
        ], html! {
            @for unknown in &thermal.unknowns { tr {
                th scope="row" { (unknown.name) @if !unknown.unit.is_empty() { ", " (unknown.unit) } }
                td.number { (number(unknown.prior)) " ± " (number(unknown.prior_sd)) }
                td.number { (number(unknown.value)) " ± " (number(unknown.sd)) }
                td { (fit_in_words(unknown.outcome)) }
            } }
        }))
        @for note in &thermal.notes { p.note { (sentence(&clean(note))) } }
    }
}

fn fit_in_words(fit: FitOutcome) -> &'static str {
    match fit {
        FitOutcome::Fitted => "told it",
        FitOutcome::PriorKept => "could not tell, held",
        FitOutcome::AtBound => "ran to the end of what is allowed",
    }
}

fn oil(results: &Results) -> Markup {
    let oil = &results.oil_life;
    let rows = [
        (
            "By temperature",
            oil.temperature.factor,
            oil.temperature.why_guessed.as_ref(),
        ),
        ("By work", oil.work.factor, oil.work.why_guessed.as_ref()),
        ("By calendar", oil.calendar, None),
        ("All together", oil.factor, None),
    ];
    html! {
        h3 { "Oil" }
        p { (distance(&oil.distance_km)) }
        (table("Table of the factors of the oil", "oil", &[
            ("", "Factor"), ("number", "Value"), ("number", "Low to high"), ("", "Remark")
        ], html! {
            @for (name, factor, why) in rows { tr {
                th scope="row" { (name) }
                td.number { (number(factor.value)) }
                td.number { (band(&factor)) }
                td { @if let Some(why) = why { "Guessed: " (clean(why)) } }
            } }
        }))
        p.note { "Basis: " (clean(&oil.basis)) "." }
    }
}

/// The distance between oil changes in words, km and miles.
pub(super) fn distance(km: &Estimate) -> String {
    if thousands(km.low) == thousands(km.high) {
        // Gentle use reaches the most that the practice of the trade grants.
        return format!(
            "If every drive were like this one, it goes as far as any: {}\u{a0}km, that is {} miles.",
            thousands(km.value),
            miles(km.value)
        );
    }
    format!(
        "If every drive were like this one, an oil change about every {}\u{a0}km ({} to {}), that is {} miles ({} to {}).",
        thousands(km.value),
        thousands(km.low),
        thousands(km.high),
        miles(km.value),
        miles(km.low),
        miles(km.high),
    )
}

/// The same where a part of it is guessed: its band is the point, and why comes after.
pub(super) fn guessed_distance(km: &Estimate, why: &Reason) -> String {
    format!(
        "If every drive were like this one, an oil change about every {}\u{a0}km, perhaps {} to {} ({} miles, perhaps {} to {}). \
         It cannot be said closer from this log: {}",
        thousands(km.value),
        thousands(km.low),
        thousands(km.high),
        miles(km.value),
        miles(km.low),
        miles(km.high),
        sentence(&clean(why))
    )
}

/// Whole thousands: a policy is no finer.
fn thousands(value: f64) -> String {
    format!("{:.0},000", (value / 1e3).max(1.0))
}

fn miles(km: f64) -> String {
    thousands(km / KM_PER_MILE)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn km(value: f64, low: f64, high: f64) -> Estimate {
        Estimate {
            value,
            low,
            high,
            is_at_least: false,
        }
    }

    #[test]
    fn a_guessed_oil_distance_has_its_band_and_its_reason() {
        let text = guessed_distance(
            &km(12_000.0, 8_000.0, 18_000.0),
            &Reason::from("no oil temperature".to_owned()),
        );
        let text = text.replace('\u{a0}', " ");
        assert!(
            text.contains("12,000 km, perhaps 8,000 to 18,000 ("),
            "{text}"
        );
        assert!(
            text.ends_with("from this log: No oil temperature."),
            "{text}"
        );
    }

    #[test]
    fn a_known_oil_distance_has_its_band_too() {
        let text = distance(&km(30_000.0, 24_000.0, 36_000.0)).replace('\u{a0}', " ");
        assert!(text.contains("30,000 km (24,000 to 36,000)"), "{text}");
        assert!(distance(&km(48_000.0, 48_000.0, 48_000.0)).contains("as far as any"));
    }
}
