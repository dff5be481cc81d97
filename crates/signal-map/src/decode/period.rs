//! The median of positive numbers of any size, learned in bounded memory: how far apart
//! the samples of one kind usually are, or how two channels that should agree compare.

use std::sync::LazyLock;

/// Bins per factor of ten; the mean inside the middle bin makes the median finer than that.
const BINS_PER_DECADE: f64 = 40.0;
/// Least number told apart; as a gap 10 µs, less than a frame takes at 1 Mbit/s.
const LEAST: f64 = 1e-5;
/// Eight decades, to 1000.
const N_BINS: usize = 320;
/// Numbers before a median means anything. Source: none, engineering guess.
const FEWEST: u64 = 8;

/// Steps in an octave that the bits of a number tell apart without a logarithm, as a power
/// of two: narrower than any bin, so that at most one bin begins inside a step.
const STEP_BITS: u32 = 5;
const MANTISSA_BITS: u32 = 52;

/// Where bins begin.
struct Bins {
    // The first also takes what is smaller, the last what is larger.
    edges: [f64; N_BINS],
    // The bin that each step begins in, and the step of the least number.
    by_step: Vec<u16>,
    first_step: u64,
}

static BINS: LazyLock<Bins> = LazyLock::new(|| {
    let edge = |bin: usize| LEAST * 10_f64.powf(bin as f64 / BINS_PER_DECADE);
    let edges = std::array::from_fn(edge);
    let first_step = step_of(LEAST);
    let bin_of_step = |step: u64| {
        let begins = f64::from_bits(step << (MANTISSA_BITS - STEP_BITS));
        edges.partition_point(|edge| *edge <= begins).max(1) as u16 - 1
    };
    Bins {
        by_step: (first_step..=step_of(edges[N_BINS - 1]))
            .map(bin_of_step)
            .collect(),
        edges,
        first_step,
    }
});

fn step_of(number: f64) -> u64 {
    number.to_bits() >> (MANTISSA_BITS - STEP_BITS)
}

/// The bin of a positive number. A logarithm of every gap would cost more than all else that
/// is done with it.
#[inline]
fn bin_of(number: f64) -> usize {
    let bins = &*BINS;
    let step = step_of(number).saturating_sub(bins.first_step) as usize;
    let Some(&bin) = bins.by_step.get(step) else {
        return N_BINS - 1;
    };
    let bin = usize::from(bin);
    let begins_next = bins.edges.get(bin + 1).is_some_and(|edge| number >= *edge);
    bin + usize::from(begins_next)
}

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
        let bin = &mut self.bins[bin_of(number)];
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
