//! The actuator closes slowly though oil and voltage are as they should be.
//!
//! Times come from a lag driven by the logged command, so a controller that asks slowly does
//! not make the actuator slow. Compared with what the car's earlier drives or the map's rated
//! time lead one to expect, both brought to 60 °C and 13.5 V, with an absolute limit, and with the
//! beginning of the same drive ([`crate::actuator::trend`]).

use crate::reason::{Moves, Reason};
use halfshaft_driveline::response::pool::{Quantity, pool};
use halfshaft_driveline::response::{Direction, Response};

use super::timing::{Judged, WholeWay, grade, judge, longest, normal_s, warm, whole_way};
use super::{About, Drive, Entry, FindingId, Fired, Judge, Outcome};
use crate::actuator::trend::trend;
use crate::actuator::unmixed;
use crate::baseline::Quantity as Past;
use crate::limits::rounded;
use crate::nouns::{Grade, Severity};
use crate::trust::COMMAND;

/// Moves, each with its time, s.
type Timed = Vec<(Response, f64)>;

pub const ENTRY: Entry = Entry {
    about: &About {
        id: FindingId::LazyActuator,
        title: "Slow actuator",
        severities: &[Severity::LookSoon],
        rule: |limits| {
            let own = &limits.actuator;
            format!(
                "over {} moves of the command or more with the oil above {} °C and the supply above {} V, the median \
                 time is more than {} times that of earlier drives or the rated one, or, where the map gives no rated \
                 time, the median rise from 10 to 90 % is more than {} s; or, over {} moves or more, closing \
                 takes {} times as long at the end of the drive as at its beginning, and as colder oil and a weaker supply \
                 explain",
                own.least_steps,
                rounded(own.warm_from_c, 0),
                rounded(own.voltage_from_v, 0),
                rounded(own.lazy_ratio, 1),
                rounded(own.lazy_rise_s, 1),
                own.trend_moves,
                rounded(own.trend_ratio, 1)
            )
        },
        needs: "clutch command, a signal of what the mechanism did, oil temperature; supply voltage where there is one",
        could_also_be: "thick or wrong oil, a voltage that is lower at the motor than where it is measured, a rated \
                        time that was meant for another way or load, a position sensor that lags",
        next_check: "Motor current and free run on the bench, plug and cable, the gear of the mechanism by hand.",
        owner_sees: "The motor that closes the clutch is slower than it should be.",
        owner_does: "Have a workshop measure the current of the clutch motor and check its plug, cable and gear.",
        withdrawn_if: "the unit was as slow when new, or the rated time of the map is wrong",
    },
    on: COMMAND,
    begin: |_| Box::new(outcome as Judge),
};

/// What closing takes against what it should, in words, with its moves and its median; nothing where it is
/// as it should be.
fn slow(drive: &Drive) -> Result<(Vec<String>, WholeWay), Reason> {
    let limits = &drive.limits.actuator;
    let way = whole_way(drive, Direction::Engage)?;
    let rises = pool(
        &warm(drive, Direction::Engage)?,
        Direction::Engage,
        Quantity::RiseTime,
    );
    let rise = judge(&rises, limits, Moves::OfCommand);
    let expected = drive.baseline.get(Past::TransitionTime);
    let mut parts = Vec::new();
    match way.judged {
        Judged::Median(spread, _) => {
            let median_s = normal_s(&way.timed, spread.median);
            // A rise is compared with rises; where there were none, with the whole way, which is longer.
            let has_rises = way.is_rise && drive.baseline.get(Past::RiseTime).is_some();
            let quantity = match has_rises {
                true => Past::RiseTime,
                false => Past::TransitionTime,
            };
            let past = drive
                .baseline
                .departure(quantity, median_s, limits.lazy_ratio);
            if let Some(departure) = past {
                parts.push(format!(
                    "{} took {median_s:.2} s (median of {}, at 60 °C and 13.5 V), {}",
                    way.name,
                    spread.n_events,
                    departure.words("s")
                ));
            }
        }
        Judged::Below(below_s) => {
            let limit_s = expected
                .as_ref()
                .map_or(limits.lazy_rise_s, |usual| limits.lazy_ratio * usual.value);
            if below_s > limit_s {
                return Err(Reason::SlowSamples {
                    from_s: below_s,
                    limit_s,
                });
            }
        }
    }
    if let Ok(Judged::Median(spread, _)) = rise
        && drive.baseline.rated_s().is_none()
        && spread.median > limits.lazy_rise_s
    {
        parts.push(format!(
            "the rise from 10 to 90 % took {:.2} s (median of {}, limit {} s)",
            spread.median,
            spread.n_events,
            rounded(limits.lazy_rise_s, 1)
        ));
    }
    Ok((parts, way))
}

