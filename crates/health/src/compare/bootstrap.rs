//! How sure a difference of two sessions is: drawn again by block.
//!
//! In: how many blocks (laps, stretches) each session has, and the difference as a function
//! of how often each block counts. Out: the difference, its 90 % band, and the smallest one
//! that would have been seen. Samples within a lap hang together, so whole blocks are drawn,
//! never samples. The same blocks give the same band, bit for bit.
//!
//! The scatter of each side comes from drawing its blocks again with the other side held
//! (Efron and Tibshirani 1993, the bootstrap of two samples, from memory), times n/(n−1) since
//! n blocks drawn from n scatter too little by that, and the band is that of Student's t with
//! the degrees of freedom of Welch 1947 (from memory): with five laps a side the percentiles
//! of the draws alone would be too narrow.

use halfshaft_driveline::random::Random;

/// Draws for each side. The standard deviation of so many is known to 2 %.
const N_DRAWS: usize = 1000;

/// Where the numbers begin. Any would do; always the same one.
const SEED: u64 = 0x005E_ED0F_BEF0_4EAF;

/// Standard normal quantile of 0.95. Source: any table of the normal distribution.
const Z_95: f64 = 1.644_854;

/// Standard normal quantile of 0.80. Source: any table of the normal distribution.
pub(super) const Z_80: f64 = 0.841_621;

/// A difference with its band.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Drawn {
    /// After less before.
    pub difference: f64,
    /// Lower end of the 90 % band.
    pub low: f64,
    /// Upper end of the 90 % band.
    pub high: f64,
    /// A true difference of this size would have been seen eight times out of ten.
    pub smallest: f64,
}

/// Draws blocks again. `difference` gives after less before for how often each block counts,
/// or `None` where the blocks drawn do not tell it. `None` when the blocks themselves do not,
/// either side has fewer than two, or half of the draws do not tell it. `doubt` is how far
/// the difference may be off for all blocks alike; it widens the band on both sides.
pub fn drawn(
    (n_before, n_after): (usize, usize),
    doubt: f64,
    mut difference: impl FnMut(&[f64], &[f64]) -> Option<f64>,
) -> Option<Drawn> {
    if n_before < 2 || n_after < 2 {
        return None;
    }
    let (once_before, once_after) = (vec![1.0; n_before], vec![1.0; n_after]);
    let found = difference(&once_before, &once_after)?;
    let mut random = Random::new(SEED);
    let before = scatter(&mut random, n_before, |counts| {
        difference(counts, &once_after)
    })?;
    let after = scatter(&mut random, n_after, |counts| {
        difference(&once_before, counts)
    })?;
    let (of_before, of_after) = ((n_before - 1) as f64, (n_after - 1) as f64);
    let variance = before + after;
    let freedom = match variance > 0.0 {
        true => variance * variance / (before * before / of_before + after * after / of_after),
        false => of_before + of_after,
    };
    let sd = variance.sqrt();
    let half = student(Z_95, freedom) * sd + doubt;
    Some(Drawn {
        difference: found,
        low: found - half,
        high: found + half,
        smallest: half + student(Z_80, freedom) * sd,
    })
}

/// Variance of the difference when the blocks of one side are drawn again.
fn scatter(
    random: &mut Random,
    n: usize,
    mut difference: impl FnMut(&[f64]) -> Option<f64>,
) -> Option<f64> {
    let mut counts = vec![0.0; n];
    let mut values = Vec::with_capacity(N_DRAWS);
    for _ in 0..N_DRAWS {
        counts.fill(0.0);
        for _ in 0..n {
            counts[random.below(n)] += 1.0;
        }
        values.extend(difference(&counts));
    }
    if values.len() < N_DRAWS / 2 {
        return None;
    }
    let n_values = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n_values;
    let squares: f64 = values
        .iter()
        .map(|value| (value - mean) * (value - mean))
        .sum();
    let blocks = n as f64;
    Some(squares / (n_values - 1.0) * blocks / (blocks - 1.0))
}

