//! The integrals of a drive: times, distance, turning, slip, heat.
//!
//! In: rows. Out: sums and peaks. Nothing is summed over a gap; what a gap hides is
//! counted as hidden time, so that a figure can say "at least".

use halfshaft_driveline::{Basis, HeatByFloor, Row};
use halfshaft_model::Time;

use crate::limits::{
    BEND_RADIUS_M, COMMAND_FLOOR, COMPLIANCE_MARGIN, MOVING_FROM, SDS_OF_90, TORQUE_FLOOR_NM,
    TORQUE_FLOOR_PRELOADS, WORKING_SLIP,
};

/// What heat-making partial engagement needs, and how far its limits may shift with the
/// tolerances of the map.
#[derive(Clone, Copy, Debug)]
pub struct PartialLimits {
    torque_floor_nm: f64,
    // Half width of the 90 % interval of torque and slip, as shares.
    torque_share: f64,
    slip_share: f64,
    is_by_command: bool,
}

impl PartialLimits {
    /// Limits for a vehicle; by command where torque is not known.
    pub fn new(basis: &Basis, torque_share: f64, slip_share: f64) -> PartialLimits {
        PartialLimits {
            torque_floor_nm: TORQUE_FLOOR_NM.max(TORQUE_FLOOR_PRELOADS * basis.preload_nm),
            torque_share,
            slip_share,
            is_by_command: basis.heat.is_err(),
        }
    }

    /// Whether the pack makes heat in partial engagement: as the map says, and at the two
    /// ends of its tolerances. `None` where torque (or the command) is missing.
    pub fn judge(&self, row: &Row) -> Option<[bool; 3]> {
        let slip = row.slip_sharp.abs();
        let drive = if self.is_by_command {
            row.command?
        } else {
            row.torque_nm?
        };
        let (floor, share) = match self.is_by_command {
            true => (COMMAND_FLOOR, 0.0),
            false => (self.torque_floor_nm, self.torque_share),
        };
        let noise = SDS_OF_90 * row.slip_sd.unwrap_or(0.0) / row.n_in_mean.sqrt();
        Some([0.0, 1.0, -1.0].map(|side| {
            // A torque that may be higher by `share` passes a floor lower by it.
            let passes = if self.is_by_command {
                drive >= floor
            } else {
                drive * (1.0 - side * share) > floor
            };
            let slip = slip * (1.0 - side * self.slip_share) - side * noise;
            row.is_turning && passes && slip > WORKING_SLIP
        }))
    }
}

/// Sums over a drive.
#[derive(Clone, Debug, Default)]
pub struct Sums {
    /// Rows seen.
    pub n_rows: u64,
    /// Time that both rear wheels cover, s.
    pub covered_s: f64,
    /// Time between rows that a gap hides, s (silences of the whole log not counted).
    pub hidden_s: f64,
    /// Turning time in which the torque was not known, s.
    pub without_torque_s: f64,
    /// Angle slipped in that time, rad: with the highest torque seen it bounds the heat
    /// that is not in the sum.
    pub without_torque_rad: f64,
    /// Highest torque of one pack, N·m.
    pub torque_peak_nm: f64,
    /// Time with torque from the command for want of a state, s, while slipping.
    pub torque_by_command_s: f64,
    /// Time with torque known, s.
    pub with_torque_s: f64,
    /// Time above 5 km/h, s.
    pub moving_s: f64,
    /// Time with a road speed, s.
    pub with_speed_s: f64,
    /// Distance, m.
    pub distance_m: f64,
    /// Angle turned in bends, rad.
    pub turned_rad: f64,
    /// Time with a yaw rate while moving, s.
    pub with_yaw_s: f64,
    /// Highest mean slip, rad/s, and when.
    pub slip_peak: Option<(f64, Time)>,
    /// Heat-making partial time: as the map says, at the low and the high end, s.
    pub partial_s: [f64; 3],
    /// Turning time in which partial engagement could be judged, s.
    pub judged_s: f64,
    /// Heat.
    pub heat: HeatByFloor,
    /// Highest mean heat rate, W, and when.
    pub heat_peak: Option<(f64, Time)>,
    /// Sum of (torque·time)², (N·m·s)²: noise of the heat sum follows from it.
    pub impulse_square: f64,
    latest: Option<Time>,
}

impl Sums {
    /// Takes a row; `is_silence` when the whole log was silent before it.
    pub fn note(&mut self, row: &Row, basis: &Basis, limits: &PartialLimits, is_silence: bool) {
        if let Some(latest) = self.latest.replace(row.time)
            && !row.is_joined
            && !is_silence
        {
            self.hidden_s += row.time.since(latest);
        }
        self.n_rows += 1;
        self.covered_s += row.seconds;
        self.note_motion(row, basis);
        if !row.is_turning {
            return;
        }
        let keep_higher = |peak: &mut Option<(f64, Time)>, value: f64| {
            if peak.is_none_or(|(highest, _)| value > highest) {
                *peak = Some((value, row.time));
            }
        };
        keep_higher(&mut self.slip_peak, row.slip_sharp.abs());
        if let Some(judgement) = limits.judge(row) {
            self.judged_s += row.seconds;
            for (sum, is_partial) in self.partial_s.iter_mut().zip(judgement) {
                *sum += if is_partial { row.seconds } else { 0.0 };
            }
        }
        let Some(work) = row.work_j else {
            self.without_torque_s += row.seconds;
            self.without_torque_rad += row.slip_mean.abs() * row.seconds;
            return;
        };
        self.with_torque_s += row.seconds;
        if row.is_torque_by_command {
            self.torque_by_command_s += row.seconds;
        }
        self.torque_peak_nm = self.torque_peak_nm.max(row.torque_nm.unwrap_or(0.0));
        self.heat.add(work, row.impulse_nms, &row.evidence);
        self.impulse_square += row.impulse_nms.powi(2);
        if let Some(rate) = row.heat_rate_w {
            keep_higher(&mut self.heat_peak, rate);
        }
    }

    fn note_motion(&mut self, row: &Row, basis: &Basis) {
        let Some(speed) = row.road_speed else { return };
        self.with_speed_s += row.seconds;
        self.distance_m += speed * row.seconds;
        if speed <= MOVING_FROM {
            return;
        }
        self.moving_s += row.seconds;
        if let Some(yaw) = row.yaw_rate {
            self.with_yaw_s += row.seconds;
            if yaw.abs() / speed > bend_curvature(basis) {
                self.turned_rad += yaw.abs() * row.seconds;
            }
        }
    }
}

/// Curvature from which a stretch counts as a bend, 1/m: tighter than 150 m, and tight
/// enough that tyre compliance does not eat the difference it asks for.
pub fn bend_curvature(basis: &Basis) -> f64 {
    let by_radius = 1.0 / BEND_RADIUS_M;
    let (Some(track), Some(radius)) = (basis.track_rear_m, basis.radius_m) else {
        return by_radius;
    };
    let bias = basis.bias_factor * basis.preload_nm;
    by_radius.max(COMPLIANCE_MARGIN * bias / (basis.tyre_stiffness_n * radius) / track)
}
