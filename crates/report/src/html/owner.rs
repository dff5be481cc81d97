//! The owner's side: one printed page, read from the top in half a minute.
//!
//! No speeds, no places, no file names: what this page shows can be handed over.

use super::{identity, needles, shapes, strips, wear};
use crate::document::Document;
use crate::verdict::{self, class_words};
use crate::words::{clean, counted, figure_text, sentence, shorten};
use crate::{sentences, track};
use halfshaft_health::FigureId;
use halfshaft_health::verdict::Kind;
use halfshaft_health::{Results, Strip, UseClass, Verdict};
use maud::{Markup, html};

/// Characters of a name on this page, so that it stays one page.
const MOST_OF_A_NAME: usize = 80;

/// Letters from which a heading is set smaller.
const MOST_OF_A_WORD: usize = 20;

/// Checks named that could not be made; the engineer's part lists them all.
const MOST_NOT_CHECKED: usize = 5;

pub(super) fn section(document: &Document) -> Markup {
    let results = document.results;
    let words = verdict::words(document);
    html! {
        section.owner #owner aria-labelledby="verdict" {
            header {
                p.kind { "Clutch-pack differential report: the owner’s side" }
                h1 { (shorten(&sentences::vehicle(document), MOST_OF_A_NAME)) }
                p.drive { (drive(document)) }
                @if let Some(text) = identity::workshop(document) { p.drive { (text) } }
                @if let Some(text) = sentences::provisional(results) { p.provisional { (text) } }
            }
            (head(&results.verdict, &words.line))
            @if let Some(text) = verdict::doubt(document) { p.doubt { (text) } }
            (between_stints(results))
            div.reasons {
                div {
                    h3 { "Why" }
                    @for reason in &words.why { p { (reason) } }
                    @if words.why.is_empty() { p { "The log holds nothing to go by." } }
                }
                div {
                    h3 { "What to do" }
                    dl.tasks {
                        @for task in &words.to_do {
                            div {
                                @if !task.by.is_empty() { dt { (task.by) } }
                                dd { (task.what) }
                            }
                        }
                    }
                }
            }
            (use_of_the_car(results))
            (oil(results))
            (picture(results))
            (not_checked(results))
            p.gloss {
                strong { "Words. " }
                "Clutch pack: the plates in the rear axle that tie the rear wheels together. Slip: the plates rub, which makes heat. kJ: an amount of heat; 10 kJ warm a litre of axle oil by about 5 °C. Figures are estimates and no decision on roadworthiness."
            }
        }
    }
}

fn drive(document: &Document) -> String {
    let results = document.results;
    let day = verdict::day(document, 0).unwrap_or_else(|| "date unknown".to_owned());
    let distance = results
        .figure(FigureId::Distance)
        .map(figure_text)
        .and_then(Result::ok)
        .map_or("distance not known".to_owned(), |shown| shown.text());
    format!(
        "{day} · {distance} · log grade {} (A best, D worst) · halfshaft {}",
        results.quality.grade.letter(),
        clean(document.program_version)
    )
}

fn head(verdict: &Verdict, line: &str) -> Markup {
    let heading = verdict::heading(verdict);
    html! {
        div.verdict.{ "is-" (shapes::class_of(verdict)) } {
            (shapes::shape_of(verdict))
            h2 #verdict {
                span.word.long[heading.len() > MOST_OF_A_WORD] { (heading) }
                " "
                span.line { (shorten(line, 2 * MOST_OF_A_NAME)) }
            }
        }
        @if let Kind::Found(_) = verdict.kind {} @else { p.scope { "This is about the clutch-pack differential only, and about this drive only." } }
    }
}

/// What a driver asks first between two stints; nothing without laps.
fn between_stints(results: &Results) -> Markup {
    let lines = track::lines(results);
    html! {
        @if !lines.is_empty() {
            dl.stint {
                @for line in &lines {
                    div.urgent[line.is_urgent] { dt { (line.label) } dd { (line.text) } }
                }
            }
        }
    }
}

fn use_of_the_car(results: &Results) -> Markup {
    html! {
        div.use {
            h3 {
                "How the car was used"
                @if let Ok(class) = &results.class { ": " (class_words(class)) }
            }
            @match &results.class {
                Ok(class) => {
                    p {
                        (verdict::use_for_the_owner(&class.sentence))
                        @if let Some(other) = &class.counterfactual { " " (verdict::for_the_owner(other)) }
                        @if let Some(mix) = mix(class) { " " (mix) }
                    }
                }
                Err(why) => p {
                    @if let Some(plain) = verdict::plain_use(results) { (plain) " " }
                    (verdict::for_the_owner(&why.to_string()))
                },
            }
            (needles::strip(&results.meters))
        }
    }
}

/// The oil distance; a policy, and said so.
fn oil(results: &Results) -> Markup {
    html! {
        p.oil {
            @if let Some(text) = &results.actuator_sentence { strong { "Clutch motor. " } (sentence(&clean(text))) " " }
            strong { "Oil. " }
            (wear::distance(&results.oil_life)) " " (wear::rule(&results.oil_life))
        }
    }
}

/// Kilometres by class, when there is more than one.
fn mix(class: &UseClass) -> Option<String> {
    if class.stretches.len() < 2 {
        return None;
    }
    let parts: Vec<String> = class
        .stretches
        .iter()
        .map(|&(level, km)| {
            format!(
                "{}\u{a0}km {}",
                crate::words::number(km),
                UseClass::word(level)
            )
        })
        .collect();
    Some(format!("By stretch: {}.", parts.join(", ")))
}

/// The one picture: oil temperature, or heat where the log has no temperature.
fn picture(results: &Results) -> Markup {
    let of = |name: &str| {
        let is_drawn = |strip: &&Strip| strip.name == name && !strip.slots.is_empty();
        results.strips.iter().find(is_drawn)
    };
    match of("oil_temperature").or_else(|| of("heat_rate")) {
        Some(strip) => html! { div.picture { (strips::alone(strip, results)) } },
        None => html! {},
    }
}

fn not_checked(results: &Results) -> Markup {
    let titles: Vec<String> = results
        .not_checked
        .iter()
        .map(|item| format!("“{}”", clean(item.title)))
        .collect();
    let (n_all, n_open) = (titles.len(), results.cannot_tell.len());
    html! {
        div.unchecked {
            h3 { "What was not checked" }
            p {
                @if n_all == 0 {
                    "Every check of the differential was made."
                } @else {
                    (n_all) " of " (results.verdict.n_checks) " checks, since this recording does not hold what they take: "
                    (titles.into_iter().take(MOST_NOT_CHECKED).collect::<Vec<_>>().join(", "))
                    @if n_all > MOST_NOT_CHECKED { ", and " (n_all - MOST_NOT_CHECKED) " more" }
                    "."
                }
                @if n_open > 0 {
                    " " (sentence(&format!("{} left open", counted(n_open as u64, "question is", "questions are"))))
                    " The engineer’s part says what to record next time."
                }
                " The rest of the car is no part of this report."
            }
        }
    }
}
