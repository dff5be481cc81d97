//! Times by crossings beside the fits, where the command held until the response settled.
//!
//! In: both directions. Out: one table; a time the sample periods hide stays hidden.

use super::scroll;
use crate::words::number;
use halfshaft_health::actuator::Timing;
use halfshaft_health::actuator::crossings::{CrossedTime, ToldCrossings};
use maud::{Markup, html};

/// A row: its name, and the time.
type TimeRow = (&'static str, fn(&ToldCrossings) -> CrossedTime);

const TIMES: [TimeRow; 7] = [
    ("Dead time: to 5 % of the way, beyond the noise", |told| {
        told.dead_time
    }),
    ("10 to 90 % of the way", |told| told.rise_time),
    ("Command to 90 % of the way", |told| told.transition_time),
    ("Command to within 5 % of its end", |told| told.settle_time),
    ("Lag τ of the fits of these edges", |told| told.lag_fitted),
    ("Lag τ by two crossings, Smith", |told| told.lag_smith),
    (
        "Lag τ by two crossings, Sundaresan and Krishnaswamy",
        |told| told.lag_sundaresan_krishnaswamy,
    ),
];

pub(super) fn table(engage: &Timing, release: &Timing) -> Markup {
    let both = [engage, release].map(Timing::told_crossings);
    if both.iter().all(Option::is_none) {
        return html! {
            p.note { "Nothing stands beside the fits: after no edge did the command hold until the clutch had settled." }
        };
    }
    let share = |of: fn(&ToldCrossings) -> Option<f64>| {
        both.map(|told| told.as_ref().and_then(of))
            .map(|share| share.map_or("–".to_owned(), percent))
    };
    let n_edges = both.map(|told| told.map_or(0, |told| told.n).to_string());
    html! {
        h3 { "By crossings" }
        p.note { "Read off between samples, only of edges after which the command held until the clutch had settled. A command taken back early makes crossings look quick, so the figures are those of the fits." }
        (scroll("Table of times by crossings", html! {
            table.crossings {
                thead { tr {
                    th scope="col" { "Time: median, 10 to 90 % of them" }
                    th.number scope="col" { "Closing" }
                    th.number scope="col" { "Letting go" }
                } }
                tbody {
                    (row("Edges", n_edges))
                    @for (name, of) in TIMES { (row(name, both.map(|told| time(told.as_ref().map(of))))) }
                    (row("Beyond its end, % of the way", share(|told| Some(told.overshoot))))
                    (row("Short of the command when settled, % of full", share(|told| told.steady_error)))
                }
            }
        }))
    }
}

fn time(time: Option<CrossedTime>) -> String {
    match time {
        None | Some(CrossedTime::None) => "–".to_owned(),
        Some(CrossedTime::Hidden) => "hidden by the sample periods".to_owned(),
        Some(CrossedTime::Told(spread)) => {
            let ms = |seconds: f64| number(1e3 * seconds);
            let (low, high) = (ms(spread.p10_s), ms(spread.p90_s));
            format!("{}\u{a0}ms, {low} to {high}", ms(spread.median_s))
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
