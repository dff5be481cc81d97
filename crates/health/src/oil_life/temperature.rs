//! How fast the oil aged by its temperature, as a mean over time.
//!
//! In: samples of the oil temperature at their own times. Out: the mean rate against the
//! reference temperature, and the steady temperature that would age the oil as fast. The
//! rate is averaged, never the temperature: half the time at 80 and half at 140 °C ages
//! as 130 °C does, not as 110. A sample lasts until the next, but no longer than its
//! reach; what is silent beyond that is counted as not seen.

use halfshaft_model::Time;

use super::ageing::ageing_rate;
use crate::limits::OilPolicy;
use crate::part::{Came, Part};

/// Sums of the ageing rate over time, for each rise that may double it.
#[derive(Clone, Debug)]
pub struct OilAgeing {
    policy: OilPolicy,
    reach_s: f64,
    rate_seconds: [f64; 3],
    covered_s: f64,
    unseen_s: f64,
    latest: Option<(Time, f64)>,
}

/// The mean rate over the time that the samples cover.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OilAgeingRate {
    /// Mean of 2^((T − 80 °C)/θ) for θ of 10, 12 and 15 K.
    pub mean_rates: [f64; 3],
    /// Time covered, s.
    pub covered_s: f64,
    /// Time between samples that they do not reach, s.
    pub unseen_s: f64,
}

impl Part for OilAgeing {
    fn block(&mut self, came: &Came) {
        for reading in came.oil_believed() {
            self.add(reading.time, reading.celsius);
        }
    }
}

impl OilAgeing {
    /// Nothing seen yet; a sample is held for `reach_s` at the most.
    pub fn new(reach_s: f64, policy: &OilPolicy) -> OilAgeing {
        OilAgeing {
            policy: *policy,
            reach_s,
            rate_seconds: [0.0; 3],
            covered_s: 0.0,
            unseen_s: 0.0,
            latest: None,
        }
    }

    /// Takes a sample. What is no number ends the one before, as does a sample that is
    /// not later than it.
    pub fn add(&mut self, time: Time, celsius: f64) {
        if let Some((before, was)) = self.latest {
            let seconds = time.since(before).max(0.0);
            let held_s = seconds.min(self.reach_s);
            for (sum, doubling_k) in self.rate_seconds.iter_mut().zip(self.policy.doublings_k()) {
                *sum += held_s * ageing_rate(was, self.policy.reference_c, doubling_k);
            }
            self.covered_s += held_s;
            self.unseen_s += seconds - held_s;
        }
        self.latest = celsius.is_finite().then_some((time, celsius));
    }

    /// The mean so far; `None` when no time was covered.
    pub fn rate(&self) -> Option<OilAgeingRate> {
        if self.covered_s <= 0.0 {
            return None;
        }
        let mean_rates = self.rate_seconds.map(|sum| sum / self.covered_s);
        Some(OilAgeingRate {
            mean_rates,
            covered_s: self.covered_s,
            unseen_s: self.unseen_s,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rate(samples: &[(f64, f64)]) -> Option<OilAgeingRate> {
        let mut ageing = OilAgeing::new(5.0, &OilPolicy::default());
        for (time_s, celsius) in samples {
            ageing.add(Time::from_seconds(*time_s), *celsius);
        }
        ageing.rate()
    }

    #[test]
    fn half_the_time_hot_ages_nearly_as_hot() {
        // Derived: half at 80, half at 140 °C, doubling in 10 K: mean rate (1 + 64)/2 = 32.5,
        // that of steady 130.2 °C and not of 110.
        let samples: Vec<(f64, f64)> = (0..=200)
            .map(|second| (f64::from(second), if second < 100 { 80.0 } else { 140.0 }))
            .collect();
        let got = rate(&samples).unwrap();
        assert!((got.mean_rates[0] - 32.5).abs() < 1e-9);
        // A slower rule gives a lower rate.
        assert!(got.mean_rates[0] > got.mean_rates[1] && got.mean_rates[1] > got.mean_rates[2]);
        assert_eq!((got.covered_s, got.unseen_s), (200.0, 0.0));
    }

    #[test]
    fn time_weighs_and_not_the_number_of_samples() {
        // One sample of 80 °C holds for 4 s, four of 140 °C for 1 s each.
        let samples = [
            (0.0, 80.0),
            (4.0, 140.0),
            (5.0, 140.0),
            (6.0, 140.0),
            (7.0, 140.0),
            (8.0, 140.0),
        ];
        assert!((rate(&samples).unwrap().mean_rates[0] - 32.5).abs() < 1e-9);
    }

    #[test]
    fn a_sample_is_held_no_longer_than_it_reaches() {
        let got = rate(&[(0.0, 140.0), (1000.0, 80.0), (1005.0, 80.0)]).unwrap();
        assert_eq!((got.covered_s, got.unseen_s), (10.0, 995.0));
        assert!((got.mean_rates[0] - 32.5).abs() < 1e-9);
    }

    #[test]
    fn nothing_is_made_of_nothing() {
        assert_eq!(rate(&[]), None);
        assert_eq!(rate(&[(0.0, 90.0)]), None);
        assert_eq!(rate(&[(0.0, f64::NAN), (1.0, 90.0)]), None);
        // Time that stands or runs backwards adds nothing.
        assert_eq!(rate(&[(5.0, 90.0), (5.0, 91.0), (4.0, 92.0)]), None);
        let got = rate(&[(0.0, 80.0), (1.0, f64::NAN), (3.0, 140.0)]).unwrap();
        assert_eq!((got.covered_s, got.mean_rates[0]), (1.0, 1.0));
    }
}
