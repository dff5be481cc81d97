//! What the windows say about the rear tyres, as handed on.
//!
//! The estimate is ln(ωR/ωL) as straight running at low command shows it, with its band,
//! or the reason why it cannot be told. Preload ties the wheels and hides some of
//! a true mismatch: that is stated as a bound and never added back. `resolve` fills it.

use halfshaft_model::Time;

pub use super::steps::{RatioSlide, RatioStep};
use crate::refusal::{Refusal, Under};

/// How the ratio was found.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mode {
    /// Bends told by the yaw sensor, its bias solved for or pinned.
    YawRegression,
    /// Bends seen by the front wheels: a true difference, rear less front tyres.
    FrontWheels,
    /// Nothing shows the bends: straight running is where the windows crowd.
    ShortestThird,
}

/// The ratio.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RatioEstimate {
    /// ln(ωR/ωL).
    pub ratio_log: f64,
    /// Its standard deviation, by resampling of the road.
    pub sd: f64,
    /// 90 % interval of the true mismatch: what preload may hide and what no amount of road
    /// takes away are included.
    pub low: f64,
    /// 90 % interval of the true mismatch, as `low`.
    pub high: f64,
    /// Confidence, 0 to 1: from 0.9 for grade A, from 0.7 for grade B.
    pub grade_factor: f64,
}

/// The ratio at low and at high command.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CommandCollapse {
    /// ln(ωR/ωL) with the pack open.
    pub open: f64,
    /// The same under command.
    pub commanded: f64,
    /// Windows under command.
    pub n_commanded: u32,
    /// The pack takes most of the difference away: the mismatch is real and the pack holds.
    pub is_collapsed: bool,
}

/// A window, for drawing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RatioPoint {
    /// Start, km from the start of the drive.
    pub km: f64,
    /// Start.
    pub time: Time,
    /// ln(dR/dL) as measured.
    pub ratio_log: f64,
    /// Turning per way, rad/m, the sensor's bias removed; `None` without a witness.
    pub heading_per_m: Option<f64>,
    /// It took part in the estimate.
    pub is_accepted: bool,
}

/// Everything the windows show of the rear tyres. The crate that judges them puts reasons of
/// its own in the place of `Why`.
#[derive(Clone, Debug, PartialEq)]
pub struct Calibration<Why = Refusal> {
    /// The ratio, or why there is none.
    pub outcome: Result<RatioEstimate, Why>,
    /// How it was found.
    pub mode: Mode,
    /// Windows that took part.
    pub n_windows: u32,
    /// Separate stretches they make.
    pub n_stretches: u32,
    /// Windows left out, by reason; reasons that left none out are not listed.
    pub rejected: Vec<(Under, u32)>,
    /// Bias of the yaw sensor, rad/s.
    pub yaw_bias: Option<f64>,
    /// Rear track as the bends show it, m, with its deviation; only from enough bends both ways.
    pub track_found_m: Option<(f64, f64)>,
    /// What the front wheels show running straight, ln(ωR/ωL); taken off in [`Mode::FrontWheels`].
    pub front_ratio_log: Option<f64>,
    /// The ratio moves against the bends: left and right look swapped. Nothing was swapped.
    pub are_sides_swapped: bool,
    /// The rear wheels are exactly equal through bends: one signal under two names.
    pub are_signals_identical: bool,
    /// Mismatch that preload can hide, either way.
    pub hidden_by_preload: f64,
    /// A change within two kilometres. The estimate is then of the longer part.
    pub step: Option<RatioStep>,
    /// Slow change of ln(ωR/ωL) per km, with its deviation.
    pub drift_per_km: Option<(f64, f64)>,
    /// Where the ratio begins to slide away, and how quickly from there on.
    pub slide: Option<RatioSlide>,
    /// The ratio under command beside that without.
    pub collapses_with_command: Option<CommandCollapse>,
    /// The ratio by straights under a small torque, for drives without enough open
    /// ones: its band has what that torque may hide.
    pub under_command: Option<RatioEstimate>,
    /// Windows for drawing, in order of road.
    pub points: Vec<RatioPoint>,
}

impl Calibration {
    /// The same with another outcome.
    pub fn with_outcome<Why>(self, outcome: Result<RatioEstimate, Why>) -> Calibration<Why> {
        Calibration {
            outcome,
            mode: self.mode,
            n_windows: self.n_windows,
            n_stretches: self.n_stretches,
            rejected: self.rejected,
            yaw_bias: self.yaw_bias,
            track_found_m: self.track_found_m,
            front_ratio_log: self.front_ratio_log,
            are_sides_swapped: self.are_sides_swapped,
            are_signals_identical: self.are_signals_identical,
            hidden_by_preload: self.hidden_by_preload,
            step: self.step,
            drift_per_km: self.drift_per_km,
            slide: self.slide,
            collapses_with_command: self.collapses_with_command,
            under_command: self.under_command,
            points: self.points,
        }
    }

    /// The same where what shows the bends is not believed: nothing that rests on it is left.
    pub fn withheld<Why>(self, why: Why) -> Calibration<Why> {
        Calibration {
            yaw_bias: None,
            track_found_m: None,
            are_sides_swapped: false,
            step: None,
            drift_per_km: None,
            slide: None,
            collapses_with_command: None,
            under_command: None,
            points: Vec::new(),
            ..self.with_outcome(Err(why))
        }
    }
}
