//! The actuator stands still though it is commanded.
//!
//! The command is at half of full or more for a second, and the state neither moves nor is
//! where it should be; or through a good while of driving the state does not leave its rest by its last
//! digit. Whether the mechanism stands or its signal, such a state does not show, and the text names both. A
//! state that is missing is no state that stands still.

use crate::reason::Reason;
use halfshaft_driveline::Row;
use halfshaft_model::channel::name;

use super::{About, Check, Drive, Entry, FindingId, Fired, MOST_EVIDENCE, Outcome, Setup};
use crate::evidence::{Strongest, window};
use crate::lasting::Lasting;
use crate::limits::{ActuatorLimits, rounded};
use crate::nouns::{Grade, Severity};
use crate::trust::{COMMAND, STATE};

pub const ENTRY: Entry = Entry {
    about: &About {
        id: FindingId::ActuatorNotMoving,
        title: "Actuator not moving",
        severities: &[Severity::Act],
        rule: |limits| {
            let own = &limits.actuator;
            format!(
                "the command is at {:.0} % or more for {} s or more, and the state changes by less than {:.0} % and is \
                 short of it by {:.0} % or more, {} times or more; or through {:.0} s of driving on end a state at rest \
                 does not change by its last digit, and the command moves through {:.0} % for {} s or more meanwhile",
                100.0 * own.asked_from,
                rounded(own.asked_s, 0),
                100.0 * own.still_below,
                100.0 * own.short_by,
                own.not_moving_times,
                rounded(limits.frozen.lasts_s, 0),
                100.0 * limits.frozen.rest_moves_by,
                rounded(limits.frozen.state_apart_s, 1)
            )
        },
        needs: "clutch command, a state of the clutch, both rear wheel speeds",
        could_also_be: "a state of the clutch that stands still as a signal: a controller that sends its last one again and again, a mode in which it moves no motor on \
                        purpose, a state sensor without supply",
        next_check: "Plug and supply of the motor, its resistance, stored faults; then turn the mechanism by hand.",
        owner_sees: "The motor that closes the clutch is commanded and does not move.",
        owner_does: "Have a workshop check the plug, fuse and supply of the clutch motor, then the motor itself.",
        withdrawn_if: "the slip falls all the same under command: then the sensor stands still, not the actuator",
    },
    on: COMMAND | STATE,
    begin: |setup| Box::new(NotMoving::new(setup)),
};

/// Of a state that stands still short of its command.
#[derive(Clone, Copy, Debug)]
struct Still {
    lowest: f64,
    highest: f64,
    command: f64,
    is_counted: bool,
}

#[derive(Clone, Debug)]
struct NotMoving {
    limits: ActuatorLimits,
    still: Lasting<Still>,
    // The command must fall again before the next one counts.
    is_spent: bool,
    n_commanded: usize,
    stuck: Strongest,
}

impl NotMoving {
    fn new(setup: &Setup) -> NotMoving {
        NotMoving {
            limits: setup.limits.actuator,
            still: Lasting::default(),
            is_spent: false,
            n_commanded: 0,
            stuck: Strongest::default(),
        }
    }

    fn end(&mut self) {
        let Some(still) = self.still.end() else {
            return;
        };
        let (seconds, seen) = (still.length_s(), still.gathered);
        if seconds >= self.limits.asked_s {
            let values = [
                ("command", seen.command, ""),
                ("lowest state", seen.lowest, ""),
                ("highest state", seen.highest, ""),
            ];
            self.stuck
                .add(seconds, window(still.start, still.latest, &values));
            self.is_spent = true;
        }
    }
}

impl Check for NotMoving {
    fn note(&mut self, row: &Row) {
        if !row.is_joined {
            self.end();
        }
        let (Some(command), Some(state)) = (row.command, row.state) else {
            self.end();
            return;
        };
        if command < self.limits.asked_from {
            self.end();
            self.is_spent = false;
            return;
        }
        let is_short = command - state >= self.limits.short_by;
        if let Some(still) = self.still.going_on_mut() {
            let seen = &mut still.gathered;
            let (lowest, highest) = (seen.lowest.min(state), seen.highest.max(state));
            if is_short && highest - lowest < self.limits.still_below {
                (seen.lowest, seen.highest) = (lowest, highest);
                seen.command = seen.command.min(command);
                still.latest = row.time;
                if !seen.is_counted && row.time.since(still.start) >= self.limits.asked_s {
                    seen.is_counted = true;
                    self.n_commanded += 1;
                }
                return;
            }
            self.end();
        }
        // Where it follows it was commanded too.
        if !is_short && !self.is_spent {
            self.n_commanded += 1;
            self.is_spent = true;
        }
        if is_short && !self.is_spent {
            self.still.hold(row.time, 0.0, || Still {
                lowest: state,
                highest: state,
                command,
                is_counted: false,
            });
        }
    }

