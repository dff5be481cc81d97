//! The middle of the shortest interval that holds a third of the values.
//!
//! In: values and the blocks of road they come from. Out: where the values crowd. Straight
//! running crowds; bends, one way or both, scatter. Exact, from the values themselves.

use super::regression::N_RESAMPLES;
use crate::random::Random;

/// Where the values crowd.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Crowd {
    pub middle: f64,
    /// Width of the shortest interval.
    pub width: f64,
    pub sd: f64,
}

/// Where a third of the values crowd, and how sure that is by resampling of blocks;
/// `None` for fewer than six values.
pub fn shortest_third(values: &[f64], blocks: &[u32]) -> Option<Crowd> {
    if values.len() < 6 {
        return None;
    }
    let mut order: Vec<usize> = (0..values.len()).collect();
    order.sort_by(|&a, &b| values[a].total_cmp(&values[b]));
    let sorted: Vec<f64> = order.iter().map(|&index| values[index]).collect();
    let (middle, width) = crowd(&sorted);
    let n_blocks = blocks.iter().max().map_or(0, |&last| last as usize + 1);
    let mut random = Random::default();
    let (mut sum, mut squares) = (0.0, 0.0);
    let mut drawn = Vec::with_capacity(2 * values.len());
    for _ in 0..N_RESAMPLES {
        let mut times = vec![0_u32; n_blocks];
        for _ in 0..n_blocks {
            times[random.below(n_blocks)] += 1;
        }
        drawn.clear();
        for (&index, &value) in order.iter().zip(&sorted) {
            for _ in 0..times[blocks[index] as usize] {
                drawn.push(value);
            }
        }
        let again = if drawn.is_empty() {
            middle
        } else {
            crowd(&drawn).0
        };
        sum += again - middle;
        squares += (again - middle) * (again - middle);
    }
    let n = N_RESAMPLES as f64;
    let sd = (squares / n - (sum / n) * (sum / n)).max(0.0).sqrt();
    // One or two blocks resample to little: what a third of the values can tell remains.
    let least = width / (values.len() as f64 / 3.0).sqrt() / 3.0;
    Some(Crowd {
        middle,
        width,
        sd: sd.max(least),
    })
}

/// Median inside the shortest interval that holds a third, and its width.
pub fn crowd(sorted: &[f64]) -> (f64, f64) {
    let wanted = sorted.len().div_ceil(3).max(1);
    let width = |start: usize| sorted[start + wanted - 1] - sorted[start];
    let mut best = 0;
    for start in 1..=sorted.len() - wanted {
        if width(start) < width(best) {
            best = start;
        }
    }
    let inside = &sorted[best..best + wanted];
    (
        0.5 * (inside[(wanted - 1) / 2] + inside[wanted / 2]),
        width(best),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn finds_the_crowd_and_not_the_mean() {
        // Four of ten at 6 (spread 0.02), six scattered above: mean 11, crowd 6.
        let values = [6.0, 9.0, 6.01, 20.0, 14.0, 6.02, 17.0, 11.0, 6.01, 15.0];
        let found = shortest_third(&values, &[0; 10]).unwrap();
        assert!((found.middle - 6.01).abs() < 0.006, "{found:?}");
        assert_eq!(shortest_third(&values[..5], &[0; 5]), None);
    }
}
