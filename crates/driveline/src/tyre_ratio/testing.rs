//! Synthetic drives for the tests: a road, wheels that roll on it, sensors.

use halfshaft_model::{Layout, Time, Toleranced, Vehicle};

use super::{Calibration, Rolling, TyreRatio};
use crate::basis::Basis;
use crate::random::Random;

pub const TRACK_M: f64 = 1.55;
pub const RADIUS_M: f64 = 0.32;

#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Road {
    Straight,
    /// Straights and bends to both sides.
    Mixed,
    /// The same to one side only: straights of 240 m, bends of 65 m mean radius.
    Oval,
    /// Bends alone.
    Winding,
}

/// A drive at varying speed; every field may be set.
#[derive(Clone, Copy, Debug)]
pub struct Drive {
    pub road: Road,
    pub seconds: f64,
    pub ratio_log: f64,
    pub noise_km_per_h: f64,
    pub step_km_per_h: f64,
    pub yaw_bias: f64,
    pub has_yaw: bool,
    pub has_front: bool,
    pub are_swapped: bool,
    pub are_identical: bool,
    /// Mismatch that preload ties.
    pub hidden: f64,
    /// Way and size of a sudden change of the ratio.
    pub puncture: (f64, f64),
    /// Change of the ratio over the first 10 km.
    pub warming: f64,
    pub seed: u64,
}

impl Drive {
    /// Noise and rounding as in the evidence: 0.05 km/h and 0.01 km/h; yaw bias 0.17 deg/s.
    pub fn new(road: Road, seconds: f64) -> Drive {
        Drive {
            road,
            seconds,
            ratio_log: 0.0,
            noise_km_per_h: 0.05,
            step_km_per_h: 0.01,
            yaw_bias: 0.17_f64.to_radians(),
            has_yaw: true,
            has_front: false,
            are_swapped: false,
            are_identical: false,
            hidden: 0.0,
            puncture: (f64::INFINITY, 0.0),
            warming: 0.0,
            seed: 0,
        }
    }

    fn curvature(&self, way: f64) -> f64 {
        match self.road {
            Road::Straight => 0.0,
            Road::Oval => {
                // Bends tighten and open: mean 1/65, tightest 1/41.
                let into = (way.rem_euclid(444.2) - 240.0) / 204.2;
                let shape = if into > 0.0 {
                    (into * std::f64::consts::PI).sin()
                } else {
                    0.0
                };
                shape * std::f64::consts::FRAC_PI_2 / 65.0
            }
            Road::Winding => (1.0 / 90.0) * (way / 60.0).sin() + 0.003 * (way / 410.0).cos(),
            Road::Mixed => {
                let index = (way / 250.0).floor();
                let hash = (index * 12.9898).sin() * 43_758.547;
                let draw = hash - hash.floor();
                let side = if (index as i64) % 4 < 2 { 1.0 } else { -1.0 };
                if index as i64 % 2 == 0 {
                    0.0
                } else {
                    side / (80.0 + 300.0 * draw)
                }
            }
        }
    }

    /// A sample with nothing special, at `speed` in a bend of `curvature`.
    pub fn rolling(&self, time: f64, speed: f64, curvature: f64) -> Rolling {
        let yaw = speed * curvature;
        let tied = {
            let asked = self.ratio_log + TRACK_M * curvature;
            asked - asked.clamp(-self.hidden, self.hidden)
        };
        let case = speed / RADIUS_M;
        let (left, right) = (case * (-0.5 * tied).exp(), case * (0.5 * tied).exp());
        let front = 0.5 * TRACK_M * yaw / RADIUS_M;
        Rolling {
            time: Time::from_seconds(time),
            left,
            right,
            difference_mean: right - left,
            kinematic: self
                .has_yaw
                .then_some(TRACK_M * (yaw + self.yaw_bias) / RADIUS_M),
            yaw_rate: self.has_yaw.then_some(yaw + self.yaw_bias),
            front: self.has_front.then_some((case - front, case + front)),
            command: Some(0.0),
            torque_nm: Some(70.0),
            is_braking: false,
            is_controlled: false,
            radius_m: RADIUS_M,
        }
    }

    /// Drives, and gives what was learned.
    pub fn run(&self) -> TyreRatio {
        self.run_with(|_, _| {})
    }

    /// The same with `change` applied to every sample; it is told the way, m.
    pub fn run_with(&self, change: impl Fn(f64, &mut Rolling)) -> TyreRatio {
        let mut ratio = TyreRatio::default();
        let mut random = Random::default();
        for _ in 0..self.seed {
            random.normal();
        }
        let interval_s = 0.02;
        let (mut way, mut wander) = (0.0_f64, 0.0);
        for index in 0..(self.seconds / interval_s) as u32 {
            let time = f64::from(index) * interval_s;
            let speed = 24.0 + 2.5 * (way / 120.0).sin() + 2.0 * (time / 47.0).sin();
            wander +=
                -wander * interval_s / 1.5 + (2.0 * interval_s / 1.5_f64).sqrt() * random.normal();
            let curvature = self.curvature(way) + 1.2e-4 * wander;
            let punctured = if way >= self.puncture.0 {
                self.puncture.1
            } else {
                0.0
            };
            let warming = self.warming * (way / 10_000.0).min(1.0);
            let now = Drive {
                ratio_log: self.ratio_log + punctured + warming,
                ..*self
            };
            let mut rolling = now.rolling(time, speed, curvature);
            let mut read = |wheel: f64| {
                let km_per_h = wheel * RADIUS_M * 3.6 + self.noise_km_per_h * random.normal();
                let stepped = if self.step_km_per_h > 0.0 {
                    (km_per_h / self.step_km_per_h).round() * self.step_km_per_h
                } else {
                    km_per_h
                };
                stepped / 3.6 / RADIUS_M
            };
            (rolling.left, rolling.right) = (read(rolling.left), read(rolling.right));
            rolling.front = rolling.front.map(|(left, right)| (read(left), read(right)));
            if self.are_swapped {
                (rolling.left, rolling.right) = (rolling.right, rolling.left);
                rolling.difference_mean = -rolling.difference_mean;
            }
            if self.are_identical {
                rolling.right = rolling.left;
                rolling.difference_mean = 0.0;
            }
            change(way, &mut rolling);
            ratio.add(&rolling, interval_s);
            way += speed * interval_s;
        }
        ratio
    }

    /// Drives, and gives the calibration.
    pub fn calibrate(&self) -> Calibration {
        self.run().calibration(&basis())
    }
}

/// The basis of the drives; preload 70 N·m could hide 0.27 %.
pub fn basis() -> Basis {
    let vehicle = Vehicle {
        track_rear_m: Some(Toleranced::exact(TRACK_M)),
        rolling_radius_m: Some(Toleranced::exact(RADIUS_M)),
        preload_nm: Some(Toleranced::exact(70.0)),
        layout: Some(Layout::CaseToOneSide),
        ..Vehicle::default()
    };
    Basis::new(&vehicle, &[])
}
