//! The report on a terminal: a summary of some fifteen lines, or all of it.
//!
//! In: a [`Document`]. Out: text of at most the asked width (50 to 120), with ANSI
//! colour only when asked for. Either begins with the verdict and ends with what to do and the
//! files written, since a terminal shows the end of what was printed. Nothing a log, a map or a file
//! name says can steer the terminal.

mod answers;
mod events;
mod figures;
mod findings;
pub(crate) mod layout;
mod noted;
mod regions;
pub(crate) mod what_if;

use crate::document::Document;
use crate::words::{self, clean, counted};
use crate::{open_questions, sentences, verdict};
use layout::{Mark, Page};

/// Characters shown of what a notice quotes.
const MAX_EXAMPLE: usize = 100;

/// The summary: what one reads before opening the page. `width` is kept between 50 and 120.
pub fn summary(document: &Document, width: usize, colour: bool) -> String {
    let mut page = Page::new(width, colour);
    head(&mut page, document);
    findings::verdict(&mut page, document, true);
    answers::section(&mut page, document);
    foot(&mut page, document);
    page.finish()
}

/// All of the report.
pub fn render(document: &Document, width: usize, colour: bool) -> String {
    let mut page = Page::new(width, colour);
    head(&mut page, document);
    findings::verdict(&mut page, document, false);
    answers::section(&mut page, document);
    findings::section(&mut page, document.results);
    figures::section(&mut page, document.results);
    events::section(&mut page, document.results);
    noted::section(&mut page, document.results);
    regions::section(&mut page, document.results);
    open(&mut page, document);
    quality(&mut page, document);
    fit(&mut page, document);
    notices(&mut page, document);
    inputs(&mut page, document);
    cautions(&mut page);
    foot(&mut page, document);
    page.finish()
}

fn head(page: &mut Page, document: &Document) {
    let results = document.results;
    let grade = format!("log grade {}", results.quality.grade.letter());
    page.ends(&sentences::vehicle(document), &grade, Mark::Strong);
    page.paragraph("", &sentences::drive(document), Mark::Plain);
    if let Some(text) = sentences::provisional(results) {
        page.paragraph("", &text, Mark::Heat);
    }
    page.blank();
}

/// What the log leaves open, by what is missing.
fn open(page: &mut Page, document: &Document) {
    page.heading("Not checked, and what it takes");
    let all = open_questions::open(document.results);
    if all.is_empty() {
        page.paragraph(
            "  ",
            "Every check was made, and every question answered.",
            Mark::Plain,
        );
    }
    for open in all {
        page.paragraph("  – ", &open.missing, Mark::Plain);
        if !open.checks.is_empty() {
            let checks = format!("Not checked: {}.", open.checks.join("; "));
            page.paragraph("    ", &checks, Mark::Faint);
        }
        for question in &open.questions {
            page.paragraph("    ", &format!("Open: {question}"), Mark::Faint);
        }
        for next_time in &open.next_time {
            page.paragraph("    ", &format!("Next time: {next_time}"), Mark::Plain);
        }
    }
    page.paragraph("  ", &sentences::tier(document.results), Mark::Plain);
}

fn quality(page: &mut Page, document: &Document) {
    let quality = &document.results.quality;
    page.heading("Quality of the log");
    let n_seen = quality
        .channels
        .iter()
        .filter(|channel| channel.n_samples > 0)
        .count();
    let channels = counted(quality.channels.len() as u64, "channel", "channels");
    let mut text = format!(
        "{n_seen} of {channels} of the map seen; {}",
        counted(quality.n_gaps, "gap", "gaps")
    );
    if let Some(longest) = quality.gaps.first() {
        text.push_str(&format!(
            ", the longest {} at {} ({})",
            words::duration(longest.span.seconds()),
            words::drive_time(longest.span.start),
            clean(&longest.channel),
        ));
    }
    page.paragraph("  ", &words::sentence(&text), Mark::Plain);
    for channel in &quality.channels {
        if channel.n_samples == 0 {
            page.paragraph(
                "  – ",
                &format!("{}: never seen", clean(&channel.name)),
                Mark::Plain,
            );
        } else if halfshaft_health::Grade::of(channel.coverage) != halfshaft_health::Grade::A {
            let text = format!(
                "{}: covers {} of the drive, {}, {} in all",
                clean(&channel.name),
                words::percent(channel.coverage),
                counted(channel.n_gaps, "gap", "gaps"),
                words::duration(channel.gap_s),
            );
            page.paragraph("  – ", &text, Mark::Plain);
        }
    }
    for text in sentences::not_believed(document.results) {
        page.paragraph("  – ", &text, Mark::Plain);
    }
    if let Some(text) = sentences::trust(document.results) {
        page.paragraph("  ", &text, Mark::Plain);
    }
    page.paragraph("  ", &sentences::noise(document.results), Mark::Plain);
}

