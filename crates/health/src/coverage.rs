//! How well each channel was covered, and where it was silent.
//!
//! In: blocks. Out: samples, missing ones, period, gaps, share of the drive covered. A
//! gap is a silence longer than the channel's own rhythm allows; what was declared
//! missing counts as not covered.

use halfshaft_driveline::Period;
use halfshaft_model::constants::NS_PER_S;
use halfshaft_model::{Block, ChannelSpec, Column, Span, Time};

use crate::nouns::{ChannelQuality, Gap, MAX_GAPS};
use crate::part::{Came, Part};

/// Watches one channel.
#[derive(Clone, Debug)]
struct Watch {
    period: Period,
    latest: Option<Time>,
    n_samples: u64,
    n_missing: u64,
    n_gaps: u64,
    gap_s: f64,
    // Summed between samples that are no gap apart.
    covered_ns: i64,
    // Samples that would have fitted between those.
    n_skipped: f64,
}

/// Watches all channels.
#[derive(Clone, Debug)]
pub struct Coverage {
    names: Vec<String>,
    watches: Vec<Watch>,
    longest: Vec<Gap>,
    n_gaps: u64,
    silent_s: f64,
    latest_sample: Time,
    until: Time,
}

impl Part for Coverage {
    fn block(&mut self, came: &Came) {
        self.push(came.block);
    }
}

impl Coverage {
    /// A watch on the channels of a map.
    pub fn new(channels: &[ChannelSpec]) -> Coverage {
        let watch = |channel: &ChannelSpec| Watch {
            period: Period::new(channel.period_s),
            latest: None,
            n_samples: 0,
            n_missing: 0,
            n_gaps: 0,
            gap_s: 0.0,
            covered_ns: 0,
            n_skipped: 0.0,
        };
        Coverage {
            names: channels
                .iter()
                .map(|channel| channel.name.clone())
                .collect(),
            watches: channels.iter().map(watch).collect(),
            longest: Vec::new(),
            n_gaps: 0,
            silent_s: 0.0,
            latest_sample: Time(0),
            until: Time(0),
        }
    }

    /// Takes a block.
    pub fn push(&mut self, block: &Block) {
        for &cut in &block.cuts {
            let times = block
                .columns
                .iter()
                .flat_map(|column| column.iter().map(|(time, _)| time));
            let before = times
                .filter(|&time| time < cut)
                .max()
                .unwrap_or(self.latest_sample)
                .max(self.latest_sample);
            let span = Span {
                start: before,
                end: cut,
            };
            self.silent_s += span.seconds();
            if span.seconds() > 0.001 {
                self.list("whole log".to_owned(), span);
            }
        }
        for (index, column) in block.columns.iter().enumerate() {
            let gaps = self.watches[index].extend(column, &block.cuts);
            for span in gaps {
                self.list(self.names[index].clone(), span);
            }
            if !column.is_empty() {
                self.latest_sample = self.latest_sample.max(column.time(column.len() - 1));
            }
        }
        self.until = self.until.max(block.until);
    }

    fn list(&mut self, channel: String, span: Span) {
        self.n_gaps += 1;
        let place = self
            .longest
            .partition_point(|gap| gap.span.seconds() >= span.seconds());
        if place < MAX_GAPS {
            self.longest.insert(place, Gap { channel, span });
            self.longest.truncate(MAX_GAPS);
        }
    }

    /// Length of the drive without the silences of the whole log, s.
    pub fn duration_s(&self) -> f64 {
        (self.until.seconds() - self.silent_s).max(0.0)
    }

    /// The longest gaps, longest first, and how many there are in all.
    pub fn gaps(&self) -> (Vec<Gap>, u64) {
        (self.longest.clone(), self.n_gaps)
    }

    /// Every channel in the order of the map.
    pub fn channels(&self) -> Vec<ChannelQuality> {
        let duration_s = self.duration_s();
        let quality = |(name, watch): (&String, &Watch)| ChannelQuality {
            name: name.clone(),
            n_samples: watch.n_samples,
            n_missing: watch.n_missing,
            period_s: watch.period.seconds().filter(|_| watch.n_samples > 1),
            coverage: if duration_s > 0.0 {
                (watch.covered_ns as f64 / NS_PER_S as f64 / duration_s).min(1.0)
            } else {
                0.0
            },
            n_gaps: watch.n_gaps,
            gap_s: watch.gap_s,
        };
        self.names.iter().zip(&self.watches).map(quality).collect()
    }

    /// Share of the samples of a channel that are lost between others; what is lost in gaps is not
    /// covered.
    pub fn share_lost(&self, channel: usize) -> f64 {
        self.watches[channel].share_lost()
    }

    /// Median time between samples of a channel, s.
    pub fn period_s(&self, channel: usize) -> Option<f64> {
        self.watches[channel].period.seconds()
    }

    /// Whether a channel gave at least one value.
    pub fn was_seen(&self, channel: usize) -> bool {
        self.watches[channel].n_samples > 0
    }
}

