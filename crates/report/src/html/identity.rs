//! What the report was made from: logs, map, clock, with their fingerprints.

use crate::document::{Document, InputRecord};
use crate::sentences;
use crate::words::{bytes, clean, counted, sentence};
use maud::{Markup, html};

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
