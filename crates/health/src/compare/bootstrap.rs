//! How sure a difference of two sessions is: drawn again by block.
//!
//! In: of which drive each block (lap, stretch) of each side is, and the difference as a function
//! of how often each block counts. Out: the difference, its 90 % band, the smallest one
//! that would have been seen, and how far the drives of one side are apart beyond that. Samples within a lap
//! hang together, so whole blocks are drawn, never samples, each among those of its own drive. The same blocks
//! give the same band, bit for bit.
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
pub(super) const Z_95: f64 = 1.644_854;

/// Standard normal quantile of 0.80. Source: any table of the normal distribution.
pub(super) const Z_80: f64 = 0.841_621;

/// What is assumed of the wander from drive to drive counts as much as so many drives that show it. Engineering
/// guess: a wander measured on two drives alone may come out as nothing.
const ASSUMED_FREEDOM: f64 = 2.0;

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
    /// How far drives of one side are apart.
    pub wander: Wander,
}

/// How far drives of one side are apart beyond the scatter within them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wander {
    /// Variance of one drive of a side; 0 where none was measured.
    pub variance: f64,
    /// Degrees of freedom it was measured with: drives less sides.
    pub freedom: f64,
    /// Drives before and after.
    pub n_drives: [usize; 2],
}

impl Wander {
    /// Of one drive a side nothing is measured.
    pub const NONE: Wander = Wander {
        variance: 0.0,
        freedom: 0.0,
        n_drives: [1, 1],
    };

    /// From the values of the drives of each side, each with the variance it has by its own scatter.
    pub fn of(values: &[Vec<(f64, f64)>; 2]) -> Wander {
        let (mut squares, mut freedom) = (0.0, 0.0);
        for side in values.iter().filter(|side| side.len() > 1) {
            let n = side.len() as f64;
            let mean = side.iter().map(|(value, _)| value).sum::<f64>() / n;
            let own = side.iter().map(|(_, variance)| variance).sum::<f64>() / n;
            let apart = side
                .iter()
                .map(|(value, _)| (value - mean) * (value - mean));
            squares += apart.sum::<f64>() - (n - 1.0) * own;
            freedom += n - 1.0;
        }
        Wander {
            variance: if freedom > 0.0 {
                f64::max(0.0, squares / freedom)
            } else {
                0.0
            },
            freedom,
            n_drives: [values[0].len().max(1), values[1].len().max(1)],
        }
    }

    /// Half width of the 90 % band of a difference by what drives of one car are apart with nothing changed:
    /// `assumed` of one drive a side, until drives of one side show it. What is assumed counts as much as two
    /// drives more.
    pub fn half(&self, assumed: f64) -> f64 {
        let of_one = 0.5 * (assumed / Z_95).powi(2);
        let variance = (ASSUMED_FREEDOM * of_one + self.freedom * self.variance)
            / (ASSUMED_FREEDOM + self.freedom);
        let shares: f64 = self.n_drives.iter().map(|n| 1.0 / *n as f64).sum();
        Z_95 * (variance * shares).sqrt()
    }
}

/// Draws blocks again: of which drive each block of each side is. `difference` gives after less before for how
/// often each block counts, or `None` where the blocks drawn do not tell it. `None` when the blocks themselves do
/// not, either side has fewer than two, or half of the draws do not tell it.
pub fn drawn(
    [drives_before, drives_after]: [&[usize]; 2],
    mut difference: impl FnMut(&[f64], &[f64]) -> Option<f64>,
) -> Option<Drawn> {
    let (n_before, n_after) = (drives_before.len(), drives_after.len());
    if n_before < 2 || n_after < 2 {
        return None;
    }
    let (once_before, once_after) = (vec![1.0; n_before], vec![1.0; n_after]);
    let found = difference(&once_before, &once_after)?;
    let mut random = Random::new(SEED);
    let before = scatter(&mut random, drives_before, None, |counts| {
        difference(counts, &once_after)
    })?;
    let after = scatter(&mut random, drives_after, None, |counts| {
        difference(&once_before, counts)
    })?;
    let wander = Wander::of(&[
        by_drive(&mut random, drives_before, |counts| {
            difference(counts, &once_after)
        }),
        by_drive(&mut random, drives_after, |counts| {
            difference(&once_before, counts)
        }),
    ]);
    let (of_before, of_after) = ((n_before - 1) as f64, (n_after - 1) as f64);
    let variance = before + after;
    let freedom = match variance > 0.0 {
        true => variance * variance / (before * before / of_before + after * after / of_after),
        false => of_before + of_after,
    };
    let sd = variance.sqrt();
    let half = student(Z_95, freedom) * sd;
    Some(Drawn {
        difference: found,
        low: found - half,
        high: found + half,
        smallest: half + student(Z_80, freedom) * sd,
        wander,
    })
}

