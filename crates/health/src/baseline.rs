//! What a car of its own past, or its map, leads one to expect of the unit.
//!
//! In: rated values of the map, and values of earlier drives in their order. Out: [`Baseline`], the value to
//! compare with and where it comes from, and how a drive departs from it. What is usual is the median of the first
//! drives: a median of all would creep along with what wears. Without either there is none, and a check that
//! needs one falls back on an absolute limit or says that it could not be made.

use halfshaft_driveline::median::median;
use halfshaft_driveline::thermal::ThermalEstimate;
use halfshaft_model::Vehicle;

use crate::drift::{Drift, drift};
use crate::limits::{PastLimits, rounded};

/// The weather of a drive: what makes the oil warm otherwise with nothing changed in the car.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Conditions {
    /// Air, at the end of the drive, °C.
    pub air_c: f64,
    /// Oil at the start, °C.
    pub oil_start_c: f64,
}

/// The weather of a drive whose temperatures are known.
pub fn conditions(thermal: &ThermalEstimate) -> Option<Conditions> {
    let found = Conditions {
        air_c: thermal.recent.ambient_c,
        oil_start_c: thermal.trace.first()?.oil_c,
    };
    (found.air_c.is_finite() && found.oil_start_c.is_finite()).then_some(found)
}

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
    /// Torque held by the tyres over the torque the map states.
    HeldOverStated,
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
        (Quantity::HeldOverStated, "held_share"),
    ];

    /// Whether air, and oil at the start, make it another without any change of the car. The times of the actuator
    /// are brought to one oil temperature and voltage.
    pub fn follows_weather(self) -> bool {
        matches!(
            self,
            Quantity::RisePerHeat | Quantity::Equalisation | Quantity::StandingCooling
        )
    }
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
            n => format!("the median of the first {n} earlier drives of this car"),
        }
    }
}

/// One earlier drive.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Earlier {
    /// Its weather; where nothing is known of it, it is taken for alike.
    pub conditions: Option<Conditions>,
    /// What it gives to compare with.
    pub values: Vec<(Quantity, f64)>,
}

/// How a value departs from what was usual.
#[derive(Clone, Debug, PartialEq)]
pub enum Departure {
    /// It is so many times what it was.
    Level {
        /// How many times.
        times: f64,
        /// What it is compared with.
        usual: Reference,
        /// How many times are too many.
        limit: f64,
    },
    /// It grows from drive to drive.
    Drift {
        /// How.
        drift: Drift,
        /// How many times over all drives are too many.
        limit: f64,
    },
}

impl Departure {
    /// In words that go on from the value: `1.6 times the rated value of the map, 0.15 s (limit 1.5 times)`.
    pub fn words(&self, unit: &str) -> String {
        let percent = |factor: f64| 100.0 * (factor - 1.0);
        match self {
            Departure::Level {
                times,
                usual,
                limit,
            } => format!(
                "{times:.1} times {}, {} {unit} (limit {} times)",
                usual.source(),
                three_digits(usual.value),
                rounded(*limit, 1)
            ),
            Departure::Drift { drift, limit } => format!(
                "{:.0} % more a drive over {} drives of this car, {:.0} % in all at the least (limit {:.0} %)",
                percent(drift.per_drive),
                drift.n_drives,
                percent(drift.whole_at_least),
                percent(*limit)
            ),
        }
    }
}

/// Three digits.
pub fn three_digits(value: f64) -> String {
    let decimals = (2.0 - value.abs().max(1e-9).log10().floor()).clamp(0.0, 6.0) as usize;
    format!("{value:.decimals$}")
}