/// Quantile of Student's t from that of the normal distribution.
///
/// Source: Abramowitz and Stegun 1964, 26.7.5, from memory; within 1.5 % from two degrees of
/// freedom on.
fn student(z: f64, freedom: f64) -> f64 {
    let freedom = freedom.max(1.0);
    let z2 = z * z;
    let terms = [
        (z2 + 1.0) * z / 4.0,
        ((5.0 * z2 + 16.0) * z2 + 3.0) * z / 96.0,
        (((3.0 * z2 + 19.0) * z2 + 17.0) * z2 - 15.0) * z / 384.0,
    ];
    let mut power = 1.0;
    let mut quantile = z;
    for term in terms {
        power *= freedom;
        quantile += term / power;
    }
    quantile
}

/// Median of values that count a number of times; `None` when none counts.
pub fn median(sorted: &[(f64, f64)]) -> Option<f64> {
    let all: f64 = sorted.iter().map(|(_, count)| count).sum();
    if all <= 0.0 {
        return None;
    }
    let mut below = 0.0;
    let mut low = None;
    for (value, count) in sorted.iter().filter(|(_, count)| *count > 0.0) {
        below += count;
        if let Some(low) = low {
            return Some(0.5 * (low + value));
        }
        match below.partial_cmp(&(0.5 * all)) {
            Some(std::cmp::Ordering::Greater) => return Some(*value),
            Some(std::cmp::Ordering::Equal) => low = Some(*value),
            _ => {}
        }
    }
    low
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: tables of Student's t, 0.95: 2.920 at 2, 2.015 at 5, 1.812 at 10.
    #[test]
    fn students_quantiles() {
        for (freedom, wanted) in [(2.0, 2.920), (5.0, 2.015), (10.0, 1.812)] {
            let found = student(Z_95, freedom);
            assert!((found / wanted - 1.0).abs() < 0.015, "{freedom}: {found}");
        }
    }

    #[test]
    fn medians_count() {
        assert_eq!(median(&[(1.0, 1.0), (2.0, 1.0), (9.0, 1.0)]), Some(2.0));
        assert_eq!(median(&[(1.0, 1.0), (2.0, 1.0)]), Some(1.5));
        assert_eq!(median(&[(1.0, 3.0), (2.0, 1.0)]), Some(1.0));
        assert_eq!(median(&[(1.0, 2.0), (5.0, 0.0), (2.0, 2.0)]), Some(1.5));
        assert_eq!(median(&[(1.0, 0.0)]), None);
    }

    fn mean(values: &[f64], counts: &[f64]) -> Option<f64> {
        let n: f64 = counts.iter().sum();
        let sum: f64 = values.iter().zip(counts).map(|(v, n)| v * n).sum();
        (n > 0.0).then(|| sum / n)
    }

    /// Derived: the band of a mean difference of two samples of five is ±t·s·√(2/5), with
    /// t = 1.860 at eight degrees of freedom.
    #[test]
    fn the_band_of_a_mean_is_the_textbooks() {
        let (before, after) = ([1.0, 2.0, 3.0, 4.0, 5.0], [2.0, 3.0, 4.0, 5.0, 6.0]);
        let found = drawn((5, 5), 0.0, |b, a| {
            Some(mean(&after, a)? - mean(&before, b)?)
        });
        let found = found.unwrap();
        let half = 1.860 * (2.5_f64 * 2.0 / 5.0).sqrt();
        assert_eq!(found.difference, 1.0);
        assert!((found.high - 1.0 - half).abs() < 0.06 * half, "{found:?}");
        assert!(found.smallest > half);
        let again = drawn((5, 5), 0.0, |b, a| {
            Some(mean(&after, a)? - mean(&before, b)?)
        });
        assert_eq!(again, Some(found));
        let doubted = drawn((5, 5), 0.5, |b, a| {
            Some(mean(&after, a)? - mean(&before, b)?)
        });
        assert!((doubted.unwrap().low - (found.low - 0.5)).abs() < 1e-12);
        assert_eq!(drawn((1, 5), 0.0, |_, _| Some(1.0)), None);
    }
}
