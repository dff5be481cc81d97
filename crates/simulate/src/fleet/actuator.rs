//! The actuator of a car of the fleet: dead time, one lag or two, a speed limit, a release of
//! its own, slower when cold.
//!
//! In: the command of every millisecond. Out: the position, 0 to 1. Beside it what its dead
//! time and lag are by definition: those of a first-order lag with dead time that comes closest
//! to its own step.

use super::draw::Draw;
use super::fault::Knobs;

/// One millisecond, s: the step of the plant.
pub const STEP_S: f64 = 1e-3;

/// From the lag of a first-order response to its rise from 10 to 90 %, ln 9.
const RISE_PER_LAG: f64 = 2.197;
/// … and to 90 % from its start, ln 10.
const NINETY_PER_LAG: f64 = 2.303;

/// A speed that never limits, full ways per second.
const UNLIMITED_PER_S: f64 = 1e3;

/// Numbers of the actuator.
#[derive(Clone, Copy, Debug)]
pub struct Build {
    /// Dead time, s.
    pub dead_s: f64,
    /// Lags of closing, s; the second may be 0.
    pub lags_s: [f64; 2],
    /// Greatest speed, full ways per second.
    pub fastest_per_s: f64,
    /// Lags of releasing as a multiple of those of closing.
    pub release: f64,
    /// Growth of the lags per kelvin below 40 °C.
    pub per_k_cold: f64,
}

impl Build {
    /// Draws one.
    pub fn draw(draw: &mut Draw) -> Build {
        let first_s = draw.between(0.02, 0.11);
        let second_s = match draw.chance(0.4) {
            true => first_s * draw.between(0.2, 0.6),
            false => 0.0,
        };
        let fastest_per_s = match draw.chance(0.3) {
            true => draw.between(4.0, 10.0),
            false => UNLIMITED_PER_S,
        };
        let release = draw.between(0.8, 1.4);
        let per_k_cold = match draw.chance(0.5) {
            true => draw.between(0.0, 0.02),
            false => 0.0,
        };
        Build {
            dead_s: draw.between(0.02, 0.2),
            lags_s: [first_s, second_s],
            fastest_per_s,
            release,
            per_k_cold,
        }
    }

    /// Whether its speed has a limit that counts.
    pub fn is_limited(&self) -> bool {
        self.fastest_per_s < UNLIMITED_PER_S
    }

    /// How much slower it is at this oil temperature.
    pub fn cold(&self, oil_c: f64) -> f64 {
        1.0 + self.per_k_cold * (40.0 - oil_c).max(0.0)
    }

    /// Dead time and lag by definition at this oil temperature, s: closing, or releasing, of what
    /// the car sends of its mechanism, a function of the position.
    pub fn fitted(
        &self,
        knobs: &Knobs,
        oil_c: f64,
        is_release: bool,
        sent: impl Fn(f64) -> f64,
    ) -> (f64, f64) {
        let mut actuator = Actuator::new(*self, *knobs);
        let (start, end) = if is_release { (1.0, 0.0) } else { (0.0, 1.0) };
        actuator.stages = [start; 2];
        actuator.delayed.fill(start);
        // The drift counts in its middle.
        let response: Vec<f64> = (0..5000)
            .map(|_| {
                actuator.step(end, oil_c, 0.5);
                (sent(actuator.position()) - sent(start)) / (sent(end) - sent(start))
            })
            .collect();
        first_order(&response)
    }

    /// Time to 90 % of closing with warm oil, s: what its maker would rate it.
    pub fn rated_s(&self) -> f64 {
        let (dead_s, lag_s) = self.fitted(&Knobs::NONE, 40.0, false, |position| position);
        transition_s(dead_s, lag_s)
    }
}

/// From 10 to 90 %, s.
pub fn rise_s(lag_s: f64) -> f64 {
    RISE_PER_LAG * lag_s
}

/// From the command to 90 %, s.
pub fn transition_s(dead_s: f64, lag_s: f64) -> f64 {
    dead_s + NINETY_PER_LAG * lag_s
}

