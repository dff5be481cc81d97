//! A signal that stands still while the car goes on.
//!
//! Command and state of the clutch and the yaw rate are held against what moves with them: a
//! number that does not change by its last digit, through a good while of driving in which it
//! had to, is an old one sent again and again, or a sensor that is stuck. What is read from it
//! is withheld. A state at rest is left to "Actuator not moving": an end stop reads alike.

use std::marker::PhantomData;

use halfshaft_driveline::Row;
use halfshaft_model::Time;

use super::evidence::{Strongest, counts, window};
use super::{About, Check, Drive, Entry, FindingId, Fired, Outcome, Setup};
use crate::limits::Driving;
use crate::result::{Grade, Severity};

/// Driving through which the signal must stand still, s. Source: none, engineering guess.
const LASTS_S: f64 = 20.0;

/// Change that is rounding, in shares of full and rad/s; steps on a bus are a hundred times it.
const ROUNDING: f64 = 1e-6;

/// A state below this is at rest, share of full. Source: none, engineering guess.
const AT_REST: f64 = 0.1;

/// What the other signal must move through meanwhile, command or state, share of full.
/// Source: none, engineering guess.
const MOVES_BY: f64 = 0.5;

/// How far command and state must be apart at their farthest, share of full: at its end stop a
/// mechanism need not follow. Source: none, engineering guess.
const APART_BY: f64 = 0.3;

/// The same for the axle speed difference, rad/s: bends both ways, or one and a straight.
/// Source: none, engineering guess; noise of wheel speeds is a tenth of it.
const BENDS_BY: f64 = 1.5;

const NEXT_CHECK: &str = "Raw values of the frame in the log around the first time it stood still; then the sensor's \
                          plug and supply.";
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
        rule: |_| {
            rule(
                &format!("the state of the clutch, {:.0} % or more,", 100.0 * AT_REST),
                &format!("the command moves through {:.0} %", 100.0 * MOVES_BY),
            )
        },
        needs: "clutch command, a state of the clutch, both rear wheel speeds",
        could_also_be: "a mechanism that is jammed part way; a gateway that repeats the last frame of a unit that is gone",
        next_check: NEXT_CHECK,
        withdrawn_if: WITHDRAWN_IF,
    },
    begin: |setup| Box::new(Frozen::<State>::new(setup, &["clutch.command"])),
};

/// The command.
pub const COMMAND: Entry = Entry {
    about: &About {
        id: FindingId::CommandFrozen,
        title: "Command stands still",
        severities: &[Severity::Act],
        rule: |_| {
            rule(
                "the command",
                &format!(
                    "the state of the clutch moves through {:.0} %",
                    100.0 * MOVES_BY
                ),
            )
        },
        needs: "clutch command, a state of the clutch, both rear wheel speeds",
        could_also_be: COULD_ALSO_BE,
        next_check: NEXT_CHECK,
        withdrawn_if: WITHDRAWN_IF,
    },
    begin: |setup| Box::new(Frozen::<Command>::new(setup, &["clutch.command"])),
};

/// The yaw rate.
pub const YAW: Entry = Entry {
    about: &About {
        id: FindingId::YawFrozen,
        title: "Yaw rate stands still",
        severities: &[Severity::Act],
        rule: |_| {
            rule(
                "the yaw rate",
                &format!("the axle speed difference moves through {BENDS_BY} rad/s"),
            )
        },
        needs: "yaw rate, both rear wheel speeds",
        could_also_be: COULD_ALSO_BE,
        next_check: NEXT_CHECK,
        withdrawn_if: WITHDRAWN_IF,
    },
    begin: |setup| Box::new(Frozen::<YawRate>::new(setup, &["yaw.rate"])),
};

fn rule(what: &str, meanwhile: &str) -> String {
    format!(
        "through {LASTS_S:.0} s of driving on end {what} does not change by its last digit, and {meanwhile} meanwhile"
    )
}

/// What may stand still.
trait Signal: Clone + std::fmt::Debug + Send + Sync + 'static {
    /// What a row says: the signal, what moves with it, and by how much that must have moved.
    fn of(row: &Row) -> Option<(f64, f64, f64)>;
}

#[derive(Clone, Debug)]
struct State;

impl Signal for State {
    fn of(row: &Row) -> Option<(f64, f64, f64)> {
        let state = row.state?;
        // At rest nothing moves enough.
        let moves_by = if state < AT_REST {
            f64::INFINITY
        } else {
            MOVES_BY
        };
        Some((state, row.command?, moves_by))
    }
}

#[derive(Clone, Debug)]
struct Command;

impl Signal for Command {
    fn of(row: &Row) -> Option<(f64, f64, f64)> {
        Some((row.command?, row.state?, MOVES_BY))
    }
}

#[derive(Clone, Debug)]
struct YawRate;

impl Signal for YawRate {
    fn of(row: &Row) -> Option<(f64, f64, f64)> {
        Some((row.yaw_rate?, row.difference_mean, BENDS_BY))
    }
}

