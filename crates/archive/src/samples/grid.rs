//! Samples on a grid of regular times: one time a row, one channel a column.
//!
//! A measured quantity is interpolated between fresh samples, a held one lasts until the
//! next; neither reaches over a gap, a missing sample or a cut of the clock. Where the
//! whole log was silent there are no rows. A row waits until all of it is decided; how
//! long is bounded, and what is not decided then is null.

use std::collections::{HashMap, VecDeque};
use std::io::Write;
use std::sync::Arc;

use arrow_array::{ArrayRef, Float64Array, Int64Array};
use arrow_schema::{DataType, Field};
use halfshaft_health::Row;
use halfshaft_health::track::{Answer, Track};
use halfshaft_model::{Behaviour, Block, ChannelSpec, Time};

use crate::about::About;
use crate::channels::{DERIVED, Ground, N_DERIVED, behaviour_word, meaning};
use crate::samples::{GRID_FORM, Rate};
use crate::table::{Error, Table, field, rows_at_once};

/// A channel slower than this is not interpolated, s: the rows that wait for its next
/// sample would fill the memory.
const LONGEST_WAIT_S: f64 = 300.0;

/// Rows, and cells, that may wait for derived values. A drive whose rear wheels are silent for longer
/// loses the derived values of up to two seconds before that silence.
const MOST_WAITING: usize = 64 * 1024;
const MOST_CELLS_WAITING: usize = 8 * 1024 * 1024;

/// The rule in words, for the metadata.
const RULE: &str = "interpolated: linear between two samples; held: the sample before; \
    null over a gap of more than max(0.25 s, 3 periods), at a missing sample and over a cut of the clock; \
    no rows where the whole log was silent";

pub(super) struct Grid<W: Write + Send> {
    table: Table<W>,
    ground: Ground,
    rate: Rate,
    rows_at_once: usize,
    most_waiting: usize,
    // The grid point to ask the measured channels for next.
    next: i64,
    tracks: Vec<Track>,
    derived: VecDeque<Derivation>,
    silences: VecDeque<(Time, Time)>,
    latest_sample: Time,
    until: Time,
    // Rows that wait: their times, a column of values a channel, and how many of them have
    // their derived values already. NaN is a missing value.
    times: Vec<i64>,
    measured: Vec<Vec<f64>>,
    computed: Vec<Vec<f64>>,
}

/// A derived row, as far as the grid needs it.
#[derive(Clone, Copy)]
struct Derivation {
    time: Time,
    is_joined: bool,
    values: [f64; N_DERIVED],
}

impl<W: Write + Send> Grid<W> {
    pub(super) fn start(
        out: W,
        channels: &[ChannelSpec],
        ground: &Ground,
        rate: Rate,
        is_left_out: impl Fn(usize) -> bool,
    ) -> Result<Grid<W>, Error> {
        let channels = || {
            let channels = channels.iter().enumerate();
            channels.filter(|(index, _)| !is_left_out(*index))
        };
        let time = "Time since the first entry of the log.";
        let mut fields = vec![field("time_ns", DataType::Int64, false, "ns", time)];
        fields.extend(channels().map(|(_, channel)| {
            let (unit, meaning) = (channel.si_unit(), meaning(channel));
            column(&channel.name, unit, channel.behaviour, meaning)
        }));
        fields.extend(DERIVED.iter().map(|channel| {
            column(
                channel.name,
                channel.unit,
                channel.behaviour,
                channel.meaning,
            )
        }));
        let tracks: Vec<Track> = channels()
            .map(|(index, channel)| Track::new(index, channel))
            .collect();
        let n_columns = fields.len();
        Ok(Grid {
            rows_at_once: rows_at_once(n_columns),
            most_waiting: (MOST_CELLS_WAITING / n_columns).min(MOST_WAITING),
            table: Table::start(out, fields)?,
            ground: ground.clone(),
            rate,
            next: 0,
            measured: vec![Vec::new(); tracks.len()],
            computed: vec![Vec::new(); N_DERIVED],
            tracks,
            derived: VecDeque::new(),
            silences: VecDeque::new(),
            latest_sample: Time(0),
            until: Time(0),
            times: Vec::new(),
        })
    }

