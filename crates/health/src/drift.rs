//! Whether a value that is measured once a drive drifts.
//!
//! In: the values in the order of the drives. Out: [`Drift`], how much it changes from drive to drive, and how much
//! it has changed at least. It does not say how much is too much.

use halfshaft_driveline::median::median;

/// Chance that the lower end of the band is too high: that of a 90 % band.
const OUTSIDE: f64 = 0.05;

/// How a value changes over the drives.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Drift {
    /// Drives.
    pub n_drives: usize,
    /// Factor from one drive to the next.
    pub per_drive: f64,
    /// The factor over all drives is this at least, by the lower end of its 90 % band.
    pub whole_at_least: f64,
}

/// The drift of values above 0; `None` when they are too few for a band.
///
/// The slope is the median of the slopes of all pairs of logarithms, after Theil and Sen: a drive that is wrong
/// altogether does not move it. The lower end is one of those slopes: with no drift every order of the values is as
/// likely as any other, so the number of pairs that fall has the distribution of inversions, which is worked out
/// exactly and needs no scatter to be known. What wanders slowly, such as the weather, is no order by chance: only
/// like drives may come in.
pub fn drift(values: &[f64]) -> Option<Drift> {
    let n = values.len();
    let n_outside = inversions_by_chance(n)?;
    let mut slopes = Vec::with_capacity(n * n.saturating_sub(1) / 2);
    for (later, value) in values.iter().enumerate() {
        for (earlier, before) in values[..later].iter().enumerate() {
            slopes.push((value / before).ln() / (later - earlier) as f64);
        }
    }
    let middle = median(&mut slopes)?;
    let lowest = *slopes.get(n_outside)?;
    Some(Drift {
        n_drives: n,
        per_drive: middle.exp(),
        whole_at_least: (lowest * (n - 1) as f64).exp(),
    })
}

/// The most inversions that an order by chance has with at most [`OUTSIDE`]; `None` when even none is likelier.
fn inversions_by_chance(n: usize) -> Option<usize> {
    // Derived: the k-th value placed among those before it adds 0 to k − 1 inversions, each as likely.
    let mut chances = vec![1.0];
    for placed in 2..=n {
        let mut next = vec![0.0; chances.len() + placed - 1];
        for (already, chance) in chances.iter().enumerate() {
            for more in &mut next[already..already + placed] {
                *more += chance / placed as f64;
            }
        }
        chances = next;
    }
    let mut below = 0.0;
    let within = chances.iter().take_while(|chance| {
        below += **chance;
        below <= OUTSIDE
    });
    within.count().checked_sub(1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_chance_makes_is_counted_exactly() {
        // Derived: 1 of 6 orders of three rises throughout; 1 of 24 of four; 5 of 120 of five have at most one
        // inversion, 20 of 720 of six two, 174 of 5040 of seven four.
        let found = [3, 4, 5, 6, 7].map(inversions_by_chance);
        assert_eq!(found, [None, Some(0), Some(1), Some(2), Some(4)]);
    }

    #[test]
    fn eight_percent_a_drive_is_that_whatever_one_drive_did() {
        let creeping: Vec<f64> = (0..7).map(|drive| 0.2 * 1.08_f64.powi(drive)).collect();
        let found = drift(&creeping).unwrap();
        assert!((found.per_drive - 1.08).abs() < 1e-9);
        // Derived: 1.08^6.
        assert!(
            (found.whole_at_least - 1.587).abs() < 1e-3,
            "{}",
            found.whole_at_least
        );
        let mut odd = creeping.clone();
        odd[3] = 2.0;
        let odd = drift(&odd).unwrap();
        assert!((odd.per_drive - 1.08).abs() < 1e-9);
        assert!(odd.whole_at_least > 1.1, "{odd:?}");
    }

    #[test]
    fn up_and_down_is_none_and_three_are_too_few() {
        let up_and_down = [1.0, 1.2, 0.9, 1.15, 1.0, 1.1, 0.95];
        assert!(drift(&up_and_down).unwrap().whole_at_least < 1.0);
        assert_eq!(drift(&[1.0, 2.0, 3.0]), None);
    }
}
