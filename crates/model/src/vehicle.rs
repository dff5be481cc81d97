//! The vehicle as its map states it: geometry, clutch pack, torque, limits.
//!
//! Numbers of one vehicle stand here and nowhere else. What is not stated is `None`, and
//! what needs it is then refused with that reason.

use crate::table::Table;

/// A value with its tolerance.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Toleranced {
    /// The value, SI.
    pub value: f64,
    /// One standard deviation, SI; 0 when the map states the value as exact.
    pub sd: f64,
}

impl Toleranced {
    /// A value without tolerance.
    pub const fn exact(value: f64) -> Toleranced {
        Toleranced { value, sd: 0.0 }
    }

    /// The tolerance as a share of the value; 0 for a value of 0.
    pub fn relative_sd(self) -> f64 {
        if self.value == 0.0 {
            0.0
        } else {
            (self.sd / self.value).abs()
        }
    }
}

/// Between which shafts the clutch pack sits. It decides how much of the axle speed
/// difference is slip at the pack and how much axle bias a pack torque makes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Layout {
    /// Between the case and one side gear (the common one).
    CaseToOneSide,
    /// Two packs, each between the case and a side gear.
    CaseToBothSides,
    /// Between the two output shafts.
    ShaftToShaft,
    /// A pack driven through gears, slip = `per_difference`·Δω + `per_case`·ωc.
    /// Heat is refused unless both are given.
    Geared {
        /// Pack slip per axle speed difference.
        per_difference: Option<f64>,
        /// Pack slip per case speed.
        per_case: Option<f64>,
        /// Axle bias per pack torque.
        bias_factor: Option<f64>,
    },
}

impl Layout {
    /// Pack slip per axle speed difference. Derived: the case turns at the mean of both
    /// shafts, so a pack between case and shaft sees half the difference.
    pub fn slip_factor(self) -> Option<f64> {
        match self {
            Layout::CaseToOneSide | Layout::CaseToBothSides => Some(0.5),
            Layout::ShaftToShaft => Some(1.0),
            Layout::Geared { per_difference, .. } => per_difference,
        }
    }

    /// Axle bias (torque of the slow shaft less that of the fast one) per torque of one pack.
    pub fn bias_factor(self) -> Option<f64> {
        match self {
            Layout::CaseToOneSide => Some(1.0),
            Layout::CaseToBothSides | Layout::ShaftToShaft => Some(2.0),
            Layout::Geared { bias_factor, .. } => bias_factor,
        }
    }

    /// How many packs make heat.
    pub fn n_packs(self) -> f64 {
        match self {
            Layout::CaseToBothSides => 2.0,
            _ => 1.0,
        }
    }
}

/// The friction pack.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pack {
    /// Friction surfaces in contact.
    pub n_faces: u32,
    /// Outer radius of the lining, m.
    pub outer_radius_m: f64,
    /// Inner radius of the lining, m.
    pub inner_radius_m: f64,
    /// Share of the lining that is groove, 0 to 1.
    pub groove_share: f64,
    /// Coefficient of friction.
    pub friction: Option<Toleranced>,
}

/// Where the torque capacity comes from.
#[derive(Clone, Debug, PartialEq)]
pub enum TorqueSource {
    /// A table of torque against a channel (and perhaps against a second one).
    Table {
        /// Channel the table is entered with.
        channel: String,
        /// Second channel, for a table of two inputs (oil temperature, say).
        second: Option<String>,
        /// Torque in N·m against the channel's SI value.
        table: Table,
        /// Whether the table gives axle bias and not pack torque.
        is_axle_bias: bool,
        /// One standard deviation of the whole curve, as a share.
        relative_sd: f64,
    },
    /// A channel that reports the torque itself.
    Reported {
        /// The channel.
        channel: String,
        /// Whether it is axle bias and not pack torque.
        is_axle_bias: bool,
        /// One standard deviation, as a share.
        relative_sd: f64,
    },
    /// Friction, clamp force and geometry: T = µ·N·F·r.
    Clamp {
        /// Channel of the clamp force, N.
        channel: String,
        /// One standard deviation of the force, as a share.
        relative_sd: f64,
    },
}

impl TorqueSource {
    /// The channel it is driven by.
    pub fn channel(&self) -> &str {
        match self {
            TorqueSource::Table { channel, .. }
            | TorqueSource::Reported { channel, .. }
            | TorqueSource::Clamp { channel, .. } => channel,
        }
    }
}

/// A vehicle, as far as its map states it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Vehicle {
    /// Name of the vehicle.
    pub name: String,
    /// Name of the axle unit.
    pub unit: Option<String>,
    /// Rear track, m.
    pub track_rear_m: Option<Toleranced>,
    /// Front track, m.
    pub track_front_m: Option<Toleranced>,
    /// Rolling radius of the tyres: the one the car itself divides by, m.
    pub rolling_radius_m: Option<Toleranced>,
    /// Final drive ratio.
    pub final_ratio: Option<f64>,
    /// Mass of the car, kg.
    pub mass_kg: Option<f64>,
    /// Longitudinal stiffness of one tyre, N per unit slip.
    pub tyre_stiffness_n: Option<f64>,
    /// Place of the clutch.
    pub layout: Option<Layout>,
    /// The pack.
    pub pack: Option<Pack>,
    /// Torque of one pack with no command, N·m.
    pub preload_nm: Option<Toleranced>,
    /// Where capacity comes from, best source first.
    pub torque_sources: Vec<TorqueSource>,
    /// Oil quantity, m³.
    pub oil_volume_m3: Option<f64>,
    /// Oil by name.
    pub oil_name: Option<String>,
    /// Oil temperature to warn at, °C.
    pub oil_warn_c: Option<f64>,
    /// Oil temperature never to pass, °C.
    pub oil_limit_c: Option<f64>,
    /// Rated voltage of the actuator motor, V.
    pub motor_voltage_v: Option<f64>,
    /// Rated current of the actuator motor, A.
    pub motor_current_a: Option<f64>,
    /// Rated resistance of the motor winding at 20 °C, ohm.
    pub motor_resistance_ohm: Option<f64>,
    /// Rated time from command to 90 % of the response, s.
    pub rated_rise_s: Option<f64>,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn heat_is_half_the_bias_times_the_difference_in_every_layout() {
        // Check value row 18 (derived): bias 200 N·m at a difference of 4 rad/s is 400 W
        // for one pack to one side at 200, two packs at 100 each, one pack shaft to shaft at 100.
        for layout in [
            Layout::CaseToOneSide,
            Layout::CaseToBothSides,
            Layout::ShaftToShaft,
        ] {
            let pack_torque = 200.0 / layout.bias_factor().unwrap();
            let slip = layout.slip_factor().unwrap() * 4.0;
            assert_eq!(layout.n_packs() * pack_torque * slip, 400.0, "{layout:?}");
        }
    }
}
