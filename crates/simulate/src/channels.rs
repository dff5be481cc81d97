//! The channels of the invented car and how often it sends them.
//!
//! In: rates. Out: what a checked map says of each channel, for tests that want no map.

use crate::controller::COMMAND_STEP;
use crate::frames;
use halfshaft_model::channel::name;
use halfshaft_model::{ChannelSpec, Meaning, Site};

/// The channels of the car, in the order of [`frames::read_back`]; those after the ambient
/// temperature are sent only when [`Rates::more_ms`] says so.
pub const CHANNELS: [&str; 22] = [
    name::WHEEL_REAR_LEFT,
    name::WHEEL_REAR_RIGHT,
    name::WHEEL_FRONT_LEFT,
    name::WHEEL_FRONT_RIGHT,
    name::CLUTCH_COMMAND,
    name::CLUTCH_POSITION,
    name::YAW_RATE,
    name::ACCELERATION_LATERAL,
    name::ACCELERATION_LONGITUDINAL,
    name::THROTTLE,
    name::BRAKE,
    name::BRAKE_PRESSURE,
    name::STEERING_ANGLE,
    name::SUPPLY_VOLTAGE,
    name::MOTOR_CURRENT,
    name::OIL_TEMPERATURE,
    name::HOUSING_TEMPERATURE,
    name::AMBIENT_TEMPERATURE,
    name::CLUTCH_TORQUE,
    name::ENGINE_SPEED,
    name::ENGINE_TORQUE,
    name::GEAR,
];

/// How many of [`CHANNELS`] every car sends.
const N_ALWAYS: usize = 18;

/// The channels a car with these rates sends.
pub fn channels_sent(rates: &Rates) -> &'static [&'static str] {
    if rates.more_ms.is_some() {
        &CHANNELS
    } else {
        &CHANNELS[..N_ALWAYS]
    }
}

/// How often the car sends each frame, ms; `None`: never.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Rates {
    /// Rear wheels.
    pub rear_ms: u32,
    /// Front wheels.
    pub front_ms: Option<u32>,
    /// Command; the controller works at this rate, too.
    pub command_ms: u32,
    /// Position.
    pub position_ms: Option<u32>,
    /// Yaw rate and accelerations.
    pub motion_ms: Option<u32>,
    /// Pedals.
    pub pedals_ms: u32,
    /// Steering wheel.
    pub steering_ms: u32,
    /// The unit's paged frame.
    pub unit_ms: u32,
    /// Traffic nobody mapped.
    pub others: bool,
    /// Engine, gear and the torque the car reports for the clutch.
    pub more_ms: Option<u32>,
}

impl Rates {
    /// A quick bus.
    pub const QUICK: Rates = Rates {
        rear_ms: 10,
        front_ms: Some(20),
        command_ms: 10,
        position_ms: Some(20),
        motion_ms: Some(20),
        pedals_ms: 20,
        steering_ms: 20,
        unit_ms: 50,
        others: true,
        more_ms: None,
    };
    /// A slower bus: what the Brindlecote 30 sends.
    pub const LEAN: Rates = Rates {
        rear_ms: 20,
        front_ms: Some(40),
        command_ms: 20,
        position_ms: Some(20),
        motion_ms: Some(40),
        pedals_ms: 40,
        steering_ms: 50,
        unit_ms: 100,
        others: true,
        more_ms: None,
    };
}

