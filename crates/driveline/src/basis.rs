//! What the map and its channels allow to be derived, and why not what they do not.
//!
//! In: the vehicle and the channels. Out: the factors the derivation runs on, or for
//! each thing that cannot be derived the reason. Decided once, before the
//! first sample.

use halfshaft_model::channel::name;
use halfshaft_model::{ChannelSpec, Layout, TorqueSource, Vehicle};

use crate::derive::quantisation::slip_step;
use crate::refusal::Refusal;

/// Rolling radius used only to turn the least believable road speed into a wheel speed
/// when the map states none, m. Source: none, a common passenger-car size.
const USUAL_RADIUS_M: f64 = 0.32;

/// Longitudinal stiffness of one tyre when the map states none, N per unit slip.
/// Source: from memory, an editable default of the map.
pub const USUAL_TYRE_STIFFNESS_N: f64 = 80e3;

/// What the derivation rests on.
#[derive(Clone, Debug, PartialEq)]
pub struct Basis {
    /// Pack slip per axle speed difference, and per case speed; or why slip is not known.
    pub slip: Result<(f64, f64), Refusal>,
    /// Whether heat can be summed; or why it is refused.
    pub heat: Result<(), Refusal>,
    /// Packs that make heat.
    pub n_packs: f64,
    /// Axle bias per torque of one pack.
    pub bias_factor: f64,
    /// Torque of one pack with no command, N·m.
    pub preload_nm: f64,
    /// The same by the map's preload or, where it states none, by its table of torque at rest,
    /// N·m; `None` where neither says.
    pub resting_nm: Option<f64>,
    /// Rear track, m.
    pub track_rear_m: Option<f64>,
    /// Front track, m; the rear one where the map states none.
    pub track_front_m: Option<f64>,
    /// Rolling radius, m.
    pub radius_m: Option<f64>,
    /// Wheel speed below which differences are not believed, rad/s.
    pub turning_from: f64,
    /// Slip of one step of the wheel-speed number, rad/s; 0 when the map states none.
    pub slip_step: f64,
    /// Longitudinal stiffness of one tyre, N per unit slip.
    pub tyre_stiffness_n: f64,
    /// The map states it.
    pub is_stiffness_stated: bool,
    /// The torque is the preload alone: no torque channel gives the rest.
    pub is_preload_only: bool,
    /// Every assumption made here, a sentence each.
    pub assumptions: Vec<String>,
}

impl Basis {
    /// Share of the rolling speed that a torque of one pack takes from between the wheels, T·k/(Cx·r);
    /// `None` without a rolling radius. Source: linear longitudinal slip stiffness, Pacejka, *Tyre and
    /// Vehicle Dynamics*, from memory.
    pub fn tied_share(&self, torque_nm: f64) -> Option<f64> {
        let radius_m = self.radius_m?;
        Some(self.bias_factor * torque_nm / (self.tyre_stiffness_n * radius_m))
    }

    /// The basis of a vehicle and its channels.
    pub fn new(vehicle: &Vehicle, channels: &[ChannelSpec]) -> Basis {
        let mut assumptions = Vec::new();
        let find = |name: &str| channels.iter().find(|channel| channel.name == name);
        let wheels = [find(name::WHEEL_REAR_LEFT), find(name::WHEEL_REAR_RIGHT)];
        let slip = match vehicle.layout {
            None => Err(Refusal::NoLayout),
            Some(Layout::Geared {
                per_difference: Some(difference),
                per_case: Some(case),
                ..
            }) => Ok((difference, case)),
            Some(Layout::Geared { .. }) => Err(Refusal::NoGearFactors),
            Some(plain) => Ok((plain.slip_factor().unwrap_or(0.5), 0.0)),
        };
        let is_preload_only = vehicle
            .torque_sources
            .iter()
            .all(|source| find(source.channel()).is_none());
        let heat = refusal(vehicle, &slip, &wheels, is_preload_only).map_or(Ok(()), Err);
        let radius_m = vehicle.rolling_radius_m.map(|radius| radius.value);
        let believed_from = wheels
            .iter()
            .flatten()
            .map(|wheel| wheel.believable_from_m_per_s.unwrap_or(5.0 / 3.6))
            .fold(0.0, f64::max);
        let step = wheels
            .iter()
            .flatten()
            .filter_map(|wheel| wheel.step)
            .fold(0.0, f64::max);
        if vehicle.track_front_m.is_none()
            && vehicle.track_rear_m.is_some()
            && find(name::WHEEL_FRONT_LEFT).is_some()
        {
            assumptions.push(
                "The map does not state the front track: the rear track is used for it.".to_owned(),
            );
        }
        if vehicle.tyre_stiffness_n.is_none() {
            assumptions.push(
                "Longitudinal stiffness of a tyre taken as 80 kN per unit slip (from memory)."
                    .to_owned(),
            );
        }
        let slip_factor = slip.as_ref().map_or(0.5, |factors| factors.0);
        Basis {
            n_packs: vehicle.layout.map_or(1.0, Layout::n_packs),
            bias_factor: vehicle.layout.and_then(Layout::bias_factor).unwrap_or(1.0),
            preload_nm: vehicle.preload_nm.map_or(0.0, |preload| preload.value),
            resting_nm: resting_nm(vehicle, channels),
            track_rear_m: vehicle.track_rear_m.map(|track| track.value),
            track_front_m: vehicle
                .track_front_m
                .or(vehicle.track_rear_m)
                .map(|track| track.value),
            radius_m,
            turning_from: believed_from / radius_m.unwrap_or(USUAL_RADIUS_M),
            // The step is already an angular one; a radius of 1 m leaves it as it is.
            slip_step: slip_step(step, 1.0, slip_factor),
            tyre_stiffness_n: vehicle.tyre_stiffness_n.unwrap_or(USUAL_TYRE_STIFFNESS_N),
            is_stiffness_stated: vehicle.tyre_stiffness_n.is_some(),
            is_preload_only,
            slip,
            heat,
            assumptions,
        }
    }
}

