//! Keeps the recent samples of one channel, parted into unbroken runs.
//!
//! In: a channel's columns and cuts. Out: readings of a stretch, all of one run. A silence
//! longer than the channel's rhythm allows, and a cut, begin a new run; for what is held,
//! a missing sample does too, since nothing says what holds from there. It interpolates
//! nothing.

use std::borrow::Borrow;
use std::collections::VecDeque;

use halfshaft_model::{ChannelSpec, Column, SampleOrCut, Time};

use crate::median::upper_median;
use crate::period::Period;
use crate::response::Reading;
use crate::track::DISORDER_S;

/// A sample and the number of its run.
#[derive(Clone, Copy, Debug)]
pub struct Sample {
    /// When.
    pub time: Time,
    /// What, as a share of full scale where there is one; `None` when the car said
    /// "not available".
    pub value: Option<f64>,
    /// Samples of one run follow each other with no gap and no cut between.
    pub run: u32,
}

/// The recent samples of one channel.
#[derive(Clone, Debug)]
pub struct Series {
    channel: usize,
    scale: f64,
    missing_ends_run: bool,
    period: Period,
    late_s: f64,
    run: u32,
    // The latest sample that had a value.
    latest: Option<Time>,
    samples: VecDeque<Sample>,
}

impl Series {
    /// The series of a measured channel; values are divided by `full_scale`.
    pub fn measured(channel: usize, spec: &ChannelSpec, full_scale: f64) -> Series {
        Series {
            channel,
            scale: full_scale,
            missing_ends_run: false,
            period: Period::new(spec.period_s),
            late_s: spec.late_by_s + DISORDER_S,
            run: 1,
            latest: None,
            samples: VecDeque::new(),
        }
    }

    /// The series of a held channel.
    pub fn held(channel: usize, spec: &ChannelSpec, full_scale: f64) -> Series {
        Series {
            missing_ends_run: true,
            ..Series::measured(channel, spec, full_scale)
        }
    }

    /// Index of the channel in the map.
    pub fn channel(&self) -> usize {
        self.channel
    }

    /// How long after an instant of the log a sample of it may still arrive, s.
    pub fn late_s(&self) -> f64 {
        self.late_s
    }

    /// The longest silence that is no gap, s.
    pub fn gap_limit_s(&self) -> f64 {
        self.period.gap_limit_s()
    }

    /// Takes a block's samples and cuts, and shows each sample that is kept.
    pub fn extend(&mut self, column: &Column, cuts: &[Time], mut show: impl FnMut(Sample)) {
        column.walk(cuts, |met| match met {
            SampleOrCut::Sample(time, value) => {
                if let Some(sample) = self.add(time, value) {
                    show(sample);
                }
            }
            SampleOrCut::Cut(_) => self.interrupt(),
        });
    }

    fn add(&mut self, time: Time, value: Option<f64>) -> Option<Sample> {
        if value.is_none() && self.missing_ends_run {
            self.interrupt();
            return None;
        }
        if value.is_some() {
            if let Some(latest) = self.latest
                && time.0 - latest.0 > self.period.gap_limit_ns()
            {
                self.run += 1;
            }
            self.period.add(time);
            self.latest = Some(time);
        }
        let sample = Sample {
            time,
            value: value.map(|value| value / self.scale),
            run: self.run,
        };
        self.samples.push_back(sample);
        Some(sample)
    }

    fn interrupt(&mut self) {
        if self.latest.take().is_some() {
            self.run += 1;
        }
    }

    /// Whether the channel has fallen silent for longer than a gap by the time the log has
    /// reached `until`; its run is then over.
    pub fn has_fallen_silent(&mut self, until: Time) -> bool {
        let is_over = self
            .latest
            .is_some_and(|latest| until.since(latest) > self.period.gap_limit_s() + self.late_s);
        if is_over {
            self.interrupt();
        }
        is_over
    }

    /// The run that goes on at `time`: that of the last value at or before it.
    pub fn run_at(&self, time: Time) -> Option<u32> {
        let n = self.samples.partition_point(|sample| sample.time <= time);
        self.samples
            .range(..n)
            .rev()
            .find(|sample| sample.value.is_some())
            .map(|sample| sample.run)
    }

