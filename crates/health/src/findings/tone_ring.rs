//! A wheel speed that rises and falls with the turns of its wheel.
//!
//! The tone ring is cracked, oval or dirty, or its bearing has play. What it adds to the wheel
//! speed reads as slip and as heat, so what rests on slip stands back, and the grade of the
//! log says so.

use super::{About, Drive, Entry, FindingId, Fired, Judge, Outcome};
use crate::limits::rounded;
use crate::nouns::Severity;
use crate::trust::NOTHING;

pub const ENTRY: Entry = Entry {
    about: &About {
        id: FindingId::ToneRing,
        title: "Tone ring or wheel sensor at fault",
        severities: &[Severity::LookSoon],
        rule: |limits| {
            let limits = &limits.ripple;
            format!(
                "the speed of one rear wheel ripples once or a few times per turn by more than {} % of itself, in {} % of \
                 the stretches judged, and the other wheel by less than {} % of that",
                rounded(100.0 * limits.share, 0),
                rounded(100.0 * limits.of_stretches, 0),
                rounded(100.0 * limits.other_wheel, 0)
            )
        },
        needs: "both rear wheel speeds, two and a half samples or more per ripple, ten stretches of six turns",
        could_also_be: "a wheel or tyre out of round, cobbles under one wheel only",
        next_check: "Look at the ring for a crack, dirt and rust, at the air gap of the sensor, and feel the bearing for play.",
        owner_sees: "One wheel speed is disturbed once a turn, as by a cracked sensor ring.",
        owner_does: "Have the sensor ring and the bearing of that wheel looked at.",
        withdrawn_if: "ring or sensor are found sound and the tyre round, or the ripple stays when they are swapped",
    },
    on: NOTHING,
    begin: |_| Box::new(outcome as Judge),
};

fn outcome(drive: &Drive) -> Outcome {
    drive.rear_wheels()?;
    let Some(ripple) = drive.ripple.as_ref().map_err(Clone::clone)? else {
        return Ok(None);
    };
    Ok(Some(Fired {
        severity: Severity::LookSoon,
        grade: drive.quality.grade,
        summary: format!(
            "The {} rear wheel speed ripples {} by {:.1} % of itself (limit {} %), the other by {:.1} %, in {} of {} \
             stretches. Slip and heat of this drive carry it and are doubtful.",
            ripple.side(),
            ripple.rhythm(),
            100.0 * ripple.share,
            rounded(100.0 * drive.limits.ripple.share, 0),
            100.0 * ripple.share_of_other,
            ripple.n_showing,
            ripple.n_judged
        ),
        evidence: ripple.evidence.clone(),
    }))
}

#[cfg(test)]
mod tests {
    use super::super::testing::{Scene, says};
    use super::*;
    use crate::ripple::Ripple;

    #[test]
    fn it_names_wheel_and_rhythm() {
        let mut scene = Scene::whole();
        assert_eq!(scene.outcome(&ENTRY), Ok(None));
        scene.ripple = Ok(Some(Ripple {
            is_right: false,
            order: 1,
            share: 0.03,
            share_of_other: 0.001,
            n_showing: 40,
            n_judged: 41,
            evidence: Vec::new(),
        }));
        let fired = scene.outcome(&ENTRY).unwrap().unwrap();
        says(
            &fired.summary,
            "left rear wheel speed ripples once per turn by 3.0 %",
        );
        assert_eq!(fired.severity, Severity::LookSoon);
        says(&scene.drive().steady_wheels().unwrap_err(), "is no slip");
    }

    #[test]
    fn too_few_turns_or_no_wheel_is_not_checked() {
        let mut scene = Scene::whole();
        scene.ripple = Err("3 stretches".to_owned().into());
        says(&scene.outcome(&ENTRY).unwrap_err(), "3 stretches");
        let scene = Scene::whole().without("wheel.rear.left");
        says(&scene.outcome(&ENTRY).unwrap_err(), "wheel.rear.left");
    }
}