/// Everything there is to compare with.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Baseline {
    stated: Vec<(Quantity, Reference)>,
    earlier: Vec<Earlier>,
    limits: PastLimits,
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

    /// By limits of one's own.
    pub(crate) fn by(mut self, limits: &PastLimits) -> Baseline {
        self.limits = *limits;
        self
    }

    /// States a value; a later one takes the place of an earlier one.
    pub fn set(&mut self, quantity: Quantity, reference: Reference) {
        self.stated.retain(|(known, _)| *known != quantity);
        self.stated.push((quantity, reference));
    }

    /// Adds an earlier drive, after those that were added before it. Values that are no number or not above 0 are
    /// no past.
    pub fn note_drive(&mut self, mut earlier: Earlier) {
        earlier
            .values
            .retain(|(_, value)| value.is_finite() && *value > 0.0);
        self.earlier.push(earlier);
    }

    /// Adds earlier drives that gave this one quantity.
    pub fn note_past(&mut self, quantity: Quantity, values: &[f64]) {
        for value in values {
            self.note_drive(Earlier {
                conditions: None,
                values: vec![(quantity, *value)],
            });
        }
    }

    /// The same with only those earlier drives whose weather was like that of a drive, for what follows the weather.
    pub fn in_like_weather(&self, now: Option<Conditions>) -> Baseline {
        let mut like = self.clone();
        let Some(now) = now else {
            return like;
        };
        for earlier in &mut like.earlier {
            let Some(then) = earlier.conditions else {
                continue;
            };
            let is_like_air = (then.air_c - now.air_c).abs() <= self.limits.like_air_k;
            let starts_alike =
                (then.oil_start_c - now.oil_start_c).abs() <= self.limits.like_start_k;
            earlier.values.retain(|(quantity, _)| {
                !quantity.follows_weather()
                    || (is_like_air && (starts_alike || *quantity != Quantity::RisePerHeat))
            });
        }
        like
    }

    /// Whether an earlier drive began with oil that near to the air.
    pub fn has_started_cold(&self, near_k: f64) -> bool {
        let mut known = self.earlier.iter().filter_map(|earlier| earlier.conditions);
        known.any(|then| (then.oil_start_c - then.air_c).abs() <= near_k)
    }

    /// Values of the earlier drives, in their order.
    fn past(&self, quantity: Quantity) -> Vec<f64> {
        let values = self.earlier.iter().flat_map(|earlier| &earlier.values);
        values
            .filter(|(known, _)| *known == quantity)
            .map(|(_, value)| *value)
            .collect()
    }

    /// Those that say what is usual; none when they are too few.
    fn first(&self, quantity: Quantity) -> Vec<f64> {
        let mut values = self.past(quantity);
        if values.len() < self.limits.least_drives as usize {
            return Vec::new();
        }
        values.truncate(self.limits.first_drives as usize);
        values
    }

    /// All that is known, in the order of [`Quantity::ALL`]: `rise_time_s=0.12 of 3 drives`.
    pub fn words(&self) -> Vec<String> {
        let known = Quantity::ALL
            .iter()
            .filter_map(|(quantity, name)| Some((name, self.get(*quantity)?)));
        let words = known.map(|(name, reference)| match reference.n_drives {
            0 => format!("{name}={} rated", reference.value),
            n => format!("{name}={} of {n} drives", reference.value),
        });
        words.collect()
    }

    /// The value to compare with: the median of the first drives, where there are enough of them, else what is
    /// stated.
    pub fn get(&self, quantity: Quantity) -> Option<Reference> {
        let mut first = self.first(quantity);
        if let Some(value) = median(&mut first) {
            let n_drives = first.len() as u32;
            return Some(Reference { value, n_drives });
        }
        let mut stated = self.stated.iter();
        stated
            .find(|(known, _)| *known == quantity)
            .map(|(_, reference)| reference.clone())
    }

    /// How a value of this drive departs from what was usual, when it is more than so many times that, or drifts.
    pub fn departure(&self, quantity: Quantity, now: f64, limit: f64) -> Option<Departure> {
        let usual = self.get(quantity)?;
        let (times, drift_limit) = (now / usual.value, self.limits.drift_ratio);
        let surely = times / wander(&self.first(quantity));
        if times > limit && (usual.n_drives == 0 || surely > drift_limit) {
            return Some(Departure::Level {
                times,
                usual,
                limit,
            });
        }
        let mut all = self.past(quantity);
        all.push(now);
        // A drift that is over, as after new oil, is none: the drive itself is to be off what was usual.
        let grows = all.len() >= self.limits.drift_drives as usize && times > drift_limit;
        let drift = drift(&all).filter(|drift| grows && drift.whole_at_least > drift_limit)?;
        Some(Departure::Drift {
            drift,
            limit: drift_limit,
        })
    }
}

