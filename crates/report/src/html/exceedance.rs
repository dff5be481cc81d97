//! How often the lining took how much, drawn and as a table.
//!
//! In: the curve of the drive. Out: a stepped line over two axes in powers of ten, the
//! guides of linings shaded behind it and each named in a lane of its own below. Levels that
//! no event reached are left out: on such an axis there is no zero to draw.

use super::axes;
use super::plot::{self, Drawing};
use super::scale::Scale;
use super::scroll;
use crate::words::{clean, counted, number, sentence};
use halfshaft_health::duty::{Exceedance, Guide};
use maud::{Markup, PreEscaped, html};

/// Rows from which the table is folded.
const LONG: usize = 8;

pub(super) fn part(id: &str, title: &str, curve: &Result<Exceedance, String>) -> Markup {
    html! {
        h3 { (title) }
        @match curve {
            Err(why) => p { "Not told: " (sentence(&clean(why))) },
            Ok(curve) => {
                p.note { (note(curve)) }
                div.strips { (figure(id, title, curve)) }
                (folded(title, curve))
            }
        }
    }
}

fn note(curve: &Exceedance) -> Markup {
    html! {
        "Events per 100\u{a0}km at or above each level, of " (counted(curve.n_events as u64, "event", "events"))
        @if curve.n_at_least > 0 { "; " (curve.n_at_least) " of them may have reached more" }
        ". "
        @if let Some(guide) = curve.guides.first() { "Shaded: what linings are said to bear, " (guide.source) "." }
    }
}

/// Levels that some event reached, with events per 100 km.
fn reached(curve: &Exceedance) -> Vec<(f64, f64)> {
    let pairs = curve
        .levels
        .iter()
        .copied()
        .zip(curve.per_100_km.iter().copied());
    pairs
        .filter(|(level, n)| *level > 0.0 && *n > 0.0 && n.is_finite())
        .collect()
}

fn folded(title: &str, curve: &Exceedance) -> Markup {
    let rows = reached(curve);
    let table = html! {
        (scroll(&format!("Table: {title}"), html! {
            table.exceedance {
                thead { tr {
                    th.number scope="col" { (curve.unit) " or more" }
                    th.number scope="col" { "Events per 100\u{a0}km" }
                } }
                tbody { @for (level, n) in &rows { tr {
                    td.number { (number(*level)) }
                    td.number { (number(*n)) }
                } } }
            }
        }))
    };
    if rows.len() < LONG {
        return table;
    }
    html! {
        details {
            summary { "The same as a table, " (counted(rows.len() as u64, "level", "levels")) }
            (table)
        }
    }
}

/// The axes, in powers of ten; `None` when no event reached a level.
fn axes(curve: &Exceedance, rows: &[(f64, f64)]) -> Option<(Scale, Scale)> {
    let (first, last) = (rows.first()?, rows.last()?);
    // Before the line begins to fall there is nothing to see.
    let falls = rows.iter().rev().find(|(_, n)| *n >= first.1)?;
    let guides = || curve.guides.iter().filter(|guide| guide.low > 0.0);
    let low = guides().map(|guide| guide.low).fold(falls.0, f64::min);
    let high = guides()
        .map(|guide| guide.high)
        .fold(curve.highest.unwrap_or(last.0).max(last.0), f64::max);
    // An event in the whole drive stands a little above the floor.
    Some((
        Scale::of_powers(low, high),
        Scale::of_powers(0.5 * last.1, first.1),
    ))
}

fn figure(id: &str, title: &str, curve: &Exceedance) -> Markup {
    let rows = reached(curve);
    let Some((across, up)) = axes(curve, &rows) else {
        return html! { p { "No event reached the lowest level." } };
    };
    let (title_id, about_id) = (format!("{id}-title"), format!("{id}-about"));
    html! {
        figure.strip.exceedance {
            figcaption { strong { "Events per 100\u{a0}km" } ", against " (curve.unit) " or more; both axes in powers of ten" }
            div.frame.high {
                (axes::ticks(&up, Scale::power))
                svg.plot viewBox=(plot::VIEW_BOX) preserveAspectRatio="none" role="img"
                    aria-labelledby=(format!("{title_id} {about_id}")) {
                    title id=(title_id) { (title) }
                    desc id=(about_id) { (about(curve, &rows)) }
                    (PreEscaped(ground(curve, &across, &up)))
                    path.step d=(steps(&rows, curve.highest, &across, &up)) {}
                }
            }
            (axes::ruler(&across, Scale::power, curve.unit))
            @for guide in &curve.guides { (lane(guide, curve.unit, &across)) }
        }
    }
}

fn about(curve: &Exceedance, rows: &[(f64, f64)]) -> String {
    let first = rows.first().map_or(0.0, |row| row.1);
    let end = match curve.highest {
        Some(highest) => format!("; the highest event had {} {}", number(highest), curve.unit),
        None => String::new(),
    };
    format!(
        "Falls from {} events per 100 km{end}. The table holds each level.",
        number(first)
    )
}

