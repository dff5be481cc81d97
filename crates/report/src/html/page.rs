//! The frame of the page and the order of its sections.

use super::{events, figures_table, quality, regions, strips};
use crate::document::{Document, InputRecord};
use crate::sentences;
use crate::words::{bytes, clean, counted, sentence};
use maud::{DOCTYPE, Markup, PreEscaped, html};

const STYLE: &str = include_str!("style.css");

/// Anchor and name of each section, in the order of the page.
const SECTIONS: [(&str, &str); 9] = [
    ("figures", "Figures"),
    ("drive", "Over the drive"),
    ("regions", "Time and heat"),
    ("events", "Events"),
    ("cannot-tell", "Cannot tell"),
    ("quality", "Quality"),
    ("assumptions", "Assumptions"),
    ("cautions", "Cautions"),
    ("made-from", "Made from"),
];

pub(super) fn page(document: &Document) -> Markup {
    let results = document.results;
    let vehicle = sentences::vehicle(document);
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                meta name="generator" content=(format!("halfshaft {}", clean(document.program_version)));
                title { (vehicle) ": clutch-pack differential report" }
                style { (PreEscaped(STYLE)) }
            }
            body {
                main {
                    (head(document, &vehicle))
                    (figures_table::section(results))
                    (strips::section(results))
                    (regions::section(results))
                    (events::section(results))
                    (cannot_tell(document))
                    (quality::section(document))
                    (assumptions(document))
                    (cautions())
                    (made_from(document))
                }
                footer { "halfshaft " (clean(document.program_version)) }
            }
        }
    }
}

fn head(document: &Document, vehicle: &str) -> Markup {
    let results = document.results;
    html! {
        header {
            p.kind { "Clutch-pack differential report" }
            h1 { (vehicle) }
            p.drive { (sentences::drive(document)) }
            p.trust {
                "Log grade " (figures_table::grade(results.quality.grade))
                @if let Some(text) = sentences::trust(results) { " " (text) }
            }
            @if let Some(text) = sentences::provisional(results) { p.provisional { (text) } }
            p.headline { (sentences::headline(results)) }
            nav aria-label="Sections" {
                ul { @for (anchor, name) in SECTIONS { li { a href=(format!("#{anchor}")) { (name) } } } }
            }
        }
    }
}

fn cannot_tell(document: &Document) -> Markup {
    let results = document.results;
    html! {
        section #cannot-tell {
            h2 { "What this log cannot tell" }
            @if sentences::is_all_answered(results) { p { "Every question this report asks was answered." } }
            dl.open {
                @for item in &results.cannot_tell {
                    dt { (clean(item.question)) }
                    dd { (sentence(&clean(&item.why))) }
                    dd.next { span.label { "Next time " } (sentence(&clean(&item.next_time))) }
                }
            }
            p { (sentences::tier(results)) }
        }
    }
}

fn assumptions(document: &Document) -> Markup {
    let assumptions = &document.results.assumptions;
    html! {
        section #assumptions {
            h2 { "Assumptions" }
            @if assumptions.is_empty() {
                p { "The results name none." }
            } @else {
                ul { @for assumption in assumptions { li { (sentence(&clean(assumption))) } } }
            }
        }
    }
}

fn cautions() -> Markup {
    html! {
        section #cautions {
            h2 { "Cautions" }
            ul { @for caution in sentences::CAUTIONS { li { (caution) } } }
        }
    }
}

fn made_from(document: &Document) -> Markup {
    let map = &document.map;
    html! {
        section #made-from {
            h2 { "Made from" }
            @for input in &document.inputs { (input_record(document, input)) }
            h3 { "Signal map" }
            dl.record {
                dt { "Title" } dd { (clean(&map.title)) }
                @for (label, text) in &map.identity { dt { (clean(label)) } dd { (clean(text)) } }
                dt { "Fingerprint" } dd { code { (clean(&map.fingerprint)) } }
            }
            h3 { "Clock" }
            p { (sentence(&clean(&document.clock.words))) }
            h3 { "To make this report again" }
            pre tabindex="0" { code { (clean(&document.command)) } }
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
