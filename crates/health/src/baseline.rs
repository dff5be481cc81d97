//! What a car of its own past, or its map, leads one to expect of the unit.
//!
//! In: rated values of the map, and values of earlier drives. Out: [`Baseline`], the value to
//! compare with and where it comes from. Without either there is none, and a check that
//! needs one falls back on an absolute limit or says that it could not be made.

use halfshaft_driveline::median::median;
use halfshaft_model::Vehicle;

/// What can be compared with the past.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Quantity {
    /// Dead time at 60 °C and 13.5 V, s.
    DeadTime,
    /// Rise time at 60 °C and 13.5 V, s.
    RiseTime,
    /// Open to locked at 60 °C and 13.5 V, s.
    TransitionTime,
    /// Locked to open at 60 °C and 13.5 V, s.
    ReleaseTime,
    /// Motor current while a full engagement is held, A.
    HoldCurrent,
    /// Rise of the measured temperature per pack heat, K/kJ.
    RisePerHeat,
    /// Time constant with which pack and oil come together, s.
    Equalisation,
    /// Time constant of cooling at standstill, s.
    StandingCooling,
    /// Slip taken away per command in bends.
    Holding,
}

impl Quantity {
    /// Every one, with its stable name in `report.json`.
    pub const ALL: [(Quantity, &'static str); 9] = [
        (Quantity::DeadTime, "dead_time_s"),
        (Quantity::RiseTime, "rise_time_s"),
        (Quantity::TransitionTime, "transition_time_s"),
        (Quantity::ReleaseTime, "release_time_s"),
        (Quantity::HoldCurrent, "hold_current_a"),
        (Quantity::RisePerHeat, "rise_k_per_kj"),
        (Quantity::Equalisation, "equalisation_s"),
        (Quantity::StandingCooling, "standing_cooling_s"),
        (Quantity::Holding, "holding"),
    ];
}

/// A value to compare with.
#[derive(Clone, Debug, PartialEq)]
pub struct Reference {
    /// The value, in the unit of its quantity.
    pub value: f64,
    /// Drives it is the median of; 0 for a rated value of the map.
    pub n_drives: u32,
}

impl Reference {
    /// Where it comes from, in words.
    pub fn source(&self) -> String {
        match self.n_drives {
            0 => "the rated value of the map".to_owned(),
            1 => "an earlier drive of this car".to_owned(),
            n => format!("the median of {n} earlier drives of this car"),
        }
    }
}

/// Everything there is to compare with.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Baseline {
    known: Vec<(Quantity, Reference)>,
    rated_s: Option<f64>,
}

impl Baseline {
    /// Rated values of the map.
    pub fn of_map(vehicle: &Vehicle) -> Baseline {
        let mut baseline = Baseline {
            rated_s: vehicle.rated_rise_s,
            ..Baseline::default()
        };
        if let Some(value) = vehicle.rated_rise_s {
            baseline.set(Quantity::TransitionTime, Reference { value, n_drives: 0 });
        }
        baseline
    }

    /// Rated time from the command to 90 % of the way, s: a unit that is meant to be slow is not lazy
    /// by the clock, whatever its past was.
    pub fn rated_s(&self) -> Option<f64> {
        self.rated_s
    }

    /// States a value; a later one takes the place of an earlier one.
    pub fn set(&mut self, quantity: Quantity, reference: Reference) {
        self.known.retain(|(known, _)| *known != quantity);
        self.known.push((quantity, reference));
    }

    /// The median of earlier drives takes the place of a rated value. Values that are no
    /// number or not above 0 are no past.
    pub fn note_past(&mut self, quantity: Quantity, values: &[f64]) {
        let mut sound: Vec<f64> = values
            .iter()
            .copied()
            .filter(|value| value.is_finite() && *value > 0.0)
            .collect();
        let Some(value) = median(&mut sound) else {
            return;
        };
        let reference = Reference {
            value,
            n_drives: sound.len() as u32,
        };
        self.set(quantity, reference);
    }

    /// All that is known, in the order of [`Quantity::ALL`]: `rise_time_s=0.12 of 2 drives`.
    pub fn words(&self) -> Vec<String> {
        let known = Quantity::ALL
            .iter()
            .filter_map(|(quantity, name)| Some((name, self.get(*quantity)?)));
        let words = known.map(|(name, reference)| match reference.n_drives {
            0 => format!("{name}={} rated", reference.value),
            1 => format!("{name}={} of 1 drive", reference.value),
            n => format!("{name}={} of {n} drives", reference.value),
        });
        words.collect()
    }

    /// The value to compare with.
    pub fn get(&self, quantity: Quantity) -> Option<&Reference> {
        let mut known = self.known.iter();
        known
            .find(|(known, _)| *known == quantity)
            .map(|(_, reference)| reference)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_past_goes_before_the_rated_value() {
        let vehicle = Vehicle {
            rated_rise_s: Some(0.15),
            ..Vehicle::default()
        };
        let mut baseline = Baseline::of_map(&vehicle);
        let rated = baseline.get(Quantity::TransitionTime).unwrap();
        assert_eq!((rated.value, rated.n_drives), (0.15, 0));
        assert_eq!(baseline.words(), ["transition_time_s=0.15 rated"]);
        baseline.note_past(Quantity::TransitionTime, &[0.3, f64::NAN, 0.2, 0.25, -1.0]);
        let past = baseline.get(Quantity::TransitionTime).unwrap();
        assert_eq!((past.value, past.n_drives), (0.25, 3));
        assert!(past.source().contains("3 earlier drives"));
        baseline.note_past(Quantity::DeadTime, &[0.03, 0.05]);
        assert_eq!(baseline.get(Quantity::DeadTime).unwrap().value, 0.04);
        baseline.note_past(Quantity::Holding, &[]);
        assert_eq!(baseline.get(Quantity::Holding), None);
    }
}
