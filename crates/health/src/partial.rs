//! Whether the pack makes heat in partial engagement, row by row, and where a bend begins.
//!
//! In: a row, the limits and the tolerances of the map. Out: [`PartialJudgement`]. It is made
//! once for each row and used by every part that needs it.

use halfshaft_driveline::{Basis, Row};

use crate::limits::{Driving, Limits, SDS_OF_90};

/// What heat-making partial engagement needs, and how far its limits may shift with the
/// tolerances of the map.
#[derive(Clone, Copy, Debug)]
pub struct PartialLimits {
    /// The limits in force.
    pub limits: Limits,
    torque_floor_nm: f64,
    // Curvature from which a stretch counts as a bend, 1/m.
    bend_curvature: f64,
    // Half width of the 90 % interval of torque and slip, as shares.
    torque_share: f64,
    slip_share: f64,
    torque_says_all: bool,
}

/// Heat-making partial engagement of a row: as the map says, and at the low and the high
/// end of its tolerances; `None` where what it is judged by is missing.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct PartialJudgement {
    /// By the torque of the pack.
    pub by_torque: Option<[bool; 3]>,
    /// By the command, for a pack whose torque is not known.
    pub by_command: Option<[bool; 3]>,
}

impl PartialLimits {
    /// Limits for a vehicle; by command where torque is not known.
    pub fn new(
        basis: &Basis,
        torque_share: f64,
        slip_share: f64,
        limits: &Limits,
    ) -> PartialLimits {
        PartialLimits {
            limits: *limits,
            torque_floor_nm: limits
                .slip
                .torque_floor_nm
                .max(limits.slip.torque_floor_preloads * basis.preload_nm),
            bend_curvature: bend_curvature(basis, &limits.driving),
            torque_share,
            slip_share,
            torque_says_all: basis.heat.is_ok() && !basis.is_preload_only,
        }
    }

    /// Whether the pack makes heat in partial engagement.
    pub fn judge(&self, row: &Row) -> PartialJudgement {
        let slip = row.slip_sharp.abs();
        let noise = SDS_OF_90 * row.slip_sd.unwrap_or(0.0) * row.noise_in_mean;
        // The map as it stands, its low end, its high end.
        let slips = [0.0, 1.0, -1.0].map(|side| {
            row.is_turning
                && slip * (1.0 - side * self.slip_share) - side * noise
                    > self.limits.slip.working_rad_per_s
        });
        let by_torque = row
            .torque_nm
            .filter(|_| self.torque_says_all)
            .map(|torque| {
                let passes = [0.0, 1.0, -1.0]
                    .map(|side| torque * (1.0 - side * self.torque_share) > self.torque_floor_nm);
                std::array::from_fn(|side| slips[side] && passes[side])
            });
        let by_command = row
            .command
            .map(|command| slips.map(|slips| slips && command >= self.limits.slip.command_floor));
        PartialJudgement {
            by_torque,
            by_command,
        }
    }
}

/// Heat-making partial time: as the map says, at the low and the high end, s; and the
/// turning time in which it could be judged, s.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct PartialTime {
    /// Seconds.
    pub seconds: [f64; 3],
    /// Turning time judged, s.
    pub judged_s: f64,
}

impl PartialTime {
    /// Adds a row's judgement.
    pub fn add(&mut self, judgement: Option<[bool; 3]>, seconds: f64) {
        let Some(judgement) = judgement else { return };
        self.judged_s += seconds;
        for (sum, is_partial) in self.seconds.iter_mut().zip(judgement) {
            *sum += if is_partial { seconds } else { 0.0 };
        }
    }
}

impl PartialTime {
    /// Adds the time of another stretch.
    pub fn join(&mut self, other: &PartialTime) {
        self.judged_s += other.judged_s;
        for (sum, part) in self.seconds.iter_mut().zip(other.seconds) {
            *sum += part;
        }
    }
}

/// Whether a row is in a bend that counts as turning.
pub fn is_in_bend(row: &Row, partial: &PartialLimits) -> bool {
    match (row.yaw_rate, row.road_speed) {
        (Some(yaw), Some(speed)) => {
            speed > partial.limits.driving.moving_from()
                && yaw.abs() / speed > partial.bend_curvature
        }
        _ => false,
    }
}

/// Curvature from which a stretch counts as a bend, 1/m: tight as the limit says, and tight
/// enough that tyre compliance does not use up the difference it makes.
pub fn bend_curvature(basis: &Basis, driving: &Driving) -> f64 {
    let by_radius = 1.0 / driving.bend_radius_m;
    let (Some(track), Some(radius)) = (basis.track_rear_m, basis.radius_m) else {
        return by_radius;
    };
    let bias = basis.bias_factor * basis.preload_nm;
    by_radius.max(driving.compliance_margin * bias / (basis.tyre_stiffness_n * radius) / track)
}
