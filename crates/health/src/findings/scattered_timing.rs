//! No two engagements take the same time.
//!
//! Scatter within one band of oil temperature and one of supply voltage, of warm oil only:
//! what comes of unlike conditions is not scatter, nor what goes with the size of the move, which at a
//! motor's greatest speed takes as much longer. From percentiles, so that single freak fits do not
//! make it, and with what the fits themselves and the sampling scatter taken out. A move whose command took
//! longer than the rise, or whose rise its own fit does not know, says nothing of the next one and is left out.

use crate::reason::{Counted, DriveFact, Reason};
use halfshaft_driveline::median::median;
use halfshaft_driveline::response::pool::{OIL_BANDS_C, SUPPLY_BANDS_V};
use halfshaft_driveline::response::resolution::{
    SINGLE_SHARE, Spread, StatedTime, spread, stated_time,
};
use halfshaft_driveline::response::{Direction, Response};

use super::timing::{longest, warm};
use super::{About, Drive, Entry, FindingId, Fired, Judge, Outcome};
use crate::actuator::unmixed;
use crate::limits::{SDS_OF_10_TO_90, SDS_OF_90, rounded};
use crate::nouns::{Grade, Severity};
use crate::trust::COMMAND;

pub const ENTRY: Entry = Entry {
    about: &About {
        id: FindingId::ScatteredTiming,
        title: "Scattered timing",
        severities: &[Severity::LookSoon],
        rule: |limits| {
            let own = &limits.actuator;
            format!(
                "over {} moves of closing or more at like oil temperature above {} °C and like voltage, each commanded \
                 within the rise, the rise from 10 to 90 % scatters by more than {:.0} % of its median, by its tenth and ninetieth percentile",
                own.scatter_events,
                rounded(own.warm_from_c, 0),
                100.0 * own.scatter
            )
        },
        needs: "clutch command, a signal of what the mechanism did sampled quickly enough, oil temperature; supply \
                voltage where there is one",
        could_also_be: "time stamps that jitter, a supply that sags",
        next_check: "Ripple of the motor current on the bench, brushes, screw and bearing of the mechanism.",
        owner_sees: "The clutch takes another time to close at each go.",
        owner_does: "Have a workshop check the clutch motor and its mechanism.",
        withdrawn_if: "another log of the same car with quicker samples shows even times",
    },
    on: COMMAND,
    begin: |_| Box::new(outcome as Judge),
};

/// Rise from 10 to 90 % per time constant: ln 9.
const RISE_PER_LAG: f64 = 2.197;

/// The longest ramp that a command may hide between two samples, as a share of the rise. Derived: a ramp
/// of half the rise lengthens it by an eighth at most, since rises add in squares.
const HIDDEN_RAMP: f64 = 0.5;

/// Moves, each with its rise, s.
type Band = Vec<(Response, f64)>;

/// Moves of one band of oil temperature and one of voltage.
fn bands(found: &[Response]) -> Vec<Band> {
    let place = |ends: &[f64], value: f64| ends.iter().filter(|end| value >= **end).count();
    let of = |response: &Response| {
        (
            place(&OIL_BANDS_C, response.oil_c.unwrap_or(0.0)),
            response.supply_v.map(|volts| place(&SUPPLY_BANDS_V, volts)),
        )
    };
    let mut bands: Vec<Band> = Vec::new();
    for response in found {
        let Some(rise_s) = response.rise_time_s() else {
            continue;
        };
        let like = bands.iter_mut().find(|band| of(&band[0].0) == of(response));
        match like {
            Some(band) => band.push((*response, rise_s)),
            None => bands.push(vec![(*response, rise_s)]),
        }
    }
    for band in &mut bands {
        let median_s = median(&mut band.iter().map(|(_, rise_s)| *rise_s).collect::<Vec<f64>>());
        let longest_s = median_s.unwrap_or(0.0);
        band.retain(|(response, _)| {
            let edge = &response.edge;
            edge.ended.since(edge.began) <= longest_s && is_known(response)
        });
    }
    bands
}

/// Whether its own fit knows the rise as well as a single time must be.
fn is_known(response: &Response) -> bool {
    let fit = response.fit.ok();
    fit.is_some_and(|fit| {
        fit.lag_sd_s
            .is_some_and(|sd_s| sd_s < SINGLE_SHARE * fit.lag_s)
    })
}

