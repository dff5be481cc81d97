//! The look for a terminal: whether the car moved, the candidates, then the identifiers.

use halfshaft_look::{Candidate, Kind};

use super::{Document, bus, checks, headline, kind, place, seconds};
use crate::words::{clean, counted, duration};

/// Candidates of one kind shown.
const MOST_OF_A_KIND: usize = 3;
/// Widest text.
const WIDEST: usize = 100;

/// The look as text for so many columns.
pub fn render(document: &Document, width: usize) -> String {
    let found = document.found;
    let mut page = Page {
        width: width.clamp(50, WIDEST),
        text: String::new(),
    };
    page.line("", &headline(found));
    page.text.push('\n');
    for (name, format) in &document.inputs {
        page.line("", &format!("{}: {}", clean(name), clean(format)));
    }
    let mut facts = vec![duration(found.duration_s)];
    facts.push(match found.n_rows {
        0 => counted(found.n_frames, "frame", "frames"),
        n => counted(n, "row", "rows"),
    });
    facts.push(match found.n_gaps {
        0 => "no gap of half a second".to_owned(),
        n => format!(
            "{}, the longest {}",
            counted(n, "gap", "gaps"),
            seconds(longest(document))
        ),
    });
    for (n, one, many) in [
        (
            found.n_steps_back,
            "step back of the clock",
            "steps back of the clock",
        ),
        (found.n_errors, "error frame", "error frames"),
        (
            found.n_lost,
            "frame lost by the recorder",
            "frames lost by the recorder",
        ),
        (
            document.n_lines_skipped,
            "line not readable",
            "lines not readable",
        ),
    ] {
        if n > 0 {
            facts.push(counted(n, one, many));
        }
    }
    page.line("", &facts.join(", "));
    let first = found.first.filter(|stamp| stamp.is_date());
    page.line(
        "",
        match (first, found.n_frames + found.n_rows) {
            (_, 0) => "Clock: nothing to go by",
            (Some(_), _) => "Clock: date and time",
            (None, _) => "Clock: counted from some start, no date",
        },
    );
    candidates(document, &mut page);
    for note in &found.notes {
        page.line("  ", note);
    }
    columns(document, &mut page);
    identifiers(document, &mut page);
    page.text.push('\n');
    page.line(
        "",
        "Candidates are guesses. `halfshaft map start LOG --into FILE.map` begins a map with them.",
    );
    page.text
}

struct Page {
    width: usize,
    text: String,
}

impl Page {
    /// A paragraph; lines behind its first stand further in.
    fn line(&mut self, indent: &str, words: &str) {
        let mut line = indent.to_owned();
        let mut is_empty = true;
        for word in words.split(' ') {
            if !is_empty && line.chars().count() + 1 + word.chars().count() > self.width {
                self.text.push_str(&line);
                self.text.push('\n');
                line = format!("{indent}  ");
                is_empty = true;
            }
            if !is_empty {
                line.push(' ');
            }
            line.push_str(word);
            is_empty = false;
        }
        self.text.push_str(line.trim_end());
        self.text.push('\n');
    }

    fn heading(&mut self, words: &str) {
        self.text.push('\n');
        self.line("", words);
    }
}

fn longest(document: &Document) -> f64 {
    document
        .found
        .gaps
        .iter()
        .map(|gap| gap.1)
        .fold(0.0, f64::max)
}

fn candidates(document: &Document, page: &mut Page) {
    let found = document.found;
    let is_wheel = |candidate: &&Candidate| candidate.kind == Kind::WheelSpeed;
    let wheels: Vec<&Candidate> = found.candidates.iter().filter(is_wheel).collect();
    if !wheels.is_empty() {
        page.heading("Candidates for wheel speeds");
        for candidate in &wheels {
            let where_ = place(found, &found.signals[candidate.signal].place);
            page.line("  ", &format!("{where_}: {}", kind(candidate)));
        }
        // What speaks for one speaks for all, but for its range.
        for words in &wheels[0].evidence {
            page.line("    ", words);
        }
    }
    let others: Vec<&Candidate> = found
        .candidates
        .iter()
        .filter(|candidate| !is_wheel(candidate))
        .collect();
    if others.is_empty() {
        return;
    }
    page.heading("Other candidates");
    let mut last = None;
    let mut n_of_kind = 0;
    for candidate in others {
        n_of_kind = if last == Some(candidate.kind) {
            n_of_kind + 1
        } else {
            1
        };
        last = Some(candidate.kind);
        if n_of_kind == MOST_OF_A_KIND + 1 {
            page.line("  ", &format!("… more like this: {}", kind(candidate)));
        }
        if n_of_kind > MOST_OF_A_KIND {
            continue;
        }
        let where_ = place(found, &found.signals[candidate.signal].place);
        page.line(
            "  ",
            &format!(
                "{where_}: {}; {}",
                kind(candidate),
                candidate.evidence.join("; ")
            ),
        );
    }
}

fn columns(document: &Document, page: &mut Page) {
    if document.found.columns.is_empty() {
        return;
    }
    page.heading("Columns");
    for column in &document.found.columns {
        let mut words = format!("{}: {}", clean(&column.name), column.kind);
        if let Some((low, high)) = column.span {
            words += &match low == high {
                true => format!(", {low}"),
                false => format!(", {low} to {high}"),
            };
        }
        if let Some(period_s) = column.period_s {
            words += &format!(", changes every {}", seconds(period_s));
        }
        page.line("  ", &words);
    }
}

fn identifiers(document: &Document, page: &mut Page) {
    let found = document.found;
    if found.identifiers.is_empty() {
        return;
    }
    for (at, (_, n)) in found.buses.iter().enumerate() {
        let own = || {
            found
                .identifiers
                .iter()
                .filter(move |identifier| identifier.bus == at)
        };
        let head = format!(
            "{}: {}, {}",
            bus(found, at),
            counted(own().count() as u64, "identifier", "identifiers"),
            counted(*n, "frame", "frames")
        );
        page.heading(&head);
        for identifier in own() {
            let mut words = format!(
                "{}  {}",
                identifier.id,
                counted(identifier.n_frames, "frame", "frames")
            );
            if let Some((period_s, scatter_s)) = identifier.period_s {
                words += &format!(" every {} ± {}", seconds(period_s), seconds(scatter_s));
            }
            let lengths: Vec<String> = identifier
                .lengths
                .iter()
                .map(|(length, _)| length.to_string())
                .collect();
            words += &format!(", {} bytes", lengths.join(" or "));
            let changing: Vec<String> = identifier.changing.iter().map(usize::to_string).collect();
            words += &match changing.len() {
                0 => ", none changes".to_owned(),
                n if n == usize::from(identifier.length()) => ", all change".to_owned(),
                _ => format!(", changing: {}", changing.join(" ")),
            };
            if identifier.n_remote > 0 {
                words += &format!(
                    ", {}",
                    counted(identifier.n_remote, "remote request", "remote requests")
                );
            }
            page.line("  ", &words);
            for check in checks(identifier) {
                page.line("      ", &check);
            }
        }
    }
    if found.n_left_out > 0 {
        page.line(
            "  ",
            &format!(
                "{} of more identifiers than any car has were left out",
                counted(found.n_left_out, "frame", "frames")
            ),
        );
    }
}