/// The difference that each drive of a side shows on its own, with its variance; of two drives or more.
fn by_drive(
    random: &mut Random,
    drives: &[usize],
    mut difference: impl FnMut(&[f64]) -> Option<f64>,
) -> Vec<(f64, f64)> {
    let mut all: Vec<usize> = drives.to_vec();
    all.dedup();
    if all.len() < 2 {
        return vec![(0.0, 0.0)];
    }
    let of_drive = all.into_iter().filter_map(|drive| {
        let counts: Vec<f64> = drives
            .iter()
            .map(|of| f64::from(u8::from(*of == drive)))
            .collect();
        let value = difference(&counts)?;
        Some((
            value,
            scatter(random, drives, Some(drive), &mut difference)?,
        ))
    });
    of_drive.collect()
}

/// Variance of the difference when the blocks of one side are drawn again, each among those of its drive: of all
/// drives, or of one alone.
fn scatter(
    random: &mut Random,
    drives: &[usize],
    only: Option<usize>,
    mut difference: impl FnMut(&[f64]) -> Option<f64>,
) -> Option<f64> {
    // Drives lie one behind the other.
    let runs: Vec<(usize, usize)> = drives
        .chunk_by(|one, other| one == other)
        .scan(0, |start, run| {
            let found = (*start, run.len());
            *start += run.len();
            Some((found, run[0]))
        })
        .filter(|(_, drive)| only.is_none_or(|only| only == *drive))
        .map(|(run, _)| run)
        .collect();
    let n: usize = runs.iter().map(|(_, n)| n).sum();
    if n <= runs.len() {
        return None;
    }
    let mut counts = vec![0.0; drives.len()];
    let mut values = Vec::with_capacity(N_DRAWS);
    for _ in 0..N_DRAWS {
        counts.fill(0.0);
        for (start, n) in &runs {
            for _ in 0..*n {
                counts[start + random.below(*n)] += 1.0;
            }
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
    let freedom = (n - runs.len()) as f64;
    Some(squares / (n_values - 1.0) * n as f64 / freedom)
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
        let found = drawn([&[0; 5], &[0; 5]], |b, a| {
            Some(mean(&after, a)? - mean(&before, b)?)
        });
        let found = found.unwrap();
        let half = 1.860 * (2.5_f64 * 2.0 / 5.0).sqrt();
        assert_eq!(found.difference, 1.0);
        assert!((found.high - 1.0 - half).abs() < 0.06 * half, "{found:?}");
        assert!(found.smallest > half);
        let again = drawn([&[0; 5], &[0; 5]], |b, a| {
            Some(mean(&after, a)? - mean(&before, b)?)
        });
        assert_eq!(again, Some(found));
        assert_eq!(drawn([&[0], &[0; 5]], |_, _| Some(1.0)), None);
    }

    #[test]
    fn drives_of_one_side_show_how_far_they_wander() {
        // Two drives before, 2 apart, each of laps that scatter by nothing; one after.
        let before = [1.0, 1.0, 1.0, 3.0, 3.0, 3.0];
        let after = [5.0, 5.1, 5.0];
        let found = drawn([&[0, 0, 0, 1, 1, 1], &[0; 3]], |b, a| {
            Some(mean(&after, a)? - mean(&before, b)?)
        })
        .unwrap();
        // Derived: variance of 1 and 3 is 2, by one degree of freedom; the scatter within is none.
        assert!((found.wander.variance - 2.0).abs() < 1e-9, "{found:?}");
        assert_eq!((found.wander.freedom, found.wander.n_drives), (1.0, [2, 1]));
        // Derived: (2·0 + 1·2)/3 of one drive, times 1/2 + 1/1.
        let half = Z_95 * (2.0 / 3.0 * 1.5_f64).sqrt();
        assert!((found.wander.half(0.0) - half).abs() < 1e-9);
        // One drive a side: what is assumed, as it is.
        assert!((Wander::NONE.half(0.3) - 0.3).abs() < 1e-12);
        // Four drives alike halve what is assumed, and more.
        let alike = Wander::of(&[vec![(1.0, 0.0); 4], vec![(1.0, 0.0); 4]]);
        assert!(alike.half(0.3) < 0.15);
    }
}
