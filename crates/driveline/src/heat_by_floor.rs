//! Heat as a function of the noise floor, so that it can be settled at the end.
//!
//! In: for each sample its heat under the sign of each window, and how large a floor that
//! window's mean stands above. Out: the heat for whatever floor the whole drive turns
//! out to have. The floor is known only when the drive is over, the log is read once and
//! memory is bounded: so the sum is kept as a step function of the floor in slots.

use crate::octaves::octaves;

/// Slots above the smallest floor, in rad/s for one sample.
const N_SLOTS: usize = 96;
const SMALLEST: f64 = 1e-4;
const SLOTS_PER_OCTAVE: f64 = 6.0;

/// Share of the steps' size below which their sum is rounding error.
const ROUNDING: f64 = 1e-12;

/// How many standard deviations of the mean a mean must stand above zero before a sign is
/// taken from it. Source: common practice; a stuck pack then shows false slip in 0.3 % of
/// the time only.
pub const SIGNIFICANT_SDS: f64 = 3.0;

/// A window's evidence for the direction of slip.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Evidence {
    /// Mean slip times the root of the number of samples in it, rad/s: the mean is
    /// significant for floors below a third of this. 0 when it is within one step of
    /// the wheel-speed number.
    pub strength: f64,
    /// Sign of the mean: −1, 0, 1.
    pub sign: f64,
    // Slot of the largest floor for which the mean is significant: every sum of heat asks.
    slot: u8,
}

impl Evidence {
    /// Evidence of that strength, rad/s, for that sign.
    pub fn new(strength: f64, sign: f64) -> Evidence {
        Evidence {
            strength,
            sign,
            slot: slot(strength / SIGNIFICANT_SDS) as u8,
        }
    }
}

/// A sum of heat that waits for the floor.
#[derive(Clone, Debug)]
pub struct HeatByFloor {
    // steps[i]: what is added to the sum for floors in slots from i on.
    steps: [f64; N_SLOTS + 1],
    // Torque·time left without a sign, in the same form: bounds what a floor may hide.
    unsigned_steps: [f64; N_SLOTS + 1],
}

impl Default for HeatByFloor {
    fn default() -> HeatByFloor {
        HeatByFloor {
            steps: [0.0; N_SLOTS + 1],
            unsigned_steps: [0.0; N_SLOTS + 1],
        }
    }
}

impl HeatByFloor {
    /// Adds a sample whose torque times slip times time is `work_j` (signed as the slip)
    /// and whose torque times time is `impulse_nms`. Evidence goes from the shortest
    /// window to the longest; the shortest significant one gives the sign.
    pub fn add(&mut self, work_j: f64, impulse_nms: f64, evidence: &[Evidence]) {
        let mut reached = 0;
        for window in evidence {
            let slot = usize::from(window.slot);
            if slot > reached {
                self.steps[reached] += work_j * window.sign;
                self.steps[slot] -= work_j * window.sign;
                reached = slot;
            }
        }
        if reached < N_SLOTS {
            self.unsigned_steps[reached] += impulse_nms;
        }
    }

    /// Adds another sum.
    pub fn merge(&mut self, other: &HeatByFloor) {
        for (own, others) in self.steps.iter_mut().zip(&other.steps) {
            *own += others;
        }
        for (own, others) in self.unsigned_steps.iter_mut().zip(&other.unsigned_steps) {
            *own += others;
        }
    }

    /// The heat for a floor of `slip_sd` (one sample, rad/s), J. Never negative.
    pub fn heat_j(&self, slip_sd: f64) -> f64 {
        at(&self.steps, slip_sd).max(0.0)
    }

    /// Torque times time of what had no sign at that floor, N·m·s.
    pub fn unsigned_nms(&self, slip_sd: f64) -> f64 {
        at(&self.unsigned_steps, slip_sd)
    }
}

/// How many slots [`HeatNearFloor`] keeps: floors from half to nearly twice the one it was made for.
const N_NEAR: usize = 13;

/// A sum of heat for floors near one only: small enough to keep one for every few metres
/// of road, and within its reach equal to [`HeatByFloor`] but for rounding.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HeatNearFloor {
    first: u8,
    // The sum at slots from `first` on, J.
    sums: [f32; N_NEAR],
}

impl HeatNearFloor {
    /// An empty sum for floors near `floor`.
    pub fn new(floor: f64) -> HeatNearFloor {
        let first = slot(floor).saturating_sub(N_NEAR / 2);
        HeatNearFloor {
            first: first.min(N_SLOTS + 1 - N_NEAR) as u8,
            sums: [0.0; N_NEAR],
        }
    }

