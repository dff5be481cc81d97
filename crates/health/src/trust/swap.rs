//! Whether command and state stand under each other's name.
//!
//! In: rows. Out: [`Swap`], how well changes of the one go with later changes of the other. A
//! mechanism moves after it is commanded; when what the map calls the state moves first, over the
//! whole drive, the map has the two swapped. Edge by edge that shows with a quick mechanism
//! ([`crate::actuator::Leading`]); with a slow one what the map calls the command has no edges,
//! and this shows.

use halfshaft_driveline::Row;
use halfshaft_model::Span;

use crate::limits::Swapped;
use crate::part::{Part, Passage};

/// Rows by which the one may be later than the other: some tenths of a second.
const LAGS: usize = 12;

/// How command and state go together.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Swap {
    /// Full strokes of the command.
    pub strokes: f64,
    /// How well the command goes with the state before it, a correlation.
    pub leads: f64,
    /// How well the state goes with the command before it.
    pub follows: f64,
    /// From when to when.
    pub span: Span,
}

/// Watches the rows.
#[derive(Clone, Debug, Default)]
pub struct SwapWatch {
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
    span: Option<Span>,
}

impl Part for SwapWatch {
    fn rows(&mut self, passage: &Passage) {
        passage.rows.iter().for_each(|row| self.add(row));
    }
}

impl SwapWatch {
    fn interrupt(&mut self) {
        (self.latest, self.recent) = (None, Default::default());
    }

    /// Takes a row.
    pub fn add(&mut self, row: &Row) {
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
        let start = self.span.map_or(row.time, |span| span.start);
        let end = row.time;
        self.span = Some(Span { start, end });
        self.recent.rotate_right(1);
        self.recent[0] = (of_command, of_state);
    }

    /// How they go together when that is the wrong way round.
    pub fn outcome(&self, limits: &Swapped) -> Option<Swap> {
        let size = (self.squares.0 * self.squares.1).sqrt();
        let best = |sums: &[f64; LAGS]| sums.iter().copied().fold(0.0, f64::max) / size;
        let found = Swap {
            strokes: self.strokes,
            leads: best(&self.leads),
            follows: best(&self.follows),
            span: self.span.filter(|_| size > 0.0)?,
        };
        let is_so = found.strokes >= limits.strokes
            && found.leads >= limits.correlation
            && found.leads > limits.ratio * found.follows;
        is_so.then_some(found)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::row;

    #[test]
    fn a_slow_mechanism_under_the_commands_name_is_seen_over_the_whole_drive() {
        let outcome = |is_swapped: bool| {
            let mut watch = SwapWatch::default();
            let mut slow = 0.0;
            for index in 0..6000 {
                // Steps every 2 s, and a lag of 0.25 s behind them.
                let step = f64::from(index / 100 % 2);
                slow += (step - slow) * 0.08;
                let mut row = row(f64::from(index) * 0.02);
                let (command, state) = match is_swapped {
                    true => (slow, step),
                    false => (step, slow),
                };
                (row.command, row.state) = (Some(command), Some(state));
                watch.add(&row);
            }
            watch.outcome(&Swapped::default())
        };
        let swap = outcome(true).unwrap();
        assert!(swap.follows < 0.005 && swap.leads > 0.1, "{swap:?}");
        assert_eq!(outcome(false), None);
    }
}
