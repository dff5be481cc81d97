//! One channel, asked for its value at times it was not sampled at.
//!
//! In: samples in order of time, and cuts. Out: the value at a time that never moves
//! back. A measured quantity is interpolated between fresh samples, a held one lasts
//! until the next; neither reaches over a gap, a missing sample or a cut. An answer
//! never depends on how the samples were parted into blocks: while a later sample could
//! still change it, the answer is [`Answer::NotYet`].

use halfshaft_model::constants::NS_PER_S;
use halfshaft_model::{Behaviour, ChannelSpec, Column, SampleOrCut, Time};

use crate::period::Period;

/// Entries may still arrive this much out of order, s: the disorder the vehicle clock
/// allows, and the delay a map may take back from a sample.
pub const DISORDER_S: f64 = 0.06;

/// What a channel says at a time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Answer {
    /// This value; `run` is the same for all answers between which there is no gap.
    Value {
        /// The value, SI.
        value: f64,
        /// Number of the unbroken run it belongs to.
        run: u32,
    },
    /// No value: not sampled, missing, or in a gap.
    Missing,
    /// A sample that decides may still come.
    NotYet,
}

impl Answer {
    /// The value, if there is one.
    pub fn value(self) -> Option<f64> {
        match self {
            Answer::Value { value, .. } => Some(value),
            Answer::Missing | Answer::NotYet => None,
        }
    }

    /// The run, if there is a value.
    pub fn run(self) -> Option<u32> {
        match self {
            Answer::Value { run, .. } => Some(run),
            Answer::Missing | Answer::NotYet => None,
        }
    }
}

#[derive(Clone, Copy, Debug)]
struct Sample {
    time: Time,
    // Missing is NaN here, and never shown as one.
    value: f64,
    // Samples of one run follow each other with no gap, cut or missing value between.
    run: u32,
    // Longest silence after this sample that is not a gap, ns.
    limit_ns: i64,
}

/// The samples of one channel around the time it was last asked about.
#[derive(Clone, Debug)]
pub struct Track {
    /// Index of the channel in the map.
    pub channel: usize,
    behaviour: Behaviour,
    period: Period,
    late_ns: i64,
    // Those before `first` are spent.
    samples: Vec<Sample>,
    first: usize,
    run: u32,
}

impl Sample {
    #[inline]
    fn is_missing(&self) -> bool {
        self.value.is_nan()
    }
}

impl Track {
    /// A track for channel `channel` of the map.
    pub fn new(channel: usize, spec: &ChannelSpec) -> Track {
        let period = Period::new(spec.period_s);
        Track {
            channel,
            behaviour: spec.behaviour,
            period,
            late_ns: ((spec.late_by_s + DISORDER_S) * NS_PER_S as f64) as i64,
            samples: Vec::new(),
            first: 0,
            run: 0,
        }
    }

    /// A track that holds its value whatever the channel's own behaviour: for a slow
    /// quantity that only corrects another.
    pub fn held(channel: usize, spec: &ChannelSpec) -> Track {
        Track {
            behaviour: Behaviour::Held,
            ..Track::new(channel, spec)
        }
    }

    /// Whether the value lasts until the next sample.
    pub fn is_held(&self) -> bool {
        self.behaviour == Behaviour::Held
    }

    /// The period of the channel, s.
    pub fn period_s(&self) -> Option<f64> {
        self.period.seconds()
    }

    /// Adds a block's samples and cuts.
    pub fn extend(&mut self, column: &Column, cuts: &[Time]) {
        // Most of them: who asks long after the fact leaves many behind, and the rest is moved.
        if self.first > self.samples.len() / 4 * 3 {
            self.samples.drain(..self.first);
            self.first = 0;
        }
        column.walk(cuts, |met| match met {
            SampleOrCut::Sample(time, value) => self.push(time, value),
            SampleOrCut::Cut(time) => self.push(time, None),
        });
    }

