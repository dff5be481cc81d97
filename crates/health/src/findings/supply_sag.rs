//! The supply drops when the motor moves.
//!
//! In the supply's own channel: the voltage at the motor is what its controller gives it and
//! drops on purpose. A drop counts from the level just before the move.

use super::{About, Drive, Entry, FindingId, Fired, Judge, Outcome};
use crate::evidence::{Strongest, window};
use crate::limits::rounded;
use crate::nouns::{Grade, Severity};
use crate::reason::{Counted, Reason};
use crate::trust::COMMAND;
use halfshaft_model::channel::name;

pub const ENTRY: Entry = Entry {
    about: &About {
        id: FindingId::SupplySag,
        title: "Supply sag",
        severities: &[Severity::LookSoon],
        rule: |limits| {
            format!(
                "the supply drops by more than {} V within 1 s of a quick rise of the command, {} times or more",
                rounded(limits.actuator.sag_v, 1),
                limits.actuator.sag_times
            )
        },
        needs: "clutch command, supply voltage sampled eight times a second or more",
        could_also_be: "another big consumer switched on just then, a weak battery at idle, a motor that draws more than \
                        it should; where the voltage is measured far from the motor the drop there is larger still",
        next_check: "Voltage drop across fuse, joints, cable and ground while the motor moves, measured at its plug.",
        owner_sees: "The voltage at the clutch motor drops too far when it moves.",
        owner_does: "Have battery, fuse, cable and ground of the clutch motor checked.",
        withdrawn_if: "the drop comes without the motor as well",
    },
    on: COMMAND,
    begin: |_| Box::new(outcome as Judge),
};

fn outcome(drive: &Drive) -> Outcome {
    let actuator = drive.actuator.as_ref().map_err(Clone::clone)?;
    drive.all_of(&[name::SUPPLY_VOLTAGE])?;
    let limits = &drive.limits.actuator;
    let moves = &actuator.motor.supply;
    let least = limits.sag_times as usize;
    if moves.len() < least {
        return Err(Reason::TooFew {
            what: Counted::SupplyRises,
            found: moves.len(),
            needed: least,
        });
    }
    let mut sags = Strongest::default();
    for supply in moves.iter().filter(|supply| supply.drop_v() > limits.sag_v) {
        let values = [
            ("before", supply.before_v, "V"),
            ("lowest", supply.lowest_v, "V"),
        ];
        let shown = window(supply.span.start, supply.span.end, &values);
        sags.add(supply.drop_v(), shown);
    }
    let Some(most_v) = sags.greatest().filter(|_| sags.n() >= least) else {
        return Ok(None);
    };
    Ok(Some(Fired {
        severity: Severity::LookSoon,
        grade: Grade::B.max(drive.quality.grade),
        summary: format!(
            "At {} of {} quick rises of the command the supply dropped by more than {} V, by up to {most_v:.1} V.",
            sags.n(),
            moves.len(),
            rounded(limits.sag_v, 1)
        ),
        evidence: sags.windows(),
    }))
}

#[cfg(test)]
mod tests {
    use super::super::testing::{Scene, says, with_motor};
    use super::*;
    use crate::actuator::motor::{Motor, Supply};
    use halfshaft_model::{Span, Time};

    fn scene(drops_v: &[f64]) -> Scene {
        let supply = drops_v.iter().enumerate().map(|(index, drop_v)| Supply {
            span: Span {
                start: Time::from_seconds(index as f64),
                end: Time::from_seconds(index as f64 + 1.0),
            },
            before_v: 13.8,
            lowest_v: 13.8 - drop_v,
        });
        let mut scene = Scene {
            actuator: with_motor(Motor {
                supply: supply.collect(),
                ..Motor::default()
            }),
            ..Scene::whole()
        };
        scene.seen.push("supply.voltage".to_owned());
        scene
    }

    #[test]
    fn three_drops_make_it() {
        let fired = scene(&[0.3, 1.8, 2.4, 0.4, 1.6]).outcome(&ENTRY);
        let fired = fired.unwrap().unwrap();
        assert_eq!(fired.severity, Severity::LookSoon);
        says(&fired.summary, "At 3 of 5");
        says(&fired.summary, "up to 2.4 V");
        assert_eq!(fired.evidence.len(), 3);
    }

    #[test]
    fn two_drops_or_small_ones_are_none() {
        assert_eq!(scene(&[0.3, 1.8, 2.4, 0.4]).outcome(&ENTRY), Ok(None));
        assert_eq!(scene(&[1.4; 40]).outcome(&ENTRY), Ok(None));
    }

    #[test]
    fn without_a_supply_or_enough_samples_it_was_not_checked() {
        says(
            &scene(&[2.0, 2.0]).outcome(&ENTRY).unwrap_err(),
            "at 2 quick",
        );
        let blind = scene(&[2.0; 9]).without("supply.voltage");
        says(&blind.outcome(&ENTRY).unwrap_err(), "supply.voltage");
    }
}
