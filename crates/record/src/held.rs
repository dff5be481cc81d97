//! What the pack holds, by the tyres.

use halfshaft_health::held::{Held, HeldPoint as Point};

use crate::macros::stored;
use crate::value::known;

stored! {
    /// Torque the pack holds at each command, from the difference that steady bends lack.
    HeldTorque of held: &Held;
    /// Stiffness of a tyre against slip times rolling radius, as used.
    stiffness_nm: Option<f64> ["N·m"] = known(held.stiffness_nm.value),
    /// One standard deviation of it.
    stiffness_sd_nm: Option<f64> ["N·m"] = known(held.stiffness_nm.sd),
    /// It comes from bends of this drive without command, where the preload is known; else from the
    /// map or from usual tyres.
    is_calibrated: bool = held.is_calibrated,
    /// Torque held without command by the stiffness of the map or of usual tyres; null when too few
    /// bends were driven without command.
    without_command_nm: Option<f64> ["N·m"] = known(held.without_command_nm.map(|found| found.value)),
    /// One standard deviation of it.
    without_command_sd_nm: Option<f64> ["N·m"] = known(held.without_command_nm.map(|found| found.sd)),
    /// Half seconds under command, of any.
    n_commanded: usize = held.n_commanded,
    /// The curve, in order of command.
    points: Vec<HeldPoint> = held.points.iter().map(HeldPoint::of).collect(),
}

stored! {
    /// A point of it.
    HeldPoint of point: &Point;
    /// Mean command, share of full.
    command: Option<f64> ["1"] = known(point.command),
    /// Torque one pack holds.
    held_nm: Option<f64> ["N·m"] = known(point.held_nm.value),
    /// One standard deviation of it.
    held_sd_nm: Option<f64> ["N·m"] = known(point.held_nm.sd),
    /// The pack was mostly stuck: it could hold more.
    is_at_least: bool = point.is_at_least,
    /// Torque by the map; null where it states none.
    stated_nm: Option<f64> ["N·m"] = known(point.stated_nm),
    /// Half seconds.
    n: usize = point.n,
}
