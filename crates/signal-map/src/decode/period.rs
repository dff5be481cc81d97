//! The median of positive numbers of any size, learned in bounded memory: how far apart
//! the samples of one kind usually are, or how two channels that should agree compare.

use std::f64::consts::LOG10_2;
use std::sync::LazyLock;

/// Bins per factor of ten; the mean inside the middle bin makes the median finer than that.
const BINS_PER_DECADE: f64 = 40.0;
/// Least number told apart; as a gap 10 µs, less than a frame takes at 1 Mbit/s.
const LEAST: f64 = 1e-5;
/// Eight decades, to 1000.
const N_BINS: usize = 320;
/// Numbers before a median means anything. Source: none, engineering guess.
const FEWEST: u64 = 8;

/// Where each bin begins. The first also takes what is smaller, the last what is larger.
static EDGES: LazyLock<[f64; N_BINS]> =
    LazyLock::new(|| std::array::from_fn(|bin| LEAST * 10_f64.powf(bin as f64 / BINS_PER_DECADE)));

/// The bin of a positive number. A logarithm of every gap would cost more than all else that
/// is done with it: a rough one read off the number's bits, never too high and at most a
/// fifth of an octave too low, is put right by the edges.
fn bin_of(number: f64) -> usize {
    const MANTISSA_BITS: u32 = 52;
    let octaves = |number: f64| number.to_bits() as i64 as f64 / (1_u64 << MANTISSA_BITS) as f64;
    let rough = (octaves(number) - octaves(LEAST) - 0.09) * BINS_PER_DECADE * LOG10_2;
    let mut bin = (rough.max(0.0) as usize).min(N_BINS - 1);
    while EDGES.get(bin + 1).is_some_and(|edge| number >= *edge) {
        bin += 1;
    }
    bin
}

/// Whether a number is surely in a bin; the first and the last, open at their ends, are not
/// asked.
fn is_in(bin: usize, number: f64) -> bool {
    bin > 0 && bin + 1 < N_BINS && EDGES[bin] <= number && number < EDGES[bin + 1]
}

/// Numbers, sorted into bins by size.
#[derive(Clone, Debug)]
pub(crate) struct LogMedian {
    n: u64,
    // How many, and their sum.
    bins: Vec<(u32, f64)>,
    // The bin of the number before: gaps of one frame are mostly alike.
    latest: usize,
    median: Option<f64>,
}

impl Default for LogMedian {
    fn default() -> LogMedian {
        LogMedian {
            n: 0,
            bins: vec![(0, 0.0); N_BINS],
            latest: 0,
            median: None,
        }
    }
}

impl LogMedian {
    pub(crate) fn add(&mut self, number: f64) {
        if number.is_nan() || number <= 0.0 {
            return;
        }
        if !is_in(self.latest, number) {
            self.latest = bin_of(number);
        }
        let bin = &mut self.bins[self.latest];
        bin.0 = bin.0.saturating_add(1);
        bin.1 += number;
        self.n += 1;
        // Often at first, then rarely: finding the median walks all bins.
        if self.n >= FEWEST && (self.n.is_power_of_two() || self.n.is_multiple_of(4096)) {
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
        if self.n < FEWEST {
            return None;
        }
        let mut below = 0;
        for (n, sum) in &self.bins {
            below += u64::from(*n);
            if below * 2 > self.n {
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
    fn bins_are_those_of_the_logarithm() {
        for step in 0..100_000 {
            let number = 3e-6 * 10_f64.powf(f64::from(step) * 9.1e-5);
            let place = (number / LEAST).log10() * BINS_PER_DECADE;
            // At an edge the logarithm itself may be off by its last digit.
            let is_at_an_edge = (place - place.round()).abs() < 1e-9;
            let wanted = (place.max(0.0) as usize).min(N_BINS - 1);
            assert!(is_at_an_edge || bin_of(number) == wanted, "{number}");
        }
        assert_eq!(bin_of(f64::MIN_POSITIVE / 4.0), 0);
        assert_eq!(bin_of(f64::INFINITY), N_BINS - 1);
    }

    #[test]
    fn the_median_survives_losses_and_is_silent_at_first() {
        let mut gaps = LogMedian::default();
        for n in 0..100 {
            assert_eq!(gaps.usual().is_some(), n >= 8, "after {n}");
            gaps.add(if n % 10 == 9 { 0.5 } else { 0.012 });
        }
        let median = gaps.median().unwrap();
        assert!((median - 0.012).abs() < 1e-9, "{median}");
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
