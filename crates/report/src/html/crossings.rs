//! Times by crossings beside the fits, where the command held until the response settled.
//!
//! In: both directions. Out: one table; a time the sample periods hide stays hidden.

use crate::words::number;
use halfshaft_health::actuator::Timing;
use halfshaft_health::actuator::crossings::{CrossedTime, StatedCrossings};
use maud::{Markup, html};

/// A row: its name, and the time.
type TimeRow = (&'static str, fn(&StatedCrossings) -> CrossedTime);

const TIMES: [TimeRow; 7] = [
    (
        "Dead time: to 5 % of the way, beyond the noise",
        |by_crossings| by_crossings.dead_time,
    ),
    ("10 to 90 % of the way", |by_crossings| {
        by_crossings.rise_time
    }),
    ("Command to 90 % of the way", |by_crossings| {
        by_crossings.transition_time
    }),
    ("Command to within 5 % of its end", |by_crossings| {
        by_crossings.settle_time
    }),
    ("Lag τ of the fits of these edges", |by_crossings| {
        by_crossings.lag_fitted
    }),
    ("Lag τ by two crossings, Smith", |by_crossings| {
        by_crossings.lag_smith
    }),
    (
        "Lag τ by two crossings, Sundaresan and Krishnaswamy",
        |by_crossings| by_crossings.lag_sundaresan_krishnaswamy,
    ),
];

pub(super) fn table(engage: &Timing, release: &Timing) -> Markup {
    let both = [engage, release].map(Timing::stated_crossings);
    if both.iter().all(Option::is_none) {
        return html! {
            p.note { "Nothing stands beside the fits: after no edge did the command hold until the clutch had settled." }
        };
    }
    let share = |of: fn(&StatedCrossings) -> Option<f64>| {
        both.map(|by_crossings| by_crossings.as_ref().and_then(of))
            .map(|share| share.map_or("–".to_owned(), percent))
    };
    let n_edges = both.map(|by_crossings| {
        by_crossings
            .map_or(0, |by_crossings| by_crossings.n)
            .to_string()
    });
    html! {
        h3 { "By crossings" }
        p.note { "Read off between samples, only of edges after which the command held until the clutch had settled. A command taken back early makes crossings look quick, so the figures are those of the fits." }
        (super::table("Table of times by crossings", "crossings", &[
            ("", "Time: median, 10 to 90 % of them"), ("number", "Closing"), ("number", "Releasing")
        ], html! {
            (row("Edges", n_edges))
            @for (name, of) in TIMES { (row(name, both.map(|by_crossings| time(by_crossings.as_ref().map(of))))) }
            (row("Overshoot, % of the way", share(|by_crossings| Some(by_crossings.overshoot))))
            (row("Remaining error when settled, % of full", share(|by_crossings| by_crossings.steady_error)))
        }))
    }
}

fn time(time: Option<CrossedTime>) -> String {
    match time {
        None | Some(CrossedTime::None) => "–".to_owned(),
        Some(CrossedTime::Hidden) => "hidden by the sample periods".to_owned(),
        Some(CrossedTime::Stated(spread)) => {
            let ms = |seconds: f64| number(1e3 * seconds);
            let (low, high) = (ms(spread.p10), ms(spread.p90));
            format!("{}\u{a0}ms, {low} to {high}", ms(spread.median))
        }
    }
}

fn percent(share: f64) -> String {
    number(100.0 * share)
}

fn row(name: &str, cells: [String; 2]) -> Markup {
    html! {
        tr {
            th scope="row" { (name) }
            @for cell in cells { td.number { (cell) } }
        }
    }
}
