//! What the timeline carries: columns of named channels at their native rates.
//!
//! A block is a stretch of the drive. Column `i` belongs to channel `i` of the map.
//! A sample is a time and either a value or "missing" (the car itself said "not
//! available", or the value was outside the believed range): missing is not zero, and a missing
//! sample ends the reach of the one before it.

use crate::left_out::LeftOut;
use crate::time::Time;

/// What a walk along a channel comes to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum SampleOrCut {
    /// A sample; its value is `None` when missing.
    Sample(Time, Option<f64>),
    /// The clock is cut here: nothing from before it holds behind it.
    Cut(Time),
}

/// Samples of one channel, times rising.
#[derive(Clone, Debug, Default)]
pub struct Column {
    // Missing is stored as NaN and never shown as one: `value` and `iter` give `None`.
    samples: Vec<(Time, f64)>,
}

impl Column {
    /// Adds a sample. A value that is not finite counts as missing.
    pub fn push(&mut self, time: Time, value: Option<f64>) {
        let value = value.filter(|number| number.is_finite());
        self.samples.push((time, value.unwrap_or(f64::NAN)));
    }

    /// How many samples.
    pub fn len(&self) -> usize {
        self.samples.len()
    }

    /// Whether there is no sample.
    pub fn is_empty(&self) -> bool {
        self.samples.is_empty()
    }

    /// Time of sample `index`.
    pub fn time(&self, index: usize) -> Time {
        self.samples[index].0
    }

    /// Value of sample `index`, `None` when missing.
    pub fn value(&self, index: usize) -> Option<f64> {
        unless_nan(self.samples[index].1)
    }

    /// All samples in order.
    pub fn iter(&self) -> impl Iterator<Item = (Time, Option<f64>)> + '_ {
        self.samples
            .iter()
            .map(|&(time, value)| (time, unless_nan(value)))
    }

    /// Samples and cuts in order of time, a cut before a sample of the same time. Every walk of
    /// samples between cuts is this one; it runs for every sample of every channel.
    #[inline]
    pub fn walk(&self, cuts: &[Time], mut each: impl FnMut(SampleOrCut)) {
        let mut rest = self.samples.as_slice();
        for index in 0..=cuts.len() {
            let cut = cuts.get(index).copied();
            let n = match cut {
                Some(cut) => rest.iter().take_while(|sample| sample.0 < cut).count(),
                None => rest.len(),
            };
            let (before, behind) = rest.split_at(n);
            for &(time, value) in before {
                each(SampleOrCut::Sample(time, unless_nan(value)));
            }
            if let Some(cut) = cut {
                each(SampleOrCut::Cut(cut));
            }
            rest = behind;
        }
    }

    /// Forgets the samples and keeps the memory.
    pub fn clear(&mut self) {
        self.samples.clear();
    }
}

#[inline]
fn unless_nan(value: f64) -> Option<f64> {
    (!value.is_nan()).then_some(value)
}

/// A note of somebody who was there.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mark {
    /// When it was made.
    pub time: Time,
    /// What it says; empty for a mark without words.
    pub note: String,
}

/// A stretch of the drive: every channel's samples that arrived in it.
#[derive(Clone, Debug, Default)]
pub struct Block {
    /// One column per channel of the map, in the map's order.
    pub columns: Vec<Column>,
    /// Places where the clock was cut (a jump, or a silence of the whole log): nothing
    /// may be carried, interpolated or integrated across them.
    pub cuts: Vec<Time>,
    /// Samples left out because no car can do what they say, each with its stretch.
    pub left_out: Vec<LeftOut>,
    /// Notes of somebody who was there, in log order.
    pub marks: Vec<Mark>,
    /// Time of the latest entry seen so far, mapped or not: how far the log has got, less what
    /// a sample that waits for its neighbour holds back.
    pub until: Time,
}

impl Block {
    /// An empty block for `n_channels` channels.
    pub fn new(n_channels: usize) -> Block {
        Block {
            columns: vec![Column::default(); n_channels],
            ..Block::default()
        }
    }

    /// Forgets samples, cuts and what was left out, and keeps the memory and the time reached.
    pub fn clear(&mut self) {
        self.columns.iter_mut().for_each(Column::clear);
        self.cuts.clear();
        self.left_out.clear();
        self.marks.clear();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use SampleOrCut::{Cut, Sample};

    #[test]
    fn a_walk_meets_cuts_where_they_are() {
        let mut column = Column::default();
        for (time, value) in [(10, Some(1.0)), (20, None), (30, Some(3.0))] {
            column.push(Time(time), value);
        }
        let met = |cuts: &[i64]| {
            let cuts: Vec<Time> = cuts.iter().map(|&cut| Time(cut)).collect();
            let mut met = Vec::new();
            column.walk(&cuts, |one| met.push(one));
            met
        };
        let [one, two, three] =
            [(10, Some(1.0)), (20, None), (30, Some(3.0))].map(|(t, value)| Sample(Time(t), value));
        assert_eq!(met(&[]), [one, two, three]);
        let [first, at, behind] = [5, 20, 40].map(|cut| Cut(Time(cut)));
        assert_eq!(met(&[5, 20, 40]), [first, one, at, two, three, behind]);
        assert_eq!(met(&[20, 20]), [one, at, at, two, three]);
    }
}
