//! Left and right under each other's name.
//!
//! In every bend the outer wheel is the faster one. When the drive shows the reverse, the
//! wheels, or the turning rate, carry the wrong sign in the map. Nothing is swapped here:
//! the heat does not depend on it, every cause does.

use crate::reason::DriveFact;
use halfshaft_driveline::Mode;

use super::{About, Drive, Entry, FindingId, Fired, Judge, Outcome};
use crate::evidence::window;
use crate::nouns::Severity;
use crate::trust::NOTHING;

/// Curvature from which a stretch is counted as a bend in the evidence, 1/m.
const BEND_PER_M: f64 = 1.0 / 400.0;

pub const ENTRY: Entry = Entry {
    about: &About {
        id: FindingId::SidesExchanged,
        title: "Left and right look swapped",
        severities: &[Severity::Act],
        rule: |_| {
            "through the bends of the drive the outer rear wheel is the slower one, plainly or significantly"
                .to_owned()
        },
        needs: "both rear wheel speeds, rolling radius, rear track, and a yaw rate or both front wheel speeds",
        could_also_be: "a yaw rate of the wrong sign (positive is to the left), front wheels swapped in the map \
                        when they tell the bends, wheel-speed plugs exchanged on the car",
        next_check: "Turn the rear left wheel by hand with the axle lifted, and see which channel moves.",
        owner_sees: "Left and right look swapped in the map.",
        owner_does: "Nothing to do on the car. Whoever wrote the map swaps the two sides and makes the report again.",
        withdrawn_if: "the channel moves that bears the name of the wheel turned, and the yaw rate is positive in a \
                       bend to the left",
    },
    on: NOTHING,
    begin: |_| Box::new(outcome as Judge),
};

fn outcome(drive: &Drive) -> Outcome {
    drive.bends()?;
    let calibration = drive.calibration;
    if calibration.mode == Mode::ShortestThird {
        return Err(DriveFact::KnownBends.into());
    }
    if !calibration.are_sides_swapped {
        if calibration.points.is_empty() {
            return Err(DriveFact::LongRoad.into());
        }
        return Ok(None);
    }
    let witness = match calibration.mode {
        Mode::FrontWheels => "the front wheels",
        _ => "the yaw rate",
    };
    let span = drive.span();
    let bends = calibration
        .points
        .iter()
        .filter(|point| {
            point
                .heading_per_m
                .is_some_and(|turn| turn.abs() > BEND_PER_M)
        })
        .count();
    Ok(Some(Fired {
        severity: Severity::Act,
        grade: drive.quality.grade,
        summary: format!(
            "In the bends, known from {witness}, the outer rear wheel is the slower one: left and right look \
             swapped in the map. Heat does not depend on it; figures of bends, tyres and causes do.",
        ),
        evidence: vec![window(
            span.start,
            span.end,
            &[("stretches of 50 m in bends", bends as f64, "1")],
        )],
    }))
}

#[cfg(test)]
mod tests {
    use super::super::testing::{Scene, says};
    use super::*;
    use halfshaft_driveline::RatioPoint;
    use halfshaft_model::Time;

    fn scene(are_swapped: bool) -> Scene {
        let mut scene = Scene::whole();
        scene.calibration.are_sides_swapped = are_swapped;
        scene.calibration.points = vec![RatioPoint {
            km: 3.0,
            time: Time::from_seconds(60.0),
            ratio_log: 0.01,
            heading_per_m: Some(-0.01),
            is_accepted: false,
        }];
        scene
    }

    #[test]
    fn it_follows_the_bends() {
        let fired = scene(true).outcome(&ENTRY).unwrap().unwrap();
        assert_eq!(fired.severity, Severity::Act);
        assert_eq!(fired.evidence[0].values[0].value, 1.0);
        assert_eq!(scene(false).outcome(&ENTRY), Ok(None));
    }

    #[test]
    fn without_a_witness_or_road_it_was_not_checked() {
        let blind = scene(false)
            .without("yaw.rate")
            .without("wheel.front.right");
        says(&blind.outcome(&ENTRY).unwrap_err(), "neither a yaw rate");
        let mut parked = scene(false);
        parked.calibration.points.clear();
        says(&parked.outcome(&ENTRY).unwrap_err(), "no stretch of road");
        let mut crowd = scene(false);
        crowd.calibration.mode = Mode::ShortestThird;
        says(
            &crowd.outcome(&ENTRY).unwrap_err(),
            "bends of this drive are not known",
        );
    }
}
