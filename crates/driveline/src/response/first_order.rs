//! What a first-order lag with dead time answers to a command, exactly.
//!
//! In: the course of the command, constant between its changes, and the times wanted. Out:
//! the answer there and how it changes with dead time and lags: closing and release have one
//! each. No steps of an integrator: between two changes the answer is one exponential, up or
//! down. It refuses nothing; before the first known command the lag is taken to rest there.

use crate::response::Reading;

/// The course of a sampled command: each level with the time it began, repeats left out.
///
/// A change lies somewhere between the last old and the first new sample; midway is right
/// on the average. The first level begins with the first sample.
pub fn held_course(samples: &[Reading]) -> Vec<Reading> {
    let mut course: Vec<Reading> = samples.first().copied().into_iter().collect();
    for pair in samples.windows(2) {
        if pair[0].value != pair[1].value {
            course.push(Reading {
                time_s: 0.5 * (pair[0].time_s + pair[1].time_s),
                value: pair[1].value,
            });
        }
    }
    course
}

/// The lag's answer at one time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Answer {
    /// The answer, in the unit of the command.
    pub value: f64,
    /// Its change with the dead time, per s.
    pub by_dead_time: f64,
    /// Its change with each lag, per s.
    pub by_lag: [f64; 2],
    /// Which of the lags it is on: 0 while it is on its way up.
    pub way: usize,
}

/// Appends to `out` what a lag of `lags_s`, on the way up and on the way down, with a dead time
/// of `dead_time_s` answers to `course` at `times_s`, both in order of time:
/// τ·dx/dt = u(t − θ) − x.
///
/// Over dt of constant u: x → u + (x − u)·e^(−dt/τ). Derived. Lags must be positive.
pub fn respond(
    course: &[Reading],
    dead_time_s: f64,
    lags_s: [f64; 2],
    times_s: impl Iterator<Item = f64>,
    out: &mut Vec<Answer>,
) {
    let Some((first, mut changes)) = course.split_first() else {
        return;
    };
    let mut lag = Lag {
        time_s: first.time_s + dead_time_s,
        asked: first.value,
        value: first.value,
        by_lag: [0.0; 2],
        lags_s,
        latest: [(0.0, 1.0); 2],
    };
    for time_s in times_s {
        while let Some((change, later)) = changes.split_first() {
            let felt_s = change.time_s + dead_time_s;
            if felt_s > time_s {
                break;
            }
            lag.advance(felt_s);
            lag.asked = change.value;
            changes = later;
        }
        lag.advance(time_s);
        let way = lag.way();
        out.push(Answer {
            value: lag.value,
            by_dead_time: (lag.value - lag.asked) / lags_s[way],
            by_lag: lag.by_lag,
            way,
        });
    }
}

struct Lag {
    time_s: f64,
    asked: f64,
    value: f64,
    by_lag: [f64; 2],
    lags_s: [f64; 2],
    // An interval and its decay: even sampling asks for the same one again and again.
    latest: [(f64, f64); 2],
}

impl Lag {
    fn way(&self) -> usize {
        usize::from(self.asked < self.value)
    }

    fn advance(&mut self, time_s: f64) {
        let interval_s = time_s - self.time_s;
        if interval_s <= 0.0 {
            return;
        }
        // It never passes what is asked, so the way stays the same.
        let way = self.way();
        let lag_s = self.lags_s[way];
        if interval_s != self.latest[way].0 {
            self.latest[way] = (interval_s, (-interval_s / lag_s).exp());
        }
        let decay = self.latest[way].1;
        let open = self.value - self.asked;
        self.by_lag = self.by_lag.map(|by_lag| by_lag * decay);
        self.by_lag[way] += open * decay * interval_s / (lag_s * lag_s);
        self.value = self.asked + open * decay;
        self.time_s = time_s;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(course: &[(f64, f64)], dead_time_s: f64, lags_s: [f64; 2], time_s: f64) -> Answer {
        let course: Vec<Reading> = course
            .iter()
            .map(|&(time_s, value)| Reading { time_s, value })
            .collect();
        let mut out = Vec::new();
        respond(
            &course,
            dead_time_s,
            lags_s,
            [-0.5, 0.05, time_s].into_iter(),
            &mut out,
        );
        out[2]
    }

    #[test]
    fn step_and_back_off() {
        // Derived by hand: step at 0, θ 0.1, τ 0.2, so 1 − e^(−1) at 0.3 s.
        let step = [(-1.0, 0.0), (0.0, 1.0)];
        let whole = 1.0 - (-1.0_f64).exp();
        assert!((at(&step, 0.1, [0.2; 2], 0.3).value - whole).abs() < 1e-12);
        // Back to 0.5 at 0.2 s: reached 1 − e^(−1) at 0.3 s, then for 0.2 s to 0.5.
        let early = [(-1.0, 0.0), (0.0, 1.0), (0.2, 0.5)];
        let wanted = 0.5 + (whole - 0.5) * (-1.0_f64).exp();
        assert!((at(&early, 0.1, [0.2; 2], 0.5).value - wanted).abs() < 1e-12);
        // Down twice as slowly.
        let wanted = 0.5 + (whole - 0.5) * (-0.5_f64).exp();
        assert!((at(&early, 0.1, [0.2, 0.4], 0.5).value - wanted).abs() < 1e-12);
        // Nothing before the dead time is over.
        assert_eq!(at(&step, 0.4, [0.2; 2], 0.3).value, 0.0);
    }

    #[test]
    fn slopes_are_those_of_small_differences() {
        let course = [(-1.0, 0.1), (0.0, 1.0), (0.13, 0.6), (0.21, 0.7)];
        for time_s in [0.22, 0.4, 0.9] {
            let (theta, up, down, small) = (0.08, 0.07, 0.17, 1e-6);
            let got = at(&course, theta, [up, down], time_s);
            let slope = |by: [f64; 3]| {
                let value = |step: f64| {
                    let [by_theta, by_up, by_down] = by.map(|by| by * step);
                    at(
                        &course,
                        theta + by_theta,
                        [up + by_up, down + by_down],
                        time_s,
                    )
                    .value
                };
                (value(small) - value(-small)) / (2.0 * small)
            };
            assert!(
                (got.by_dead_time - slope([1.0, 0.0, 0.0])).abs() < 1e-5,
                "{time_s}"
            );
            assert!(
                (got.by_lag[0] - slope([0.0, 1.0, 0.0])).abs() < 1e-5,
                "{time_s}"
            );
            assert!(
                (got.by_lag[1] - slope([0.0, 0.0, 1.0])).abs() < 1e-5,
                "{time_s}"
            );
        }
    }

    #[test]
    fn a_change_lies_midway() {
        let reading = |(time_s, value)| Reading { time_s, value };
        let samples = [(0.0, 0.0), (0.1, 0.0), (0.2, 1.0), (0.3, 1.0)].map(reading);
        let wanted = [(0.0, 0.0), (0.15, 1.0)].map(reading);
        let got = held_course(&samples);
        assert_eq!(got.len(), 2);
        assert_eq!(got[0], wanted[0]);
        assert!((got[1].time_s - 0.15).abs() < 1e-12 && got[1].value == 1.0);
    }
}
