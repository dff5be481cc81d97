//! How far the throttle was open by time, thinned: mean of each slot, in bounded memory.

use halfshaft_model::{Span, Time};

use super::slots::Slots;

/// Sums of the pedal, each with how many samples are in it.
#[derive(Clone, Debug, Default)]
pub struct PedalByTime(Slots<(f64, f64)>);

impl PedalByTime {
    /// Takes a sample.
    pub fn add(&mut self, time: Time, share: f64) {
        self.0.add(time, (share, 1.0), |one, other| {
            (one.0 + other.0, one.1 + other.1)
        });
    }

    /// Mean over the slots that begin in a span, share.
    pub fn mean(&self, span: Span) -> Option<f64> {
        let slots = self.0.all();
        let first = slots.partition_point(|(start, _)| *start < span.start);
        let (sum, n) = slots[first..]
            .iter()
            .take_while(|(start, _)| *start < span.end)
            .fold((0.0, 0.0), |(sum, n), (_, of_slot)| {
                (sum + of_slot.0, n + of_slot.1)
            });
        (n > 0.0).then(|| sum / n)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::laps::slots::MOST_SLOTS;

    #[test]
    fn a_long_drive_keeps_its_means() {
        let mut pedal = PedalByTime::default();
        for second in 0..40_000 {
            let share = if second % 100 < 30 { 1.0 } else { 0.0 };
            pedal.add(Time::from_seconds(f64::from(second)), share);
        }
        assert!(pedal.0.all().len() <= MOST_SLOTS);
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
