//! The table of laps.

use super::oil_by_lap;
use crate::noted::has_stints;
use crate::words::{clean, drive_time, minutes, number, sentence};
use halfshaft_health::{Lap, Laps, Results};
use maud::{Markup, html};

/// Rows shown; `report.json` has the rest.
const MOST_ROWS: usize = 200;

pub(super) fn part(results: &Results) -> Markup {
    let laps = &results.laps;
    html! {
        h3 { "By lap" }
        @match &laps.method {
            Err(why) => p { "No laps: " (sentence(&clean(why))) },
            Ok(method) => {
                p.note { (laps.laps.len()) " laps, found " (clean(method)) "." }
                div.strips.proofs { (oil_by_lap::figure(results)) }
                (table(laps, has_stints(results)))
            }
        }
    }
}

fn table(laps: &Laps, has_stints: bool) -> Markup {
    let most = laps
        .laps
        .iter()
        .filter_map(|lap| lap.heat_kj)
        .filter(|heat| heat.is_finite())
        .fold(0.0, f64::max);
    let stint = has_stints.then_some(("number", "Stint"));
    let heads: Vec<(&str, &str)> = [("", "Lap")]
        .into_iter()
        .chain(stint)
        .chain([
            ("number", "At"),
            ("number", "Lasts"),
            ("number", "Length"),
            ("number", "Hottest oil"),
            ("number", "Heat"),
            ("drawn", "Bar of heat"),
        ])
        .collect();
    html! {
        (super::table("Table of laps", "laps", &heads, html! {
            @for lap in laps.laps.iter().take(MOST_ROWS) { (row(lap, most, has_stints)) }
        }))
        @if laps.laps.len() > MOST_ROWS { p { "And " (laps.laps.len() - MOST_ROWS) " more; report.json lists every one." } }
    }
}

fn row(lap: &Lap, most: f64, has_stints: bool) -> Markup {
    let amount = |value: Option<f64>, unit: &str| {
        value.map_or("–".to_owned(), |value| {
            format!("{}\u{a0}{unit}", number(value))
        })
    };
    let share = lap.heat_kj.map_or(0.0, |heat| {
        if most > 0.0 {
            (heat / most).clamp(0.0, 1.0)
        } else {
            0.0
        }
    });
    html! {
        tr {
            th scope="row" { (lap.number) }
            @if has_stints { td.number { @match lap.stint { Some(stint) => (stint), None => "–" } } }
            td.number { (drive_time(lap.span.start)) }
            td.number { (minutes(lap.span.seconds())) }
            td.number { (amount(Some(lap.length_m * 1e-3), "km")) }
            td.number { (amount(lap.oil_max_c, "°C")) }
            td.number { @if lap.is_at_least && lap.heat_kj.is_some() { "at least " } (amount(lap.heat_kj, "kJ")) }
            td.drawn {
                svg.bar.joules viewBox="0 0 200 12" preserveAspectRatio="none" aria-hidden="true" {
                    rect.rail width="200" height="12" {}
                    rect.fill y="3" width=(format!("{:.1}", 200.0 * share)) height="6" {}
                }
            }
        }
    }
}