    #[inline]
    fn push(&mut self, time: Time, value: Option<f64>) {
        if value.is_some() {
            self.period.add(time);
        }
        let follows = self.samples.last().is_some_and(|last| {
            !last.is_missing() && value.is_some() && time.0 - last.time.0 <= last.limit_ns
        });
        if !follows {
            self.run += 1;
        }
        self.samples.push(Sample {
            time,
            value: value.unwrap_or(f64::NAN),
            run: self.run,
            limit_ns: self.period.gap_limit_ns(),
        });
    }

    /// The value at `time`, which must not be earlier than at the last call. `until` is
    /// how far the log has been read; `None` when it has ended.
    #[inline]
    pub fn at(&mut self, time: Time, until: Option<Time>) -> Answer {
        let is_passed = |sample: &Sample| usize::from(sample.time <= time);
        let mut samples = &self.samples[self.first..];
        loop {
            // Samples that come as often as they are asked are passed one by one, but for
            // their jitter: counted, where a processor could not foresee a branch.
            let n_passed = match samples {
                [_, one, two, ..] => is_passed(one) + is_passed(two),
                [_, one] => is_passed(one),
                _ => 0,
            };
            samples = &samples[n_passed..];
            if n_passed < 2 {
                break;
            }
        }
        self.first = self.samples.len() - samples.len();
        match samples {
            // Nearly always samples stand on both sides, and nothing that comes changes that.
            [before, after, ..] if before.time <= time => self.between(before, Some(after), time),
            _ => self.at_the_end(time, until),
        }
    }

    #[cold]
    fn at_the_end(&self, time: Time, until: Option<Time>) -> Answer {
        let is_open =
            |reach_ns: i64| until.is_some_and(|until| until.0 <= time.0.saturating_add(reach_ns));
        let (before, after) = match &self.samples[self.first..] {
            [before, rest @ ..] if before.time <= time => (before, rest.first()),
            [] if is_open(self.late_ns) => return Answer::NotYet,
            _ => return Answer::Missing,
        };
        if after.is_none() && is_open(self.late_ns) {
            // A sample of this very time, or a cut, may still come.
            return Answer::NotYet;
        }
        let may_go_on = !self.is_held() && !before.is_missing() && before.time != time;
        let silence_ns = before.time.0 + before.limit_ns - time.0;
        if may_go_on && after.is_none() && is_open(silence_ns + self.late_ns) {
            return Answer::NotYet;
        }
        self.between(before, after, time)
    }

    /// Goes back to the last sample at or before `time`, so that [`Track::at`] may be asked from
    /// there on anew; before the next [`Track::extend`], which throws away what was passed.
    pub fn go_back_to(&mut self, time: Time) {
        while self.first > 0 && self.samples[self.first].time > time {
            self.first -= 1;
        }
    }

    /// The value at or after a sample, and before the next one where there is one.
    #[inline]
    fn between(&self, before: &Sample, after: Option<&Sample>, time: Time) -> Answer {
        if before.is_missing() {
            return Answer::Missing;
        }
        let (value, run) = (before.value, before.run);
        if before.time == time {
            return Answer::Value { value, run };
        }
        if self.is_held() {
            let is_fresh = time.0 - before.time.0 <= before.limit_ns;
            return match is_fresh {
                true => Answer::Value { value, run },
                false => Answer::Missing,
            };
        }
        match after {
            // None of a run is missing.
            Some(after) if after.run == run => {
                let length_ns = (after.time.0 - before.time.0) as f64;
                let share = (time.0 - before.time.0) as f64 / length_ns;
                Answer::Value {
                    value: value + share * (after.value - value),
                    run,
                }
            }
            _ => Answer::Missing,
        }
    }

    /// The first sample between two times, both excluded, at which an unbroken run starts or
    /// ends: what is known up to a gap is known up to there and not only to the last time
    /// that happened to be asked.
    pub fn edge_between(&self, after: Time, before: Time, until: Option<Time>) -> Option<Time> {
        let is_last = |sample: &Sample| {
            until.is_none_or(|until| until.0 > sample.time.0 + sample.limit_ns + self.late_ns)
        };
        let samples = &self.samples[self.first..];
        if let [first, .., last] = samples
            && first.run == last.run
            && first.time <= after
            && last.time >= before
        {
            // Nearly always: one run all along.
            return None;
        }
        for (index, sample) in samples.iter().enumerate() {
            if sample.time >= before {
                return None;
            }
            if sample.time <= after || sample.is_missing() {
                continue;
            }
            let starts = index == 0 || samples[index - 1].run != sample.run;
            let ends = match samples.get(index + 1) {
                Some(next) => next.run != sample.run,
                None => is_last(sample),
            };
            if starts || ends {
                return Some(sample.time);
            }
        }
        None
    }

