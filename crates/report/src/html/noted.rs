//! The list of marks.

use crate::noted::noted;
use halfshaft_health::Results;
use maud::{Markup, html};

pub(super) fn part(results: &Results) -> Markup {
    let marks = noted(results);
    html! {
        @if !marks.is_empty() {
            h3 #marks { "Marks" }
            p.note { "Made by somebody who was there. Laps on two sides of one are not mixed. The strips have a line with the number of each." }
            ol.noted {
                @for mark in &marks {
                    li { strong { (mark.at) } " " bdi { (mark.note) } @if let Some(begins) = &mark.begins { ". " (begins) } }
                }
            }
        }
    }
}
