//! The list of marks.

use super::layout::{Mark, Page};
use crate::noted::noted;
use halfshaft_health::Results;

pub(super) fn section(page: &mut Page, results: &Results) {
    let marks = noted(results);
    if marks.is_empty() {
        return;
    }
    page.heading("Marks");
    for mark in marks {
        let lead = format!("  {}. {} ", mark.number, mark.at);
        let begins = mark
            .begins
            .map_or(String::new(), |begins| format!(". {begins}"));
        page.paragraph(&lead, &format!("{}{begins}", mark.note), Mark::Plain);
    }
}
