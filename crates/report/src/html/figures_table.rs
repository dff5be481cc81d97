//! The figures with their bands, or the reason where there is none.

use super::bare_table;
use crate::words::{clean, figure_text, sentence};
use halfshaft_health::{Figure, Grade, Results};
use maud::{Markup, html};

pub(super) fn section(results: &Results) -> Markup {
    html! {
        section #figures {
            h2 { "Figures" }
            @if results.figures.is_empty() {
                p { "No figures were worked out." }
            } @else {
                (bare_table("Figures", "figures", &[
                    ("", "Figure"), ("number", "Value"), ("", "Low to high"), ("mark", "Grade")
                ], html! { @for figure in &results.figures { (row(figure)) } }))
                p.note {
                    "Low to high holds the truth nine times out of ten. A grade is the worst of its factors: "
                    (grade(Grade::A)) " 0.9 and above, " (grade(Grade::B)) " 0.7, " (grade(Grade::C)) " 0.4, "
                    (grade(Grade::D)) " below."
                }
            }
        }
    }
}

fn row(figure: &Figure) -> Markup {
    let shown = figure_text(figure);
    html! {
        tr.missing[shown.is_err()] {
            th scope="row" {
                (clean(figure.title))
                @let method = sentence(&clean(&figure.method));
                @if !method.is_empty() { small { (method) } }
            }
            @match &shown {
                Ok(shown) => {
                    td.number {
                        (shown.text())
                        @if let Some(minutes) = &shown.minutes { small { (minutes) } }
                    }
                    td.band { @match &shown.band { Some(band) => (band), None => span.quiet { "exact" } } }
                    td.mark { @match figure.grade { Some(letter) => (grade(letter)), None => "" } }
                }
                Err(why) => {
                    td.number { "–" }
                    td.why colspan="2" { (sentence(why)) }
                }
            }
        }
    }
}

/// A grade as a letter in a frame; the frame's line differs from grade to grade, so that
/// it needs no colour.
pub(super) fn grade(grade: Grade) -> Markup {
    let letter = grade.letter();
    let class = format!("grade grade-{}", letter.to_lowercase());
    html! { span class=(class) { (letter) } }
}
