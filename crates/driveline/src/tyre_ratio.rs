//! Learns, as the drive goes on, how much faster one rear tyre rolls than the other.
//!
//! In: wheel speeds, yaw, command and brake. Out: ε = ln(ωR/ωL) running straight, from
//! the windows seen so far. It serves the road-referred difference only, never heat.
//! Windows are of distance; each gives ln(dR/dL) less what its bend explains, and the
//! estimate is the middle of the shortest interval that holds a third of them: bends
//! not explained for want of a yaw rate fall outside, even on a one-way oval, where a
//! mean or a median would not.

use halfshaft_model::constants::M_PER_S_PER_KM_PER_H;

/// Length of a window, m. Source: none, engineering guess.
const WINDOW_M: f64 = 50.0;

/// Least speed in a window, m/s: slower, tight turns dominate. Engineering guess.
const LEAST_SPEED: f64 = 30.0 * M_PER_S_PER_KM_PER_H;

/// Highest command in a window: above it the pack ties the wheels and hides the mismatch.
const HIGHEST_COMMAND: f64 = 0.05;

/// Greatest change of speed across a window, m/s²: tyre slip under load is not mismatch.
const GREATEST_ACCELERATION: f64 = 1.0;

/// Windows needed before an estimate is given.
const LEAST_WINDOWS: u32 = 20;

/// Estimates are kept in slots of this width, up to ±8 %: a space-saver spare fits.
const SLOT: f64 = 1e-4;
const N_SLOTS: usize = 1600;

/// What a window needs of a sample.
#[derive(Clone, Copy, Debug)]
pub struct Rolling {
    /// Rear wheels, rad/s.
    pub left: f64,
    /// Rear wheels, rad/s.
    pub right: f64,
    /// Kinematic difference of the bend, rad/s, where it is known.
    pub kinematic: Option<f64>,
    /// Engagement command.
    pub command: Option<f64>,
    /// Brake applied.
    pub is_braking: bool,
    /// Rolling radius, m.
    pub radius_m: f64,
}

#[derive(Clone, Copy, Debug, Default)]
struct Window {
    left_m: f64,
    right_m: f64,
    kinematic_m: f64,
    seconds: f64,
    first_speed: f64,
    is_spoiled: bool,
}

/// The estimate so far.
#[derive(Clone, Debug)]
pub struct TyreRatio {
    window: Window,
    slots: Vec<u32>,
    n: u32,
    estimate: Option<f64>,
}

impl Default for TyreRatio {
    fn default() -> TyreRatio {
        TyreRatio {
            window: Window::default(),
            slots: vec![0; N_SLOTS],
            n: 0,
            estimate: None,
        }
    }
}

impl TyreRatio {
    /// Takes a sample that stands for `seconds`.
    pub fn note(&mut self, rolling: &Rolling, seconds: f64) {
        let speed = 0.5 * (rolling.left + rolling.right) * rolling.radius_m;
        let window = &mut self.window;
        if window.seconds == 0.0 {
            window.first_speed = speed;
        }
        window.left_m += rolling.left * rolling.radius_m * seconds;
        window.right_m += rolling.right * rolling.radius_m * seconds;
        window.kinematic_m += rolling.kinematic.unwrap_or(0.0) * rolling.radius_m * seconds;
        window.seconds += seconds;
        window.is_spoiled |= speed < LEAST_SPEED
            || rolling.is_braking
            || rolling
                .command
                .is_some_and(|command| command > HIGHEST_COMMAND);
        let distance = 0.5 * (window.left_m + window.right_m);
        if distance < WINDOW_M && window.seconds < 30.0 {
            return;
        }
        let acceleration = (speed - window.first_speed) / window.seconds.max(1e-3);
        if !window.is_spoiled && acceleration.abs() <= GREATEST_ACCELERATION && window.left_m > 0.0
        {
            let ratio = (window.right_m / window.left_m).ln() - window.kinematic_m / distance;
            self.count(ratio);
        }
        self.window = Window::default();
    }

    /// A gap: the window begins anew.
    pub fn interrupt(&mut self) {
        self.window = Window::default();
    }

    fn count(&mut self, ratio: f64) {
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
    use super::*;

    fn drive(ratio_log: f64, yaw_known: bool, bend_share: f64) -> Option<f64> {
        let mut ratio = TyreRatio::default();
        for index in 0..60_000 {
            let time = f64::from(index) * 0.01;
            let kinematic = if time.rem_euclid(20.0) < 20.0 * bend_share {
                3.0
            } else {
                0.0
            };
            let (left, right) = (
                60.0 - 0.5 * kinematic,
                (60.0 + 0.5 * kinematic) * ratio_log.exp(),
            );
            let rolling = Rolling {
                left,
                right,
                kinematic: yaw_known.then_some(kinematic),
                command: Some(0.0),
                is_braking: false,
                radius_m: 0.32,
            };
            ratio.note(&rolling, 0.01);
        }
        ratio.ratio_log()
    }

    #[test]
    fn one_way_bends_do_not_fool_it() {
        for (yaw_known, bend_share) in [(true, 0.5), (false, 0.4)] {
            let found = drive(0.006, yaw_known, bend_share).unwrap();
            assert!((found - 0.006).abs() < 2e-4, "{found}");
        }
    }

    #[test]
    fn says_nothing_before_enough_road() {
        assert_eq!(TyreRatio::default().ratio_log(), None);
    }
}
