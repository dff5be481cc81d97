//! Finds the edges of the command: moves quick enough to time an answer by.
//!
//! In: samples of the command in order of time, and breaks. Out: each [`Edge`] once it is
//! over. A move that takes longer than [`LONGEST_MOVE_S`] ends there. What a silence hides
//! is no edge.

use std::collections::VecDeque;

use halfshaft_model::Time;
use halfshaft_model::constants::NS_PER_S;

/// An edge changes the command at least this much within [`WITHIN_S`]. Source: none,
/// engineering guess; a response span of 0.15 stands above 1 % of noise.
pub const LEAST_CHANGE: f64 = 0.15;
/// An edge that changes it this much within [`WITHIN_S`] is a step, which transition times
/// are defined by. Engineering default.
pub const STEP_CHANGE: f64 = 0.5;
/// See [`LEAST_CHANGE`]. Engineering default.
pub const WITHIN_S: f64 = 0.2;
const WITHIN_NS: i64 = (WITHIN_S * NS_PER_S as f64) as i64;

/// A move is over when it turns back by this much, or gains less than [`STALLS_BELOW`] in
/// [`WITHIN_S`], or after [`LONGEST_MOVE_S`]. Source: none, engineering guess.
const TURNS_BACK: f64 = 0.05;
/// See [`TURNS_BACK`].
const STALLS_BELOW: f64 = 0.02;
/// See [`TURNS_BACK`].
pub const LONGEST_MOVE_S: f64 = 1.0;

/// Which way the command moves.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Direction {
    /// Up: more torque is asked for.
    Engage,
    /// Down.
    Release,
}

impl Direction {
    fn sign(self) -> f64 {
        match self {
            Direction::Engage => 1.0,
            Direction::Release => -1.0,
        }
    }
}

/// A quick move of the command. A change lies midway between the last old and the first new
/// sample.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Edge {
    /// Which way.
    pub direction: Direction,
    /// First change.
    pub began: Time,
    /// When it had gone half its way.
    pub half: Time,
    /// Last change.
    pub ended: Time,
    /// First sample with a new value.
    pub first_new: Time,
    /// Command before.
    pub from: f64,
    /// Command after.
    pub to: f64,
    /// Largest change within [`WITHIN_S`].
    pub quickest: f64,
    /// Number of the unbroken run of the command it lies in.
    pub run: u32,
}

impl Edge {
    /// Whether it is a step, by which transition times are defined.
    pub fn is_step(&self) -> bool {
        self.quickest >= STEP_CHANGE
    }
}

#[derive(Clone, Copy, Debug)]
struct Sample {
    time: Time,
    value: f64,
}

#[derive(Clone, Debug)]
struct Move {
    direction: Direction,
    from: Sample,
    // Levels reached, each with the time of its change: midway to the sample before.
    levels: Vec<(Time, f64)>,
    first_new: Time,
    // The furthest sample, and the one from which a stall is counted.
    furthest: Sample,
    progress: Sample,
    quickest: f64,
}

/// Watches the command for edges.
#[derive(Clone, Debug, Default)]
pub struct EdgeWatch {
    run: u32,
    // What the command was in the last [`WITHIN_S`], oldest first; the oldest may be older
    // and still held.
    recent: VecDeque<Sample>,
    moving: Option<Move>,
    // No move begins with the samples so far; and no recent one lies beyond these two.
    has_looked: bool,
    lowest: f64,
    highest: f64,
    finished: Vec<Edge>,
}

fn midway(one: Time, other: Time) -> Time {
    Time(one.0 + (other.0 - one.0) / 2)
}

