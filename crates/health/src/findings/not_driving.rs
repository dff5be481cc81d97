//! Wheels that turn as no driven car's do: towed, one wheel up, on rollers.
//!
//! Such stretches are no use of the car and no evidence against it: [`crate::driving`]
//! leaves them out of everything else, and this says so.

use super::{About, Drive, Entry, FindingId, Fired, Judge, Outcome};
use crate::evidence::Strongest;
use crate::nouns::Severity;
use crate::reason::MapFact;
use crate::trust::NOTHING;

pub const ENTRY: Entry = Entry {
    about: &About {
        id: FindingId::NotDriving,
        title: "Towed, one wheel up, or on rollers",
        severities: &[Severity::Note],
        rule: |limits| {
            format!(
                "for more than {} s a rear wheel stands while the other or the car goes faster than \
                 {} km/h, or the car stands while a rear wheel turns that fast; \
                 no figure of duty counts it",
                limits.driving.not_driving_s, limits.driving.moving_from_km_per_h
            )
        },
        needs: "both rear wheel speeds, rolling radius; the front wheels or a road speed to see rollers",
        could_also_be: "a dead wheel-speed sensor, a hand brake that binds",
        next_check: "Ask where and how the car was moved; if it was driven, check the sensor of the wheel that stands.",
        owner_sees: "For a part of the recording the car was towed, on rollers or had a wheel up. That part does not count.",
        owner_does: "Nothing, if you know of it. If the car was driven, have the sensor of the wheel that stood checked.",
        withdrawn_if: "the car was driven on the road at that time: then a wheel-speed sensor is at fault",
    },
    on: NOTHING,
    begin: |_| Box::new(outcome as Judge),
};

fn outcome(drive: &Drive) -> Outcome {
    drive.rear_wheels()?;
    if !drive.not_driving.can_be_told {
        return Err(MapFact::Radius.into());
    }
    let [wheel, car] = &drive.not_driving.stretches;
    let mut parts = Vec::new();
    for (stretches, words) in [
        (
            wheel,
            "one rear wheel stood while the other or the car went",
        ),
        (car, "the car stood while its rear wheels turned"),
    ] {
        if let Some(longest) = stretches.greatest() {
            parts.push(format!(
                "{words}, for up to {longest:.0} s (limit {} s)",
                drive.limits.driving.not_driving_s
            ));
        }
    }
    let mut summary = parts.join("; ");
    let Some(first) = summary.get(..1).map(str::to_uppercase) else {
        return Ok(None);
    };
    summary.replace_range(..1, &first);
    let mut all = Strongest::default();
    for shown in wheel.windows().into_iter().chain(car.windows()) {
        all.add(shown.span.seconds(), shown);
    }
    Ok(Some(Fired {
        severity: Severity::Note,
        grade: drive.quality.grade,
        summary: format!(
            "{summary}. These {:.0} s are left out of distance, heat, its time and class of use.",
            drive.not_driving.seconds
        ),
        evidence: all.windows(),
    }))
}

#[cfg(test)]
mod tests {
    use super::super::testing::{Scene, says};
    use super::*;
    use crate::evidence::window;
    use halfshaft_model::Time;

    fn scene(wheel_s: f64, car_s: f64) -> Scene {
        let mut scene = Scene::whole();
        for (kind, seconds) in [wheel_s, car_s].into_iter().enumerate() {
            if seconds > 0.0 {
                let shown = window(Time(0), Time::from_seconds(seconds), &[]);
                scene.not_driving.stretches[kind].add(seconds, shown);
                scene.not_driving.seconds += seconds;
            }
        }
        scene
    }

    #[test]
    fn each_kind_is_said_with_its_time() {
        let fired = scene(12.0, 30.0).outcome(&ENTRY).unwrap().unwrap();
        assert_eq!(fired.severity, Severity::Note);
        says(&fired.summary, "One rear wheel stood");
        says(
            &fired.summary,
            "the car stood while its rear wheels turned, for up to 30 s",
        );
        says(&fired.summary, "These 42 s are left out");
        assert_eq!(fired.evidence.len(), 2);
        let rollers = scene(0.0, 30.0).outcome(&ENTRY).unwrap().unwrap();
        says(&rollers.summary, "The car stood");
    }

    #[test]
    fn a_driven_car_shows_none() {
        assert_eq!(scene(0.0, 0.0).outcome(&ENTRY), Ok(None));
    }

    #[test]
    fn without_wheels_or_radius_it_was_not_checked() {
        let reason = scene(12.0, 0.0).without("wheel.rear.left").outcome(&ENTRY);
        says(&reason.unwrap_err(), "wheel.rear.left");
        let mut without = scene(12.0, 0.0);
        without.not_driving.can_be_told = false;
        says(&without.outcome(&ENTRY).unwrap_err(), "rolling radius");
    }
}