// The first-order lag with dead time that comes closest to a response from 0 to 1, in the sense
// of least squares: a search on a grid that is made finer and finer.
fn first_order(response: &[f64]) -> (f64, f64) {
    // Every tenth millisecond is enough.
    let samples: Vec<(f64, f64)> = response
        .iter()
        .enumerate()
        .step_by(10)
        // As the bus has it: a command and what it did within the same step have one time.
        .map(|(i, value)| (i as f64 * STEP_S, *value))
        .collect();
    let error = |dead_s: f64, lag_s: f64| -> f64 {
        let square = |(time_s, value): &(f64, f64)| {
            let since_s = (time_s - dead_s).max(0.0);
            (value - 1.0 + (-since_s / lag_s).exp()).powi(2)
        };
        samples.iter().map(square).sum()
    };
    let (mut dead_s, mut lag_s) = (0.2, 0.4);
    let (mut dead_span, mut lag_span) = (0.2, 0.395);
    for _ in 0..12 {
        let (from_dead, from_lag) = (dead_s, lag_s);
        let mut best = f64::INFINITY;
        for i in -6..=6 {
            for j in -6..=6 {
                let dead = (from_dead + dead_span * f64::from(i) / 6.0).max(0.0);
                let lag = (from_lag + lag_span * f64::from(j) / 6.0).max(0.003);
                let now = error(dead, lag);
                if now < best {
                    (best, dead_s, lag_s) = (now, dead, lag);
                }
            }
        }
        dead_span *= 0.6;
        lag_span *= 0.6;
    }
    (dead_s, lag_s)
}

/// The actuator on its way.
#[derive(Clone, Debug)]
pub struct Actuator {
    build: Build,
    knobs: Knobs,
    delayed: Vec<f64>,
    at: usize,
    stages: [f64; 2],
    /// Full ways per second in the last step.
    pub speed_per_s: f64,
}

impl Actuator {
    /// At rest and open.
    pub fn new(build: Build, knobs: Knobs) -> Actuator {
        let n = (build.dead_s * knobs.lag / STEP_S).round().max(1.0) as usize;
        Actuator {
            build,
            knobs,
            delayed: vec![0.0; n],
            at: 0,
            stages: [0.0; 2],
            speed_per_s: 0.0,
        }
    }

    /// Where it is, 0 to 1.
    pub fn position(&self) -> f64 {
        self.stages[1]
    }

    /// One step; `gone` is the share of the drive that is over.
    pub fn step(&mut self, command: f64, oil_c: f64, gone: f64) {
        let aim = std::mem::replace(&mut self.delayed[self.at], command);
        self.at = (self.at + 1) % self.delayed.len();
        let cold = self.build.cold(oil_c);
        let is_release = aim < self.stages[0];
        let lag = match is_release {
            true => match self.knobs.release_s {
                Some(release_s) => {
                    release_s / NINETY_PER_LAG / self.build.lags_s.iter().sum::<f64>()
                }
                None => self.build.release,
            },
            false => self.knobs.lag * (1.0 + (self.knobs.lag_at_the_end - 1.0) * gone),
        };
        let before = self.stages[1];
        let mut input = aim;
        for (stage, lag_s) in self.stages.iter_mut().zip(self.build.lags_s) {
            let most = self.build.fastest_per_s / cold * STEP_S;
            *stage +=
                ((input - *stage) * STEP_S / (lag_s * lag * cold + STEP_S)).clamp(-most, most);
            input = *stage;
        }
        self.speed_per_s = (self.stages[1] - before) / STEP_S;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_fit_gives_back_a_first_order_lag() {
        let build = Build {
            dead_s: 0.08,
            lags_s: [0.1, 0.0],
            fastest_per_s: UNLIMITED_PER_S,
            release: 2.0,
            per_k_cold: 0.01,
        };
        let check = |got: (f64, f64), dead_s: f64, lag_s: f64| {
            assert!((got.0 - dead_s).abs() < 0.003, "{got:?}");
            assert!((got.1 - lag_s).abs() < 0.004, "{got:?}");
        };
        let fitted =
            |oil_c, is_release| build.fitted(&Knobs::NONE, oil_c, is_release, |position| position);
        check(fitted(40.0, false), 0.08, 0.1);
        check(fitted(20.0, true), 0.08, 0.24);
    }

    #[test]
    fn a_second_lag_reads_as_dead_time_in_part() {
        let build = Build {
            dead_s: 0.05,
            lags_s: [0.1, 0.05],
            fastest_per_s: UNLIMITED_PER_S,
            release: 1.0,
            per_k_cold: 0.0,
        };
        let (dead_s, lag_s) = build.fitted(&Knobs::NONE, 40.0, false, |position| position);
        // Both ways of counting put half of the area at dead time + lags.
        assert!((dead_s + lag_s - 0.2).abs() < 0.01, "{dead_s} {lag_s}");
        assert!(dead_s > 0.06 && lag_s > 0.1, "{dead_s} {lag_s}");
    }
}
