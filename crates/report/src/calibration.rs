//! What straight running shows of the rear tyres, in words shared by all forms.
//!
//! A ratio is shown as how much further one tyre rolls than the other, in percent.

use crate::words::{self, clean, counted, sentence};
use halfshaft_health::{Calibration, Mode};

/// Drift below this is not worth its digits, % per km: warming tyres drift ten times as
/// much. Source: none, engineering guess.
const LEAST_DRIFT_SHOWN: f64 = 0.002;

/// How bends were parted from tyres.
pub fn mode_in_words(mode: Mode) -> &'static str {
    match mode {
        Mode::YawRegression => "bends taken out by the yaw sensor, its bias solved for",
        Mode::FrontWheels => {
            "bends taken out by the front wheels, so this is the rear tyres less the front ones"
        }
        Mode::ShortestThird => {
            "nothing tells the bends: straight running is taken to be where the windows crowd"
        }
    }
}

/// A ratio's logarithm in percent.
pub fn percent_of(ratio_log: f64) -> f64 {
    100.0 * ratio_log.exp_m1()
}

/// Signed percent with two decimals, `+0.61 %`; three where the error is finer.
pub fn signed_percent(ratio_log: f64, sd: f64) -> String {
    let value = percent_of(ratio_log);
    let n_decimals = if sd < 5e-5 { 3 } else { 2 };
    let text = format!("{:.*}", n_decimals, value.abs());
    let is_zero = text.chars().all(|c| matches!(c, '0' | '.'));
    let sign = match (is_zero, value < 0.0) {
        (true, _) => "",
        (false, true) => "−",
        (false, false) => "+",
    };
    format!("{sign}{text}\u{a0}%")
}

/// The result in one sentence.
pub fn result(calibration: &Calibration) -> String {
    match &calibration.outcome {
        Ok(found) => format!(
            "Right over left rear wheel, running straight: {} ({} to {}), from {} of 50\u{a0}m in {}; {}.",
            signed_percent(found.ratio_log, found.sd),
            signed_percent(found.low, found.sd),
            signed_percent(found.high, found.sd),
            counted(calibration.n_windows.into(), "window", "windows"),
            counted(
                calibration.n_stretches.into(),
                "separate stretch",
                "separate stretches"
            ),
            mode_in_words(calibration.mode),
        ),
        Err(why) => format!(
            "The tyre ratio is not known: {}",
            sentence(&clean(why)).trim_start()
        ),
    }
}

/// What else the windows say, one sentence each.
pub fn remarks(calibration: &Calibration) -> Vec<String> {
    let mut said = Vec::new();
    if calibration.hidden_by_preload > 0.0 && calibration.hidden_by_preload.is_finite() {
        said.push(format!(
            "Preload ties the wheels and may hide up to {}\u{a0}% of a mismatch either way; the band holds that.",
            words::number(percent_of(calibration.hidden_by_preload))
        ));
    }
    if calibration.are_sides_swapped {
        said.push(
            "The ratio moves against the bends: left and right look swapped. Nothing was swapped."
                .to_owned(),
        );
    }
    if calibration.are_signals_identical {
        said.push(
            "Left and right are exactly equal through bends: one signal under two names."
                .to_owned(),
        );
    }
    if let Some(step) = &calibration.step {
        said.push(format!(
            "At {}\u{a0}km ({}) the ratio steps from {} to {}.",
            words::number(step.km),
            words::drive_time(step.time),
            signed_percent(step.before, 1e-3),
            signed_percent(step.after, 1e-3),
        ));
    }
    if let Some((slope, sd)) = calibration.drift_per_km {
        said.push(if percent_of(slope).abs() < LEAST_DRIFT_SHOWN {
            format!("It does not drift: less than {LEAST_DRIFT_SHOWN}\u{a0}% per km.")
        } else {
            format!(
                "It drifts by {} per km (one standard deviation {}\u{a0}%).",
                signed_percent(slope, 0.0),
                words::number(percent_of(sd))
            )
        });
    }
    if let Some((track, sd)) = calibration.track_found_m {
        said.push(format!(
            "The bends show a rear track of {track:.3} ± {sd:.3}\u{a0}m."
        ));
    }
    if let Some(bias) = calibration.yaw_bias {
        said.push(format!(
            "The yaw sensor reads {}\u{a0}°/s too much.",
            words::number(bias.to_degrees())
        ));
    }
    if let Some(front) = calibration.front_ratio_log {
        said.push(format!(
            "The front wheels differ by {} running straight; that was taken off.",
            signed_percent(front, 1e-3)
        ));
    }
    if let Some(collapse) = &calibration.collapses_with_command {
        let meaning = if collapse.is_collapsed {
            "the mismatch is real and the pack holds the wheels together"
        } else {
            "the command does not take it away"
        };
        said.push(format!(
            "Under command the difference is {} and with the pack open {}: {meaning}.",
            signed_percent(collapse.commanded, 1e-3),
            signed_percent(collapse.open, 1e-3),
        ));
    }
    said
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_ratio_reads_as_a_signed_percentage() {
        let of = |log, sd| signed_percent(log, sd).replace('\u{a0}', " ");
        // exp(0.006) - 1 = 0.6018 %, by hand.
        assert_eq!(of(0.006, 1e-3), "+0.60 %");
        assert_eq!(of(0.006, 1e-5), "+0.602 %");
        assert_eq!(of(-0.011, 1e-3), "−1.09 %");
        assert_eq!(of(-1e-9, 1e-3), "0.00 %");
    }
}
