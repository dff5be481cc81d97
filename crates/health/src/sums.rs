//! The integrals of a drive: times, distance, turning, slip, heat.
//!
//! In: rows. Out: sums and peaks. Nothing is summed over a gap; what the rows cover is
//! counted, so that a figure can say "at least" where it is less than the drive.

use halfshaft_driveline::engagement::OPEN_BELOW;
use halfshaft_driveline::{HeatByFloor, Row, SIGNIFICANT_SDS};
use halfshaft_model::Time;

use crate::highest::Highest;
use crate::limits::Slip;
use crate::part::{Part, Passage};
use crate::partial::{PartialJudgement, PartialLimits, PartialTime, is_in_bend};
use crate::trust::{COMMAND, HEAT, Kept, MOTION, SLIP, TURNING};
use crate::turning::Turning;

/// Time by openness, so that its median can be told: wheelspin takes a part of the time in
/// a bend, and a mean would follow it.
#[derive(Clone, Debug)]
pub struct OpennessTime {
    // Slots of 0.02 from -1 to 3; the outer ones hold what lies beyond.
    seconds: [f64; 200],
}

impl Default for OpennessTime {
    fn default() -> OpennessTime {
        OpennessTime {
            seconds: [0.0; 200],
        }
    }
}

impl OpennessTime {
    fn add(&mut self, openness: f64, seconds: f64) {
        let slot = ((openness + 1.0) * 50.0).clamp(0.0, 199.0);
        self.seconds[slot as usize] += seconds;
    }

    /// The median, when there was any.
    pub fn median(&self) -> Option<f64> {
        let half = 0.5 * self.seconds.iter().sum::<f64>();
        let mut sum = 0.0;
        let slot = self.seconds.iter().position(|seconds| {
            sum += seconds;
            sum >= half && half > 0.0
        })?;
        Some((slot as f64 + 0.5) / 50.0 - 1.0)
    }
}

/// A silence longer than this is left out of the length of the log, s: the vehicle clock
/// cuts the drive there.
const LONG_SILENCE_S: f64 = 30.0;

/// Heat of a drive and what its band is made of.
#[derive(Clone, Debug, Default)]
pub struct HeatSums {
    /// Heat.
    pub heat: HeatByFloor,
    /// Highest mean heat rate, W.
    pub mean_peak_w: f64,
    /// Highest heat rate of the moment, W.
    pub peak: Highest,
    /// The same at the least and at the most that the torque can have been, W.
    pub peak_ends_w: [f64; 2],
    /// Highest torque of one pack, N·m.
    pub torque_peak_nm: f64,
    /// Sum of (torque·time)², (N·m·s)²: noise of the heat sum follows from it.
    pub impulse_square: f64,
    /// Angle slipped while the torque was not known, rad: with the highest torque seen it bounds
    /// the heat that is not in the sum.
    pub without_torque_rad: f64,
}

/// How far and how long the car moved.
#[derive(Clone, Copy, Debug, Default)]
pub struct MotionSums {
    /// Time above 5 km/h, s.
    pub moving_s: f64,
    /// Time with a road speed, s.
    pub with_speed_s: f64,
    /// Distance, m.
    pub distance_m: f64,
    /// Time above as much more and as much less than 5 km/h as the road speed may be off by, s.
    pub moving_bounds_s: [f64; 2],
    /// Times it began or ended to move.
    pub n_edges: u32,
    /// It moved in the first row.
    pub began_moving: bool,
    /// It moved in the latest row.
    pub is_moving: bool,
    has_begun: bool,
}

impl MotionSums {
    fn move_on(&mut self, speed: f64, seconds: f64, [limit, bounds @ ..]: [f64; 3]) {
        self.with_speed_s += seconds;
        self.distance_m += speed * seconds;
        let moves = speed > limit;
        if !std::mem::replace(&mut self.has_begun, true) {
            (self.began_moving, self.is_moving) = (moves, moves);
        }
        self.n_edges += u32::from(moves != self.is_moving);
        self.is_moving = moves;
        self.moving_s += if moves { seconds } else { 0.0 };
        for (sum, bound) in self.moving_bounds_s.iter_mut().zip(bounds) {
            *sum += if speed > bound { seconds } else { 0.0 };
        }
    }
}

/// How much the car turned.
#[derive(Clone, Debug, Default)]
pub struct TurningSums {
    /// Angle turned.
    pub turned: Option<Turning>,
    /// Angle turned in bends tight enough for the preload while open, heat known or not, rad.
    pub turned_open_all_rad: f64,
    /// The same while open (below 5 % of command, or no command known) and with heat
    /// known, rad.
    pub turned_open_rad: f64,
    /// Openness over that time.
    pub openness: OpennessTime,
    /// Time with a yaw rate while moving, s.
    pub with_yaw_s: f64,
}

/// Sums over a drive. How much of it a signal covers anybody may ask; what was made from the
/// signals is behind the gate.
#[derive(Clone, Debug, Default)]
pub struct Sums {
    /// Rows seen.
    pub n_rows: u64,
    /// Time that both rear wheels cover, s.
    pub covered_s: f64,
    /// Length of the silences over which the car went on moving, s: it drove on unseen.
    pub silent_moving_s: f64,
    // The latest row's time, and whether the car moved there.
    latest: Option<(Time, bool)>,
    /// Turning time in which the torque was not known, s.
    pub without_torque_s: f64,
    /// Time with torque from the command for want of a state, s, while slipping.
    pub torque_by_command_s: f64,
    /// Time with torque known, s.
    pub with_torque_s: f64,
    /// Motion.
    pub motion: Kept<MotionSums, MOTION>,
    /// Turning.
    pub turning: Kept<TurningSums, TURNING>,
    /// Highest slip, rad/s.
    pub slip_peak: Kept<Highest, SLIP>,
    /// Time slipping under load by torque.
    pub partial_by_torque: Kept<PartialTime, { HEAT | SLIP }>,
    /// The same by command, from 10 % on.
    pub partial_by_command: Kept<PartialTime, { COMMAND | SLIP }>,
    /// Heat.
    pub heat: Kept<HeatSums, HEAT>,
}