#[derive(Clone, Copy, Debug)]
struct Still {
    start: Time,
    latest: Time,
    value: f64,
    seconds: f64,
    lowest: f64,
    highest: f64,
    moves_by: f64,
}

impl Still {
    fn is_shown(&self) -> bool {
        let apart = (self.highest - self.value).max(self.value - self.lowest);
        self.seconds >= LASTS_S && self.highest - self.lowest >= self.moves_by && apart >= APART_BY
    }
}

#[derive(Clone, Debug)]
struct Frozen<S> {
    signal: PhantomData<S>,
    needs: &'static [&'static str],
    driving: Driving,
    still: Option<Still>,
    n_rows: u64,
    found: Strongest,
}

impl<S: Signal> Frozen<S> {
    fn new(setup: &Setup, needs: &'static [&'static str]) -> Frozen<S> {
        Frozen {
            signal: PhantomData,
            needs,
            driving: setup.limits.driving,
            still: None,
            n_rows: 0,
            found: Strongest::default(),
        }
    }

    fn end(&mut self) {
        let Some(still) = self.still.take() else {
            return;
        };
        if still.is_shown() {
            self.found
                .note(still.seconds, window(still.start, still.latest, &[]));
        }
    }
}

impl<S: Signal> Check for Frozen<S> {
    fn note(&mut self, row: &Row) {
        let Some((value, other, moves_by)) = S::of(row) else {
            self.end();
            return;
        };
        let moves = row
            .road_speed
            .is_some_and(|speed| speed > self.driving.moving_from());
        let drives = moves && counts(row, &self.driving);
        self.n_rows += u64::from(drives);
        let goes_on = self
            .still
            .is_some_and(|still| (value - still.value).abs() <= ROUNDING && row.is_joined);
        if !goes_on {
            self.end();
        }
        let still = self.still.get_or_insert(Still {
            start: row.time,
            latest: row.time,
            value,
            seconds: 0.0,
            lowest: other,
            highest: other,
            moves_by,
        });
        still.latest = row.time;
        // A car that stands, or is driven straight, moves nothing.
        if drives {
            still.seconds += row.seconds;
            still.lowest = still.lowest.min(other);
            still.highest = still.highest.max(other);
        }
    }

    fn outcome(&self, drive: &Drive) -> Outcome {
        drive.rear_wheels()?;
        drive.all_of(self.needs)?;
        let mut settled = self.clone();
        settled.end();
        if settled.n_rows == 0 {
            return Err("it was never known while the car moved".to_owned());
        }
        let Some(longest_s) = settled.found.greatest() else {
            return Ok(None);
        };
        Ok(Some(Fired {
            severity: Severity::Act,
            grade: Grade::B.max(drive.quality.grade),
            summary: format!(
                "It did not change at all in {} of driving that had to move it, longest {longest_s:.0} s. What is read \
                 from it is withheld.",
                match settled.found.n() {
                    1 => "one stretch".to_owned(),
                    n => format!("{n} stretches"),
                }
            ),
            evidence: settled.found.windows(),
        }))
    }
}

#[cfg(test)]
mod tests {
    use super::super::testing::{Scene, says};
    use super::*;
    use crate::testing::row;

    /// A minute of driving through which the state is `state` of the command.
    fn outcome(entry: &Entry, state: fn(f64, f64) -> f64, command: fn(f64) -> f64) -> Outcome {
        let scene = Scene::whole();
        let mut check = (entry.begin)(&scene.setup());
        for index in 0..6000 {
            let time_s = f64::from(index) * 0.01;
            let mut row = row(time_s);
            row.command = Some(command(time_s));
            row.state = Some(state(time_s, command(time_s)));
            row.yaw_rate = Some(0.3 * time_s.sin());
            check.note(&row);
        }
        check.outcome(&scene.drive())
    }

    fn waves(time_s: f64) -> f64 {
        0.5 + 0.4 * (0.7 * time_s).sin()
    }

    #[test]
    fn a_state_or_a_command_that_stands_still_while_the_other_moves() {
        let fired = outcome(&STATE, |_, _| 0.6, waves).unwrap().unwrap();
        says(&fired.summary, "longest 60 s");
        assert!(
            outcome(&COMMAND, |time_s, _| waves(time_s), |_| 0.3)
                .unwrap()
                .is_some()
        );
    }

    #[test]
    fn what_moves_is_at_rest_or_is_asked_for_nothing_is_not_frozen() {
        let follows = |_: f64, command: f64| 0.9 * command;
        for entry in [&STATE, &COMMAND] {
            assert!(outcome(entry, follows, waves).unwrap().is_none());
            // Held by the driver: neither moves.
            assert!(outcome(entry, follows, |_| 0.8).unwrap().is_none());
            // At its end stop it need not follow.
            let at_stop = |_: f64, _: f64| 1.0;
            let high = |time_s: f64| 0.85 + 0.12 * (0.7 * time_s).sin();
            assert!(outcome(entry, at_stop, high).unwrap().is_none());
        }
        // An actuator that never left its rest is another finding.
        assert!(outcome(&STATE, |_, _| 0.02, waves).unwrap().is_none());
    }
}