/// The rises of a band brought to its middle size of a move, s.
fn at_like_size(band: &Band) -> Vec<f64> {
    let size = |response: &Response| (response.edge.to - response.edge.from).abs();
    let n = band.len() as f64;
    let mean_size = band.iter().map(|(one, _)| size(one)).sum::<f64>() / n;
    let mean_s = band.iter().map(|(_, rise_s)| rise_s).sum::<f64>() / n;
    let (mut both, mut own) = (0.0, 0.0);
    for (response, rise_s) in band {
        let beyond = size(response) - mean_size;
        both += beyond * (rise_s - mean_s);
        own += beyond * beyond;
    }
    // A larger move never takes less: what says so is chance.
    let per_size_s = if own > 0.0 {
        (both / own).max(0.0)
    } else {
        0.0
    };
    band.iter()
        .map(|(response, rise_s)| rise_s - per_size_s * (size(response) - mean_size))
        .collect()
}

/// Standard deviation over median, without what fits and samples make of it. Derived: begin and end
/// of a rise each lie anywhere between two samples, of the command that drives it and of the
/// answer, which adds the variances (Ta² + Tb²)/12 of two even waits.
fn scatter(band: &[(Response, f64)], spread: &Spread, sampling_sd_s: f64) -> f64 {
    let all_s = (spread.p90 - spread.p10) / SDS_OF_10_TO_90;
    let of_fits: Vec<f64> = band
        .iter()
        .filter_map(|(response, _)| Some(RISE_PER_LAG * response.fit.ok()?.lag_sd_s?))
        .collect();
    let of_fit_s = self::spread(&of_fits).map_or(0.0, |fits| fits.median);
    let own = all_s * all_s - of_fit_s * of_fit_s - sampling_sd_s * sampling_sd_s;
    own.max(0.0).sqrt() / spread.median
}

fn all_answers<'a>(drive: &'a Drive) -> &'a [Response] {
    drive
        .actuator
        .as_ref()
        .map_or(&[], |actuator| actuator.responses.as_slice())
}

fn outcome(drive: &Drive) -> Outcome {
    let limits = &drive.limits.actuator;
    let found = unmixed(
        all_answers(drive),
        warm(drive, Direction::Engage)?,
        limits.mixed_s,
    );
    let bands = bands(&found);
    let most = bands.iter().map(Vec::len).max().unwrap_or(0);
    if most < limits.scatter_events as usize {
        return Err(Reason::TooFew {
            what: Counted::AlikeMoves,
            found: most,
            needed: limits.scatter_events as usize,
        });
    }
    let mut worst: Option<(f64, Spread, &Band)> = None;
    let mut n_told = 0;
    for band in bands
        .iter()
        .filter(|band| band.len() >= limits.scatter_events as usize)
    {
        let Some(resolution) = band.iter().find_map(|(response, _)| response.resolution) else {
            continue;
        };
        // Single times must be told: a median of many averages the scatter away.
        let StatedTime::Singly(spread) = stated_time(&at_like_size(band), resolution, false) else {
            continue;
        };
        // What the command did between two of its samples is not known, a step or a ramp: only where
        // a ramp could not make much of the rise is that no matter.
        if resolution.cause_period_s > HIDDEN_RAMP * spread.median {
            continue;
        }
        n_told += 1;
        let share = scatter(band, &spread, resolution.delay_sd_s());
        if worst.is_none_or(|(most, ..)| share > most) {
            worst = Some((share, spread, band));
        }
    }
    if n_told == 0 {
        return Err(DriveFact::SingleMoves.into());
    }
    // Its own standard error, 1/√(2n) of it for a normal distribution, must leave it above.
    let Some((share, spread, band)) = worst.filter(|(share, spread, _)| {
        let error = SDS_OF_90 / (2.0 * spread.n_events as f64).sqrt();
        share * (1.0 - error) > limits.scatter
    }) else {
        return Ok(None);
    };
    Ok(Some(Fired {
        severity: Severity::LookSoon,
        grade: Grade::B.max(drive.quality.grade),
        summary: format!(
            "At like temperature and voltage the rise from 10 to 90 % of {} moves scattered by {:.0} % of its median \
             (limit {:.0} %): one in ten took less than {:.2} s and one in ten more than {:.2} s.",
            spread.n_events,
            100.0 * share,
            100.0 * limits.scatter,
            spread.p10,
            spread.p90
        ),
        evidence: longest(band).windows(),
    }))
}

#[cfg(test)]
mod tests {
    use super::super::testing::{Scene, answers, says};
    use super::*;

