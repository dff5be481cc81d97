//! How long the oil was how hot.
//!
//! In: samples of the oil temperature. Out: the temperature passed in 1 % of the time.
//! Time is counted in slots of temperature, so memory does not grow with the drive;
//! silence longer than the sensor's reach is not counted.

use halfshaft_model::Time;

const LOWEST_C: f64 = -60.0;
const STEP_C: f64 = 0.5;
const N_SLOTS: usize = 800;

/// Seconds by temperature.
#[derive(Clone, Debug)]
pub struct OilTime {
    reach_s: f64,
    seconds: Vec<f64>,
    latest: Option<(Time, f64)>,
}

impl OilTime {
    /// Nothing seen yet; a sample lasts until the next, but no longer than its reach.
    pub fn new(reach_s: f64) -> OilTime {
        OilTime {
            reach_s,
            seconds: vec![0.0; N_SLOTS],
            latest: None,
        }
    }

    /// Takes a sample.
    pub fn add(&mut self, time: Time, celsius: f64) {
        if let Some((before, was)) = self.latest {
            let seconds = time.since(before);
            if (0.0..=self.reach_s).contains(&seconds) {
                let slot = ((was - LOWEST_C) / STEP_C).round();
                self.seconds[slot.clamp(0.0, N_SLOTS as f64 - 1.0) as usize] += seconds;
            }
        }
        self.latest = Some((time, celsius));
    }

    /// The temperature passed in 1 % of the time; `None` when no time was counted.
    pub fn p99_c(&self) -> Option<f64> {
        let total: f64 = self.seconds.iter().sum();
        if total <= 0.0 {
            return None;
        }
        let mut above = 0.0;
        for (slot, seconds) in self.seconds.iter().enumerate().rev() {
            above += seconds;
            if above > 0.01 * total {
                return Some(LOWEST_C + STEP_C * slot as f64);
            }
        }
        None
    }

    /// Begins anew where it stands.
    pub fn restart(&mut self) {
        self.seconds.fill(0.0);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn p99(hot_s: u32, silent: std::ops::Range<u32>) -> Option<f64> {
        let mut oil = OilTime::new(5.0);
        for second in (0..=1000).filter(|second| !silent.contains(second)) {
            let celsius = if second < hot_s { 131.0 } else { 90.0 };
            oil.add(Time::from_seconds(f64::from(second)), celsius);
        }
        oil.p99_c()
    }

    #[test]
    fn one_per_cent_of_the_time_is_passed_over() {
        assert_eq!(p99(10, 0..0), Some(90.0));
        assert_eq!(p99(11, 0..0), Some(131.0));
        // What is silent is not counted: of 500 s, 6 are hot.
        assert_eq!(p99(6, 200..700), Some(131.0));
        assert_eq!(OilTime::new(5.0).p99_c(), None);
    }
}
