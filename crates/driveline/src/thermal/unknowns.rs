//! Everything a drive may show that was not known before, in units of its own tolerance.
//!
//! In: priors and the start of the drive. Out: values for a run from a vector `z` whose
//! members are 0 at the prior and ±1 one standard deviation away. What must be positive is
//! moved on a logarithmic scale.

use super::parameters::{N_PARAMETERS, Priors, STATED, ThermalParameters};
use super::step::Temperatures;

/// Number of unknowns.
pub const N_UNKNOWNS: usize = N_PARAMETERS + 6;

/// A vector of unknowns.
pub type Vector = [f64; N_UNKNOWNS];

/// Heat of the pack as computed, against the true one.
pub const PACK_HEAT: usize = N_PARAMETERS;
const SENSOR_TIME: usize = N_PARAMETERS + 1;
const AIR: usize = N_PARAMETERS + 2;
const START_OIL: usize = N_PARAMETERS + 3;
const START_PACK: usize = N_PARAMETERS + 4;
const START_HOUSING: usize = N_PARAMETERS + 5;

/// Index of the gear loss share.
pub const GEAR_SHARE: usize = 7;

/// Time constant of the sensor, s: (a, b) in a·e^z − b, never below 0, so 2 s at the prior, 0.5 to
/// 6 s within one standard deviation, and none at all at −2. Source: from memory, a
/// thermistor in a brass housing takes 1 to 10 s in moving oil, a bare one nothing. Wide,
/// since a slow sensor and a slow pack look much alike: half a second is worth some 10 K.
const SENSOR_TIME_S: (f64, f64) = (2.3, 0.3);

/// Farthest from its prior that an unknown may be fitted, in its standard deviations.
/// Farther, the model does not fit and should say so. Source: common practice.
pub const FARTHEST_SDS: f64 = 3.0;

/// What the fit made of an unknown.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FitOutcome {
    /// The drive narrowed its tolerance to two thirds and less.
    Fitted,
    /// The drive did not narrow it; it stays near its prior.
    PriorKept,
    /// The fit ran to the end of what is allowed: the model does not suit the drive.
    AtBound,
}

/// Temperatures at the start of the drive and how well they are known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Start {
    /// The likeliest.
    pub likeliest: Temperatures,
    /// One standard deviation of the oil, K.
    pub oil_sd_k: f64,
    /// Of the pack over the oil, K.
    pub pack_sd_k: f64,
    /// Of the housing against what it would be by the oil, K.
    pub housing_sd_k: f64,
}

/// What is known before the drive is looked at.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Unknowns {
    /// The unit.
    pub priors: Priors,
    /// One standard deviation of the computed pack heat, as a share.
    pub pack_heat_relative_sd: f64,
    /// One standard deviation of the air at the axle against the one stated, K.
    pub air_sd_k: f64,
    /// The start.
    pub start: Start,
}

/// One set of values for a run.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Values {
    /// The unit.
    pub parameters: ThermalParameters,
    /// Factor on the computed pack heat.
    pub pack_heat: f64,
    /// Time constant of the sensor, s.
    pub sensor_s: f64,
    /// The air at the axle is warmer than stated by this, K.
    pub air_offset_k: f64,
    /// The start.
    pub start: Temperatures,
}

impl Unknowns {
    /// The same with each parameter of the unit times a factor: since a parameter moves on a
    /// logarithmic scale, a place that was found holds for the changed unit too.
    pub fn times(mut self, factors: &[f64; N_PARAMETERS]) -> Unknowns {
        let values = self.priors.values.to_array();
        let changed = std::array::from_fn(|index| values[index] * factors[index]);
        self.priors.values = ThermalParameters::from_array(changed);
        self
    }

    /// The values at a place.
    pub fn values(&self, z: &Vector) -> Values {
        let prior = self.priors.values.to_array();
        let parameters = std::array::from_fn(|index| {
            prior[index] * (self.priors.relative_sds[index] * z[index]).exp()
        });
        let likeliest = &self.start.likeliest;
        let oil_off = self.start.oil_sd_k * z[START_OIL];
        let oil_c = likeliest.oil_c + oil_off;
        Values {
            parameters: ThermalParameters::from_array(parameters),
            pack_heat: (self.pack_heat_relative_sd * z[PACK_HEAT]).exp(),
            sensor_s: (SENSOR_TIME_S.0 * z[SENSOR_TIME].exp() - SENSOR_TIME_S.1).max(0.0),
            air_offset_k: self.air_sd_k * z[AIR],
            start: Temperatures {
                pack_c: likeliest.pack_c + oil_off + self.start.pack_sd_k * z[START_PACK],
                oil_c,
                housing_c: likeliest.housing_c
                    + oil_off
                    + self.start.housing_sd_k * z[START_HOUSING],
            },
        }
    }

    /// Name and unit of an unknown.
    pub fn name(index: usize) -> (&'static str, &'static str) {
        match index {
            PACK_HEAT => ("pack heat, true over computed", ""),
            SENSOR_TIME => ("time constant of the sensor", "s"),
            AIR => ("air at the axle over the one stated", "K"),
            START_OIL => ("oil at the start", "°C"),
            START_PACK => ("pack over oil at the start", "K"),
            START_HOUSING => ("housing at the start", "°C"),
            _ => (STATED[index].name, STATED[index].unit),
        }
    }

    /// The value of an unknown at a place, and how much it moves per standard deviation.
    pub fn value(&self, index: usize, z: &Vector) -> (f64, f64) {
        let values = self.values(z);
        match index {
            PACK_HEAT => (
                values.pack_heat,
                values.pack_heat * self.pack_heat_relative_sd,
            ),
            SENSOR_TIME => (values.sensor_s, values.sensor_s + SENSOR_TIME_S.1),
            AIR => (values.air_offset_k, self.air_sd_k),
            START_OIL => (values.start.oil_c, self.start.oil_sd_k),
            START_PACK => (
                values.start.pack_c - values.start.oil_c,
                self.start.pack_sd_k,
            ),
            START_HOUSING => (values.start.housing_c, self.start.housing_sd_k),
            _ => {
                let value = values.parameters.to_array()[index];
                (value, value * self.priors.relative_sds[index])
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_unknown_moves_only_itself() {
        let unknowns = Unknowns {
            priors: Priors::default(),
            pack_heat_relative_sd: 0.15,
            air_sd_k: 2.0,
            start: Start {
                likeliest: Temperatures::all(50.0),
                oil_sd_k: 1.0,
                pack_sd_k: 5.0,
                housing_sd_k: 4.0,
            },
        };
        let at_prior: Vec<f64> = (0..N_UNKNOWNS)
            .map(|index| unknowns.value(index, &[0.0; N_UNKNOWNS]).0)
            .collect();
        assert_eq!(at_prior[3], 60.0);
        assert_eq!(at_prior[PACK_HEAT], 1.0);
        assert!((at_prior[SENSOR_TIME] - 2.0).abs() < 1e-9);
        for moved in 0..N_UNKNOWNS {
            let mut z = [0.0; N_UNKNOWNS];
            z[moved] = 1e-3;
            for (index, &at_prior) in at_prior.iter().enumerate() {
                let (value, per_sd) = unknowns.value(index, &z);
                // The housing follows the oil at the start, as it was before the drive.
                let is_moved = index == moved || (index, moved) == (START_HOUSING, START_OIL);
                assert_eq!((value - at_prior).abs() > 1e-9, is_moved, "{index} {moved}");
                if index == moved {
                    assert!(((value - at_prior) / 1e-3 / per_sd - 1.0).abs() < 1e-2);
                }
            }
        }
    }
}