    pub(super) fn push(&mut self, block: &Block, rows: &[Row]) -> Result<(), Error> {
        self.note_silences(block);
        for track in &mut self.tracks {
            track.extend(&block.columns[track.channel], &block.cuts);
        }
        self.note_derived(rows);
        self.until = self.until.max(block.until);
        self.fill(Some(self.until))?;
        self.compute(false);
        self.write_full()
    }

    pub(super) fn finish(mut self, about: &About) -> Result<(), Error> {
        self.fill(None)?;
        self.compute(true);
        self.write_full()?;
        if !self.times.is_empty() {
            self.write(self.times.len())?;
        }
        let more = [
            ("rate_hz", self.rate.to_string()),
            ("between_samples", RULE.to_owned()),
        ];
        self.table.finish(GRID_FORM, about, &more)
    }

    /// A cut, and the last sample before it, enclose a silence of the whole log.
    fn note_silences(&mut self, block: &Block) {
        let times = || block.columns.iter().flat_map(|column| column.iter());
        for &cut in &block.cuts {
            let before = times().map(|(time, _)| time).filter(|&time| time < cut);
            let start = before.max().unwrap_or_default().max(self.latest_sample);
            self.silences.push_back((start, cut));
        }
        let latest = times().map(|(time, _)| time).max();
        self.latest_sample = self.latest_sample.max(latest.unwrap_or_default());
    }

    fn note_derived(&mut self, rows: &[Row]) {
        for row in rows {
            let value = |index: usize| DERIVED[index].value(row, &self.ground);
            self.derived.push_back(Derivation {
                time: row.time,
                is_joined: row.is_joined,
                values: std::array::from_fn(|index| value(index).unwrap_or(f64::NAN)),
            });
        }
    }

    /// Adds the rows whose measured values are decided.
    fn fill(&mut self, until: Option<Time>) -> Result<(), Error> {
        let mut values = vec![f64::NAN; self.tracks.len()];
        loop {
            let time = self.rate.time(self.next);
            if time > self.until {
                return Ok(());
            }
            // Past the longest wait a channel answers as if the log had ended.
            let until = until.filter(|until| until.since(time) <= LONGEST_WAIT_S);
            for (track, value) in self.tracks.iter_mut().zip(&mut values) {
                *value = match track.at(time, until) {
                    Answer::Value { value, .. } => value,
                    Answer::Missing => f64::NAN,
                    Answer::NotYet => return Ok(()),
                };
            }
            if let Some(end) = self.silent_until(time)
                && values.iter().all(|value| value.is_nan())
            {
                self.next = self.rate.first_from(end);
                continue;
            }
            self.next += 1;
            self.times.push(time.0);
            for (column, value) in self.measured.iter_mut().zip(&values) {
                column.push(*value);
            }
            if self.times.len() >= self.most_waiting {
                self.compute(false);
                self.give_up_waiting();
                self.write_full()?;
            }
        }
    }

    /// The end of the silence of the whole log that `time` lies in.
    fn silent_until(&mut self, time: Time) -> Option<Time> {
        while self.silences.front().is_some_and(|(_, end)| *end <= time) {
            self.silences.pop_front();
        }
        let (start, end) = *self.silences.front()?;
        (start < time).then_some(end)
    }

    /// Gives waiting rows their derived values, as far as they are decided.
    fn compute(&mut self, is_final: bool) {
        for index in self.computed[0].len()..self.times.len() {
            let time = Time(self.times[index]);
            while self.derived.get(1).is_some_and(|row| row.time <= time) {
                self.derived.pop_front();
            }
            let Some(values) = self.between(time, is_final) else {
                return;
            };
            for (column, value) in self.computed.iter_mut().zip(values) {
                column.push(value);
            }
        }
    }

    /// Derived values at a time; `None` while a row that decides may still come.
    fn between(&self, time: Time, is_final: bool) -> Option<[f64; N_DERIVED]> {
        let missing = [f64::NAN; N_DERIVED];
        let Some(before) = self.derived.front() else {
            return is_final.then_some(missing);
        };
        if before.time == time {
            return Some(before.values);
        }
        if before.time > time {
            return Some(missing);
        }
        let Some(after) = self.derived.get(1) else {
            return is_final.then_some(missing);
        };
        if !after.is_joined {
            return Some(missing);
        }
        let share = time.since(before.time) / after.time.since(before.time);
        Some(std::array::from_fn(|index| {
            let (start, end) = (before.values[index], after.values[index]);
            match DERIVED[index].behaviour {
                Behaviour::Held => start,
                Behaviour::Continuous => start + share * (end - start),
            }
        }))
    }

