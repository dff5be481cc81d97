//! How often a channel sends, and how long a silence still counts as its rhythm.
//!
//! In: sample times. Out: the period (stated by the map, else learned from the first
//! samples) and the gap limit. Everything said of a sample depends on the samples before
//! it only, so that a live capture and a finished log are treated alike.

use halfshaft_model::Time;
use halfshaft_model::constants::NS_PER_S;

/// Shortest silence that counts as a gap, s. Source: none, engineering guess; shorter
/// losses are bridged by interpolation at less than a tenth of a per cent of heat.
const LEAST_GAP_S: f64 = 0.25;

/// A silence of more than this many periods is a gap. Source: none, engineering guess.
const PERIODS_IN_GAP: f64 = 3.0;

/// Gap limit of a channel whose rhythm is not known yet, s: it may be one that sends once
/// a second. Source: none, engineering guess.
const GAP_OF_UNKNOWN_S: f64 = 3.0;

/// Intervals after which a learned period is settled.
const SETTLED_AFTER: usize = 128;

/// The rhythm of one channel.
#[derive(Clone, Debug)]
pub struct Period {
    stated_s: Option<f64>,
    learned_s: Option<f64>,
    // First intervals, in ns; emptied once the period is settled.
    intervals: Vec<i64>,
    latest: Option<Time>,
    // By what is known so far: asked for at every sample, and changed by the first ones only.
    gap_limit_s: f64,
    gap_limit_ns: i64,
    long_ns: i64,
}

impl Default for Period {
    fn default() -> Period {
        Period::new(None)
    }
}

impl Period {
    /// A rhythm whose period the map may state, s.
    pub fn new(stated_s: Option<f64>) -> Period {
        let mut period = Period {
            stated_s,
            learned_s: None,
            intervals: Vec::new(),
            latest: None,
            gap_limit_s: 0.0,
            gap_limit_ns: 0,
            long_ns: 0,
        };
        period.limit();
        period
    }

    fn limit(&mut self) {
        self.gap_limit_s = match self.seconds() {
            Some(period_s) => (PERIODS_IN_GAP * period_s).max(LEAST_GAP_S),
            None => GAP_OF_UNKNOWN_S,
        };
        self.gap_limit_ns = (self.gap_limit_s * NS_PER_S as f64) as i64;
        let period_s = self.seconds().unwrap_or(GAP_OF_UNKNOWN_S);
        self.long_ns = (1.5 * period_s * NS_PER_S as f64) as i64;
    }

    /// Takes note of a sample.
    #[inline]
    pub fn add(&mut self, time: Time) {
        if !self.is_settled() {
            self.learn(time);
        }
    }

    fn learn(&mut self, time: Time) {
        if let Some(latest) = self.latest.replace(time) {
            self.intervals.push(time.0.saturating_sub(latest.0));
            let n = self.intervals.len();
            // The median moves little between powers of two, and sorting then costs nothing.
            if n.is_power_of_two() {
                let mut sorted = self.intervals.clone();
                sorted.sort_unstable();
                self.learned_s = Some(sorted[n / 2] as f64 * 1e-9);
                self.limit();
            }
            if n >= SETTLED_AFTER {
                self.intervals = Vec::new();
            }
        }
    }

    /// What is known of it will not change any more.
    #[inline]
    pub fn is_settled(&self) -> bool {
        self.stated_s.is_some() || (self.learned_s.is_some() && self.intervals.is_empty())
    }

    /// The period, s: stated, else learned so far.
    pub fn seconds(&self) -> Option<f64> {
        self.stated_s.or(self.learned_s)
    }

    /// The longest time between two samples with none lost between them, ns: half a period of jitter.
    #[inline]
    pub fn long_ns(&self) -> i64 {
        self.long_ns
    }

    /// The longest silence that is not a gap, s: max(0.25 s, three periods).
    #[inline]
    pub fn gap_limit_s(&self) -> f64 {
        self.gap_limit_s
    }

    /// The same, ns: a comparison of whole numbers for every sample.
    #[inline]
    pub fn gap_limit_ns(&self) -> i64 {
        self.gap_limit_ns
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn learns_the_median_and_ignores_a_hole() {
        let mut period = Period::default();
        for index in 0..40 {
            let hole = if index > 20 { 5.0 } else { 0.0 };
            period.add(Time::from_seconds(f64::from(index) * 0.2 + hole));
        }
        assert!((period.seconds().unwrap() - 0.2).abs() < 1e-9);
        assert!((period.gap_limit_s() - 0.6).abs() < 1e-9);
    }

    #[test]
    fn fast_channels_are_allowed_a_quarter_second() {
        assert_eq!(Period::new(Some(0.01)).gap_limit_s(), 0.25);
        assert_eq!(Period::new(Some(1.0)).gap_limit_s(), 3.0);
    }
}
