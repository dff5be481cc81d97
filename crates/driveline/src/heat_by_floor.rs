//! Heat as a function of the noise floor, so that it can be settled at the end.
//!
//! In: for each sample its heat under the sign of each window, and how large a floor that
//! window's mean stands above. Out: the heat for whatever floor the whole drive turns
//! out to have. The floor is known only when the drive is over, the log is read once and
//! memory is bounded: so the sum is kept as a step function of the floor in slots.

use halfshaft_model::octaves::{octaves, steps_above};

use crate::smooth::N_WINDOWS;

/// Slots above the smallest floor, in rad/s for one sample.
const N_SLOTS: usize = 96;
const SMALLEST: f64 = 1e-4;
const SLOTS_PER_OCTAVE: u64 = 6;

/// Share of the steps' size below which their sum is rounding error.
const ROUNDING: f64 = 1e-12;

/// How many standard deviations of the mean a mean must stand above zero before a sign is
/// taken from it. Source: common practice; a stuck pack then shows false slip in 0.3 % of
/// the time only.
pub const SIGNIFICANT_SDS: f64 = 3.0;

/// What each window says of the direction of slip, shortest window first.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Evidence {
    // Strengths, signed. Single precision: noise is not known to more.
    strengths: [f32; N_WINDOWS],
    // Slot of the largest floor for which each mean is significant: every sum of heat asks.
    slots: [u8; N_WINDOWS],
    // The sign that all windows give which add anything, where they agree: nearly always.
    agreed: Option<i8>,
    // The strongest of them, and its slot.
    strongest: f32,
    highest_slot: u8,
}

impl Evidence {
    /// Evidence of windows whose strengths, rad/s, these are: mean slip times the root of the
    /// number of samples in it, with the sign of the mean. The mean is significant for floors
    /// below a third of that; 0 says that it is within one step of the wheel-speed number.
    pub fn new(strengths: [f64; N_WINDOWS]) -> Evidence {
        let slots =
            strengths.map(|strength| slot(strength.abs(), SIGNIFICANT_SDS * SMALLEST) as u8);
        let strengths = strengths.map(|strength| strength as f32);
        // A window says nothing where a shorter one is significant as well.
        let (mut strongest, mut agreed) = (0.0_f32, Some(0));
        for strength in strengths {
            if strength.abs() > strongest {
                let sign = if strength > 0.0 { 1 } else { -1 };
                agreed = agreed
                    .filter(|agreed| [0, sign].contains(agreed))
                    .map(|_| sign);
                strongest = strength.abs();
            }
        }
        Evidence {
            strengths,
            slots,
            agreed,
            strongest,
            highest_slot: slots.iter().copied().fold(0, u8::max),
        }
    }

    /// Sign of the slip, −1, 0 or 1, for a floor of `slip_sd` (one sample, rad/s): that of the
    /// shortest significant window.
    pub fn sign(&self, slip_sd: f64) -> f64 {
        let is_significant = |strength: f32| f64::from(strength) > SIGNIFICANT_SDS * slip_sd;
        match self.agreed {
            Some(_) if !is_significant(self.strongest) => 0.0,
            Some(sign) => f64::from(sign),
            None => {
                let mut strengths = self.strengths.iter();
                let shortest = strengths.find(|strength| is_significant(strength.abs()));
                shortest.map_or(0.0, |strength| f64::from(strength.signum()))
            }
        }
    }

