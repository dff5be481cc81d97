//! The actuator lets go slowly.
//!
//! From a lag driven by the logged command: a controller that fades out on purpose does not
//! make it slow. The map's rated time is of closing and says nothing of letting go, so without
//! earlier drives only the absolute limit is there.

use crate::reason::Reason;
use halfshaft_driveline::response::Direction;

use super::timing::{Judged, grade, longest, normal_s, whole_way};
use super::{About, Drive, Entry, FindingId, Fired, Judge, Outcome};
use crate::baseline::Quantity as Past;
use crate::limits::rounded;
use crate::nouns::Severity;
use crate::trust::COMMAND;

pub const ENTRY: Entry = Entry {
    about: &About {
        id: FindingId::SlowRelease,
        title: "Slow release",
        severities: &[Severity::LookSoon],
        rule: |limits| {
            let own = &limits.actuator;
            format!(
                "over {} falls of the command or more with the oil above {} °C and the supply above {} V, the median \
                 time to the last 10 % is more than {} times that of earlier drives, or more than {} s (than {3} times \
                 the rated time of closing, where that is longer)",
                own.least_steps,
                rounded(own.warm_from_c, 0),
                rounded(own.voltage_from_v, 0),
                rounded(own.release_ratio, 1),
                rounded(own.release_s, 1)
            )
        },
        needs: "clutch command, a signal of what the mechanism did, oil temperature; supply voltage where there is one",
        could_also_be: "thick or wrong oil, a unit that is meant to release slowly, a position sensor that lags",
        next_check: "Return spring and free run of the mechanism, motor current and back-drive on the bench.",
        owner_sees: "The clutch takes too long to open.",
        owner_does: "Have a workshop check the return spring, the mechanism and the clutch motor.",
        withdrawn_if: "the unit released as slowly when new",
    },
    on: COMMAND,
    begin: |_| Box::new(outcome as Judge),
};

fn outcome(drive: &Drive) -> Outcome {
    let limits = &drive.limits.actuator;
    let way = whole_way(drive, Direction::Release)?;
    let expected = drive.baseline.get(Past::ReleaseTime);
    // A unit rated to close slowly may let go as slowly.
    let rated_s = drive.baseline.rated_s().unwrap_or(0.0);
    let by_clock_s = limits.release_s.max(limits.release_ratio * rated_s);
    let limit_s = expected.as_ref().map_or(by_clock_s, |usual| {
        (limits.release_ratio * usual.value).min(by_clock_s)
    });
    let spread = match way.judged {
        Judged::Median(spread, _) => spread,
        Judged::Below(below_s) if below_s <= limit_s => return Ok(None),
        Judged::Below(below_s) => {
            return Err(Reason::SlowSamples {
                from_s: below_s,
                limit_s,
            });
        }
    };
    let normal_s = normal_s(&way.timed, spread.median);
    let mut parts = Vec::new();
    let past = drive
        .baseline
        .departure(Past::ReleaseTime, normal_s, limits.release_ratio);
    if let Some(departure) = past {
        parts.push(format!(
            "{normal_s:.2} s at 60 °C and 13.5 V, {}",
            departure.words("s")
        ));
    }
    if spread.median > by_clock_s {
        parts.push(format!(
            "{:.2} s (limit {} s)",
            spread.median,
            rounded(by_clock_s, 1)
        ));
    }
    if parts.is_empty() {
        return Ok(None);
    }
    Ok(Some(Fired {
        severity: Severity::LookSoon,
        grade: grade(drive, way.judged, limits.least_steps as usize),
        summary: format!(
            "On release, {} took, by the median of {}, {}.",
            way.name,
            spread.n_events,
            parts.join("; ")
        ),
        evidence: longest(&way.timed).windows(),
    }))
}

#[cfg(test)]
mod tests {
    use super::super::testing::{Scene, answers, says};
    use super::*;
    use crate::baseline::Reference;

    fn scene(n: usize, lag_s: f64) -> Scene {
        Scene {
            actuator: answers(n, Direction::Release, |_| (0.03, lag_s, 60.0, 13.5)),
            ..Scene::whole()
        }
    }

    #[test]
    fn slow_by_the_clock_or_by_its_past() {
        // Derived: 0.03 + 2.303·0.5 = 1.18 s.
        let fired = scene(12, 0.5).outcome(&ENTRY).unwrap().unwrap();
        assert_eq!(fired.severity, Severity::LookSoon);
        says(&fired.summary, "1.18 s (limit 0.8 s)");
        // Derived: 0.03 + 2.303·0.2 = 0.49 s, against 0.2 s before.
        let mut own = scene(12, 0.2);
        assert_eq!(own.outcome(&ENTRY), Ok(None));
        let known = Reference {
            value: 0.2,
            n_drives: 2,
        };
        own.baseline.set(Past::ReleaseTime, known);
        says(&own.outcome(&ENTRY).unwrap().unwrap().summary, "2.5 times");
    }

    #[test]
    fn quick_letting_go_is_none_and_slow_closing_is_another_matter() {
        assert_eq!(scene(12, 0.06).outcome(&ENTRY), Ok(None));
        let closing = Scene {
            actuator: answers(12, Direction::Engage, |_| (0.03, 0.9, 60.0, 13.5)),
            ..Scene::whole()
        };
        says(&closing.outcome(&ENTRY).unwrap_err(), "0 moves");
    }

    #[test]
    fn without_enough_falls_or_a_temperature_it_was_not_checked() {
        says(&scene(4, 0.5).outcome(&ENTRY).unwrap_err(), "4 moves");
        let blind = scene(12, 0.5).without("oil.temperature");
        says(&blind.outcome(&ENTRY).unwrap_err(), "oil.temperature");
    }
}
