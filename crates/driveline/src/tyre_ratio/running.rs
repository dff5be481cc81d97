//! The estimate while driving: causal, and cheap at every window.
//!
//! In: windows. Out: ε = ln(ωR/ωL) running straight, from the windows seen so far. Each
//! gives ln(dR/dL) less what its bend explains; the estimate is the middle of the shortest
//! interval that holds a third of them: bends not explained for want of a yaw rate fall
//! outside, even on a one-way oval, where a mean or a median would not.

use super::window::Window;

/// Windows needed before an estimate is given.
const LEAST_WINDOWS: u32 = 20;

/// Estimates are kept in slots of this width, up to ±8 %: a space-saver spare fits.
const SLOT: f64 = 1e-4;
const N_SLOTS: usize = 1600;

/// The estimate so far.
#[derive(Clone, Debug)]
pub struct Running {
    slots: Vec<u32>,
    n: u32,
    estimate: Option<f64>,
}

impl Default for Running {
    fn default() -> Running {
        Running {
            slots: vec![0; N_SLOTS],
            n: 0,
            estimate: None,
        }
    }
}

impl Running {
    /// Takes a window fit for calibration.
    pub fn add(&mut self, window: &Window) {
        let ratio = window.ratio_log() - window.kinematic_m / window.distance_m();
        let slot = (ratio / SLOT).floor() + (N_SLOTS / 2) as f64;
        if !(0.0..N_SLOTS as f64).contains(&slot) {
            return;
        }
        self.slots[slot as usize] += 1;
        self.n += 1;
        if self.n >= LEAST_WINDOWS && self.n.is_multiple_of(4) {
            self.estimate = Some(self.shortest_third());
        }
    }

    /// Middle of the shortest interval of slots that holds a third of all windows.
    fn shortest_third(&self) -> f64 {
        let wanted = self.n.div_ceil(3);
        let (mut held, mut low, mut best) = (0, 0, (0, N_SLOTS));
        for high in 0..N_SLOTS {
            held += self.slots[high];
            while held - self.slots[low] >= wanted {
                held -= self.slots[low];
                low += 1;
            }
            if held >= wanted && high + 1 - low < best.1 - best.0 {
                best = (low, high + 1);
            }
        }
        // The mean inside the interval uses the windows' weight, which slots alone blur.
        let (mut weight, mut sum) = (0.0, 0.0);
        for slot in best.0..best.1 {
            let count = f64::from(self.slots[slot]);
            weight += count;
            sum += count * (slot as f64 + 0.5 - (N_SLOTS / 2) as f64) * SLOT;
        }
        sum / weight
    }

    /// ln(ωR/ωL), when enough windows were seen.
    pub fn ratio_log(&self) -> Option<f64> {
        self.estimate
    }
}

#[cfg(test)]
mod tests {
    use super::super::testing::{Drive, Road};

    #[test]
    fn one_way_bends_do_not_fool_it() {
        for has_yaw in [true, false] {
            let drive = Drive {
                ratio_log: 0.006,
                has_yaw,
                yaw_bias: 0.0,
                ..Drive::new(Road::Oval, 600.0)
            };
            let found = drive.run().ratio_log().unwrap();
            assert!((found - 0.006).abs() < 2e-4, "{found}");
        }
    }

    #[test]
    fn says_nothing_before_enough_road() {
        let ratio = Drive::new(Road::Straight, 20.0).run();
        assert_eq!(ratio.ratio_log(), None);
    }
}
