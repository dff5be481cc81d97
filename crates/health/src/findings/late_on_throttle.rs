//! The clutch comes late after the throttle, and whose part that is.
//!
//! The time the driver took to feed the throttle is taken off, and a lift between gears is no
//! throttle-on.

use crate::reason::{Counted, MapFact, Reason};
use halfshaft_driveline::response::ladder::{Ladder, Pedal};
use halfshaft_driveline::response::resolution::Spread;
use halfshaft_model::channel::name;

use super::{About, Drive, Entry, FindingId, Fired, Judge, Outcome};
use crate::actuator::PedalDelay;
use crate::evidence::{Strongest, window};
use crate::limits::{MEDIAN_ERROR, SDS_OF_10_TO_90, SDS_OF_90, rounded};
use crate::nouns::{Grade, Severity};
use crate::trust::COMMAND;

pub const ENTRY: Entry = Entry {
    about: &About {
        id: FindingId::LateOnThrottle,
        title: "Late out of the corner",
        severities: &[Severity::Note],
        rule: |limits| {
            format!(
                "over {} quick presses of the throttle or more, the median time from the pedal to the first 10 % of the \
                 response, less what the driver took to feed it, is more than {:.0} ms, \
                 and not by chance",
                limits.actuator.pedal_events,
                1e3 * limits.actuator.throttle_on_s
            )
        },
        needs: "throttle, clutch command, a state of the clutch",
        could_also_be: "a calibration that waits for slip on purpose, a throttle channel that runs ahead of the engine",
        next_check: "The part named: calibration of the controller, or the actuator as for a slow one.",
        owner_sees: "The clutch closes late when you accelerate out of a bend.",
        owner_does: "Have a workshop check the settings of the control unit and the clutch motor.",
        withdrawn_if: "the controller is meant to wait",
    },
    on: COMMAND,
    begin: |_| Box::new(outcome as Judge),
};

/// Both parts in words, the larger named.
pub(super) fn parts(delay: &PedalDelay) -> String {
    let (Some(controller), Some(mechanism)) = (delay.controller, delay.mechanism) else {
        return "the parts are not known".to_owned();
    };
    let (controller_s, mechanism_s) = (controller.median, mechanism.median);
    let larger = match controller_s >= mechanism_s {
        true => "most of it is the controller's part",
        false => "most of it is the mechanism's part",
    };
    format!(
        "{larger}: {controller_s:.2} s from pedal to command, {mechanism_s:.2} s from command to response"
    )
}

/// The slowest movements of a pedal, by what is left without the driver's own time.
pub(super) fn slowest(ladders: &[Ladder], pedal: Pedal) -> Strongest {
    let mut strongest = Strongest::default();
    for ladder in ladders.iter().filter(|ladder| ladder.pedal == pedal) {
        let (Some(controller_s), Some(mechanism_s)) = (ladder.controller_s, ladder.mechanism_s)
        else {
            continue;
        };
        let values = [
            ("pedal to command", controller_s, "s"),
            ("command to response", mechanism_s, "s"),
            ("driver's own time", ladder.feed_s, "s"),
        ];
        let whole_s = controller_s + mechanism_s;
        let shown = window(ladder.time, ladder.time.plus(whole_s), &values);
        strongest.add(whole_s - ladder.feed_s, shown);
    }
    strongest
}

/// The least a median may be by chance, 90 % interval, s. A controller that waits on purpose may stand close to
/// the limit, and chance must not put it above.
pub(super) fn least_median_s(spread: &Spread) -> f64 {
    let sd = spread
        .variation
        .map_or(0.0, |_| (spread.p90 - spread.p10) / SDS_OF_10_TO_90);
    spread.median - SDS_OF_90 * MEDIAN_ERROR * sd / (spread.n_events as f64).sqrt()
}

/// The delay of a pedal, or what is missing of it.
pub(super) fn delay<'a>(
    drive: &'a Drive,
    of: Option<&'a PedalDelay>,
    pedal: Pedal,
) -> Result<&'a PedalDelay, Reason> {
    drive.all_of(&[name::THROTTLE, name::CLUTCH_COMMAND])?;
    let delay = of.ok_or(MapFact::FullScale)?;
    let n = delay.beyond_feed.map_or(0, |spread| spread.n_events);
    let least = drive.limits.actuator.pedal_events as usize;
    if n < least {
        return Err(Reason::TooFew {
            what: Counted::FollowedMoves {
                pedal,
                n_all: delay.n_events,
            },
            found: n,
            needed: least,
        });
    }
    Ok(delay)
}

fn outcome(drive: &Drive) -> Outcome {
    let actuator = drive.actuator.as_ref().map_err(Clone::clone)?;
    let presses = actuator.throttle_on.as_ref();
    let delay = delay(drive, presses, Pedal::On)?;
    let limit_s = drive.limits.actuator.throttle_on_s;
    let Some(spread) = delay
        .beyond_feed
        .filter(|spread| least_median_s(spread) > limit_s)
    else {
        return Ok(None);
    };
    Ok(Some(Fired {
        severity: Severity::Note,
        grade: Grade::B.max(drive.quality.grade),
        summary: format!(
            "The clutch came {:.2} s after the throttle by the median of {} presses, without the driver's own time \
             (limit {} s); {}.",
            spread.median,
            spread.n_events,
            rounded(limit_s, 1),
            parts(delay)
        ),
        evidence: slowest(&actuator.ladders, Pedal::On).windows(),
    }))
}

#[cfg(test)]
mod tests {
    use super::super::testing::{Scene, climbs, says};
    use super::*;

    fn scene(n: usize, controller_s: f64, mechanism_s: f64, feed_s: f64) -> Scene {
        let mut scene = Scene {
            actuator: climbs(n, Pedal::On, (controller_s, mechanism_s, feed_s)),
            ..Scene::whole()
        };
        scene.seen.push("throttle".to_owned());
        scene
    }

    #[test]
    fn late_by_controller_or_by_mechanism() {
        let fired = scene(8, 0.45, 0.08, 0.03).outcome(&ENTRY).unwrap().unwrap();
        assert_eq!(fired.severity, Severity::Note);
        says(&fired.summary, "0.50 s after the throttle");
        says(&fired.summary, "the controller's part: 0.45 s");
        let fired = scene(8, 0.05, 0.40, 0.03).outcome(&ENTRY).unwrap().unwrap();
        says(&fired.summary, "the mechanism's part");
        assert_eq!(fired.evidence.len(), 5);
    }

    #[test]
    fn a_driver_who_feeds_it_slowly_is_no_delay() {
        assert_eq!(scene(8, 0.32, 0.08, 0.25).outcome(&ENTRY), Ok(None));
        assert_eq!(scene(8, 0.02, 0.08, 0.0).outcome(&ENTRY), Ok(None));
    }

    #[test]
    fn without_throttle_or_enough_presses_it_was_not_checked() {
        says(
            &scene(4, 0.45, 0.08, 0.0).outcome(&ENTRY).unwrap_err(),
            "4 of 4 quick presses",
        );
        let blind = scene(8, 0.45, 0.08, 0.0).without("throttle");
        says(&blind.outcome(&ENTRY).unwrap_err(), "throttle");
    }
}
