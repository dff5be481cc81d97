//! What the survey learns from bare payloads: codes, belief, and the order of the bytes.
//!
//! A number with its bytes swapped jumps by multiples of 256 where the true one creeps.
//! So every number of more than eight bits is also read with its runs in reverse order,
//! and whichever way is smoother over its own range is the likely one.

use halfshaft_model::Time;

use super::limits::BYTES_RANGE;
use crate::decode::bits::{self, Reading, extract, number};
use crate::map::{BitField, BitRun, Number, Signal};

/// Steps further apart than this are not steps, s.
const LONGEST_STEP_S: f64 = 0.5;

/// What the payloads say of one channel.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Codes {
    pub(crate) n: u64,
    pub(crate) n_broken: u64,
    pub(crate) n_beyond_belief: u64,
}

impl Codes {
    pub(crate) fn add(&mut self, reading: Reading) {
        self.n += 1;
        match reading {
            Reading::Value(_) | Reading::Absent | Reading::BeyondEnd => {}
            Reading::Broken | Reading::NotFinite => self.n_broken += 1,
            Reading::BeyondBelief(_) => self.n_beyond_belief += 1,
        }
    }
}

/// One signal, read as stated and, where it can be, both ways.
#[derive(Clone, Debug)]
pub(crate) struct RawWatch {
    pub(crate) order: Option<ByteOrder>,
}

impl RawWatch {
    pub(crate) fn new(signal: &Signal) -> RawWatch {
        RawWatch {
            order: ByteOrder::new(signal),
        }
    }

    /// Takes a payload that carries the signal, and gives its reading.
    pub(crate) fn add(&mut self, signal: &Signal, payload: &[u8], time: Time) -> Reading {
        let raw = extract(&signal.bits, payload);
        if let Some(order) = &mut self.order
            && let Some(stated) = raw
            && let Some(swapped) = extract(&order.reversed, payload)
        {
            order.add(signal, [stated, swapped], time);
        }
        bits::reading(signal, raw, payload)
    }
}

/// One signal read both ways.
#[derive(Clone, Debug)]
pub(crate) struct ByteOrder {
    reversed: BitField,
    stated: Roughness,
    swapped: Roughness,
    last: Option<Time>,
}

impl ByteOrder {
    /// `None` for signals in one byte and for floats.
    fn new(signal: &Signal) -> Option<ByteOrder> {
        let mut runs = by_byte(&signal.bits);
        if runs.len() < 2 || signal.bits.width() > 64 || signal.number == Number::Float {
            return None;
        }
        runs.reverse();
        Some(ByteOrder {
            reversed: BitField { runs },
            stated: Roughness::default(),
            swapped: Roughness::default(),
            last: None,
        })
    }

    fn add(&mut self, signal: &Signal, raw: [u64; 2], time: Time) {
        let ([stated, swapped], width) = (raw, signal.bits.width());
        // Codes are no numbers, whichever way they are read.
        let is_code = |raw| bits::is_in(&signal.absent, raw) || bits::is_in(&signal.broken, raw);
        if is_code(stated) || is_code(swapped) {
            return;
        }
        let is_step = self
            .last
            .is_some_and(|last| time > last && time.since(last) < LONGEST_STEP_S);
        self.last = Some(time);
        self.stated
            .add(number(signal.number, width, stated), is_step);
        self.swapped
            .add(number(signal.number, width, swapped), is_step);
    }

    /// How many times rougher the number is as stated than with its bytes swapped.
    pub(crate) fn times_rougher(&self, fewest_steps: u64) -> Option<f64> {
        // A number that only trembles crosses 256 now and then, and read the other way round that is
        // its whole range.
        let range = self.stated.range();
        let runs_far = range >= BYTES_RANGE && range >= self.swapped.range();
        if self.stated.n_steps < fewest_steps || !runs_far {
            return None;
        }
        Some(self.stated.per_range()? / self.swapped.per_range()?)
    }
}

/// Runs merged and parted so that each is one byte's share of the number.
fn by_byte(field: &BitField) -> Vec<BitRun> {
    let mut bytes: Vec<BitRun> = Vec::new();
    for run in &field.runs {
        match bytes.last_mut() {
            Some(last)
                if last.byte == run.byte && u16::from(last.low) == u16::from(run.high) + 1 =>
            {
                last.low = run.low
            }
            _ => bytes.push(*run),
        }
    }
    bytes
}

/// Mean step and range of a number.
#[derive(Clone, Copy, Debug, Default)]
struct Roughness {
    last: f64,
    n_steps: u64,
    sum: f64,
    range: Option<(f64, f64)>,
}

impl Roughness {
    fn add(&mut self, value: f64, is_step: bool) {
        if is_step {
            self.n_steps += 1;
            self.sum += (value - self.last).abs();
        }
        self.last = value;
        let (low, high) = self.range.unwrap_or((value, value));
        self.range = Some((low.min(value), high.max(value)));
    }

    /// Codes it ran through.
    fn range(&self) -> f64 {
        self.range.map_or(0.0, |(low, high)| high - low)
    }

    fn per_range(&self) -> Option<f64> {
        let (low, high) = self.range?;
        let mean = self.sum / self.n_steps as f64;
        (high > low && mean > 0.0).then(|| mean / (high - low))
    }
}
