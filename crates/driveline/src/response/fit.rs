//! Fits a first-order lag with dead time, driven by the logged command, to a response.
//!
//! In: the course of the command, of whatever shape, and readings of the response at times
//! of their own. Out: gain, offset, dead time and lag of least squares, with standard
//! deviations. It refuses where the readings do not say: too few, a command or a response
//! that stands still, a best value at the end of the range searched. It does not judge how
//! well the shape fits: that is in `residual_sd`.

use crate::linear::{Square, factor, inverse, solve};
use crate::response::Reading;
use crate::response::first_order::{Answer, respond};

/// Readings below which four numbers are not fitted. Source: none, engineering guess: two
/// left over to tell how well it fits.
pub const LEAST_READINGS: usize = 6;

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

/// A fitted lag: response = offset + gain·x, τ·dx/dt = u(t − θ) − x.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fit {
    /// Settled response per command.
    pub gain: f64,
    /// Response at command 0.
    pub offset: f64,
    /// Dead time θ, s.
    pub dead_time_s: f64,
    /// Standard deviation of θ that the scatter of the readings gives, s; the sampling of
    /// the command comes on top. `None` where no reading shows θ: it then lies anywhere
    /// between two readings.
    pub dead_time_sd_s: Option<f64>,
    /// Lag τ, s.
    pub lag_s: f64,
    /// Standard deviation of τ, s; `None` where no reading lies on the way: τ is then
    /// shorter than the readings can show.
    pub lag_sd_s: Option<f64>,
    /// Standard deviation of what the fit leaves, in the unit of the response.
    pub residual_sd: f64,
    /// How far the fitted response moves among the readings, in the unit of the response.
    pub span: f64,
    /// Readings used.
    pub n_readings: usize,
}

impl Fit {
    /// Time from 10 to 90 % of the way, s: τ·ln 9 = 2.197·τ. Derived.
    pub fn rise_time_s(&self) -> f64 {
        9.0_f64.ln() * self.lag_s
    }

    /// Time from the edge to 90 % of the way, s: θ + τ·ln 10 = θ + 2.303·τ. Derived.
    pub fn transition_time_s(&self) -> f64 {
        self.dead_time_s + 10.0_f64.ln() * self.lag_s
    }
}

/// Why there is no fit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoFit {
    /// Fewer than [`LEAST_READINGS`].
    TooFewReadings,
    /// The command does not change, or not in time to be answered.
    CommandStandsStill,
    /// The response stands still or goes against the command.
    DoesNotFollow,
    /// The best dead time or lag lies at the end of the range: what was seen is too short.
    BeyondRange,
}

/// Dead times and lags of the coarse search, and the readings it looks at. Source: none;
/// lags 2.3 times apart and dead times spaced closer near 0 leave no other valley between.
const N_DEAD_TIMES: usize = 16;
const N_LAGS: usize = 8;
const COARSE_READINGS: usize = 48;

/// A response that moves less than this share of its size stands still but for rounding.
const ROUNDING: f64 = 1e-9;

/// A reading is on the way while the answer is this share of its range short of what was
/// asked, and dead time and lag are told apart by so many such readings. Source: none,
/// engineering guess for the share; two unknowns need two.
const ON_THE_WAY: f64 = 0.05;
/// See [`ON_THE_WAY`].
const LEAST_ON_THE_WAY: usize = 2;

/// Valleys followed to their ground.
const N_STARTS: usize = 3;

/// Steps of the fine search, and the step in s at which it ends.
const MOST_STEPS: usize = 60;
const SETTLED_S: f64 = 1e-9;

/// A fit that leaves no more than this share of its span lies in the deepest valley: there
/// is no need to look for another. Source: none, engineering guess.
const SURE_BELOW: f64 = 0.02;

/// The fit of least squares.
pub fn fit(course: &[Reading], readings: &[Reading], range: SearchRange) -> Result<Fit, NoFit> {
    fit_near(course, readings, range, None)
}

