//! Whether the pack makes heat in partial engagement, row by row, and where a bend begins.
//! Without a stated preload the floor of the torque is by what the pack carries at rest.
//!
//! In: a row, the limits and the tolerances of the map. Out: [`PartialJudgement`]. It is made
//! once for each row and used by every part that needs it.

use halfshaft_driveline::engagement::OPEN_BELOW;
use halfshaft_driveline::{Basis, Row};

use crate::limits::{Driving, Limits, SDS_OF_90};
use crate::turning::Turning;

/// What slipping under load needs, and how far its limits may shift with the
/// tolerances of the map.
#[derive(Clone, Copy, Debug)]
pub struct PartialLimits {
    /// The limits in force.
    pub limits: Limits,
    torque_floor_nm: f64,
    // The floor is of the same source as the torque, and errs as that does.
    errs_alike: bool,
    // Nothing in the map says what the pack carries at rest: the least torque of the drive does.
    lowest_nm: Option<f64>,
    moving_from: [f64; 3],
    // Curvature from which a stretch counts as a bend, 1/m.
    bend_curvature: f64,
    shares: Shares,
    torque_says_all: bool,
}

/// Half widths of 90 % intervals by the tolerances of the map, as shares.
#[derive(Clone, Copy, Debug, Default)]
pub struct Shares {
    /// Of the torque over its floor.
    pub torque: f64,
    /// Of the slip.
    pub slip: f64,
    /// Of the road speed.
    pub speed: f64,
}

