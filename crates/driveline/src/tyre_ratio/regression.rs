//! Robust weighted least squares of a few unknowns, with errors by resampling of blocks.
//!
//! In: rows of regressors, what they should give, weights, the block of road each row is
//! of. Out: the unknowns, and their standard deviations. Huber's weights on the scale of
//! the median absolute deviation keep odd windows from pulling. Source: Huber, "Robust
//! estimation of a location parameter"; the bootstrap of blocks keeps neighbouring
//! windows, which err alike, together. Deterministic: the generator has a fixed seed.

use crate::linear::{Square, factor, solve};
use crate::median::median;
use crate::random::Random;

/// Resamples for the standard deviation: it is then known to 5 %.
pub const N_RESAMPLES: usize = 200;

/// Residuals beyond this many deviations are weighted down: 95 % efficient for normal
/// noise. Source: Huber, from memory.
const HUBER: f64 = 1.345;

/// Median absolute deviation of a normal variable of deviation 1, inverted.
const PER_MAD: f64 = 1.4826;

/// Least scale of residuals: exact signals must not divide by zero.
const LEAST_SCALE: f64 = 1e-6;

/// What the other unknowns leave of one must be more than this share, or the rows do not tell
/// them apart: a thousand times what rounding leaves of sums over a whole drive.
const LEAST_SHARE: f64 = 1e-9;

const N_ROUNDS: usize = 20;

/// One row.
#[derive(Clone, Copy, Debug)]
pub struct Line<const N: usize> {
    pub x: [f64; N],
    pub y: f64,
    pub weight: f64,
    pub block: u32,
}

/// Numbers blocks from 0 without holes, from what each row in its order says of its block; a number
/// that falls back stays in the block it came to.
pub fn blocks(of_rows: impl Iterator<Item = f64>) -> Vec<u32> {
    let mut number = 0;
    let mut latest = None;
    of_rows
        .map(|block| {
            if latest.is_some_and(|latest| block > latest) {
                number += 1;
            }
            latest = Some(block);
            number
        })
        .collect()
}

/// What was found.
#[derive(Clone, Copy, Debug)]
pub struct Fit<const N: usize> {
    pub unknowns: [f64; N],
    pub sds: [f64; N],
}

#[derive(Clone, Copy)]
struct Normal<const N: usize> {
    matrix: Square<N>,
    right: [f64; N],
}

impl<const N: usize> Normal<N> {
    fn zero() -> Normal<N> {
        Normal {
            matrix: [[0.0; N]; N],
            right: [0.0; N],
        }
    }

    fn add(&mut self, line: &Line<N>, weight: f64) {
        for i in 0..N {
            for j in 0..N {
                self.matrix[i][j] += weight * line.x[i] * line.x[j];
            }
            self.right[i] += weight * line.x[i] * line.y;
        }
    }

    fn add_times(&mut self, other: &Normal<N>, times: f64) {
        for i in 0..N {
            for j in 0..N {
                self.matrix[i][j] += times * other.matrix[i][j];
            }
            self.right[i] += times * other.right[i];
        }
    }

    /// The unknowns; `None` when the equations do not determine them.
    fn solve(&self) -> Option<[f64; N]> {
        Some(solve(&factor(&self.matrix, LEAST_SHARE)?, &self.right))
    }

    /// A guess of each unknown with the weight it has.
    fn add_prior(&mut self, prior: &[Option<(f64, f64)>; N], variance: f64) {
        for (i, prior) in prior.iter().enumerate() {
            if let Some((value, sd)) = prior {
                let weight = variance / (sd * sd);
                self.matrix[i][i] += weight;
                self.right[i] += weight * value;
            }
        }
    }
}

fn residual<const N: usize>(line: &Line<N>, unknowns: &[f64; N]) -> f64 {
    let explained: f64 = line
        .x
        .iter()
        .zip(unknowns)
        .map(|(x, unknown)| x * unknown)
        .sum();
    line.y - explained
}

/// Standard deviation of normal values from their median absolute deviation.
pub fn robust_sd(values: &[f64]) -> f64 {
    let mut copy = values.to_vec();
    let middle = median(&mut copy).unwrap_or(0.0);
    let mut sizes: Vec<f64> = values.iter().map(|value| (value - middle).abs()).collect();
    PER_MAD * median(&mut sizes).unwrap_or(0.0)
}

