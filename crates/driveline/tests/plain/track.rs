//! A track against all of its samples looked through from the start at every question. The
//! arithmetic is the same, so the answers are equal bit for bit.

use halfshaft_driveline::track::{Answer, DISORDER_S, Track};
use halfshaft_model::{ChannelSpec, Time};
use proptest::prelude::*;

use crate::chance::{Samples, blocks, cuts, ends, samples};

/// A sample, or a cut as a missing one.
#[derive(Clone, Copy)]
pub struct Sample {
    pub time: i64,
    pub value: Option<f64>,
    pub run: u32,
    limit: i64,
}

pub struct PlainTrack {
    is_held: bool,
    late: i64,
    pub samples: Vec<Sample>,
}

/// Longest silence after the last of these samples that is no gap, ns: three periods, a quarter
/// second at the least, 3 s where no period is known. A period that the map does not state is the
/// median of the first intervals, taken anew at every power of two of them up to 128.
fn gap_limit(stated_s: Option<f64>, samples: &[(i64, Option<f64>)]) -> i64 {
    let valued: Vec<i64> = samples
        .iter()
        .filter(|s| s.1.is_some())
        .map(|s| s.0)
        .collect();
    let intervals: Vec<i64> = valued.windows(2).map(|pair| pair[1] - pair[0]).collect();
    let n = [128, 64, 32, 16, 8, 4, 2, 1]
        .into_iter()
        .find(|n| *n <= intervals.len());
    let learned_s = n.map(|n| {
        let mut first = intervals[..n].to_vec();
        first.sort_unstable();
        first[n / 2] as f64 * 1e-9
    });
    let limit_s = match stated_s.or(learned_s) {
        Some(period_s) => (3.0 * period_s).max(0.25),
        None => 3.0,
    };
    (limit_s * 1e9) as i64
}

impl PlainTrack {
    pub fn new(spec: &ChannelSpec, is_held: bool, samples: &Samples, cuts: &[i64]) -> PlainTrack {
        let mut all: Samples = samples.clone();
        for &cut in cuts {
            let at = all
                .iter()
                .position(|sample| sample.0 >= cut)
                .unwrap_or(all.len());
            all.insert(at, (cut, None));
        }
        let mut plain = PlainTrack {
            is_held,
            late: ((spec.late_by_s + DISORDER_S) * 1e9) as i64,
            samples: Vec::new(),
        };
        let mut run = 0;
        for (index, &(time, value)) in all.iter().enumerate() {
            let follows = plain.samples.last().is_some_and(|last: &Sample| {
                last.value.is_some() && value.is_some() && time - last.time <= last.limit
            });
            run += u32::from(!follows);
            let limit = gap_limit(spec.period_s, &all[..=index]);
            plain.samples.push(Sample {
                time,
                value,
                run,
                limit,
            });
        }
        plain
    }

    /// The answer at a time when the log has been read up to `until`, `i64::MAX` for all of it.
    pub fn at(&self, time: i64, until: i64) -> Answer {
        let may_come = |within: i64| until != i64::MAX && until <= time + within;
        let Some(index) = self.samples.iter().rposition(|sample| sample.time <= time) else {
            let is_nothing_there = self.samples.is_empty();
            return if is_nothing_there && may_come(self.late) {
                Answer::NotYet
            } else {
                Answer::Missing
            };
        };
        let (before, after) = (self.samples[index], self.samples.get(index + 1));
        let ends_in = before.time + before.limit - time;
        let goes_on = !self.is_held && before.value.is_some() && before.time < time;
        if after.is_none() && (may_come(self.late) || goes_on && may_come(ends_in + self.late)) {
            return Answer::NotYet;
        }
        let Some(value) = before.value else {
            return Answer::Missing;
        };
        let known = |value| Answer::Value {
            value,
            run: before.run,
        };
        if before.time == time {
            return known(value);
        }
        if self.is_held {
            return if ends_in >= 0 {
                known(value)
            } else {
                Answer::Missing
            };
        }
        match after.map(|after| (after.time, after.value, after.run == before.run)) {
            Some((after, Some(next), true)) => {
                let share = (time - before.time) as f64 / (after - before.time) as f64;
                known(value + share * (next - value))
            }
            _ => Answer::Missing,
        }
    }

