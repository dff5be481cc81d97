//! The motor draws too much to hold the clutch.
//!
//! The median current of times the pack was held closed and still, less what the sensor shows
//! while it is open, against earlier drives of the car or the motor's rated current.

use super::{About, Drive, Entry, FindingId, Fired, Judge, Outcome};
use crate::baseline::{Quantity as Past, Reference};
use crate::evidence::{Strongest, window};
use crate::limits::rounded;
use crate::nouns::{Grade, Severity};
use crate::reason::{Counted, DriveFact, Reason};
use crate::trust::COMMAND;
use halfshaft_model::channel::name;

pub const ENTRY: Entry = Entry {
    about: &About {
        id: FindingId::MotorWorksHard,
        title: "Motor current high",
        severities: &[Severity::LookSoon],
        rule: |limits| {
            format!(
                "over {} times or more that the pack was held closed (from 80 %) and still, the median current is more \
                 than {} times that of earlier drives or the motor's rated one",
                limits.actuator.hold_times,
                rounded(limits.actuator.hold_ratio, 1)
            )
        },
        needs: "motor current, clutch command, a state of the clutch, earlier drives or the rated current in the map",
        could_also_be: "another temperature of the winding, a current sensor whose scale is wrong, a worn pack that needs \
                        more travel and force",
        next_check: "Current against position on the bench, friction of screw, gear and bearing.",
        owner_sees: "The clutch motor draws more current than it should.",
        owner_does: "Have a workshop check the mechanism for friction and measure the motor current.",
        withdrawn_if: "the unit drew as much when new",
    },
    on: COMMAND,
    begin: |_| Box::new(outcome as Judge),
};

fn outcome(drive: &Drive) -> Outcome {
    let actuator = drive.actuator.as_ref().map_err(Clone::clone)?;
    drive.all_of(&[name::MOTOR_CURRENT])?;
    let limits = &drive.limits.actuator;
    let motor = &actuator.motor;
    let (least, n) = (limits.hold_times as usize, motor.holds.len());
    let Some(spread) = motor.hold_current().filter(|_| n >= least) else {
        return Err(Reason::TooFew {
            what: Counted::HeldClosed,
            found: n,
            needed: least,
        });
    };
    // A rated current is what the motor may draw; the car's own past is the better guide.
    let mut baseline = drive.baseline.clone();
    if let (None, Some(value)) = (
        baseline.get(Past::HoldCurrent),
        drive.vehicle.motor_current_a,
    ) {
        baseline.set(Past::HoldCurrent, Reference { value, n_drives: 0 });
    }
    if baseline.get(Past::HoldCurrent).is_none() {
        return Err(DriveFact::UsualCurrent.into());
    }
    // Of the sign of a sensor nothing is known, so an offset is only taken off: at worst
    // the current comes out too small, and nothing fires.
    let current_a = (spread.median - motor.idle_a.unwrap_or(0.0).abs()).max(0.0);
    let Some(departure) = baseline.departure(Past::HoldCurrent, current_a, limits.hold_ratio)
    else {
        return Ok(None);
    };
    let mut holds = Strongest::default();
    for hold in &motor.holds {
        let values = [("current", hold.current_a, "A"), ("state", hold.state, "")];
        holds.add(
            hold.current_a,
            window(hold.span.start, hold.span.end, &values),
        );
    }
    Ok(Some(Fired {
        severity: Severity::LookSoon,
        grade: Grade::B.max(drive.quality.grade),
        summary: format!(
            "Holding the clutch closed took {current_a:.1} A by the median of {n} times, {}.",
            departure.words("A")
        ),
        evidence: holds.windows(),
    }))
}

#[cfg(test)]
mod tests {
    use super::super::testing::{Scene, says, with_motor};
    use super::*;
    use crate::actuator::motor::{Hold, Motor};
    use halfshaft_model::{Span, Time};

    fn scene(n: usize, current_a: f64, idle_a: f64) -> Scene {
        let holds = (0..n).map(|index| Hold {
            span: Span {
                start: Time::from_seconds(10.0 * index as f64),
                end: Time::from_seconds(10.0 * index as f64 + 2.0),
            },
            current_a,
            state: 0.9,
        });
        let mut scene = Scene {
            actuator: with_motor(Motor {
                holds: holds.collect(),
                idle_a: Some(idle_a),
                ..Motor::default()
            }),
            ..Scene::whole()
        };
        scene.vehicle.motor_current_a = Some(10.0);
        scene.seen.push("motor.current".to_owned());
        scene
    }

    #[test]
    fn more_than_rated_or_than_before() {
        let fired = scene(4, 16.0, 0.0).outcome(&ENTRY).unwrap().unwrap();
        assert_eq!(fired.severity, Severity::LookSoon);
        says(&fired.summary, "16.0 A by the median of 4 times, 1.6 times");
        let mut own = scene(4, 9.0, 0.0);
        assert_eq!(own.outcome(&ENTRY), Ok(None));
        let known = Reference {
            value: 6.0,
            n_drives: 3,
        };
        own.baseline.set(Past::HoldCurrent, known);
        says(&own.outcome(&ENTRY).unwrap().unwrap().summary, "1.5 times");
    }

    #[test]
    fn an_offset_of_the_sensor_is_no_work() {
        assert_eq!(scene(4, 14.0, 2.0).outcome(&ENTRY), Ok(None));
        assert_eq!(scene(4, 14.0, -2.0).outcome(&ENTRY), Ok(None));
        assert!(scene(4, 14.0, 0.5).outcome(&ENTRY).unwrap().is_some());
    }

    #[test]
    fn without_holds_or_a_rating_it_was_not_checked() {
        says(&scene(2, 16.0, 0.0).outcome(&ENTRY).unwrap_err(), "2 times");
        let mut scene = scene(4, 16.0, 0.0);
        scene.vehicle.motor_current_a = None;
        says(&scene.outcome(&ENTRY).unwrap_err(), "rated current");
        let blind = scene.without("motor.current");
        says(&blind.outcome(&ENTRY).unwrap_err(), "motor.current");
    }
}