impl Watch {
    #[cold]
    fn skip(&mut self, apart_ns: i64) {
        if let Some(period_s) = self.period.seconds().filter(|&period_s| period_s > 0.0) {
            let n = (apart_ns as f64 / NS_PER_S as f64 / period_s).round() - 1.0;
            self.n_skipped += n.max(0.0);
        }
    }

    /// Share of the samples that are lost between others. Stamps that come in bursts leave out none
    /// in sum, and a period that the map states a little short skips none.
    fn share_lost(&self) -> f64 {
        let Some(period_s) = self.period.seconds().filter(|&period_s| period_s > 0.0) else {
            return 0.0;
        };
        let covered_s = self.covered_ns as f64 / NS_PER_S as f64;
        let n = self.n_samples as f64;
        let n_lost = self.n_skipped.min(covered_s / period_s - n).max(0.0);
        n_lost / (n + n_lost).max(1.0)
    }

    /// Takes samples and returns the gaps that ended in them.
    fn extend(&mut self, column: &Column, cuts: &[Time]) -> Vec<Span> {
        let mut gaps = Vec::new();
        let mut cuts = cuts.iter().copied().peekable();
        for (time, value) in column.iter() {
            while cuts.next_if(|&cut| cut <= time).is_some() {
                self.latest = None;
            }
            if value.is_none() {
                self.n_missing += 1;
                continue;
            }
            match self.latest {
                Some(start) if time.0 - start.0 > self.period.gap_limit_ns() => {
                    let span = Span { start, end: time };
                    self.n_gaps += 1;
                    self.gap_s += span.seconds();
                    gaps.push(span);
                }
                Some(before) => {
                    let apart_ns = time.0 - before.0;
                    self.covered_ns += apart_ns;
                    if apart_ns > self.period.long_ns() {
                        self.skip(apart_ns);
                    }
                }
                // The first sample of a stretch stands for about one period before it.
                None => {
                    let period_s = self.period.seconds().unwrap_or(0.0);
                    self.covered_ns += (period_s * NS_PER_S as f64) as i64;
                }
            }
            self.n_samples += 1;
            self.period.add(time);
            self.latest = Some(time);
        }
        if cuts.next().is_some() {
            self.latest = None;
        }
        gaps
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Share lost of a channel of 50 Hz of which these samples are left; its period as the map states
    /// it, or not.
    fn lost(period_s: Option<f64>, time_s: impl Fn(u32) -> Option<f64>) -> f64 {
        let channels = [ChannelSpec {
            period_s,
            ..ChannelSpec::new("wheel.rear.left")
        }];
        let mut coverage = Coverage::new(&channels);
        let mut block = Block::new(1);
        for time_s in (0..5000).filter_map(time_s) {
            block.columns[0].push(Time::from_seconds(time_s), Some(1.0));
        }
        coverage.push(&block);
        coverage.share_lost(0)
    }

    #[test]
    fn samples_lost_between_others_are_counted_and_jitter_is_none() {
        let at = |index: u32| f64::from(index) * 0.02;
        for period_s in [None, Some(0.02)] {
            // Each tenth is missing.
            let tenth = lost(period_s, |index| (index % 10 != 7).then_some(at(index)));
            assert!((tenth - 0.1).abs() < 0.002, "{tenth}");
            assert_eq!(lost(period_s, |index| Some(at(index))), 0.0);
            // A gap is no scattered loss.
            let gap = lost(period_s, |index| {
                (!(1000..1500).contains(&index)).then_some(at(index))
            });
            assert_eq!(gap, 0.0);
            let jitter = lost(period_s, |index| {
                Some(at(index) + f64::from(index % 3) * 0.006)
            });
            assert!(jitter < 0.001, "{jitter}");
        }
        // Five at a time, as some loggers stamp them.
        let bursts = lost(Some(0.02), |index| {
            Some(at(index / 5 * 5) + f64::from(index % 5) * 1e-4)
        });
        assert!(bursts < 0.001, "{bursts}");
        // The map states 20 ms, and it is 22.
        assert_eq!(lost(Some(0.02), |index| Some(at(index) * 1.1)), 0.0);
    }

    #[test]
    fn gaps_and_shares() {
        let channels = [ChannelSpec {
            period_s: Some(0.1),
            ..ChannelSpec::new("yaw.rate")
        }];
        let mut coverage = Coverage::new(&channels);
        let mut block = Block::new(1);
        for index in (0..=100).filter(|index| !(41..60).contains(index)) {
            let value = (index != 20).then_some(1.0);
            block.columns[0].push(Time::from_seconds(f64::from(index) * 0.1), value);
        }
        block.until = Time::from_seconds(10.0);
        coverage.push(&block);
        let quality = &coverage.channels()[0];
        assert_eq!(
            (quality.n_samples, quality.n_missing, quality.n_gaps),
            (81, 1, 1)
        );
        assert!((quality.gap_s - 2.0).abs() < 1e-9);
        assert!(
            (quality.coverage - 0.81).abs() < 1e-6,
            "{}",
            quality.coverage
        );
        assert_eq!(coverage.gaps().1, 1);
    }
}
