//! How far the throttle was open by time, thinned: mean of each slot, in bounded memory.

use halfshaft_model::{Span, Time};

/// Slots kept; when they are full, neighbours are joined.
const MOST_SLOTS: usize = 8192;

/// Shortest slot, s.
const SHORTEST_SLOT_S: f64 = 1.0;

/// Sums of the pedal.
#[derive(Clone, Debug)]
pub struct PedalByTime {
    slot_s: f64,
    // When a slot began, the sum of its samples and how many there are.
    slots: Vec<(Time, f64, f64)>,
}

impl Default for PedalByTime {
    fn default() -> PedalByTime {
        PedalByTime {
            slot_s: SHORTEST_SLOT_S,
            slots: Vec::new(),
        }
    }
}

impl PedalByTime {
    /// Takes a sample.
    pub fn add(&mut self, time: Time, share: f64) {
        match self.slots.last_mut() {
            Some((start, sum, n)) if time.since(*start) < self.slot_s => {
                *sum += share;
                *n += 1.0;
            }
            _ => self.slots.push((time, share, 1.0)),
        }
        if self.slots.len() > MOST_SLOTS {
            self.slot_s *= 2.0;
            let joined = self.slots.chunks(2).map(|pair| {
                let sum = |of: fn(&(Time, f64, f64)) -> f64| pair.iter().map(of).sum();
                (pair[0].0, sum(|slot| slot.1), sum(|slot| slot.2))
            });
            self.slots = joined.collect();
        }
    }

    /// Mean over the slots that begin in a span, share.
    pub fn mean(&self, span: Span) -> Option<f64> {
        let first = self.slots.partition_point(|slot| slot.0 < span.start);
        let slots = self.slots[first..].iter();
        let (sum, n) = slots
            .take_while(|slot| slot.0 < span.end)
            .fold((0.0, 0.0), |(sum, n), slot| (sum + slot.1, n + slot.2));
        (n > 0.0).then(|| sum / n)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_long_drive_keeps_its_means() {
        let mut pedal = PedalByTime::default();
        for second in 0..40_000 {
            let share = if second % 100 < 30 { 1.0 } else { 0.0 };
            pedal.add(Time::from_seconds(f64::from(second)), share);
        }
        assert!(pedal.slots.len() <= MOST_SLOTS);
        let mean = |start, end| {
            pedal.mean(Span {
                start: Time::from_seconds(start),
                end: Time::from_seconds(end),
            })
        };
        assert!((mean(20_000.0, 22_000.0).unwrap() - 0.3).abs() < 0.01);
        assert_eq!(mean(50_000.0, 60_000.0), None);
    }
}
