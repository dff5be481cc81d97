//! Heat by cause: one bar that sums to the total, and its four figures.

use super::figures_table::grade;
use super::table;
use crate::causes::CAUSES;
use crate::words::{clean, figure_text, percent, sentence};
use halfshaft_health::{Figure, FigureId, Results};
use maud::{Markup, html};

pub(super) fn part(results: &Results) -> Markup {
    let figures: Vec<(usize, &str, &str, &Figure)> = CAUSES
        .iter()
        .enumerate()
        .filter_map(|(index, &(id, word, meaning))| {
            results
                .figure(id)
                .map(|figure| (index + 1, word, meaning, figure))
        })
        .collect();
    if figures.is_empty() {
        return html! { h3 { "By cause" } p { "The heat was not split by cause." } };
    }
    let value = |figure: &Figure| {
        let value = figure
            .outcome
            .as_ref()
            .map_or(0.0, |estimate| estimate.value);
        if value.is_finite() {
            value.max(0.0)
        } else {
            0.0
        }
    };
    let total: f64 = figures.iter().map(|(.., figure)| value(figure)).sum();
    html! {
        h3 { "By cause" }
        @if total > 0.0 {
            div.stack aria-hidden="true" {
                @for &(number, _, _, figure) in &figures {
                    @let share = value(figure) / total;
                    @if share > 0.0 {
                        div.{ "cause-" (number) } style=(format!("width:{:.2}%", 100.0 * share)) {
                            @if share > 0.03 { (number) }
                        }
                    }
                }
            }
        }
        (table("Table of heat by cause", "causes", &[
            ("", "Cause"), ("number", "Heat"), ("", "Low to high"), ("number", "Share"), ("mark", "Grade")
        ], html! {
            @for &(number, word, meaning, figure) in &figures {
                tr {
                    th scope="row" {
                        span.key.{ "cause-" (number) } aria-hidden="true" { (number) }
                        " " (word) small { (meaning) }
                    }
                    (cells(figure, value(figure), total))
                }
            }
            @if let Some(heat) = results.figure(FigureId::HeatTotal) {
                tr.sum { th scope="row" { "All heat in the pack" } (cells(heat, value(heat), 0.0)) }
            }
        }))
    }
}

fn cells(figure: &Figure, value: f64, total: f64) -> Markup {
    match figure_text(figure) {
        Ok(shown) => html! {
            td.number { (shown.text()) }
            td.band { (shown.band.as_deref().unwrap_or_default()) }
            td.number { @if total > 0.0 && !shown.is_bound() { (percent(value / total)) } }
            td.mark { @if let Some(letter) = figure.grade { (grade(letter)) } }
        },
        Err(why) => html! {
            td.number { "–" }
            td.why colspan="3" { (sentence(&clean(&why))) }
        },
    }
}
