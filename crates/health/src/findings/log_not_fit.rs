//! The log does not carry a verdict.
//!
//! Says so when its quality is the worst grade or the clutch was hardly asked: what was
//! not exercised cannot be judged. It speaks of the log and not of the car.

use super::{About, Drive, Entry, FindingId, Fired, Judge, Outcome};
use crate::evidence::window;
use crate::figure_id::FigureId;
use crate::nouns::{Grade, Severity};
use crate::trust::{COMMAND, NOTHING, STATE, Source, Sources, on};

/// Sources that say what the clutch was asked for, did or carried.
const OF_THE_CLUTCH: Sources = COMMAND | STATE | on(&[Source::Torque]);

pub const ENTRY: Entry = Entry {
    about: &About {
        id: FindingId::LogNotFit,
        title: "Log not fit for a verdict",
        severities: &[Severity::Note],
        rule: |limits| {
            let enough = limits.trust.enough_events;
            format!("grade D, or fewer than {enough} engagements")
        },
        needs: "nothing",
        could_also_be: "a drive in which the clutch was not commanded",
        next_check: "Log again: both rear wheel speeds and the clutch's command at 20 Hz or more, with at least five \
                     engagements, ten minutes of driving and three tight bends.",
        owner_sees: "This recording does not show the clutch well enough for a verdict.",
        owner_does: "Record again: ten minutes of driving with five engagements and three tight bends.",
        withdrawn_if: "a better log of the same drive is read",
    },
    on: NOTHING,
    begin: |_| Box::new(outcome as Judge),
};

/// Whether the log carries no verdict that rests on these sources: not any at grade D, and none on
/// the clutch where it was hardly asked. Tyres need no engagement.
pub(super) fn is_unfit_for(drive: &Drive, on: Sources) -> bool {
    let enough = f64::from(drive.limits.trust.enough_events);
    let is_asked = || {
        drive
            .figure(FigureId::Engagements)
            .is_ok_and(|count| count.value >= enough)
    };
    let rests_on = |sources: Sources| on & sources != 0;
    on != NOTHING && (drive.quality.grade == Grade::D || (rests_on(OF_THE_CLUTCH) && !is_asked()))
}

fn outcome(drive: &Drive) -> Outcome {
    let enough = drive.limits.trust.enough_events;
    let mut reasons = Vec::new();
    let mut values = Vec::new();
    if drive.quality.grade == Grade::D {
        reasons.push(format!(
            "the log is of grade D, as {}",
            drive.quality.worst_factor
        ));
    }
    match drive.figure(FigureId::Engagements) {
        Err(reason) => reasons.push(format!("engagements cannot be seen: {reason}")),
        Ok(count) if count.value < f64::from(enough) => {
            let n = count.value;
            values.push((FigureId::Engagements.word(), n, "1"));
            let plural = if n == 1.0 { "" } else { "s" };
            reasons.push(format!(
                "it holds {n:.0} engagement{plural}, {enough} are needed"
            ));
        }
        Ok(_) => {}
    }
    if reasons.is_empty() {
        return Ok(None);
    }
    let span = drive.span();
    let mut summary = reasons.join("; ") + ".";
    if let Some(first) = summary.get(..1).map(str::to_uppercase) {
        summary.replace_range(..1, &first);
    }
    Ok(Some(Fired {
        severity: Severity::Note,
        grade: drive.quality.grade,
        summary,
        evidence: vec![window(span.start, span.end, &values)],
    }))
}

#[cfg(test)]
mod tests {
    use super::super::testing::{Scene, figure, says};
    use super::*;

    #[test]
    fn few_engagements_or_grade_d() {
        let mut scene = Scene::whole();
        assert_eq!(scene.outcome(&ENTRY), Ok(None));
        scene.quality.grade = Grade::D;
        scene.quality.worst_factor = "the rear wheel speeds cover 20 % of the drive".to_owned();
        let fired = scene.outcome(&ENTRY).unwrap().unwrap();
        assert_eq!(fired.severity, Severity::Note);
        says(&fired.summary, "The log is of grade D, as the rear wheel");

        let mut scene = Scene::whole();
        scene.figures = vec![figure(FigureId::Engagements, Ok(1.0))];
        let fired = scene.outcome(&ENTRY).unwrap().unwrap();
        says(&fired.summary, "It holds 1 engagement, 5 are needed.");
        scene.figures = vec![figure(FigureId::Engagements, Ok(5.0))];
        assert_eq!(scene.outcome(&ENTRY), Ok(None));
    }

    #[test]
    fn engagements_nobody_can_see_are_none_to_judge_by() {
        let mut scene = Scene::whole();
        scene.figures = vec![figure(
            FigureId::Engagements,
            Err("no value of clutch.command"),
        )];
        let fired = scene.outcome(&ENTRY).unwrap().unwrap();
        says(&fired.summary, "cannot be seen: no value of clutch.command");
    }
}