/// Time slipping under load of a row: as the map says, and at the low and the high
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
    pub fn new(basis: &Basis, shares: Shares, limits: &Limits) -> PartialLimits {
        let is_by_source = basis.preload_nm == 0.0;
        let moving_from = limits.driving.moving_from();
        PartialLimits {
            limits: *limits,
            errs_alike: is_by_source
                && basis
                    .resting_nm
                    .is_some_and(|nm| is_above_least(nm, limits)),
            torque_floor_nm: floor_nm(basis.resting_nm.unwrap_or(0.0), limits),
            lowest_nm: basis.resting_nm.is_none().then_some(f64::INFINITY),
            moving_from: [
                moving_from,
                moving_from * (1.0 + shares.speed),
                moving_from / (1.0 + shares.speed),
            ],
            bend_curvature: bend_curvature(basis, &limits.driving),
            shares,
            torque_says_all: basis.heat.is_ok() && !basis.is_preload_only,
        }
    }

    /// Torque of one pack above which slip makes heat worth counting, N·m.
    pub fn torque_floor_nm(&self) -> f64 {
        self.torque_floor_nm
    }

    /// Road speed above which the car counts as moving, m/s, and as much more and as much less as
    /// the road speed may be off by at 90 %.
    pub fn moving_from(&self) -> [f64; 3] {
        self.moving_from
    }

    /// Nothing turned yet.
    pub fn turning(&self) -> Turning {
        let trust = &self.limits.trust;
        let share = self.shares.speed.hypot(SDS_OF_90 * trust.yaw_scale_sd);
        Turning::new(&self.limits.driving, share)
    }

    /// Sees a row before it is judged: a drive begins at rest, and a pack that reports its
    /// torque never reports less than its preload. Without a command nobody knows that it rests.
    pub fn see(&mut self, row: &Row) {
        if let (Some(lowest), Some(torque)) = (&mut self.lowest_nm, row.torque_nm)
            && row.command.is_some_and(|command| command < OPEN_BELOW)
            && torque < *lowest
        {
            *lowest = torque;
            self.torque_floor_nm = floor_nm(torque, &self.limits);
            self.errs_alike = is_above_least(torque, &self.limits);
        }
    }

    /// Whether the pack slips: by the map as it stands, by the low end of noise and tolerances,
    /// by the high one.
    pub fn slips(&self, row: &Row) -> [bool; 3] {
        let slip = row.slip_sharp.abs();
        let noise = SDS_OF_90 * row.slip_sd.unwrap_or(0.0) * row.noise_in_mean;
        [0.0, 1.0, -1.0].map(|side| {
            row.is_turning
                && slip * (1.0 - side * self.shares.slip) - side * noise
                    > self.limits.slip.working_rad_per_s
        })
    }

    /// Whether the pack makes heat in partial engagement.
    pub fn judge(&self, row: &Row) -> PartialJudgement {
        let slips = self.slips(row);
        let torque_share = if self.errs_alike {
            0.0
        } else {
            self.shares.torque
        };
        let by_torque = row
            .torque_nm
            .filter(|_| self.torque_says_all)
            .map(|torque| {
                let passes = [0.0, 1.0, -1.0]
                    .map(|side| torque * (1.0 - side * torque_share) > self.torque_floor_nm);
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

/// Time slipping under load: as the map says, at the low and the high end, s; and the
/// turning time in which it could be judged, s.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct PartialTime {
    /// Seconds.
    pub seconds: [f64; 3],
    /// Turning time judged, s.
    pub judged_s: f64,
    /// Times it began or ended, each known to a period of the wheels.
    pub n_edges: u32,
    is_partial: bool,
}

impl PartialTime {
    /// Adds a row's judgement.
    pub fn add(&mut self, judgement: Option<[bool; 3]>, seconds: f64) {
        let Some(judgement) = judgement else { return };
        self.judged_s += seconds;
        self.n_edges += u32::from(judgement[0] != self.is_partial);
        self.is_partial = judgement[0];
        for (sum, is_partial) in self.seconds.iter_mut().zip(judgement) {
            *sum += if is_partial { seconds } else { 0.0 };
        }
    }
}

impl PartialTime {
    /// Adds the time of another stretch.
    pub fn join(&mut self, other: &PartialTime) {
        self.judged_s += other.judged_s;
        self.n_edges += other.n_edges;
        for (sum, part) in self.seconds.iter_mut().zip(other.seconds) {
            *sum += part;
        }
    }
}

fn is_above_least(resting_nm: f64, limits: &Limits) -> bool {
    floor_nm(resting_nm, limits) > limits.slip.torque_floor_nm
}

fn floor_nm(resting_nm: f64, limits: &Limits) -> f64 {
    let slip = &limits.slip;
    slip.torque_floor_nm
        .max(slip.torque_floor_preloads * resting_nm)
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::row;
    use halfshaft_driveline::Refusal;

    fn basis(resting_nm: Option<f64>) -> Basis {
        let plain = Basis::new(&halfshaft_model::Vehicle::default(), &[]);
        Basis {
            heat: Ok::<(), Refusal>(()),
            is_preload_only: false,
            resting_nm,
            ..plain
        }
    }

    /// Seconds of 200 slipping at 1 rad/s: 100 with the torque at rest, 100 with another.
    fn seconds(basis: &Basis, resting_nm: f64, torque_nm: f64) -> [f64; 3] {
        let shares = Shares {
            torque: 0.25,
            ..Shares::default()
        };
        let mut limits = PartialLimits::new(basis, shares, &Limits::default());
        let mut time = PartialTime::default();
        for index in 0..200 {
            let mut row = row(f64::from(index));
            row.slip_sharp = 1.0;
            row.torque_nm = Some(if index < 100 { resting_nm } else { torque_nm });
            row.command = Some(if index < 100 { 0.0 } else { 0.5 });
            limits.see(&row);
            time.add(limits.judge(&row).by_torque, 1.0);
        }
        time.seconds
    }

    #[test]
    fn the_floor_is_by_the_torque_at_rest_where_no_preload_is_stated() {
        // 1.5·70 = 105 N·m, by the table as by what the car reports; by 50 N·m all would count.
        for resting_nm in [Some(70.0), None] {
            assert_eq!(seconds(&basis(resting_nm), 70.0, 300.0), [100.0; 3]);
            assert_eq!(seconds(&basis(resting_nm), 70.0, 90.0)[0], 0.0);
            // Both err alike: a quarter more of 100 N·m would be above 105, not above 131.
            assert_eq!(seconds(&basis(resting_nm), 70.0, 100.0), [0.0; 3]);
        }
        assert_eq!(seconds(&basis(Some(0.0)), 70.0, 90.0)[0], 200.0);
    }

    #[test]
    fn each_beginning_and_end_is_counted() {
        let mut time = PartialTime::default();
        for is_partial in [false, true, true, false, true] {
            time.add(Some([is_partial; 3]), 0.1);
        }
        assert_eq!(time.n_edges, 3);
    }
}
