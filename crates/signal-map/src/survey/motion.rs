//! How the channels of motion fit each other: scale, stuck sensors, signs.
//!
//! In: the columns of wheels, road speed, yaw, steering and accelerations. Inside, one
//! mean a second of each; from those the ratios of speeds and, for every witness of
//! turning, its correlation with the yaw rate. Nothing is kept but sums.

use std::collections::VecDeque;

use halfshaft_model::channel::name;
use halfshaft_model::{Block, Time};

use super::limits;
use super::parts::Parts;
use crate::decode::period::LogMedian;
use crate::map::Map;

/// Channels of motion; the four wheels come first.
pub(crate) const ROLES: [&str; 8] = [
    name::WHEEL_REAR_LEFT,
    name::WHEEL_REAR_RIGHT,
    name::WHEEL_FRONT_LEFT,
    name::WHEEL_FRONT_RIGHT,
    name::SPEED_VEHICLE,
    name::YAW_RATE,
    name::STEERING_ANGLE,
    name::ACCELERATION_LATERAL,
];
pub(crate) const N: usize = ROLES.len();
pub(crate) const N_WHEELS: usize = 4;
pub(crate) const SPEED: usize = 4;
pub(crate) const YAW: usize = 5;
pub(crate) const STEERING: usize = 6;
pub(crate) const LATERAL: usize = 7;

/// Entries may be written out of order by this much, s: a little more than the clock of the
/// timeline lets pass.
const DISORDER_S: f64 = 0.06;

const WINDOW_NS: i64 = halfshaft_model::constants::NS_PER_S;

/// What turns with the car, each compared with the yaw rate.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Witness {
    /// Right minus left of the rear wheels, m/s.
    Rear,
    /// Right minus left of the front wheels, m/s.
    Front,
    /// Steering wheel times road speed.
    Steering,
    /// Lateral acceleration over road speed.
    Lateral,
}

pub(crate) const WITNESSES: [Witness; 4] = [
    Witness::Rear,
    Witness::Front,
    Witness::Steering,
    Witness::Lateral,
];

/// All of it, so far.
#[derive(Clone, Debug, Default)]
pub(crate) struct Motion {
    // Column of each role.
    columns: [Option<usize>; N],
    pub(crate) radius_m: f64,
    pub(crate) steps_m_per_s: [f64; N],
    // Samples and cuts before which another one may still come, and how late that may be, s.
    waiting: Vec<(Time, usize, Option<f64>)>,
    cuts: VecDeque<Time>,
    late_s: f64,
    // Part of the log that was looked at last.
    part: i64,
    window: Option<i64>,
    sums: [(f64, u32); N],
    latest: [Option<f64>; N],
    /// Each wheel over the median of the other ones.
    pub(crate) wheel_ratios: [LogMedian; N_WHEELS],
    /// The median wheel at the tyre over the road speed.
    pub(crate) speed_ratio: LogMedian,
    /// Each witness against the yaw rate.
    pub(crate) turning: [Line; WITNESSES.len()],
    runs: [Option<Run>; N],
    pub(crate) stuck: [Stuck; N],
}

/// A value that has not changed since.
#[derive(Clone, Copy, Debug)]
struct Run {
    value: f64,
    since: Time,
    until: Time,
    // Range of what each of the others did meanwhile, m/s.
    others: [Option<(f64, f64)>; SPEED + 1],
}

impl Run {
    fn watch(&mut self, latest: &[Option<f64>; N]) {
        for (range, now) in self.others.iter_mut().zip(latest) {
            if let Some(now) = *now {
                let (low, high) = range.unwrap_or((now, now));
                *range = Some((low.min(now), high.max(now)));
            }
        }
    }

    /// By how much the others moved, m/s, each of them, or all but one of many, which may be stuck
    /// too. Spinning wheels of one axle move alone; and whether there is but one other, a wheel.
    fn others_moved(&self, role: usize) -> (f64, bool) {
        let mut moved: [f64; SPEED + 1] = [f64::INFINITY; SPEED + 1];
        let mut n = 0;
        let others = self
            .others
            .iter()
            .enumerate()
            .filter(|(other, _)| *other != role);
        let mut is_wheel = false;
        for (other, (low, high)) in others.filter_map(|(other, range)| Some((other, (*range)?))) {
            is_wheel = other < N_WHEELS;
            moved[n] = high - low;
            n += 1;
        }
        moved[..n].sort_unstable_by(f64::total_cmp);
        let by = match n {
            0 => 0.0,
            1..=3 => moved[0],
            _ => moved[1],
        };
        (by, n == 1 && is_wheel)
    }

    /// The lowest speed by the others, m/s.
    fn slowest(&self, role: usize) -> f64 {
        let others = self
            .others
            .iter()
            .enumerate()
            .filter(|(other, _)| *other != role);
        median(others.filter_map(|(_, range)| Some((*range)?.0))).unwrap_or(0.0)
    }
}