    fn strongest(&self, see: &mut dyn FnMut(&Strongest)) {
        see(&self.stuck);
    }

    fn outcome(&self, drive: &Drive) -> Outcome {
        drive.rear_wheels()?;
        drive.all_of(&[name::CLUTCH_COMMAND])?;
        if let Err(reason) = drive.actuator {
            return Err(reason.clone());
        }
        let limits = &drive.limits.actuator;
        let mut settled = self.clone();
        settled.end();
        if settled.n_commanded == 0 && drive.trust.still().unmoved().is_empty() {
            return Err(Reason::NeverCommanded {
                from: limits.asked_from,
            });
        }
        let n = settled.stuck.n();
        if n < limits.not_moving_times as usize {
            return Ok(at_rest(drive));
        }
        Ok(Some(Fired {
            severity: Severity::Act,
            grade: Grade::B.max(drive.quality.grade),
            summary: format!(
                "{n} times the command was at {:.0} % or more for {} s or more, and the state stood still short of it; \
                 longest {:.1} s.",
                100.0 * limits.asked_from,
                rounded(limits.asked_s, 0),
                settled.stuck.greatest().unwrap_or(0.0)
            ),
            evidence: settled.stuck.windows(),
        }))
    }
}

/// A state that did not leave its rest by its last digit.
fn at_rest(drive: &Drive) -> Option<Fired> {
    let mut stretches = drive.trust.still().unmoved().iter();
    let longest = stretches
        .clone()
        .max_by(|one, other| one.seconds.total_cmp(&other.seconds))?;
    let shown = stretches.by_ref().take(MOST_EVIDENCE);
    Some(Fired {
        severity: Severity::Act,
        grade: Grade::B.max(drive.quality.grade),
        summary: format!(
            "Through {:.0} s of driving the state did not leave {:.0} % by its last digit though it was commanded. The \
             log does not show whether the mechanism stood still or only its signal.",
            longest.seconds,
            100.0 * longest.value
        ),
        evidence: shown
            .map(|stretch| window(stretch.span.start, stretch.span.end, &[]))
            .collect(),
    })
}

#[cfg(test)]
mod tests {
    use super::super::testing::{Scene, says, with_motor};
    use super::*;
    use crate::actuator::Motor;
    use crate::testing::row;

    /// Asks for 0.8 from second 2 to 4 of every five, `n` times; the state by time in the five
    /// seconds.
    fn outcome(n: usize, state: impl Fn(f64) -> Option<f64>) -> Outcome {
        let scene = Scene {
            actuator: with_motor(Motor::default()),
            ..Scene::whole()
        };
        let mut check = scene.check(&ENTRY);
        for index in 0..500 * n {
            let time = index as f64 * 0.01;
            let mut row = row(time);
            let within = time % 5.0;
            row.command = Some(if (2.0..4.0).contains(&within) {
                0.8
            } else {
                0.0
            });
            row.state = state(within);
            check.note(&row);
        }
        check.outcome(&scene.drive())
    }

    #[test]
    fn three_times_is_to_act() {
        let fired = outcome(3, |_| Some(0.02)).unwrap().unwrap();
        assert_eq!(fired.severity, Severity::Act);
        says(&fired.summary, "3 times the command was at 50 %");
        assert_eq!(fired.evidence.len(), 3);
        assert_eq!(outcome(2, |_| Some(0.02)), Ok(None));
    }

    #[test]
    fn a_pack_that_is_held_where_it_was_asked_moves_no_more() {
        assert_eq!(outcome(9, |_| Some(0.8)), Ok(None));
        // A lazy one is on its way.
        let lazy = |within: f64| Some(0.4 * (within - 2.2).clamp(0.0, 2.0));
        assert_eq!(outcome(9, lazy), Ok(None));
    }

    #[test]
    fn a_state_that_is_not_sent_does_not_stand_still() {
        // Sent for 0.9 s of each of the two.
        let silent = |within: f64| (within < 2.9).then_some(0.02);
        assert!(matches!(outcome(9, silent), Ok(None) | Err(_)));
        says(&outcome(9, |_| None).unwrap_err(), "was never at 50 %");
    }

    #[test]
    fn without_a_command_it_was_not_checked() {
        let scene = Scene::whole().without("clutch.command");
        says(&scene.outcome(&ENTRY).unwrap_err(), "clutch.command");
    }
}
