//! A comparison for a terminal.

use crate::compared::ComparisonDocument;
use crate::compared::words::{
    BANDS, WHOSE, alike, beside, in_a_sentence, not_compared, seen, sides, whose,
};
use crate::terminal::layout::{Mark, Page};
use crate::words::{clean, counted, sentence};

/// The comparison for a terminal.
pub fn terminal(document: &ComparisonDocument, width: usize, colour: bool) -> String {
    let comparison = document.comparison;
    let mut page = Page::new(width, colour);
    let title = format!("{}: before and after", document.unit());
    page.paragraph("", &title, Mark::Strong);
    for line in sides(document) {
        page.paragraph("", &line, Mark::Plain);
    }
    if let Ok(n) = comparison.matched {
        let corners = counted(n as u64, "corner", "corners");
        let text = format!("Laps of one circuit, {corners} of it found in both.");
        page.paragraph("", &text, Mark::Plain);
    }
    for (heading, lines) in [
        ("What the reports find wrong", document.findings()),
        ("What cannot be seen here", document.blind_spots()),
        ("What else was not the same", beside(comparison)),
    ] {
        list(&mut page, heading, &lines);
    }
    let mut is_any = false;
    for of in WHOSE {
        let figures = seen(comparison, of);
        let (heading, why) = whose(of);
        if figures.is_empty() {
            continue;
        }
        is_any = true;
        page.heading(heading);
        page.paragraph("  ", why, Mark::Faint);
        for figure in figures {
            page.paragraph("  ", &in_a_sentence(figure), Mark::Strong);
        }
    }
    if !is_any {
        page.heading("What changed");
        page.paragraph("  ", "Nothing that could be seen.", Mark::Plain);
    }
    let alike: Vec<String> = alike(comparison)
        .iter()
        .map(|(figure, _)| in_a_sentence(figure))
        .collect();
    for (heading, lines) in [
        ("No difference detectable", alike),
        ("Not compared", not_compared(comparison)),
        ("What to do next", document.next()),
        ("Limits of this comparison", document.notes()),
    ] {
        list(&mut page, heading, &lines);
    }
    page.blank();
    page.paragraph("", BANDS, Mark::Faint);
    if !document.files_written.is_empty() {
        let files = document.files_written.join(", ");
        page.paragraph("", &format!("Written: {}.", clean(files)), Mark::Faint);
    }
    page.finish()
}

fn list(page: &mut Page, heading: &str, lines: &[String]) {
    if lines.is_empty() {
        return;
    }
    page.heading(heading);
    for line in lines {
        page.paragraph("  ", &sentence(&clean(line)), Mark::Plain);
    }
}
