//! Command and response under each other's name.
//!
//! A mechanism moves after it is asked. When it moves first, again and again, the map has
//! the two exchanged. Edge by edge that shows with a quick mechanism; with a slow one what
//! the map calls the command has no edges, and then the whole drive tells: how changes of
//! the one go with later changes of the other, and the other way round. Nothing is swapped here: the times of the actuator and the heat, which
//! goes by the state, are withheld.

use halfshaft_driveline::Row;
use halfshaft_model::Time;

use super::evidence::window;
use super::{About, Check, Drive, Entry, FindingId, Fired, MOST_EVIDENCE, Outcome};
use crate::result::Severity;

/// Rows by which the one may be later than the other: some tenths of a second.
const LAGS: usize = 12;

/// Full strokes, there or back, that the command must have moved. Source: none, engineering
/// guess.
const STROKES: f64 = 10.0;

/// How many times as well changes must go with what came before as with what came after, and
/// the least correlation that is one. Source: none, engineering guess: the right way round it
/// is less than half as well on every simulated drive.
const LEADS: (f64, f64) = (1.5, 0.1);

pub const ENTRY: Entry = Entry {
    about: &About {
        id: FindingId::CommandExchanged,
        title: "Command and response look exchanged",
        severities: &[Severity::Act],
        rule: |_| {
            format!(
                "in four of five engagements, and in five at the least, the response has gone 80 % of the way when \
                 the command has gone half of it; or over {STROKES:.0} strokes changes of the command go {:.1} times as \
                 well with earlier changes of the response as with later ones",
                LEADS.0
            )
        },
        needs: "clutch.command, and a channel that says what the clutch did",
        could_also_be: "a `late by` in the map that is too long for the response, a command that the car sends smoothed \
                        and late",
        next_check: "Change over the two names in the map and run `halfshaft map check`; if it fits, keep it so.",
        withdrawn_if: "the response follows the command with the names as they are, read from another log",
    },
    begin: |_| Box::new(CommandExchanged::default()),
};

#[derive(Clone, Debug, Default)]
struct CommandExchanged {
    latest: Option<(f64, f64)>,
    // Changes of command and state from row to row, the latest first.
    recent: [(f64, f64); LAGS],
    // Rows since the command changed.
    stood: usize,
    // Products of a change with one so many rows before: of the state with the command's, and
    // of the command with the state's.
    follows: [f64; LAGS],
    leads: [f64; LAGS],
    squares: (f64, f64),
    strokes: f64,
    span: Option<(Time, Time)>,
}

impl CommandExchanged {
    fn interrupt(&mut self) {
        (self.latest, self.recent) = (None, Default::default());
    }

    /// How well the state goes with the command before it, and the command with the state
    /// before it: correlations.
    fn ways(&self) -> (f64, f64) {
        let size = (self.squares.0 * self.squares.1).sqrt();
        let best = |sums: &[f64; LAGS]| sums.iter().copied().fold(0.0, f64::max);
        match size > 0.0 {
            true => (best(&self.follows) / size, best(&self.leads) / size),
            false => (0.0, 0.0),
        }
    }

    fn by_the_whole_drive(&self, drive: &Drive) -> Option<Fired> {
        let (follows, leads) = self.ways();
        let is_so = self.strokes >= STROKES && leads >= LEADS.1 && leads > LEADS.0 * follows;
        let (start, end) = self.span.filter(|_| is_so)?;
        Some(Fired {
            severity: Severity::Act,
            grade: drive.quality.grade,
            summary: format!(
                "Over {:.0} strokes the command goes with earlier changes of the response ({leads:.2} of 1) and hardly \
                 with later ones ({follows:.2}): command and response look exchanged in the map. The times of the \
                 actuator and the heat are withheld.",
                self.strokes
            ),
            evidence: vec![window(start, end, &[])],
        })
    }
}

impl Check for CommandExchanged {
    fn note(&mut self, row: &Row) {
        let (Some(command), Some(state)) = (row.command, row.state) else {
            self.interrupt();
            return;
        };
        if !row.is_joined {
            self.interrupt();
        }
        let (was_command, was_state) = self
            .latest
            .replace((command, state))
            .unwrap_or((command, state));
        let (of_command, of_state) = (command - was_command, state - was_state);
        // Most of a drive the command stands: then there is nothing to multiply.
        self.stood = match of_command == 0.0 {
            true => self.stood + 1,
            false => 0,
        };
        if self.stood <= LAGS {
            for (lag, (command, state)) in self.recent.iter().enumerate() {
                self.follows[lag] += of_state * command;
                self.leads[lag] += of_command * state;
            }
        }
        self.squares.0 += of_command * of_command;
        self.squares.1 += of_state * of_state;
        self.strokes += of_command.abs();
        let start = self.span.map_or(row.time, |(start, _)| start);
        self.span = Some((start, row.time));
        self.recent.rotate_right(1);
        self.recent[0] = (of_command, of_state);
    }

    fn outcome(&self, drive: &Drive) -> Outcome {
        drive.all_of(&["clutch.command"])?;
        let Some(leading) = drive.leading else {
            if let Some(fired) = self.by_the_whole_drive(drive) {
                return Ok(Some(fired));
            }
            return match drive.actuator {
                Err(why) => Err(why.clone()),
                Ok(actuator) if actuator.responses.is_empty() => {
                    Err("the command never moved by 15 % of full within 0.2 s".to_owned())
                }
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
                "In {} of {} engagements the response had moved before the command asked: command and response look \
                 exchanged in the map. The times of the actuator and the heat are withheld.",
                leading.n_leading, leading.n
            ),
            evidence: windows.collect(),
        }))
    }
}

#[cfg(test)]
mod tests {
    use super::super::testing::{Scene, says};
    use super::*;
    use crate::actuator::Leading;
    use crate::testing::row;

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
    fn a_slow_mechanism_under_the_commands_name_is_told_by_the_whole_drive() {
        let drive = |is_exchanged: bool| {
            let scene = Scene::whole();
            let mut check = scene.check(&ENTRY);
            let mut slow = 0.0;
            for index in 0..6000 {
                // Steps every 2 s, and a lag of 0.25 s behind them.
                let step = f64::from(index / 100 % 2);
                slow += (step - slow) * 0.08;
                let mut row = row(f64::from(index) * 0.02);
                let (command, state) = if is_exchanged {
                    (slow, step)
                } else {
                    (step, slow)
                };
                (row.command, row.state) = (Some(command), Some(state));
                check.note(&row);
            }
            check.outcome(&scene.drive())
        };
        let fired = drive(true).unwrap().unwrap();
        says(&fired.summary, "hardly with later ones (0.00)");
        assert!(!matches!(drive(false), Ok(Some(_))));
    }

    #[test]
    fn without_a_command_it_was_not_checked() {
        let scene = Scene::whole().without("clutch.command");
        says(&scene.outcome(&ENTRY).unwrap_err(), "clutch.command");
    }
}
