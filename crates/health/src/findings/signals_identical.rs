//! One signal under two names.
//!
//! Two wheels on a road never turn exactly alike through bends. When they do to the last
//! digit, the car or the map gives one number twice, and nothing about the clutch can be
//! read from it. On straights alone it may be a pack that holds.

use super::{About, Drive, Entry, FindingId, Fired, Judge, Outcome};
use crate::evidence::window;
use crate::nouns::Severity;
use crate::reason::DriveFact;
use crate::trust::NOTHING;

pub const ENTRY: Entry = Entry {
    about: &About {
        id: FindingId::SignalsIdentical,
        title: "Left and right are the same signal",
        severities: &[Severity::Act],
        rule: |_| {
            "the rear wheel speeds are exactly equal throughout the drive, bends included"
                .to_owned()
        },
        needs: "both rear wheel speeds, and bends known from a yaw rate or the front wheels",
        could_also_be: "a car that sends the axle's speed for both wheels, a map that points twice at the same bits",
        next_check: "Compare both places in the map; lift one rear wheel, turn it by hand and see which channel moves.",
        owner_sees: "The map reads both rear wheels from one place.",
        owner_does: "Nothing to do on the car. Whoever wrote the map corrects one of the two places.",
        withdrawn_if: "the channels move apart when one wheel is turned",
    },
    on: NOTHING,
    begin: |_| Box::new(outcome as Judge),
};

fn outcome(drive: &Drive) -> Outcome {
    drive.rear_wheels()?;
    let calibration = drive.calibration;
    if calibration.are_signals_identical {
        let span = drive.span();
        return Ok(Some(Fired {
            severity: Severity::Act,
            grade: drive.quality.grade,
            summary: "The two rear wheel speeds are equal to the last digit all through the drive, bends included: \
                      they are one signal, and slip and heat from them mean nothing."
                .to_owned(),
            evidence: vec![window(
                span.start,
                span.end,
                &[("largest difference of the rear wheels", 0.0, "rad/s")],
            )],
        }));
    }
    // Equal on straights only: a pack that holds does that too.
    if calibration
        .points
        .iter()
        .all(|point| point.ratio_log == 0.0)
    {
        return Err(DriveFact::RoadWithBends.into());
    }
    Ok(None)
}

#[cfg(test)]
mod tests {
    use super::super::testing::{Scene, says};
    use super::*;
    use halfshaft_driveline::RatioPoint;
    use halfshaft_model::Time;

    fn scene(ratio_log: f64) -> Scene {
        let mut scene = Scene::whole();
        scene.calibration.points = vec![RatioPoint {
            km: 3.0,
            time: Time::from_seconds(60.0),
            ratio_log,
            heading_per_m: Some(0.0),
            is_accepted: true,
        }];
        scene
    }

    #[test]
    fn equal_through_bends_is_one_signal() {
        let mut one = scene(0.0);
        one.calibration.are_signals_identical = true;
        let fired = one.outcome(&ENTRY).unwrap().unwrap();
        assert_eq!(fired.severity, Severity::Act);
        assert_eq!(scene(1e-5).outcome(&ENTRY), Ok(None));
    }

    #[test]
    fn equal_on_straights_alone_says_nothing() {
        says(&scene(0.0).outcome(&ENTRY).unwrap_err(), "too few bends");
        let lacking = scene(0.0).without("wheel.rear.left");
        says(&lacking.outcome(&ENTRY).unwrap_err(), "wheel.rear.left");
    }
}