/// Factor between a drive and the median of the first ones, that chance keeps below in 19 of 20 drives.
///
/// Student's t of their logarithms; a median scatters by 1.57/n of the variance of one value.
fn wander(first: &[f64]) -> f64 {
    /// Its 95 % quantile with 1 to 4 degrees of freedom; with more it is no larger than the last.
    const T_95: [f64; 4] = [6.314, 2.920, 2.353, 2.132];
    let n = first.len();
    if n < 2 {
        return 1.0;
    }
    let logarithms: Vec<f64> = first.iter().map(|value| value.ln()).collect();
    let mean = logarithms.iter().sum::<f64>() / n as f64;
    let squares = logarithms.iter().map(|value| (value - mean).powi(2));
    let variance = squares.sum::<f64>() / (n - 1) as f64;
    let t = T_95[(n - 2).min(T_95.len() - 1)];
    (t * (variance * (1.0 + 1.57 / n as f64)).sqrt()).exp()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(values: &[f64]) -> Baseline {
        let mut baseline = Baseline::default();
        baseline.note_past(Quantity::TransitionTime, values);
        baseline
    }

    #[test]
    fn three_earlier_drives_go_before_the_rated_value_and_two_do_not() {
        let vehicle = Vehicle {
            rated_rise_s: Some(0.15),
            ..Vehicle::default()
        };
        let mut baseline = Baseline::of_map(&vehicle);
        baseline.note_past(Quantity::TransitionTime, &[0.3, f64::NAN, -1.0, 0.2]);
        let rated = baseline.get(Quantity::TransitionTime).unwrap();
        assert_eq!((rated.value, rated.n_drives), (0.15, 0));
        assert_eq!(baseline.words(), ["transition_time_s=0.15 rated"]);
        baseline.note_past(Quantity::TransitionTime, &[0.25]);
        let past = baseline.get(Quantity::TransitionTime).unwrap();
        assert_eq!((past.value, past.n_drives), (0.25, 3));
        assert!(past.source().contains("first 3 earlier drives"));
        assert_eq!(baseline.words(), ["transition_time_s=0.25 of 3 drives"]);
        baseline.note_past(Quantity::DeadTime, &[0.03, 0.05]);
        assert_eq!(baseline.get(Quantity::DeadTime), None);
    }

    #[test]
    fn what_is_usual_does_not_creep_along() {
        let slower: Vec<f64> = (0..12).map(|drive| 1.08_f64.powi(drive)).collect();
        let usual = of(&slower).get(Quantity::TransitionTime).unwrap();
        assert_eq!((usual.value, usual.n_drives), (slower[2], 5));
    }

    #[test]
    fn eight_percent_a_drive_is_seen_on_the_fifth_and_one_slow_drive_is_no_drift() {
        let slower: Vec<f64> = (0..5).map(|drive| 1.08_f64.powi(drive)).collect();
        let on = |drive: usize| {
            of(&slower[..drive]).departure(Quantity::TransitionTime, slower[drive], 1.5)
        };
        assert_eq!(on(3), None);
        let found = on(4).unwrap();
        // Derived: 1.08^4 is +36 %.
        assert_eq!(
            found.words("s"),
            "8 % more a drive over 5 drives of this car, 36 % in all at the least (limit 10 %)"
        );
        let steady = of(&[1.0, 1.02, 0.99, 1.01, 1.0, 1.02]);
        assert_eq!(steady.departure(Quantity::TransitionTime, 1.3, 1.5), None);
        let slow = steady
            .departure(Quantity::TransitionTime, 1.6, 1.5)
            .unwrap();
        assert_eq!(
            slow.words("s"),
            "1.6 times the median of the first 5 earlier drives of this car, 1.00 s (limit 1.5 times)"
        );
        // It was slow, and is as it was again.
        let repaired = of(&[1.0, 1.08, 1.17, 1.26, 1.36, 1.47]);
        assert_eq!(
            repaired.departure(Quantity::TransitionTime, 1.05, 1.5),
            None
        );
    }

    #[test]
    fn a_value_that_wanders_as_far_is_no_departure() {
        let calm = of(&[1.0, 1.05, 0.95]);
        let wild = of(&[1.0, 1.4, 0.7]);
        let departs = |baseline: &Baseline| {
            baseline
                .departure(Quantity::TransitionTime, 1.5, 1.4)
                .is_some()
        };
        assert!(departs(&calm) && !departs(&wild));
    }

    #[test]
    fn what_follows_the_weather_is_compared_in_like_weather() {
        let mut baseline = Baseline::default();
        for air_c in [5.0, 12.0, 18.0, 27.0] {
            baseline.note_drive(Earlier {
                conditions: Some(Conditions {
                    air_c,
                    oil_start_c: 2.0 * air_c,
                }),
                values: vec![
                    (Quantity::Equalisation, 8.0),
                    (Quantity::RisePerHeat, 0.05),
                    (Quantity::RiseTime, 0.1),
                ],
            });
        }
        let on = |air_c: f64| {
            baseline.in_like_weather(Some(Conditions {
                air_c,
                oil_start_c: 2.0 * air_c,
            }))
        };
        let n = |baseline: Baseline, quantity| baseline.past(quantity).len();
        // Air of 5, 12 and 18 °C is within 10 K of 12; oil of 24 °C is only within 10 K of itself.
        assert_eq!(n(on(12.0), Quantity::Equalisation), 3);
        assert_eq!(n(on(12.0), Quantity::RisePerHeat), 1);
        assert_eq!(n(on(12.0), Quantity::RiseTime), 4);
        assert_eq!(on(28.0).get(Quantity::Equalisation), None);
        assert_eq!(n(baseline.in_like_weather(None), Quantity::Equalisation), 4);
    }
}
