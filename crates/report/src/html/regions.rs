//! Seconds and heat by region.

use crate::words::{clean, number, percent, region, sentence};
use halfshaft_health::{Region, Regions, Results};
use maud::{Markup, html};

pub(super) fn part(results: &Results) -> Markup {
    html! {
        h3 { "By state of the pack" }
        @match &results.regions {
            Err(why) => p { "There is no picture: " (sentence(&clean(why))) },
            Ok(regions) => (table(regions)),
        }
    }
}

fn table(regions: &Regions) -> Markup {
    html! {
        (super::bare_table("Time and heat by state of the pack", "regions", &[("", "The pack was"), ("", "Moving time"), ("", "Heat")], html! {
            @for (index, &of) in Region::ALL.iter().enumerate() {
                tr {
                    th scope="row" { (region(of)) small { (of.meaning()) } }
                    td { (bar("seconds", &regions.seconds, index, &format!("{}\u{a0}s", number(regions.seconds[index])))) }
                    @match &regions.joules {
                        Some(joules) => td {
                            (bar("joules", joules, index, &format!("{}\u{a0}kJ", number(joules[index] / 1e3))))
                        },
                        None => td { span.quiet { "–" } },
                    }
                }
            }
        }))
        @if regions.joules.is_none() {
            p.note { "Heat by region is not known, because the torque of the pack is not." }
        }
    }
}

/// A bar against the longest of its column, with its number and its share of the whole.
fn bar(class: &str, values: &[f64; 7], index: usize, text: &str) -> Markup {
    let finite = || {
        values
            .iter()
            .copied()
            .filter(|value| value.is_finite() && *value > 0.0)
    };
    let (largest, total) = (finite().fold(0.0, f64::max), finite().sum::<f64>());
    let value = values[index];
    let length = if largest > 0.0 && value > 0.0 {
        100.0 * value / largest
    } else {
        0.0
    };
    html! {
        span.amount { (text) }
        @if total > 0.0 { span.quiet { (percent(value / total)) } }
        svg.bar.(class) viewBox="0 0 100 10" preserveAspectRatio="none" aria-hidden="true" {
            rect.rail width="100" height="10" {}
            @if length > 0.0 { rect.fill width=(format!("{length:.2}")) height="10" {} }
        }
    }
}
