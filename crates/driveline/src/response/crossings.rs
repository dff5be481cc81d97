//! Times of one step response by crossings, interpolated between readings.
//!
//! In: the step of a command that then holds, and readings of the response with no gap.
//! Out: dead time, rise, settling, overshoot, the way back. It refuses a response that
//! moves less than its noise allows to tell, and one that has not settled while the command
//! held: a command taken back early makes crossings look quick.

use crate::response::Reading;
use crate::response::two_point::{
    DeadTimeAndLag, SMITH_SHARES, SUNDARESAN_KRISHNASWAMY_SHARES, smith, sundaresan_krishnaswamy,
};

/// Share of the way at which the response counts as having left where it was, and noise
/// deviations it must have moved. Source: common practice, no source.
pub const LEAVES_AT: f64 = 0.05;
/// See [`LEAVES_AT`].
pub const LEAVES_AT_SDS: f64 = 3.0;

/// The response is settled while within this share of the way of its end. Source: common
/// practice, no source.
pub const SETTLED_WITHIN: f64 = 0.05;

/// Noise deviations the response must move to be looked at. Source: derived: the tenth of the
/// way then stands three deviations above where it came from, so that noise does not cross it
/// first.
pub const LEAST_SPAN_SDS: f64 = 30.0;

/// The last two fifths of the hold must agree within this share of the way. Source: none,
/// engineering guess: a first-order answer passes after five lags, within 1 % of its end.
const AGREE_WITHIN: f64 = 0.02;

/// A command that steps and holds; times on the clock of the readings.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Step {
    /// From when on the command had held before the step, s.
    pub before_s: f64,
    /// When it had gone half its way, s.
    pub edge_s: f64,
    /// Up to when it then held, s.
    pub holds_until_s: f64,
}

/// Times from the edge, s; the same words serve for engaging and releasing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Crossings {
    /// To where the response leaves its old level by max(5 % of its way, 3σ).
    pub dead_time_s: f64,
    /// From 10 to 90 % of the way.
    pub rise_time_s: f64,
    /// To 90 % of the way: when releasing, to the last 10 %.
    pub transition_time_s: f64,
    /// To where it stays within 5 % of its end.
    pub settle_time_s: f64,
    /// How far it went beyond its end, as a share of the way; 0 when it did not.
    pub overshoot: f64,
    /// Where it ended, in the unit of the response.
    pub new_level: f64,
    /// Dead time and lag after Smith.
    pub smith: DeadTimeAndLag,
    /// Dead time and lag after Sundaresan and Krishnaswamy.
    pub sundaresan_krishnaswamy: DeadTimeAndLag,
}

/// Why crossings do not stand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoCrossings {
    /// Too few readings before the step or in the hold.
    TooFewReadings,
    /// The response hardly moves against its noise.
    HardlyMoves,
    /// The response had not settled when the command was given up or the log ended.
    NotSettled,
}