/// How often a channel was stuck.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Stuck {
    pub(crate) n: u64,
    pub(crate) seconds: f64,
    /// Start, length in s and movement of the others in m/s of the longest time.
    pub(crate) longest: Option<(Time, f64, f64)>,
}

impl Motion {
    pub(crate) fn new(map: &Map) -> Motion {
        let columns = ROLES.map(|role| map.channel(role));
        let radius_m = map
            .vehicle
            .rolling_radius_m
            .map_or(limits::NOMINAL_RADIUS_M, |radius| radius.value);
        let steps_m_per_s = std::array::from_fn(|role| {
            let step = columns[role].and_then(|column| map.channels[column].step);
            at_tyre(role, step.unwrap_or(0.0), radius_m).abs()
        });
        Motion {
            columns,
            radius_m,
            steps_m_per_s,
            late_s: columns
                .iter()
                .flatten()
                .map(|column| map.channels[*column].late_by_s)
                .fold(DISORDER_S, |late_s, by_s| late_s.max(DISORDER_S + by_s)),
            ..Motion::default()
        }
    }

    /// Takes the columns of a block; all channels together pass in order of time, whichever
    /// block a sample came in.
    pub(crate) fn add(&mut self, block: &Block, parts: Parts) {
        for (role, column) in self.columns.iter().enumerate() {
            let Some(column) = column.and_then(|column| block.columns.get(column)) else {
                continue;
            };
            let n = column.len();
            if n == 0 || !parts.has_some(column.time(0), column.time(n - 1)) {
                continue;
            }
            let samples = column.iter().map(|(time, value)| (time, role, value));
            self.waiting
                .extend(samples.filter(|(time, ..)| parts.of_time(*time).is_some()));
        }
        self.cuts.extend(&block.cuts);
        self.take_until(block.until.plus(-self.late_s), parts);
    }

    fn take_until(&mut self, until: Time, parts: Parts) {
        let mut waiting = std::mem::take(&mut self.waiting);
        waiting.sort_by_key(|&(time, role, _)| (time, role));
        let n_known = waiting.partition_point(|(time, ..)| *time < until);
        for (time, role, value) in waiting.drain(..n_known) {
            let mut is_cut = false;
            while self.cuts.pop_front_if(|cut| *cut <= time).is_some() {
                is_cut = true;
            }
            let part = parts.of_time(time).unwrap_or(self.part);
            is_cut |= std::mem::replace(&mut self.part, part) != part;
            if is_cut {
                self.cut();
            }
            self.sample(role, time, value);
        }
        self.waiting = waiting;
    }

    fn cut(&mut self) {
        self.close_window();
        self.window = None;
        self.latest = [None; N];
        for role in 0..N {
            self.close_run(role);
        }
    }

    /// Closes what is still open.
    pub(crate) fn finish(&mut self, parts: Parts) {
        self.take_until(Time(i64::MAX), parts);
        self.cut();
    }

    fn sample(&mut self, role: usize, time: Time, value: Option<f64>) {
        let window = time.0.div_euclid(WINDOW_NS);
        if self.window != Some(window) {
            self.close_window();
            self.window = Some(window);
        }
        // Everything in m/s at the tyre, so that wheels and road speed compare.
        let value = value.map(|value| at_tyre(role, value, self.radius_m));
        self.latest[role] = value;
        let Some(value) = value else {
            self.close_run(role);
            return;
        };
        self.sums[role].0 += value;
        self.sums[role].1 += 1;
        match &mut self.runs[role] {
            Some(run) if run.value == value => {
                run.until = time;
                run.watch(&self.latest);
            }
            _ => {
                self.close_run(role);
                let mut run = Run {
                    value,
                    since: time,
                    until: time,
                    others: [None; SPEED + 1],
                };
                run.watch(&self.latest);
                self.runs[role] = Some(run);
            }
        }
    }

    fn close_run(&mut self, role: usize) {
        let Some(run) = self.runs[role].take() else {
            return;
        };
        let seconds = run.until.since(run.since);
        let (low, (moved, is_of_one)) = (run.slowest(role), run.others_moved(role));
        let is_stuck = match role {
            // Below walking pace many sensors read 0 until the wheel is quick enough for them.
            0..=SPEED if run.value == 0.0 && low < limits::READS_FROM_M_PER_S => false,
            0..=SPEED => {
                let enough = limits::STUCK_MOVE_M_PER_S
                    .max(limits::STUCK_MOVE_STEPS * self.steps_m_per_s[role]);
                let least_s = match is_of_one {
                    true => limits::STUCK_BESIDE_ONE_S,
                    false => limits::STUCK_S,
                };
                seconds > least_s && moved > enough
            }
            YAW | LATERAL => seconds > limits::STUCK_TREMBLING_S && low > limits::MOVING_M_PER_S,
            _ => false,
        };
        if !is_stuck {
            return;
        }
        let stuck = &mut self.stuck[role];
        stuck.n += 1;
        stuck.seconds += seconds;
        if stuck
            .longest
            .is_none_or(|(_, longest, _)| seconds > longest)
        {
            stuck.longest = Some((run.since, seconds, moved));
        }
    }

