//! What the log leaves open: checks that were not made and questions without an answer, by what is
//! missing.

use crate::document::Document;
use crate::open_questions::{Open, open};
use crate::sentences;
use maud::{Markup, html};

pub(super) fn section(document: &Document) -> Markup {
    let all = open(document.results);
    let n_all = document.results.verdict.n_checks;
    let n_made = document.results.verdict.n_made;
    html! {
        section #not-checked {
            h2 { "Not checked, and what it takes" }
            p { (n_made) " of " (n_all) " checks were made." }
            dl.record.gaps-in-checks { @for open in &all { (one(open)) } }
            p { (sentences::tier(document.results)) }
        }
    }
}

fn one(open: &Open) -> Markup {
    html! {
        dt { (open.missing) }
        @if !open.checks.is_empty() { dd { span.label { "Not checked " } (open.checks.join("; ")) "." } }
        @for question in &open.questions { dd { span.label { "Open " } (question) } }
        @for next_time in &open.next_time { dd.next { span.label { "Next time " } (next_time) } }
    }
}
