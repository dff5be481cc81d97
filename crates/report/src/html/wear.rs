//! What the drive took out of the pack and the oil: severity, temperatures, oil distance.
//!
//! In: the settled results. Out: tables and drawings, each with its basis.

use super::exceedance;
use super::table;
use crate::words::{band, clean, counted, number, sentence};
use halfshaft_health::Reason;
use halfshaft_health::Results;
use halfshaft_health::duty::CycleMatrix;
use halfshaft_health::duty::rainflow::METHOD;
use halfshaft_health::oil_life::OilLife;
use halfshaft_health::thermal::FitOutcome;
use halfshaft_health::thermal::estimate::ThermalEstimate;
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
    let means: Vec<String> = columns
        .iter()
        .map(|column| edge(&matrix.mean_edges, *column))
        .collect();
    let heads: Vec<(&str, &str)> = std::iter::once(("", "Range"))
        .chain(means.iter().map(|mean| ("number", mean.as_str())))
        .collect();
    html! {
        h3 { (title) }
        @if rows.is_empty() {
            p { "None was counted." }
        } @else {
            p.note { (sentence(METHOD)) " Ranges down, means across; half a cycle is a range gone through one way." }
            (table(&format!("Table: {title}"), "cycles", &heads, html! {
                @for row in &rows { tr {
                    th scope="row" { (edge(&matrix.range_edges, *row)) }
                    @for column in &columns { td.number { (number(count(*row, *column))) } }
                } }
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
        FitOutcome::Fitted => "fitted",
        FitOutcome::PriorKept => "default kept",
        FitOutcome::AtBound => "at the end of what is allowed",
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
        p { (distance(oil)) }
        (table("Table of the factors of the oil", "oil", &[
            ("", "Factor"), ("number", "Value"), ("number", "Low to high"), ("", "Remark")
        ], html! {
            @for (name, factor, why) in rows { tr {
                th scope="row" { (name) }
                td.number { (number(factor.value)) }
                td.number { @if factor.low < factor.high { (band(&factor)) } @else { "–" } }
                td { @if let Some(why) = why { "Guessed: " (clean(why)) } }
            } }
        }))
        p.note { "Basis: " (clean(&oil.basis)) "." }
    }
}

/// The distance between oil changes in words: km and miles, and days where those are the measure.
pub(super) fn distance(oil: &OilLife) -> String {
    let km = &oil.distance_km;
    let why = match (&oil.temperature.why_guessed, &oil.work.why_guessed) {
        (Some(why), Some(_)) => {
            return format!(
                "How far it goes cannot be said from this log: {}",
                sentence(&clean(why))
            );
        }
        (one, other) => one.as_ref().or(other.as_ref()),
    };
    if km.is_at_least {
        return format!(
            "If every drive were like this one, the oil would serve the full interval of {}, the most that is granted.",
            km_and_miles(oil.full_km)
        );
    }
    let ends = |shown: &dyn Fn(f64) -> String| match km.high < oil.full_km {
        true => format!("{} to {}", shown(km.low), shown(km.high)),
        false => format!("{} to the full {}", shown(km.low), shown(km.high)),
    };
    // Heat that a gap hid only takes from it.
    let about = if oil.factor.is_at_least {
        "after"
    } else {
        "after about"
    };
    let at_most = if oil.factor.is_at_least {
        " at most"
    } else {
        ""
    };
    let perhaps = if why.is_some() { "perhaps " } else { "" };
    let in_days = oil.track_days.map_or(String::new(), |days| {
        format!(
            "{} like it on the track ({perhaps}{} to {}), that is ",
            counted(days.value.max(1.0).round() as u64, "day", "days"),
            rounded(days.low),
            rounded(days.high)
        )
    });
    let mut text = format!(
        "If every drive were like this one, the oil would be due {about} {in_days}{}\u{a0}km{at_most} ({perhaps}{}), or {} miles ({perhaps}{}).",
        rounded(km.value),
        ends(&rounded),
        rounded(km.value / KM_PER_MILE),
        ends(&|km| rounded(km / KM_PER_MILE)),
    );
    if let Some(why) = why {
        text += &format!(
            " It cannot be said closer from this log: {}",
            sentence(&clean(why))
        );
    }
    text
}

/// The rule of the workshop for such use, named as that.
pub(super) fn rule(oil: &OilLife) -> String {
    let rule = match oil.track_days {
        Some(_) => "after every two to four days on the track",
        None => "after 40,000 to 48,000\u{a0}km of hard use on the road",
    };
    let is_shorter = oil.track_days.is_none() && oil.distance_km.value < SHORTEST_OF_RULE_KM;
    let holds = if is_shorter {
        "; the shorter of the two holds"
    } else {
        ""
    };
    format!(
        "The workshop’s rule, whatever the log: {rule}{holds}. Makers may say sealed for life. All of these are rules of thumb, not an oil test."
    )
}

/// The shorter end of the rule for hard use on the road, 25,000 miles.
const SHORTEST_OF_RULE_KM: f64 = 40_000.0;

fn km_and_miles(km: f64) -> String {
    format!(
        "{}\u{a0}km ({} miles)",
        rounded(km),
        rounded(km / KM_PER_MILE)
    )
}

/// Two figures: a rule of thumb is no finer. No less than one.
fn rounded(value: f64) -> String {
    let value = value.max(1.0);
    let step = 10_f64.powf(value.log10().floor() - 1.0).max(1.0);
    let whole = ((value / step).round() * step) as u64;
    match whole / 1000 {
        0 => format!("{whole}"),
        thousands => format!("{thousands},{:03}", whole % 1000),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use halfshaft_health::Estimate;
    use halfshaft_health::limits::OilPolicy;
    use halfshaft_health::oil_life::{OilAgeingRate, OilInput, oil_life};

    /// Oil that aged at this rate, with so much heat or none known, in laps or not.
    fn said(rate: f64, kj_per_km: Option<f64>, is_on_circuit: bool) -> String {
        let life = oil_life(
            &OilPolicy::default(),
            &OilInput {
                rate: Ok(OilAgeingRate {
                    mean_rates: [1.25 * rate, rate, 0.75 * rate],
                    covered_s: 600.0,
                    unseen_s: 0.0,
                }),
                heat_kj_per_km: kj_per_km
                    .map(|kj| Estimate {
                        value: kj,
                        low: kj,
                        high: kj,
                        is_at_least: false,
                    })
                    .ok_or("no torque".to_owned().into()),
                distance_km: None,
                sensor_sd_k: 0.0,
                km_per_year: None,
                is_on_circuit,
            },
        );
        format!("{} {}", distance(&life), rule(&life)).replace('\u{a0}', " ")
    }

    #[test]
    fn an_oil_distance_has_its_band() {
        // Derived: 96,000 / (1.6 · 2); ends by 1.25 and 0.75 of it.
        let text = said(1.6, Some(10.0), false);
        assert!(
            text.contains("after about 30,000 km (24,000 to 40,000), or 19,000 miles"),
            "{text}"
        );
    }

    #[test]
    fn a_guessed_oil_distance_has_its_band_and_its_reason() {
        let text = said(4.0, None, false);
        assert!(
            text.contains("24,000 km (perhaps 4,800 to 32,000)"),
            "{text}"
        );
        assert!(text.contains("from this log: No torque."), "{text}");
    }

    #[test]
    fn gentle_use_has_the_full_interval_and_no_band() {
        let text = said(0.5, Some(0.0), false);
        assert!(
            text.contains("the full interval of 96,000 km (60,000 miles)"),
            "{text}"
        );
        let text = said(1.0, Some(0.0), false);
        assert!(text.contains("(77,000 to the full 96,000)"), "{text}");
    }

    #[test]
    fn days_on_the_track_never_stand_beside_tens_of_thousands() {
        let hot = said(32.0, Some(40.0), true);
        assert!(
            hot.contains("about 3 days like it on the track (2 to 4), that is 600 km"),
            "{hot}"
        );
        assert!(hot.contains("two to four days on the track"), "{hot}");
        for cool in [said(1.0, Some(19.0), true), said(32.0, Some(40.0), false)] {
            assert!(!cool.contains("on the track"), "{cool}");
        }
    }
}