impl EdgeWatch {
    /// Takes a sample of run `run`; another number than before is a break.
    pub fn add(&mut self, time: Time, value: f64, run: u32) {
        if run != self.run {
            self.interrupt();
            self.run = run;
        }
        let sample = Sample { time, value };
        let before = self.recent.back().copied();
        self.recent.push_back(sample);
        while self
            .recent
            .get(1)
            .is_some_and(|second| time.0 - second.time.0 >= WITHIN_NS)
        {
            self.recent.pop_front();
        }
        if let (Some(moving), Some(before)) = (&mut self.moving, before) {
            if moving.goes_on(before, sample, &self.recent) {
                return;
            }
            self.end_move();
        } else if self.has_looked && before.is_some_and(|before| before.value == value) {
            // What does not move begins no move that did not begin before.
            return;
        }
        self.begin();
        self.has_looked = self.moving.is_none();
    }

    /// A gap, a cut or the end of the log: a move going on ends with what was seen.
    pub fn interrupt(&mut self) {
        self.end_move();
        self.recent.clear();
        self.has_looked = false;
    }

    /// When the move going on now began.
    pub fn moving_since(&self) -> Option<(Time, Direction)> {
        self.moving
            .as_ref()
            .map(|moving| (moving.levels[0].0, moving.direction))
    }

    /// Edges that have ended since the last call.
    pub fn take_finished(&mut self) -> impl Iterator<Item = Edge> + '_ {
        self.finished.drain(..)
    }

    fn begin(&mut self) {
        let Some(&now) = self.recent.back() else {
            return;
        };
        // Nearly always it has not gone as far from anywhere, whichever way.
        let is_near = |lowest: f64, highest: f64| {
            (now.value - lowest).max(highest - now.value) < LEAST_CHANGE - 1e-9
        };
        if self.has_looked {
            self.lowest = self.lowest.min(now.value);
            self.highest = self.highest.max(now.value);
            if is_near(self.lowest, self.highest) {
                return;
            }
        }
        let values = || self.recent.iter().map(|sample| sample.value);
        self.lowest = values().fold(now.value, f64::min);
        self.highest = values().fold(now.value, f64::max);
        if is_near(self.lowest, self.highest) {
            return;
        }
        for direction in [Direction::Engage, Direction::Release] {
            let sign = direction.sign();
            // The latest of the lowest: the move begins where the command last was there.
            let from = self
                .recent
                .iter()
                .enumerate()
                .min_by(|(one, a), (other, b)| {
                    (sign * a.value)
                        .total_cmp(&(sign * b.value))
                        .then(other.cmp(one))
                });
            let Some((index, &from)) = from else {
                return;
            };
            let change = sign * (now.value - from.value);
            if change < LEAST_CHANGE - 1e-9 {
                continue;
            }
            let mut moving = Move {
                direction,
                from,
                levels: Vec::new(),
                first_new: self.recent[index + 1].time,
                furthest: from,
                progress: from,
                quickest: change,
            };
            for next in index + 1..self.recent.len() {
                moving.reach(self.recent[next - 1], self.recent[next]);
            }
            self.moving = Some(moving);
            return;
        }
    }

    fn end_move(&mut self) {
        let Some(moving) = self.moving.take() else {
            return;
        };
        // The next move is measured from where this one ended.
        while self
            .recent
            .front()
            .is_some_and(|sample| sample.time < moving.furthest.time)
        {
            self.recent.pop_front();
        }
        self.finished.push(moving.edge(self.run));
    }
}

impl Move {
    fn reach(&mut self, before: Sample, sample: Sample) {
        let sign = self.direction.sign();
        if sign * (sample.value - self.furthest.value) > 0.0 {
            self.levels
                .push((midway(before.time, sample.time), sample.value));
            self.furthest = sample;
        }
        if sign * (sample.value - self.progress.value) >= STALLS_BELOW {
            self.progress = sample;
        }
    }

    /// Takes the next sample, or says that the move was over before it.
    fn goes_on(&mut self, before: Sample, sample: Sample, recent: &VecDeque<Sample>) -> bool {
        let sign = self.direction.sign();
        let turns_back = sign * (self.furthest.value - sample.value) >= TURNS_BACK;
        let is_long = sample.time.since(self.first_new) > LONGEST_MOVE_S;
        let gains = sign * (sample.value - self.progress.value) >= STALLS_BELOW;
        let stalls = !gains && sample.time.since(self.progress.time) >= WITHIN_S;
        if turns_back || is_long || stalls {
            return false;
        }
        self.reach(before, sample);
        for earlier in recent {
            self.quickest = self.quickest.max(sign * (sample.value - earlier.value));
        }
        true
    }

