//! The hottest oil of each lap, the warning and the limit, and when they will be reached.
//!
//! In: laps and the laps left. Out: one drawing and a sentence. A stretch at the height of the
//! limit says from which lap to which it will be reached.

use super::axes;
use super::plot::{self, Drawing, Run};
use super::scale::Scale;
use crate::words::number;
use halfshaft_health::Results;
use halfshaft_health::laps_to_limit::LapsAhead;
use maud::{Markup, PreEscaped, html};

/// Fewest laps drawn.
const LEAST: usize = 3;

/// Laps ahead drawn at the most: more than a session has.
const MOST_AHEAD: f64 = 20.0;

pub(super) fn figure(results: &Results) -> Markup {
    let laps = &results.laps.laps;
    let peaks: Vec<(f64, f64)> = laps
        .iter()
        .filter_map(|lap| Some((f64::from(lap.number), lap.oil_max_c?)))
        .collect();
    let Some(&(last, _)) = peaks.last().filter(|_| peaks.len() >= LEAST) else {
        return html! {};
    };
    let ahead = results
        .outlook
        .as_ref()
        .ok()
        .and_then(|outlook| outlook.laps.as_ref().ok());
    let reached = ahead.and_then(|found| match found.ahead {
        LapsAhead::In { laps, low, high } => {
            let until = high.unwrap_or(MOST_AHEAD).min(MOST_AHEAD);
            Some((
                found.limit_c,
                low.min(MOST_AHEAD),
                laps.min(MOST_AHEAD),
                until,
            ))
        }
        LapsAhead::Reached | LapsAhead::LevelsOff { .. } => None,
    });
    let temperatures = peaks.iter().map(|(_, celsius)| *celsius);
    let limit_c = ahead.map(|found| found.limit_c);
    let all = temperatures.clone().chain(limit_c);
    let (low, high) = all.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| {
        (low.min(value), high.max(value))
    });
    let until = last + reached.map_or(0.0, |(.., until)| until.ceil());
    let (across, up) = (lap_scale(until), Scale::around(low, high));
    let limit: Vec<Run> = limit_c
        .iter()
        .map(|&celsius| {
            vec![
                (across.low, celsius, celsius),
                (across.high, celsius, celsius),
            ]
        })
        .collect();
    let grid = plot::draw(&Drawing {
        time: &across,
        values: &up,
        runs: &limit,
        blocks: &[],
        gaps: &[],
        windows: &[],
    });
    let place = |lap: f64, celsius: f64| {
        let (x, y) = plot::place(&across, &up, lap, celsius);
        format!("{x:.1} {y:.1}")
    };
    let discs: String = peaks
        .iter()
        .map(|&(lap, celsius)| format!("M{}h.01", place(lap, celsius)))
        .collect();
    let words = words(
        &peaks,
        limit_c,
        reached.map(|(_, low, laps, high)| (last, low, laps, high)),
    );
    html! {
        figure.strip.scatter.oil-by-lap {
            figcaption { strong { "Hottest oil of each lap" } ", °C; line: the next limit"
                @if reached.is_some() { "; ring: when it is reached, with the span of laps it may be" }
            }
            div.frame.high {
                (axes::ticks(&up, |tick| up.label(tick)))
                svg.plot viewBox=(plot::VIEW_BOX) preserveAspectRatio="none" role="img"
                    aria-labelledby="oil-by-lap-title oil-by-lap-about" {
                    title id="oil-by-lap-title" { "Hottest oil of each lap" }
                    desc id="oil-by-lap-about" { (words) }
                    (PreEscaped(grid))
                    @if let Some((celsius, low, likely, high)) = reached {
                        path.may d=(format!("M{}L{}", place(last + low, celsius), place(last + high, celsius))) {}
                        path.rings d=(format!("M{}h.01", place(last + likely, celsius))) {}
                        path.holes d=(format!("M{}h.01", place(last + likely, celsius))) {}
                    }
                    path.discs d=(discs) {}
                }
            }
            (axes::ruler(&across, |tick| across.label(tick), "Lap"))
        }
    }
}

fn words(
    peaks: &[(f64, f64)],
    limit_c: Option<f64>,
    reached: Option<(f64, f64, f64, f64)>,
) -> String {
    let (Some((first, from_c)), Some((last, to_c))) = (peaks.first(), peaks.last()) else {
        return String::new();
    };
    let mut words = format!(
        "From {} °C in lap {first} to {} °C in lap {last}.",
        number(*from_c),
        number(*to_c)
    );
    if let (Some(limit_c), Some((last, low, likely, high))) = (limit_c, reached) {
        words.push_str(&format!(
            " {} °C come in lap {:.0}, or between laps {:.0} and {:.0}.",
            number(limit_c),
            (last + likely).ceil(),
            (last + low).ceil(),
            (last + high).ceil()
        ));
    }
    words
}

/// Whole laps, at most some eight of them marked.
fn lap_scale(until: f64) -> Scale {
    let step = [1.0, 2.0, 5.0, 10.0, 20.0, 50.0]
        .into_iter()
        .find(|step| until / step <= 8.0)
        .unwrap_or(100.0);
    let n = (until / step).ceil() as usize;
    Scale {
        low: 0.0,
        high: until + 1.0,
        ticks: (1..=n).map(|index| index as f64 * step).collect(),
        decimals: 0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_words_name_laps_and_not_laps_from_now() {
        let peaks = [(1.0, 90.0), (2.0, 100.0), (3.0, 106.0)];
        assert_eq!(
            words(&peaks, None, None),
            "From 90.0 °C in lap 1 to 106 °C in lap 3."
        );
        // Derived: 2.4 laps behind the third are in the sixth.
        let text = words(&peaks, Some(120.0), Some((3.0, 1.2, 2.4, 5.0)));
        assert!(
            text.ends_with("120 °C come in lap 6, or between laps 5 and 8."),
            "{text}"
        );
    }

    #[test]
    fn laps_are_marked_whole() {
        assert_eq!(lap_scale(6.0).ticks, [1.0, 2.0, 3.0, 4.0, 5.0, 6.0]);
        assert_eq!(lap_scale(30.0).ticks.len(), 6);
    }
}