    fn give_up_waiting(&mut self) {
        let missing = (self.times.len() / 2).saturating_sub(self.computed[0].len());
        for column in &mut self.computed {
            column.extend(std::iter::repeat_n(f64::NAN, missing));
        }
    }

    fn write_full(&mut self) -> Result<(), Error> {
        while self.computed[0].len() >= self.rows_at_once {
            self.write(self.rows_at_once)?;
        }
        Ok(())
    }

    fn write(&mut self, n_rows: usize) -> Result<(), Error> {
        let times = Int64Array::from_iter_values(self.times.drain(..n_rows));
        let mut columns = vec![Arc::new(times) as ArrayRef];
        for column in self.measured.iter_mut().chain(&mut self.computed) {
            let known = column
                .drain(..n_rows)
                .map(|value| Some(value).filter(|value| value.is_finite()));
            columns.push(Arc::new(known.collect::<Float64Array>()));
        }
        self.table.write(columns)
    }
}

fn column(name: &str, unit: &str, behaviour: Behaviour, meaning: &str) -> Field {
    let field = field(name, DataType::Float64, true, unit, meaning);
    let mut notes: HashMap<String, String> = field.metadata().clone();
    let between = behaviour_word(behaviour).to_owned();
    notes.insert("between_samples".to_owned(), between);
    field.with_metadata(notes)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::{Drive, Opened, block};

    fn write(hz: f64, blocks: &[Block]) -> Opened {
        Drive::new().write(blocks, Some(Rate::new(hz).expect("it is a rate")))
    }

    /// Values of a column by time in ms, missing ones left out.
    fn at(table: &Opened, column: &str) -> Vec<(i64, f64)> {
        let times = table.whole("time_ns").into_iter().flatten();
        times
            .zip(table.numbers(column))
            .filter_map(|(time, value)| Some((time / 1_000_000, (value? * 1e6).round() / 1e6)))
            .collect()
    }

    #[test]
    fn measured_values_are_interpolated_and_held_ones_held() {
        let samples = [
            (3, 0.0, Some(1.0)),
            (3, 0.1, Some(2.0)),
            (3, 0.2, None),
            (3, 0.3, Some(3.0)),
            (2, 0.05, Some(0.25)),
            (2, 0.15, Some(0.75)),
        ];
        let table = write(20.0, &[block(&samples, &[], 1.0)]);
        let times: Vec<i64> = table.whole("time_ns").into_iter().flatten().collect();
        let wanted: Vec<i64> = (0..=20).map(|index| index * 50_000_000).collect();
        assert_eq!(times, wanted);
        assert_eq!(
            at(&table, "own.level"),
            [(0, 1.0), (50, 1.5), (100, 2.0), (300, 3.0)]
        );
        // Three periods after its last sample a held one is held no longer.
        let command = at(&table, "clutch.command");
        assert_eq!(command[..3], [(50, 0.25), (100, 0.25), (150, 0.75)]);
        assert_eq!(command.last(), Some(&(450, 0.75)));
        assert_eq!(table.key("halfshaft.rate_hz"), "20");
        assert_eq!(table.note("own.level", "between_samples"), "interpolated");
        assert_eq!(table.note("clutch.command", "between_samples"), "held");
    }

    /// The difference rises by 10 rad/s a second; a second without wheels, then 4 rad/s.
    fn with_a_gap() -> Vec<(usize, f64, Option<f64>)> {
        let mut samples = Vec::new();
        for index in 0..50 {
            let time = f64::from(index) * 0.1;
            let difference = match index {
                0..=20 => 10.0 * time,
                30.. => 4.0,
                _ => continue,
            };
            samples.push((0, time, Some(100.0)));
            samples.push((1, time, Some(100.0 + difference)));
        }
        samples
    }

    #[test]
    fn derived_values_are_interpolated_and_end_at_a_gap() {
        let table = write(20.0, &[block(&with_a_gap(), &[], 4.9)]);
        let difference = at(&table, "axle.speed_difference");
        let wanted: Vec<(i64, f64)> = (0..=40)
            .map(|index| (index * 50, index as f64 * 0.5))
            .chain((60..=98).map(|index| (index * 50, 4.0)))
            .collect();
        assert_eq!(difference, wanted);
        assert_eq!(at(&table, "pack.slip").len(), wanted.len());
    }

    #[test]
    fn a_derived_command_is_held_too() {
        let mut samples = Vec::new();
        for index in 0..20 {
            let time = f64::from(index) * 0.1;
            samples.push((0, time, Some(50.0)));
            samples.push((1, time, Some(51.0)));
            samples.push((2, time, Some(if index < 10 { 0.25 } else { 0.75 })));
        }
        let table = write(20.0, &[block(&samples, &[], 1.9)]);
        let share = at(&table, "clutch.command.share");
        assert_eq!(share[18..21], [(900, 0.25), (950, 0.25), (1000, 0.75)]);
    }

    #[test]
    fn nothing_reaches_over_a_cut_of_the_clock() {
        let samples = [
            (3, 0.0, Some(1.0)),
            (2, 0.0, Some(0.25)),
            (3, 0.1, Some(2.0)),
            (2, 0.2, Some(0.75)),
        ];
        let table = write(40.0, &[block(&samples, &[0.06], 0.2)]);
        assert_eq!(at(&table, "own.level"), [(0, 1.0), (100, 2.0)]);
        let command = at(&table, "clutch.command");
        assert_eq!(command, [(0, 0.25), (25, 0.25), (50, 0.25), (200, 0.75)]);
    }

    #[test]
    fn blocks_change_nothing() {
        let whole = write(33.0, &[block(&with_a_gap(), &[], 4.9)]);
        let parts: Vec<Block> = with_a_gap()
            .chunks(6)
            .map(|samples| block(samples, &[], samples[samples.len() - 1].1))
            .collect();
        let parts = write(33.0, &parts);
        for name in whole.names().iter().skip(1) {
            assert_eq!(at(&whole, name), at(&parts, name), "{name}");
        }
        assert_eq!(whole.whole("time_ns"), parts.whole("time_ns"));
    }

    #[test]
    fn a_silence_of_the_whole_log_has_no_rows() {
        let first = block(&[(3, 0.0, Some(1.0)), (3, 0.1, Some(2.0))], &[], 0.1);
        let after = 36_000.0;
        let samples = [(3, after, Some(5.0)), (3, after + 0.1, Some(6.0))];
        let second = block(&samples, &[after], after + 0.1);
        let table = write(1000.0, &[first, second]);
        let level = at(&table, "own.level");
        assert_eq!(level.len(), 202);
        assert_eq!(level[100], (100, 2.0));
        assert_eq!(level[101], (36_000_000, 5.0));
        assert_eq!(table.whole("time_ns").len(), 202);
    }

    #[test]
    fn silent_wheels_do_not_hold_the_rest_up_for_ever() {
        // Two hours with a level every ten seconds, and wheels in the first two seconds only.
        let mut first = with_a_gap();
        first.truncate(42);
        let mut blocks = vec![block(&first, &[], 2.0)];
        blocks.extend((1..720).map(|index| {
            let time = f64::from(index) * 10.0;
            block(&[(3, time, Some(1.0))], &[], time)
        }));
        let table = write(100.0, &blocks);
        assert_eq!(table.whole("time_ns").len(), 719_001);
        assert_eq!(at(&table, "own.level").len(), 719);
        // The first rows came in time; only what was not decided is lost.
        let n_known = at(&table, "axle.speed_difference").len();
        assert!((1..=201).contains(&n_known), "{n_known}");
    }

    #[test]
    fn rows_that_wait_are_bounded() {
        // Not one derived row comes, and the level goes on for two hours.
        let drive = Drive::new();
        let rate = Rate::new(100.0).expect("it is a rate");
        let mut grid = Grid::start(Vec::new(), &drive.channels, &drive.ground(), rate, |_| {
            false
        })
        .expect("memory does not fail");
        let mut most = 0;
        for index in 0..7200 {
            let time = f64::from(index);
            let block = block(&[(3, time, Some(1.0))], &[], time);
            grid.push(&block, &[]).expect("memory does not fail");
            most = most.max(grid.times.len());
        }
        assert!((MOST_WAITING / 2..=MOST_WAITING).contains(&most), "{most}");
    }
}
