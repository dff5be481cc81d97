//! From the pedal to the pack, part by part: whose delay it was.
//!
//! In: the pooled delays after a movement of the pedal. Out: bars laid end to end on one
//! time axis, and a table. A part nobody saw takes no room and is named "not known"; how
//! the parts are told apart is said by pattern and word, not by colour.

use super::actuator::{ends, ms};
use super::axes;
use super::plot::{self, Drawing};
use super::scale::Scale;
use crate::words::counted;
use halfshaft_health::actuator::PedalDelay;
use halfshaft_health::response::ladder::Pedal;
use halfshaft_health::response::resolution::Spread;
use maud::{Markup, PreEscaped, html};

/// Heights of a bar and of the line of its spread, as shares of its row.
const BAR: (f64, f64) = (0.38, 1.0);
const SPREAD: f64 = 0.14;

/// Distance of the slanted lines in a bar, in units of the box.
const SLANT_STEP: f64 = 70.0;

/// One row of the drawing.
struct Rung<'a> {
    name: &'static str,
    /// Class that gives the bar its pattern.
    look: &'static str,
    start_s: f64,
    /// A part before it was not seen, so where it begins is not known.
    is_adrift: bool,
    spread: Option<&'a Spread>,
}

pub(super) fn ladder(pedal: Pedal, delay: Option<&PedalDelay>) -> Markup {
    let word = match pedal {
        Pedal::On => "Throttle pressed",
        Pedal::Off => "Throttle lifted",
    };
    html! {
        @match delay.map(|delay| (delay, rungs(pedal, delay))) {
            None => p { (word) ": not known, the throttle or what counts as a full command is missing." },
            Some((delay, rungs)) => {
                div.strips { (drawing(word, delay.n_events, &rungs)) }
                ((table(&format!("Delays, {word}"), &rungs)))
            }
        }
    }
}

fn table(label: &str, rungs: &[Rung]) -> Markup {
    html! {
        (super::table(label, "delays", &[
            ("", "Part"), ("number", "Seen"), ("number", "Median"), ("number", "10 to 90 % of them")
        ], html! {
            @for rung in rungs { tr {
                th scope="row" { (rung.name) }
                td.number { (rung.spread.map_or(0, |spread| spread.n_events)) }
                td.number { (rung.spread.map_or("–".to_owned(), |spread| ms(spread.median))) }
                td.number { (rung.spread.map_or("–".to_owned(), ends)) }
            } }
        }))
    }
}

/// The parts, each where the one before it ended, and the whole below. After the throttle is
/// lifted nothing is left to slip, and the vehicle's part is not looked for.
fn rungs(pedal: Pedal, delay: &PedalDelay) -> Vec<Rung<'_>> {
    let parts = [
        (
            "Controller: throttle to command",
            "plain",
            &delay.controller,
        ),
        (
            "Mechanism: command to response",
            "slanted",
            &delay.mechanism,
        ),
        ("Vehicle: response to slip", "outlined", &delay.vehicle),
    ];
    let (mut start_s, mut is_adrift) = (0.0, false);
    let n_parts = if pedal == Pedal::On { 3 } else { 2 };
    let parts = parts.into_iter().take(n_parts);
    let mut rungs: Vec<Rung> = parts
        .map(|(name, look, spread)| {
            let spread = spread.as_ref();
            let rung = Rung {
                name,
                look,
                start_s,
                is_adrift,
                spread,
            };
            start_s += spread.map_or(0.0, |spread| spread.median);
            is_adrift |= spread.is_none();
            rung
        })
        .collect();
    rungs.push(Rung {
        name: "Throttle to response",
        look: "whole",
        start_s: 0.0,
        is_adrift: false,
        spread: delay.whole.as_ref(),
    });
    rungs
}

fn drawing(word: &str, n_events: usize, rungs: &[Rung]) -> Markup {
    let title = html! {
        strong { (word) } ", " (counted(n_events as u64, "movement", "movements"))
    };
    let Some(across) = axis(rungs) else {
        return html! { p { (title) ": none of the parts was seen." } };
    };
    html! {
        figure.strip.ladder aria-label=(format!("Delays, {word}, drawn; the table below holds the same numbers")) {
            figcaption { (title) "; bar: median, thin line: 10 to 90 % of them" }
            @for rung in rungs {
                p.rung { (rung.name) ": " span.reading { (reading(rung)) } }
                svg.plot.rail viewBox=(plot::VIEW_BOX) preserveAspectRatio="none" aria-hidden="true" { (PreEscaped(bar(rung, &across))) }
            }
            (axes::ruler(&across, |tick| across.label(tick), "Time after the pedal, ms"))
        }
    }
}

fn reading(rung: &Rung) -> String {
    let Some(spread) = rung.spread else {
        return "not known".to_owned();
    };
    let adrift = if rung.is_adrift {
        "; where it begins is not known"
    } else {
        ""
    };
    format!("{} ({}){adrift}", ms(spread.median), ends(spread))
}

/// Time in ms that holds all bars and lines; `None` when there is none.
fn axis(rungs: &[Rung]) -> Option<Scale> {
    let reaches = rungs.iter().filter_map(|rung| {
        let spread = rung.spread?;
        let low = spread.p10.min(spread.median).min(0.0);
        Some((
            rung.start_s + low,
            rung.start_s + spread.p90.max(spread.median),
        ))
    });
    let (low_s, high_s) = reaches
        .reduce(|(low, high), (next_low, next_high)| (low.min(next_low), high.max(next_high)))?;
    (low_s.is_finite() && high_s.is_finite())
        .then(|| Scale::around(1e3 * low_s.min(0.0), 1e3 * high_s.max(0.001)))
}