/// The same, looking first where another edge of the same actuator had its dead time and
/// lag, s. The ground it ends at is the same, and found ten times sooner.
pub fn fit_near(
    course: &[Reading],
    readings: &[Reading],
    range: SearchRange,
    near: Option<(f64, f64)>,
) -> Result<Fit, NoFit> {
    if readings.len() < LEAST_READINGS {
        return Err(NoFit::TooFewReadings);
    }
    if course.len() < 2 {
        return Err(NoFit::CommandStandsStill);
    }
    let (low, high) = readings.iter().fold(
        (f64::INFINITY, f64::NEG_INFINITY),
        |(low, high), reading| (low.min(reading.value), high.max(reading.value)),
    );
    if high - low <= ROUNDING * high.abs().max(low.abs()) {
        return Err(NoFit::DoesNotFollow);
    }
    let mut work = Work {
        course,
        answers: Vec::with_capacity(readings.len()),
    };
    let near = near.map(|(dead_time_s, lag_s)| Point { dead_time_s, lag_s });
    let mut best = near.and_then(|near| descend(&mut work, readings, range, near));
    best = best.filter(|(_, normal)| {
        let left = (normal.cost / readings.len() as f64).sqrt();
        left <= SURE_BELOW * normal.gain * normal.answer_range
    });
    let starts = match best {
        Some(_) => Vec::new(),
        None => starts(&mut work, readings, range)?,
    };
    for start in starts {
        if let Some(found) = descend(&mut work, readings, range, start)
            && best.is_none_or(|(_, normal)| found.1.cost < normal.cost)
        {
            best = Some(found);
        }
    }
    let (point, normal) = best.ok_or(NoFit::DoesNotFollow)?;
    let is_at_end = point.dead_time_s > 0.999 * range.longest_dead_time_s
        || point.lag_s > 0.999 * range.longest_lag_s;
    if is_at_end {
        return Err(NoFit::BeyondRange);
    }
    let n_free = (readings.len() - 4) as f64;
    let variance = normal.cost / n_free;
    let [dead_time_variance, lag_variance] = normal.inverse_diagonal();
    let sd = |inverse: Option<f64>| inverse.map(|inverse| (variance * inverse).sqrt());
    Ok(Fit {
        gain: normal.gain,
        offset: normal.offset,
        dead_time_s: point.dead_time_s,
        dead_time_sd_s: sd(dead_time_variance),
        lag_s: point.lag_s,
        lag_sd_s: sd(lag_variance),
        residual_sd: variance.sqrt(),
        span: normal.gain * normal.answer_range,
        n_readings: readings.len(),
    })
}

#[derive(Clone, Copy, Debug)]
struct Point {
    dead_time_s: f64,
    lag_s: f64,
}

struct Work<'a> {
    course: &'a [Reading],
    answers: Vec<Answer>,
}

/// What the readings say at one dead time and lag, gain and offset already at their best.
#[derive(Clone, Copy, Debug)]
struct Normal {
    gain: f64,
    offset: f64,
    cost: f64,
    answer_range: f64,
    // Products of the slopes of the fit with dead time and lag, after what gain and offset can
    // take over is removed, with each other and with what is left.
    slopes: Square<2>,
    left: [f64; 2],
    n_on_the_way: usize,
}

impl Normal {
    /// Diagonal of the inverse of the products; `None` where the readings do not tell.
    fn inverse_diagonal(&self) -> [Option<f64>; 2] {
        let lower = (self.n_on_the_way >= LEAST_ON_THE_WAY)
            .then(|| factor(&self.slopes, ROUNDING))
            .flatten();
        let inverse = lower.map(|lower| inverse(&lower));
        [0, 1].map(|index| inverse.map(|inverse| inverse[index][index]))
    }
}

