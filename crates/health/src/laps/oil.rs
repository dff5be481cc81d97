//! Oil temperature by time, thinned: highest of each slot, in bounded memory.

use halfshaft_model::{Span, Time};

use super::slots::Slots;

/// Highest temperatures, each with its time.
#[derive(Clone, Debug, Default)]
pub struct OilByTime(Slots<(Time, f64)>);

impl OilByTime {
    /// Takes a sample.
    pub fn add(&mut self, time: Time, celsius: f64) {
        self.0.add(time, (time, celsius), |earlier, later| {
            if later.1 > earlier.1 { later } else { earlier }
        });
    }

    /// Highest temperature in a span, °C.
    pub fn highest(&self, span: Span) -> Option<f64> {
        let readings = self.0.all().iter().map(|(_, reading)| reading);
        readings
            .filter(|(at, _)| span.start <= *at && *at < span.end)
            .map(|(_, celsius)| *celsius)
            .max_by(f64::total_cmp)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::laps::slots::MOST_SLOTS;

    #[test]
    fn a_long_drive_keeps_its_highest_temperatures() {
        let mut oil = OilByTime::default();
        for second in 0..40_000 {
            let celsius = 90.0 + f64::from(second % 1000) * 0.01;
            oil.add(Time::from_seconds(f64::from(second)), celsius);
        }
        assert!(oil.0.all().len() <= MOST_SLOTS);
        let span = Span {
            start: Time::from_seconds(20_000.0),
            end: Time::from_seconds(22_000.0),
        };
        assert!((oil.highest(span).unwrap() - 99.99).abs() < 1e-9);
    }
}
