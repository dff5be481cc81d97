//! The channels of the invented car and how often it sends them.
//!
//! In: rates. Out: what a checked map says of each channel, for tests that want no map.

use crate::controller::COMMAND_STEP;
use crate::frames;
use halfshaft_model::{ChannelSpec, Meaning, Site};

/// The channels of the car, in the order of [`frames::read_back`]; those after the ambient
/// temperature are sent only when [`Rates::more_ms`] says so.
pub const CHANNELS: [&str; 22] = [
    "wheel.rear.left",
    "wheel.rear.right",
    "wheel.front.left",
    "wheel.front.right",
    "clutch.command",
    "clutch.position",
    "yaw.rate",
    "acceleration.lateral",
    "acceleration.longitudinal",
    "throttle",
    "brake",
    "brake.pressure",
    "steering.angle",
    "supply.voltage",
    "motor.current",
    "oil.temperature",
    "housing.temperature",
    "ambient.temperature",
    "clutch.torque",
    "engine.speed",
    "engine.torque",
    "gear",
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
            "wheel.rear.left" | "wheel.rear.right" | "wheel.front.left" | "wheel.front.right" => {
                spec.through_radius = true;
                spec.believable_from_m_per_s = Some(1.0 / 3.6);
                spec.period_s = if name.starts_with("wheel.rear") {
                    period_s(rates.rear_ms)
                } else {
                    rates.front_ms.and_then(period_s)
                };
                spec.step = Some(frames::WHEEL_STEP_KM_PER_H / 3.6 / radius_m);
            }
            "clutch.command" => {
                spec.period_s = period_s(rates.command_ms);
                spec.step = Some(COMMAND_STEP);
                spec.full_scale = Some(1.0);
                spec.meaning = Some(Meaning::Percent);
            }
            "clutch.position" => {
                spec.period_s = rates.position_ms.and_then(period_s);
                spec.step = Some(frames::POSITION_STEP_DEG.to_radians());
                spec.full_scale = Some(frames::POSITION_FULL_DEG.to_radians());
                spec.meaning = Some(Meaning::Position);
            }
            "yaw.rate" => {
                spec.period_s = rates.motion_ms.and_then(period_s);
                spec.step = Some(frames::YAW_STEP_DEG_PER_S.to_radians());
            }
            "acceleration.lateral" | "acceleration.longitudinal" => {
                spec.period_s = rates.motion_ms.and_then(period_s);
                spec.step = Some(0.01);
            }
            "throttle" | "brake" | "brake.pressure" => {
                spec.period_s = period_s(rates.pedals_ms);
                spec.step = Some(match name {
                    "throttle" => 0.004,
                    "brake" => 1.0,
                    _ => 0.02e5,
                });
            }
            "steering.angle" => {
                spec.period_s = period_s(rates.steering_ms);
                spec.step = Some(0.1f64.to_radians());
            }
            "supply.voltage" | "motor.current" => {
                spec.period_s = period_s(rates.unit_ms);
                spec.step = Some(if name == "motor.current" { 0.01 } else { 0.1 });
            }
            "oil.temperature" | "housing.temperature" | "ambient.temperature" => {
                spec.period_s = Some(1.0);
                spec.step = Some(1.0);
                spec.site = match name {
                    "oil.temperature" => Some(Site::Oil),
                    "housing.temperature" => Some(Site::Housing),
                    _ => None,
                };
            }
            "clutch.torque" | "engine.speed" | "engine.torque" | "gear" => {
                spec.period_s = rates.more_ms.and_then(period_s);
                match name {
                    "clutch.torque" => {
                        spec.step = Some(frames::TORQUE_STEP_NM);
                        spec.meaning = Some(Meaning::PackTorque);
                    }
                    "engine.speed" => {
                        spec.step = Some(frames::ENGINE_STEP_RPM * std::f64::consts::TAU / 60.0);
                    }
                    "engine.torque" => spec.step = Some(frames::ENGINE_STEP_NM),
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