    fn close_window(&mut self) {
        let means = self
            .sums
            .map(|(sum, n)| (n > 0).then(|| sum / f64::from(n)));
        self.sums = [(0.0, 0); N];
        for (wheel, ratios) in self.wheel_ratios.iter_mut().enumerate() {
            let others = (0..N_WHEELS)
                .filter(|other| *other != wheel)
                .filter_map(|other| means[other]);
            ratios.add(ratio_in_motion(means[wheel], median(others)));
        }
        let wheels = median(means[..N_WHEELS].iter().flatten().copied());
        self.speed_ratio.add(ratio_in_motion(wheels, means[SPEED]));
        let (Some(yaw), Some(speed)) = (means[YAW], means[SPEED].or(wheels)) else {
            return;
        };
        if speed <= limits::MOVING_M_PER_S {
            return;
        }
        let difference = |left: usize| Some(means[left + 1]? - means[left]?);
        // A car that slides or spins a wheel turns otherwise than its wheels and its steering say.
        let (tightest_m, grip) = limits::TIGHTEST_BEND;
        let yaw_most = (speed / tightest_m).min(grip / speed);
        let spins = |left: usize| {
            difference(left).is_some_and(|by| by.abs() > limits::WIDEST_TRACK_M * yaw_most)
        };
        let axle = |left: usize| Some(0.5 * (means[left]? + means[left + 1]?));
        let road = means[SPEED].or(axle(2));
        let runs_ahead = axle(0)
            .zip(road)
            .is_some_and(|(rear, road)| rear > (1.0 + limits::SPINS_FROM) * road);
        if runs_ahead || spins(0) || spins(2) {
            return;
        }
        for (witness, line) in WITNESSES.iter().zip(&mut self.turning) {
            let turning = match witness {
                Witness::Rear => difference(0),
                Witness::Front => difference(2),
                Witness::Steering => means[STEERING].map(|angle| angle * speed),
                Witness::Lateral => means[LATERAL].map(|acceleration| acceleration / speed),
            };
            if let Some(turning) = turning {
                line.add(yaw, turning);
            }
        }
    }
}

/// A wheel's speed in m/s at the tyre; what is no wheel as it is.
fn at_tyre(role: usize, value: f64, radius_m: f64) -> f64 {
    if role < N_WHEELS {
        value * radius_m
    } else {
        value
    }
}

/// One speed over another; NaN, which no median counts, unless both are there and the car moves.
fn ratio_in_motion(speed: Option<f64>, other: Option<f64>) -> f64 {
    match (speed, other) {
        (Some(speed), Some(other)) if speed.abs().max(other.abs()) > limits::MOVING_M_PER_S => {
            speed / other
        }
        _ => f64::NAN,
    }
}

/// The middle one; the mean of the two in the middle of an even number. At most eight.
fn median(values: impl Iterator<Item = f64>) -> Option<f64> {
    let mut sorted = [0.0; N];
    let mut n = 0;
    for (place, value) in sorted.iter_mut().zip(values) {
        *place = value;
        n += 1;
    }
    let sorted = &mut sorted[..n];
    sorted.sort_unstable_by(f64::total_cmp);
    match n {
        0 => None,
        _ => Some((sorted[(n - 1) / 2] + sorted[n / 2]) / 2.0),
    }
}

/// Sums of a straight line through points, by Welford's updates.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Line {
    pub(crate) n: u64,
    mean_x: f64,
    mean_y: f64,
    xx: f64,
    yy: f64,
    xy: f64,
}

impl Line {
    pub(crate) fn add(&mut self, x: f64, y: f64) {
        self.n += 1;
        let n = self.n as f64;
        let from_x = x - self.mean_x;
        let from_y = y - self.mean_y;
        self.mean_x += from_x / n;
        self.mean_y += from_y / n;
        self.xx += from_x * (x - self.mean_x);
        self.yy += from_y * (y - self.mean_y);
        self.xy += from_x * (y - self.mean_y);
    }

    /// y per x.
    pub(crate) fn slope(&self) -> Option<f64> {
        (self.xx > 0.0).then(|| self.xy / self.xx)
    }

    /// How well they go together, −1 to 1.
    pub(crate) fn correlation(&self) -> Option<f64> {
        (self.xx > 0.0 && self.yy > 0.0).then(|| self.xy / (self.xx * self.yy).sqrt())
    }

    pub(crate) fn sd_x(&self) -> f64 {
        if self.n > 1 {
            (self.xx / (self.n - 1) as f64).sqrt()
        } else {
            0.0
        }
    }
}