/// What became slower over the drive, in words, with the moves it is seen in.
fn slower(drive: &Drive) -> Result<Option<(String, Timed)>, Reason> {
    let limits = &drive.limits.actuator;
    let all = drive.actuator.as_ref().map_err(Clone::clone)?;
    let moves = unmixed(
        &all.responses,
        warm(drive, Direction::Engage)?,
        limits.mixed_s,
    );
    let whole: fn(&Response) -> Option<f64> = |response| {
        let fit = response.fit.ok()?;
        Some(fit.transition_time_s())
    };
    // Quick samples show the rise best, slow ones the whole way.
    let rise = trend(&moves, Response::rise_time_s, limits).map(|found| {
        (
            found,
            "the rise from 10 to 90 %",
            Response::rise_time_s as fn(&_) -> _,
        )
    });
    let whole = trend(&moves, whole, limits).map(|found| (found, "command to 90 %", whole));
    let surest = match (rise, whole) {
        (Ok(rise), Ok(whole)) if rise.0.band.0 > whole.0.band.0 => rise,
        (_, Ok(whole)) => whole,
        (rise, Err(_)) => rise?,
    };
    let (trend, name, time) = surest;
    if trend.band.0 <= limits.trend_ratio * trend.explained {
        return Ok(None);
    }
    let words = format!(
        "from the first of {} moves of this drive to the last {name} grew {:.1} times ({:.1} to {:.1}, limit {} times), by \
         the median {:.2} s in the first third and {:.2} s in the last; colder oil and a weaker supply explain {:.1} \
         times at the most",
        trend.n_moves,
        trend.ratio,
        trend.band.0,
        trend.band.1,
        rounded(limits.trend_ratio, 1),
        trend.thirds_s[0],
        trend.thirds_s[1],
        trend.explained
    );
    let timed = moves
        .iter()
        .filter_map(|response| Some((*response, time(response)?)));
    Ok(Some((words, timed.collect())))
}

fn outcome(drive: &Drive) -> Outcome {
    let least = drive.limits.actuator.least_steps as usize;
    let slower = slower(drive).unwrap_or(None);
    let (parts, grade, timed) = match (slow(drive), slower) {
        (Err(why), None) => return Err(why),
        (Ok((parts, _)), None) if parts.is_empty() => return Ok(None),
        (Ok((mut parts, way)), slower) => {
            parts.extend(slower.map(|(words, _)| words));
            (parts, grade(drive, way.judged, least), way.timed)
        }
        (Err(_), Some((words, timed))) => {
            let grade = Grade::B.max(drive.quality.grade);
            (vec![words], grade, timed)
        }
    };
    Ok(Some(Fired {
        severity: Severity::LookSoon,
        grade,
        summary: format!("Closing, {}.", parts.join("; ")),
        evidence: longest(&timed).windows(),
    }))
}

#[cfg(test)]
mod tests {
    use super::super::testing::{Scene, answers, says};
    use super::*;
    use crate::baseline::{Baseline, Reference};
    use halfshaft_model::Vehicle;

    fn scene(n: usize, dead_s: f64, lag_s: f64) -> Scene {
        let vehicle = Vehicle {
            rated_rise_s: Some(0.15),
            ..Vehicle::default()
        };
        Scene {
            actuator: answers(n, Direction::Engage, |_| (dead_s, lag_s, 60.0, 13.5)),
            baseline: Baseline::of_map(&vehicle),
            ..Scene::whole()
        }
    }

    /// Closing becomes so many times as slow over `n` moves, in oil from 70 °C to so warm; nothing else is slow.
    fn grows(n: usize, ratio: f64, last_oil_c: f64) -> Option<Fired> {
        let mut scene = scene(1, 0.0, 0.0);
        scene.actuator = answers(n, Direction::Engage, |index| {
            let share = index as f64 / (n - 1) as f64;
            let oil_c = if share < 0.5 { 70.0 } else { last_oil_c };
            (0.0, 0.03 * ratio.powf(share), oil_c, 13.5)
        });
        scene.outcome(&ENTRY).unwrap()
    }

