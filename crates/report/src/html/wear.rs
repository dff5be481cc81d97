//! What the drive took out of the pack and the oil: severity, temperatures, oil distance.
//!
//! In: the settled results. Out: tables, each with its basis.

use crate::words::{band, clean, number, sentence};
use halfshaft_health::thermal::estimate::ThermalEstimate;
use halfshaft_health::{Estimate, Results};
use maud::{Markup, html};

const KM_PER_MILE: f64 = 1.609_344;

pub(super) fn section(results: &Results) -> Markup {
    html! {
        section #wear {
            h2 { "Severity, temperatures, oil" }
            (severity(results))
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
                table.ramps {
                    thead { tr {
                        th scope="col" { "Ramp" }
                        th.number scope="col" { "Reading" }
                        th.number scope="col" { "0 to 100 over" }
                        th.number scope="col" { "Points" }
                    } }
                    tbody { @for ramp in &index.ramps { tr {
                        th scope="row" { (ramp.title) @if index.winner == Some(ramp.name) { " ● decides" } }
                        td.number { (ramp.value.map_or("not known".to_owned(), |value| format!("{}\u{a0}{}", number(value), ramp.unit))) }
                        td.number { (number(ramp.quiet)) " to " (number(ramp.limit)) }
                        td.number { (ramp.points.map_or("–".to_owned(), number)) }
                    } } }
                }
            }
        }
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
                Anchor::Open(why) => { "By the model alone: " (clean(why)) },
            }
            @if let Some(sd) = thermal.residual_sd_k { ", readings lie " (number(sd)) "\u{a0}K about the fit" }
            "."
        }
        div.scroll tabindex="0" role="region" aria-label="Table of thermal parameters" {
            table.thermal {
                thead { tr {
                    th scope="col" { "Parameter" }
                    th.number scope="col" { "Before ± sd" }
                    th.number scope="col" { "After ± sd" }
                    th scope="col" { "The drive" }
                } }
                tbody { @for unknown in &thermal.unknowns { tr {
                    th scope="row" { (unknown.name) @if !unknown.unit.is_empty() { ", " (unknown.unit) } }
                    td.number { (number(unknown.prior)) " ± " (number(unknown.prior_sd)) }
                    td.number { (number(unknown.value)) " ± " (number(unknown.sd)) }
                    td { (told(unknown.told)) }
                } } }
            }
        }
        @for note in &thermal.notes { p.note { (sentence(&clean(note))) } }
    }
}

fn told(told: halfshaft_health::thermal::Told) -> &'static str {
    use halfshaft_health::thermal::Told;
    match told {
        Told::Fitted => "told it",
        Told::Held => "could not tell, held",
        Told::AtBound => "ran to the end of what is allowed",
    }
}

fn oil(results: &Results) -> Markup {
    let oil = &results.oil_life;
    let rows = [
        (
            "By temperature",
            oil.temperature.factor,
            oil.temperature.why_guessed.as_deref(),
        ),
        ("By work", oil.work.factor, oil.work.why_guessed.as_deref()),
        ("By calendar", oil.calendar, None),
        ("All together", oil.factor, None),
    ];
    html! {
        h3 { "Oil" }
        p { (distance(&oil.distance_km)) }
        table.oil {
            thead { tr {
                th scope="col" { "Factor" }
                th.number scope="col" { "Value" }
                th.number scope="col" { "Low to high" }
                th scope="col" { "Remark" }
            } }
            tbody { @for (name, factor, why) in rows { tr {
                th scope="row" { (name) }
                td.number { (number(factor.value)) }
                td.number { (band(&factor)) }
                td { @if let Some(why) = why { "Guessed: " (clean(why)) } }
            } } }
        }
        p.note { "Basis: " (clean(&oil.basis)) "." }
    }
}

/// The distance between oil changes in words, km and miles.
pub(super) fn distance(km: &Estimate) -> String {
    // Whole thousands: a policy is no finer.
    let thousands = |value: f64| format!("{:.0},000", (value / 1e3).max(1.0));
    let miles = |value: f64| thousands(value / KM_PER_MILE);
    format!(
        "Driven like this, an oil change about every {}\u{a0}km ({} to {}), that is {} miles ({} to {}).",
        thousands(km.value),
        thousands(km.low),
        thousands(km.high),
        miles(km.value),
        miles(km.low),
        miles(km.high),
    )
}
