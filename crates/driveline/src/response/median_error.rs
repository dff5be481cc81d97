//! How well the median of many times is known.
//!
//! In: responses with the time meant of each, and the sample periods. Out: half of the 90 %
//! interval of their median. The spread of the events is no such interval: it tells how they
//! scatter and, over the root of how many there are, how well their middle is known. What they
//! all share does not average out and is added: where in its period the command changes, and that
//! no mechanism is a lag of first order. It refuses nothing.

use crate::median::median;
use crate::normal::{MEDIAN_ERROR, SDS_OF_10_TO_90, SDS_OF_90};
use crate::response::fit::Fit;
use crate::response::record::{Quantity, Response};
use crate::response::resolution::{Resolution, Spread, spread};

/// A response with one of its times, s.
pub type Timed<'a> = (&'a Response, f64);

/// Dead times scatter by 0.8 of the command's period between their tenth and ninetieth
/// percentile when edges fall anywhere in it; below this share of it they do not. Source:
/// none, engineering guess between 0 and 0.8.
const LOCKED_SPREAD: f64 = 0.2;

/// Events from which that is judged. Source: none, engineering guess; ten edges by chance
/// would lie so close once in ten thousand drives.
const LOCKED_JUDGED_FROM: usize = 10;

/// A controller decides at ticks of its own, whose phase against its frames stays the same over a
/// drive: no number of edges tells when within a tick the command changed. Source: none,
/// engineering guess: 100 Hz.
const CONTROLLER_PERIOD_S: f64 = 0.01;

/// No mechanism is a lag of first order, so what fits best depends on how the command moves:
/// standard deviation of the lag by that, as a share of it. Derived: of two lags, the second half
/// of the first, steps and ramps give lags up to 8 % apart, and a short burst one 10 % longer
/// (tested below).
const SHAPE: f64 = 0.04;

/// What a fit leaves as a share of the whole way moves the lag by so many lags. Derived: at 90 %
/// of the way the answer moves by a tenth of it in a lag, so a share left over moves that crossing
/// by ten of it, and the lag by 10/ln 10.
const RESIDUAL_LAGS: f64 = 4.3;

/// A command that moves on through several samples may step or ramp between them: standard
/// deviation of the lag as a share of the command's period. Derived: a ramp over a period and a
/// step in its middle differ by a spread in time of P/√12 = 0.29 P, which a lag takes up in part.
/// And an answer passes between two of its samples as it likes. Source: none, engineering guess.
const BETWEEN_COMMANDS: f64 = 0.11;
/// See [`BETWEEN_COMMANDS`].
const BETWEEN_ANSWERS: f64 = 0.025;

/// The dead time takes back this share of what the lag is off by: their sum is known best.
/// Derived from the same fits.
const DEAD_PER_LAG: f64 = 0.3;

/// Half the 90 % interval of a median of these times, s.
pub fn error_s(timed: &[Timed], resolution: Resolution, quantity: Quantity) -> f64 {
    let times: Vec<f64> = timed.iter().map(|(_, time_s)| *time_s).collect();
    let Some(found) = spread(&times) else {
        return 0.0;
    };
    let n = found.n_events as f64;
    let own = |of: fn(&Fit) -> Option<f64>| {
        let fits = timed.iter().filter_map(|(response, _)| response.fit.ok());
        median(&mut fits.filter_map(|fit| of(&fit)).collect::<Vec<f64>>()).unwrap_or(0.0)
    };
    let dead_sd_s = own(|fit| fit.dead_time_sd_s);
    let lag_sd_s = own(|fit| fit.lag_sd_s);
    let lag_s = own(|fit| Some(fit.lag_s));
    let left_share = own(|fit| Some(fit.residual_sd / fit.span));
    let n_moving_on = timed
        .iter()
        .filter(|(response, _)| response.edge.ended > response.edge.began)
        .count();
    let lag_of_shape_s = (SHAPE * lag_s)
        .hypot(RESIDUAL_LAGS * left_share * lag_s)
        .hypot(BETWEEN_COMMANDS * resolution.cause_period_s * n_moving_on as f64 / n)
        .hypot(BETWEEN_ANSWERS * resolution.answer_period_s);
    let edge_sd_s = resolution.cause_period_s / 12.0_f64.sqrt();
    // How far each time goes with the lag, what single events are known to at the best, which the
    // scatter of few may hide by chance, and what no number of events averages out.
    let (lags, single_sd_s, open_s) = match quantity {
        Quantity::DeadTime => (
            DEAD_PER_LAG,
            dead_sd_s.hypot(edge_sd_s),
            open_s(timed, resolution),
        ),
        Quantity::RiseTime => (9.0_f64.ln(), 9.0_f64.ln() * lag_sd_s, 0.0),
        Quantity::TransitionTime => (
            10.0_f64.ln() - DEAD_PER_LAG,
            dead_sd_s.hypot(10.0_f64.ln() * lag_sd_s).hypot(edge_sd_s),
            open_s(timed, resolution),
        ),
    };
    let scatter_sd_s = (found.p90 - found.p10) / SDS_OF_10_TO_90;
    let by_events_s = SDS_OF_90 * MEDIAN_ERROR * scatter_sd_s.max(single_sd_s) / n.sqrt();
    by_events_s
        .hypot(SDS_OF_90 * lags * lag_of_shape_s)
        .hypot(0.9 * 0.5 * open_s)
}

