//! Thins time series for drawing, whatever the length of the drive.
//!
//! In: samples in order of time. Out: lowest and highest value per slot. Slots start
//! narrow and pair up when they run out, so memory is bounded and nothing is averaged
//! away: a spike of one sample stays visible in a ten-hour drive.

use halfshaft_model::{Span, Time};

use crate::nouns::StripSlot;

/// Slots at the most; more than a screen has columns.
const MAX_SLOTS: usize = 1600;

/// Width of a slot at the start, ns.
const FIRST_WIDTH_NS: i64 = 50_000_000;

/// Lowest and highest value; the other way round as long as there is none.
type Slot = (f64, f64);

const EMPTY: Slot = (f64::INFINITY, f64::NEG_INFINITY);

/// Lowest and highest value per slot.
#[derive(Clone, Debug)]
pub struct Envelope {
    width_ns: i64,
    slots: Vec<Slot>,
    // What came since the slot of the latest sample was found, and where that slot begins and
    // ends, ns: most samples fall into it.
    open: Slot,
    latest: usize,
    start_ns: i64,
    end_ns: i64,
}

impl Default for Envelope {
    fn default() -> Envelope {
        Envelope {
            width_ns: FIRST_WIDTH_NS,
            slots: Vec::new(),
            open: EMPTY,
            latest: 0,
            start_ns: 0,
            end_ns: 0,
        }
    }
}

impl Envelope {
    /// Takes a sample.
    pub fn add(&mut self, time: Time, value: f64) {
        let at_ns = time.0.max(0);
        if !(self.start_ns..self.end_ns).contains(&at_ns) {
            self.find(at_ns);
        }
        self.open = join(self.open, (value, value));
    }

    fn find(&mut self, at_ns: i64) {
        if let Some(slot) = self.slots.get_mut(self.latest) {
            *slot = join(*slot, std::mem::replace(&mut self.open, EMPTY));
        }
        while at_ns / self.width_ns >= MAX_SLOTS as i64 {
            self.pair_up();
        }
        self.latest = (at_ns / self.width_ns) as usize;
        self.start_ns = self.latest as i64 * self.width_ns;
        self.end_ns = self.start_ns + self.width_ns;
        if self.latest >= self.slots.len() {
            self.slots.resize(self.latest + 1, EMPTY);
        }
    }

    fn pair_up(&mut self) {
        self.slots = self
            .slots
            .chunks(2)
            .map(|pair| join(pair[0], pair.get(1).copied().unwrap_or(EMPTY)))
            .collect();
        self.width_ns *= 2;
    }

    /// The slots that hold a sample, in units that `convert` makes.
    pub fn slots(&self, convert: impl Fn(f64) -> f64) -> Vec<StripSlot> {
        let with_open = |(index, slot): (usize, &Slot)| match index == self.latest {
            true => (index, join(*slot, self.open)),
            false => (index, *slot),
        };
        self.slots
            .iter()
            .enumerate()
            .map(with_open)
            .filter(|(_, (low, high))| low <= high)
            .map(|(index, (low, high))| {
                let start = Time(index as i64 * self.width_ns);
                let span = Span {
                    start,
                    end: Time(start.0 + self.width_ns),
                };
                StripSlot {
                    span,
                    low: convert(low),
                    high: convert(high),
                }
            })
            .collect()
    }

    /// Whether no sample came.
    pub fn is_empty(&self) -> bool {
        self.slots.is_empty()
    }
}

/// Bare comparisons: no value is NaN.
fn join(one: Slot, other: Slot) -> Slot {
    (
        if other.0 < one.0 { other.0 } else { one.0 },
        if other.1 > one.1 { other.1 } else { one.1 },
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_spike_survives_ten_hours() {
        let mut envelope = Envelope::default();
        for index in 0..360_000 {
            let value = if index == 123_456 { 99.0 } else { 1.0 };
            envelope.add(Time::from_seconds(f64::from(index) * 0.1), value);
        }
        let slots = envelope.slots(|value| value);
        assert!(slots.len() <= MAX_SLOTS && slots.len() > MAX_SLOTS / 4);
        let spiked: Vec<_> = slots.iter().filter(|slot| slot.high == 99.0).collect();
        assert_eq!(spiked.len(), 1);
        assert!(
            spiked[0].span.start.seconds() <= 12_345.6 && spiked[0].span.end.seconds() > 12_345.6
        );
    }
}