    /// Whether an unbroken run starts or ends with a sample.
    pub fn is_edge(&self, index: usize) -> bool {
        let run = |at: Option<&Sample>| at.map(|sample| sample.run);
        let here = Some(self.samples[index].run);
        let before = index
            .checked_sub(1)
            .and_then(|before| self.samples.get(before));
        let is_edge = run(before) != here || run(self.samples.get(index + 1)) != here;
        is_edge && self.samples[index].value.is_some()
    }

    pub fn has_sample_at(&self, time: i64) -> bool {
        let last = self.samples.iter().rfind(|sample| sample.time <= time);
        last.is_some_and(|sample| sample.time == time && sample.value.is_some())
    }
}

/// Bit for bit, so that 0 and −0 are two.
pub fn bits(answer: Answer) -> (Option<u64>, Option<u32>, bool) {
    let value = answer.value().map(f64::to_bits);
    (value, answer.run(), answer == Answer::NotYet)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, failure_persistence: None, ..ProptestConfig::default() })]
    #[test]
    fn a_track_answers_as_all_of_its_samples_would(
        samples in samples(220),
        cuts in cuts(),
        ends in ends(),
        stated in (any::<bool>(), 5.0..120.0_f64),
        late_ms in 0..60_i64,
        is_held in any::<bool>(),
        steps in prop::collection::vec((0..4_u8, 0..90_000_000_i64), 1..300),
    ) {
        let mut spec = ChannelSpec::new("clutch.position");
        spec.period_s = stated.0.then_some(stated.1 * 1e-3);
        // What is late may stand before a cut that was read already: either, not both.
        let late = if cuts.is_empty() { late_ms * 1_000_000 } else { 0 };
        let mut track = if is_held { Track::held(0, &spec) } else { Track::new(0, &spec) };
        let whole = PlainTrack::new(&spec, is_held, &samples, &cuts);
        let mut steps = steps.into_iter();
        let mut next = 0;
        for (block, &end) in blocks(std::slice::from_ref(&samples), &cuts, &ends, &[late])
            .iter()
            .zip(ends.iter().chain([&i64::MAX]))
        {
            track.extend(&block.columns[0], &block.cuts);
            let here: Samples = samples.iter().copied().filter(|s| s.0 + late < end).collect();
            let cuts_here: Vec<i64> = cuts.iter().copied().filter(|cut| *cut < end).collect();
            let plain = PlainTrack::new(&spec, is_held, &here, &cuts_here);
            let until = if end == i64::MAX { i64::MAX } else { block.until.0 };
            let log_until = (end != i64::MAX).then_some(block.until);
            loop {
                let got = track.at(Time(next), log_until);
                prop_assert_eq!(bits(got), bits(plain.at(next, until)), "at {} of {}", next, until);
                if got == Answer::NotYet {
                    break;
                }
                // Nothing that came later would have changed it.
                prop_assert_eq!(bits(got), bits(whole.at(next, i64::MAX)), "at {} early", next);
                prop_assert_eq!(track.has_sample_at(Time(next)), whole.has_sample_at(next));
                let Some((kind, step)) = steps.next() else {
                    return Ok(());
                };
                // Often the very time of a sample, and now and then the same time again.
                let following = samples.iter().map(|s| s.0).find(|time| *time > next);
                next = match (kind, following) {
                    (0 | 1, Some(following)) => following,
                    (2, _) if step % 5 == 0 => next,
                    _ => next + step,
                };
            }
        }
    }

    #[test]
    fn edges_are_where_runs_start_or_end(
        samples in samples(120),
        cuts in cuts(),
        times in prop::collection::vec(0..120_000_000_i64, 1..120),
    ) {
        let mut spec = ChannelSpec::new("clutch.position");
        spec.period_s = Some(0.05);
        let plain = PlainTrack::new(&spec, false, &samples, &cuts);
        let mut track = Track::new(0, &spec);
        let block = &blocks(&[samples], &cuts, &[], &[0])[0];
        track.extend(&block.columns[0], &block.cuts);
        let mut after = -1;
        for step in times {
            let before = after + step;
            let wanted = (0..plain.samples.len())
                .filter(|&index| plain.is_edge(index))
                .map(|index| Time(plain.samples[index].time))
                .find(|time| after < time.0 && time.0 < before);
            prop_assert_eq!(track.edge_between(Time(after), Time(before), None), wanted);
            after = before.max(0);
            track.at(Time(after), None);
        }
    }
}