/// Grid, and the guides over the whole height.
fn ground(curve: &Exceedance, across: &Scale, up: &Scale) -> String {
    let windows: Vec<(f64, f64)> = curve
        .guides
        .iter()
        .filter_map(|guide| ends(guide, across))
        .collect();
    plot::draw(&Drawing {
        time: across,
        values: up,
        runs: &[],
        blocks: &[],
        gaps: &[],
        windows: &windows,
    })
}

/// A guide's ends on the axis.
fn ends(guide: &Guide, across: &Scale) -> Option<(f64, f64)> {
    let is_drawn = guide.low > 0.0 && guide.high > guide.low;
    is_drawn.then(|| {
        (
            guide.low.log10().max(across.low),
            guide.high.log10().min(across.high),
        )
    })
}

/// The line holds to the next level, and ends at the highest event.
fn steps(rows: &[(f64, f64)], highest: Option<f64>, across: &Scale, up: &Scale) -> String {
    let place = |level: f64, n: f64| plot::place(across, up, level.log10(), n.log10());
    let mut line = String::new();
    for (index, &(level, n)) in rows.iter().enumerate() {
        let (x, y) = place(level, n);
        let command = if index == 0 { 'M' } else { 'H' };
        match command {
            'M' => line.push_str(&format!("M{x:.1} {y:.1}")),
            _ => line.push_str(&format!("H{x:.1}V{y:.1}")),
        }
    }
    if let Some(&(level, n)) = rows.last() {
        let (x, _) = place(highest.unwrap_or(level).max(level), n);
        let (_, floor) = plot::place(across, up, across.low, up.low);
        line.push_str(&format!("H{x:.1}V{floor:.1}"));
    }
    line
}

/// A guide's name and range, with its bar under the same axis.
fn lane(guide: &Guide, unit: &str, across: &Scale) -> Markup {
    let up = Scale::bare();
    let bar = ends(guide, across).map(|(low, high)| {
        let (left, top) = plot::place(across, &up, low, 1.0);
        let (right, bottom) = plot::place(across, &up, high, 0.0);
        (left, right - left, top, bottom - top)
    });
    html! {
        p.guide { (clean(guide.label)) ": " (number(guide.low)) " to " (number(guide.high)) "\u{a0}" (unit) }
        svg.plot.guide viewBox=(plot::VIEW_BOX) preserveAspectRatio="none" aria-hidden="true" {
            rect.rail width="6400" height="800" {}
            @if let Some((x, width, y, height)) = bar {
                rect.reach x=(format!("{x:.1}")) width=(format!("{width:.1}")) y=(format!("{y:.1}")) height=(format!("{height:.1}")) {}
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn curve(n_levels: usize, label: &'static str) -> Exceedance {
        let levels: Vec<f64> = (0..n_levels)
            .map(|index| 0.01 * 10_f64.powi(index as i32))
            .collect();
        Exceedance {
            unit: "W/mm²",
            per_100_km: [100.0, 100.0, 10.0]
                .into_iter()
                .chain(std::iter::repeat(0.0))
                .take(n_levels)
                .collect(),
            levels,
            n_events: 10,
            n_at_least: 2,
            highest: Some(2.0),
            guides: vec![Guide {
                label,
                low: 1.0,
                high: 10.0,
                source: "from memory",
            }],
        }
    }

    #[test]
    fn the_line_steps_at_levels_and_ends_at_the_highest_event() {
        let curve = curve(5, "paper");
        let rows = reached(&curve);
        assert_eq!(rows.len(), 3, "levels without events are no rows");
        let (across, up) = axes(&curve, &rows).unwrap();
        // From 0.1, where it begins to fall, to the guide's end at 10; one event is not the floor.
        assert_eq!((across.low, across.high), (-1.0, 1.0));
        assert_eq!((up.low, up.high), (0.0, 2.0));
        // Box 6400 by 800: level 1 lies in the middle, 10 events at half height, 2 at 65 %.
        assert_eq!(
            steps(&rows, curve.highest, &across, &up),
            "M0.0 0.0H0.0V0.0H3200.0V400.0H4163.3V800.0"
        );
    }

    #[test]
    fn guides_are_shaded_and_named_and_names_stay_text() {
        let text = part("power", "Power", &Ok(curve(5, "<i>paper"))).into_string();
        assert_eq!(text.matches("class=\"seen\"").count(), 1, "{text}");
        assert!(
            text.contains("&lt;i&gt;paper: 1.00 to 10.0\u{a0}W/mm²"),
            "{text}"
        );
        assert!(text.contains("x=\"3200.0\" width=\"3200.0\""), "{text}");
        assert!(text.contains("2 of them may have reached more"));
        assert!(!text.contains("<details"));
    }

    #[test]
    fn a_curve_of_no_events_is_words_and_why_not_is_told() {
        let mut none = curve(5, "paper");
        none.per_100_km = vec![0.0; 5];
        none.highest = None;
        let text = part("power", "Power", &Ok(none)).into_string();
        assert!(text.contains("No event reached the lowest level.") && !text.contains("<svg"));
        let text = part("power", "Power", &Err("no <area>".to_owned())).into_string();
        assert!(
            text.contains("Not told: No &lt;area&gt;.")
                || text.contains("Not told: no &lt;area&gt;."),
            "{text}"
        );
    }
}
