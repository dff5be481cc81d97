//! How long single moves took, over the oil they were made in, by voltage.
//!
//! In: fitted answers with oil temperature. Out: one drawing, discs at a good supply and rings below it.
//! Nothing where no single move may be told.

use super::scatter::{self, Point, Scatter};
use crate::words::counted;
use halfshaft_health::actuator::Actuator;
use halfshaft_health::response::resolution::StatedTime;
use halfshaft_health::response::{Direction, Response};
use maud::{Markup, html};

/// From this supply on a move counts as one at a good voltage, V. Source: common practice, no source; a
/// running alternator gives 13.5 V and more.
const GOOD_SUPPLY_V: f64 = 13.0;

/// Fewest moves that are drawn.
const LEAST: usize = 5;

pub(super) fn figure(actuator: &Actuator) -> Markup {
    if !matches!(actuator.engage.rise_time.stated, StatedTime::Singly(_)) {
        return html! {};
    }
    let points: Vec<Point> = actuator.responses.iter().filter_map(point).collect();
    if points.len() < LEAST {
        return html! {};
    }
    let n_low = points.iter().filter(|point| !point.2).count();
    let about = format!(
        "{} of closing, {n_low} of them below {GOOD_SUPPLY_V} V.",
        counted(points.len() as u64, "move", "moves")
    );
    html! {
        (scatter::figure(&Scatter {
            id: "rise-by-oil",
            title: "Closing: 10 to 90 % of the way, move by move",
            about: &about,
            across: "Oil, °C",
            up: match n_low {
                0 => "ms; longer in cold oil is usual, scatter in warm oil is not",
                _ => "ms; rings: below 13 V; longer in cold oil is usual, scatter in warm oil is not",
            },
            points: &points,
            are_rings_in_scale: true,
            stands_on_zero: true,
            band: None,
        }))
    }
}

fn point(response: &Response) -> Option<Point> {
    let is_closing = response.direction() == Direction::Engage;
    let is_good = response.supply_v.is_none_or(|volts| volts >= GOOD_SUPPLY_V);
    is_closing.then_some((response.oil_c?, 1e3 * response.rise_time_s()?, is_good))
}
