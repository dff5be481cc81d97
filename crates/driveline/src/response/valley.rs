//! Looks for dead time and lags at which a lag leaves least of what was read.
//!
//! In: the course of the command and readings of the response. Out: where a search begins, and
//! the ground of a valley with what the readings say there: gain and offset at their best, what
//! is left, and its slopes. Which valley is taken and what it is worth `fit` decides.

use crate::linear::{Square, factor, inverse, solve};
use crate::response::Reading;
use crate::response::edges::Direction;
use crate::response::first_order::{Answer, respond};

/// Range in which dead time and lag are looked for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SearchRange {
    /// Longest dead time, s; the shortest is 0.
    pub longest_dead_time_s: f64,
    /// Shortest lag, s, above 0.
    pub shortest_lag_s: f64,
    /// Longest lag, s.
    pub longest_lag_s: f64,
}

/// Dead times and lags of the coarse search, and the readings it looks at. Source: none;
/// lags 2.3 times apart and dead times spaced closer near 0 leave no other valley between.
const N_DEAD_TIMES: usize = 16;
const N_LAGS: usize = 8;
const COARSE_READINGS: usize = 48;

/// A response that moves less than this share of its size stands still but for rounding.
pub(super) const ROUNDING: f64 = 1e-9;

/// A reading is on the way while the answer is this share of its range short of what was
/// asked, and dead time and lag are told apart by so many such readings. Source: none,
/// engineering guess for the share; two unknowns need two.
const ON_THE_WAY: f64 = 0.05;
/// See [`ON_THE_WAY`].
pub(super) const LEAST_ON_THE_WAY: usize = 2;

/// Valleys followed to their ground.
const N_STARTS: usize = 3;

/// Steps of the fine search, and the step in s at which it ends.
const MOST_STEPS: usize = 60;
const SETTLED_S: f64 = 1e-9;

/// What is free to move: each row moves dead time, own lag and the lag of the way back.
pub(super) type Free<const N: usize> = [[f64; 3]; N];
pub(super) const ONE_LAG: Free<2> = [[1.0, 0.0, 0.0], [0.0, 1.0, 1.0]];
pub(super) const TWO_LAGS: Free<3> = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];

#[derive(Clone, Copy, Debug)]
pub(super) struct Point {
    pub dead_time_s: f64,
    // In the direction asked for, and back.
    pub lags_s: [f64; 2],
}

pub(super) struct Work<'a> {
    pub course: &'a [Reading],
    // The way of the answer in the direction asked for.
    own_way: usize,
    answers: Vec<Answer>,
}

impl<'a> Work<'a> {
    pub fn new(course: &'a [Reading], direction: Direction, readings: &[Reading]) -> Work<'a> {
        Work {
            course,
            own_way: usize::from(direction == Direction::Release),
            answers: Vec::with_capacity(readings.len()),
        }
    }
}

/// What the readings say at one dead time and lag, gain and offset already at their best.
#[derive(Clone, Copy, Debug)]
pub(super) struct Normal {
    pub gain: f64,
    pub offset: f64,
    pub cost: f64,
    pub answer_range: f64,
    // Products of the slopes of the fit with dead time, own lag and that of the way back, after
    // what gain and offset can take over is removed, with each other and with what is left.
    slopes: Square<3>,
    left: [f64; 3],
    // Readings on the way, and back.
    pub n_on_the_way: [usize; 2],
    // How far short of what was asked the answer is on its way back, at the most.
    pub furthest_back: f64,
}

impl Normal {
    /// The products for what is free to move.
    fn products<const N: usize>(&self, free: &Free<N>) -> (Square<N>, [f64; N]) {
        let dot = |one: &[f64; 3], other: &[f64; 3]| -> f64 {
            one.iter().zip(other).map(|(a, b)| a * b).sum()
        };
        let moved = free.map(|by| self.slopes.map(|row| dot(&row, &by)));
        (
            free.map(|by| moved.map(|moved| dot(&by, &moved))),
            free.map(|by| dot(&by, &self.left)),
        )
    }