    /// Whether a sample (with a value) stands exactly at `time`, after [`Track::at`] was asked there.
    pub fn has_sample_at(&self, time: Time) -> bool {
        self.samples
            .get(self.first)
            .is_some_and(|sample| sample.time == time && !sample.is_missing())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn track(name: &str, period_s: f64, samples: &[(f64, Option<f64>)]) -> Track {
        let mut spec = ChannelSpec::new(name);
        spec.period_s = Some(period_s);
        let mut track = Track::new(0, &spec);
        let mut column = Column::default();
        for &(time, value) in samples {
            column.push(Time::from_seconds(time), value);
        }
        track.extend(&column, &[]);
        track
    }

    fn at(track: &mut Track, time: f64) -> Option<f64> {
        let answer = track.at(Time::from_seconds(time), None);
        answer.value().map(|value| (value * 1e9).round() / 1e9)
    }

    #[test]
    fn measured_values_are_interpolated_and_commands_held() {
        let samples = [(0.0, Some(1.0)), (0.1, Some(2.0)), (0.2, Some(4.0))];
        let mut measured = track("clutch.position", 0.1, &samples);
        assert_eq!(at(&mut measured, 0.0), Some(1.0));
        assert_eq!(at(&mut measured, 0.15), Some(3.0));
        assert_eq!(at(&mut measured, 0.2), Some(4.0));
        assert_eq!(at(&mut measured, 0.21), None);
        let mut command = track("clutch.command", 0.1, &samples);
        assert_eq!(at(&mut command, 0.19), Some(2.0));
        assert_eq!(at(&mut command, 0.49), Some(4.0));
        assert_eq!(at(&mut command, 0.51), None);
    }

    #[test]
    fn nothing_reaches_over_a_gap_or_a_missing_sample() {
        let mut gap = track(
            "clutch.position",
            0.1,
            &[(0.0, Some(1.0)), (0.4, Some(2.0)), (0.5, Some(3.0))],
        );
        assert_eq!(at(&mut gap, 0.2), None);
        assert_eq!(at(&mut gap, 0.45), Some(2.5));
        let mut missing = track(
            "clutch.position",
            0.1,
            &[(0.0, Some(1.0)), (0.1, None), (0.2, Some(3.0))],
        );
        assert_eq!(at(&mut missing, 0.05), None);
        assert_eq!(at(&mut missing, 0.15), None);
        assert_eq!(at(&mut missing, 0.2), Some(3.0));
    }

    #[test]
    fn nothing_reaches_over_a_cut() {
        let spec = ChannelSpec::new("clutch.command");
        let mut track = Track::new(0, &spec);
        let mut column = Column::default();
        column.push(Time::from_seconds(0.0), Some(1.0));
        column.push(Time::from_seconds(0.1), Some(2.0));
        track.extend(&column, &[Time::from_seconds(0.05)]);
        assert_eq!(at(&mut track, 0.04), Some(1.0));
        assert_eq!(at(&mut track, 0.06), None);
        assert_eq!(at(&mut track, 0.1), Some(2.0));
    }

    #[test]
    fn waits_while_a_sample_could_still_come() {
        let mut track = track("clutch.position", 0.1, &[(0.0, Some(1.0))]);
        let ask = |track: &mut Track, until| {
            track.at(Time::from_seconds(0.05), Some(Time::from_seconds(until)))
        };
        assert_eq!(ask(&mut track, 0.1), Answer::NotYet);
        assert_eq!(ask(&mut track, 0.37), Answer::Missing);
        let mut empty = Track::new(0, &ChannelSpec::new("yaw.rate"));
        assert_eq!(ask(&mut empty, 0.05), Answer::NotYet);
        assert_eq!(ask(&mut empty, 0.2), Answer::Missing);
    }
}
