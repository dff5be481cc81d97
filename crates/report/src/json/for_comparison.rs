//! What later reports of the same car are compared with, and reading it back.
//!
//! Out of a report: the object `for_comparison`, with a version of its own. Back in: an
//! [`Earlier`], or what was found and what was wanted. Only values of grade B and better come
//! back; what this version does not know of is left alone.

use std::borrow::Cow;

use halfshaft_health::baseline::Quantity;
use halfshaft_health::comparable::{COMPARED_FROM, Comparable, comparable};
use serde::Serialize;
use serde_json::{Map, Value};

use super::SCHEMA;
use super::records::{Ordered, known};
use crate::document::{Document, MapRecord};
use crate::words::{clean, shorten, without_vehicle_number};

/// Version of the object. It rises when a value comes to mean something else.
const VERSION: u64 = 1;

/// Characters shown of what was found.
const MOST_SHOWN: usize = 60;

#[derive(Serialize)]
pub(super) struct ForComparisonJson<'a> {
    version: u64,
    vehicle: Cow<'a, str>,
    unit: Option<Cow<'a, str>>,
    map_fingerprint: &'a str,
    quantities: Ordered<&'static str, QuantityJson>,
}

#[derive(Serialize)]
pub(super) struct QuantityJson {
    value: Option<f64>,
    grade: Option<&'static str>,
    why_null: Option<String>,
}

impl QuantityJson {
    fn of(one: &Comparable) -> QuantityJson {
        QuantityJson {
            value: one.outcome.as_ref().ok().copied().and_then(known),
            grade: one.grade.map(|grade| grade.letter()),
            why_null: one.outcome.as_ref().err().map(ToString::to_string),
        }
    }
}

impl<'a> ForComparisonJson<'a> {
    pub(super) fn of(document: &'a Document) -> ForComparisonJson<'a> {
        let quantities = comparable(document.results)
            .iter()
            .filter_map(|one| Some((name_of(one.quantity)?, QuantityJson::of(one))))
            .collect();
        ForComparisonJson {
            version: VERSION,
            vehicle: without_vehicle_number(&document.map.vehicle),
            unit: document.map.unit.as_deref().map(without_vehicle_number),
            map_fingerprint: &document.map.fingerprint,
            quantities: Ordered(quantities),
        }
    }
}

fn name_of(quantity: Quantity) -> Option<&'static str> {
    let mut all = Quantity::ALL.iter();
    all.find(|(known, _)| *known == quantity)
        .map(|(_, name)| *name)
}

/// An earlier report, as far as it is compared with.
#[derive(Clone, Debug, PartialEq)]
pub struct Earlier {
    /// Vehicle, as the report names it.
    pub vehicle: String,
    /// Axle unit, as the report names it.
    pub unit: Option<String>,
    /// Fingerprint of the map it was made with.
    pub map_fingerprint: String,
    /// Fingerprints of its logs, in order.
    pub logs: Vec<String>,
    /// Values good enough to compare with, in the order of [`Quantity::ALL`].
    pub values: Vec<(Quantity, f64)>,
}

impl Earlier {
    /// Reads a `report.json` back. The error says what was found and what was wanted.
    pub fn read(text: &str) -> Result<Earlier, String> {
        let wanted = format!("wanted a report.json of this program ({SCHEMA})");
        let report: Value = serde_json::from_str(text)
            .map_err(|error| format!("found no JSON ({error}), {wanted}"))?;
        let report = report
            .as_object()
            .ok_or_else(|| format!("found no JSON object, {wanted}"))?;
        match report.get("schema") {
            Some(Value::String(schema)) if schema == SCHEMA => {}
            Some(Value::String(schema)) => {
                return Err(format!("found the schema \"{}\", {wanted}", shown(schema)));
            }
            _ => return Err(format!("found no schema, {wanted}")),
        }
        let again = "make it again from its log with this version";
        let compared = report
            .get("for_comparison")
            .and_then(Value::as_object)
            .ok_or_else(|| {
                format!("found no object for_comparison, wanted one of version {VERSION}; {again}")
            })?;
        if compared.get("version").and_then(Value::as_u64) != Some(VERSION) {
            let found = compared.get("version").unwrap_or(&Value::Null).to_string();
            return Err(format!(
                "found version {} of for_comparison, wanted {VERSION}; {again}",
                shown(&found)
            ));
        }
        let logs = report.get("inputs").and_then(Value::as_array);
        let logs = logs.into_iter().flatten();
        Ok(Earlier {
            vehicle: text_of(compared, "vehicle")?,
            unit: match compared.get("unit") {
                None | Some(Value::Null) => None,
                Some(_) => Some(text_of(compared, "unit")?),
            },
            map_fingerprint: text_of(compared, "map_fingerprint")?,
            logs: logs
                .filter_map(|log| log.get("fingerprint")?.as_str().map(str::to_owned))
                .collect(),
            values: values(compared)?,
        })
    }