impl Sums {
    /// Takes a row.
    pub fn add(&mut self, row: &Row, partial: &PartialLimits, judgement: &PartialJudgement) {
        let limits = &partial.limits;
        let moves = row
            .road_speed
            .is_some_and(|speed| speed > limits.driving.moving_from());
        if let Some((latest, moved)) = self.latest.replace((row.time, moves))
            && !row.is_joined
            && moved
            && moves
        {
            let silence_s = row.time.since(latest);
            if silence_s > LONG_SILENCE_S {
                self.silent_moving_s += silence_s;
            }
        }
        self.n_rows += 1;
        self.covered_s += row.seconds;
        self.note_motion(row, partial);
        if !row.is_turning || !row.is_joined {
            self.slip_peak.gather().interrupt();
            self.heat.gather().peak.interrupt();
        }
        if !row.is_turning {
            return;
        }
        let slip = row.slip_sharp.abs();
        if row.is_wheel_sample {
            let sample = (slip, row.time);
            self.slip_peak
                .gather()
                .add(sample, slip, row.noise_in_sharp);
        }
        self.partial_by_torque
            .gather()
            .add(judgement.by_torque, row.seconds);
        self.partial_by_command
            .gather()
            .add(judgement.by_command, row.seconds);
        let heat = self.heat.gather();
        let Some(work) = row.work_j else {
            self.without_torque_s += row.seconds;
            heat.without_torque_rad += row.slip_mean.abs() * row.seconds;
            return;
        };
        self.with_torque_s += row.seconds;
        if row.is_torque_by_command {
            self.torque_by_command_s += row.seconds;
        }
        heat.torque_peak_nm = heat.torque_peak_nm.max(row.torque_nm.unwrap_or(0.0));
        heat.heat.add(work, row.impulse_nms, &row.evidence);
        heat.impulse_square += row.impulse_nms.powi(2);
        if let Some(rate) = row.heat_rate_w.filter(|_| is_slipping(row, &limits.slip)) {
            heat.mean_peak_w = heat.mean_peak_w.max(rate);
        }
        if let Some([least, likely, most]) = sharp_rate_w(row, &limits.slip) {
            heat.peak.add((likely, row.time), slip, row.noise_in_sharp);
            heat.peak_ends_w[0] = heat.peak_ends_w[0].max(least);
            heat.peak_ends_w[1] = heat.peak_ends_w[1].max(most);
        }
    }

    fn note_motion(&mut self, row: &Row, partial: &PartialLimits) {
        let Some(speed) = row.road_speed else { return };
        let motion = self.motion.gather();
        let moving_from = partial.moving_from();
        motion.move_on(speed, row.seconds, moving_from);
        if speed <= moving_from[0] {
            return;
        }
        let Some(yaw) = row.yaw_rate else { return };
        let turning = self.turning.gather();
        turning.with_yaw_s += row.seconds;
        turning
            .turned
            .get_or_insert_with(|| partial.turning())
            .add(row, yaw, speed);
        if !is_in_bend(row, partial) {
            return;
        }
        let turned = yaw.abs() * row.seconds;
        if is_open(row) {
            turning.turned_open_all_rad += turned;
            if let Some(openness) = row.openness {
                turning.openness.add(openness, row.seconds);
            }
            if row.work_j.is_some() {
                turning.turned_open_rad += turned;
            }
        }
    }
}

impl Part for Sums {
    fn rows(&mut self, passage: &Passage) {
        for (row, judgement) in passage.rows.iter().zip(passage.judgements) {
            self.add(row, passage.partial, judgement);
        }
    }
}

/// Whether the clutch is open, or nothing says that it is not.
pub fn is_open(row: &Row) -> bool {
    row.command.is_none_or(|command| command < OPEN_BELOW)
}

/// Heat rates of the moment at a wheel sample, W, 0 where the slip is none but noise: the least,
/// the likely and the most; `None` between wheel samples and where the torque is not known.
pub fn sharp_rate_w(row: &Row, slip: &Slip) -> Option<[f64; 3]> {
    let rates = row.heat_rate_sharp_w.filter(|_| row.is_wheel_sample)?;
    Some(if is_heat(row, slip) { rates } else { [0.0; 3] })
}

/// Whether the slip of the moment is heat and no noise.
pub fn is_heat(row: &Row, slip: &Slip) -> bool {
    // A burst shorter than the mean stands above the noise by itself.
    let noise = SIGNIFICANT_SDS * row.slip_sd.unwrap_or(slip.usual_sd_rad_per_s);
    is_slipping(row, slip) || row.slip_sharp.abs() > noise
}

/// Whether the mean slip stands above the noise: a rate is only then heat and not noise.
pub fn is_slipping(row: &Row, slip: &Slip) -> bool {
    let sd = row.slip_sd.unwrap_or(slip.usual_sd_rad_per_s);
    row.slip_mean.abs() > row.mean_noise(sd)
}
