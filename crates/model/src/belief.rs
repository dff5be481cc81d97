//! What physics allows of each quantity, without a line in the map.
//!
//! In: a channel. Out: the range its values lie in, and how far a single sample may stand out from
//! those before and after it. A bad bit, a code at key-on, a loose plug make numbers no car can;
//! what a car does do, wheelspin, lock-up and kerbs among it, must pass.
//!
//! Source of every number here: none, engineering guess, wide on purpose. A range that is too
//! narrow loses true samples, one that is too wide leaves a bad sample to the neighbours' test.

use crate::channel::ChannelSpec;
use crate::unit::Dimension;

/// Longest time between samples at which one sample that stands out is told from a short event of
/// the car, s. Beyond it only the range is judged, and a wheel's impossible steps.
const CLOSE_S: f64 = 0.025;

/// Speed of a wheel, rad/s: -80 to 400 km/h and more on any tyre.
const WHEEL: (f64, f64) = (-80.0, 400.0);

/// Radius by which a speed in m/s is compared with one of a wheel, m. Half or twice of it would do.
pub const USUAL_RADIUS_M: f64 = 0.32;

/// A wheel sample may always stand out by this, rad/s: seven standard deviations of three samples
/// with 0.2 km/h of noise each. What a wheel did just before widens it.
const WHEEL_LEAST: f64 = 1.5;

/// Fastest change of a wheel's acceleration, rad/s³, where samples are not close: 1,000 rad/s² of
/// brake or kerb in some 50 ms. Torque builds up no faster in tyre, shafts and brake.
const WHEEL_JERK: f64 = 20_000.0;

/// Fastest change of a wheel's speed, rad/s²: 1,300 N·m of tyre or brake on 1.3 kg·m². The jerk
/// would allow more from 50 ms between samples on.
const WHEEL_RATE: f64 = 1_000.0;

/// A road speed may stand out by this, m/s, or by a crash's 10 g.
const ROAD: (f64, f64) = (1.0, 100.0);

/// A yaw rate may stand out by this, rad/s, or by so much a second.
const YAW: (f64, f64) = (0.3, 30.0);

/// What the mechanism reports may stand out by this share of full: the fastest needs some 50 ms for
/// all of its way.
const STATE_SHARE: f64 = 0.08;

/// A dimensionless number, and any other without a range here: no signal of a car is as large.
const GIANT: f64 = 1e9;

/// How far one sample may stand out from both neighbours, by the time between two.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum StandsOut {
    /// By any amount: not judged.
    Freely,
    /// By what a wheel can do.
    Wheel {
        /// Of the unit of the samples, per rad/s.
        scale: f64,
    },
    /// By the first, or by the second a second where that is more.
    Rate(f64, f64),
    /// By this, where samples are close; by anything else.
    Level(f64),
}

/// What is believed of a channel.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Belief {
    /// Lowest and highest value, SI.
    pub range: (f64, f64),
    /// How far a sample may stand out.
    pub stands_out: StandsOut,
}

impl Belief {
    /// Of a channel that the program computes with; `None` for one that is only carried along.
    pub fn of(spec: &ChannelSpec) -> Option<Belief> {
        let role = spec.role?;
        let is_wheel = role.name.starts_with("wheel.");
        let range = match spec.dimension {
            Dimension::ANGULAR_SPEED if is_wheel => WHEEL,
            // 350 deg/s; a car that spins on ice turns at 250.
            Dimension::ANGULAR_SPEED if role.name == "yaw.rate" => (-6.0, 6.0),
            // 28,000 rpm.
            Dimension::ANGULAR_SPEED => (-300.0, 3_000.0),
            Dimension::SPEED => (-25.0, 125.0),
            Dimension::ACCELERATION => (-200.0, 200.0),
            Dimension::TEMPERATURE => (-60.0, 300.0),
            Dimension::TORQUE => (-20_000.0, 20_000.0),
            Dimension::FORCE => (-1e6, 1e6),
            Dimension::PRESSURE => (-1e6, 1e9),
            Dimension::CURRENT => (-2_000.0, 2_000.0),
            Dimension::VOLTAGE => (-1_500.0, 1_500.0),
            _ => (-GIANT, GIANT),
        };
        let stands_out = match role.name {
            _ if is_wheel && spec.dimension == Dimension::SPEED => StandsOut::Wheel {
                scale: USUAL_RADIUS_M,
            },
            _ if is_wheel => StandsOut::Wheel { scale: 1.0 },
            "speed.vehicle" => StandsOut::Rate(ROAD.0, ROAD.1),
            "yaw.rate" => StandsOut::Rate(YAW.0, YAW.1),
            "clutch.position" | "clutch.pressure" | "clutch.force" | "clutch.torque" => {
                spec.full_scale.map_or(StandsOut::Freely, |full| {
                    StandsOut::Level(STATE_SHARE * full.abs())
                })
            }
            _ => StandsOut::Freely,
        };
        Some(Belief { range, stands_out })
    }
}

impl StandsOut {
    /// By how much a hit of a kerb makes one sample stand out, if those behind it swing on.
    pub fn most_of_a_kerb(self, period_s: f64) -> f64 {
        match self {
            StandsOut::Wheel { scale } => scale * WHEEL_RATE * period_s,
            _ => 0.0,
        }
    }

    /// By how much a sample may stand out from neighbours that are `period_s` away.
    pub fn most(self, period_s: f64) -> f64 {
        match self {
            StandsOut::Freely => f64::INFINITY,
            StandsOut::Wheel { scale } if period_s <= CLOSE_S => scale * WHEEL_LEAST,
            StandsOut::Wheel { scale } => {
                let by_time = (WHEEL_JERK * period_s * period_s).min(WHEEL_RATE * period_s);
                scale * by_time.max(WHEEL_LEAST)
            }
            StandsOut::Rate(least, per_s) => least.max(per_s * period_s),
            StandsOut::Level(most) if period_s <= CLOSE_S => most,
            StandsOut::Level(_) => f64::INFINITY,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::channel::ROLES;

    #[test]
    fn every_role_has_a_range_with_the_usual_values_in_it() {
        for role in ROLES {
            let belief = Belief::of(&ChannelSpec::new(role.name)).unwrap();
            let (low, high) = belief.range;
            assert!(low < 0.0 && high > 2.0, "{}", role.name);
            assert!(high <= GIANT, "{}", role.name);
        }
        assert_eq!(Belief::of(&ChannelSpec::new("own.thing")), None);
        // 400 km/h on 0.3 m; 150 °C; 655.35 km/h is a code.
        let range = |name: &str| Belief::of(&ChannelSpec::new(name)).unwrap().range;
        assert!(range("wheel.rear.left").1 > 400.0 / 3.6 / 0.3);
        assert!(range("wheel.rear.left").1 < 655.35 / 3.6 / 0.32);
        assert_eq!(range("oil.temperature"), (-60.0, 300.0));
    }

    #[test]
    fn a_wheel_may_stand_out_the_more_the_longer_its_samples_are_apart() {
        let wheel = Belief::of(&ChannelSpec::new("wheel.rear.left")).unwrap();
        // 20,000·0.04² = 32; 1,000·0.1 = 100, less than 20,000·0.1² = 200.
        for (period_s, most) in [(0.005, 1.5), (0.02, 1.5), (0.04, 32.0), (0.1, 100.0)] {
            assert!(
                (wheel.stands_out.most(period_s) - most).abs() < 1e-9,
                "{period_s}"
            );
        }
    }
}
