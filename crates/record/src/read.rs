//! Bytes to a record.
//!
//! In: a `report.json` of this program, of this version or an older one. Out: the record, or what
//! was found, what was expected and where. An old record passes step by step through the versions
//! behind it before it is read; keys nobody knows are left alone.

use halfshaft_model::personal::without_vehicle_number;
use halfshaft_model::{Span, Time};
use serde::Deserialize;
use serde_json::{Map, Value};

use crate::{Record, SCHEMA};

/// From each older version to the next: what it lacks, and what was called otherwise. Version 1 is
/// the first.
const STEPS: [fn(&mut Value); 2] = [gaps_have_a_length, each_time_is_stored];

/// Characters of what was found that are shown.
const MOST_SHOWN: usize = 60;

/// Why bytes are no record that can be read, or one that cannot be compared with.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum Error {
    /// The bytes are no text.
    #[error("found bytes that are no UTF-8 text, expected a report.json of this program")]
    NotText,
    /// The text is no JSON.
    #[error("found no JSON ({0}), expected a report.json of this program ({SCHEMA})")]
    NotJson(String),
    /// The JSON does not name a form.
    #[error("found no schema, expected a report.json of this program ({SCHEMA})")]
    NoSchema,
    /// It names another form.
    #[error(
        "found the schema {}, expected a report.json of this program ({SCHEMA})",
        quoted(found)
    )]
    OtherSchema {
        /// The form it names.
        found: String,
    },
    /// It was written by a later version.
    #[error(
        "found the schema {}, expected {SCHEMA} or older: it was written by a later version of this program",
        quoted(found)
    )]
    FromTheFuture {
        /// The form it names.
        found: String,
    },
    /// A part is missing or holds something else.
    #[error("found a mistake in a report of {}: {mistake}", quoted(schema))]
    Part {
        /// The form it names.
        schema: String,
        /// What is wrong, and where.
        mistake: String,
    },
    /// What it gives to compare with means something else.
    #[error(
        "found version {found} of for_comparison, expected {expected}; make it again from its log with this version"
    )]
    ComparisonVersion {
        /// Its version.
        found: u64,
        /// The version of this program.
        expected: u64,
    },
    /// A value to compare with is none.
    #[error("found {value} in for_comparison/quantities/{name}, expected a value above 0 or null")]
    NotAboveZero {
        /// Name of the quantity.
        name: &'static str,
        /// Its value.
        value: f64,
    },
    /// It is of another car, or of another axle unit.
    #[error("found a report of {found}, expected one of {expected}")]
    OtherUnit {
        /// Vehicle and unit of the record.
        found: String,
        /// Vehicle and unit of the map.
        expected: String,
    },
}

/// Foreign text in quotes, its start only, with what would steer a terminal written out.
pub(crate) fn quoted(text: &str) -> String {
    format!("\"{}\"", shown(text))
}

fn shown(text: &str) -> String {
    let text = without_vehicle_number(text);
    let start = text.chars().take(MOST_SHOWN).flat_map(char::escape_debug);
    let is_cut = text.chars().count() > MOST_SHOWN;
    start.chain(is_cut.then_some('…')).collect()
}

/// What every version begins with.
#[derive(Deserialize)]
struct Head {
    schema: String,
}

impl Record {
    /// Reads a `report.json` of this version or an older one.
    pub fn read(bytes: &[u8]) -> Result<Record, Error> {
        let text = std::str::from_utf8(bytes).map_err(|_| Error::NotText)?;
        let head: Head = serde_json::from_str(text).map_err(|error| match error.is_data() {
            true => Error::NoSchema,
            false => Error::NotJson(error.to_string()),
        })?;
        let read = match &STEPS[version(&head.schema)? - 1..] {
            // Read directly, a mistake has its line and names keep their order.
            [] => serde_json::from_str(text),
            steps => serde_json::from_str(text).and_then(|mut report| {
                for step in steps {
                    step(&mut report);
                }
                report["schema"] = SCHEMA.into();
                serde_json::from_value(report)
            }),
        };
        read.map_err(|error| Error::Part {
            schema: head.schema,
            mistake: mistake(&error),
        })
    }
}

