//! Heat as a function of the noise floor, so that it can be settled at the end.
//!
//! In: for each sample its heat under the sign of each window, and how large a floor that
//! window's mean stands above. Out: the heat for whatever floor the whole drive turns
//! out to have. The floor is known only when the drive is over, the log is read once and
//! memory is bounded: so the sum is kept as a step function of the floor in slots.

/// Slots; slot `i` is for floors from `SMALLEST * STEP^i`, in rad/s for one sample.
const N_SLOTS: usize = 96;
const SMALLEST: f64 = 1e-4;
const STEP: f64 = 1.12;

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
            let slot = slot(window.strength / SIGNIFICANT_SDS);
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

fn slot(floor: f64) -> usize {
    if floor < SMALLEST {
        return 0;
    }
    (((floor / SMALLEST).ln() / STEP.ln()) as usize + 1).min(N_SLOTS)
}

/// The step function at a floor, linear within its slot so that it does not jump.
fn at(steps: &[f64; N_SLOTS + 1], floor: f64) -> f64 {
    let position = if floor < SMALLEST {
        0.0
    } else {
        ((floor / SMALLEST).ln() / STEP.ln() + 1.0).min(N_SLOTS as f64)
    };
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
        std::array::from_fn(|index| Evidence {
            strength: strengths[index],
            sign: signs[index],
        })
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
}