/// The crossings of a step response.
pub fn crossings(step: Step, readings: &[Reading]) -> Result<Crossings, NoCrossings> {
    let between = |from_s: f64, until_s: f64| {
        readings
            .iter()
            .filter(move |reading| from_s <= reading.time_s && reading.time_s <= until_s)
    };
    let mean_between = |from_s: f64, until_s: f64| {
        let (mut n, mut sum) = (0.0, 0.0);
        for reading in between(from_s, until_s) {
            n += 1.0;
            sum += reading.value;
        }
        (n > 0.0).then(|| (sum / n, n))
    };
    let hold_s = step.holds_until_s - step.edge_s;
    let fifth = |index: f64| step.edge_s + 0.2 * index * hold_s;
    let enough = || NoCrossings::TooFewReadings;
    let (old_level, n_before) = mean_between(step.before_s, step.edge_s).ok_or_else(enough)?;
    let (fourth, n_fourth) = mean_between(fifth(3.0), fifth(4.0)).ok_or_else(enough)?;
    let (new_level, n_last) = mean_between(fifth(4.0), step.holds_until_s).ok_or_else(enough)?;
    if n_before < 2.0 {
        return Err(NoCrossings::TooFewReadings);
    }
    let squares: f64 = between(step.before_s, step.edge_s)
        .map(|reading| (reading.value - old_level).powi(2))
        .sum();
    let noise_sd = (squares / (n_before - 1.0)).sqrt();
    let way = new_level - old_level;
    if way == 0.0 || way.abs() < LEAST_SPAN_SDS * noise_sd {
        return Err(NoCrossings::HardlyMoves);
    }
    let doubt = LEAVES_AT_SDS * noise_sd * (1.0 / n_fourth + 1.0 / n_last).sqrt();
    if (new_level - fourth).abs() > AGREE_WITHIN * way.abs() + doubt {
        return Err(NoCrossings::NotSettled);
    }
    // As shares of the way, so that a fall reads like a rise.
    let course: Vec<Reading> = between(step.before_s, step.holds_until_s)
        .map(|reading| Reading {
            time_s: reading.time_s - step.edge_s,
            value: (reading.value - old_level) / way,
        })
        .collect();
    let noise = noise_sd / way.abs();
    let at = |share: f64| first_at(&course, share).ok_or(NoCrossings::NotSettled);
    let settled_within = SETTLED_WITHIN.max(LEAVES_AT_SDS * noise);
    let highest = course
        .iter()
        .fold(1.0_f64, |highest, reading| highest.max(reading.value));
    let ninety_s = at(0.9)?;
    Ok(Crossings {
        dead_time_s: at(LEAVES_AT.max(LEAVES_AT_SDS * noise))?,
        rise_time_s: ninety_s - at(0.1)?,
        transition_time_s: ninety_s,
        settle_time_s: settles_at(&course, settled_within).ok_or(NoCrossings::NotSettled)?,
        overshoot: if highest - 1.0 > LEAVES_AT_SDS * noise {
            highest - 1.0
        } else {
            0.0
        },
        new_level,
        smith: smith(at(SMITH_SHARES.0)?, at(SMITH_SHARES.1)?),
        sundaresan_krishnaswamy: sundaresan_krishnaswamy(
            at(SUNDARESAN_KRISHNASWAMY_SHARES.0)?,
            at(SUNDARESAN_KRISHNASWAMY_SHARES.1)?,
        ),
    })
}

/// When a rising course first reaches a level after time 0, s, interpolated.
fn first_at(course: &[Reading], level: f64) -> Option<f64> {
    course.windows(2).find_map(|pair| {
        let (before, after) = (pair[0], pair[1]);
        if after.time_s <= 0.0 || after.value < level {
            return None;
        }
        if before.value >= level {
            // Already there when the time began.
            return (before.time_s >= 0.0).then_some(before.time_s);
        }
        let share = (level - before.value) / (after.value - before.value);
        Some((before.time_s + share * (after.time_s - before.time_s)).max(0.0))
    })
}

