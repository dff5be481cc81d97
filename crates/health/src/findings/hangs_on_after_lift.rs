//! The clutch stays closed after the driver has lifted, and whose part that is.

use halfshaft_driveline::response::ladder::Pedal;

use super::late_on_throttle::{delay, least_median_s, parts, slowest};
use super::{About, Drive, Entry, FindingId, Fired, Judge, Outcome};
use crate::limits::rounded;
use crate::nouns::{Grade, Severity};
use crate::trust::COMMAND;

pub const ENTRY: Entry = Entry {
    about: &About {
        id: FindingId::HangsOnAfterLift,
        title: "Hangs on after lift-off",
        severities: &[Severity::Note],
        rule: |limits| {
            format!(
                "over {} lifts or more, the median time from the throttle below 5 % to a response below 10 % is more \
                 than {:.0} ms; a lift between gears does not count",
                limits.actuator.pedal_events,
                1e3 * limits.actuator.lift_off_s
            )
        },
        needs: "throttle, clutch command, a state of the clutch",
        could_also_be: "a stability function that keeps the pack closed on purpose, braking in the same moment",
        next_check: "The part named: calibration of the controller, or spring and free run of the actuator.",
        owner_sees: "The clutch stays closed too long after you lift off the throttle.",
        owner_does: "Have a workshop check the settings of the control unit and the clutch motor.",
        withdrawn_if: "the controller is meant to hold on",
    },
    on: COMMAND,
    begin: |_| Box::new(outcome as Judge),
};

fn outcome(drive: &Drive) -> Outcome {
    let actuator = drive.actuator.as_ref().map_err(Clone::clone)?;
    let delay = delay(drive, actuator.lift_off.as_ref(), Pedal::Off)?;
    let limit_s = drive.limits.actuator.lift_off_s;
    let Some(spread) = delay
        .whole
        .filter(|spread| least_median_s(spread) > limit_s)
    else {
        return Ok(None);
    };
    Ok(Some(Fired {
        severity: Severity::Note,
        grade: Grade::B.max(drive.quality.grade),
        summary: format!(
            "The clutch was open {:.2} s after the driver had lifted, by the median of {} lifts (limit {} s); {}.",
            spread.median,
            spread.n_events,
            rounded(limit_s, 1),
            parts(delay)
        ),
        evidence: slowest(&actuator.ladders, Pedal::Off).windows(),
    }))
}

#[cfg(test)]
mod tests {
    use super::super::testing::{Scene, climbs, says};
    use super::*;

    fn scene(n: usize, controller_s: f64, mechanism_s: f64) -> Scene {
        let mut scene = Scene {
            actuator: climbs(n, Pedal::Off, (controller_s, mechanism_s, 0.0)),
            ..Scene::whole()
        };
        scene.seen.push("throttle".to_owned());
        scene
    }

    #[test]
    fn holds_on() {
        let fired = scene(6, 0.8, 0.15).outcome(&ENTRY).unwrap().unwrap();
        assert_eq!(fired.severity, Severity::Note);
        says(&fired.summary, "0.95 s after the driver had lifted");
        says(&fired.summary, "the controller's part: 0.80 s");
        says(
            &scene(6, 0.1, 0.9).outcome(&ENTRY).unwrap().unwrap().summary,
            "the mechanism's part",
        );
    }

    #[test]
    fn letting_go_at_once_is_none_and_presses_are_another_matter() {
        assert_eq!(scene(6, 0.1, 0.3).outcome(&ENTRY), Ok(None));
        let mut presses = scene(6, 0.1, 0.3);
        presses.actuator = climbs(9, Pedal::On, (0.8, 0.1, 0.0));
        says(&presses.outcome(&ENTRY).unwrap_err(), "0 of 0 lifts");
    }

    #[test]
    fn without_throttle_or_enough_lifts_it_was_not_checked() {
        says(
            &scene(3, 0.8, 0.1).outcome(&ENTRY).unwrap_err(),
            "3 of 3 lifts",
        );
        let blind = scene(6, 0.8, 0.1).without("throttle");
        says(&blind.outcome(&ENTRY).unwrap_err(), "throttle");
    }
}
