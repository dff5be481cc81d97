//! What the decoder left out of each channel, since no car can do what those samples say.
//!
//! In: blocks. Out: how many of each kind, since when, and which sensors drop out.

use halfshaft_model::{ChannelSpec, LeftOut, Time, Trouble};

use crate::evidence::{Strongest, window};
use crate::limits::SensorLimits;
use crate::nouns::EvidenceWindow;
use crate::part::{Came, Part};
use crate::reason::Reason;

/// What was left out of one channel.
#[derive(Clone, Debug, Default)]
pub struct OfChannel {
    n: [u64; 4],
    // Samples that stay and look like bad ones.
    n_suspect: u64,
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

    /// Whether what is made of the rear wheels is worth reading, or why not: beside samples bad
    /// beyond doubt others stay that look alike.
    pub fn allows_slip(
        &self,
        channels: &[ChannelSpec],
        limits: &SensorLimits,
    ) -> Result<(), Reason> {
        let in_doubt = |of: &&OfChannel| of.suspect_share(limits) > limits.suspect_share;
        match self.rear_wheels(channels).find(in_doubt) {
            Some(of) => Err(of.in_doubt()),
            None => Ok(()),
        }
    }

    /// A highest value rests on single samples: why it may not be given.
    pub fn allows_peaks(
        &self,
        channels: &[ChannelSpec],
        limits: &SensorLimits,
    ) -> Result<(), Reason> {
        for of in self.rear_wheels(channels) {
            let (share, most) = (of.scattered_share(), limits.peaks_share);
            if share > most {
                return Err(Reason::WheelScatters { share, most });
            }
            if of.suspect_share(limits) > 0.0 {
                return Err(of.in_doubt());
            }
        }
        Ok(())
    }

    fn rear_wheels(&self, channels: &[ChannelSpec]) -> impl Iterator<Item = &OfChannel> {
        let of_channels = channels.iter().zip(&self.channels);
        of_channels
            .filter(|(spec, _)| spec.name.starts_with("wheel.rear."))
            .map(|(_, of)| of)
    }

    fn add(&mut self, left_out: &LeftOut) {
        let Some(of) = self.channels.get_mut(left_out.channel) else {
            return;
        };
        let Some(n_of_kind) = of.n.get_mut(left_out.trouble as usize) else {
            of.n_suspect += left_out.n;
            return;
        };
        *n_of_kind += left_out.n;
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

    /// Share of all samples that stay and look like those that are bad beyond doubt; 0 without such.
    fn suspect_share(&self, limits: &SensorLimits) -> f64 {
        match self.n_beyond_doubt() >= u64::from(limits.suspect_beside) {
            true => self.n_suspect as f64 / (self.n() + self.n_samples).max(1) as f64,
            false => 0.0,
        }
    }

    // A number beyond the range may be a code.
    fn n_beyond_doubt(&self) -> u64 {
        self.n[Trouble::StandsOut as usize] + self.n[Trouble::DropsOut as usize]
    }

    fn in_doubt(&self) -> Reason {
        Reason::WheelInDoubt {
            n_bad: self.n_beyond_doubt(),
            n_suspect: self.n_suspect,
        }
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
        // A wheel that stands still in its number for a moment is one event of many samples, and may
        // be an ice patch: its time judges it.
        let n = self.n() - self.n[Trouble::Stuck as usize];
        let is_often =
            n >= u64::from(limits.bad_samples) && n as f64 >= limits.bad_share * n_all as f64;
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
        assert!(!drops_out(Trouble::StandsOut, 4, 1000, 0.0));
        assert!(drops_out(Trouble::StandsOut, 5, 1000, 0.0));
        assert!(!drops_out(Trouble::StandsOut, 5, 100_000, 0.0));
        assert!(!drops_out(Trouble::BeyondRange, 4, 1000, 9.0));
        assert!(!drops_out(Trouble::Stuck, 4, 1000, 0.9));
        assert!(drops_out(Trouble::Stuck, 4, 1000, 1.1));
    }

    #[test]
    fn samples_in_doubt_count_only_beside_bad_ones() {
        let limits = Limits::default().sensor;
        let channels = [ChannelSpec::new("wheel.rear.left")];
        let check = |bad: (Trouble, u64), n_suspect: u64, n_good: usize, allowed: [bool; 2]| {
            let mut tally = tally(bad.0, bad.1, n_good, 0.0);
            tally.channels[0].n_suspect = n_suspect;
            let slip = tally.allows_slip(&channels, &limits);
            let peaks = tally.allows_peaks(&channels, &limits);
            assert_eq!(
                [slip.is_ok(), peaks.is_ok()],
                allowed,
                "{bad:?} {n_suspect}"
            );
            // Another wheel's samples make no slip of the pack.
            let front = [ChannelSpec::new("wheel.front.left")];
            assert_eq!(tally.allows_slip(&front, &limits), Ok(()));
        };
        // A healthy car whose wheels spin, sampled slowly; codes at key-on are no proof.
        check((Trouble::StandsOut, 0), 9, 2_000, [true, true]);
        check((Trouble::BeyondRange, 3), 9, 2_000, [true, true]);
        check((Trouble::StandsOut, 1), 0, 2_000, [true, true]);
        check((Trouble::StandsOut, 1), 1, 2_000, [false, false]);
        check((Trouble::DropsOut, 1), 1, 2_000, [false, false]);
        // One sample in 20,000 is no heat and may be the highest slip.
        check((Trouble::StandsOut, 1), 1, 20_000, [true, false]);
        check((Trouble::StandsOut, 1), 1, 19_990, [false, false]);
        // Of so many bad ones some look like none.
        check((Trouble::StandsOut, 61), 0, 20_000, [true, false]);
        check((Trouble::StandsOut, 59), 0, 20_000, [true, true]);
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
