//! How often the lining took how much, drawn and as a table.
//!
//! In: the curve of the drive, or of several packs in it. Out: stepped lines over two axes
//! in powers of ten, the guides of linings shaded behind them and each named in a lane of
//! its own below. Levels that no event reached are left out: on such an axis there is no
//! zero to draw.

use super::axes;
use super::plot::{self, Drawing};
use super::scale::Scale;
use crate::words::{clean, counted, number, sentence};
use halfshaft_health::Reason;
use halfshaft_health::duty::{Exceedance, Guide};
use maud::{Markup, PreEscaped, html};

/// Rows from which the table is folded.
const LONG: usize = 8;

/// A curve, and which pack it is of where there are several.
pub(super) type Named<'a> = (&'a str, &'a Exceedance);

/// Looks of the lines, in the order of the curves: told apart in grey, too.
const LOOKS: [&str; 3] = ["step", "step dashed", "step dotted"];

pub(super) fn part(id: &str, title: &str, curve: &Result<Exceedance, Reason>) -> Markup {
    html! {
        h3 { (title) }
        @match curve {
            Err(why) => p { "Not told: " (sentence(&clean(why))) },
            Ok(curve) => (drawn(id, title, &[("", curve)])),
        }
    }
}

/// Curves over the same levels: note, drawing and table.
pub(super) fn drawn(id: &str, title: &str, curves: &[Named]) -> Markup {
    html! {
        @if let [(_, curve), ..] = curves { p.note { (note(curve)) } }
        div.strips { (figure(id, title, curves)) }
        (folded(title, curves))
    }
}

fn note(curve: &Exceedance) -> Markup {
    html! {
        "Events per 100\u{a0}km at or above each level, of " (counted(curve.n_events as u64, "event", "events")) ", commanded or not"
        @if curve.n_at_least > 0 { "; " (curve.n_at_least) " of them may have reached more" }
        ". "
        @if let Some(km) = curve.short_km { "A short drive: these " (number(km)) "\u{a0}km, told per 100, say little of another day. " }
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

fn folded(title: &str, curves: &[Named]) -> Markup {
    let Some((_, first)) = curves.first() else {
        return html! {};
    };
    let is_reached = |index: usize| {
        first.levels[index] > 0.0
            && curves
                .iter()
                .any(|(_, curve)| curve.per_100_km.get(index).is_some_and(|n| *n > 0.0))
    };
    let rows: Vec<usize> = (0..first.levels.len())
        .filter(|index| is_reached(*index))
        .collect();
    let head = |name: &str| match name {
        "" => "Events per 100\u{a0}km".to_owned(),
        name => format!("{name}, per 100\u{a0}km"),
    };
    let names: Vec<String> = std::iter::once(format!("{} or more", first.unit))
        .chain(curves.iter().map(|(name, _)| head(name)))
        .collect();
    let heads: Vec<(&str, &str)> = names.iter().map(|name| ("number", name.as_str())).collect();
    let table = html! {
        (super::table(&format!("Table: {title}"), "exceedance", &heads, html! {
            @for &index in &rows { tr {
                th.number scope="row" { (number(first.levels[index])) }
                @for (_, curve) in curves { td.number { (events(curve, index)) } }
            } }
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

fn events(curve: &Exceedance, index: usize) -> String {
    let events = curve.per_100_km.get(index).filter(|n| n.is_finite());
    events.map_or_else(|| "–".to_owned(), |events| number(*events))
}

/// The axes, in powers of ten; `None` when no event of any curve reached a level.
fn axes(curves: &[Named]) -> Option<(Scale, Scale)> {
    let rows: Vec<Vec<(f64, f64)>> = curves.iter().map(|(_, curve)| reached(curve)).collect();
    let least = |numbers: &mut dyn Iterator<Item = f64>| numbers.fold(f64::INFINITY, f64::min);
    let most = |numbers: &mut dyn Iterator<Item = f64>| numbers.fold(0.0, f64::max);
    let ends = || rows.iter().filter_map(|rows| rows.first().zip(rows.last()));
    ends().next()?;
    // Before a line begins to fall there is nothing to see.
    let falls = |rows: &Vec<(f64, f64)>| {
        let first = rows.first()?;
        rows.iter().rev().find(|(_, n)| *n >= first.1).copied()
    };
    let guides = || {
        let all = curves.iter().flat_map(|(_, curve)| &curve.guides);
        all.filter(|guide| guide.low > 0.0)
    };
    let low = least(&mut rows.iter().filter_map(falls).map(|(level, _)| level));
    let low = least(&mut guides().map(|guide| guide.low).chain([low]));
    let highest = curves.iter().filter_map(|(_, curve)| curve.highest);
    let high = most(&mut ends().map(|(_, last)| last.0).chain(highest));
    let high = most(&mut guides().map(|guide| guide.high).chain([high]));
    // An event in the whole drive stands a little above the floor.
    Some((
        Scale::of_powers(low, high),
        Scale::of_powers(
            0.5 * least(&mut ends().map(|(_, last)| last.1)),
            most(&mut ends().map(|(first, _)| first.1)),
        ),
    ))
}

fn figure(id: &str, title: &str, curves: &[Named]) -> Markup {
    let (Some((across, up)), Some((_, first))) = (axes(curves), curves.first()) else {
        return html! { p { "No event reached the lowest level." } };
    };
    let (title_id, about_id) = (format!("{id}-title"), format!("{id}-about"));
    html! {
        figure.strip.exceedance {
            figcaption {
                strong { "Events per 100\u{a0}km" } ", against " (first.unit) " or more; both axes in powers of ten"
                @for ((name, _), look) in curves.iter().zip(LOOKS).filter(|((name, _), _)| !name.is_empty()) {
                    "; "
                    svg.sample viewBox="0 0 28 10" aria-hidden="true" { path class=(look) d="M0 5H28" {} }
                    " " (name)
                }
            }
            div.frame.high {
                (axes::ticks(&up, Scale::power))
                svg.plot viewBox=(plot::VIEW_BOX) preserveAspectRatio="none" role="img"
                    aria-labelledby=(format!("{title_id} {about_id}")) {
                    title id=(title_id) { (title) }
                    desc id=(about_id) { (about(curves)) }
                    (PreEscaped(ground(first, &across, &up)))
                    @for ((_, curve), look) in curves.iter().zip(LOOKS) {
                        path class=(look) d=(steps(&reached(curve), curve.highest, &across, &up)) {}
                    }
                }
            }
            (axes::ruler(&across, Scale::power, first.unit))
            @for guide in &first.guides { (lane(guide, first.unit, &across)) }
        }
    }
}

fn about(curves: &[Named]) -> String {
    let mut text = String::new();
    for (name, curve) in curves {
        let Some(first) = reached(curve).first().copied() else {
            continue;
        };
        if !name.is_empty() {
            text.push_str(&format!("{}: ", sentence(name).trim_end_matches('.')));
        }
        text.push_str(&format!("Falls from {} events per 100 km", number(first.1)));
        if let Some(highest) = curve.highest {
            let end = format!("; the highest event had {} {}", number(highest), curve.unit);
            text.push_str(&end);
        }
        text.push_str(". ");
    }
    text + "The table holds each level."
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
            short_km: None,
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
        let (across, up) = axes(&[("", &curve)]).unwrap();
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
        let text = part("power", "Power", &Err("no <area>".to_owned().into())).into_string();
        assert!(
            text.contains("Not told: No &lt;area&gt;.")
                || text.contains("Not told: no &lt;area&gt;."),
            "{text}"
        );
    }
}
