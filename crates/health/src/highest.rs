//! The highest value of the moment among samples, with what the samples hide of it.
//!
//! In: a value at each wheel sample, in order of time. Out: [`Highest`], the value with its noise
//! and with how far the lower of its neighbours lies below it: between two samples the truth may
//! have stood higher. Nothing is compared over a gap.

use halfshaft_model::Time;

/// Between two samples the truth stood higher than both by up to this share of the fall to the
/// lower neighbour. Derived: where it rises and falls evenly the sample nearest to its edge misses
/// up to half of that fall, where it is an arc up to an eighth; this lies between.
const BETWEEN_SAMPLES: f64 = 0.25;

/// The highest so far.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Highest {
    /// The value and its moment; `None` without a sample.
    pub peak: Option<(f64, Time)>,
    /// Value of one rad/s of slip there.
    pub per_slip: f64,
    /// Noise of the slip there, as a share of that of one sample.
    pub noise_share: f64,
    // The fall from it to its lower neighbour so far.
    fall: f64,
    // The latest sample.
    latest: Option<(f64, Time)>,
}

impl Highest {
    /// Takes a sample; `slip` and `noise_share` are those of the slip it was made from.
    pub fn add(&mut self, sample: (f64, Time), slip: f64, noise_share: f64) {
        let before = self.latest.replace(sample);
        let (value, _) = sample;
        match self.peak {
            Some((highest, _)) if value <= highest => {
                if before == self.peak {
                    self.fall = self.fall.max(highest - value);
                }
            }
            _ => {
                self.peak = Some(sample);
                self.per_slip = if slip > 0.0 { value / slip } else { 0.0 };
                self.noise_share = noise_share;
                self.fall = before.map_or(0.0, |(before, _)| value - before);
            }
        }
    }

    /// A gap: the next sample is no neighbour of the latest.
    pub fn interrupt(&mut self) {
        self.latest = None;
    }

    /// How much higher the truth may have stood between two samples.
    pub fn between_samples(&self) -> f64 {
        BETWEEN_SAMPLES * self.fall
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn highest(samples: &[f64]) -> Highest {
        let mut highest = Highest::default();
        for (index, value) in samples.iter().enumerate() {
            match value.is_nan() {
                true => highest.interrupt(),
                false => {
                    let time = Time::from_seconds(0.01 * index as f64);
                    highest.add((*value, time), *value, 1.0);
                }
            }
        }
        highest
    }

    #[test]
    fn the_fall_is_that_to_the_lower_neighbour() {
        let at = |samples: &[f64]| {
            let got = highest(samples);
            (got.peak.map(|peak| peak.0), got.between_samples())
        };
        // Derived by hand: a quarter of 3 − 1 and of 3 − 0.
        assert_eq!(at(&[2.0, 1.0, 3.0, 2.0, 0.0]), (Some(3.0), 0.5));
        assert_eq!(at(&[2.0, 3.0, 0.0, 2.0]), (Some(3.0), 0.75));
        assert_eq!(at(&[f64::NAN, 3.0, f64::NAN, 0.0]), (Some(3.0), 0.0));
        assert_eq!(at(&[]), (None, 0.0));
    }

    #[test]
    fn a_burst_between_samples_stands_within_the_band() {
        // A wedge of 1 from 0 to 0.1 s and back, sampled every 40 ms at every phase: the truth,
        // 1, is at most a quarter of the fall above the highest sample in half of all phases, and
        // an arc in all of them.
        let within = |course: fn(f64) -> f64| {
            let held = (0..40).filter(|phase| {
                let samples: Vec<f64> = (0..8)
                    .map(|index| course(0.04 * f64::from(index) + 1e-3 * f64::from(*phase) - 0.1))
                    .collect();
                let got = highest(&samples);
                got.peak.map_or(0.0, |peak| peak.0) + got.between_samples() >= 1.0 - 1e-9
            });
            held.count()
        };
        assert_eq!(within(|time| (1.0 - (time / 0.1).powi(2)).max(0.0)), 40);
        assert!(within(|time| (1.0 - time.abs() / 0.1).max(0.0)) >= 20);
    }
}
