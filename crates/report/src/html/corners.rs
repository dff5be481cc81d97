//! Heat by corner, laps laid over each other.

use crate::corners::{Bend, bends};
use crate::words::{drive_time, number};
use halfshaft_health::Results;
use maud::{Markup, html};

/// Rows shown: the hottest of a drive without laps; `report.json` has them all.
const MOST_ROWS: usize = 40;

pub(super) fn part(results: &Results) -> Markup {
    let laps = &results.laps;
    let is_circuit = !laps.laps.is_empty();
    let mut shown = bends(laps);
    let n_all = shown.len();
    if n_all > MOST_ROWS {
        let heat = |bend: &Bend| bend.mean(|corner| corner.heat_kj).unwrap_or(0.0);
        shown.sort_by(|a, b| heat(b).total_cmp(&heat(a)));
        shown.truncate(MOST_ROWS);
        shown.sort_by_key(|bend| bend.number);
    }
    let most = shown
        .iter()
        .flat_map(Bend::heat_per_degree)
        .fold(0.0, f64::max);
    html! {
        h3 { "By corner" }
        @if shown.is_empty() {
            p { "No corner was found: that takes the turning rate and road speed." }
        } @else {
            p.note {
                "Heat per degree turned: of all causes, so what the command and wheelspin made of a bend is in it. "
                @if is_circuit { "The bar is the mean over the laps, each stroke one lap." }
                @if n_all > MOST_ROWS { " The hottest " (MOST_ROWS) " of " (n_all) "; report.json lists " (laps.n_corners.min(laps.corners.len() as u64)) "." }
            }
            (super::table("Table of corners", "corners", heads(is_circuit), html! {
                @for bend in &shown { (row(bend, is_circuit, most)) }
            }))
        }
    }
}

fn heads(is_circuit: bool) -> &'static [(&'static str, &'static str)] {
    match is_circuit {
        true => &[
            ("", "Corner"),
            ("number", "From start"),
            ("number", "Turns"),
            ("number", "Times"),
            ("number", "Heat"),
            ("number", "Per degree"),
            ("drawn", "Bar of heat per degree"),
        ],
        false => &[
            ("", "Corner"),
            ("number", "When"),
            ("number", "Turns"),
            ("number", "Heat"),
            ("number", "Per degree"),
            ("drawn", "Bar of heat per degree"),
        ],
    }
}

fn row(bend: &Bend, is_circuit: bool, most: f64) -> Markup {
    let each = bend.heat_per_degree();
    let mean = (!each.is_empty()).then(|| each.iter().sum::<f64>() / each.len() as f64);
    let turned = bend.mean(|corner| Some(corner.turned_deg)).unwrap_or(0.0);
    let side = if turned < 0.0 { "right" } else { "left" };
    let is_at_least = bend.times.iter().any(|corner| corner.is_at_least);
    let amount = |value: Option<f64>, unit: &str| {
        value.map_or("–".to_owned(), |value| {
            format!("{}\u{a0}{unit}", number(value))
        })
    };
    html! {
        tr {
            th scope="row" { (bend.number) }
            td.number {
                @if is_circuit {
                    (amount(bend.mean(|corner| Some(corner.start_m)), "m"))
                } @else if let Some(corner) = bend.times.first() {
                    (drive_time(corner.span.start))
                }
            }
            td.number { (format!("{:.0}", turned.abs())) "\u{a0}° " (side) }
            @if is_circuit { td.number { (bend.times.len()) } }
            td.number { @if is_at_least { "at least " } (amount(bend.mean(|corner| corner.heat_kj), "kJ")) }
            td.number { (amount(mean, "J/°")) }
            td.drawn { (bar(&each, mean, most)) }
        }
    }
}

fn bar(each: &[f64], mean: Option<f64>, most: f64) -> Markup {
    let place = |value: f64| {
        if most > 0.0 {
            200.0 * (value / most).clamp(0.0, 1.0)
        } else {
            0.0
        }
    };
    html! {
        svg.bar.joules viewBox="0 0 200 12" preserveAspectRatio="none" aria-hidden="true" {
            rect.rail width="200" height="12" {}
            @if let Some(mean) = mean { rect.fill y="3" width=(format!("{:.1}", place(mean))) height="6" {} }
            @if each.len() > 1 {
                @for &value in each {
                    @let x = format!("{:.1}", place(value));
                    path.stroke d=(format!("M{x} 0V12")) {}
                }
            }
        }
    }
}
