//! Temperatures of pack, oil and housing from the heat of the drive.
//!
//! In: heat of the pack, power through the axle, speeds, air and oil temperature. Out: an
//! estimate of the pack's temperature with its band, the unit's thermal parameters with what
//! the drive could tell of them, and closed forms of what comes next. It does not judge.
//!
//! ```text
//! HeatSample -> heat_series (grid, pack_excess) -\
//! readings   -> heat_series ----------------------> prepared -> fit -> estimate
//! parameters -> unknowns ------------------------/      run (step) ----/
//! ```

mod bands;
pub mod cooling;
pub mod estimate;
mod fit;
pub mod gear_loss;
pub mod grid;
pub mod heat_series;
pub mod outlook;
mod pack_excess;
pub mod parameters;
mod prepared;
mod run;
pub mod step;
#[cfg(test)]
mod testing;
#[cfg(test)]
mod tests;
mod unknowns;

pub use cooling::{Decay, decay_of, longest_cooling, time_to_cool_s};
pub use estimate::{
    Anchor, ChangedUnit, Estimate, Given, Peak, ThermalEstimate, TracePoint, UnknownEstimate,
    estimate, estimate_changed,
};
pub use gear_loss::{AxlePowerSample, AxlePowerSource, axle_power_w};
pub use heat_series::{HeatSample, HeatSeries, Readings};
pub use outlook::{Node, TimeToLimit, cool_down_s, time_to_limit};
pub use parameters::{Priors, STATED, Stated, ThermalParameters, UnitFactors};
pub use step::{Load, Temperatures};
pub use unknowns::FitOutcome;

/// Width of the finest cell of time, s: short against the pack's time constant of 12 s.
pub const CELL_S: f64 = 0.5;
