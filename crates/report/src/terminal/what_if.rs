//! Another pack beside the car as it is, for a terminal.

use super::layout::{Align, Mark, Page, columns_width};
use crate::beside::{Document, SAME_FORCE, SAME_TORQUE, change_text, difference, value_text, why};
use crate::words::{clean, sentence};
use halfshaft_health::what_if::{CANNOT_KNOW, HOW, Line, Other};

/// The text, for a terminal of that width.
pub fn render(document: &Document, width: usize, colour: bool) -> String {
    let mut page = Page::new(width, colour);
    let vehicle = format!(
        "{}: another pack in this drive",
        clean(&document.map.vehicle)
    );
    page.paragraph("", &vehicle, Mark::Strong);
    if document.answer.asked.is_empty() {
        page.paragraph(
            "  ",
            "Nothing was changed: all columns are the car as it is.",
            Mark::Plain,
        );
    }
    for change in &document.answer.asked {
        page.paragraph(
            "  ",
            &format!("{}: {}", change.title, change_text(change)),
            Mark::Plain,
        );
    }
    page.blank();
    table(&mut page, document);
    page.heading("How");
    for sentence in HOW {
        page.paragraph("  – ", sentence, Mark::Plain);
    }
    page.heading("Cannot be known from this log");
    for words in CANNOT_KNOW {
        page.paragraph("  – ", words, Mark::Plain);
    }
    if !document.files_written.is_empty() {
        page.blank();
    }
    for file in &document.files_written {
        page.paragraph("", &format!("wrote {}", clean(file)), Mark::Plain);
    }
    page.finish()
}

fn table(page: &mut Page, document: &Document) {
    let lines = &document.answer.lines;
    let two = document.has_two_columns();
    let mut head = vec!["Figure", "as it is", SAME_TORQUE, "", ""];
    let mut aligns = vec![Align::Left, Align::Right];
    let mut marks = vec![Mark::Plain, Mark::Plain];
    if two {
        head.extend([SAME_FORCE, "", ""]);
    }
    for _ in others(&lines[0], two) {
        aligns.extend([Align::Right, Align::Right, Align::Left]);
        marks.extend([Mark::Strong, Mark::Plain, Mark::Faint]);
    }
    let mut rows = vec![head.into_iter().map(str::to_owned).collect::<Vec<_>>()];
    let told = lines.iter().filter(|line| line.logged.is_ok());
    rows.extend(told.clone().map(|line| cells(line, two)));
    if columns_width(&rows) <= page.width {
        page.columns(&rows, &aligns, &marks);
    } else {
        told.for_each(|line| stacked(page, line, two));
    }
    for line in lines {
        if let Some(why) = why(line) {
            let words = format!("{}: {}", line.title, sentence(&clean(why)));
            page.paragraph("  – ", &words, Mark::Faint);
        }
    }
}

/// The other pack under each assumption, as far as they differ.
fn others(line: &Line, two: bool) -> impl Iterator<Item = (&'static str, &Other)> {
    let all = [
        (SAME_TORQUE, &line.same_torque),
        (SAME_FORCE, &line.same_force),
    ];
    all.into_iter().take(if two { 2 } else { 1 })
}

fn cells(line: &Line, two: bool) -> Vec<String> {
    let mut cells = vec![line.title.to_owned(), value_text(line, &line.logged)];
    for (_, other) in others(line, two) {
        cells.extend([
            value_text(line, &other.value),
            difference(line, other),
            other.standing.words().to_owned(),
        ]);
    }
    cells
}

/// A few lines a figure, for a narrow terminal.
fn stacked(page: &mut Page, line: &Line, two: bool) {
    page.ends(
        &format!("  {}", line.title),
        &value_text(line, &line.logged),
        Mark::Plain,
    );
    for (name, other) in others(line, two) {
        let value = format!(
            "{} {:>8}",
            value_text(line, &other.value),
            difference(line, other)
        );
        let name = format!("    {name}, {}", other.standing.words());
        page.ends(&name, &value, Mark::Faint);
    }
}
