//! One stretch of 50 m, kept as sums from which every later question can be answered.
//!
//! In: samples. Out: distances, turning and loads of the stretch, and what, if anything,
//! made it unfit to learn tyres from. What can only be judged with the whole drive known
//! (bends, spinning wheels) is judged in `calibration`.

use crate::refusal::Under;
use halfshaft_model::Time;
use halfshaft_model::constants::M_PER_S_PER_KM_PER_H;

use super::Rolling;

/// Length of a window, m. Source: none, engineering guess.
pub const WINDOW_M: f64 = 50.0;

/// A window that has not come to its length after this time is slow, s.
const LONGEST_S: f64 = 30.0;

/// Least speed in a window, m/s: slower, tight turns dominate. Engineering guess.
const LEAST_SPEED: f64 = 30.0 * M_PER_S_PER_KM_PER_H;

/// Greatest speed in a window, m/s: above it tyres grow and drive slip is large.
/// Engineering guess.
const GREATEST_SPEED: f64 = 200.0 * M_PER_S_PER_KM_PER_H;

/// Highest command in a window: above it the pack ties the wheels and hides the mismatch.
pub const HIGHEST_COMMAND: f64 = 0.05;

/// Greatest change of speed across a window, m/s²: tyre slip under load is not mismatch.
const GREATEST_ACCELERATION: f64 = 1.0;

/// Length of road after the start in which tyres warm up, km. Engineering guess.
const WARM_UP_KM: f64 = 2.0;

/// A stretch of road.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Window {
    pub start: Time,
    pub start_km: f64,
    pub seconds: f64,
    pub left_m: f64,
    pub right_m: f64,
    /// What the bend explains as known then: for the running estimate only.
    pub kinematic_m: f64,
    /// ∫ yaw rate, the sensor's bias not removed, rad.
    pub heading: f64,
    pub yaw_s: f64,
    pub front_left_m: f64,
    pub front_right_m: f64,
    pub front_s: f64,
    pub command_s: f64,
    pub torque_nms: f64,
    pub torque_s: f64,
    /// Least and greatest difference beyond the bend's, raw, rad/s.
    pub excess: Option<(f64, f64)>,
    /// Least and greatest share of the difference that the bend makes, as known then.
    pub bend: Option<(f64, f64)>,
    first_speed: f64,
    last_speed: f64,
    slowest: f64,
    fastest: f64,
    highest_command: f64,
    is_braking: bool,
    is_controlled: bool,
}

impl Window {
    /// A window that begins at a sample.
    pub fn begin(rolling: &Rolling, start_km: f64) -> Window {
        let speed = 0.5 * (rolling.left + rolling.right) * rolling.radius_m;
        Window {
            start: rolling.time,
            start_km,
            first_speed: speed,
            slowest: speed,
            ..Window::default()
        }
    }

    /// Takes a sample that stands for `seconds`.
    pub fn add(&mut self, rolling: &Rolling, seconds: f64) {
        let length = rolling.radius_m * seconds;
        let speed = 0.5 * (rolling.left + rolling.right) * rolling.radius_m;
        self.seconds += seconds;
        self.left_m += rolling.left * length;
        self.right_m += rolling.right * length;
        self.kinematic_m += rolling.kinematic.unwrap_or(0.0) * length;
        if let Some(yaw) = rolling.yaw_rate {
            self.heading += yaw * seconds;
            self.yaw_s += seconds;
        }
        if let Some((left, right)) = rolling.front {
            self.front_left_m += left * length;
            self.front_right_m += right * length;
            self.front_s += seconds;
        }
        if let Some(command) = rolling.command {
            self.command_s += command * seconds;
            self.highest_command = self.highest_command.max(command);
        }
        if let Some(torque) = rolling.torque_nm {
            self.torque_nms += torque * seconds;
            self.torque_s += seconds;
        }
        if let Some(kinematic) = rolling.kinematic {
            self.excess = Some(widened(self.excess, rolling.difference_mean - kinematic));
            let case = 0.5 * (rolling.left + rolling.right).max(1.0);
            self.bend = Some(widened(self.bend, kinematic / case));
        }
        self.last_speed = speed;
        self.slowest = self.slowest.min(speed);
        self.fastest = self.fastest.max(speed);
        self.is_braking |= rolling.is_braking;
        self.is_controlled |= rolling.is_controlled;
    }

    /// Mean of both wheels' way, m.
    pub fn distance_m(&self) -> f64 {
        0.5 * (self.left_m + self.right_m)
    }

    /// Long enough, or too slow ever to be.
    pub fn is_full(&self) -> bool {
        self.distance_m() >= WINDOW_M || self.seconds >= LONGEST_S
    }

    /// ln(dR/dL).
    pub fn ratio_log(&self) -> f64 {
        (self.right_m / self.left_m).ln()
    }

    /// ln of the ways of the front wheels, right over left.
    pub fn front_ratio_log(&self) -> f64 {
        (self.front_right_m / self.front_left_m).ln()
    }

