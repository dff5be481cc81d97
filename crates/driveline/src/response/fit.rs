//! Fits a first-order lag with dead time, driven by the logged command, to a response.
//!
//! In: the course of the command, of whatever shape, and readings of the response at times
//! of their own. Out: gain, offset, dead time and lag of least squares, with standard
//! deviations. Closing and release have a lag each: where the response goes a good part of its
//! way in the other direction, that direction's lag is fitted beside. It refuses where the readings do not say: too few, a command or a response
//! that stands still, a best value at the end of the range searched. It does not judge how
//! well the shape fits: that is in `residual_sd`.

use crate::response::Reading;
use crate::response::edges::Direction;
pub use crate::response::valley::SearchRange;
use crate::response::valley::{
    Free, LEAST_ON_THE_WAY, Normal, ONE_LAG, Point, ROUNDING, TWO_LAGS, Work, at, descend, starts,
};

/// Readings below which four numbers are not fitted. Source: none, engineering guess: two
/// left over to tell how well it fits.
pub const LEAST_READINGS: usize = 6;

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
    /// Lag τ in the direction asked for, s.
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

/// The other direction has a lag of its own where the answer on its way there is once as short
/// of what was asked as this share of its range. Below it what is left of an answer before or a
/// command that is trimmed says little of that lag, and the two are taken for one. Source: none,
/// engineering guess.
const GOES_BACK: f64 = 0.2;

/// The two lags are told apart where the own one is known to this share of itself. Source: none,
/// engineering guess.
const APART_SDS: f64 = 0.25;

/// A fit that leaves no more than this share of its span lies in the deepest valley: there
/// is no need to look for another. Source: none, engineering guess.
const SURE_BELOW: f64 = 0.02;

/// The fit of least squares with one lag for both directions.
pub fn fit(course: &[Reading], readings: &[Reading], range: SearchRange) -> Result<Fit, NoFit> {
    let mut work = Work::new(course, Direction::Engage, readings);
    let (point, normal) = one_lag(&mut work, readings, range, None)?;
    fitted::<2>(&point, &normal, &ONE_LAG, readings.len(), range)
}

/// The fit of the lag of one direction, looking first where another edge of the same actuator
/// had its dead time and lag, s. The ground it ends at is the same, and found ten times sooner.
pub fn fit_near(
    course: &[Reading],
    readings: &[Reading],
    range: SearchRange,
    direction: Direction,
    near: Option<(f64, f64)>,
) -> Result<Fit, NoFit> {
    let mut work = Work::new(course, direction, readings);
    let (point, normal) = one_lag(&mut work, readings, range, near)?;
    let [own, back] = normal.n_on_the_way;
    let goes_back = normal.furthest_back > GOES_BACK * normal.answer_range;
    if goes_back && own.min(back) >= LEAST_ON_THE_WAY {
        let (point, normal) = descend(&mut work, readings, range, (point, normal), &TWO_LAGS);
        let fit = fitted(&point, &normal, &TWO_LAGS, readings.len(), range).ok();
        let is_told = |fit: &Fit| {
            fit.lag_sd_s
                .is_some_and(|sd_s| sd_s < APART_SDS * fit.lag_s)
        };
        if let Some(fit) = fit.filter(is_told) {
            return Ok(fit);
        }
    }
    fitted(&point, &normal, &ONE_LAG, readings.len(), range)
}

/// The ground of the deepest valley, both lags being one.
fn one_lag(
    work: &mut Work,
    readings: &[Reading],
    range: SearchRange,
    near: Option<(f64, f64)>,
) -> Result<(Point, Normal), NoFit> {
    if readings.len() < LEAST_READINGS {
        return Err(NoFit::TooFewReadings);
    }
    if work.course.len() < 2 {
        return Err(NoFit::CommandStandsStill);
    }
    let (low, high) = readings.iter().fold(
        (f64::INFINITY, f64::NEG_INFINITY),
        |(low, high), reading| (low.min(reading.value), high.max(reading.value)),
    );
    if high - low <= ROUNDING * high.abs().max(low.abs()) {
        return Err(NoFit::DoesNotFollow);
    }
    let near = near.map(|(dead_time_s, lag_s)| Point {
        dead_time_s,
        lags_s: [lag_s; 2],
    });
    let mut best = near
        .and_then(|near| at(work, readings, near))
        .map(|start| descend(work, readings, range, start, &ONE_LAG));
    best = best.filter(|(_, normal)| {
        let left = (normal.cost / readings.len() as f64).sqrt();
        left <= SURE_BELOW * normal.gain * normal.answer_range
    });
    let starts = match best {
        Some(_) => Vec::new(),
        None => starts(work, readings, range),
    };
    for start in starts {
        let Some(start) = at(work, readings, start) else {
            continue;
        };
        let found = descend(work, readings, range, start, &ONE_LAG);
        if best.is_none_or(|(_, normal)| found.1.cost < normal.cost) {
            best = Some(found);
        }
    }
    best.ok_or(NoFit::DoesNotFollow)
}

/// The fit at a ground, or why it is none.
fn fitted<const N: usize>(
    point: &Point,
    normal: &Normal,
    free: &Free<N>,
    n_readings: usize,
    range: SearchRange,
) -> Result<Fit, NoFit> {
    let is_at_end = point.dead_time_s > 0.999 * range.longest_dead_time_s
        || point.lags_s[0] > 0.999 * range.longest_lag_s;
    if is_at_end {
        return Err(NoFit::BeyondRange);
    }
    // Gain and offset are fitted, too.
    let n_free = (n_readings - 2).saturating_sub(N).max(1) as f64;
    let variance = normal.cost / n_free;
    let [dead_time_variance, lag_variance] = normal.inverse_diagonal(free);
    let sd = |inverse: Option<f64>| inverse.map(|inverse| (variance * inverse).sqrt());
    Ok(Fit {
        gain: normal.gain,
        offset: normal.offset,
        dead_time_s: point.dead_time_s,
        dead_time_sd_s: sd(dead_time_variance),
        lag_s: point.lags_s[0],
        lag_sd_s: sd(lag_variance),
        residual_sd: variance.sqrt(),
        span: normal.gain * normal.answer_range,
        n_readings,
    })
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
        let (command, response) = lagged(
            &command,
            (dead_time_s, [lag_s; 2]),
            (0.01, 0.0),
            (0.013, 0.004),
        );
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
        let (command, response) = lagged(&step, (0.08, [0.20; 2]), (0.01, 0.0), (0.01, 0.0));
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
    fn a_short_burst_tells_closing_from_release() {
        // Closed for 0.3 s, then let go: half of what is seen is the release, twice as slow.
        let burst = |time_s: f64| f64::from(u8::from((0.0..0.3).contains(&time_s)));
        let (command, response) =
            lagged(&burst, (0.08, [0.06, 0.12]), (0.01, 0.005), (0.013, 0.004));
        let course = held_course(&command);
        for (direction, lag_s) in [(Direction::Engage, 0.06), (Direction::Release, 0.12)] {
            let got = fit_near(&course, &response, RANGE, direction, None).unwrap();
            near(got.dead_time_s, 0.08, 1e-3);
            near(got.lag_s, lag_s, 1e-3);
        }
        // One lag for both lies between.
        near(fit(&course, &response, RANGE).unwrap().lag_s, 0.1, 0.03);
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
