//! Times by crossings beside the fits, where the command held until the response settled.
//!
//! In: both directions. Out: one table; a time the sample periods hide stays hidden.

use super::scroll;
use crate::words::number;
use halfshaft_health::actuator::Timing;
use halfshaft_health::response::crossed::Crossed;
use halfshaft_health::response::pool::Pool;
use halfshaft_health::response::resolution::Spread;
use maud::{Markup, html};

/// A row: its name, the pool that says whether the time can be told, the time.
type TimeRow = (
    &'static str,
    fn(&Timing) -> &Pool,
    fn(&Crossed) -> Option<Spread>,
);

const TIMES: [TimeRow; 7] = [
    (
        "Dead time: to 5 % of the way, beyond the noise",
        |timing| &timing.dead_time,
        |found| Some(found.dead_time),
    ),
    (
        "10 to 90 % of the way",
        |timing| &timing.rise_time,
        |found| Some(found.rise_time),
    ),
    (
        "Command to 90 % of the way",
        |timing| &timing.transition_time,
        |found| Some(found.transition_time),
    ),
    (
        "Command to within 5 % of its end",
        |timing| &timing.transition_time,
        |found| Some(found.settle_time),
    ),
    (
        "Lag τ of the fits of these edges",
        |timing| &timing.rise_time,
        |found| found.lag_fitted,
    ),
    (
        "Lag τ by two crossings, Smith",
        |timing| &timing.rise_time,
        |found| Some(found.lag_smith),
    ),
    (
        "Lag τ by two crossings, Sundaresan and Krishnaswamy",
        |timing| &timing.rise_time,
        |found| Some(found.lag_sundaresan_krishnaswamy),
    ),
];

pub(super) fn table(engage: &Timing, release: &Timing) -> Markup {
    let both = [engage, release];
    if both.iter().all(|timing| timing.crossings.is_none()) {
        return html! {
            p.note { "Nothing stands beside the fits: after no edge did the command hold until the clutch had settled." }
        };
    }
    let share = |of: fn(&Crossed) -> Option<f64>| {
        both.map(|timing| timing.crossings.as_ref().and_then(of))
            .map(|share| share.map_or("–".to_owned(), percent))
    };
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
                    (row("Edges", both.map(n_edges)))
                    @for (name, pool, of) in TIMES { (row(name, both.map(|timing| time(timing, pool, of)))) }
                    (row("Beyond its end, % of the way", share(|found| Some(found.overshoot))))
                    (row("Short of the command when settled, % of full", share(|found| found.steady_error)))
                }
            }
        }))
    }
}

fn n_edges(timing: &Timing) -> String {
    let n = timing.crossings.map_or(0, |found| found.dead_time.n_events);
    n.to_string()
}

fn time(timing: &Timing, pool: fn(&Timing) -> &Pool, of: fn(&Crossed) -> Option<Spread>) -> String {
    let Some(spread) = timing.crossings.as_ref().and_then(of) else {
        return "–".to_owned();
    };
    if !pool(timing).is_told() {
        return "hidden by the sample periods".to_owned();
    }
    let ms = |seconds: f64| number(1e3 * seconds);
    let (low, high) = (ms(spread.p10_s), ms(spread.p90_s));
    format!("{}\u{a0}ms, {low} to {high}", ms(spread.median_s))
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