    fn edge(self, run: u32) -> Edge {
        let half = 0.5 * (self.from.value + self.furthest.value);
        let sign = self.direction.sign();
        let (began, ended) = (self.levels[0].0, self.levels[self.levels.len() - 1].0);
        let passes = self
            .levels
            .iter()
            .position(|&(_, level)| sign * (level - half) >= 0.0)
            .unwrap_or(0);
        let half = self.levels[passes].0;
        Edge {
            direction: self.direction,
            began,
            half,
            ended,
            first_new: self.first_new,
            from: self.from.value,
            to: self.furthest.value,
            quickest: self.quickest,
            run,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Edges of a command sampled every 20 ms, in hundredths, as `level x count` words.
    fn edges(words: &str) -> Vec<(Direction, f64, f64, f64, bool)> {
        let mut watch = EdgeWatch::default();
        let mut step = 0;
        for word in words.split_whitespace() {
            let (level, count) = word.split_once('x').unwrap();
            for _ in 0..count.parse::<u32>().unwrap() {
                let value = level.parse::<f64>().unwrap() / 100.0;
                watch.add(Time(step * 20_000_000), value, 1);
                step += 1;
            }
        }
        watch.interrupt();
        watch
            .take_finished()
            .map(|edge| {
                let half_s = edge.half.seconds();
                (edge.direction, half_s, edge.from, edge.to, edge.is_step())
            })
            .collect()
    }

    use Direction::{Engage, Release};

    #[test]
    fn steps_and_back_off() {
        assert_eq!(
            edges("0x10 80x10 0x20"),
            [
                (Engage, 0.19, 0.0, 0.8, true),
                (Release, 0.39, 0.8, 0.0, true)
            ]
        );
        // Taken back after 60 ms: two edges all the same.
        assert_eq!(
            edges("0x10 80x3 30x20"),
            [
                (Engage, 0.19, 0.0, 0.8, true),
                (Release, 0.25, 0.8, 0.3, true)
            ]
        );
        // To and fro quicker than a stall is noticed: each turn is an edge.
        assert_eq!(
            edges("0x10 80x3 30x3 90x20"),
            [
                (Engage, 0.19, 0.0, 0.8, true),
                (Release, 0.25, 0.8, 0.3, true),
                (Engage, 0.31, 0.3, 0.9, true)
            ]
        );
        // Small moves are no edges, and a step of 0.3 is no step of transition time.
        assert_eq!(edges("0x10 10x10 20x20"), []);
        assert_eq!(edges("0x10 30x20"), [(Engage, 0.19, 0.0, 0.3, false)]);
    }

    #[test]
    fn ramps() {
        // 0.1 every 20 ms: half at 0.4, midway to it.
        assert_eq!(
            edges("0x10 10x1 20x1 30x1 40x1 50x1 60x1 70x1 80x20"),
            [(Engage, 0.25, 0.0, 0.8, true)]
        );
        // A dither of a few hundredths on a held level does not end or begin anything.
        assert_eq!(
            edges("0x10 50x1 52x1 50x1 52x1 50x20"),
            [(Engage, 0.19, 0.0, 0.52, true)]
        );
        // 0.01 every 20 ms, 0.1 in 0.2 s: too slow.
        let slow: Vec<String> = (0..90).map(|level| format!("{level}x1")).collect();
        assert_eq!(edges(&slow.join(" ")), []);
    }

    #[test]
    fn a_break_hides_an_edge() {
        let mut watch = EdgeWatch::default();
        watch.add(Time(0), 0.0, 1);
        watch.add(Time(20_000_000), 0.0, 1);
        watch.add(Time(40_000_000), 0.9, 2);
        watch.add(Time(60_000_000), 0.9, 2);
        watch.interrupt();
        assert_eq!(watch.take_finished().count(), 0);
    }
}
