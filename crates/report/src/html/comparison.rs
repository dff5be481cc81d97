//! `comparison.html`: before and after on one page to hand over, complete in itself: what changed, whose it is, what
//! cannot be seen, numbers with bands, what to do next.

use halfshaft_health::compare::{Change, Compared, Whose};
use maud::{Markup, PreEscaped, html};

use super::page::frame;
use crate::compared::ComparisonDocument;
use crate::compared::words::{
    BANDS, WHOSE, alike, difference, not_compared, seen, share, sides, smallest, values, way, whose,
};
use crate::words::{clean, measured, sentence, shorten};

/// Figures in the headline; the others stand in their table.
const IN_HEADLINE: usize = 3;

/// What this page alone needs: it is to be one side of A4, and its tables stand beside each other where there is room.
const STYLE: &str = include_str!("style/comparison.css");

/// The page as text.
pub fn render(document: &ComparisonDocument) -> String {
    let mut text = page(document).into_string();
    text.push('\n');
    text
}

fn page(document: &ComparisonDocument) -> Markup {
    let unit = document.unit();
    let comparison = document.comparison;
    let has_again = !document.sides[2].is_empty();
    let body = html! {
        main.comparison {
            style { (PreEscaped(STYLE)) }
            p.kind { "Before and after: what changed, and was it the car?" }
            h1 { (unit) }
            @for line in sides(document) { p.drive { (line) } }
            p.headline { (headline(document)) }
            (list("findings", "What the reports find wrong", &document.findings()))
            div.two {
                (list("blind", "What cannot be seen here", &document.blind_spots()))
                (beside(document, has_again))
            }
            @for of in WHOSE { (changed(&seen(comparison, of), of, has_again)) }
            (same(document, has_again))
            div.two {
                (list("next", "What to do next", &document.next()))
                (list("limits", "Limits of this comparison", &limits(document)))
            }
            p.note { (BANDS) }
            section #command { pre { code { (clean(&document.command)) } } }
        }
    };
    frame(
        &format!("{unit}: before and after"),
        &format!("{}: before and after", shorten(&unit.to_string(), 60)),
        document.program_version,
        &body,
        &html! {},
    )
}

/// What the whole comes to, in a sentence or two.
fn headline(document: &ComparisonDocument) -> String {
    let comparison = document.comparison;
    let mut cars: Vec<(&Compared, &Change)> = seen(comparison, Whose::Car)
        .into_iter()
        .filter_map(|figure| Some((figure, figure.outcome.as_ref().ok()?)))
        .collect();
    // The surest first.
    let sureness = |change: &Change| change.difference.abs() / (change.high - change.low);
    cars.sort_by(|one, other| sureness(other.1).total_cmp(&sureness(one.1)));
    let words = |(figure, change): &(&Compared, &Change)| {
        let share = share(figure, change.difference);
        let by = share.map_or(String::new(), |share| format!(" ({share})"));
        format!("{}: {}{by}", figure.title, way(figure, change))
    };
    let n_others = WHOSE[1..]
        .iter()
        .map(|of| seen(comparison, *of).len())
        .sum::<usize>();
    let car = match cars.as_slice() {
        [] => "Of the car no change could be seen.".to_owned(),
        cars => {
            let first: Vec<String> = cars.iter().take(IN_HEADLINE).map(words).collect();
            let rest = match cars.len().saturating_sub(IN_HEADLINE) {
                0 => String::new(),
                n => format!("; and {n} more"),
            };
            format!("The car changed. {}{rest}.", first.join("; "))
        }
    };
    match n_others {
        0 => car,
        1 => format!("{car} One more figure differs, and not by the car."),
        n => format!("{car} {n} more figures differ, and not by the car."),
    }
}

/// Everything that bounds it: what was not compared as well.
fn limits(document: &ComparisonDocument) -> Vec<String> {
    let mut all = document.notes();
    let not = not_compared(document.comparison);
    all.extend(not.iter().map(|line| format!("Not compared: {line}")));
    all
}

fn list(id: &str, heading: &str, lines: &[String]) -> Markup {
    html! {
        @if !lines.is_empty() {
            section id=(id) {
                h2 { (heading) }
                ul { @for line in lines { li { (sentence(&clean(line))) } } }
            }
        }
    }
}

fn beside(document: &ComparisonDocument, has_again: bool) -> Markup {
    let all = &document.comparison.beside;
    html! {
        @if !all.is_empty() {
            section #beside {
                h2 { "What else was not the same" }
                (super::table("What else was not the same", "beside", &heads("What", has_again), html! {
                        @for one in all { tr {
                            th scope="row" {
                                (one.title)
                                @if one.is_seen == Some(false) { small { "within its scatter" } }
                            }
                            td.number { (measured(one.before, one.unit)) }
                            td.number { (measured(one.after, one.unit)) }
                            @if has_again {
                                td.number { (one.again.map_or("–".to_owned(), |again| measured(again, one.unit))) }
                            }
                        } }
                }))
            }
        }
    }
}

fn changed(figures: &[&Compared], of: Whose, has_again: bool) -> Markup {
    let (heading, why) = whose(of);
    let told = figures
        .iter()
        .filter_map(|figure| Some((*figure, figure.outcome.as_ref().ok()?)));
    html! {
        @if !figures.is_empty() {
            section {
                h2 { (heading) }
                p.note { (why) }
                (table(heading, &told.collect::<Vec<_>>(), has_again, "difference (90 % band)", |figure, change| {
                    let share = share(figure, change.difference);
                    html! {
                        (difference(figure, change)) " "
                        small { (way(figure, change)) @if let Some(share) = share { ", " (share) } }
                    }
                }))
            }
        }
    }
}

fn same(document: &ComparisonDocument, has_again: bool) -> Markup {
    let all = alike(document.comparison);
    let heading = "No difference detectable";
    html! {
        @if !all.is_empty() {
            section #alike {
                h2 { (heading) }
                (table(heading, &all, has_again, "smallest we could have seen", |figure, change| {
                    html! { (smallest(figure, change)) }
                }))
            }
        }
    }
}

fn table(
    label: &str,
    figures: &[(&Compared, &Change)],
    has_again: bool,
    last: &str,
    cell: impl Fn(&Compared, &Change) -> Markup,
) -> Markup {
    let mut heads = heads("Figure", has_again);
    heads.push(("number", last));
    super::table(
        label,
        "figures",
        &heads,
        html! {
            @for (figure, change) in figures { tr {
                th scope="row" { (figure.title) }
                @for (_, value) in values(figure, change) { td.number { (value) } }
                @if has_again && !matches!(figure.again, Some(Ok(_))) { td.number { "–" } }
                td.number { (cell(figure, change)) }
            } }
        },
    )
}

/// The columns of a table with a side each.
fn heads(first: &'static str, has_again: bool) -> Vec<(&'static str, &'static str)> {
    let mut heads = vec![("", first), ("number", "before"), ("number", "after")];
    if has_again {
        heads.push(("number", "again"));
    }
    heads
}