/// Gain and offset at their best for one dead time and lag; `None` where the answer stands
/// still or the response goes against it.
fn normal(work: &mut Work, readings: &[Reading], point: Point) -> Option<Normal> {
    work.answers.clear();
    respond(
        work.course,
        point.dead_time_s,
        point.lag_s,
        readings.iter().map(|reading| reading.time_s),
        &mut work.answers,
    );
    let answers = &work.answers;
    let n = readings.len() as f64;
    let mean = |of: fn(&Answer) -> f64| answers.iter().map(of).sum::<f64>() / n;
    let means = (
        mean(|answer| answer.value),
        mean(|answer| answer.by_dead_time),
        mean(|answer| answer.by_lag),
        readings.iter().map(|reading| reading.value).sum::<f64>() / n,
    );
    let (mut xx, mut xy) = (0.0, 0.0);
    let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
    for (answer, reading) in answers.iter().zip(readings) {
        let x = answer.value - means.0;
        xx += x * x;
        xy += x * (reading.value - means.3);
        low = low.min(answer.value);
        high = high.max(answer.value);
    }
    if xx <= 0.0 || xy <= 0.0 {
        return None;
    }
    let gain = xy / xx;
    let (mut x1, mut x2) = (0.0, 0.0);
    for answer in answers {
        let x = answer.value - means.0;
        x1 += x * (answer.by_dead_time - means.1);
        x2 += x * (answer.by_lag - means.2);
    }
    let mut sums = Normal {
        gain,
        offset: means.3 - gain * means.0,
        cost: 0.0,
        answer_range: high - low,
        slopes: [[0.0; 2]; 2],
        left: [0.0; 2],
        n_on_the_way: 0,
    };
    for (answer, reading) in answers.iter().zip(readings) {
        let x = answer.value - means.0;
        let left = reading.value - means.3 - gain * x;
        let slopes = [
            gain * (answer.by_dead_time - means.1 - x1 / xx * x),
            gain * (answer.by_lag - means.2 - x2 / xx * x),
        ];
        sums.cost += left * left;
        for (row, slope) in slopes.into_iter().enumerate() {
            sums.slopes[row][0] += slope * slopes[0];
            sums.slopes[row][1] += slope * slopes[1];
            sums.left[row] += slope * left;
        }
        // What it is short by, from dx/dθ = (x − u)/τ.
        let short = (answer.by_dead_time * point.lag_s).abs();
        sums.n_on_the_way += usize::from(short > ON_THE_WAY * (high - low));
    }
    Some(sums)
}

/// The lowest points of a coarse search, lowest first.
fn starts(work: &mut Work, readings: &[Reading], range: SearchRange) -> Result<Vec<Point>, NoFit> {
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
                lag_s,
            };
            if let Some(normal) = normal(work, &thinned, point) {
                found.push((normal.cost, row, column, point));
            }
        }
    }
    if found.is_empty() {
        return Err(NoFit::DoesNotFollow);
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
    Ok(kept.into_iter().map(|(.., point)| point).collect())
}