/// Torque of one pack at rest.
fn resting_nm(vehicle: &Vehicle, channels: &[ChannelSpec]) -> Option<f64> {
    if let Some(preload) = vehicle.preload_nm {
        return Some(preload.value);
    }
    let bias_factor = vehicle.layout.and_then(Layout::bias_factor);
    vehicle
        .torque_sources
        .iter()
        .find_map(|source| match source {
            TorqueSource::Table {
                channel,
                second: None,
                table,
                is_axle_bias,
                ..
            } if channels.iter().any(|spec| spec.name == *channel) => {
                let (least, most) = table.x_range();
                let torque_nm = table.at(0.0_f64.clamp(least, most), None)?;
                Some(torque_nm / if *is_axle_bias { bias_factor? } else { 1.0 })
            }
            _ => None,
        })
}

fn refusal(
    vehicle: &Vehicle,
    slip: &Result<(f64, f64), Refusal>,
    wheels: &[Option<&ChannelSpec>; 2],
    is_preload_only: bool,
) -> Option<Refusal> {
    if let Err(reason) = slip {
        return Some(reason.clone());
    }
    if wheels.iter().flatten().any(|wheel| wheel.tyre_corrected) {
        // The slip that mismatched tyres make cannot be seen in them.
        return Some(Refusal::TyreCorrected);
    }
    if is_preload_only {
        if vehicle
            .preload_nm
            .is_some_and(|preload| preload.value > 0.0)
        {
            return None;
        }
        return Some(Refusal::NoTorque);
    }
    let gives_bias = vehicle.torque_sources.iter().any(|source| match source {
        TorqueSource::Table { is_axle_bias, .. } | TorqueSource::Reported { is_axle_bias, .. } => {
            *is_axle_bias
        }
        TorqueSource::Clamp { .. } => false,
    });
    if gives_bias && vehicle.layout.and_then(Layout::bias_factor).is_none() {
        return Some(Refusal::NoBiasFactor);
    }
    let has_clamp = vehicle
        .torque_sources
        .iter()
        .any(|source| matches!(source, TorqueSource::Clamp { .. }));
    if has_clamp && vehicle.pack.is_none_or(|pack| pack.friction.is_none()) {
        return Some(Refusal::NoClampGeometry);
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;
    use halfshaft_model::Toleranced;

    fn wheels(tyre_corrected: bool) -> Vec<ChannelSpec> {
        ["wheel.rear.left", "wheel.rear.right"]
            .iter()
            .map(|name| ChannelSpec {
                tyre_corrected,
                ..ChannelSpec::new(name)
            })
            .collect()
    }

    fn one_side() -> Vehicle {
        Vehicle {
            layout: Some(Layout::CaseToOneSide),
            ..Vehicle::default()
        }
    }

    #[test]
    fn heat_on_tyre_corrected_speeds_is_refused() {
        let vehicle = Vehicle {
            preload_nm: Some(Toleranced::exact(100.0)),
            ..one_side()
        };
        assert_eq!(Basis::new(&vehicle, &wheels(false)).heat, Ok(()));
        let corrected = Basis::new(&vehicle, &wheels(true));
        assert_eq!(corrected.heat, Err(Refusal::TyreCorrected));
    }

    #[test]
    fn heat_without_torque_or_without_gear_factors_is_refused() {
        let heat = |vehicle: &Vehicle| Basis::new(vehicle, &wheels(false)).heat;
        assert_eq!(heat(&Vehicle::default()), Err(Refusal::NoLayout));
        assert_eq!(heat(&one_side()), Err(Refusal::NoTorque));
        let layout = Layout::Geared {
            per_difference: Some(2.0),
            per_case: None,
            bias_factor: None,
        };
        let vehicle = Vehicle {
            layout: Some(layout),
            ..Vehicle::default()
        };
        assert_eq!(heat(&vehicle), Err(Refusal::NoGearFactors));
    }
}