    /// Windows that are significant for floors up to a slot for which no shorter one is: the
    /// slot, and the sign.
    fn steps(&self) -> impl Iterator<Item = (usize, f64)> + '_ {
        let mut reached = 0;
        self.slots
            .iter()
            .zip(&self.strengths)
            .filter_map(move |(&slot, strength)| {
                let is_more = slot > reached;
                reached = reached.max(slot);
                is_more.then(|| (usize::from(slot), f64::from(strength.signum())))
            })
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
    /// and whose torque times time is `impulse_nms`. The shortest significant window gives
    /// the sign.
    pub fn add(&mut self, work_j: f64, impulse_nms: f64, evidence: &Evidence) {
        let highest = usize::from(evidence.highest_slot);
        if let Some(sign) = evidence.agreed {
            self.steps[0] += work_j * f64::from(sign);
            self.steps[highest] -= work_j * f64::from(sign);
        } else {
            let mut reached = 0;
            for (slot, sign) in evidence.steps() {
                self.steps[reached] += work_j * sign;
                self.steps[slot] -= work_j * sign;
                reached = slot;
            }
        }
        if highest < N_SLOTS {
            self.unsigned_steps[highest] += impulse_nms;
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
    // What is added to the sum for floors in slots from `first` plus the index on, J.
    steps: [f32; N_NEAR + 1],
}

impl HeatNearFloor {
    /// An empty sum for floors near `floor`.
    pub fn new(floor: f64) -> HeatNearFloor {
        let first = slot(floor, SMALLEST).saturating_sub(N_NEAR / 2);
        HeatNearFloor {
            first: first.min(N_SLOTS + 1 - N_NEAR) as u8,
            steps: [0.0; N_NEAR + 1],
        }
    }

    /// Adds a sample as [`HeatByFloor::add`] does.
    pub fn add(&mut self, work_j: f64, evidence: &Evidence) {
        let here = |slot: u8| usize::from(slot.saturating_sub(self.first)).min(N_NEAR);
        if let Some(sign) = evidence.agreed {
            let joules = (work_j * f64::from(sign)) as f32;
            let highest = here(evidence.highest_slot);
            self.steps[0] += joules;
            self.steps[highest] -= joules;
            return;
        }
        let mut reached = 0;
        for (slot, sign) in evidence.steps() {
            let (joules, slot) = ((work_j * sign) as f32, here(slot as u8));
            self.steps[reached] += joules;
            self.steps[slot] -= joules;
            reached = slot;
        }
    }

    /// The sum for a floor, J; at the nearest floor kept when it lies outside. Negative where
    /// the sign of slip was taken wrongly: only the sum over a longer stretch is heat.
    pub fn signed_j(&self, floor: f64) -> f64 {
        let place = (position(floor) - f64::from(self.first)).clamp(0.0, (N_NEAR - 1) as f64);
        let whole = (place as usize).min(N_NEAR - 2);
        let low: f64 = self.steps[..=whole].iter().copied().map(f64::from).sum();
        low + (place - whole as f64) * f64::from(self.steps[whole + 1])
    }
}

/// The slot of a size where `smallest` begins the second one.
#[inline]
fn slot(size: f64, smallest: f64) -> usize {
    if size < smallest {
        return 0;
    }
    (steps_above(size, smallest, SLOTS_PER_OCTAVE) + 1).min(N_SLOTS)
}

/// Where a floor stands among the slots: 0 below the smallest, else 1 and on.
fn position(floor: f64) -> f64 {
    if floor < SMALLEST {
        return 0.0;
    }
    let steps = (octaves(floor) - octaves(SMALLEST)) * SLOTS_PER_OCTAVE as f64;
    (steps + 1.0).min(N_SLOTS as f64)
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

    #[test]
    fn the_shortest_significant_window_gives_the_sign() {
        let mut heat = HeatByFloor::default();
        // Significant in the short window up to a floor of 0.01, in the longest up to 0.1,
        // where the sign is the other one.
        let windows = Evidence::new([-0.03, 0.0, 0.3, 0.3]);
        heat.add(-5.0, 2.0, &windows);
        assert_eq!(heat.heat_j(0.001), 5.0);
        assert_eq!(heat.heat_j(0.05), 0.0); // −5 with the wrong sign, and heat is never negative.
        assert_eq!(heat.unsigned_nms(0.05), 0.0);
        assert_eq!(heat.unsigned_nms(0.2), 2.0);
        assert_eq!(heat.heat_j(0.2), 0.0);
        assert_eq!(
            [0.001, 0.05, 0.2].map(|floor| windows.sign(floor)),
            [-1.0, 1.0, 0.0]
        );
    }

    #[test]
    fn windows_that_agree_and_those_that_do_not_are_summed_alike() {
        // A longer window of the other sign, as weak as the shorter one, says nothing.
        let agree = [
            [0.02, 0.3, 0.3, 0.31],
            [0.0, 0.0, 0.05, 0.2],
            [0.4, -0.1, -0.1, 0.2],
        ];
        for strengths in agree {
            for side in [1.0, -1.0] {
                let windows = Evidence::new(strengths.map(|strength| side * strength));
                assert_eq!(windows.agreed, Some(side as i8), "{strengths:?}");
                let mut heat = HeatByFloor::default();
                heat.add(side * 3.0, 1.0, &windows);
                let apart = Evidence {
                    agreed: None,
                    ..windows
                };
                let mut wanted = HeatByFloor::default();
                wanted.add(side * 3.0, 1.0, &apart);
                for floor in [0.001, 0.01, 0.02, 0.05, 0.09, 0.2] {
                    assert_eq!(heat.heat_j(floor), wanted.heat_j(floor));
                    assert_eq!(heat.unsigned_nms(floor), wanted.unsigned_nms(floor));
                    assert_eq!(windows.sign(floor), apart.sign(floor));
                }
            }
        }
        assert_eq!(Evidence::new([0.1, -0.2, 0.0, 0.0]).agreed, None);
    }

    #[test]
    fn sums_merge() {
        let mut one = HeatByFloor::default();
        let mut two = HeatByFloor::default();
        let strong = Evidence::new([9.0; 4]);
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
            let windows = Evidence::new([-0.12 * size, size, 2.0 * size, 0.0]);
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