fn fit(page: &mut Page, document: &Document) {
    if document.remarks.is_empty() {
        page.paragraph("  ", words::NOTHING_ODD, Mark::Plain);
        return;
    }
    page.heading("Log and map do not fit");
    for remark in &document.remarks {
        page.paragraph("  – ", &clean(remark), Mark::Plain);
    }
}

fn notices(page: &mut Page, document: &Document) {
    page.heading("Notices");
    if document.notices.is_empty() {
        page.paragraph("  ", "None: nothing in the data was damaged.", Mark::Plain);
        return;
    }
    page.paragraph(
        "  ",
        "Damaged data was left out and counted; the results stand.",
        Mark::Plain,
    );
    let n_digits = document
        .notices
        .iter()
        .map(|(_, tally)| tally.count.to_string().len())
        .max()
        .unwrap_or(1);
    for (code, tally) in document.notices.iter() {
        let lead = format!("  {:>n_digits$} × ", tally.count);
        let place = clean(tally.first.to_string());
        let example = words::shorten(&clean(&tally.example), MAX_EXAMPLE);
        let example = if example.is_empty() {
            String::new()
        } else {
            format!(": {example}")
        };
        page.paragraph(
            &lead,
            &format!("{}, first at {place}{example}", code.word()),
            Mark::Plain,
        );
        let indent = " ".repeat(lead.chars().count());
        page.paragraph(&indent, code.meaning(), Mark::Faint);
    }
}

fn inputs(page: &mut Page, document: &Document) {
    page.heading("Read");
    for input in &document.inputs {
        let compression = input
            .compression
            .as_ref()
            .map(|word| format!(", {}", clean(word)))
            .unwrap_or_default();
        let skipped = match input.n_lines_skipped {
            0 => String::new(),
            n => format!(", {} skipped", counted(n, "line", "lines")),
        };
        if input.format.is_empty() && input.n_entries == 0 {
            page.paragraph(
                "  ",
                &format!("{}: not read", clean(&input.name)),
                Mark::Plain,
            );
            if let Some(trouble) = &input.trouble {
                page.paragraph("    ", &words::sentence(&clean(trouble)), Mark::Heat);
            }
            continue;
        }
        let text = format!(
            "{}: {}{compression}, {}, {}{skipped}",
            clean(&input.name),
            clean(&input.format),
            words::bytes(input.size_bytes),
            counted(input.n_entries, "entry", "entries"),
        );
        page.paragraph("  ", &text, Mark::Plain);
        if let Some(trouble) = &input.trouble {
            page.paragraph("    ", &words::sentence(&clean(trouble)), Mark::Heat);
        }
    }
    let title = clean(document.map.title.trim());
    let title = if title.is_empty() {
        "map without a title".to_owned()
    } else {
        format!("map \"{title}\"")
    };
    page.paragraph(
        "  ",
        &format!("{title}, fingerprint {}", clean(&document.map.fingerprint)),
        Mark::Plain,
    );
}

fn cautions(page: &mut Page) {
    page.blank();
    page.paragraph(
        "",
        "Figures are estimates: low to high contains the true value nine times out of ten. Not a decision on roadworthiness.",
        Mark::Faint,
    );
}

/// What to do, and where the page is: the last that is printed.
fn foot(page: &mut Page, document: &Document) {
    page.blank();
    for task in verdict::words(document).to_do {
        let by = match task.by.as_str() {
            "" => "Next".to_owned(),
            by => by.to_owned(),
        };
        page.paragraph("", &format!("{by}: {}", task.what), Mark::Strong);
    }
    if !document.files_written.is_empty() {
        let names: Vec<String> = document.files_written.iter().map(clean).collect();
        page.paragraph("", &format!("Written: {}", names.join(", ")), Mark::Plain);
    }
}
