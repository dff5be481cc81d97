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
                Some(before) => self.covered_ns += time.0 - before.0,
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
