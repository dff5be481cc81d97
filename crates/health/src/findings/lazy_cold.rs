//! The actuator is slow when cold, and as it should be when warm.
//!
//! Growth of the rise per kelvin below 20 °C, learned together with what the voltage does
//! (`response::normal`), from moves on both sides of 20 °C.

use crate::reason::{DriveFact, Paired, Reason};
use halfshaft_driveline::response::normal::{COLD_BELOW_C, Measured, Slopes};
use halfshaft_driveline::response::resolution::spread;
use halfshaft_driveline::response::{Direction, Response};
use halfshaft_model::channel::name;

use super::timing::longest;
use super::{About, Drive, Entry, FindingId, Fired, Judge, Outcome};
use crate::nouns::{Grade, Severity};
use crate::trust::COMMAND;

pub const ENTRY: Entry = Entry {
    about: &About {
        id: FindingId::LazyCold,
        title: "Slow when cold",
        severities: &[Severity::Note],
        rule: |limits| {
            let own = &limits.actuator;
            format!(
                "the rise from 10 to 90 % of closing grows by more than {} % per K below 20 °C, over {} moves or more on \
                 either side of it",
                100.0 * own.cold_growth_per_k,
                own.cold_events
            )
        },
        needs: "clutch command, a signal of what the mechanism did, oil temperature, supply voltage, a drive from cold to \
                warm",
        could_also_be: "a battery low after the start, a sensor that is warmer than the oil at the mechanism",
        next_check: "Grade and age of the oil.",
        owner_sees: "The clutch closes slowly when the oil is cold.",
        owner_does: "Have the grade and the age of the axle oil checked.",
        withdrawn_if: "the rise stays long when the same car is warm",
    },
    on: COMMAND,
    begin: |_| Box::new(outcome as Judge),
};

fn outcome(drive: &Drive) -> Outcome {
    let actuator = drive.actuator.as_ref().map_err(Clone::clone)?;
    drive.all_of(&[name::OIL_TEMPERATURE, name::SUPPLY_VOLTAGE])?;
    let limits = &drive.limits.actuator;
    let all: Vec<(Response, f64, Measured)> = actuator
        .responses
        .iter()
        .filter(|response| response.direction() == Direction::Engage)
        .filter_map(|response| {
            let time_s = response.rise_time_s()?;
            let measured = Measured {
                time_s,
                oil_c: response.oil_c?,
                supply_v: response.supply_v?,
            };
            Some((*response, time_s, measured))
        })
        .collect();
    let (cold, warm): (Vec<_>, Vec<_>) = all
        .iter()
        .partition(|(.., measured)| measured.oil_c < COLD_BELOW_C);
    let least = limits.cold_events as usize;
    if cold.len() < least || warm.len() < least {
        return Err(Reason::TooFewOfEach {
            what: Paired::ColdAndWarmMoves,
            found: [cold.len(), warm.len()],
            needed: least,
        });
    }
    let measured: Vec<Measured> = all.iter().map(|(.., measured)| *measured).collect();
    let slopes = Slopes::learned(&measured);
    if !slopes.growth_is_learned {
        return Err(DriveFact::ColdSpread.into());
    }
    let median = |of: &[&(Response, f64, Measured)]| {
        let times: Vec<f64> = of.iter().map(|(_, time_s, _)| *time_s).collect();
        spread(&times).map_or(0.0, |spread| spread.median)
    };
    let (cold_s, warm_s) = (median(&cold), median(&warm));
    let mean_cold_k = cold
        .iter()
        .map(|(.., measured)| COLD_BELOW_C - measured.oil_c)
        .sum::<f64>()
        / cold.len() as f64;
    let limit = limits.cold_growth_per_k;
    let shown = 1.0 + limits.cold_half_share * limit * mean_cold_k;
    if slopes.growth_per_k <= limit || cold_s < shown * warm_s {
        return Ok(None);
    }
    let timed: Vec<(Response, f64)> = cold
        .iter()
        .map(|(response, time_s, _)| (*response, *time_s))
        .collect();
    Ok(Some(Fired {
        severity: Severity::Note,
        grade: Grade::B.max(drive.quality.grade),
        summary: format!(
            "Below 20 °C the rise of closing grew by {:.1} % per K (limit {} %): {cold_s:.2} s by the median of {} \
             moves below, {warm_s:.2} s of {} above.",
            100.0 * slopes.growth_per_k,
            100.0 * limit,
            cold.len(),
            warm.len()
        ),
        evidence: longest(&timed).windows(),
    }))
}

#[cfg(test)]
mod tests {
    use super::super::testing::{Scene, answers, says};
    use super::*;

    fn scene(n: usize, growth: f64) -> Scene {
        let mut scene = Scene {
            actuator: answers(n, Direction::Engage, |index| {
                let oil_c = -10.0 + index as f64;
                let lag_s = 0.06 * (1.0 + growth * (20.0 - oil_c).max(0.0));
                (0.03, lag_s, oil_c, 13.5)
            }),
            ..Scene::whole()
        };
        scene.seen.push("supply.voltage".to_owned());
        scene
    }

    #[test]
    fn growth_per_kelvin() {
        let fired = scene(60, 0.04).outcome(&ENTRY).unwrap().unwrap();
        assert_eq!(fired.severity, Severity::Note);
        says(&fired.summary, "4.0 % per K (limit 2 %)");
        assert!(fired.evidence[0].span.start.seconds() < 60.0);
    }

    #[test]
    fn the_usual_growth_is_none() {
        assert_eq!(scene(60, 0.01).outcome(&ENTRY), Ok(None));
        assert_eq!(scene(60, 0.0).outcome(&ENTRY), Ok(None));
    }

    #[test]
    fn without_warm_moves_or_voltage_it_was_not_checked() {
        says(&scene(30, 0.04).outcome(&ENTRY).unwrap_err(), "0 above");
        let blind = scene(60, 0.04).without("supply.voltage");
        says(&blind.outcome(&ENTRY).unwrap_err(), "supply.voltage");
    }
}
