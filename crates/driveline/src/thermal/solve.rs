//! Linear equations of a handful of unknowns.

use super::unknowns::{N_UNKNOWNS, Vector};

/// A square matrix.
pub type Square = [Vector; N_UNKNOWNS];

/// Cholesky's factor of a symmetric matrix, or `None` where it is not positive definite.
pub fn factor(matrix: &Square) -> Option<Square> {
    let mut lower = [[0.0; N_UNKNOWNS]; N_UNKNOWNS];
    for row in 0..N_UNKNOWNS {
        for column in 0..=row {
            let products = lower[row].iter().zip(&lower[column]).take(column);
            let rest =
                matrix[row][column] - products.map(|(left, right)| left * right).sum::<f64>();
            if row > column {
                lower[row][column] = rest / lower[column][column];
            } else if rest > 0.0 {
                lower[row][row] = rest.sqrt();
            } else {
                return None;
            }
        }
    }
    Some(lower)
}

/// Solves L·Lᵀ·x = b.
pub fn solve(lower: &Square, right: &Vector) -> Vector {
    let mut x = *right;
    for row in 0..N_UNKNOWNS {
        for before in 0..row {
            x[row] -= lower[row][before] * x[before];
        }
        x[row] /= lower[row][row];
    }
    for row in (0..N_UNKNOWNS).rev() {
        for after in row + 1..N_UNKNOWNS {
            x[row] -= lower[after][row] * x[after];
        }
        x[row] /= lower[row][row];
    }
    x
}

/// The inverse from Cholesky's factor.
pub fn inverse(lower: &Square) -> Square {
    std::array::from_fn(|column| {
        let mut unit = [0.0; N_UNKNOWNS];
        unit[column] = 1.0;
        solve(lower, &unit)
    })
}

/// gᵀ·C·g: the variance of a figure with gradient `g`; never negative.
pub fn variance(covariance: &Square, gradient: &Vector) -> f64 {
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
    fn the_inverse_undoes_the_matrix() {
        let matrix: Square = std::array::from_fn(|row| {
            std::array::from_fn(|column| {
                let apart = row.abs_diff(column) as f64;
                if row == column {
                    3.0
                } else {
                    1.0 / (1.0 + apart * apart)
                }
            })
        });
        let inverse = inverse(&factor(&matrix).unwrap());
        for (row, of_matrix) in matrix.iter().enumerate() {
            for column in 0..N_UNKNOWNS {
                let pairs = of_matrix.iter().zip(&inverse);
                let sum: f64 = pairs.map(|(cell, below)| cell * below[column]).sum();
                let unit = if row == column { 1.0 } else { 0.0 };
                assert!((sum - unit).abs() < 1e-12);
            }
        }
        let mut indefinite = matrix;
        indefinite[4][4] = -1.0;
        assert!(factor(&indefinite).is_none());
    }
}
