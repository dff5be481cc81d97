//! Values of all fields at the same instants, so that they can be compared.

use crate::samples::SLOT_S;

/// Instants a second.
pub const RATE_HZ: usize = 20;
/// Instants of a slot.
pub const PER_SLOT: usize = SLOT_S as usize * RATE_HZ;
/// Values further apart than this are not joined, unless they always are, s.
const LONGEST_GAP_S: f64 = 0.35;

/// Values at the instants of all slots, one after the other; what is not known is NaN.
pub type Curve = Vec<f32>;

/// Values with time and slot to a curve. Between two values it runs straight; a field that
/// comes seldom keeps its value until the next one.
pub fn curve(points: &[(f64, u32, f64)], period_s: f64, slots: &[(u32, f64)]) -> Curve {
    let mut curve = vec![f32::NAN; slots.len() * PER_SLOT];
    let longest_s = LONGEST_GAP_S.max(2.5 * period_s);
    let mut from = 0;
    for (index, (slot, start_s)) in slots.iter().enumerate() {
        while points.get(from).is_some_and(|point| point.1 < *slot) {
            from += 1;
        }
        let until = from + points[from..].partition_point(|point| point.1 == *slot);
        let inside = &points[from..until];
        let mut next = 0;
        for n in 0..PER_SLOT {
            let time_s = start_s + n as f64 / RATE_HZ as f64;
            while inside.get(next).is_some_and(|point| point.0 <= time_s) {
                next += 1;
            }
            let before = next.checked_sub(1).map(|last| inside[last]);
            let value = match (before, inside.get(next)) {
                (Some((t0, _, v0)), Some(&(t1, _, v1))) if t1 - t0 <= longest_s => {
                    v0 + (v1 - v0) * (time_s - t0) / (t1 - t0).max(1e-9)
                }
                (Some((t0, _, v0)), None) if time_s - t0 <= longest_s => v0,
                (None, Some(&(t1, _, v1))) if t1 - time_s <= period_s => v1,
                _ => continue,
            };
            curve[index * PER_SLOT + n] = value as f32;
        }
        from = until;
    }
    curve
}

/// Means over a second each, four of them a slot; NaN where less than half is known.
pub fn second_means(curve: impl Iterator<Item = f64>) -> Vec<f64> {
    let values: Vec<f64> = curve.collect();
    let mean = |second: &[f64]| {
        let known: Vec<f64> = second
            .iter()
            .copied()
            .filter(|value| !value.is_nan())
            .collect();
        match 2 * known.len() >= second.len() {
            true => known.iter().sum::<f64>() / known.len() as f64,
            false => f64::NAN,
        }
    };
    values.chunks(RATE_HZ).map(mean).collect()
}

/// The same of one curve.
pub fn seconds(curve: &[f32]) -> Vec<f64> {
    second_means(curve.iter().map(|value| f64::from(*value)))
}

/// What a second-by-second sum of products comes to.
#[derive(Clone, Copy, Debug, Default)]
pub struct Together {
    /// Pairs.
    pub n: usize,
    /// Variance of the first.
    pub var_a: f64,
    /// Variance of the second.
    pub var_b: f64,
    /// Their covariance.
    pub cov: f64,
}

impl Together {
    /// Of all pairs of which both are known.
    pub fn of(a: impl Iterator<Item = f64>, b: impl Iterator<Item = f64>) -> Together {
        let (mut n, mut sum_a, mut sum_b) = (0.0, 0.0, 0.0);
        let (mut sum_aa, mut sum_bb, mut sum_ab) = (0.0, 0.0, 0.0);
        // Sums about the first pair, so that large codes cost no digits.
        let mut about = None;
        for (a, b) in a.zip(b) {
            if (a + b).is_nan() {
                continue;
            }
            let (a0, b0) = *about.get_or_insert((a, b));
            let (a, b) = (a - a0, b - b0);
            n += 1.0;
            sum_a += a;
            sum_b += b;
            sum_aa += a * a;
            sum_bb += b * b;
            sum_ab += a * b;
        }
        if n < 2.0 {
            return Together::default();
        }
        Together {
            n: n as usize,
            var_a: (sum_aa / n - (sum_a / n).powi(2)).max(0.0),
            var_b: (sum_bb / n - (sum_b / n).powi(2)).max(0.0),
            cov: sum_ab / n - sum_a / n * sum_b / n,
        }
    }

    /// Of two curves.
    pub fn of_curves(a: &[f32], b: &[f32]) -> Together {
        let wide = |value: &f32| f64::from(*value);
        Together::of(a.iter().map(wide), b.iter().map(wide))
    }

    /// Of two rows.
    pub fn of_rows(a: &[f64], b: &[f64]) -> Together {
        Together::of(a.iter().copied(), b.iter().copied())
    }

    /// Correlation, 0 where one of them stands still.
    pub fn r(&self) -> f64 {
        let scale = (self.var_a * self.var_b).sqrt();
        if scale > 0.0 { self.cov / scale } else { 0.0 }
    }

    /// How alike they are in size as well: 1 for the same, less where one is half the other.
    pub fn concordance(&self) -> f64 {
        let scale = self.var_a + self.var_b;
        if scale > 0.0 {
            2.0 * self.cov / scale
        } else {
            0.0
        }
    }

    /// What the second changes by where the first changes by 1.
    pub fn slope(&self) -> f64 {
        if self.var_a > 0.0 {
            self.cov / self.var_a
        } else {
            0.0
        }
    }

    /// Whether the correlation is more than chance, over so many pairs.
    pub fn is_significant(&self) -> bool {
        self.n >= 8 && self.r().abs() * (self.n as f64).sqrt() > 4.0
    }
}

/// The value below which a share of all known ones lies.
pub fn quantile(values: impl Iterator<Item = f64>, share: f64) -> f64 {
    let mut known: Vec<f64> = values.filter(|value| !value.is_nan()).collect();
    if known.is_empty() {
        return f64::NAN;
    }
    let index = ((known.len() - 1) as f64 * share).round() as usize;
    *known.select_nth_unstable_by(index, f64::total_cmp).1
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_curve_runs_straight_and_bridges_no_gap() {
        let points = [(0.0, 0, 0.0), (0.2, 0, 2.0), (2.0, 0, 20.0), (10.0, 2, 5.0)];
        let curve = curve(&points, 0.1, &[(0, 0.0), (2, 10.0)]);
        assert_eq!(curve.len(), 2 * PER_SLOT);
        assert!((curve[2] - 1.0).abs() < 1e-6, "{}", curve[2]);
        assert!(curve[20].is_nan());
        assert_eq!(curve[PER_SLOT], 5.0);
        assert!(curve[2 * PER_SLOT - 1].is_nan());
    }

    #[test]
    fn half_of_a_number_is_not_alike() {
        let a = [0.0, 1.0, 2.0, 3.0, 1.0];
        let half = a.map(|value| value / 2.0 + 7.0);
        let together = Together::of_rows(&a, &half);
        assert!((together.r() - 1.0).abs() < 1e-12);
        assert!((together.slope() - 0.5).abs() < 1e-12);
        // 2 · ½ / (1 + ¼).
        assert!((together.concordance() - 0.8).abs() < 1e-12);
    }
}
