//! Learns how much faster one rear tyre rolls than the other.
//!
//! In: wheel speeds, yaw rate, command, torque and brake, sample by sample. Out: while
//! driving, a causal estimate for the road-referred difference; when asked, the whole
//! calibration with its proof. Windows are of 50 m of road, kept as sums, so that every
//! question can still be asked of them at the end of the drive. It never corrects what
//! heat is made from.
//!
//! ```text
//! Rolling -> window -> running                 (ε so far)
//!                   -> kept -> judge -> solve  (geometry, steps, regression; resolve)
//! ```

pub mod calibration;

mod bends;
mod geometry;
mod judge;
mod kept;
mod proof;
pub(crate) mod regression;
mod resolve;
mod running;
mod shortest_third;
mod solve;
mod steps;
mod under_command;
mod window;

#[cfg(test)]
mod testing;

use halfshaft_model::Time;

use crate::basis::Basis;
pub use crate::refusal::Under;
pub use calibration::{
    Calibration, CommandCollapse, Mode, RatioEstimate, RatioPoint, RatioSlide, RatioStep,
};
use kept::Kept;
use running::Running;
use window::Window;

/// What a window needs of a sample.
#[derive(Clone, Copy, Debug)]
pub struct Rolling {
    /// The time.
    pub time: Time,
    /// Rear wheels, rad/s.
    pub left: f64,
    /// Rear wheels, rad/s.
    pub right: f64,
    /// Difference of the rear wheels, mean over 0.2 s, rad/s.
    pub difference_mean: f64,
    /// Kinematic difference of the bend, rad/s, where it is known.
    pub kinematic: Option<f64>,
    /// Yaw rate as the sensor gives it, its bias not removed, rad/s.
    pub yaw_rate: Option<f64>,
    /// Front wheels, left and right, rad/s.
    pub front: Option<(f64, f64)>,
    /// Engagement command.
    pub command: Option<f64>,
    /// Torque one pack can carry, N·m.
    pub torque_nm: Option<f64>,
    /// Brake applied.
    pub is_braking: bool,
    /// Anti-lock, traction or stability control at work.
    pub is_controlled: bool,
    /// Rolling radius, m.
    pub radius_m: f64,
}

/// Cuts remembered; a log with more has no clock worth the name.
const MOST_CUTS: usize = 1000;

/// What is known of the rolling of both rear tyres so far.
#[derive(Clone, Debug, Default)]
pub struct TyreRatio {
    window: Window,
    distance_m: f64,
    running: Running,
    kept: Kept,
    // Where the log was cut, km: another day, and perhaps other tyres, may begin there.
    cuts_km: Vec<f64>,
}

impl TyreRatio {
    /// Nothing seen yet; `yaw_step` and `wheel_step` are the smallest steps of the numbers of
    /// the yaw sensor and the wheels, rad/s,
    /// 0 when not known.
    pub fn new(yaw_step: f64, wheel_step: f64) -> TyreRatio {
        TyreRatio {
            kept: Kept::new(yaw_step, wheel_step),
            ..TyreRatio::default()
        }
    }

    /// Takes a sample that stands for `seconds`.
    pub fn add(&mut self, rolling: &Rolling, seconds: f64) {
        self.kept.witness(rolling, seconds);
        let step_m = 0.5 * (rolling.left + rolling.right).abs() * rolling.radius_m * seconds;
        if self.window.seconds == 0.0 {
            self.window = Window::begin(rolling, self.distance_m * 1e-3);
        }
        self.distance_m += step_m;
        self.window.add(rolling, seconds);
        if !self.window.is_full() {
            return;
        }
        let window = std::mem::take(&mut self.window);
        let under = window.under();
        if under.is_none() {
            self.running.add(&window);
        }
        self.kept.keep(window, under);
    }

    /// A cut of the log's clock: what comes may be another day.
    pub fn cut(&mut self) {
        if self.cuts_km.len() < MOST_CUTS {
            self.cuts_km.push(self.distance_m * 1e-3);
        }
    }

    /// A gap: the window begins anew.
    pub fn interrupt(&mut self) {
        let window = std::mem::take(&mut self.window);
        if window.seconds > 0.0 {
            let is_slow = window.under() == Some(Under::Slow);
            let under = if is_slow { Under::Slow } else { Under::Gap };
            self.kept.keep(window, Some(under));
        }
    }

    /// The yaw sensor over `seconds` at standstill.
    pub fn stands(&mut self, yaw_rate: f64, seconds: f64) {
        self.kept.stands(yaw_rate, seconds);
    }

    /// Mean of the yaw sensor at standstill, rad/s.
    pub fn standing_yaw(&self) -> Option<f64> {
        self.kept.standing_yaw().map(|(mean, _)| mean)
    }

    /// ln(ωR/ωL) from what was seen up to now, when that is enough.
    pub fn ratio_log(&self) -> Option<f64> {
        self.running.ratio_log()
    }

    /// The calibration of the whole drive so far. It takes a walk over all windows.
    pub fn calibration(&self, basis: &Basis) -> Calibration {
        resolve::resolve(&self.kept, basis, &self.cuts_km)
    }
}