    /// Speed of the case, rad/s, for a rolling radius.
    pub fn case_speed(&self, radius_m: f64) -> f64 {
        self.distance_m() / (radius_m * self.seconds)
    }

    /// The yaw rate is known throughout.
    pub fn has_yaw(&self) -> bool {
        self.yaw_s >= 0.999 * self.seconds
    }

    /// The front wheels are known throughout.
    pub fn has_front(&self) -> bool {
        self.front_s >= 0.999 * self.seconds && self.front_left_m > 0.0 && self.front_right_m > 0.0
    }

    /// Mean torque of one pack, N·m.
    pub fn torque_nm(&self) -> Option<f64> {
        (self.torque_s > 0.0).then(|| self.torque_nms / self.torque_s)
    }

    /// What makes it unfit by itself: the first reason in the order of [`Under::ALL`].
    pub fn under(&self) -> Option<Under> {
        let acceleration = (self.last_speed - self.first_speed) / self.seconds.max(1e-3);
        [
            (
                self.slowest < LEAST_SPEED || self.left_m.min(self.right_m) <= 0.0,
                Under::Slow,
            ),
            (self.fastest > GREATEST_SPEED, Under::Fast),
            (self.is_braking, Under::Braking),
            (self.is_controlled, Under::Controlled),
            (
                acceleration.abs() > GREATEST_ACCELERATION,
                Under::Accelerating,
            ),
            (self.highest_command > HIGHEST_COMMAND, Under::Commanded),
        ]
        .into_iter()
        .find_map(|(is_so, under)| is_so.then_some(under))
    }

    /// Whether the tyres may still have been warming up.
    pub fn is_warm_up(&self) -> bool {
        self.start_km < WARM_UP_KM
    }

    /// Adds the window that follows this one.
    pub fn merge(&mut self, next: &Window) {
        self.seconds += next.seconds;
        self.left_m += next.left_m;
        self.right_m += next.right_m;
        self.kinematic_m += next.kinematic_m;
        self.heading += next.heading;
        self.yaw_s += next.yaw_s;
        self.front_left_m += next.front_left_m;
        self.front_right_m += next.front_right_m;
        self.front_s += next.front_s;
        self.command_s += next.command_s;
        self.torque_nms += next.torque_nms;
        self.torque_s += next.torque_s;
        self.excess = joined(self.excess, next.excess);
        self.bend = joined(self.bend, next.bend);
        self.last_speed = next.last_speed;
        self.slowest = self.slowest.min(next.slowest);
        self.fastest = self.fastest.max(next.fastest);
        self.highest_command = self.highest_command.max(next.highest_command);
        self.is_braking |= next.is_braking;
        self.is_controlled |= next.is_controlled;
    }
}

fn widened(range: Option<(f64, f64)>, value: f64) -> (f64, f64) {
    range.map_or((value, value), |(low, high)| {
        (low.min(value), high.max(value))
    })
}

fn joined(one: Option<(f64, f64)>, two: Option<(f64, f64)>) -> Option<(f64, f64)> {
    match (one, two) {
        (Some(one), Some(two)) => Some((one.0.min(two.0), one.1.max(two.1))),
        (one, two) => one.or(two),
    }
}

#[cfg(test)]
mod tests {
    use super::super::testing::{Drive, Road};
    use super::*;

    fn rolling(speed: f64) -> Rolling {
        Drive::new(Road::Straight, 1.0).rolling(0.0, speed, 0.0)
    }

    #[track_caller]
    fn check(change: impl Fn(&mut Rolling), wanted: Option<Under>) {
        let mut window = Window::begin(&rolling(20.0), 0.0);
        for _ in 0..250 {
            let mut sample = rolling(20.0);
            change(&mut sample);
            window.add(&sample, 0.01);
        }
        assert!(window.is_full());
        assert_eq!(window.under(), wanted);
    }

    #[test]
    fn each_reason_is_seen() {
        check(|_| {}, None);
        check(|sample| sample.is_braking = true, Some(Under::Braking));
        check(
            |sample| sample.is_controlled = true,
            Some(Under::Controlled),
        );
        check(|sample| sample.command = Some(0.06), Some(Under::Commanded));
        let at = |sample: &mut Rolling, speed: f64| {
            (sample.left, sample.right) = (speed / 0.32, speed / 0.32);
        };
        check(|sample| at(sample, 60.0), Some(Under::Fast));
        check(|sample| at(sample, 24.0), Some(Under::Accelerating));
        let mut slow = Window::begin(&rolling(8.0), 0.0);
        slow.add(&rolling(8.0), 7.0);
        assert_eq!(slow.under(), Some(Under::Slow));
    }

    #[test]
    fn merged_windows_keep_their_sums() {
        let mut one = Window::begin(&rolling(20.0), 3.0);
        one.add(&rolling(20.0), 2.5);
        let mut two = Window::begin(&rolling(25.0), 3.05);
        two.add(&rolling(25.0), 2.0);
        let whole = one.left_m + two.left_m;
        one.merge(&two);
        assert_eq!((one.left_m, one.seconds, one.start_km), (whole, 4.5, 3.0));
    }
}
