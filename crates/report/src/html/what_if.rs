//! `what-if.html`: another pack beside the car as it is, on one page complete in itself.

use super::exceedance;
use super::page::frame;
use crate::beside::{Document, SAME_FORCE, SAME_TORQUE, change_text, difference, value_text, why};
use crate::words::{clean, sentence, shorten};
use halfshaft_health::Reason;
use halfshaft_health::duty::Exceedance;
use halfshaft_health::what_if::{CANNOT_KNOW, HOW, Line, Other, Standing};
use maud::{Markup, html};

/// Head of the column of the car as logged. Each cell carries the head of its column: a
/// small screen has no room for columns and sets it before the number.
const AS_IT_IS: &str = "as it is";

/// The page as text.
pub fn render(document: &Document) -> String {
    let mut text = page(document).into_string();
    text.push('\n');
    text
}

fn page(document: &Document) -> Markup {
    let vehicle = clean(&document.map.vehicle);
    let answer = document.answer;
    let body = html! {
        main {
            div.engineer {
                p.kind { "What if: one drive for another pack, beside the car as it is" }
                section #asked {
                    h1 { (vehicle) }
                    @if answer.asked.is_empty() {
                        p { "Nothing was changed: all columns are the car as it is." }
                    } @else {
                        ul { @for change in &answer.asked { li { (change.title) ": " (change_text(change)) } } }
                    }
                    p.note {
                        "Logs: "
                        @for (index, input) in document.inputs.iter().enumerate() {
                            @if index > 0 { ", " }
                            (clean(&input.name))
                        }
                    }
                }
                (figures(document))
                section #how { h2 { "How" } ul { @for words in HOW { li { (words) } } } }
                section #cannot-know {
                    h2 { "Cannot be known from this log" }
                    ul { @for words in CANNOT_KNOW { li { (sentence(words)) } } }
                }
                (exceedance("energy", "Events per 100 km by energy per area", &answer.energy, document))
                (exceedance("power", "Events per 100 km by peak power per area", &answer.power, document))
                section #command { h2 { "Reproduce" } pre { code { (clean(&document.command)) } } }
            }
        }
    };
    frame(
        &format!("{vehicle}: another pack in this drive"),
        &format!("{}: another pack in this drive", shorten(&vehicle, 60)),
        document.program_version,
        &body,
        &html! {},
    )
}

fn figures(document: &Document) -> Markup {
    let two = document.has_two_columns();
    let mut heads = vec![
        ("", "Figure"),
        ("number", AS_IT_IS),
        ("number", SAME_TORQUE),
    ];
    if two {
        heads.insert(3, ("number", SAME_FORCE));
    }
    html! {
        section #figures {
            h2 { "Side by side" }
            (super::table("Table of figures side by side", "figures beside", &heads, html! {
                @for line in &document.answer.lines { (row(line, two)) }
            }))
        }
    }
}

fn row(line: &Line, two: bool) -> Markup {
    let others = [&line.same_torque, &line.same_force];
    html! {
        tr.missing[why(line).is_some()] {
            th scope="row" {
                (line.title)
                @if let Some(why) = why(line) { small { (sentence(&clean(why))) } }
            }
            td.number { (value_text(line, &line.logged)) }
            @for other in &others[..if two { 2 } else { 1 }] {
                td.number { (bound(other.standing)) (value_text(line, &other.value)) small { (beneath(line, other)) } }
            }
        }
    }
}

/// What stands before the number of a bound.
fn bound(standing: Standing) -> &'static str {
    match standing {
        Standing::AtMost => "at most ",
        Standing::AtLeast => "at least ",
        _ => "",
    }
}

/// The difference, and where a number that is no bound stands.
fn beneath(line: &Line, other: &Other) -> String {
    let difference = difference(line, other);
    match other.standing {
        Standing::CarriedOver | Standing::Unknown => other.standing.words().to_owned(),
        Standing::AtMost | Standing::AtLeast => difference,
        Standing::WorkedOut if difference.is_empty() => String::new(),
        Standing::WorkedOut => format!("{difference}, {}", other.standing.words()),
    }
}

fn exceedance(
    id: &str,
    title: &str,
    all: &[Result<Exceedance, Reason>; 3],
    document: &Document,
) -> Markup {
    let n_columns = if document.has_two_columns() { 3 } else { 2 };
    let curves: Result<Vec<exceedance::Named>, &Reason> = [AS_IT_IS, SAME_TORQUE, SAME_FORCE]
        .into_iter()
        .zip(all)
        .take(n_columns)
        .map(|(name, curve)| Ok((name, curve.as_ref()?)))
        .collect();
    html! {
        section {
            h2 { (title) }
            @match curves {
                Ok(curves) => (exceedance::drawn(id, title, &curves)),
                Err(why) => p { (sentence(&clean(why))) },
            }
        }
    }
}
