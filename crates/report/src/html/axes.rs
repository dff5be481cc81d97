//! The numbers beside and below a drawing.
//!
//! In: a scale, and how a tick is written. Out: the column of an axis up, the ruler of one
//! across. Both are for the eye only: the drawing says in words what it shows.

use super::scale::Scale;
use maud::{Markup, html};

/// The ticks of an axis up.
pub(super) fn ticks(up: &Scale, label: impl Fn(f64) -> String) -> Markup {
    html! {
        div.ticks aria-hidden="true" {
            @for &tick in &up.ticks {
                span style=(format!("bottom:{:.2}%", 100.0 * up.share(tick))) { (label(tick)) }
            }
        }
    }
}

/// The ticks of an axis across, and what it is.
pub(super) fn ruler(across: &Scale, label: impl Fn(f64) -> String, caption: &str) -> Markup {
    html! {
        div.time aria-hidden="true" {
            div.ruler {
                @for &tick in &across.ticks {
                    span style=(format!("left:{:.2}%", 100.0 * across.share(tick))) { (label(tick)) }
                }
            }
            p { (caption) }
        }
    }
}
