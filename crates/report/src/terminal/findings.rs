//! The verdict, and the findings in full.

use super::layout::{Mark, Page};
use crate::document::Document;
use crate::verdict::{doubt, heading, words};
use crate::words::{clean, counted, sentence};
use halfshaft_health::verdict::{Kind, is_of_the_car};
use halfshaft_health::{Results, Severity};

/// Findings named under the verdict.
const MOST_NAMED: usize = 3;

/// The verdict, and what was found; with its numbers where they do not follow below.
pub(super) fn verdict(page: &mut Page, document: &Document, with_numbers: bool) {
    let results = document.results;
    let kind = results.verdict.kind;
    let mark = mark(kind);
    if let Kind::Found(_) = kind {
        let all = results
            .findings
            .iter()
            .filter(|finding| is_of_the_car(finding));
        let n_all = all.clone().count();
        for finding in all.take(MOST_NAMED) {
            let title = format!("{}: {}", word(finding.severity), clean(finding.title));
            page.paragraph(
                "",
                &sentence(&title),
                self::mark(Kind::Found(finding.severity)),
            );
            if with_numbers {
                page.paragraph("  ", &sentence(&clean(&finding.summary)), Mark::Plain);
            }
        }
        if n_all > MOST_NAMED {
            let more = counted((n_all - MOST_NAMED) as u64, "more finding", "more findings");
            page.paragraph("", &format!("And {more}."), Mark::Plain);
        }
    } else {
        page.paragraph("", &sentence(&heading(&results.verdict)), mark);
        let line = words(document).line;
        if !line.is_empty() {
            page.paragraph("  ", &line, Mark::Plain);
        }
    }
    if let Some(text) = doubt(document) {
        page.paragraph("", &text, Mark::Heat);
    }
    page.blank();
}

fn word(severity: Severity) -> String {
    severity.words().to_uppercase()
}

fn mark(kind: Kind) -> Mark {
    match kind {
        Kind::Found(Severity::Stop | Severity::Act) => Mark::Grave,
        Kind::Found(Severity::LookSoon) => Mark::Heat,
        _ => Mark::Strong,
    }
}

/// Each finding with its grade, and what to check next.
pub(super) fn section(page: &mut Page, results: &Results) {
    if results.findings.is_empty() {
        return;
    }
    page.heading("Findings");
    for finding in &results.findings {
        let title = format!(
            "{}: {} (grade {})",
            word(finding.severity),
            clean(finding.title),
            finding.grade.letter()
        );
        page.paragraph("  ", &sentence(&title), mark(Kind::Found(finding.severity)));
        page.paragraph("    ", &sentence(&clean(&finding.summary)), Mark::Plain);
        let next = format!("Check next: {}", sentence(&clean(finding.next_check)));
        page.paragraph("    ", &next, Mark::Faint);
    }
}
