//! The car is driven hard.
//!
//! Fires on the class of use alone. It is no fault of the car: it says that the oil is used
//! up sooner.

use super::{About, Drive, Entry, FindingId, Fired, Judge, Outcome};
use crate::figure_id::FigureId;
use crate::nouns::{Severity, UseClass};
use crate::reason::DriveFact;
use crate::trust::NOTHING;

pub const ENTRY: Entry = Entry {
    about: &About {
        id: FindingId::HardDriving,
        title: "Driven hard",
        severities: &[Severity::Note],
        rule: |_| format!("class of use U{FROM} or above"),
        needs: "what the class of use needs: a drive long enough, and two of its five needles",
        could_also_be: "a wet or loose road, a trailer, tyres of unlike size that make the pack work",
        next_check: "Change the oil at the distance that this use allows, not at that of a gentle car.",
        owner_sees: "The car was driven hard, which ages the axle oil sooner.",
        owner_does: "Have the axle oil changed at the interval given below.",
        withdrawn_if: "the drive is not like the others of this car",
    },
    on: NOTHING,
    begin: |_| Box::new(outcome as Judge),
};

/// From this class on. It is a definition: U4 is called hard, U5 competition.
const FROM: u8 = 4;

fn outcome(drive: &Drive) -> Outcome {
    let class = drive.class.as_ref().map_err(Clone::clone)?;
    if class.level < FROM {
        return match class.is_at_least {
            false => Ok(None),
            true => Err(DriveFact::ClassForSure.into()),
        };
    }
    let distance = match drive.figure(FigureId::OilDistanceFactor) {
        Ok(factor) => format!(
            " For the oil one km of it counted as {:.2} km of ordinary driving.",
            factor.value
        ),
        Err(reason) => format!(" How much sooner the oil is used up is not known: {reason}."),
    };
    Ok(Some(Fired {
        severity: Severity::Note,
        grade: drive.quality.grade,
        summary: format!(
            "The use was {}{} (U{}, limit U{FROM}).{distance}",
            if class.is_at_least { "at least " } else { "" },
            UseClass::word(class.level),
            class.level
        ),
        evidence: Vec::new(),
    }))
}

#[cfg(test)]
mod tests {
    use super::super::testing::{Scene, figure, says};
    use super::*;

    fn scene(level: u8, is_at_least: bool) -> Scene {
        Scene {
            class: Ok(UseClass {
                level,
                alternative: None,
                is_at_least,
                sentence: String::new(),
                counterfactual: None,
                stretches: Vec::new(),
            }),
            ..Scene::whole()
        }
    }

    #[test]
    fn hard_and_competition_are_noted_with_the_oil() {
        for (level, is_noted) in [(3, false), (4, true), (5, true)] {
            let mut scene = scene(level, false);
            scene
                .figures
                .push(figure(FigureId::OilDistanceFactor, Ok(2.4)));
            let fired = scene.outcome(&ENTRY).unwrap();
            assert_eq!(fired.is_some(), is_noted, "{level}");
            if let Some(fired) = fired {
                assert_eq!(fired.severity, Severity::Note);
                says(&fired.summary, "counted as 2.40 km");
            }
        }
    }

    #[test]
    fn a_lower_bound_below_it_says_nothing() {
        says(
            &scene(3, true).outcome(&ENTRY).unwrap_err(),
            "may be higher",
        );
        let fired = scene(4, true).outcome(&ENTRY).unwrap().unwrap();
        says(&fired.summary, "at least hard");
    }

    #[test]
    fn without_a_class_it_was_not_checked() {
        says(&Scene::whole().outcome(&ENTRY).unwrap_err(), "too short");
    }
}
