//! What straight running shows of the rear tyres.
//!
//! Ratios are right over left, 1 = equal; `…_log` is their natural logarithm.

use halfshaft_health::{CommandCollapse, Mode as How, RatioPoint, RatioStep};

use crate::macros::{stored, words};
use crate::value::{NOT_FINITE, Ordered, known, or_reason, why};

words! {
    /// How bends were told from tyres.
    Mode of How;
    /// By the yaw rate.
    YawRegression = How::YawRegression,
    /// Rear tyres less front ones.
    FrontWheels = How::FrontWheels,
    /// Nothing else measures the bends: where the windows crowd.
    ShortestThird = How::ShortestThird,
}

stored! {
    /// Speed of the right rear wheel over that of the left, running straight with the pack open.
    #[schemars(transform = or_reason("ratio ratio_log sd low high"))]
    Calibration of calibration: &halfshaft_health::Calibration;
    {
        let outcome = calibration.outcome.as_ref();
        let found = outcome.ok().filter(|found| found.ratio_log.exp().is_finite());
    }
    /// The ratio, 1 = equal.
    ratio: Option<f64> ["1"] = found.and_then(|found| known(found.ratio_log.exp())),
    /// Its natural logarithm.
    ratio_log: Option<f64> ["1"] = found.and_then(|found| known(found.ratio_log)),
    /// One standard deviation of `ratio_log`.
    sd: Option<f64> ["1"] = found.and_then(|found| known(found.sd)),
    /// Lower bound of the ratio, what preload may hide included.
    low: Option<f64> ["1"] = found.and_then(|found| known(found.low.exp())),
    /// Upper bound of the ratio, what preload may hide included.
    high: Option<f64> ["1"] = found.and_then(|found| known(found.high.exp())),
    /// Why there is no ratio.
    why_null: Option<String> = match outcome {
        Err(reason) => Some(why(reason)),
        Ok(_) => found.is_none().then(|| NOT_FINITE.to_owned()),
    },
    /// How bends were told from tyres.
    mode: Mode = calibration.mode.into(),
    /// Windows of 50 m that took part.
    n_windows: u32 = calibration.n_windows,
    /// Separate stretches they make.
    n_stretches: u32 = calibration.n_stretches,
    /// Windows left out, by reason.
    rejected: Ordered<u32> = calibration
        .rejected
        .iter()
        .map(|&(under, n)| (under.words(), n))
        .collect(),
    /// What the yaw sensor reads running straight.
    yaw_bias_rad_per_s: Option<f64> ["rad/s"] = known(calibration.yaw_bias),
    /// Rear track as the bends show it.
    track_found_m: Option<f64> ["m"] = known(calibration.track_found_m.map(|(track, _)| track)),
    /// One standard deviation of it.
    track_found_sd_m: Option<f64> ["m"] = known(calibration.track_found_m.map(|(_, sd)| sd)),
    /// What the front wheels show running straight; taken off in `front-wheels`.
    front_ratio_log: Option<f64> ["1"] = known(calibration.front_ratio_log),
    /// A change within two kilometres that stays.
    step: Option<Step> = calibration.step.as_ref().map(Step::of),
    /// Slow change of `ratio_log` per km.
    drift_per_km: Option<f64> ["1/km"] = known(calibration.drift_per_km.map(|(slope, _)| slope)),
    /// One standard deviation of it.
    drift_per_km_sd: Option<f64> ["1/km"] = known(calibration.drift_per_km.map(|(_, sd)| sd)),
    /// What preload may hide of `ratio_log`, either way.
    hidden_by_preload: Option<f64> ["1"] = known(calibration.hidden_by_preload),
    /// The ratio with the pack open and under command.
    collapses_with_command: Option<Collapse> =
        calibration.collapses_with_command.as_ref().map(Collapse::of),
    /// The ratio moves against the bends: left and right look swapped.
    sides_exchanged: bool = calibration.are_sides_swapped,
    /// Both wheels are exactly equal through bends: one signal under two names.
    signals_identical: bool = calibration.are_signals_identical,
    /// Windows to draw.
    points: Vec<RollingPoint> = calibration.points.iter().map(RollingPoint::of).collect(),
}

stored! {
    /// A change of the ratio that stays.
    Step of step: &RatioStep;
    /// Way driven until then.
    km: Option<f64> ["km"] = known(step.km),
    /// When it was.
    time_ns: i64 ["ns"] = step.time.0,
    /// When it was.
    time_s: f64 ["s"] = step.time.seconds(),
    /// `ratio_log` before.
    before_log: Option<f64> ["1"] = known(step.before),
    /// `ratio_log` after.
    after_log: Option<f64> ["1"] = known(step.after),
}

stored! {
    /// The ratio with the pack open and under command.
    Collapse of collapse: &CommandCollapse;
    /// `ratio_log` with the pack open.
    open_log: Option<f64> ["1"] = known(collapse.open),
    /// `ratio_log` under command.
    commanded_log: Option<f64> ["1"] = known(collapse.commanded),
    /// Windows under command.
    n_commanded: u32 = collapse.n_commanded,
    /// The pack takes most of it away.
    collapsed: bool = collapse.is_collapsed,
}

stored! {
    /// A window of the calibration.
    RollingPoint of point: &RatioPoint;
    /// Way driven until then.
    km: Option<f64> ["km"] = known(point.km),
    /// When it was.
    time_ns: i64 ["ns"] = point.time.0,
    /// The ratio in it, as its natural logarithm.
    ratio_log: Option<f64> ["1"] = known(point.ratio_log),
    /// How sharp the bend was.
    heading_rad_per_m: Option<f64> ["rad/m"] = known(point.heading_per_m),
    /// It took part.
    accepted: bool = point.is_accepted,
}