    fn outcome(n: usize, of: impl Fn(usize) -> (f64, f64, f64, f64)) -> Outcome {
        let scene = Scene {
            actuator: answers(n, Direction::Engage, of),
            ..Scene::whole()
        };
        scene.outcome(&ENTRY)
    }

    #[test]
    fn scatter_fires() {
        // Lags of 0.04 to 0.16 s, evenly.
        let fired = outcome(31, |n| (0.03, 0.04 + 0.004 * n as f64, 70.0, 13.4));
        let fired = fired.unwrap().unwrap();
        assert_eq!(fired.severity, Severity::LookSoon);
        says(&fired.summary, "of 31 moves scattered by 37 %");
    }

    #[test]
    fn what_samples_or_the_size_of_the_move_make_is_no_scatter() {
        // Rises of 0.13 to 0.26 s scatter by 0.8·0.132/2.563 = 41 ms, a fifth of their median.
        let lag = |n: usize| 0.06 + 0.002 * n as f64;
        let of = |n: usize| (0.03, lag(n), 70.0, 13.4);
        let with = |change: &dyn Fn(usize, &mut Response)| {
            let mut scene = Scene {
                actuator: answers(31, Direction::Engage, of),
                ..Scene::whole()
            };
            let found = scene.actuator.as_mut().unwrap();
            for (index, response) in found.responses.iter_mut().enumerate() {
                change(index, response);
            }
            scene.limits.actuator.scatter = 0.15;
            scene.outcome(&ENTRY)
        };
        assert!(with(&|_, _| ()).unwrap().is_some());
        // Samples 140 ms apart make all 41 ms of it.
        let slow = with(&|_, response: &mut Response| {
            let resolution = response.resolution.as_mut().unwrap();
            resolution.answer_period_s = 0.14;
        });
        assert_eq!(slow, Ok(None));
        // Derived: rises of 0.20 s in the middle, and a command told every 0.09 or 0.11 s.
        let told_every = |period_s: f64| {
            with(&|_, response: &mut Response| {
                response.resolution.as_mut().unwrap().cause_period_s = period_s;
            })
        };
        assert!(told_every(0.09).is_ok());
        says(
            &told_every(0.11).unwrap_err(),
            "too slow for the time of a single move",
        );
        let sized = with(&|index, response: &mut Response| {
            response.edge.to = response.edge.from + 5.0 * lag(index);
        });
        assert_eq!(sized, Ok(None));
    }

    #[test]
    fn slow_commands_and_vague_fits_are_left_out() {
        let with = |change: fn(&mut Response)| {
            let of = |n: usize| (0.03, 0.04 + 0.004 * n as f64, 70.0, 13.4);
            let mut scene = Scene {
                actuator: answers(31, Direction::Engage, of),
                ..Scene::whole()
            };
            let found = &mut scene.actuator.as_mut().unwrap().responses;
            found.iter_mut().for_each(change);
            scene.outcome(&ENTRY).unwrap_err()
        };
        // Rises of 0.09 to 0.35 s: 0.22 s in the middle.
        let slow = with(|response| response.edge.ended = response.edge.began.plus(0.23));
        says(&slow, "at most 0 moves");
        let vague = with(|response| {
            let fit = response.fit.as_mut().unwrap();
            fit.lag_sd_s = Some(0.3 * fit.lag_s);
        });
        says(&vague, "at most 0 moves");
    }

    #[test]
    fn unlike_conditions_are_no_scatter() {
        // Two temperatures and two voltages, each with its own lag.
        let of = |n: usize| match n % 4 {
            0 => (0.03, 0.05, 40.0, 13.4),
            1 => (0.03, 0.08, 70.0, 13.4),
            2 => (0.03, 0.13, 40.0, 12.4),
            _ => (0.03, 0.20, 70.0, 12.4),
        };
        assert_eq!(outcome(100, of), Ok(None));
        // Cold oil is another matter.
        let cold = outcome(40, |n| (0.03, 0.04 + 0.004 * n as f64, 10.0, 13.4));
        says(&cold.unwrap_err(), "at most 0 moves");
    }

    #[test]
    fn a_steady_actuator_is_none() {
        assert_eq!(
            outcome(40, |n| (0.03, 0.055 + 0.0003 * n as f64, 60.0, 13.4)),
            Ok(None)
        );
    }

    #[test]
    fn few_moves_are_not_checked() {
        let few = outcome(19, |n| (0.03, 0.04 + 0.01 * n as f64, 70.0, 13.4));
        says(&few.unwrap_err(), "20 are needed");
    }
}
