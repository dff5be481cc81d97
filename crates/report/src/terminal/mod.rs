//! The summary on a terminal: what one reads before opening the page.
//!
//! In: a [`Document`]. Out: text of at most the asked width (60 to 120), with ANSI
//! colour only when asked for. Nothing a log, a map or a file name says can steer the
//! terminal.

mod beyond;
mod events;
mod figures;
mod findings;
pub(crate) mod layout;
mod regions;
pub(crate) mod what_if;

use crate::document::Document;
use crate::sentences;
use crate::words::{self, clean, counted};
use layout::{Mark, Page};

/// Characters shown of what a notice quotes.
const MAX_EXAMPLE: usize = 100;

/// The summary. `width` is held between 60 and 120.
pub fn render(document: &Document, width: usize, colour: bool) -> String {
    let mut page = Page::new(width, colour);
    head(&mut page, document);
    findings::section(&mut page, document);
    figures::section(&mut page, document.results);
    beyond::section(&mut page, document.results);
    events::section(&mut page, document.results);
    regions::section(&mut page, document.results);
    findings::not_checked(&mut page, document.results);
    cannot_tell(&mut page, document);
    quality(&mut page, document);
    fit(&mut page, document);
    notices(&mut page, document);
    inputs(&mut page, document);
    foot(&mut page, document);
    page.finish()
}

fn head(page: &mut Page, document: &Document) {
    let results = document.results;
    let grade = format!("log grade {}", results.quality.grade.letter());
    page.ends(&sentences::vehicle(document), &grade, Mark::Strong);
    page.paragraph("", &sentences::drive(document), Mark::Plain);
    if let Some(text) = sentences::trust(results) {
        page.paragraph("", &text, Mark::Plain);
    }
    if let Some(text) = sentences::provisional(results) {
        page.blank();
        page.paragraph("", &text, Mark::Heat);
    }
    page.blank();
    page.paragraph("", &sentences::headline(results), Mark::Strong);
}

fn cannot_tell(page: &mut Page, document: &Document) {
    let open = &document.results.cannot_tell;
    page.heading("This log cannot tell");
    if sentences::is_all_answered(document.results) {
        page.paragraph(
            "  ",
            "Every question this report asks was answered.",
            Mark::Plain,
        );
    }
    for item in open {
        page.paragraph("  ? ", &clean(item.question), Mark::Plain);
        page.paragraph("    ", &words::sentence(&clean(&item.why)), Mark::Faint);
        let next_time = format!("Next time: {}", words::sentence(&clean(&item.next_time)));
        page.paragraph("    ", &next_time, Mark::Plain);
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
    if let Some(text) = sentences::settings(document.results) {
        page.paragraph("  ", &text, Mark::Plain);
    }
}

fn foot(page: &mut Page, document: &Document) {
    if !document.files_written.is_empty() {
        page.heading("Written");
        for name in &document.files_written {
            page.paragraph("  ", &clean(name), Mark::Plain);
        }
    }
    page.blank();
    if let Some(text) = &document.compared_with {
        page.paragraph("", &clean(text), Mark::Plain);
    }
    page.paragraph(
        "",
        "Figures are estimates, low to high holds the truth nine times out of ten. Not a decision on roadworthiness.",
        Mark::Faint,
    );
}
