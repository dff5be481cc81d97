//! Linear equations of a handful of unknowns: the only solver of this crate.
//!
//! In: a symmetric matrix, as least squares give it, and a right side. Out: the unknowns, the
//! inverse, the variance of a figure. It refuses a matrix that does not determine its unknowns.
//! What is not symmetric (the step of three temperatures, `thermal/step.rs`) is not solved here.

/// A square matrix.
pub type Square<const N: usize> = [[f64; N]; N];

/// Cholesky's factor of a symmetric matrix. `None` where what the unknowns before leave of one
/// is not above `least_share` of its own diagonal: it is then not told apart from them. With 0,
/// any positive definite matrix passes. A share, so that the units of the unknowns do not matter.
pub fn factor<const N: usize>(matrix: &Square<N>, least_share: f64) -> Option<Square<N>> {
    let mut lower = [[0.0; N]; N];
    for row in 0..N {
        for column in 0..=row {
            let products = lower[row].iter().zip(&lower[column]).take(column);
            let rest =
                matrix[row][column] - products.map(|(left, right)| left * right).sum::<f64>();
            if row > column {
                lower[row][column] = rest / lower[column][column];
            } else if rest > least_share * matrix[row][row] {
                lower[row][row] = rest.sqrt();
            } else {
                return None;
            }
        }
    }
    Some(lower)
}

/// Solves L·Lᵀ·x = b.
pub fn solve<const N: usize>(lower: &Square<N>, right: &[f64; N]) -> [f64; N] {
    let mut x = *right;
    for row in 0..N {
        for before in 0..row {
            x[row] -= lower[row][before] * x[before];
        }
        x[row] /= lower[row][row];
    }
    for row in (0..N).rev() {
        for after in row + 1..N {
            x[row] -= lower[after][row] * x[after];
        }
        x[row] /= lower[row][row];
    }
    x
}

/// The inverse from Cholesky's factor.
pub fn inverse<const N: usize>(lower: &Square<N>) -> Square<N> {
    std::array::from_fn(|column| {
        let mut unit = [0.0; N];
        unit[column] = 1.0;
        solve(lower, &unit)
    })
}

/// gᵀ·C·g: the variance of a figure with gradient `g`; never negative.
pub fn variance<const N: usize>(covariance: &Square<N>, gradient: &[f64; N]) -> f64 {
    let mut sum = 0.0;
    for (row, left) in covariance.iter().zip(gradient) {
        for (cell, right) in row.iter().zip(gradient) {
            sum += left * cell * right;
        }
    }
    sum.max(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn three_unknowns_by_hand() {
        // L = (2, 0, 0; 6, 1, 0; −8, 5, 3), so A = L·Lᵀ, and A·(1, 2, 3) = (−20, −43, 192). All
        // whole numbers: nothing is rounded.
        let matrix = [
            [4.0, 12.0, -16.0],
            [12.0, 37.0, -43.0],
            [-16.0, -43.0, 98.0],
        ];
        let lower = factor(&matrix, 0.0).unwrap();
        assert_eq!(lower, [[2.0, 0.0, 0.0], [6.0, 1.0, 0.0], [-8.0, 5.0, 3.0]]);
        assert_eq!(solve(&lower, &[-20.0, -43.0, 192.0]), [1.0, 2.0, 3.0]);
        // By hand: gᵀ·A·g with g = (1, 0, 1) is 4 − 16 − 16 + 98.
        assert_eq!(variance(&matrix, &[1.0, 0.0, 1.0]), 70.0);
    }

    #[test]
    fn the_inverse_undoes_the_matrix() {
        let matrix: Square<15> = std::array::from_fn(|row| {
            std::array::from_fn(|column| {
                let apart = row.abs_diff(column) as f64;
                if row == column {
                    3.0
                } else {
                    1.0 / (1.0 + apart * apart)
                }
            })
        });
        let inverse = inverse(&factor(&matrix, 0.0).unwrap());
        for (row, of_matrix) in matrix.iter().enumerate() {
            for column in 0..15 {
                let pairs = of_matrix.iter().zip(&inverse);
                let sum: f64 = pairs.map(|(cell, below)| cell * below[column]).sum();
                let unit = if row == column { 1.0 } else { 0.0 };
                assert!((sum - unit).abs() < 1e-12);
            }
        }
        let mut indefinite = matrix;
        indefinite[4][4] = -1.0;
        assert!(factor(&indefinite, 0.0).is_none());
    }

    #[test]
    fn unknowns_that_are_not_told_apart_are_refused_in_any_units() {
        // The second goes along with the first but for a millionth of its square.
        for unit in [1e-6, 1.0, 1e6] {
            let matrix = [[1.0, unit], [unit, unit * unit * (1.0 + 1e-6)]];
            assert!(factor(&matrix, 1e-7).is_some());
            assert!(factor(&matrix, 1e-5).is_none());
        }
        assert!(factor(&[[0.0]], 1e-9).is_none());
        assert!(factor(&[[-1.0]], 1e-9).is_none());
        assert!(factor(&[[f64::NAN]], 0.0).is_none());
    }
}
