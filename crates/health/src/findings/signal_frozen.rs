//! A signal that stands still while the car goes on.
//!
//! [`crate::trust::StillWatch`] finds it and leaves it out of the rows; here it is reported.

use super::{About, Check, Drive, Entry, FindingId, Fired, MOST_EVIDENCE, Outcome};
use crate::evidence::window;
use crate::limits::{Limits, rounded};
use crate::nouns::{Grade, Severity};
use crate::reason::{DriveFact, Measured, Reason};
use crate::trust::{NOTHING, Source, Stretch};
use halfshaft_model::channel::name;

const NEXT_CHECK: &str = "Raw values of the frame in the log around the first time it stood still; then the sensor's \
                          plug and supply.";
const OWNER_DOES: &str = "Have the plug and supply of that sensor checked; whoever wrote the map looks at its raw values.";
const COULD_ALSO_BE: &str =
    "a gateway that repeats the last frame of a unit that is gone, a map that reads the wrong bits";
const WITHDRAWN_IF: &str =
    "another log of the same car shows the signal at rest in the same driving";

/// The state of the clutch.
pub const STATE: Entry = Entry {
    about: &About {
        id: FindingId::StateFrozen,
        title: "State of the clutch stands still",
        severities: &[Severity::Act],
        rule: |limits| {
            let frozen = &limits.frozen;
            rule(
                limits,
                "the state of the clutch",
                &format!(
                    "the command moves through {:.0} % and is {:.0} % away for {} s; where it stands below {:.0} %, and its \
                     last digits stood for a fifth of that at most when nothing was commanded, {:.0} % are enough",
                    100.0 * frozen.moves_by,
                    100.0 * frozen.apart_by,
                    rounded(frozen.state_apart_s, 1),
                    100.0 * frozen.rest_below,
                    100.0 * frozen.rest_moves_by
                ),
            )
        },
        needs: "clutch command, a state of the clutch, both rear wheel speeds",
        could_also_be: "a mechanism that is jammed part way; a gateway that repeats the last frame of a unit that is gone",
        next_check: NEXT_CHECK,
        owner_sees: "The signal of the clutch position stands still, so part of this report is missing.",
        owner_does: OWNER_DOES,
        withdrawn_if: WITHDRAWN_IF,
    },
    on: NOTHING,
    begin: |_| Box::new(Frozen(Source::State, name::CLUTCH_COMMAND)),
};

/// The command.
pub const COMMAND: Entry = Entry {
    about: &About {
        id: FindingId::CommandFrozen,
        title: "Command stands still",
        severities: &[Severity::Act],
        rule: |limits| {
            rule(
                limits,
                "the command",
                &format!(
                    "the state of the clutch moves through {:.0} %",
                    100.0 * limits.frozen.command_apart_by
                ),
            )
        },
        needs: "clutch command, a state of the clutch, both rear wheel speeds",
        could_also_be: COULD_ALSO_BE,
        next_check: NEXT_CHECK,
        owner_sees: "The signal that commands the clutch stands still, so part of this report is missing.",
        owner_does: OWNER_DOES,
        withdrawn_if: WITHDRAWN_IF,
    },
    on: NOTHING,
    begin: |_| Box::new(Frozen(Source::Command, name::CLUTCH_COMMAND)),
};

/// The yaw rate.
pub const YAW: Entry = Entry {
    about: &About {
        id: FindingId::YawFrozen,
        title: "Yaw rate stands still",
        severities: &[Severity::Act],
        rule: |limits| {
            let by = limits.frozen.bends_by_rad_per_s;
            rule(
                limits,
                "the yaw rate",
                &format!(
                    "the axle speed difference moves through {by} rad/s, or through {} rad/s where its last digits moved \
                     all the time before",
                    limits.frozen.lively_bends_by_rad_per_s
                ),
            )
        },
        needs: "yaw rate, both rear wheel speeds",
        could_also_be: COULD_ALSO_BE,
        next_check: NEXT_CHECK,
        owner_sees: "The turning sensor of the car stands still, so part of this report is missing.",
        owner_does: OWNER_DOES,
        withdrawn_if: WITHDRAWN_IF,
    },
    on: NOTHING,
    begin: |_| Box::new(Frozen(Source::Turning, name::YAW_RATE)),
};

fn rule(limits: &Limits, what: &str, meanwhile: &str) -> String {
    format!(
        "through {:.0} s of driving on end {what} does not change by its last digit, and {meanwhile} meanwhile",
        limits.frozen.lasts_s
    )
}

/// The signal, and the channel that must be there.
#[derive(Clone, Copy, Debug)]
struct Frozen(Source, &'static str);

impl Check for Frozen {
    fn outcome(&self, drive: &Drive) -> Outcome {
        let Frozen(source, channel) = *self;
        drive.rear_wheels()?;
        drive.all_of(&[channel])?;
        let still = drive.trust.still();
        if still.known_s(source) == 0.0 {
            return Err(DriveFact::MovingValue.into());
        }
        let frozen = &drive.limits.frozen;
        if source == Source::State && still.commanded_s() < frozen.state_apart_s {
            return Err(Reason::TooLittle {
                what: Measured::CommandBesideState {
                    from: frozen.rest_moves_by,
                },
                found: still.commanded_s(),
                needed: frozen.state_apart_s,
            });
        }
        let mut stretches: Vec<&Stretch> = still.stretches(source).iter().collect();
        stretches.sort_by(|one, other| other.seconds.total_cmp(&one.seconds));
        let Some(longest) = stretches.first() else {
            let stood_alone = source == Source::Turning && still.yaw_alone_s() >= frozen.lasts_s;
            return match stood_alone {
                true => Err(DriveFact::YawStoodAlone.into()),
                false => Ok(None),
            };
        };
        let summary = format!(
            "It did not change at all in {} of driving that had to move it, longest {:.0} s. What is read from it is \
             left out there.",
            match stretches.len() {
                1 => "one stretch".to_owned(),
                n => format!("{n} stretches"),
            },
            longest.seconds
        );
        stretches.truncate(MOST_EVIDENCE);
        stretches.sort_by_key(|stretch| stretch.span.start);
        let windows = stretches
            .iter()
            .map(|stretch| window(stretch.span.start, stretch.span.end, &[]));
        Ok(Some(Fired {
            severity: Severity::Act,
            grade: Grade::B.max(drive.quality.grade),
            summary,
            evidence: windows.collect(),
        }))
    }
}