    /// Whether it is of the car and unit a map names. The error says what was found and what
    /// was wanted.
    pub fn check_same_unit(&self, map: &MapRecord) -> Result<(), String> {
        let wanted = (
            without_vehicle_number(&map.vehicle),
            map.unit.as_deref().map(without_vehicle_number),
        );
        if (self.vehicle.as_str(), self.unit.as_deref()) == (wanted.0.as_ref(), wanted.1.as_deref())
        {
            return Ok(());
        }
        Err(format!(
            "found a report of {}, wanted one of {}",
            named(&self.vehicle, self.unit.as_deref()),
            named(&wanted.0, wanted.1.as_deref())
        ))
    }
}

fn named(vehicle: &str, unit: Option<&str>) -> String {
    match unit {
        Some(unit) => format!("\"{}\" with unit \"{}\"", shown(vehicle), shown(unit)),
        None => format!("\"{}\" with no unit named", shown(vehicle)),
    }
}

fn shown(text: &str) -> String {
    shorten(&clean(text), MOST_SHOWN)
}

fn text_of(object: &Map<String, Value>, key: &str) -> Result<String, String> {
    let found = object.get(key).and_then(Value::as_str);
    found
        .map(str::to_owned)
        .ok_or_else(|| format!("found no text in for_comparison/{key}, wanted one"))
}

fn values(compared: &Map<String, Value>) -> Result<Vec<(Quantity, f64)>, String> {
    let quantities = compared
        .get("quantities")
        .and_then(Value::as_object)
        .ok_or("found no object for_comparison/quantities, wanted one")?;
    let mut values = Vec::new();
    for (quantity, name) in Quantity::ALL {
        let Some(one) = quantities.get(name) else {
            continue;
        };
        let value = match one.get("value") {
            Some(Value::Null) => continue,
            Some(value) => value.as_f64().filter(|value| *value > 0.0),
            None => None,
        };
        let value = value.ok_or_else(|| {
            format!("found no value above 0 and no null in for_comparison/quantities/{name}")
        })?;
        let letter = one.get("grade").and_then(Value::as_str);
        if letter.is_some_and(is_compared) {
            values.push((quantity, value));
        }
    }
    Ok(values)
}

/// The letters A to D stand in order, A the best.
fn is_compared(letter: &str) -> bool {
    matches!(letter, "A" | "B" | "C" | "D") && letter <= COMPARED_FROM.letter()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn report(quantities: &str) -> String {
        format!(
            r#"{{"schema":"{SCHEMA}","inputs":[{{"fingerprint":"ab"}}],"for_comparison":{{"version":1,
            "vehicle":"small car","unit":"SC-1","map_fingerprint":"cd","quantities":{{{quantities}}}}}}}"#
        )
    }

    #[test]
    fn only_good_values_come_back() {
        let text = report(
            r#""dead_time_s":{"value":0.04,"grade":"A","why_null":null},
            "rise_time_s":{"value":0.1,"grade":"C","why_null":null},
            "release_time_s":{"value":null,"grade":null,"why_null":"none"},
            "rise_k_per_kj":{"value":0.5,"grade":"B","why_null":null},
            "of_a_later_version":{"value":"?"}"#,
        );
        let earlier = Earlier::read(&text).unwrap();
        assert_eq!(
            earlier.values,
            [(Quantity::DeadTime, 0.04), (Quantity::RisePerHeat, 0.5)]
        );
        assert_eq!(earlier.logs, ["ab"]);
    }

    #[test]
    fn what_is_no_report_is_refused_with_what_was_found() {
        let good = report("");
        assert!(Earlier::read(&good).is_ok());
        for (text, found) in [
            ("no json".to_owned(), "found no JSON"),
            ("[1]".to_owned(), "found no JSON object"),
            ("{}".to_owned(), "found no schema"),
            (
                good.replace("report/1", "report/2"),
                "found the schema \"halfshaft-report/2\"",
            ),
            (
                good.replace("for_comparison", "other"),
                "found no object for_comparison",
            ),
            (
                good.replace("\"version\":1", "\"version\":2"),
                "found version 2 of for_comparison, wanted 1",
            ),
            (
                good.replace("\"cd\"", "7"),
                "for_comparison/map_fingerprint",
            ),
            (
                report(r#""holding":{"value":-1,"grade":"A"}"#),
                "quantities/holding",
            ),
        ] {
            let error = Earlier::read(&text).unwrap_err();
            assert!(error.contains(found), "{found}: {error}");
        }
    }

    #[test]
    fn another_unit_is_refused_with_both_names() {
        let earlier = Earlier::read(&report("")).unwrap();
        let mut map = MapRecord {
            vehicle: "small car".to_owned(),
            unit: Some("SC-1".to_owned()),
            ..MapRecord::default()
        };
        assert_eq!(earlier.check_same_unit(&map), Ok(()));
        map.unit = Some("SC-2".to_owned());
        let error = earlier.check_same_unit(&map).unwrap_err();
        assert!(error.contains("SC-1") && error.contains("SC-2"), "{error}");
        map.unit = None;
        assert!(earlier.check_same_unit(&map).is_err());
    }
}
