//! What the report was made from: logs, map, clock, with their fingerprints.

use crate::document::{Document, InputRecord};
use crate::sentences;
use crate::words::{bytes, clean, counted, sentence, shorten};
use maud::{Markup, html};

/// Letters of what a workshop states, so that the owner's side stays one page.
const MOST_OF_A_PART: usize = 40;

pub(super) fn section(document: &Document) -> Markup {
    let map = &document.map;
    html! {
        section #identity {
            h2 { "Car, log and map" }
            p { (sentences::drive(document)) ". " (sentence(&clean(&document.clock.words))) }
            div.sources {
                @for input in &document.inputs { div { (input_record(document, input)) } }
                div {
                    h3 { "Signal map" }
                    dl.record {
                        dt { "Title" } dd { (clean(&map.title)) }
                        @for (label, text) in &map.identity { dt { (clean(label)) } dd { (clean(text)) } }
                        dt { "Fingerprint" } dd { code { (clean(&map.fingerprint)) } }
                    }
                }
            }
        }
    }
}

fn input_record(document: &Document, input: &InputRecord) -> Markup {
    let stamp = |stamp| document.clock.utc(stamp);
    html! {
        h3.name { (clean(&input.name)) }
        dl.record {
            dt { "Format" }
            dd { (clean(&input.format)) @if let Some(word) = &input.compression { ", " (clean(word)) } }
            dt { "Size" }
            dd {
                (bytes(input.size_bytes)) ", " (counted(input.n_entries, "entry", "entries"))
                @if input.n_lines_skipped > 0 { ", " (counted(input.n_lines_skipped, "line", "lines")) " skipped" }
            }
            @if let Some(first) = input.first_stamp.and_then(stamp) { dt { "First entry" } dd { (first) } }
            @if let Some(last) = input.last_stamp.and_then(stamp) { dt { "Last entry" } dd { (last) } }
            dt { "Fingerprint" } dd { code { (clean(&input.fingerprint)) } }
            @if let Some(trouble) = &input.trouble { dt { "Trouble" } dd { (sentence(&clean(trouble))) } }
        }
    }
}

/// A reading of the odometer as it stands there, `84,200`.
fn with_comma(km: f64) -> String {
    let whole = km.round() as u64;
    match whole / 1000 {
        0 => whole.to_string(),
        thousands => format!("{thousands},{:03}", whole % 1000),
    }
}

/// What the workshop stated, in a line.
pub(super) fn workshop(document: &Document) -> Option<String> {
    let stated = document.workshop.as_ref()?;
    let mileage = stated
        .mileage_km
        .map(|km| format!("{}\u{a0}km on the clock", with_comma(km)));
    let parts = [
        stated.shop.as_deref().map(clean),
        stated
            .job
            .as_deref()
            .map(|job| format!("job {}", clean(job))),
        mileage,
    ];
    let parts: Vec<String> = parts
        .into_iter()
        .flatten()
        .map(|part| shorten(&part, MOST_OF_A_PART))
        .collect();
    Some(parts.join(" · "))
}

/// The command that makes the report again.
pub(super) fn command(document: &Document) -> Markup {
    html! {
        section #command {
            h2 { "To make this report again" }
            pre tabindex="0" { code { (clean(&document.command)) } }
            p.note { "The same log, map, settings and program version give the same report, byte for byte." }
        }
    }
}
