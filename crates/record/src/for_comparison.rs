//! What later reports of the same car compare with, and which of it is good enough.

use halfshaft_health::baseline::{Conditions, Earlier, Quantity, conditions};
use halfshaft_health::comparable::{COMPARED_FROM, Comparable, comparable};
use halfshaft_health::compare::{Event, Times, each_time};

use crate::document::{Document, MapRecord};
use crate::macros::stored;
use crate::read::{Error, quoted};
use crate::value::{Grade, Ordered, Outcome, foreign, known, why};

/// Version of the part. It rises when a value comes to mean something else.
const VERSION: u64 = 1;

stored! {
    /// What later reports of the same car compare with.
    ForComparison of document: &Document;
    {
        let all = comparable(document.results);
        let weather = document.results.thermal.as_ref().ok().and_then(conditions);
    }
    /// Version of this part.
    #[schemars(extend("const" = VERSION))]
    version: u64 = VERSION,
    /// Name of the vehicle.
    vehicle: String = foreign(&document.map.vehicle),
    /// Name of the axle unit.
    unit: Option<String> = document.map.unit.as_deref().map(foreign),
    /// Fingerprint of the map.
    map_fingerprint: String = document.map.fingerprint.clone(),
    /// The weather; null where no temperature is known, left out of a report made before it was stored.
    #[serde(skip_serializing_if = "Option::is_none")]
    weather: Option<Weather> = weather.as_ref().map(Weather::of),
    /// By name; the actuator's times are medians at 60 °C and 13.5 V.
    quantities: Ordered<Compared> = all
        .iter()
        .filter_map(|one| Some((name_of(one.quantity)?, Compared::of(one))))
        .collect(),
    /// Each time of the actuator, by the name of its figure.
    times: Ordered<Outcome<EachTime>> = each_time(document.results)
        .iter()
        .map(|(figure, times)| (figure.word(), Outcome::of(times, EachTime::of)))
        .collect(),
}

stored! {
    /// What makes the oil warm otherwise with nothing changed in the car.
    Weather of found: &Conditions;
    /// Air at the end of the drive.
    air_c: Option<f64> ["degC"] = known(found.air_c),
    /// Oil at the start.
    oil_start_c: Option<f64> ["degC"] = known(found.oil_start_c),
}

stored! {
    /// Each time that makes up one figure.
    EachTime of times: &Times;
    /// They were brought to 60 °C and 13.5 V.
    normal: bool = times.is_normal,
    /// All alike may be off by this.
    doubt_s: Option<f64> ["s"] = known(times.doubt_s),
    /// Each, in order of time.
    each: Vec<OneTime> = times.events.iter().map(OneTime::of).collect(),
}

stored! {
    /// One time of the actuator.
    OneTime of found: &Event;
    /// When it was, since the first entry of the log.
    at_ns: i64 ["ns"] = found.at.0,
    /// How long it took.
    time_s: Option<f64> ["s"] = known(found.time_s),
    /// Oil temperature.
    oil_c: Option<f64> ["degC"] = known(found.oil_c),
    /// How far the command moved, share of full.
    step: Option<f64> ["1"] = known(found.step),
    /// How long the command took to move.
    ramp_s: Option<f64> ["s"] = known(found.ramp_s),
}

stored! {
    /// A value to compare with.
    Compared of one: &Comparable;
    /// The value.
    value: Option<f64> = one.outcome.as_ref().ok().copied().and_then(known),
    /// How far it can be trusted.
    grade: Option<Grade> = one.grade.map(Grade::from),
    /// Why there is none.
    why_null: Option<String> = one.outcome.as_ref().err().map(why),
}

fn name_of(quantity: Quantity) -> Option<&'static str> {
    let mut all = Quantity::ALL.iter();
    all.find(|(known, _)| *known == quantity)
        .map(|(_, name)| *name)
}

impl ForComparison {
    /// The drive as one that later ones are compared with. A report made before the weather was stored gives nothing
    /// that follows it.
    pub fn earlier(&self) -> Result<Earlier, Error> {
        let conditions = self.weather.as_ref().and_then(|weather| {
            Some(Conditions {
                air_c: weather.air_c?,
                oil_start_c: weather.oil_start_c?,
            })
        });
        let mut values = self.values()?;
        values.retain(|(quantity, _)| conditions.is_some() || !quantity.follows_weather());
        Ok(Earlier { conditions, values })
    }

