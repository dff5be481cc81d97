//! Command and response under each other's name.
//!
//! A mechanism moves after its command. When it moves first, again and again, the map has
//! the two swapped. Edge by edge that shows with a quick mechanism; with a slow one what
//! the map calls the command has no edges, and then the whole drive decides: how changes of
//! the one go with later changes of the other, and the other way round. Nothing is put right here:
//! the times of the actuator and the heat, which goes by the state, are withheld.

use super::{About, Drive, Entry, FindingId, Fired, Judge, MOST_EVIDENCE, Outcome};
use crate::evidence::window;
use crate::nouns::Severity;
use crate::reason::{DriveFact, Reason};
use crate::trust::NOTHING;
use halfshaft_model::channel::name;

pub const ENTRY: Entry = Entry {
    about: &About {
        id: FindingId::CommandExchanged,
        title: "Command and response look swapped",
        severities: &[Severity::Act],
        rule: |limits| {
            let limits = &limits.swapped;
            format!(
                "in four of five engagements, and in five at least, the response has gone 80 % of the way when \
                 the command has gone half of it; or over {:.0} strokes changes of the command go {:.1} times as \
                 well with earlier changes of the response as with later ones",
                limits.strokes, limits.ratio
            )
        },
        needs: "clutch.command, and a channel of what the clutch did",
        could_also_be: "a `late by` in the map that is too long for the response, a command that the car sends smoothed \
                        and late",
        next_check: "Change over the two names in the map and run `halfshaft map check`; if it fits, keep it so.",
        owner_sees: "Two signals of the clutch look swapped in the map.",
        owner_does: "Nothing to do on the car. Whoever wrote the map swaps the two names and makes the report again.",
        withdrawn_if: "the response follows the command with the names as they are, read from another log",
    },
    on: NOTHING,
    begin: |_| Box::new(outcome as Judge),
};

fn by_the_whole_drive(drive: &Drive) -> Option<Fired> {
    let swap = drive.swap?;
    Some(Fired {
        severity: Severity::Act,
        grade: drive.quality.grade,
        summary: format!(
            "Over {:.0} strokes the command goes with earlier changes of the response ({:.2} of 1) and hardly with \
             later ones ({:.2}): command and response look swapped in the map. The times of the actuator and the \
             heat are withheld.",
            swap.strokes, swap.leads, swap.follows
        ),
        evidence: vec![window(swap.span.start, swap.span.end, &[])],
    })
}

fn outcome(drive: &Drive) -> Outcome {
    drive.all_of(&[name::CLUTCH_COMMAND])?;
    let Some(leading) = drive.leading else {
        if let Some(fired) = by_the_whole_drive(drive) {
            return Ok(Some(fired));
        }
        if let (Ok(_), Some(period_s)) = (drive.actuator, drive.order_hidden_by_s) {
            return Err(Reason::OrderHidden { period_s });
        }
        return match drive.actuator {
            Err(why) => Err(why.clone()),
            Ok(actuator) if actuator.responses.is_empty() => Err(DriveFact::QuickMove.into()),
            Ok(_) => Ok(None),
        };
    };
    let windows = leading
        .windows
        .iter()
        .take(MOST_EVIDENCE)
        .map(|&(time, gone)| {
            window(
                time,
                time.plus(0.5),
                &[("response gone at half of the command", 100.0 * gone, "%")],
            )
        });
    Ok(Some(Fired {
        severity: Severity::Act,
        grade: drive.quality.grade,
        summary: format!(
            "In {} of {} engagements the response had moved before the command did: command and response look \
             swapped in the map. The times of the actuator and the heat are withheld.",
            leading.n_leading, leading.n
        ),
        evidence: windows.collect(),
    }))
}

#[cfg(test)]
mod tests {
    use super::super::testing::{Scene, says};
    use super::*;
    use crate::actuator::Leading;
    use halfshaft_model::Time;

    #[test]
    fn a_response_that_leads_is_said_and_one_that_follows_is_not() {
        let mut scene = Scene::whole();
        scene.leading = Some(Leading {
            n_leading: 9,
            n: 10,
            windows: vec![(Time::from_seconds(5.0), 1.0)],
        });
        let fired = scene.outcome(&ENTRY).unwrap().unwrap();
        assert_eq!((fired.severity, fired.evidence.len()), (Severity::Act, 1));
        says(&fired.summary, "9 of 10");
        scene.leading = None;
        says(&scene.outcome(&ENTRY).unwrap_err(), "no channel");
    }

    #[test]
    fn without_a_command_it_was_not_checked() {
        let scene = Scene::whole().without("clutch.command");
        says(&scene.outcome(&ENTRY).unwrap_err(), "clutch.command");
    }
}
