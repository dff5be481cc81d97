//! What the survey learns from one column: how much of it is there, its range, how fast
//! a temperature moves, and a mark by which equal columns are known.

use halfshaft_model::{Column, Time};

use super::limits;
use super::parts::Parts;

/// One channel's column, so far.
#[derive(Clone, Debug, Default)]
pub(crate) struct ColumnWatch {
    pub(crate) n: u64,
    pub(crate) n_missing: u64,
    pub(crate) range: Option<(f64, f64)>,
    pub(crate) n_outside_voltage: u64,
    /// Steps faster than a temperature can move, and the fastest, K/s.
    pub(crate) n_too_fast: u64,
    pub(crate) fastest: f64,
    step: f64,
    last: Option<(Time, f64)>,
    // Part of the log that is from.
    part: i64,
    n_changes: u64,
    hash: u64,
    // The hash at 1, 2, 4, … changes.
    marks: Vec<u64>,
}

impl ColumnWatch {
    pub(crate) fn new(step: Option<f64>) -> ColumnWatch {
        ColumnWatch {
            step: step.unwrap_or(0.0).abs(),
            ..ColumnWatch::default()
        }
    }

    /// Takes a block's samples and cuts.
    pub(crate) fn add(&mut self, column: &Column, cuts: &[Time], parts: Parts) {
        let n = column.len();
        if n > 0 && parts.has_some(column.time(0), column.time(n - 1)) {
            self.look_at(column, cuts, parts);
        } else if !cuts.is_empty() {
            self.last = None;
        }
    }

    fn look_at(&mut self, column: &Column, cuts: &[Time], parts: Parts) {
        let mut cuts = cuts.iter().copied().peekable();
        for (time, value) in column.iter() {
            while cuts.next_if(|&cut| cut <= time).is_some() {
                self.last = None;
            }
            let Some(part) = parts.of_time(time) else {
                continue;
            };
            if std::mem::replace(&mut self.part, part) != part {
                self.last = None;
            }
            self.n += 1;
            let Some(value) = value else {
                self.n_missing += 1;
                continue;
            };
            let (low, high) = self.range.unwrap_or((value, value));
            self.range = Some((low.min(value), high.max(value)));
            self.n_outside_voltage +=
                u64::from(!(limits::VOLTAGE_V.0..=limits::VOLTAGE_V.1).contains(&value));
            if let Some((earlier, from)) = self.last {
                // One step of the number may fall between any two samples.
                let rate =
                    ((value - from).abs() - self.step).max(0.0) / time.since(earlier).max(1e-3);
                self.n_too_fast += u64::from(rate > limits::TEMPERATURE_SLEW_K_PER_S);
                self.fastest = self.fastest.max(rate);
            }
            if self.last.is_none_or(|(_, from)| from != value) {
                self.mark(value);
            }
            self.last = Some((time, value));
        }
        if cuts.next().is_some() {
            self.last = None;
        }
    }

    fn mark(&mut self, value: f64) {
        self.n_changes += 1;
        // +0.0 makes −0 and 0 one number.
        let mixed = (self.hash.rotate_left(5) ^ (value + 0.0).to_bits())
            .wrapping_mul(0x9E37_79B9_7F4A_7C15);
        self.hash = mixed ^ mixed >> 29;
        if self.n_changes.is_power_of_two() {
            self.marks.push(self.hash);
        }
    }

    /// Changes that two columns share from the first on; `None` when they are different
    /// or too short to tell.
    pub(crate) fn same_changes(&self, other: &ColumnWatch) -> Option<u64> {
        let n = self.n_changes.min(other.n_changes);
        // The counts may differ by what was cut off at the end.
        let is_as_long = self.n_changes.max(other.n_changes) - n <= 1 + n / 20;
        if n < limits::SAME_CHANGES || !is_as_long {
            return None;
        }
        let place = n.ilog2() as usize;
        (self.marks.get(place)? == other.marks.get(place)?).then(|| 1 << place)
    }
}