/// What a checked map of the car says of each channel, in the order of
/// [`channels_sent`]; `radius_m` is the rolling radius the map states.
pub fn channel_specs(rates: &Rates, radius_m: f64) -> Vec<ChannelSpec> {
    let period_s = |milliseconds: u32| Some(f64::from(milliseconds) * 1e-3);
    let specs = channels_sent(rates).iter().map(|&name| {
        let mut spec = ChannelSpec::new(name);
        match name {
            name::WHEEL_REAR_LEFT
            | name::WHEEL_REAR_RIGHT
            | name::WHEEL_FRONT_LEFT
            | name::WHEEL_FRONT_RIGHT => {
                spec.through_radius = true;
                spec.believable_from_m_per_s = Some(1.0 / 3.6);
                spec.period_s = if name.starts_with("wheel.rear") {
                    period_s(rates.rear_ms)
                } else {
                    rates.front_ms.and_then(period_s)
                };
                spec.step = Some(frames::WHEEL_STEP_KM_PER_H / 3.6 / radius_m);
            }
            name::CLUTCH_COMMAND => {
                spec.period_s = period_s(rates.command_ms);
                spec.step = Some(COMMAND_STEP);
                spec.full_scale = Some(1.0);
                spec.meaning = Some(Meaning::Percent);
            }
            name::CLUTCH_POSITION => {
                spec.period_s = rates.position_ms.and_then(period_s);
                spec.step = Some(frames::POSITION_STEP_DEG.to_radians());
                spec.full_scale = Some(frames::POSITION_FULL_DEG.to_radians());
                spec.meaning = Some(Meaning::Position);
            }
            name::YAW_RATE => {
                spec.period_s = rates.motion_ms.and_then(period_s);
                spec.step = Some(frames::YAW_STEP_DEG_PER_S.to_radians());
            }
            name::ACCELERATION_LATERAL | name::ACCELERATION_LONGITUDINAL => {
                spec.period_s = rates.motion_ms.and_then(period_s);
                spec.step = Some(0.01);
            }
            name::THROTTLE | name::BRAKE | name::BRAKE_PRESSURE => {
                spec.period_s = period_s(rates.pedals_ms);
                spec.step = Some(match name {
                    name::THROTTLE => 0.004,
                    name::BRAKE => 1.0,
                    _ => 0.02e5,
                });
            }
            name::STEERING_ANGLE => {
                spec.period_s = period_s(rates.steering_ms);
                spec.step = Some(0.1f64.to_radians());
            }
            name::SUPPLY_VOLTAGE | name::MOTOR_CURRENT => {
                spec.period_s = period_s(rates.unit_ms);
                spec.step = Some(if name == name::MOTOR_CURRENT {
                    0.01
                } else {
                    0.1
                });
            }
            name::OIL_TEMPERATURE | name::HOUSING_TEMPERATURE | name::AMBIENT_TEMPERATURE => {
                spec.period_s = Some(1.0);
                spec.step = Some(1.0);
                spec.site = match name {
                    name::OIL_TEMPERATURE => Some(Site::Oil),
                    name::HOUSING_TEMPERATURE => Some(Site::Housing),
                    _ => None,
                };
            }
            name::CLUTCH_TORQUE | name::ENGINE_SPEED | name::ENGINE_TORQUE | name::GEAR => {
                spec.period_s = rates.more_ms.and_then(period_s);
                match name {
                    name::CLUTCH_TORQUE => {
                        spec.step = Some(frames::TORQUE_STEP_NM);
                        spec.meaning = Some(Meaning::PackTorque);
                    }
                    name::ENGINE_SPEED => {
                        spec.step = Some(frames::ENGINE_STEP_RPM * std::f64::consts::TAU / 60.0);
                    }
                    name::ENGINE_TORQUE => spec.step = Some(frames::ENGINE_STEP_NM),
                    _ => spec.step = Some(1.0),
                }
            }
            _ => {}
        }
        spec
    });
    specs.collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_channel_is_a_role() {
        let all = Rates {
            more_ms: Some(20),
            ..Rates::QUICK
        };
        assert_eq!(channel_specs(&Rates::QUICK, 0.32).len(), N_ALWAYS);
        assert_eq!(channel_specs(&all, 0.32).len(), CHANNELS.len());
        for spec in channel_specs(&all, 0.32) {
            assert!(spec.role.is_some(), "{}", spec.name);
            assert!(spec.period_s.is_some(), "{}", spec.name);
        }
    }
}