/// The version a form names: from 1 to the one of this program.
fn version(schema: &str) -> Result<usize, Error> {
    let name = SCHEMA.trim_end_matches(|c: char| c.is_ascii_digit());
    let number = schema.strip_prefix(name);
    let found = || schema.to_owned();
    match number.and_then(|number| number.parse().ok()) {
        None | Some(0) => Err(Error::OtherSchema { found: found() }),
        Some(number) if number > STEPS.len() + 1 => Err(Error::FromTheFuture { found: found() }),
        Some(number) => Ok(number),
    }
}

/// What is wrong, and where; in an old record, which is read in steps, there is no line to name.
fn mistake(error: &serde_json::Error) -> String {
    let words = error.to_string();
    match (error.line(), words.rsplit_once(" at line ")) {
        (line @ 1.., Some((words, _))) => {
            let column = error.column();
            format!("line {line}, column {column}: {}", shown(words))
        }
        _ => shown(&words),
    }
}

/// To version 2: a gap has its length as one number, and what is not believed has a list, which
/// nobody knows of an old report.
fn gaps_have_a_length(report: &mut Value) {
    report["trust"] = Value::Array(Vec::new());
    let gaps = report
        .pointer_mut("/quality/gaps")
        .and_then(Value::as_array_mut);
    for gap in gaps.into_iter().flatten() {
        let end = |key: &str| gap.get(key).and_then(Value::as_i64);
        let ends = (end("start_ns"), end("end_ns"));
        if let ((Some(start), Some(end)), Some(gap)) = (ends, gap.as_object_mut()) {
            let length = Span {
                start: Time(start),
                end: Time(end),
            };
            gap.insert("duration_s".to_owned(), length.seconds().into());
        }
    }
}

/// To version 3: what two drives are compared by has each time of the actuator, which nobody knows
/// of an old report. Nor does anybody know oil and voltage in its laps and corners: those keys may
/// be missing.
fn each_time_is_stored(report: &mut Value) {
    let compared = report.pointer_mut("/for_comparison");
    if let Some(compared) = compared.and_then(Value::as_object_mut) {
        compared.insert("times".to_owned(), Value::Object(Map::new()));
    }
    // Nor what the tyres say of the torque held.
    report["held_torque"] = serde_json::json!({
        "result": null,
        "why_null": "this report is of an older version, which did not look for it"
    });
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check_refused(bytes: &[u8], expected: &str) {
        let error = Record::read(bytes).unwrap_err().to_string();
        assert!(error.contains(expected), "{expected}: {error}");
    }

    #[test]
    fn what_is_no_report_is_refused_with_what_was_found() {
        check_refused(&[0xFF, 0xFE], "found bytes that are no UTF-8 text");
        check_refused(
            b"no json",
            "found no JSON (expected ident at line 1 column 2)",
        );
        check_refused(b"[1]", "found no schema");
        check_refused(b"{}", "found no schema");
        check_refused(b"{\"schema\": 2}", "found no schema");
        let of = |schema: &str| format!("{{\"schema\": \"{schema}\"}}");
        check_refused(of("other/1").as_bytes(), "found the schema \"other/1\"");
        check_refused(of("halfshaft-report/0").as_bytes(), "found the schema");
        check_refused(
            of("halfshaft-report/\u{202e}").as_bytes(),
            "report/\\u{202e}\"",
        );
        check_refused(
            of("halfshaft-report/1").as_bytes(),
            "report/1\": missing field",
        );
        let mistake = "report/3\": line 1, column 32: missing field `tool_version`";
        check_refused(of(SCHEMA).as_bytes(), mistake);
        check_refused(
            of("halfshaft-report/4").as_bytes(),
            "or older: it was written by a later",
        );
        let long = Record::read(of(&"x".repeat(500)).as_bytes())
            .unwrap_err()
            .to_string();
        assert!(long.contains("x…\"") && long.len() < 250, "{long}");
    }

    #[test]
    fn a_gap_of_version_1_gets_its_length() {
        let mut report = serde_json::json!({
            "quality": { "gaps": [{ "start_ns": 5, "end_ns": 1_500_000_005 }, { "start_ns": 5 }, 7] }
        });
        gaps_have_a_length(&mut report);
        assert_eq!(report["quality"]["gaps"][0]["duration_s"], 1.5);
        assert_eq!(report["quality"]["gaps"][1].get("duration_s"), None);
    }
}