    /// Samples of one run from `start` to `end`, both included, and the one before.
    pub fn stretch(&self, run: u32, start: Time, end: Time) -> impl Iterator<Item = Sample> + '_ {
        let after = self.samples.partition_point(|sample| sample.time < start);
        let n = self.samples.partition_point(|sample| sample.time <= end);
        self.samples
            .range(after.saturating_sub(1)..n.max(after))
            .copied()
            .filter(move |sample| sample.run == run)
    }

    /// Forgets what is older than `before`, but for the sample held there.
    pub fn forget(&mut self, before: Time) {
        while self
            .samples
            .get(1)
            .is_some_and(|second| second.time <= before)
        {
            self.samples.pop_front();
        }
    }
}

/// Readings of samples that have a value, s from `origin`.
pub fn readings(
    samples: impl IntoIterator<Item = impl Borrow<Sample>>,
    origin: Time,
) -> Vec<Reading> {
    samples
        .into_iter()
        .filter_map(|sample| {
            let sample = sample.borrow();
            Some(Reading {
                time_s: sample.time.since(origin),
                value: sample.value?,
            })
        })
        .collect()
}

/// The median interval between readings, s; `None` below two.
pub fn median_interval_s(readings: &[Reading]) -> Option<f64> {
    let intervals = readings.windows(2);
    upper_median(intervals.map(|pair| pair[1].time_s - pair[0].time_s))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn series(samples: &[(f64, Option<f64>)], cuts: &[f64], is_held: bool) -> Series {
        let spec = ChannelSpec {
            period_s: Some(0.1),
            ..ChannelSpec::new("clutch.position")
        };
        let mut series = match is_held {
            true => Series::held(0, &spec, 2.0),
            false => Series::measured(0, &spec, 2.0),
        };
        let mut column = Column::default();
        for &(time, value) in samples {
            column.push(Time::from_seconds(time), value);
        }
        let cuts: Vec<Time> = cuts.iter().map(|&cut| Time::from_seconds(cut)).collect();
        series.extend(&column, &cuts, |_| {});
        series
    }

    #[track_caller]
    fn check(series: &Series, wanted: &[u32]) {
        let runs: Vec<u32> = series.samples.iter().map(|sample| sample.run).collect();
        assert_eq!(runs, wanted);
    }

    #[test]
    fn runs() {
        let at = |time: f64| (time, Some(1.0));
        check(
            &series(&[at(0.0), at(0.1), at(0.5), at(0.6)], &[], false),
            &[1, 1, 2, 2],
        );
        check(
            &series(&[at(0.0), at(0.1), at(0.2)], &[0.15], false),
            &[1, 1, 2],
        );
        let missing = [at(0.0), (0.1, None), at(0.2)];
        check(&series(&missing, &[], false), &[1, 1, 1]);
        check(&series(&missing, &[], true), &[1, 2]);
        // Missing for so long that it is a gap.
        let long = [at(0.0), (0.1, None), (0.2, None), (0.3, None), at(0.4)];
        check(&series(&long, &[], false), &[1, 1, 1, 1, 2]);
    }

    #[test]
    fn a_silence_seen_early_parts_the_runs_as_one_seen_late() {
        let mut early = series(&[(0.0, Some(1.0))], &[], false);
        assert!(!early.has_fallen_silent(Time::from_seconds(0.3)));
        assert!(early.has_fallen_silent(Time::from_seconds(0.5)));
        assert!(!early.has_fallen_silent(Time::from_seconds(0.6)));
        early.add(Time::from_seconds(0.7), Some(1.0));
        check(&early, &[1, 2]);
    }

    #[test]
    fn a_stretch_keeps_to_its_run() {
        let at = |time: f64| (time, Some(1.0));
        let series = series(&[at(0.0), at(0.1), at(0.2), at(0.6)], &[], false);
        let (start, end) = (Time::from_seconds(0.15), Time::from_seconds(1.0));
        let times: Vec<f64> = series
            .stretch(1, start, end)
            .map(|sample| sample.time.seconds())
            .collect();
        assert_eq!(times, [0.1, 0.2]);
        assert_eq!(series.run_at(Time::from_seconds(0.65)), Some(2));
        assert_eq!(series.run_at(Time(-1)), None);
    }
}
