//! Findings in full: what was seen, where, what else it could be, what to check next.

use super::close_ups;
use super::figures_table::grade;
use super::shapes;
use crate::words::{clean, measured, sentence};
use halfshaft_health::verdict::Kind;
use halfshaft_health::{EvidenceWindow, Finding, Results};
use maud::{Markup, html};

pub(super) fn section(results: &Results) -> Markup {
    html! {
        section #findings {
            h2 { "Findings" }
            @if results.findings.is_empty() {
                p { "None. What could not be looked for is listed under " a href="#not-checked" { "not checked" } "." }
            } @else {
                p.note { "Gravest first. The strips over the drive carry each one’s stretches under the same number." }
            }
            @for (index, finding) in results.findings.iter().enumerate() { (one(index + 1, finding)) }
        }
    }
}

fn one(number: usize, finding: &Finding) -> Markup {
    let kind = Kind::Found(finding.severity);
    html! {
        article.finding.{ "is-" (shapes::class(kind)) } id=(format!("finding-{number}")) {
            h3 {
                (shapes::shape(kind))
                span.severity { (finding.severity.words()) }
                " " (number) ". " (clean(finding.title))
                " " (grade(finding.grade))
            }
            p { (sentence(&clean(&finding.summary))) }
            @if !finding.evidence.is_empty() { (evidence(&finding.evidence)) }
            dl.record {
                dt { "Check next" } dd { (sentence(&clean(finding.next_check))) }
                dt { "Could also be" } dd { (sentence(&clean(finding.could_also_be))) }
                dt { "Withdrawn if" } dd { (sentence(&clean(finding.withdrawn_if))) }
            }
        }
    }
}

fn evidence(windows: &[EvidenceWindow]) -> Markup {
    html! {
        ul.evidence {
            @for window in windows {
                li {
                    strong { (close_ups::link(window.span)) }
                    @for value in &window.values {
                        "; " (clean(value.name)) ": " (measured(value.value, value.unit))
                    }
                }
            }
        }
    }
}
