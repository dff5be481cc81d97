//! The damage sum, where the user gave a life line for it.
//!
//! In: the sum. Out: a paragraph, and nothing where nobody asked for it.

use crate::words::number;
use halfshaft_health::duty::Duty;
use maud::{Markup, html};

pub(super) fn paragraph(duty: &Duty) -> Markup {
    html! {
        @if let Ok(sum) = duty.miner_sum {
            p {
                "By the life line of the settings these cycles used " strong { (number(1e6 * sum)) }
                " millionths of a life (Palmgren and Miner, linear, ranges without regard to their mean). It compares drives of one part; it is no measurement of what is left."
            }
        }
    }
}