    /// Values good enough to compare with, in the order of [`Quantity::ALL`]; an error when one
    /// is not above 0 or the part is of another version.
    pub fn values(&self) -> Result<Vec<(Quantity, f64)>, Error> {
        if self.version != VERSION {
            return Err(Error::ComparisonVersion {
                found: self.version,
                expected: VERSION,
            });
        }
        let best = Grade::from(COMPARED_FROM) as u8;
        let mut values = Vec::new();
        for (quantity, name) in Quantity::ALL {
            let Some(one) = self.quantities.get(name) else {
                continue;
            };
            let Some(value) = one.value else { continue };
            if value <= 0.0 {
                return Err(Error::NotAboveZero { name, value });
            }
            if one.grade.is_some_and(|grade| grade as u8 <= best) {
                values.push((quantity, value));
            }
        }
        Ok(values)
    }

    /// Whether it is of the car and unit a map names.
    pub fn check_same_unit(&self, map: &MapRecord) -> Result<(), Error> {
        let expected = (foreign(&map.vehicle), map.unit.as_deref().map(foreign));
        if (&self.vehicle, &self.unit) == (&expected.0, &expected.1) {
            return Ok(());
        }
        Err(Error::OtherUnit {
            found: named(&self.vehicle, self.unit.as_deref()),
            expected: named(&expected.0, expected.1.as_deref()),
        })
    }
}

fn named(vehicle: &str, unit: Option<&str>) -> String {
    match unit {
        Some(unit) => format!("{} with unit {}", quoted(vehicle), quoted(unit)),
        None => format!("{} with no unit named", quoted(vehicle)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn part(quantities: &[(&str, Option<f64>, Option<Grade>)]) -> ForComparison {
        let compared = |&(name, value, grade)| {
            let one = Compared {
                value,
                grade,
                why_null: None,
            };
            (name, one)
        };
        ForComparison {
            version: VERSION,
            vehicle: "small car".to_owned(),
            unit: Some("SC-1".to_owned()),
            map_fingerprint: "cd".to_owned(),
            weather: None,
            quantities: quantities.iter().map(compared).collect(),
            times: Ordered(Vec::new()),
        }
    }

    #[test]
    fn only_good_values_come_back() {
        let part = part(&[
            ("of_a_later_version", None, None),
            ("rise_k_per_kj", Some(0.5), Some(Grade::B)),
            ("rise_time_s", Some(0.1), Some(Grade::C)),
            ("release_time_s", None, None),
            ("dead_time_s", Some(0.04), Some(Grade::A)),
        ]);
        let good = [(Quantity::DeadTime, 0.04), (Quantity::RisePerHeat, 0.5)];
        assert_eq!(part.values(), Ok(good.to_vec()));
    }

    #[test]
    fn without_its_weather_a_drive_gives_only_what_does_not_follow_it() {
        let mut part = part(&[
            ("rise_k_per_kj", Some(0.5), Some(Grade::B)),
            ("dead_time_s", Some(0.04), Some(Grade::A)),
        ]);
        let earlier = part.earlier().unwrap();
        assert_eq!(earlier.values, [(Quantity::DeadTime, 0.04)]);
        part.weather = Some(Weather {
            air_c: Some(20.0),
            oil_start_c: Some(25.0),
        });
        let earlier = part.earlier().unwrap();
        assert_eq!(earlier.values.len(), 2);
        assert_eq!(earlier.conditions.map(|weather| weather.air_c), Some(20.0));
    }

    #[test]
    fn what_means_something_else_is_refused() {
        let below = part(&[("held_share", Some(-1.0), Some(Grade::A))]);
        let error = below.values().unwrap_err().to_string();
        assert!(error.contains("quantities/held_share"), "{error}");
        let later = ForComparison {
            version: 2,
            ..part(&[])
        };
        let error = later.values().unwrap_err().to_string();
        assert!(
            error.contains("found version 2 of for_comparison, expected 1"),
            "{error}"
        );
    }

    #[test]
    fn another_unit_is_refused_with_both_names() {
        let part = part(&[]);
        let mut map = MapRecord {
            vehicle: "small car".to_owned(),
            unit: Some("SC-1".to_owned()),
            ..MapRecord::default()
        };
        assert_eq!(part.check_same_unit(&map), Ok(()));
        map.unit = Some("SC-2".to_owned());
        let error = part.check_same_unit(&map).unwrap_err().to_string();
        assert!(error.contains("SC-1") && error.contains("SC-2"), "{error}");
        map.unit = None;
        assert!(part.check_same_unit(&map).is_err());
    }
}