/// The inside of a row: marks of the axis, bar, and the line of the spread over it.
fn bar(rung: &Rung, across: &Scale) -> String {
    let up = Scale::bare();
    let mut drawn = plot::draw(&Drawing {
        time: across,
        values: &up,
        runs: &[],
        blocks: &[],
        gaps: &[],
        windows: &[],
    });
    let Some(spread) = rung.spread else {
        return drawn;
    };
    // The row is counted from below, the box from above.
    let place = |seconds: f64, height: f64| plot::place(across, &up, 1e3 * seconds, 1.0 - height);
    let end_s = rung.start_s + spread.median;
    let (left, top) = place(rung.start_s.min(end_s), BAR.0);
    let (right, bottom) = place(rung.start_s.max(end_s), BAR.1);
    let look = rung.look;
    drawn.push_str(&format!(
        r#"<rect class="bar-{look}" x="{left:.1}" y="{top:.1}" width="{:.1}" height="{:.1}"/>"#,
        right - left,
        bottom - top
    ));
    if look == "slanted" {
        let lines = slanted(left, right, top, bottom);
        drawn.push_str(&format!(r#"<path class="slant" d="{lines}"/>"#));
    }
    let (from, y) = place(rung.start_s + spread.p10, SPREAD);
    let (to, _) = place(rung.start_s + spread.p90, SPREAD);
    let (above, below) = (y - 70.0, y + 70.0);
    drawn.push_str(&format!(
        r#"<path class="whisker" d="M{from:.1} {y:.1}H{to:.1}M{from:.1} {above:.1}V{below:.1}M{to:.1} {above:.1}V{below:.1}"/>"#
    ));
    drawn
}

/// Lines that climb from left to right, clipped to a bar.
fn slanted(left: f64, right: f64, top: f64, bottom: f64) -> String {
    let mut lines = String::new();
    let mut foot = left - SLANT_STEP;
    while foot < right {
        let height_at = |x: f64| bottom - (x - foot) / SLANT_STEP * (bottom - top);
        let (from, to) = (foot.max(left), (foot + SLANT_STEP).min(right));
        if from < to {
            lines.push_str(&format!(
                "M{from:.1} {:.1}L{to:.1} {:.1}",
                height_at(from),
                height_at(to)
            ));
        }
        foot += SLANT_STEP;
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    fn spread(median_s: f64) -> Option<Spread> {
        Some(Spread {
            n_events: 9,
            median: median_s,
            p10: 0.5 * median_s,
            p90: 1.5 * median_s,
            variation: None,
        })
    }

    fn delay() -> PedalDelay {
        PedalDelay {
            n_events: 9,
            controller: spread(0.1),
            mechanism: spread(0.2),
            vehicle: spread(0.1),
            whole: spread(0.3),
            wholes: Vec::new(),
            beyond_feed: None,
        }
    }

    /// Left end and width of a row's bar, in tenths of the axis.
    fn bar_of(delay: &PedalDelay, index: usize) -> Option<(f64, f64)> {
        let rungs = rungs(Pedal::On, delay);
        let across = axis(&rungs).unwrap();
        assert_eq!((across.low, across.high), (0.0, 600.0));
        let drawn = bar(&rungs[index], &across);
        let number = |name: &str| {
            let rest = drawn.split(&format!(" {name}=\"")).nth(1)?;
            rest.split('"').next()?.parse::<f64>().ok()
        };
        drawn.contains("<rect class=\"bar-").then_some(())?;
        let bar = drawn.split("<rect class=\"bar-").nth(1)?;
        assert!(bar.contains("class=\"whisker\""), "{drawn}");
        Some((number("x")? / 640.0 * 0.6, number("width")? / 640.0 * 0.6))
    }

    #[track_caller]
    fn check(delay: &PedalDelay, index: usize, wanted: Option<(f64, f64)>) {
        let got = bar_of(delay, index).map(|(start, width)| {
            (
                (start * 100.0).round() / 100.0,
                (width * 100.0).round() / 100.0,
            )
        });
        assert_eq!(got, wanted);
    }

    #[test]
    fn parts_are_laid_end_to_end_and_the_whole_from_the_pedal() {
        // In units of 100 ms; the axis goes to 600 ms.
        check(&delay(), 0, Some((0.0, 1.0)));
        check(&delay(), 1, Some((1.0, 2.0)));
        check(&delay(), 2, Some((3.0, 1.0)));
        check(&delay(), 3, Some((0.0, 3.0)));
    }

    #[test]
    fn what_nobody_saw_has_no_bar_and_sets_the_rest_adrift() {
        let delay = PedalDelay {
            controller: None,
            ..delay()
        };
        assert_eq!(reading(&rungs(Pedal::On, &delay)[0]), "not known");
        assert!(reading(&rungs(Pedal::On, &delay)[1]).contains("where it begins is not known"));
        assert!(!reading(&rungs(Pedal::On, &delay)[3]).contains("begins"));
        let text = ladder(Pedal::On, Some(&delay)).into_string();
        assert_eq!(text.matches("class=\"bar-").count(), 3);
        assert!(text.contains("<td class=\"number\">–</td>"), "{text}");
    }

    #[test]
    fn nothing_seen_draws_nothing_and_a_lift_has_no_part_of_the_vehicle() {
        let nothing = PedalDelay {
            controller: None,
            mechanism: None,
            vehicle: None,
            whole: None,
            ..delay()
        };
        let text = ladder(Pedal::Off, Some(&nothing)).into_string();
        assert!(
            !text.contains("<svg") && !text.contains("Vehicle"),
            "{text}"
        );
    }
}
