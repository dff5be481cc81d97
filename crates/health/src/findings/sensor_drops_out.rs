//! A sensor whose readings no car can make.
//!
//! The decoder leaves them out sample by sample, so figures go on without them; what is left is
//! worth less, and the sensor wants a look before it fails for good.

use super::{About, Drive, Entry, FindingId, Fired, Judge, MOST_EVIDENCE, Outcome};
use crate::left_out::plain_name;
use crate::limits::rounded;
use crate::nouns::Severity;
use crate::reason::DriveFact;
use crate::trust::NOTHING;

pub const ENTRY: Entry = Entry {
    about: &About {
        id: FindingId::SensorDropsOut,
        title: "Sensor drops out",
        severities: &[Severity::LookSoon],
        rule: |limits| {
            let limits = &limits.sensor;
            format!(
                "of one signal, {} readings or more and {} % of all are left out: outside the range of any car, or far \
                 from both neighbours; or it is stuck or has dropped out for {} s or more in all",
                limits.bad_samples,
                rounded(100.0 * limits.bad_share, 2),
                rounded(limits.lost_s, 0)
            )
        },
        needs: "any signal the program computes with",
        could_also_be: "bits that the map reads beyond their signal, a logger that loses parts of frames",
        next_check: "Plug, cable and air gap of the sensor; raw values of the frame in the log at the times shown.",
        owner_sees: "A wheel sensor drops out now and then.",
        owner_does: "Have its plug, its cable and its distance from the ring checked.",
        withdrawn_if: "raw values of the frame are sound at these times, or the map was wrong",
    },
    on: NOTHING,
    begin: |_| Box::new(outcome as Judge),
};

fn outcome(drive: &Drive) -> Outcome {
    if drive.seen.is_empty() {
        return Err(DriveFact::MovingValue.into());
    }
    let channels = drive.channels.iter().zip(drive.left_out.channels());
    let bad: Vec<_> = channels
        .filter(|(_, of)| of.drops_out(&drive.limits.sensor))
        // A wheel of a car that is towed, or on rollers, stands and is not stuck.
        .filter(|(_, of)| drive.not_driving.seconds == 0.0 || !of.was_only_stuck())
        .collect();
    if bad.is_empty() {
        return Ok(None);
    }
    let names = bad
        .iter()
        .map(|(spec, of)| format!("{} ({})", plain_name(&spec.name), of.describe()));
    let mut evidence: Vec<_> = bad.iter().flat_map(|(_, of)| of.windows()).collect();
    evidence.truncate(MOST_EVIDENCE);
    evidence.sort_by_key(|window| window.span.start);
    Ok(Some(Fired {
        severity: Severity::LookSoon,
        grade: drive.quality.grade,
        summary: format!(
            "Readings that no car can make are left out: {}.",
            names.collect::<Vec<String>>().join("; ")
        ),
        evidence,
    }))
}

#[cfg(test)]
mod tests {
    use super::super::testing::Scene;
    use super::*;

    #[test]
    fn sound_signals_are_silent_and_no_signal_is_not_checked() {
        let mut scene = Scene::whole();
        assert_eq!(scene.outcome(&ENTRY), Ok(None));
        scene.seen.clear();
        assert!(scene.outcome(&ENTRY).is_err());
    }
}
