//! What the tests of the response share: chance, and a car with a known lag.

use crate::response::Reading;
use crate::response::first_order::{held_course, respond};

/// A linear congruential generator (Knuth's constants, from memory).
pub struct Chance(pub u64);

impl Chance {
    /// Even between 0 and 1.
    pub fn even(&mut self) -> f64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Sum of twelve even numbers less six: standard deviation 1, from memory.
    pub fn normal(&mut self) -> f64 {
        (0..12).fold(-6.0, |sum, _| sum + self.even())
    }
}

/// The command and the response of a lag (θ, lags up and down) from −1 to 3 s, each sampled at
/// its own period and phase in s. The true command is followed in steps of 1 ms.
pub fn lagged(
    command: &dyn Fn(f64) -> f64,
    (dead_time_s, lags_s): (f64, [f64; 2]),
    command_every: (f64, f64),
    response_every: (f64, f64),
) -> (Vec<Reading>, Vec<Reading>) {
    let reading = |(time_s, value)| Reading { time_s, value };
    let fine: Vec<Reading> = (0..5000)
        .map(|step| -2.0 + f64::from(step) * 1e-3)
        .map(|time_s| reading((time_s, command(time_s))))
        .collect();
    let times = |(period_s, phase_s): (f64, f64)| {
        let n = ((4.0 - phase_s) / period_s) as u32;
        (0..n).map(move |index| -1.0 + phase_s + f64::from(index) * period_s)
    };
    let mut answers = Vec::new();
    respond(
        &held_course(&fine),
        dead_time_s,
        lags_s,
        times(response_every),
        &mut answers,
    );
    (
        times(command_every)
            .map(|time_s| reading((time_s, command(time_s))))
            .collect(),
        times(response_every)
            .zip(answers)
            .map(|(time_s, answer)| reading((time_s, answer.value)))
            .collect(),
    )
}
