//! `look`'s page: the candidates with what speaks for each, and a picture of every field over time, so
//! that a person can recognise them.

use std::fmt::Write;

use halfshaft_look::{Candidate, Drawn, Identifier, Place};
use maud::{Markup, PreEscaped, html};

use super::page::frame;
use crate::look::{Document, bus, checks, headline, kind, place, seconds};
use crate::words::{clean, counted, duration, sentence, shorten};

/// Look of this page alone.
const STYLE: &str = include_str!("style/look.css");
/// Box of a picture, and seconds between points that are not joined.
const WIDTH: f64 = 600.0;
const HEIGHT: f64 = 80.0;
const JOINED_S: f64 = 2.5;
/// Pictures of a page; more of them no one looks at.
const MOST_PICTURES: usize = 600;

/// The page as text.
pub fn render(document: &Document) -> String {
    let mut text = page(document).into_string();
    text.push('\n');
    text
}

fn page(document: &Document) -> Markup {
    let found = document.found;
    let name = document
        .inputs
        .first()
        .map_or("a log", |(name, _)| name.as_str());
    let name = shorten(&clean(name), 60);
    let body = html! {
        main.look {
            style { (PreEscaped(STYLE)) }
            p.kind { "What is in this log" }
            h1 { (name) }
            p.headline { (headline(found)) }
            p { (duration(found.duration_s)) ", "
                @if found.n_rows > 0 { (counted(found.n_rows, "row", "rows")) }
                @else { (counted(found.n_frames, "frame", "frames")) }
                ", " (counted(found.n_gaps, "gap", "gaps")) " of half a second or more." }
            @if !found.candidates.is_empty() {
                section #candidates {
                    h2 { "Candidates" }
                    p { "Guesses by how the fields run, with what speaks for each. Nothing here is known of the car." }
                    @for candidate in &found.candidates { (candidate_of(document, candidate)) }
                }
            }
            @if !found.notes.is_empty() {
                section #unknown {
                    h2 { "Not known" }
                    ul { @for note in &found.notes { li { (sentence(note)) } } }
                }
            }
            (columns(document))
            (identifiers(document))
        }
    };
    frame(
        &format!("{name}: what is in this log"),
        &format!("{name}: what is in this log"),
        document.program_version,
        &body,
        &html! {},
    )
}

fn candidate_of(document: &Document, candidate: &Candidate) -> Markup {
    let signal = &document.found.signals[candidate.signal];
    html! {
        div.field {
            h3 { (kind(candidate)) }
            p.place { (place(document.found, &signal.place)) }
            (picture(document, signal))
            ul { @for words in &candidate.evidence { li { (sentence(words)) } } }
        }
    }
}

fn columns(document: &Document) -> Markup {
    let found = document.found;
    let drawn = |column: usize| {
        found
            .signals
            .iter()
            .find(move |signal| signal.place == Place::Column { column })
    };
    html! {
        @if !found.columns.is_empty() {
            section #columns {
                h2 { "Columns" }
                @for (at, column) in found.columns.iter().enumerate().take(MOST_PICTURES) {
                    div.field {
                        p.place { (clean(&column.name)) ": " (column.kind) }
                        @if let Some(signal) = drawn(at) { (picture(document, signal)) }
                    }
                }
            }
        }
    }
}

fn identifiers(document: &Document) -> Markup {
    let found = document.found;
    let mut n_left = MOST_PICTURES;
    html! {
        @for (bus_at, _) in found.buses.iter().enumerate() {
            section {
                h2 { "Bus " (bus(found, bus_at)) }
                @for (at, identifier) in found.identifiers.iter().enumerate() {
                    @if identifier.bus == bus_at { (identifier_of(document, at, identifier, &mut n_left)) }
                }
            }
        }
    }
}

fn identifier_of(
    document: &Document,
    at: usize,
    identifier: &Identifier,
    n_left: &mut usize,
) -> Markup {
    let is_own = |signal: &&Drawn| matches!(signal.place, Place::Bits { identifier, .. } if identifier == at);
    let own: Vec<&Drawn> = document
        .found
        .signals
        .iter()
        .filter(is_own)
        .take(*n_left)
        .collect();
    *n_left -= own.len();
    let period = identifier
        .period_s
        .map_or(String::new(), |(period_s, scatter_s)| {
            format!(" every {} ± {}", seconds(period_s), seconds(scatter_s))
        });
    html! {
        details {
            summary {
                b { (identifier.id.to_string()) } " "
                (counted(identifier.n_frames, "frame", "frames")) (period) ", "
                (identifier.length()) " bytes, " (counted(own.len() as u64, "field", "fields"))
            }
            @for words in checks(identifier) { p { (sentence(&words)) } }
            @for signal in own {
                div.field {
                    p.place { (place(document.found, &signal.place)) }
                    (picture(document, signal))
                }
            }
        }
    }
}

/// A field over time: a line between its lowest and its highest value, which stand beside it.
fn picture(document: &Document, signal: &Drawn) -> Markup {
    let (low, high) = signal.span;
    let duration_s = document.found.duration_s.max(1.0);
    let mut path = String::new();
    let mut last: Option<f64> = None;
    for &(time_s, value) in &signal.picture {
        let x = (time_s / duration_s * WIDTH).clamp(0.0, WIDTH);
        let y = HEIGHT - (value - low) / (high - low).max(1e-9) * HEIGHT;
        // What is not joined is still seen: a dot.
        let word = match last {
            Some(before) if time_s - before <= JOINED_S => "L",
            _ => "M",
        };
        // Writing to a text cannot fail.
        let _ = write!(path, "{word}{x:.1} {y:.1}h.1");
        last = Some(time_s);
    }
    let label = format!("over time, {low} to {high}");
    html! {
        figure.picture {
            svg viewBox=(format!("-2 -4 {} {}", WIDTH + 4.0, HEIGHT + 8.0)) preserveAspectRatio="none" role="img" aria-label=(label) {
                path d=(path) {}
            }
            figcaption { (low) " to " (high) ", 0 to " (duration(document.found.duration_s)) }
        }
    }
}