    /// Diagonal of the inverse of the products, of dead time and own lag; `None` where the
    /// readings do not tell.
    pub fn inverse_diagonal<const N: usize>(&self, free: &Free<N>) -> [Option<f64>; 2] {
        let lower = (self.n_on_the_way.iter().sum::<usize>() >= LEAST_ON_THE_WAY)
            .then(|| factor(&self.products(free).0, ROUNDING))
            .flatten();
        let inverse = lower.map(|lower| inverse(&lower));
        [0, 1].map(|index| inverse.map(|inverse| inverse[index][index]))
    }
}

/// Gain and offset at their best for one dead time and lag, and what is left then. The search
/// compares points by that alone.
#[derive(Clone, Copy, Debug)]
struct Level {
    answer_mean: f64,
    answer_square: f64,
    answer_range: f64,
    reading_mean: f64,
    gain: f64,
    cost: f64,
}

impl Level {
    /// How far an answer lies from their mean, and what is left of its reading.
    #[inline]
    fn of(&self, answer: &Answer, reading: &Reading) -> (f64, f64) {
        let x = answer.value - self.answer_mean;
        (x, reading.value - self.reading_mean - self.gain * x)
    }
}

/// The level at a point; `None` where the answer stands still or the response goes against it.
fn level(work: &mut Work, readings: &[Reading], point: Point) -> Option<Level> {
    work.answers.clear();
    let [own, back] = [work.own_way, 1 - work.own_way];
    respond(
        work.course,
        point.dead_time_s,
        [point.lags_s[own], point.lags_s[back]],
        readings.iter().map(|reading| reading.time_s),
        &mut work.answers,
    );
    let both = || work.answers.iter().zip(readings);
    let n = readings.len() as f64;
    let (mut answer_sum, mut reading_sum) = (0.0, 0.0);
    for (answer, reading) in both() {
        answer_sum += answer.value;
        reading_sum += reading.value;
    }
    let (answer_mean, reading_mean) = (answer_sum / n, reading_sum / n);
    let (mut xx, mut xy) = (0.0, 0.0);
    let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
    for (answer, reading) in both() {
        let x = answer.value - answer_mean;
        xx += x * x;
        xy += x * (reading.value - reading_mean);
        low = low.min(answer.value);
        high = high.max(answer.value);
    }
    if xx <= 0.0 || xy <= 0.0 {
        return None;
    }
    let mut level = Level {
        answer_mean,
        answer_square: xx,
        answer_range: high - low,
        reading_mean,
        gain: xy / xx,
        cost: 0.0,
    };
    let mut cost = 0.0;
    for (answer, reading) in both() {
        let (_, left) = level.of(answer, reading);
        cost += left * left;
    }
    level.cost = cost;
    Some(level)
}

/// What the answers that gave a level say beside it.
fn normal(work: &Work, readings: &[Reading], point: Point, level: &Level) -> Normal {
    let answers = &work.answers;
    let [own, back] = [work.own_way, 1 - work.own_way];
    let n = readings.len() as f64;
    let plain = |answer: &Answer| [answer.by_dead_time, answer.by_lag[own], answer.by_lag[back]];
    let mut sums = [0.0; 3];
    for answer in answers {
        for (sum, slope) in sums.iter_mut().zip(plain(answer)) {
            *sum += slope;
        }
    }
    let means = sums.map(|sum| sum / n);
    let slopes_of = |answer: &Answer| {
        let plain = plain(answer);
        [0, 1, 2].map(|index| plain[index] - means[index])
    };
    let mut shared = [0.0; 3];
    for answer in answers {
        let x = answer.value - level.answer_mean;
        for (sum, slope) in shared.iter_mut().zip(slopes_of(answer)) {
            *sum += x * slope;
        }
    }
    let per_x = shared.map(|shared| shared / level.answer_square);
    let mut sums = Normal {
        gain: level.gain,
        offset: level.reading_mean - level.gain * level.answer_mean,
        cost: level.cost,
        answer_range: level.answer_range,
        slopes: [[0.0; 3]; 3],
        left: [0.0; 3],
        n_on_the_way: [0; 2],
        furthest_back: 0.0,
    };
    for (answer, reading) in answers.iter().zip(readings) {
        let (x, left) = level.of(answer, reading);
        let plain = slopes_of(answer);
        let slopes = [0, 1, 2].map(|index| level.gain * (plain[index] - per_x[index] * x));
        for row in 0..3 {
            for column in 0..=row {
                sums.slopes[row][column] += slopes[row] * slopes[column];
            }
            sums.left[row] += slopes[row] * left;
        }
        // What it is short by, from dx/dθ = (x − u)/τ.
        let is_back = usize::from(answer.way != own);
        let short = (answer.by_dead_time * point.lags_s[is_back]).abs();
        sums.n_on_the_way[is_back] += usize::from(short > ON_THE_WAY * level.answer_range);
        if is_back == 1 {
            sums.furthest_back = sums.furthest_back.max(short);
        }
    }
    for row in 0..3 {
        for column in 0..row {
            sums.slopes[column][row] = sums.slopes[row][column];
        }
    }
    sums
}

/// The lowest points of a coarse search, lowest first.
pub(super) fn starts(work: &mut Work, readings: &[Reading], range: SearchRange) -> Vec<Point> {
    let thinned: Vec<Reading> = readings
        .iter()
        .copied()
        .step_by(readings.len().div_ceil(COARSE_READINGS))
        .collect();
    let mut found: Vec<(f64, usize, usize, Point)> = Vec::new();
    let ratio = range.longest_lag_s / range.shortest_lag_s;
    for row in 0..N_LAGS {
        let lag_s = range.shortest_lag_s * ratio.powf(row as f64 / (N_LAGS - 1) as f64);
        for column in 0..N_DEAD_TIMES {
            let share = column as f64 / (N_DEAD_TIMES - 1) as f64;
            let point = Point {
                dead_time_s: range.longest_dead_time_s * share * share,
                lags_s: [lag_s; 2],
            };
            if let Some(level) = level(work, &thinned, point) {
                found.push((level.cost, row, column, point));
            }
        }
    }
    found.sort_by(|one, other| one.0.total_cmp(&other.0));
    let mut kept: Vec<(f64, usize, usize, Point)> = Vec::new();
    for candidate in found {
        // Neighbours lie in the same valley.
        let is_new = kept
            .iter()
            .all(|kept| kept.1.abs_diff(candidate.1) > 1 || kept.2.abs_diff(candidate.2) > 1);
        if is_new {
            kept.push(candidate);
        }
        if kept.len() == N_STARTS {
            break;
        }
    }
    kept.into_iter().map(|(.., point)| point).collect()
}

/// A point with what the readings say there; `None` where they say nothing.
pub(super) fn at(work: &mut Work, readings: &[Reading], point: Point) -> Option<(Point, Normal)> {
    let level = level(work, readings, point)?;
    Some((point, normal(work, readings, point, &level)))
}

/// Gauss-Newton with damping (Levenberg, Marquardt, from memory) down to the ground. Lags are
/// stepped by their logarithm, which keeps them positive and the steps of one size.
pub(super) fn descend<const N: usize>(
    work: &mut Work,
    readings: &[Reading],
    range: SearchRange,
    (mut point, mut here): (Point, Normal),
    free: &Free<N>,
) -> (Point, Normal) {
    let mut damping = 1e-3;
    for _ in 0..MOST_STEPS {
        // By dead time in lags and by the logarithm of the lags: all without unit.
        let [own, back] = point.lags_s;
        let (mut damped, left) =
            here.products(&free.map(|by| [by[0] * own, by[1] * own, by[2] * back]));
        let floor = 1e-12 * (0..N).map(|index| damped[index][index]).sum::<f64>();
        for (index, row) in damped.iter_mut().enumerate() {
            row[index] = row[index] * (1.0 + damping) + floor;
        }
        let Some(lower) = factor(&damped, 0.0) else {
            return (point, here);
        };
        let step = solve(&lower, &left);
        let by = |index: usize| -> f64 { (0..N).map(|row| free[row][index] * step[row]).sum() };
        let lag_s = |lag_s: f64, by: f64| {
            (lag_s * by.clamp(-1.0, 1.0).exp()).clamp(range.shortest_lag_s, range.longest_lag_s)
        };
        let next = Point {
            dead_time_s: (point.dead_time_s + own * by(0)).clamp(0.0, range.longest_dead_time_s),
            lags_s: [lag_s(own, by(1)), lag_s(back, by(2))],
        };
        let moved = (next.dead_time_s - point.dead_time_s).abs()
            + (next.lags_s[0] - own).abs()
            + (next.lags_s[1] - back).abs();
        match level(work, readings, next) {
            Some(there) if there.cost <= here.cost => {
                point = next;
                here = normal(work, readings, point, &there);
                damping = (damping * 0.2).max(1e-9);
            }
            _ => damping *= 5.0,
        }
        if moved < SETTLED_S || damping > 1e9 {
            break;
        }
    }
    (point, here)
}
