//! No two engagements take the same time.
//!
//! Scatter within one band of oil temperature and one of supply voltage, of warm oil only:
//! what comes of unlike conditions is not scatter. From percentiles, so that single freak
//! fits do not make it, and with what the fits themselves scatter taken out.

use crate::reason::{Counted, DriveFact, Reason};
use halfshaft_driveline::response::pool::{OIL_BANDS_C, SUPPLY_BANDS_V};
use halfshaft_driveline::response::resolution::{Spread, StatedTime, spread, stated_time};
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
                "over {} moves of closing or more at like oil temperature above {} °C and like voltage, the rise from \
                 10 to 90 % scatters by more than {:.0} % of its median, by its tenth and ninetieth percentile",
                own.scatter_events,
                rounded(own.warm_from_c, 0),
                100.0 * own.scatter
            )
        },
        needs: "clutch command, a signal of what the mechanism did sampled quickly enough, oil temperature; supply \
                voltage where there is one",
        could_also_be: "small and large moves mixed where the motor runs at its greatest speed, time stamps that \
                        jitter, a supply that sags",
        next_check: "Ripple of the motor current on the bench, brushes, screw and bearing of the mechanism.",
        withdrawn_if: "the scatter goes with the size of the move",
    },
    on: COMMAND,
    begin: |_| Box::new(outcome as Judge),
};

/// Rise from 10 to 90 % per time constant: ln 9.
const RISE_PER_LAG: f64 = 2.197;

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
    bands
}

/// Standard deviation over median, and what the fits make of it.
fn scatter(band: &[(Response, f64)], spread: &Spread) -> f64 {
    let all = (spread.p90 - spread.p10) / SDS_OF_10_TO_90;
    let of_fits: Vec<f64> = band
        .iter()
        .filter_map(|(response, _)| Some(RISE_PER_LAG * response.fit.ok()?.lag_sd_s?))
        .collect();
    let of_fit = self::spread(&of_fits).map_or(0.0, |fits| fits.median);
    (all * all - of_fit * of_fit).max(0.0).sqrt() / spread.median
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
        let times: Vec<f64> = band.iter().map(|(_, rise_s)| *rise_s).collect();
        let Some(resolution) = band.iter().find_map(|(response, _)| response.resolution) else {
            continue;
        };
        // Single times must be told: a median of many averages the scatter away.
        let StatedTime::Singly(spread) = stated_time(&times, resolution, false) else {
            continue;
        };
        n_told += 1;
        let share = scatter(band, &spread);
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
