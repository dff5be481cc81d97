//! What could not be looked for, and questions the log leaves open.

use crate::document::Document;
use crate::sentences;
use crate::words::{clean, sentence};
use maud::{Markup, html};

pub(super) fn section(document: &Document) -> Markup {
    let results = document.results;
    html! {
        section #not-checked {
            h2 { "Not checked" }
            @if results.not_checked.is_empty() {
                p { "Every finding this version knows was looked for." }
            } @else {
                dl.record.gaps-in-checks {
                    @for item in &results.not_checked {
                        dt { (clean(item.title)) }
                        dd { (sentence(&clean(&item.missing))) }
                    }
                }
            }
        }
        section #cannot-tell {
            h2 { "What this log cannot tell" }
            @if sentences::is_all_answered(results) { p { "Every question this report asks was answered." } }
            dl.open {
                @for item in &results.cannot_tell {
                    dt { (clean(item.question)) }
                    dd { (sentence(&clean(&item.why))) }
                    dd.next { span.label { "Next time " } (sentence(&clean(&item.next_time))) }
                }
            }
            p { (sentences::tier(results)) }
        }
    }
}
