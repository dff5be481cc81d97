//! A small problem of least squares.

/// A pivot smaller than this share of its column's own sum of squares is none: the columns say the same.
const LEAST_PIVOT: f64 = 1e-9;

/// The numbers that come closest to all rows: factors of each number, value, weight. `None` where the rows do not
/// tell them apart.
pub fn solved(n: usize, rows: impl Iterator<Item = (Vec<f64>, f64, f64)>) -> Option<Vec<f64>> {
    let mut sums = vec![vec![0.0; n + 1]; n];
    for (factors, value, weight) in rows {
        for (row, one) in sums.iter_mut().zip(&factors) {
            for (sum, other) in row.iter_mut().zip(factors.iter().chain([&value])) {
                *sum += weight * one * other;
            }
        }
    }
    let own: Vec<f64> = (0..n).map(|index| sums[index][index]).collect();
    for pivot in 0..n {
        if sums[pivot][pivot] <= LEAST_PIVOT * own[pivot] {
            return None;
        }
        let row = sums[pivot].clone();
        for (index, other) in sums
            .iter_mut()
            .enumerate()
            .filter(|(index, _)| *index != pivot)
        {
            let share = other[pivot] / row[pivot];
            for (one, of_pivot) in other.iter_mut().zip(&row).skip(pivot.min(index)) {
                *one -= share * of_pivot;
            }
        }
    }
    Some(
        (0..n)
            .map(|index| sums[index][n] / sums[index][index])
            .collect(),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_plane_through_its_points() {
        // By hand: 2 + 3x − y at four corners, one of them of no weight and elsewhere.
        let points = [
            (0.0, 0.0, 2.0, 1.0),
            (1.0, 0.0, 5.0, 1.0),
            (0.0, 1.0, 1.0, 2.0),
            (1.0, 1.0, 99.0, 0.0),
        ];
        let rows = || {
            points
                .iter()
                .map(|&(x, y, value, weight)| (vec![1.0, x, y], value, weight))
        };
        let found = solved(3, rows()).unwrap();
        for (found, truth) in found.iter().zip([2.0, 3.0, -1.0]) {
            assert!((found - truth).abs() < 1e-12, "{found} {truth}");
        }
        // Two columns that say the same.
        assert_eq!(
            solved(2, points.iter().map(|&(x, ..)| (vec![x, 2.0 * x], x, 1.0))),
            None
        );
    }
}
