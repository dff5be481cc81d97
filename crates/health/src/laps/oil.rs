//! Oil temperature by time, thinned: highest of each slot, in bounded memory.

use halfshaft_model::{Span, Time};

/// Slots kept; when they are full, neighbours are joined.
const MOST_SLOTS: usize = 8192;

/// Shortest slot, s.
const SHORTEST_SLOT_S: f64 = 1.0;

/// Highest temperatures.
#[derive(Clone, Debug)]
pub struct OilByTime {
    slot_s: f64,
    // When a slot began, and its highest temperature with its time.
    slots: Vec<(Time, Time, f64)>,
}

impl Default for OilByTime {
    fn default() -> OilByTime {
        OilByTime {
            slot_s: SHORTEST_SLOT_S,
            slots: Vec::new(),
        }
    }
}

impl OilByTime {
    /// Takes a sample.
    pub fn add(&mut self, time: Time, celsius: f64) {
        match self.slots.last_mut() {
            Some((start, at, highest)) if time.since(*start) < self.slot_s => {
                if celsius > *highest {
                    (*at, *highest) = (time, celsius);
                }
            }
            _ => self.slots.push((time, time, celsius)),
        }
        if self.slots.len() > MOST_SLOTS {
            self.slot_s *= 2.0;
            self.slots = self
                .slots
                .chunks(2)
                .map(|pair| {
                    let higher = pair[pair.len() - 1];
                    let (_, at, highest) = if higher.2 > pair[0].2 {
                        higher
                    } else {
                        pair[0]
                    };
                    (pair[0].0, at, highest)
                })
                .collect();
        }
    }

    /// Highest temperature in a span, °C.
    pub fn highest(&self, span: Span) -> Option<f64> {
        self.slots
            .iter()
            .filter(|(_, at, _)| span.start <= *at && *at < span.end)
            .map(|(.., celsius)| *celsius)
            .max_by(f64::total_cmp)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_long_drive_keeps_its_highest_temperatures() {
        let mut oil = OilByTime::default();
        for second in 0..40_000 {
            let celsius = 90.0 + f64::from(second % 1000) * 0.01;
            oil.add(Time::from_seconds(f64::from(second)), celsius);
        }
        assert!(oil.slots.len() <= MOST_SLOTS);
        let span = Span {
            start: Time::from_seconds(20_000.0),
            end: Time::from_seconds(22_000.0),
        };
        assert!((oil.highest(span).unwrap() - 99.99).abs() < 1e-9);
    }
}