/// Fits the unknowns; `prior` gives a guess and its deviation for those that the rows
/// may leave open. `None` when the rows do not determine the unknowns.
pub fn fit<const N: usize>(lines: &[Line<N>], prior: &[Option<(f64, f64)>; N]) -> Option<Fit<N>> {
    if lines.len() <= N {
        return None;
    }
    let mut weights: Vec<f64> = lines.iter().map(|line| line.weight).collect();
    let (mut unknowns, mut scale) = ([0.0; N], 1.0);
    for round in 0..N_ROUNDS {
        let mut normal = Normal::zero();
        for (line, &weight) in lines.iter().zip(&weights) {
            normal.add(line, weight);
        }
        if round > 0 {
            normal.add_prior(prior, scale * scale);
        }
        unknowns = match normal.solve() {
            Some(solved) => solved,
            // The first round has no scale to weigh the prior with: it then stands.
            None if round == 0 => prior.map(|prior| prior.map_or(0.0, |prior| prior.0)),
            None => return None,
        };
        // Residuals in terms of the deviation each line is said to have.
        let sizes: Vec<f64> = lines
            .iter()
            .map(|line| residual(line, &unknowns) * line.weight.sqrt())
            .collect();
        scale = robust_sd(&sizes).max(LEAST_SCALE);
        for ((line, weight), size) in lines.iter().zip(&mut weights).zip(&sizes) {
            let beyond = size.abs() / (HUBER * scale);
            *weight = line.weight / beyond.max(1.0);
        }
    }
    let sds = deviations(lines, &weights, prior, &unknowns, scale)?;
    Some(Fit { unknowns, sds })
}

/// Deviations by resampling blocks, no less than what independent lines would give.
fn deviations<const N: usize>(
    lines: &[Line<N>],
    weights: &[f64],
    prior: &[Option<(f64, f64)>; N],
    unknowns: &[f64; N],
    scale: f64,
) -> Option<[f64; N]> {
    let n_blocks = lines.iter().map(|line| line.block).max()? as usize + 1;
    let mut blocks = vec![Normal::zero(); n_blocks];
    let mut whole = Normal::zero();
    for (line, &weight) in lines.iter().zip(weights) {
        blocks[line.block as usize].add(line, weight);
        whole.add(line, weight);
    }
    let mut sds = [0.0; N];
    whole.add_prior(prior, scale * scale);
    for (i, sd) in sds.iter_mut().enumerate() {
        whole.right = [0.0; N];
        whole.right[i] = 1.0;
        *sd = scale * whole.solve()?[i].max(0.0).sqrt();
    }
    let mut random = Random::default();
    let (mut n, mut sums, mut squares) = (0.0, [0.0; N], [0.0; N]);
    for _ in 0..N_RESAMPLES {
        let mut drawn = Normal::zero();
        for _ in 0..n_blocks {
            drawn.add_times(&blocks[random.below(n_blocks)], 1.0);
        }
        drawn.add_prior(prior, scale * scale);
        let Some(solved) = drawn.solve() else {
            continue;
        };
        n += 1.0;
        for i in 0..N {
            let off = solved[i] - unknowns[i];
            sums[i] += off;
            squares[i] += off * off;
        }
    }
    if n < 0.5 * N_RESAMPLES as f64 {
        return None;
    }
    for i in 0..N {
        let mean = sums[i] / n;
        sds[i] = sds[i].max((squares[i] / n - mean * mean).max(0.0).sqrt());
    }
    Some(sds)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lines(n: u32, noise: f64, n_odd: u32) -> Vec<Line<2>> {
        let mut random = Random::default();
        (0..n)
            .map(|index| {
                let x = f64::from(index % 17) * 0.1;
                let odd = if index < n_odd { 5.0 } else { 0.0 };
                Line {
                    x: [1.0, x],
                    y: 0.3 + 2.0 * x + noise * random.normal() + odd,
                    weight: 1.0,
                    block: index / 20,
                }
            })
            .collect()
    }

    #[test]
    fn odd_lines_hardly_pull_and_the_deviation_is_right() {
        let found = fit(&lines(400, 0.05, 40), &[None, None]).unwrap();
        assert!((found.unknowns[0] - 0.3).abs() < 0.03, "{found:?}");
        assert!((found.unknowns[1] - 2.0).abs() < 0.03, "{found:?}");
        let clean = fit(&lines(400, 0.05, 0), &[None, None]).unwrap();
        // Derived: slope sd = σ/(√n·sd of x) = 0.05/(20·0.49) = 0.0051.
        assert!((clean.sds[1] / 0.0051 - 1.0).abs() < 0.35, "{clean:?}");
    }

    #[test]
    fn what_the_lines_leave_open_comes_from_the_prior_or_not_at_all() {
        let flat: Vec<Line<2>> = lines(50, 0.01, 0)
            .into_iter()
            .map(|line| Line {
                x: [1.0, 0.0],
                y: 0.4,
                ..line
            })
            .collect();
        assert!(fit(&flat, &[None, None]).is_none());
        let found = fit(&flat, &[None, Some((1.0, 0.5))]).unwrap();
        assert!((found.unknowns[0] - 0.4).abs() < 1e-9 && (found.unknowns[1] - 1.0).abs() < 1e-9);
    }
}
