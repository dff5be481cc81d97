//! What the slip says of a clutch whose mechanism says nothing.
//!
//! In: the apparent time. Out: a paragraph.

use crate::words::{counted, number};
use halfshaft_health::actuator::Apparent;
use halfshaft_health::response::resolution::StatedTime;
use maud::{Markup, html};

pub(super) fn paragraph(apparent: &Apparent) -> Markup {
    let ms = |seconds: f64| format!("{}\u{a0}ms", number(1e3 * seconds));
    let edges = counted(apparent.n_edges, "engagement", "engagements");
    let told = match apparent.stated {
        StatedTime::Singly(spread) | StatedTime::Pooled { spread, .. } => format!(
            "in {} of {edges} it took {}, 10 to 90 % of them {} to {}",
            spread.n_events,
            ms(spread.median),
            ms(spread.p10),
            ms(spread.p90)
        ),
        StatedTime::BelowResolution { below_s } => format!(
            "of {edges} it took less than {}, which the sample periods hide",
            ms(below_s)
        ),
        StatedTime::NoEvent => format!("{edges} tell nothing"),
    };
    html! {
        p {
            "By the slip alone, and so apparent only, for tyres and driver take part in it: from the command to where the slip has fallen to 37\u{a0}% of what it was, "
            (told) "."
        }
        @if !apparent.reasons.is_empty() {
            p.note {
                "Not told: "
                @for (index, (reason, n)) in apparent.reasons.iter().enumerate() {
                    @if index > 0 { "; " }
                    (n) " because " (reason.text())
                }
                "."
            }
        }
    }
}
