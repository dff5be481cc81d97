//! What speaks for which way to fail, what comes next, and whether state and slip follow.
//!
//! In: the settled results. Out: tables of sentences; no probability is made of them.

use crate::words::{clean, number, sentence};
use halfshaft_health::Results;
use halfshaft_health::outlook::{Ahead, Outlook};
use halfshaft_health::score_card::PathEvidence;
use halfshaft_health::thermal::TimeToLimit;
use maud::{Markup, html};

pub(super) fn section(results: &Results) -> Markup {
    html! {
        section #evidence {
            h2 { "Evidence and outlook" }
            @match &results.two_by_two {
                Ok(found) => p { (sentence(&clean(&found.sentence))) },
                Err(why) => p { "Whether the state follows the command, and slip falls then, cannot be said: " (sentence(&clean(why))) },
            }
            h3 { "Ways to fail" }
            p.note { "Evidence for and against each, and what this drive leaves open. Several can hold; none has a probability." }
            @for path in &results.score_card { (card(path)) }
            h3 { "If it goes on like the last minute" }
            @match &results.outlook {
                Ok(outlook) => (ahead(outlook)),
                Err(why) => p { "Not told: " (sentence(&clean(why))) },
            }
        }
    }
}

fn card(path: &PathEvidence) -> Markup {
    let rows = [
        ("For", &path.for_it),
        ("Against", &path.against),
        ("Cannot tell", &path.cannot_tell),
    ];
    html! {
        h4 { (path.title) }
        dl.card {
            @for (word, lines) in rows {
                @if !lines.is_empty() {
                    dt { (word) }
                    @for line in lines { dd { (sentence(&clean(line))) } }
                }
            }
            dt { "Check next" }
            dd { (sentence(&clean(path.next_check))) }
        }
    }
}

fn ahead(outlook: &Outlook) -> Markup {
    let cool = &outlook.cool_down;
    html! {
        p.note { (sentence(&clean(&outlook.basis))) }
        div.scroll tabindex="0" role="region" aria-label="Table of what comes next" {
            table.ahead {
                thead { tr {
                    th scope="col" { "" }
                    th.number scope="col" { "At the end" }
                    th.number scope="col" { "Limit" }
                    th.number scope="col" { "Room" }
                    th.number scope="col" { "Limit reached" }
                    th.number scope="col" { "Would level off at" }
                } }
                tbody {
                    (node("Oil", &outlook.oil))
                    (node("Pack, estimated", &outlook.pack))
                }
            }
        }
        p {
            "Cooling to " (number(cool.to_c)) "\u{a0}°C: "
            (minutes(cool.standing_s)) " standing, " (minutes(cool.moving_s)) " on the move, by the model."
            @match &outlook.laps {
                Ok(_) => {},
                Err(why) => { " Laps left: " (sentence(&clean(why))) },
            }
        }
    }
}

fn node(name: &str, ahead: &Ahead) -> Markup {
    let celsius = |value: f64| format!("{}\u{a0}°C", number(value));
    html! {
        tr {
            th scope="row" { (name) }
            td.number { (celsius(ahead.now_c)) @if let Some(band_k) = ahead.band_k { " ± " (number(band_k)) } }
            td.number { (celsius(ahead.limit_c)) }
            td.number { (number(ahead.headroom_k)) "\u{a0}K" }
            td.number { (match ahead.reaches {
                TimeToLimit::Reached => "reached".to_owned(),
                TimeToLimit::In { seconds } => format!("in {}", minutes(Some(seconds))),
                TimeToLimit::LevelsOff { .. } => "never".to_owned(),
            }) }
            td.number { (celsius(ahead.levels_off_c)) }
        }
    }
}

fn minutes(seconds: Option<f64>) -> String {
    match seconds {
        None => "never".to_owned(),
        Some(seconds) => format!("{}\u{a0}min", number(seconds / 60.0)),
    }
}
