//! One identifier of one bus, frame by frame.

use halfshaft_model::FrameId;

use crate::samples::{Samples, word};
use crate::tally::{Tally, bytes_up_by_one, nibbles_up_by_one};

/// Intervals kept of one identifier.
const MOST_INTERVALS: usize = 512;
/// Words of a payload that are looked at: 64 bytes.
const MOST_WORDS: usize = 8;

/// An identifier of a bus.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Key {
    /// The bus, as an index.
    pub bus: u16,
    /// The identifier.
    pub id: FrameId,
}

/// What is counted of one identifier.
#[derive(Clone, Debug)]
pub struct Watch {
    /// Which.
    pub key: Key,
    /// Data frames.
    pub n_frames: u64,
    /// Remote requests.
    pub n_remote: u64,
    /// Lengths seen and how often, at most as many as there are.
    pub lengths: Vec<(u16, u64)>,
    /// Counts of eight bytes each.
    pub words: Vec<Word>,
    /// What is kept.
    pub samples: Samples,
    last_s: f64,
    intervals: Vec<f32>,
    every: u64,
}

/// Counts of eight bytes of the payload.
#[derive(Clone, Debug, Default)]
pub struct Word {
    last: u64,
    /// Bits that differ from the frame before.
    pub flips: Tally,
    /// Nibbles that are one up from the frame before.
    pub nibble_steps: Tally,
    /// Bytes that are one up from the frame before.
    pub byte_steps: Tally,
}

impl Watch {
    /// Nothing seen yet.
    pub fn new(key: Key) -> Watch {
        Watch {
            key,
            n_frames: 0,
            n_remote: 0,
            lengths: Vec::new(),
            words: Vec::new(),
            samples: Samples::default(),
            last_s: 0.0,
            intervals: Vec::new(),
            every: 1,
        }
    }

    /// One more data frame; `slot` where it is one to be kept.
    pub fn add(&mut self, time_s: f64, slot: Option<u32>, payload: &[u8]) {
        let length = payload.len() as u16;
        match self.lengths.iter_mut().find(|(known, _)| *known == length) {
            Some((_, n)) => *n += 1,
            None => self.lengths.push((length, 1)),
        }
        let n_words = payload.len().div_ceil(8).min(MOST_WORDS);
        if self.words.len() < n_words {
            self.words.resize_with(n_words, Word::default);
        }
        for (index, counts) in self.words.iter_mut().enumerate() {
            let now = word(payload, index);
            if self.n_frames > 0 {
                counts.flips.add(now ^ counts.last);
                counts.nibble_steps.add(nibbles_up_by_one(counts.last, now));
                counts.byte_steps.add(bytes_up_by_one(counts.last, now));
            }
            counts.last = now;
        }
        if self.n_frames > 0 && self.n_frames.is_multiple_of(self.every) {
            self.intervals.push((time_s - self.last_s) as f32);
            if self.intervals.len() == MOST_INTERVALS {
                let mut index = 0;
                self.intervals.retain(|_| {
                    index += 1;
                    index % 2 == 0
                });
                self.every *= 2;
            }
        }
        self.n_frames += 1;
        self.last_s = time_s;
        if let Some(slot) = slot {
            self.samples
                .add(time_s, slot, &payload[..payload.len().min(64)]);
        }
    }

    /// The length that most frames have.
    pub fn length(&self) -> u16 {
        let most = self.lengths.iter().max_by_key(|(_, n)| *n);
        most.map_or(0, |(length, _)| *length)
    }

    /// Median time between two, and half the spread of the middle four fifths, s.
    pub fn period_s(&self) -> Option<(f64, f64)> {
        let mut sorted = self.intervals.clone();
        sorted.sort_by(f32::total_cmp);
        let at = |share: f64| {
            let index = ((sorted.len() as f64 - 1.0) * share).round();
            sorted.get(index as usize).map(|value| f64::from(*value))
        };
        Some((at(0.5)?, (at(0.9)? - at(0.1)?) / 2.0))
    }

    /// For each bit, first byte's highest first, the share of frames in which it differs from
    /// the frame before.
    pub fn flip_rates(&mut self) -> Vec<f64> {
        let n = self.n_frames.saturating_sub(1).max(1) as f64;
        let n_bits = usize::from(self.length().min(64)) * 8;
        let mut rates = Vec::with_capacity(n_bits);
        for counts in &mut self.words {
            let counts = counts.flips.counts();
            rates.extend(counts.iter().rev().map(|count| f64::from(*count) / n));
        }
        rates.truncate(n_bits);
        rates
    }
}