/// The part of the command's period, s, within which the scatter leaves open when the command
/// changed: edges spread evenly over it scatter by 0.8 of it between their tenths.
fn open_s(timed: &[Timed], resolution: Resolution) -> f64 {
    let period_s = resolution.cause_period_s;
    let seen_s = scatter(timed).map_or(0.0, |dead| dead.p90 - dead.p10) / 0.8;
    (period_s - seen_s).max(CONTROLLER_PERIOD_S.min(period_s))
}

/// Half the period of the command where edges fall at one place of it.
pub fn edge_doubt_s(timed: &[Timed], resolution: Option<Resolution>) -> Option<f64> {
    let period_s = resolution?.cause_period_s;
    let scatter = scatter(timed).filter(|spread| spread.n_events >= LOCKED_JUDGED_FROM)?;
    (scatter.p90 - scatter.p10 < LOCKED_SPREAD * period_s).then_some(0.5 * period_s)
}

/// The scatter of the dead times.
fn scatter(timed: &[Timed]) -> Option<Spread> {
    let dead = timed
        .iter()
        .filter_map(|(response, _)| response.dead_time_s());
    spread(&dead.collect::<Vec<f64>>())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::response::Reading;
    use crate::response::edges::Direction;
    use crate::response::first_order::{held_course, respond};
    use crate::response::fit::{SearchRange, fit_near};

    /// Dead time and lag that fit what two lags, 100 and 50 ms behind a dead time of 80 ms, make
    /// of a command.
    fn of_two_lags(command: fn(f64) -> f64) -> (f64, f64) {
        let (mut first, mut second) = (0.0, 0.0);
        let answers: Vec<Reading> = (0..4000)
            .map(|step| {
                let time_s = -1.0 + 1e-3 * f64::from(step);
                first += (command(time_s - 0.08) - first) * 1e-3 / 0.1;
                second += (first - second) * 1e-3 / 0.05;
                Reading {
                    time_s,
                    value: second,
                }
            })
            .step_by(10)
            .collect();
        let commands: Vec<Reading> = (0..4000)
            .map(|step| -1.0 + 1e-3 * f64::from(step))
            .map(|time_s| Reading {
                time_s,
                value: command(time_s),
            })
            .collect();
        let range = SearchRange {
            longest_dead_time_s: 2.0,
            shortest_lag_s: 0.002,
            longest_lag_s: 3.0,
        };
        let fit = fit_near(
            &held_course(&commands),
            &answers,
            range,
            Direction::Engage,
            None,
        );
        let fit = fit.expect("two lags follow");
        (fit.dead_time_s, fit.lag_s)
    }

    #[test]
    fn the_shape_of_the_command_moves_lag_and_dead_time_as_stated() {
        let (dead_s, lag_s) = of_two_lags(|time_s| f64::from(u8::from(time_s >= 0.0)));
        let others: [fn(f64) -> f64; 3] = [
            |time_s| (time_s / 0.15).clamp(0.0, 1.0),
            |time_s| (time_s / 0.4).clamp(0.0, 1.0),
            |time_s| f64::from(u8::from((0.0..0.5).contains(&time_s))),
        ];
        let mut furthest = 0.0_f64;
        for (index, command) in others.into_iter().enumerate() {
            let (dead, lag) = of_two_lags(command);
            let off = lag / lag_s - 1.0;
            assert!(off.abs() < 3.0 * SHAPE, "{index}: {lag} {lag_s}");
            assert!(
                (dead - dead_s).abs() < 0.6 * (lag - lag_s).abs() + 1e-3,
                "{index}: {dead} {dead_s}"
            );
            furthest = furthest.max(off.abs());
        }
        // And no less: a band for nothing is none.
        assert!(furthest > 0.5 * SHAPE, "{furthest}");
    }

    #[test]
    fn a_ramp_and_a_step_in_its_middle_differ_by_what_is_stated() {
        // Both lags of 100 ms, the command read every 100 ms: a ramp over one period is read as a
        // step midway.
        let ramp: Vec<Reading> = (0..=100)
            .map(|step| 1e-3 * f64::from(step))
            .map(|time_s| Reading {
                time_s,
                value: time_s / 0.1,
            })
            .collect();
        let ramp = [
            vec![Reading {
                time_s: -1.0,
                value: 0.0,
            }],
            ramp,
        ]
        .concat();
        let times = || (0..200).map(|step| 0.01 * f64::from(step) - 0.5);
        let mut answers = Vec::new();
        respond(&held_course(&ramp), 0.05, [0.1; 2], times(), &mut answers);
        let answers: Vec<Reading> = times()
            .zip(answers)
            .map(|(time_s, answer)| Reading {
                time_s,
                value: answer.value,
            })
            .collect();
        let step = [(-1.0, 0.0), (0.05, 1.0)].map(|(time_s, value)| Reading { time_s, value });
        let range = SearchRange {
            longest_dead_time_s: 2.0,
            shortest_lag_s: 0.002,
            longest_lag_s: 3.0,
        };
        let fit = fit_near(&step, &answers, range, Direction::Engage, None).unwrap();
        let off_s = (fit.lag_s - 0.1).abs();
        assert!(off_s < 2.0 * BETWEEN_COMMANDS * 0.1, "{off_s}");
    }
}
