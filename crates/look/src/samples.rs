//! What is kept of a log, however long it is: short slots of time spread over it, the same
//! ones for all identifiers, with every frame in them.
//!
//! The longer the log, the fewer of its slots are kept, so that memory does not grow with it.
//! Frames within a slot follow each other as in the log: how a field moves can be seen, and
//! fields of several frames can be compared.

/// Length of a slot, s: long enough to see a bend.
pub const SLOT_S: f64 = 4.0;
/// Slots kept at most: 160 s of driving.
const MOST_SLOTS: usize = 40;
/// Samples kept of one identifier in one slot; of quicker ones every second, third ….
const MOST_IN_A_SLOT: u32 = 400;

/// Which slots are kept.
#[derive(Clone, Debug)]
pub struct Slots {
    // Every how many-th slot is kept, the number of the one at hand and its start.
    stride: u32,
    number: u32,
    start_s: Option<f64>,
    kept: Vec<(u32, f64)>,
}

impl Default for Slots {
    fn default() -> Slots {
        Slots {
            stride: 1,
            number: 0,
            start_s: None,
            kept: Vec::new(),
        }
    }
}

impl Slots {
    /// The slot of a time and, when fewer are kept from now on, the new stride.
    pub fn at(&mut self, time_s: f64) -> (Option<u32>, Option<u32>) {
        // A clock that steps back begins a new slot, too.
        let is_in = |start: f64| (start..start + SLOT_S).contains(&time_s);
        if self.start_s.is_some_and(is_in) {
            return (self.is_kept().then_some(self.number), None);
        }
        if self.start_s.is_some() {
            self.number = self.number.saturating_add(1);
        }
        self.start_s = Some(time_s);
        if !self.is_kept() {
            return (None, None);
        }
        self.kept.push((self.number, time_s));
        let mut thinned = None;
        if self.kept.len() > MOST_SLOTS {
            self.stride *= 2;
            let stride = self.stride;
            self.kept.retain(|(number, _)| number % stride == 0);
            thinned = Some(stride);
        }
        (self.is_kept().then_some(self.number), thinned)
    }

    fn is_kept(&self) -> bool {
        self.number.is_multiple_of(self.stride)
    }

    /// Number and start of the slots that are kept.
    pub fn kept(&self) -> &[(u32, f64)] {
        &self.kept
    }
}

/// What is kept of one identifier.
#[derive(Clone, Debug, Default)]
pub struct Samples {
    /// Time of each, s since the log's beginning.
    pub times_s: Vec<f64>,
    /// Slot of each.
    pub slots: Vec<u32>,
    /// Length of each in bytes.
    pub lengths: Vec<u8>,
    /// Payloads, eight bytes a word, the first byte highest; word after word of a sample.
    pub words: Vec<u64>,
    n_words: usize,
    // Of the slot at hand: its number, frames seen, and every how many-th is kept.
    slot: u32,
    n_in_slot: u32,
    every: u32,
}

impl Samples {
    /// Adds a frame of a slot.
    pub fn add(&mut self, time_s: f64, slot: u32, payload: &[u8]) {
        if self.words.is_empty() {
            self.n_words = payload.len().div_ceil(8).max(1);
            (self.slot, self.every) = (slot, 1);
        }
        if slot != self.slot {
            self.every = self.n_in_slot / MOST_IN_A_SLOT + 1;
            (self.slot, self.n_in_slot) = (slot, 0);
        }
        self.n_in_slot += 1;
        let is_its_turn = self.n_in_slot.is_multiple_of(self.every);
        if !is_its_turn || self.n_in_slot / self.every > 2 * MOST_IN_A_SLOT {
            return;
        }
        self.times_s.push(time_s);
        self.slots.push(slot);
        self.lengths.push(payload.len().min(64) as u8);
        for index in 0..self.n_words {
            self.words.push(word(payload, index));
        }
    }

    /// Drops the slots that are kept no longer.
    pub fn thin(&mut self, stride: u32) {
        let n_words = self.n_words;
        let keeps: Vec<bool> = self.slots.iter().map(|slot| slot % stride == 0).collect();
        let mut n = 0;
        for (from, _) in keeps.iter().enumerate().filter(|(_, keep)| **keep) {
            self.times_s[n] = self.times_s[from];
            self.slots[n] = self.slots[from];
            self.lengths[n] = self.lengths[from];
            self.words
                .copy_within(from * n_words..(from + 1) * n_words, n * n_words);
            n += 1;
        }
        self.times_s.truncate(n);
        self.slots.truncate(n);
        self.lengths.truncate(n);
        self.words.truncate(n * n_words);
    }

    /// How many.
    pub fn len(&self) -> usize {
        self.times_s.len()
    }

    /// Words of each payload.
    pub fn n_words(&self) -> usize {
        self.n_words.max(1)
    }

    /// A word of a sample.
    pub fn word(&self, sample: usize, index: usize) -> u64 {
        self.words[sample * self.n_words + index]
    }

    /// A byte of a sample.
    pub fn byte(&self, sample: usize, byte: usize) -> u8 {
        (self.word(sample, byte / 8) >> (56 - 8 * (byte % 8))) as u8
    }
}

/// Eight bytes of a payload as a number, the first one highest; what is not there is 0.
#[inline]
pub fn word(payload: &[u8], index: usize) -> u64 {
    let rest = payload.get(8 * index..).unwrap_or_default();
    if let Some(eight) = rest.first_chunk::<8>() {
        return u64::from_be_bytes(*eight);
    }
    let mut padded = [0; 8];
    padded[..rest.len()].copy_from_slice(rest);
    u64::from_be_bytes(padded)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn memory_stays_whatever_the_length_of_the_log() {
        let mut slots = Slots::default();
        let mut samples = Samples::default();
        for n in 0..1_000_000_u32 {
            let time_s = f64::from(n) * 0.01;
            let (slot, thinned) = slots.at(time_s);
            if let Some(stride) = thinned {
                samples.thin(stride);
            }
            if let Some(slot) = slot {
                samples.add(time_s, slot, &n.to_be_bytes());
            }
        }
        assert!((20..=40).contains(&slots.kept().len()), "{slots:?}");
        assert!(
            (8_000..=16_400).contains(&samples.len()),
            "{}",
            samples.len()
        );
        // What is left belongs together.
        for sample in 0..samples.len() {
            let number = samples.word(sample, 0) >> 32;
            assert!((samples.times_s[sample] - number as f64 * 0.01).abs() < 1e-6);
        }
    }

    #[test]
    fn a_step_back_of_the_clock_begins_a_slot() {
        let mut slots = Slots::default();
        assert_eq!(slots.at(0.0).0, Some(0));
        assert_eq!(slots.at(3.9).0, Some(0));
        assert_eq!(slots.at(-50.0).0, Some(1));
        assert_eq!(slots.at(1e9).0, Some(2));
    }
}
