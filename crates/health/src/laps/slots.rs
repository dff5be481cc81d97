//! Values by time, thinned: one for each slot, in bounded memory.
//!
//! In: values in order of time. Out: slots, each with when it began and what its values were joined to.
//! When they are too many, neighbours are joined and slots are twice as long from then on.

use halfshaft_model::Time;

/// Slots kept; when they are full, neighbours are joined.
pub const MOST_SLOTS: usize = 8192;

/// Shortest slot, s.
const SHORTEST_SLOT_S: f64 = 1.0;

/// The slots.
#[derive(Clone, Debug)]
pub struct Slots<T> {
    slot_s: f64,
    slots: Vec<(Time, T)>,
}

impl<T> Default for Slots<T> {
    fn default() -> Slots<T> {
        Slots {
            slot_s: SHORTEST_SLOT_S,
            slots: Vec::new(),
        }
    }
}

impl<T: Copy> Slots<T> {
    /// Takes a value; `join` makes one of an earlier and a later.
    pub fn add(&mut self, time: Time, value: T, join: fn(T, T) -> T) {
        match self.slots.last_mut() {
            Some((start, kept)) if time.since(*start) < self.slot_s => *kept = join(*kept, value),
            _ => self.slots.push((time, value)),
        }
        if self.slots.len() > MOST_SLOTS {
            self.slot_s *= 2.0;
            let joined = self.slots.chunks(2).map(|pair| match *pair {
                [(start, one), (_, other)] => (start, join(one, other)),
                _ => pair[0],
            });
            self.slots = joined.collect();
        }
    }

    /// The slots in order of time, each with when it began.
    pub fn all(&self) -> &[(Time, T)] {
        &self.slots
    }
}
