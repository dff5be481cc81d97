//! The median of positive numbers of any size, learned in bounded memory: how far apart
//! the samples of one kind usually are, or how two channels that should agree compare.

use halfshaft_model::octaves::steps_above;

/// Bins to each doubling; the mean inside the middle bin makes the median finer than that.
const BINS_PER_OCTAVE: u64 = 12;
/// Least number told apart; as a gap 10 µs, less than a frame takes at 1 Mbit/s.
const LEAST: f64 = 1e-5;
/// Nearly twenty-seven doublings, to 1000.
const N_BINS: usize = 320;
/// Numbers before a median means anything. Source: none, engineering guess.
const FEWEST: u64 = 8;

/// Numbers, sorted into bins by size.
#[derive(Clone, Debug)]
pub(crate) struct LogMedian {
    n: u64,
    // How many, and their sum.
    bins: Vec<(u32, f64)>,
    median: Option<f64>,
}

impl Default for LogMedian {
    fn default() -> LogMedian {
        LogMedian {
            n: 0,
            bins: vec![(0, 0.0); N_BINS],
            median: None,
        }
    }
}

impl LogMedian {
    #[inline(always)]
    pub(crate) fn add(&mut self, number: f64) {
        if number.is_nan() || number <= 0.0 {
            return;
        }
        let bin = steps_above(number, LEAST, BINS_PER_OCTAVE);
        let bin = &mut self.bins[bin.min(N_BINS - 1)];
        bin.0 = bin.0.saturating_add(1);
        bin.1 += number;
        self.n += 1;
        // Often at first, then rarely: finding the median walks all bins.
        if self.n.is_power_of_two() || self.n.is_multiple_of(4096) {
            self.median = self.median();
        }
    }

    /// The median as last worked out; `None` while too few numbers are known.
    #[inline]
    pub(crate) fn usual(&self) -> Option<f64> {
        self.median
    }

    /// The median of all numbers so far.
    pub(crate) fn median(&self) -> Option<f64> {
        self.quantile(1, 2)
    }

    /// The number below which so many of so many lie.
    pub(crate) fn quantile(&self, of: u64, so_many: u64) -> Option<f64> {
        if self.n < FEWEST {
            return None;
        }
        let mut below = 0;
        for (n, sum) in &self.bins {
            below += u64::from(*n);
            if below * so_many > of * self.n {
                return Some(sum / f64::from(*n));
            }
        }
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_median_survives_losses_and_is_silent_at_first() {
        let mut gaps = LogMedian::default();
        for n in 0..100 {
            assert_eq!(gaps.usual().is_some(), n >= 8, "after {n}");
            gaps.add(if n % 10 == 9 { 0.5 } else { 0.012 });
        }
        let median = gaps.median().unwrap();
        assert!((median - 0.012).abs() < 1e-9, "{median}");
        assert_eq!(gaps.quantile(1, 20), Some(median));
        assert!((gaps.quantile(19, 20).unwrap() - 0.5).abs() < 1e-9);
    }

    #[test]
    fn numbers_of_no_sense_are_ignored_or_put_at_the_ends() {
        let mut gaps = LogMedian::default();
        for number in [0.0, -1.0, f64::NAN] {
            gaps.add(number);
        }
        assert_eq!(gaps.n, 0);
        for _ in 0..9 {
            gaps.add(f64::INFINITY);
            gaps.add(1e-12);
        }
        assert!(gaps.median().is_some());
    }
}