    /// Adds a sample as [`HeatByFloor::add`] does.
    pub fn add(&mut self, work_j: f64, evidence: &[Evidence]) {
        if work_j == 0.0 {
            return;
        }
        let mut reached = 0;
        for window in evidence {
            let slot = window.slot.saturating_sub(self.first);
            let slot = usize::from(slot).min(N_NEAR);
            if slot > reached {
                for sum in &mut self.sums[reached..slot] {
                    *sum += (work_j * window.sign) as f32;
                }
                reached = slot;
            }
            if reached == N_NEAR {
                break;
            }
        }
    }

    /// The sum for a floor, J; at the nearest floor kept when it lies outside. Negative where
    /// the sign of slip was taken wrongly: only the sum over a longer stretch is heat.
    pub fn signed_j(&self, floor: f64) -> f64 {
        let place = (position(floor) - f64::from(self.first)).clamp(0.0, (N_NEAR - 1) as f64);
        let whole = (place as usize).min(N_NEAR - 2);
        let (low, high) = (f64::from(self.sums[whole]), f64::from(self.sums[whole + 1]));
        low + (place - whole as f64) * (high - low)
    }
}

fn slot(floor: f64) -> usize {
    position(floor) as usize
}

/// Where a floor stands among the slots: 0 below the smallest, else 1 and on.
fn position(floor: f64) -> f64 {
    if floor < SMALLEST {
        return 0.0;
    }
    ((octaves(floor) - octaves(SMALLEST)) * SLOTS_PER_OCTAVE + 1.0).min(N_SLOTS as f64)
}

/// The step function at a floor, linear within its slot so that it does not jump.
fn at(steps: &[f64; N_SLOTS + 1], floor: f64) -> f64 {
    let position = position(floor);
    let (whole, share) = (position as usize, position.fract());
    let next = share * steps.get(whole + 1).copied().unwrap_or(0.0);
    let (sum, size) = steps[..=whole]
        .iter()
        .chain([&next])
        .fold((0.0, 0.0), |(sum, size), step| {
            (sum + step, size + step.abs())
        });
    // Steps that cancel leave a rounding error, which is not heat.
    if sum.abs() <= size * ROUNDING {
        0.0
    } else {
        sum
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn evidence(strengths: [f64; 3], signs: [f64; 3]) -> [Evidence; 3] {
        std::array::from_fn(|index| Evidence::new(strengths[index], signs[index]))
    }

    #[test]
    fn the_shortest_significant_window_gives_the_sign() {
        let mut heat = HeatByFloor::default();
        // Significant in the short window up to a floor of 0.01, in the longest up to 0.1,
        // where the sign is the other one.
        heat.add(-5.0, 2.0, &evidence([0.03, 0.0, 0.3], [-1.0, 1.0, 1.0]));
        assert_eq!(heat.heat_j(0.001), 5.0);
        assert_eq!(heat.heat_j(0.05), 0.0); // −5 with the wrong sign, and heat is never negative.
        assert_eq!(heat.unsigned_nms(0.05), 0.0);
        assert_eq!(heat.unsigned_nms(0.2), 2.0);
        assert_eq!(heat.heat_j(0.2), 0.0);
    }

    #[test]
    fn sums_merge() {
        let mut one = HeatByFloor::default();
        let mut two = HeatByFloor::default();
        let strong = evidence([9.0; 3], [1.0; 3]);
        one.add(3.0, 1.0, &strong);
        two.add(4.0, 1.0, &strong);
        one.merge(&two);
        assert_eq!(one.heat_j(0.01), 7.0);
    }

    #[test]
    fn the_small_sum_equals_the_whole_one_near_its_floor() {
        let mut whole = HeatByFloor::default();
        let mut near = HeatNearFloor::new(0.03);
        for index in 0..200 {
            let size = 0.02 + 0.002 * f64::from(index);
            let windows = evidence([0.12 * size, size, 2.0 * size], [-1.0, 1.0, 1.0]);
            whole.add(0.5 + size, 1.0, &windows);
            near.add(0.5 + size, &windows);
        }
        for floor in [0.0152, 0.02, 0.0275, 0.03, 0.0417, 0.056] {
            let (wanted, got) = (whole.heat_j(floor), near.signed_j(floor));
            assert!(
                (got - wanted).abs() < 1e-5 * wanted,
                "{floor}: {got}, not {wanted}"
            );
        }
        // Out of reach it answers with the nearest floor it knows.
        assert_eq!(near.signed_j(1.0), near.signed_j(0.061));
    }
}
