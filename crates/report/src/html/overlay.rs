//! All answers of the actuator over each other, from the edge of the command.
//!
//! In: the fitted answers. Out: one drawing for a direction: the median as a thin dark line
//! on a pale band from the tenth to the ninetieth percentile. The band's border is wider than
//! the line, so that it shows beside it even where all answers agree.

use super::axes;
use super::plot::{self, Drawing, Run};
use super::scale::Scale;
use crate::words::counted;
use halfshaft_health::response::{Direction, Response};
use maud::{Markup, PreEscaped, html};

/// Steps of the time axis.
const N_STEPS: usize = 80;

/// Ends of the time axis, s: the least that is drawn, and the most.
const UNTIL_S: (f64, f64) = (0.01, 3.0);

/// Dead time and lag of an answer, s.
type Lag = (f64, f64);

/// Tenth percentile, median and ninetieth percentile at a time, in % of the way.
type Way = (f64, [f64; 3]);

pub(super) fn figure(word: &str, id: &str, responses: &[Response], direction: Direction) -> Markup {
    let lags: Vec<Lag> = responses
        .iter()
        .filter(|response| response.direction() == direction)
        .filter_map(|response| response.fit.ok())
        .map(|fit| (fit.dead_time_s, fit.lag_s))
        .filter(|(dead_s, lag_s)| dead_s.is_finite() && lag_s.is_finite())
        .collect();
    drawing(word, id, &lags)
}

fn drawing(word: &str, id: &str, lags: &[Lag]) -> Markup {
    let ways = ways(lags);
    let Some(&(until_s, _)) = ways.last() else {
        return html! {};
    };
    let (across, up) = (Scale::around(0.0, 1e3 * until_s), Scale::percent());
    let (title_id, about_id) = (format!("{id}-title"), format!("{id}-about"));
    let title = format!("{word}: responses to a command step");
    html! {
        figure.strip.overlay {
            figcaption {
                strong { (title) } ", % of the way; line: median of "
                (counted(lags.len() as u64, "answer", "answers")) ", band: 10 to 90 % of them"
            }
            div.frame.high {
                (axes::ticks(&up, |tick| up.label(tick)))
                svg.plot viewBox=(plot::VIEW_BOX) preserveAspectRatio="none" role="img"
                    aria-labelledby=(format!("{title_id} {about_id}")) {
                    title id=(title_id) { (title) }
                    desc id=(about_id) { (about(&ways)) }
                    (PreEscaped(spread(&ways, &across, &up)))
                    path.median d=(median(&ways, &across, &up)) {}
                }
            }
            (axes::ruler(&across, |tick| across.label(tick), "Time from the command step, ms"))
        }
    }
}

/// How far the answers have come, step by step; none without an answer.
fn ways(lags: &[Lag]) -> Vec<Way> {
    let slowest_s = lags.iter().map(|(dead_s, lag_s)| dead_s + 4.0 * lag_s);
    let Some(until_s) = slowest_s.reduce(f64::max) else {
        return Vec::new();
    };
    let until_s = until_s.clamp(UNTIL_S.0, UNTIL_S.1);
    (0..=N_STEPS)
        .map(|step| {
            let time_s = until_s * step as f64 / N_STEPS as f64;
            let mut gone: Vec<f64> = lags.iter().map(|&lag| gone(time_s, lag)).collect();
            gone.sort_by(f64::total_cmp);
            let of = |share: f64| 100.0 * gone[((gone.len() - 1) as f64 * share).round() as usize];
            (time_s, [0.1, 0.5, 0.9].map(of))
        })
        .collect()
}

/// A lag of first order with dead time: 1 − e^(−(t − θ)/τ). Without a lag it is a step.
fn gone(time_s: f64, (dead_s, lag_s): Lag) -> f64 {
    let since_s = time_s - dead_s;
    if since_s < 0.0 {
        return 0.0;
    }
    if lag_s <= 0.0 {
        return 1.0;
    }
    1.0 - (-since_s / lag_s).exp()
}

/// Grid and band.
fn spread(ways: &[Way], across: &Scale, up: &Scale) -> String {
    let run: Run = ways
        .iter()
        .map(|&(time_s, [low, _, high])| (1e3 * time_s, low, high))
        .collect();
    plot::draw(&Drawing {
        time: across,
        values: up,
        runs: &[run],
        blocks: &[],
        gaps: &[],
        windows: &[],
    })
}

fn median(ways: &[Way], across: &Scale, up: &Scale) -> String {
    let mut line = String::new();
    for &(time_s, [_, median, _]) in ways {
        let (x, y) = plot::place(across, up, 1e3 * time_s, median);
        let command = if line.is_empty() { 'M' } else { 'L' };
        line.push_str(&format!("{command}{x:.1} {y:.1}"));
    }
    line
}

/// When the median and the slowest tenth had come half of the way and nine tenths.
fn about(ways: &[Way]) -> String {
    let when = |index: usize, percent: f64| {
        let found = ways.iter().find(|(_, way)| way[index] >= percent);
        found.map_or("later than drawn".to_owned(), |(time_s, _)| {
            format!("by {:.0} ms", 1e3 * time_s)
        })
    };
    format!(
        "The median has come half of the way {} and nine tenths {}; nine of ten answers have come nine tenths {}.",
        when(1, 50.0),
        when(1, 90.0),
        when(0, 90.0)
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_band_holds_what_the_answers_do() {
        // Derived: at one lag after the dead time an answer has come 63.2 % of the way.
        let lags: Vec<Lag> = (0..11)
            .map(|index| (0.0, 0.1 + 0.01 * f64::from(index)))
            .collect();
        let ways = ways(&lags);
        // Until four of the slowest lags, 0.8 s; 0.15 s is step 15 of 80.
        let (time_s, [low, median, high]) = ways[15];
        assert!((time_s - 0.15).abs() < 1e-12, "{time_s}");
        assert!((median - 63.2).abs() < 0.1, "{median}");
        // The second slowest and the second fastest: lags of 0.19 and 0.11 s.
        assert!(
            (low - 54.6).abs() < 0.1 && (high - 74.4).abs() < 0.1,
            "{low} {high}"
        );
    }

    #[test]
    fn an_answer_without_lag_is_a_step_and_no_nan() {
        // Just at the dead time 0 over 0 would be no number.
        assert_eq!(
            [0.0, 0.04, 0.05, 0.06].map(|time| gone(time, (0.05, 0.0))),
            [0.0, 0.0, 1.0, 1.0]
        );
        for lags in [&[(0.0, 0.0)][..], &[(0.05, 0.0), (0.05, 0.0)]] {
            let ways = ways(lags);
            assert!(
                ways.iter()
                    .all(|(_, way)| way.iter().all(|value| value.is_finite()))
            );
            let text = drawing("Closing", "answers", lags).into_string();
            assert!(!text.contains("NaN"), "{text}");
            assert!(
                text.contains("polygon class=\"band\"") && text.contains("<path class=\"median\""),
                "{text}"
            );
        }
    }

    #[test]
    fn nothing_fitted_draws_nothing_and_names_stay_text() {
        assert_eq!(drawing("Closing", "answers", &[]).into_string(), "");
        let text = drawing("<b>", "answers", &[(0.1, 0.1)]).into_string();
        assert!(
            text.contains("&lt;b&gt;") && !text.contains("<b>"),
            "{text}"
        );
    }
}