/// When a course comes within a distance of 1 for good, s, interpolated; `None` when its
/// last reading is outside.
fn settles_at(course: &[Reading], within: f64) -> Option<f64> {
    let outside = course
        .iter()
        .rposition(|reading| (reading.value - 1.0).abs() > within)?;
    let (before, after) = (course[outside], *course.get(outside + 1)?);
    let bound = 1.0 + within.copysign(before.value - 1.0);
    let share = (bound - before.value) / (after.value - before.value);
    Some(before.time_s + share.clamp(0.0, 1.0) * (after.time_s - before.time_s))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::response::testing::Chance;

    const STEP: Step = Step {
        before_s: -1.0,
        edge_s: 0.0,
        holds_until_s: 2.5,
    };

    /// 1 − e^(−(t − θ)/τ), read every `period_s` from a phase on.
    fn readings(theta: f64, tau: f64, period_s: f64, phase_s: f64) -> Vec<Reading> {
        (0..(3.5 / period_s) as u32)
            .map(|index| {
                let time_s = -1.0 + phase_s + f64::from(index) * period_s;
                let value = -(-(time_s - theta).max(0.0) / tau).exp_m1();
                Reading { time_s, value }
            })
            .collect()
    }

    #[track_caller]
    fn near(got: f64, wanted: f64, tolerance: f64) {
        assert!((got - wanted).abs() <= tolerance, "{got} is not {wanted}");
    }

    #[test]
    fn closed_forms_of_one_lag() {
        // Derived: 5 % at θ + 0.0513 τ, 10 to 90 % in 2.197 τ, 90 % at θ + 2.303 τ, within
        // 5 % from θ + 2.996 τ on. Read every 2 ms.
        let got = crossings(STEP, &readings(0.08, 0.20, 0.002, 0.0)).unwrap();
        near(got.dead_time_s, 0.08 + 0.0513 * 0.20, 2e-4);
        near(got.rise_time_s, 2.197 * 0.20, 2e-4);
        near(got.transition_time_s, 0.08 + 2.303 * 0.20, 2e-4);
        near(got.settle_time_s, 0.08 + 2.996 * 0.20, 5e-4);
        // The last fifth is read for the end, which lies 2·10⁻⁵ above it.
        near(got.overshoot, 0.0, 1e-4);
        // Upside down and elsewhere: a release of the same lag has the same times.
        let falling: Vec<Reading> = readings(0.08, 0.20, 0.002, 0.0)
            .iter()
            .map(|reading| Reading {
                value: 0.9 - 0.8 * reading.value,
                ..*reading
            })
            .collect();
        let release = crossings(STEP, &falling).unwrap();
        near(release.transition_time_s, got.transition_time_s, 1e-9);
        near(release.new_level, 0.1, 1e-4);
    }

    #[test]
    fn interpolated_crossings_hold_at_twenty_milliseconds() {
        // Derived: true 0.20 and 0.08 s, read every 20 ms: Smith by interpolated crossings
        // stays within 0.5 ms of Smith on the true curve at every phase. By the first
        // reading beyond the level it is θ 0.0895 ± 0.0100, τ 0.2002 ± 0.0141.
        let (mut dead, mut lag) = (Vec::new(), Vec::new());
        for phase in 0..200 {
            let read = readings(0.08, 0.20, 0.02, f64::from(phase) * 1e-4);
            let got = crossings(STEP, &read).unwrap().smith;
            near(got.lag_s, 0.20010, 5e-4);
            near(got.dead_time_s, 0.07984, 5e-4);
            let first = |share: f64| {
                let found = read.iter().find(|reading| reading.value >= share);
                found.unwrap().time_s
            };
            let coarse = smith(first(SMITH_SHARES.0), first(SMITH_SHARES.1));
            dead.push(coarse.dead_time_s);
            lag.push(coarse.lag_s);
        }
        let mean = |values: &[f64]| values.iter().sum::<f64>() / values.len() as f64;
        let sd = |values: &[f64]| {
            let squares: Vec<f64> = values.iter().map(|v| (v - mean(values)).powi(2)).collect();
            mean(&squares).sqrt()
        };
        near(mean(&dead), 0.0895, 1e-3);
        near(mean(&lag), 0.2002, 1e-3);
        near(sd(&dead), 0.0100, 1e-3);
        near(sd(&lag), 0.0141, 1e-3);
    }

    #[test]
    fn overshoot_is_seen_and_noise_is_not_overshoot() {
        // Second order, damping 0.5: overshoot e^(−π·0.5/√(1 − 0.25)) = 0.163. From memory.
        let ringing: Vec<Reading> = readings(0.0, 1.0, 0.002, 0.0)
            .iter()
            .map(|reading| {
                let (t, zeta, omega) = (reading.time_s.max(0.0), 0.5_f64, 20.0);
                let root = (1.0 - zeta * zeta).sqrt();
                let (sine, cosine) = (omega * root * t).sin_cos();
                Reading {
                    value: 1.0 - (-zeta * omega * t).exp() * (cosine + zeta / root * sine),
                    ..*reading
                }
            })
            .collect();
        near(crossings(STEP, &ringing).unwrap().overshoot, 0.163, 2e-3);
        let mut chance = Chance(2);
        let noisy: Vec<Reading> = readings(0.08, 0.1, 0.02, 0.0)
            .iter()
            .map(|reading| Reading {
                value: reading.value + 0.002 * chance.normal(),
                ..*reading
            })
            .collect();
        let got = crossings(STEP, &noisy).unwrap();
        assert!(got.overshoot < 0.01, "{}", got.overshoot);
    }

    #[test]
    fn refusals() {
        let read = readings(0.08, 0.20, 0.02, 0.0);
        let short = |holds_until_s| Step {
            holds_until_s,
            ..STEP
        };
        assert_eq!(crossings(short(0.5), &read), Err(NoCrossings::NotSettled));
        assert!(crossings(short(1.2), &read).is_ok());
        assert_eq!(
            crossings(STEP, &read[..20]),
            Err(NoCrossings::TooFewReadings)
        );
        let mut chance = Chance(4);
        let still: Vec<Reading> = read
            .iter()
            .map(|reading| Reading {
                value: chance.normal(),
                ..*reading
            })
            .collect();
        assert_eq!(crossings(STEP, &still), Err(NoCrossings::HardlyMoves));
    }
}