    #[test]
    fn slower_at_the_end_of_the_drive_than_at_its_beginning() {
        let fired = grows(31, 2.0, 70.0).unwrap();
        assert_eq!(fired.severity, Severity::LookSoon);
        says(
            &fired.summary,
            "from the first of 31 moves of this drive to the last",
        );
        says(&fired.summary, "grew 2.0 times");
        // Limit 1.3; and 5 K below 60 °C explain 10 % more.
        assert!(grows(31, 1.28, 70.0).is_none() && grows(31, 1.32, 70.0).is_some());
        assert!(grows(31, 1.42, 55.0).is_none() && grows(31, 1.44, 55.0).is_some());
        assert!(grows(10, 2.0, 70.0).is_some());
    }

    #[test]
    fn slower_than_rated_or_than_half_a_second() {
        // Derived: 0.06 + 2.303·0.1 = 0.290 s are 1.94 times the rated 0.15 s.
        let fired = scene(12, 0.06, 0.1).outcome(&ENTRY).unwrap().unwrap();
        assert_eq!(fired.severity, Severity::LookSoon);
        says(&fired.summary, "0.29 s (median of 12");
        says(&fired.summary, "1.9 times the rated value");
        assert_eq!(fired.evidence.len(), 5);
        // Rated to be slow, it is not lazy by the clock.
        let mut meant = scene(12, 0.06, 0.25);
        meant.baseline = Baseline::of_map(&Vehicle {
            rated_rise_s: Some(0.65),
            ..Vehicle::default()
        });
        assert_eq!(meant.outcome(&ENTRY), Ok(None));
        // Without anything to compare with 0.29 s is not slow, but a rise of 0.55 s is.
        let bare = |lag_s: f64| Scene {
            baseline: Baseline::default(),
            ..scene(12, 0.06, lag_s)
        };
        assert_eq!(bare(0.1).outcome(&ENTRY), Ok(None));
        says(
            &bare(0.25).outcome(&ENTRY).unwrap().unwrap().summary,
            "limit 0.5 s",
        );
    }

    #[test]
    fn its_own_past_goes_before_the_rated_time() {
        let mut scene = scene(12, 0.06, 0.1);
        let known = Reference {
            value: 0.27,
            n_drives: 4,
        };
        scene.baseline.set(Past::TransitionTime, known);
        assert_eq!(scene.outcome(&ENTRY), Ok(None));
    }

    #[test]
    fn as_rated_is_not_lazy() {
        assert_eq!(scene(12, 0.03, 0.055).outcome(&ENTRY), Ok(None));
    }

    #[test]
    fn cold_oil_and_a_weak_battery_do_not_count() {
        for (oil_c, volts) in [(10.0, 13.5), (60.0, 11.5)] {
            let scene = Scene {
                actuator: answers(30, Direction::Engage, |_| (0.06, 0.4, oil_c, volts)),
                ..scene(0, 0.0, 0.1)
            };
            says(&scene.outcome(&ENTRY).unwrap_err(), "10 are needed");
        }
    }

    #[test]
    fn few_moves_or_no_temperature_are_not_checked() {
        says(&scene(9, 0.06, 0.4).outcome(&ENTRY).unwrap_err(), "9 moves");
        let blind = scene(12, 0.06, 0.4).without("oil.temperature");
        says(&blind.outcome(&ENTRY).unwrap_err(), "oil.temperature");
        says(
            &Scene::whole().outcome(&ENTRY).unwrap_err(),
            "clutch.command",
        );
    }

    #[test]
    fn the_limit_is_one_and_a_half_times_the_rated_time() {
        // Derived: a dead time of 0.06 s and a lag of (T − 0.06)/2.3026 are T to 90 %; 1.5 times
        // the rated 0.15 s are 0.225 s, and a twentieth to each side is 0.214 and 0.236 s.
        let fires = |seconds: f64| {
            let lag_s = (seconds - 0.06) / std::f64::consts::LN_10;
            scene(12, 0.06, lag_s).outcome(&ENTRY).unwrap().is_some()
        };
        assert!(!fires(0.95 * 0.225));
        assert!(fires(1.05 * 0.225));
        // A rise of 0.5 s is a lag of 0.5/2.1972 s, whatever the car did before.
        let rise_fires = |seconds: f64| {
            let bare = Scene {
                baseline: Baseline::default(),
                ..scene(12, 0.06, seconds / 9.0_f64.ln())
            };
            bare.outcome(&ENTRY).unwrap().is_some()
        };
        assert!(!rise_fires(0.95 * 0.5));
        assert!(rise_fires(1.05 * 0.5));
    }
}
