//! What straight running shows of the rear tyres.
//!
//! Ratios are right over left, 1 = equal; `…_log` is their natural logarithm.

use super::records::{Ordered, known};
use crate::calibration::mode_word;
use crate::words::NOT_FINITE;
use halfshaft_health::{Calibration, CommandCollapse, RatioPoint, RatioStep};
use serde::Serialize;

#[derive(Serialize)]
pub(super) struct CalibrationJson {
    ratio: Option<f64>,
    ratio_log: Option<f64>,
    sd: Option<f64>,
    low: Option<f64>,
    high: Option<f64>,
    why_null: Option<String>,
    mode: &'static str,
    n_windows: u32,
    n_stretches: u32,
    rejected: Ordered<&'static str, u32>,
    yaw_bias_rad_per_s: Option<f64>,
    track_found_m: Option<f64>,
    track_found_sd_m: Option<f64>,
    front_ratio_log: Option<f64>,
    step: Option<StepJson>,
    drift_per_km: Option<f64>,
    drift_per_km_sd: Option<f64>,
    hidden_by_preload: Option<f64>,
    collapses_with_command: Option<CollapseJson>,
    sides_exchanged: bool,
    signals_identical: bool,
    points: Vec<PointJson>,
}

impl CalibrationJson {
    pub fn of(calibration: &Calibration) -> CalibrationJson {
        let found = calibration
            .outcome
            .as_ref()
            .ok()
            .filter(|found| found.ratio_log.exp().is_finite());
        CalibrationJson {
            ratio: found.and_then(|found| known(found.ratio_log.exp())),
            ratio_log: found.and_then(|found| known(found.ratio_log)),
            sd: found.and_then(|found| known(found.sd)),
            low: found.and_then(|found| known(found.low.exp())),
            high: found.and_then(|found| known(found.high.exp())),
            why_null: match &calibration.outcome {
                Err(why) => Some(why.to_string()),
                Ok(_) => found.is_none().then(|| NOT_FINITE.to_owned()),
            },
            mode: mode_word(calibration.mode),
            n_windows: calibration.n_windows,
            n_stretches: calibration.n_stretches,
            rejected: Ordered(calibration.rejected.clone()),
            yaw_bias_rad_per_s: known(calibration.yaw_bias),
            track_found_m: known(calibration.track_found_m.map(|(track, _)| track)),
            track_found_sd_m: known(calibration.track_found_m.map(|(_, sd)| sd)),
            front_ratio_log: known(calibration.front_ratio_log),
            step: calibration.step.as_ref().map(StepJson::of),
            drift_per_km: known(calibration.drift_per_km.map(|(slope, _)| slope)),
            drift_per_km_sd: known(calibration.drift_per_km.map(|(_, sd)| sd)),
            hidden_by_preload: known(calibration.hidden_by_preload),
            collapses_with_command: calibration
                .collapses_with_command
                .as_ref()
                .map(CollapseJson::of),
            sides_exchanged: calibration.are_sides_exchanged,
            signals_identical: calibration.are_signals_identical,
            points: calibration.points.iter().map(PointJson::of).collect(),
        }
    }
}

#[derive(Serialize)]
struct StepJson {
    km: Option<f64>,
    time_ns: i64,
    time_s: f64,
    before_log: Option<f64>,
    after_log: Option<f64>,
}

impl StepJson {
    fn of(step: &RatioStep) -> StepJson {
        StepJson {
            km: known(step.km),
            time_ns: step.time.0,
            time_s: step.time.seconds(),
            before_log: known(step.before),
            after_log: known(step.after),
        }
    }
}

#[derive(Serialize)]
struct CollapseJson {
    open_log: Option<f64>,
    commanded_log: Option<f64>,
    n_commanded: u32,
    collapsed: bool,
}

impl CollapseJson {
    fn of(collapse: &CommandCollapse) -> CollapseJson {
        CollapseJson {
            open_log: known(collapse.open),
            commanded_log: known(collapse.commanded),
            n_commanded: collapse.n_commanded,
            collapsed: collapse.is_collapsed,
        }
    }
}

#[derive(Serialize)]
struct PointJson {
    km: Option<f64>,
    time_ns: i64,
    ratio_log: Option<f64>,
    heading_rad_per_m: Option<f64>,
    accepted: bool,
}

impl PointJson {
    fn of(point: &RatioPoint) -> PointJson {
        PointJson {
            km: known(point.km),
            time_ns: point.time.0,
            ratio_log: known(point.ratio_log),
            heading_rad_per_m: known(point.heading_per_m),
            accepted: point.is_accepted,
        }
    }
}