/// Gauss-Newton with damping (Levenberg, Marquardt, from memory) down to the ground. The
/// lag is stepped by its logarithm, which keeps it positive and the steps of one size.
fn descend(
    work: &mut Work,
    readings: &[Reading],
    range: SearchRange,
    start: Point,
) -> Option<(Point, Normal)> {
    let mut point = start;
    let mut here = normal(work, readings, point)?;
    let mut damping = 1e-3;
    for _ in 0..MOST_STEPS {
        let lag = point.lag_s;
        let [[a, b], [_, c]] = here.slopes;
        let (b, c) = (b * lag, c * lag * lag);
        let floor = 1e-12 * (a + c / (lag * lag));
        let damped = [
            [a * (1.0 + damping) + floor, b],
            [b, c * (1.0 + damping) + floor * lag * lag],
        ];
        let Some(lower) = factor(&damped, 0.0) else {
            return Some((point, here));
        };
        let [by_dead_time, by_log] = solve(&lower, &[here.left[0], here.left[1] * lag]);
        let by_log = by_log.clamp(-1.0, 1.0);
        let next = Point {
            dead_time_s: (point.dead_time_s + by_dead_time).clamp(0.0, range.longest_dead_time_s),
            lag_s: (lag * by_log.exp()).clamp(range.shortest_lag_s, range.longest_lag_s),
        };
        let moved = (next.dead_time_s - point.dead_time_s).abs() + (next.lag_s - lag).abs();
        match normal(work, readings, next) {
            Some(there) if there.cost <= here.cost => {
                point = next;
                here = there;
                damping = (damping * 0.2).max(1e-9);
            }
            _ => damping *= 5.0,
        }
        if moved < SETTLED_S || damping > 1e9 {
            break;
        }
    }
    Some((point, here))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::response::first_order::held_course;
    use crate::response::testing::{Chance, lagged};

    const RANGE: SearchRange = SearchRange {
        longest_dead_time_s: 2.0,
        shortest_lag_s: 0.002,
        longest_lag_s: 3.0,
    };

    /// A command given at `period_s` and read at `period_s` with the true lag behind it.
    fn try_fit(
        command: impl Fn(f64) -> f64,
        (dead_time_s, lag_s): (f64, f64),
        noise: f64,
    ) -> Result<Fit, NoFit> {
        let (command, response) =
            lagged(&command, (dead_time_s, lag_s), (0.01, 0.0), (0.013, 0.004));
        let mut chance = Chance(5);
        let response: Vec<Reading> = response
            .iter()
            .map(|reading| Reading {
                value: 0.04 + 0.9 * reading.value + noise * chance.normal(),
                ..*reading
            })
            .collect();
        fit(&held_course(&command), &response, RANGE)
    }

    #[track_caller]
    fn near(got: f64, wanted: f64, tolerance: f64) {
        assert!((got - wanted).abs() <= tolerance, "{got} is not {wanted}");
    }

    fn step(time_s: f64) -> f64 {
        if time_s < 0.005 { 0.0 } else { 0.8 }
    }

    fn early_back_off(time_s: f64) -> f64 {
        match time_s {
            _ if time_s < 0.005 => 0.0,
            _ if time_s < 0.205 => 0.9,
            _ if time_s < 0.505 => 0.3,
            _ => 0.0,
        }
    }

    fn ramp(time_s: f64) -> f64 {
        (2.0 * time_s).clamp(0.0, 0.8)
    }

    #[test]
    fn any_shape_of_command_gives_the_same_lag() {
        // The last column is what sampling the command every 10 ms may cost.
        for (command, tolerance) in [
            (step as fn(f64) -> f64, 1e-3),
            (early_back_off, 1e-3),
            (ramp, 2e-3),
        ] {
            for (theta, tau) in [(0.18, 0.1457), (0.03, 0.055), (0.4, 0.5), (0.0, 0.2)] {
                let got = try_fit(command, (theta, tau), 0.0).unwrap();
                near(got.dead_time_s, theta, tolerance);
                near(got.lag_s, tau, tolerance);
                near(got.gain, 0.9, 0.01);
                near(got.offset, 0.04, 0.002);
            }
        }
    }

    #[test]
    fn the_stated_deviations_are_those_of_repeated_noise() {
        let mut chance = Chance(9);
        let (command, response) = lagged(&step, (0.08, 0.20), (0.01, 0.0), (0.01, 0.0));
        let course = held_course(&command);
        let (mut dead, mut lag, mut stated) = (Vec::new(), Vec::new(), (0.0, 0.0));
        for _ in 0..200 {
            let noisy: Vec<Reading> = response
                .iter()
                .map(|reading| Reading {
                    value: reading.value + 0.01 * chance.normal(),
                    ..*reading
                })
                .collect();
            let got = fit(&course, &noisy, RANGE).unwrap();
            dead.push(got.dead_time_s);
            lag.push(got.lag_s);
            stated.0 += got.dead_time_sd_s.unwrap() / 200.0;
            stated.1 += got.lag_sd_s.unwrap() / 200.0;
        }
        let sd = |values: &[f64]| {
            let mean = values.iter().sum::<f64>() / 200.0;
            (values
                .iter()
                .map(|value| (value - mean).powi(2))
                .sum::<f64>()
                / 199.0)
                .sqrt()
        };
        // 200 repeats tell a deviation to 5 %; three of these.
        near(stated.0 / sd(&dead), 1.0, 0.15);
        near(stated.1 / sd(&lag), 1.0, 0.15);
    }

    #[test]
    fn noise_does_not_send_it_astray() {
        let got = try_fit(step, (0.18, 0.1457), 0.02).unwrap();
        near(got.dead_time_s, 0.18, 0.01);
        near(got.lag_s, 0.1457, 0.02);
        near(got.residual_sd, 0.02, 0.004);
    }

    #[test]
    fn a_lag_too_short_to_see_is_said_to_be_so() {
        let got = try_fit(step, (0.05, 0.0005), 0.0).unwrap();
        assert_eq!((got.dead_time_sd_s, got.lag_sd_s), (None, None));
        assert!(got.lag_s < 0.013);
        near(got.dead_time_s, 0.05, 0.013);
    }

    #[test]
    fn refusals() {
        assert_eq!(
            try_fit(|_| 0.5, (0.1, 0.1), 0.0),
            Err(NoFit::CommandStandsStill)
        );
        let command = [(0.0, 0.0), (0.1, 1.0)].map(|(time_s, value)| Reading { time_s, value });
        let course = held_course(&command);
        let still: Vec<Reading> = (0..50)
            .map(|index| Reading {
                time_s: f64::from(index) * 0.02,
                value: 0.3,
            })
            .collect();
        assert_eq!(fit(&course, &still, RANGE), Err(NoFit::DoesNotFollow));
        assert_eq!(fit(&course, &still[..5], RANGE), Err(NoFit::TooFewReadings));
        // Slower than the window can show.
        assert_eq!(try_fit(step, (0.1, 30.0), 0.0), Err(NoFit::BeyondRange));
    }
}
