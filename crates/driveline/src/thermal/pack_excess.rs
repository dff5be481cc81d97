//! Pack over oil at full sharpness, whatever the bins have become.
//!
//! The pack runs ahead of the oil by what its own heat left in it, and that fades with
//! τ = Cp/Gpo, some ten seconds. Bins wider than a fifth of it would flatten the peaks. But
//! the system is linear: the pack is what the *mean* heat of the bins makes of it, plus
//! what the heat's run about those means makes, and the second part is over within a few τ,
//! before the oil has felt it. So each cell of half a second goes through filters of five
//! fixed τ while the log streams by, and every bin keeps the highest each of them reached.
//! When the fit has said what τ is, the same filters run over the mean heat of the bins, and
//! the difference between the two, interpolated over τ, is what the bins lost: exactly
//! nothing while bins are cells.
//!
//! Unit: J still in the pack of unit heat capacity, so K = J/Cp.

use super::CELL_S;

/// Number of filters.
pub const N_FILTERS: usize = 5;

/// Their time constants, s: a third and less, up to four times the usual one of 12 s.
pub const FILTER_TIMES_S: [f64; N_FILTERS] = [3.0, 6.0, 12.0, 24.0, 48.0];

/// The five filters.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct PackExcess {
    /// What each holds now, J.
    pub held_j: [f64; N_FILTERS],
}

impl PackExcess {
    /// Takes a mean power over a time: e → e·exp(−t/τ) + P·τ·(1 − exp(−t/τ)). Derived.
    pub fn advance(&mut self, power_w: f64, seconds: f64) {
        for (held, time) in self.held_j.iter_mut().zip(FILTER_TIMES_S) {
            let fades = -(-seconds / time).exp_m1();
            *held += (power_w * time - *held) * fades;
        }
    }

    /// The larger of two in each filter.
    pub fn greatest(left: &[f64; N_FILTERS], right: &[f64; N_FILTERS]) -> [f64; N_FILTERS] {
        std::array::from_fn(|filter| left[filter].max(right[filter]))
    }
}

/// One cell of the streaming side, with its factors worked out once.
#[derive(Clone, Debug)]
pub struct CellFilters {
    now: PackExcess,
    fades: [f64; N_FILTERS],
    next_cell: u64,
}

impl Default for CellFilters {
    fn default() -> CellFilters {
        CellFilters {
            now: PackExcess::default(),
            fades: FILTER_TIMES_S.map(|time| -(-CELL_S / time).exp_m1()),
            next_cell: 0,
        }
    }
}

impl CellFilters {
    /// Whether a cell lies before the next one to come.
    pub fn is_past(&self, cell: u64) -> bool {
        cell < self.next_cell
    }

    /// The next cell that may come.
    pub fn next(&self) -> u64 {
        self.next_cell
    }

    /// Takes the heat of a cell; cells left out since the last made none that is known.
    /// Gives the highest that each filter was at the start or the end of the cell.
    pub fn take(&mut self, cell: u64, heat_j: f64) -> [f64; N_FILTERS] {
        let missing = cell.saturating_sub(self.next_cell);
        if missing > 0 {
            self.now.advance(0.0, missing as f64 * CELL_S);
        }
        let before = self.now.held_j;
        let power_w = heat_j / CELL_S;
        let held = self.now.held_j.iter_mut();
        for ((held, time), fades) in held.zip(FILTER_TIMES_S).zip(self.fades) {
            *held += (power_w * time - *held) * fades;
        }
        self.next_cell = cell + 1;
        PackExcess::greatest(&before, &self.now.held_j)
    }
}

/// Reads a figure kept for each filter at another time constant: straight lines over ln τ,
/// held beyond the ends.
pub fn at_time(kept: &[f64; N_FILTERS], time_s: f64) -> f64 {
    let place = (time_s / FILTER_TIMES_S[0]).log2();
    let place = place.clamp(0.0, (N_FILTERS - 1) as f64);
    let below = (place as usize).min(N_FILTERS - 2);
    let share = place - below as f64;
    kept[below] + (kept[below + 1] - kept[below]) * share
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn filters_follow_their_closed_form() {
        let mut filters = CellFilters::default();
        // 10 kW for 4 s from cell 100, then nothing known until cell 148.
        let mut highest = [0.0; N_FILTERS];
        for cell in 100..108 {
            highest = PackExcess::greatest(&highest, &filters.take(cell, 5000.0));
        }
        let late = filters.take(148, 0.0);
        for (filter, time) in FILTER_TIMES_S.into_iter().enumerate() {
            let wanted = 10_000.0 * time * (1.0 - (-4.0 / time).exp());
            assert!((highest[filter] - wanted).abs() < 1e-6 * wanted);
            // Twenty seconds later, at the start of that cell.
            let wanted = wanted * (-20.0 / time).exp();
            assert!((late[filter] - wanted).abs() < 1e-6 * wanted + 1e-9);
        }
    }

    #[test]
    fn between_filters_it_is_close_enough() {
        // A burst of 4 s at τ = 8.5 s, between two filters: within 1 %.
        let of = |time: f64| 10_000.0 * time * (1.0 - (-4.0 / time).exp());
        let kept = FILTER_TIMES_S.map(of);
        assert!((at_time(&kept, 8.5) / of(8.5) - 1.0).abs() < 0.01);
        assert_eq!(at_time(&kept, 12.0), kept[2]);
        assert_eq!(at_time(&kept, 1.0), kept[0]);
        assert_eq!(at_time(&kept, 500.0), kept[4]);
    }
}
