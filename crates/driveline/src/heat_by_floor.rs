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

/// What the windows say of the direction of slip: the sign for any floor.
///
/// The shortest significant window gives it. So going from the shortest to the longest, a
/// window counts for the floors that lie above what those before it reach.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Evidence {
    // The strongest of the windows so far. Single precision: noise is not known to more.
    reach: [f32; N_WINDOWS],
    // Slot of the largest floor below that: every sum of heat asks.
    slots: [u8; N_WINDOWS],
    // The sign for floors that a window reaches and those before it do not; where there are
    // none, a neighbour's, so that they are alike where the windows agree.
    signs: [i8; N_WINDOWS],
}

impl Evidence {
    /// Evidence of windows whose strengths, rad/s, these are: mean slip times the root of the
    /// number of samples in it, with the sign of the mean. The mean is significant for floors
    /// below a third of that; 0 says that it is within one step of the wheel-speed number.
    pub fn new(strengths: [f64; N_WINDOWS]) -> Evidence {
        let (mut reach, mut signs) = ([0.0; N_WINDOWS], [0; N_WINDOWS]);
        let (mut strongest, mut sign) = (0.0_f32, 0);
        for (window, strength) in strengths.into_iter().enumerate() {
            let strength = strength as f32;
            if strength.abs() > strongest {
                sign = if strength > 0.0 { 1 } else { -1 };
            }
            strongest = strongest.max(strength.abs());
            (reach[window], signs[window]) = (strongest, sign);
        }
        for window in (1..N_WINDOWS).rev() {
            if signs[window - 1] == 0 {
                signs[window - 1] = signs[window];
            }
        }
        Evidence {
            reach,
            slots: reach.map(|reach| slot(f64::from(reach), SIGNIFICANT_SDS * SMALLEST) as u8),
            signs,
        }
    }

    /// Sign of the slip, −1, 0 or 1, for a floor of `slip_sd` (one sample, rad/s).
    pub fn sign(&self, slip_sd: f64) -> f64 {
        let least = SIGNIFICANT_SDS * slip_sd;
        let is_within = |reach: &&f32| f64::from(**reach) <= least;
        let shortest = self.reach.iter().filter(is_within).count();
        self.signs
            .get(shortest)
            .map_or(0.0, |sign| f64::from(*sign))
    }

    /// Shows where the sign changes on the way up the floors: slot, and by how much.
    #[inline]
    fn changes(&self, mut show: impl FnMut(u8, f64)) {
        let [first, .., last] = self.signs.map(f64::from);
        show(0, first);
        // Nearly always the windows agree. Else all of them are shown, since a processor could
        // not foresee which do not.
        if self.signs != [self.signs[0]; N_WINDOWS] {
            for window in 1..N_WINDOWS {
                let change = f64::from(self.signs[window] - self.signs[window - 1]);
                show(self.slots[window - 1], change);
            }
        }
        show(self.slots[N_WINDOWS - 1], -last);
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
        evidence.changes(|slot, by| self.steps[usize::from(slot)] += work_j * by);
        let unsigned_from = usize::from(evidence.slots[N_WINDOWS - 1]);
        if unsigned_from < N_SLOTS {
            self.unsigned_steps[unsigned_from] += impulse_nms;
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

    /// The heat alone, to be kept.
    pub fn closed(&self) -> ClosedHeat {
        let steps = self.steps.iter().copied().enumerate();
        let (slots, steps): (Vec<u8>, Vec<f64>) = steps
            .filter(|(_, step)| *step != 0.0)
            .map(|(slot, step)| (slot as u8, step))
            .unzip();
        ClosedHeat {
            slots: slots.into(),
            steps: steps.into(),
        }
    }

    /// Torque times time of what had no sign at that floor, N·m·s.
    pub fn unsigned_nms(&self, slip_sd: f64) -> f64 {
        at(&self.unsigned_steps, slip_sd)
    }
}

/// A sum to which nothing is added any more: the steps that are not zero, some dozen of them. A long
/// day has thousands of events, and each has its heat.
#[derive(Clone, Debug, Default)]
pub struct ClosedHeat {
    slots: Box<[u8]>,
    steps: Box<[f64]>,
}

impl ClosedHeat {
    /// The same heat as [`HeatByFloor::heat_j`] of the sum it was made of.
    pub fn heat_j(&self, slip_sd: f64) -> f64 {
        let mut steps = [0.0; N_SLOTS + 1];
        for (slot, step) in self.slots.iter().zip(&self.steps) {
            steps[usize::from(*slot)] = *step;
        }
        at(&steps, slip_sd).max(0.0)
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
        evidence.changes(|slot, by| {
            let here = usize::from(slot.saturating_sub(self.first)).min(N_NEAR);
            self.steps[here] += (work_j * by) as f32;
        });
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

    /// What each window alone says, one after the other.
    fn sign_by_search(strengths: [f64; N_WINDOWS], floor: f64) -> f64 {
        let mut strengths = strengths.iter();
        let shortest = strengths.find(|strength| strength.abs() > SIGNIFICANT_SDS * floor);
        shortest.map_or(0.0, |strength| strength.signum())
    }

    #[test]
    fn every_floor_has_the_sign_of_the_shortest_window_significant_for_it() {
        let sizes = [-0.4, -0.1, 0.0, 0.1, 0.2, 0.7];
        for index in 0..sizes.len().pow(4) {
            let strengths =
                std::array::from_fn(|window| sizes[index / 6_usize.pow(window as u32) % 6]);
            let windows = Evidence::new(strengths);
            let mut heat = HeatByFloor::default();
            heat.add(1.0, 1.0, &windows);
            for floor in [0.01, 0.05, 0.1, 0.2, 0.3] {
                let sign = sign_by_search(strengths, floor);
                assert_eq!(windows.sign(floor), sign, "{strengths:?} at {floor}");
                assert_eq!(at(&heat.steps, floor), sign, "{strengths:?} at {floor}");
                let unsigned = f64::from(u8::from(sign == 0.0));
                assert_eq!(
                    heat.unsigned_nms(floor),
                    unsigned,
                    "{strengths:?} at {floor}"
                );
            }
        }
    }

    #[test]
    fn a_closed_sum_is_the_same_heat() {
        let mut heat = HeatByFloor::default();
        for index in 0..40 {
            let size = 0.001 * 1.3_f64.powi(index);
            heat.add(size, 1.0, &Evidence::new([-size, 0.0, 2.0 * size, size]));
        }
        let closed = heat.closed();
        for index in 0..60 {
            let floor = 1e-5 * 1.3_f64.powi(index);
            assert_eq!(closed.heat_j(floor), heat.heat_j(floor), "{floor}");
        }
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
        // Out of reach it answers with the nearest floor kept.
        assert_eq!(near.signed_j(1.0), near.signed_j(0.061));
    }
}
