//! How alike two pieces of road are, by their curvature.
//!
//! In: curvature on the grid of the path, two places. Out: likeness, and the distance
//! between the places at which it is highest.

use super::grid::STEP_M;

/// Curvature below which the scatter of a sensor is all there is, 1/m.
pub const FLAT: f64 = 1e-4;

/// One comparison of two pieces of road.
#[derive(Clone, Copy, Debug)]
pub struct Match {
    /// How many cells on.
    pub lag: isize,
    /// 1 for equal, about 0 for strangers.
    pub likeness: f64,
    /// Sum of the squared differences, 1/m².
    pub difference: f64,
    /// Sum of the squares of both.
    pub energy: f64,
    /// Sum of the products.
    pub product: f64,
}

/// The curvature, and how it is looked at.
pub struct View<'a> {
    /// Curvature of each cell, 1/m.
    pub curvature: &'a [f64],
    /// Half width of the window, cells.
    pub half: isize,
    /// Energy of a cell that counts as nothing: straight against straight is the same road.
    pub floor: f64,
}

impl View<'_> {
    /// Compares the road around a cell with that about `lag` cells on; the likest wins, the
    /// nearer one among equals.
    pub fn compare(&self, at: isize, lag: isize, reach: isize) -> Option<Match> {
        let cost = |found: &Match| {
            let off = (found.lag - lag) as f64 / reach.max(1) as f64;
            1.0 - found.likeness + 0.02 * off * off
        };
        (lag - reach..=lag + reach)
            .filter_map(|lag| self.at_lag(at, lag))
            .min_by(|one, other| cost(one).total_cmp(&cost(other)))
    }

    /// Compares the road around a cell with that exactly `lag` cells on; `None` where too
    /// little of the window lies within the drive.
    pub fn at_lag(&self, at: isize, lag: isize) -> Option<Match> {
        let n = self.curvature.len() as isize;
        let start = (at - self.half).max(0).max(-lag);
        let end = (at + self.half).min(n).min(n - lag);
        if end - start < self.half / 2 || end <= start {
            return None;
        }
        let one = &self.curvature[start as usize..end as usize];
        let other = &self.curvature[(start + lag) as usize..(end + lag) as usize];
        let (mut difference, mut energy, mut product) = (0.0, 0.0, 0.0);
        for (a, b) in one.iter().zip(other) {
            difference += (a - b) * (a - b);
            energy += a * a + b * b;
            product += a * b;
        }
        let floor = self.floor * one.len() as f64 + FLAT * FLAT;
        Some(Match {
            lag,
            likeness: 1.0 - difference / (energy + floor),
            difference,
            energy,
            product,
        })
    }
}

/// Where, near a guess, the road looks most like that around another place, m.
pub fn same_place(
    curvature: &[f64],
    place_m: f64,
    guess_m: f64,
    window_m: f64,
    reach_m: f64,
    same_road: f64,
) -> Option<f64> {
    let cells = |metres: f64| (metres / STEP_M).round() as isize;
    let at = cells(place_m);
    let lag = cells(guess_m) - at;
    let (low, high) = (lag - cells(reach_m), lag + cells(reach_m));
    let view = View {
        curvature,
        half: cells(window_m),
        floor: FLAT * FLAT,
    };
    let found = (low..=high)
        .filter_map(|lag| view.at_lag(at, lag))
        .filter(|found| found.likeness >= same_road)
        .max_by(|one, other| one.likeness.total_cmp(&other.likeness))?;
    // The top of the parabola through the best and its neighbours.
    let likeness = |lag: isize| view.at_lag(at, lag).map(|found| found.likeness);
    let shift = match (likeness(found.lag - 1), likeness(found.lag + 1)) {
        (Some(before), Some(after)) => {
            let bend = before - 2.0 * found.likeness + after;
            if bend < 0.0 {
                (0.5 * (before - after) / bend).clamp(-0.5, 0.5)
            } else {
                0.0
            }
        }
        _ => 0.0,
    };
    Some(place_m + (found.lag as f64 + shift) * STEP_M)
}
