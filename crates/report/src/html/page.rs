//! The frame of pages, and the order of the sections of the report: the owner's side first, then the
//! engineer's part, answers before the proof of them.

use super::typeset::{style_string, with_units_kept};
use super::{
    actuator, calibration, events, evidence, figures_table, findings, heat, identity, not_checked,
    owner, quality, settings, strips, wear,
};
use crate::document::Document;
use crate::words::{clean, sentence, shorten};
use crate::{sentences, verdict};
use halfshaft_model::at_once;
use maud::{DOCTYPE, Markup, PreEscaped, html};

const STYLE: [&str; 4] = [
    super::STYLE,
    include_str!("style/owner.css"),
    include_str!("style/drawings.css"),
    include_str!("style/room.css"),
];

/// Letters of the foot, so that it stays beside the number of the sheet.
const MOST_OF_A_FOOT: usize = 110;

/// Zoom and readout of the strips; the page is whole without it.
const SCRIPT: &str = include_str!("zoom.js");

/// What a browser lets the page do: nothing but its own look and this one script, whose SHA-256 the
/// policy names. Were foreign text ever to slip in as a tag, it would load nothing and run nothing.
/// Styles cannot be named so, because drawings carry theirs in attributes.
const POLICY: &str = include_str!("policy.txt");

/// Anchor and name of each section, in the order of the page.
const SECTIONS: [(&str, &str); 15] = [
    ("findings", "Findings"),
    ("laps", "Corners and laps"),
    ("actuator", "Actuator"),
    ("drive", "Over the drive"),
    ("heat", "Time and heat"),
    ("events", "Events"),
    ("figures", "Figures"),
    ("wear", "Severity, temperatures, oil"),
    ("evidence", "Evidence and outlook"),
    ("tyres", "Tyre ratio"),
    ("not-checked", "Not checked"),
    ("quality", "Quality"),
    ("assumptions", "Assumptions"),
    ("identity", "Car, log and map"),
    ("command", "Reproduce"),
];

pub(super) fn page(document: &Document) -> Markup {
    let results = document.results;
    let vehicle = sentences::vehicle(document);
    // Half of all that is to be drawn: done beside the rest.
    let (strips, rest) = at_once(
        || strips::section(results),
        || {
            let head = html! {
                p.headline { (sentences::headline(results)) }
                (findings::section(results))
                (heat::by_place(results))
                (actuator::section(results))
            };
            let tail = html! {
                (heat::section(results))
                (events::section(results))
                (figures_table::section(results))
                (wear::section(results))
                (evidence::section(results))
                (calibration::section(results))
                (not_checked::section(document))
                (quality::section(document))
                (assumptions(document))
                (identity::section(document))
                (identity::command(document))
            };
            (owner::section(document), head, tail)
        },
    );
    let (owner, head, tail) = rest;
    let body = html! {
        a.skip href="#engineer" { "To the engineer’s part" }
        main {
            (owner)
            div.engineer #engineer {
                p.kind { "Clutch-pack differential report: the engineer’s part" }
                nav aria-label="Sections" {
                    ul { @for (anchor, name) in SECTIONS { li { a href=(format!("#{anchor}")) { (name) } } } }
                }
                (head)
                (strips)
                (tail)
                a.top href="#owner" { "Top" }
            }
        }
    };
    let script = html! { script { (PreEscaped(SCRIPT)) } };
    let title = format!("{vehicle}: clutch-pack differential report");
    let day = verdict::day(document, 0).unwrap_or_else(|| "date unknown".to_owned());
    let foot = [
        Some(shorten(&vehicle, 60)),
        Some(day),
        identity::workshop(document),
    ];
    let foot: Vec<String> = foot.into_iter().flatten().collect();
    let foot = shorten(&foot.join(" · "), MOST_OF_A_FOOT);
    frame(&title, &foot, document.program_version, &body, &script)
}

/// A page complete in itself: head, style, what is in it, and who made it. The foot stands on each
/// sheet of paper. The script, where there is one, stands last.
pub(super) fn frame(
    title: &str,
    foot: &str,
    program_version: &str,
    body: &Markup,
    script: &Markup,
) -> Markup {
    let foot = format!(
        "@page {{ @bottom-left {{ content: {}; }} }}",
        style_string(foot)
    );
    let body = with_units_kept(&body.0);
    let made_by = format!("halfshaft {}", clean(program_version));
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta http-equiv="Content-Security-Policy" content=(POLICY.trim_ascii_end());
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                meta name="generator" content=(made_by);
                title { (title) }
                style { @for part in STYLE { (PreEscaped(part)) } (PreEscaped(foot)) }
            }
            body {
                (PreEscaped(body))
                footer { (made_by) }
                (script)
            }
        }
    }
}

fn assumptions(document: &Document) -> Markup {
    let assumptions = &document.results.assumptions;
    html! {
        section #assumptions {
            h2 { "Assumptions and cautions" }
            @if let Some(text) = &document.compared_with { p { (clean(text)) } }
            @if assumptions.is_empty() {
                p { "The results name no assumption." }
            } @else {
                ul { @for assumption in assumptions { li { (sentence(&clean(assumption))) } } }
            }
            (settings::table(document.results))
            h3 { "Cautions" }
            ul { @for caution in sentences::CAUTIONS { li { (caution) } } }
        }
    }
}
