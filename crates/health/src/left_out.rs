//! What the decoder left out of each channel, since no car can do what those samples say.
//!
//! In: blocks. Out: how many of each kind, since when, and which sensors drop out.

use halfshaft_model::{ChannelSpec, LeftOut, Time, Trouble};

use crate::evidence::{Strongest, window};
use crate::limits::SensorLimits;
use crate::nouns::EvidenceWindow;
use crate::part::{Came, Part};

/// What was left out of one channel.
#[derive(Clone, Debug, Default)]
pub struct OfChannel {
    n: [u64; 4],
    n_samples: u64,
    // Of stretches in which it fell to a number or was stuck.
    seconds: f64,
    first: Option<Time>,
    strongest: Strongest,
}

/// What was left out of every channel.
#[derive(Clone, Debug)]
pub struct LeftOutTally {
    channels: Vec<OfChannel>,
}

impl LeftOutTally {
    /// Nothing of so many channels.
    pub fn new(n_channels: usize) -> LeftOutTally {
        LeftOutTally {
            channels: vec![OfChannel::default(); n_channels],
        }
    }

    /// Every channel in the order of the map.
    pub fn channels(&self) -> &[OfChannel] {
        &self.channels
    }

    /// Share of the samples of the worse rear wheel that are left out one by one.
    pub fn scattered_share(&self, channels: &[ChannelSpec]) -> f64 {
        let of_channels = channels.iter().zip(&self.channels);
        let rear = of_channels.filter(|(spec, _)| spec.name.starts_with("wheel.rear."));
        rear.map(|(_, of)| of.scattered_share()).fold(0.0, f64::max)
    }

    fn add(&mut self, left_out: &LeftOut) {
        let Some(of) = self.channels.get_mut(left_out.channel) else {
            return;
        };
        of.n[left_out.trouble as usize] += left_out.n;
        of.first.get_or_insert(left_out.span.start);
        if matches!(left_out.trouble, Trouble::DropsOut | Trouble::Stuck) {
            of.seconds += left_out.span.seconds();
        }
        let (start, end) = (left_out.span.start, left_out.span.end);
        let n = left_out.n as f64;
        let evidence = window(start, end, &[("samples left out", n, "")]);
        of.strongest.add(n, evidence);
    }
}

impl Part for LeftOutTally {
    fn block(&mut self, came: &Came) {
        for (of, column) in self.channels.iter_mut().zip(&came.block.columns) {
            of.n_samples += column.len() as u64;
        }
        for left_out in &came.block.left_out {
            self.add(left_out);
        }
    }
}

impl OfChannel {
    /// How many samples.
    pub fn n(&self) -> u64 {
        self.n.iter().sum()
    }

    /// Whether it only repeated a number.
    pub fn was_only_stuck(&self) -> bool {
        self.n() == self.n[Trouble::Stuck as usize]
    }

    /// Those that were bad one by one, as a share of all samples.
    fn scattered_share(&self) -> f64 {
        let n = self.n[Trouble::BeyondRange as usize] + self.n[Trouble::StandsOut as usize];
        n as f64 / (self.n() + self.n_samples).max(1) as f64
    }

    /// When the first of them was.
    pub fn first(&self) -> Option<Time> {
        self.first
    }

    /// The stretches that show most, in order of time.
    pub fn windows(&self) -> Vec<EvidenceWindow> {
        self.strongest.windows()
    }

    /// Whether so much is left out that the sensor, its plug or the bus is at fault.
    pub fn drops_out(&self, limits: &SensorLimits) -> bool {
        let n_all = self.n() + self.n_samples;
        let is_often = self.n() >= u64::from(limits.bad_samples)
            && self.n() as f64 >= limits.bad_share * n_all as f64;
        is_often || self.seconds >= limits.lost_s
    }

    /// What was left out, in words: "12 readings outside their range, stuck for 5.0 s".
    pub fn describe(&self) -> String {
        const KINDS: [(Trouble, &str); 4] = [
            (Trouble::BeyondRange, "outside the range of any car"),
            (Trouble::StandsOut, "far from the ones before and after"),
            (Trouble::DropsOut, "of a signal that dropped out"),
            (Trouble::Stuck, "of a signal that was stuck"),
        ];
        let kinds = KINDS
            .iter()
            .filter(|(trouble, _)| self.n[*trouble as usize] > 0)
            .map(|(trouble, what)| format!("{} {what}", self.n[*trouble as usize]));
        kinds.collect::<Vec<String>>().join(", ")
    }
}

/// A channel as people call it.
pub fn plain_name(channel: &str) -> String {
    let mut words: Vec<&str> = channel.split('.').collect();
    match words[0] {
        // wheel.rear.left: the left rear wheel.
        "wheel" => words.reverse(),
        "speed" => return "road speed".to_owned(),
        _ => {}
    }
    words.join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::limits::Limits;
    use halfshaft_model::{Block, Span};

    fn tally(trouble: Trouble, n: u64, n_good: usize, seconds: f64) -> LeftOutTally {
        let mut block = Block::new(1);
        for index in 0..n_good {
            block.columns[0].push(Time(index as i64), Some(1.0));
        }
        block.left_out.push(LeftOut {
            channel: 0,
            trouble,
            span: Span {
                start: Time::from_seconds(3.0),
                end: Time::from_seconds(3.0 + seconds),
            },
            n,
        });
        let mut tally = LeftOutTally::new(1);
        tally.block(&Came {
            block: &block,
            derived: &Default::default(),
            oil: &[],
            air: &[],
        });
        tally
    }

    #[test]
    fn some_samples_are_chance_and_more_are_a_sensor_that_drops_out() {
        let limits = Limits::default().sensor;
        let drops_out = |trouble, n, n_good, seconds| {
            let tally = tally(trouble, n, n_good, seconds);
            tally.channels()[0].drops_out(&limits)
        };
        assert!(!drops_out(Trouble::StandsOut, 9, 1000, 0.0));
        assert!(drops_out(Trouble::StandsOut, 10, 1000, 0.0));
        assert!(!drops_out(Trouble::StandsOut, 10, 200_000, 0.0));
        assert!(!drops_out(Trouble::BeyondRange, 5, 1000, 9.0));
        assert!(!drops_out(Trouble::Stuck, 5, 1000, 0.9));
        assert!(drops_out(Trouble::Stuck, 5, 1000, 1.1));
    }

    #[test]
    fn it_is_named_as_people_call_it() {
        assert_eq!(plain_name("wheel.rear.left"), "left rear wheel");
        assert_eq!(plain_name("oil.temperature"), "oil temperature");
        let tally = tally(Trouble::Stuck, 12, 3, 1.0);
        let of = &tally.channels()[0];
        assert_eq!(of.describe(), "12 of a signal that was stuck");
        assert_eq!(of.first(), Some(Time::from_seconds(3.0)));
    }
}
