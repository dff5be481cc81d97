//! Rendered JSON against `docs/report-schema.json`, with the few keywords that schema
//! uses; a keyword this check does not know is a failure, not a pass.

use crate::hard_day::hard_day;
use crate::sample;
use halfshaft_health::FigureId;
use halfshaft_health::actuator::{Actuator, Motor};
use halfshaft_health::duty::severity_index;
use halfshaft_health::limits::{Limits, SeverityRamps};
use halfshaft_health::two_by_two::{Diagnosis, TwoByTwo};
use halfshaft_health::{Estimate, settings};
use halfshaft_record::Record;
use halfshaft_report::{html, json, terminal};
use serde_json::Value;

fn schema() -> Value {
    serde_json::from_str(include_str!("../../../../docs/report-schema.json")).unwrap()
}

/// Every way `value` breaks `rule`, each with its place.
fn breaches(root: &Value, rule: &Value, value: &Value, at: &str) -> Vec<String> {
    let mut found = Vec::new();
    for (keyword, wanted) in rule.as_object().unwrap() {
        let bad = match keyword.as_str() {
            "$schema" | "$id" | "$defs" | "title" | "description" | "unit" | "default" => false,
            "$ref" => {
                let target = root
                    .pointer(wanted.as_str().unwrap().trim_start_matches('#'))
                    .unwrap();
                found.extend(breaches(root, target, value, at));
                false
            }
            "type" => match wanted {
                Value::Array(names) => !names.iter().any(|name| is_type(value, name)),
                name => !is_type(value, name),
            },
            "const" => value != wanted,
            "enum" => !wanted.as_array().unwrap().contains(value),
            "minimum" => value
                .as_f64()
                .is_some_and(|number| number < wanted.as_f64().unwrap()),
            "maximum" => value
                .as_f64()
                .is_some_and(|number| number > wanted.as_f64().unwrap()),
            "maxItems" => value
                .as_array()
                .is_some_and(|items| items.len() as u64 > wanted.as_u64().unwrap()),
            "minItems" => value
                .as_array()
                .is_some_and(|items| (items.len() as u64) < wanted.as_u64().unwrap()),
            "required" => value.as_object().is_some_and(|object| {
                wanted
                    .as_array()
                    .unwrap()
                    .iter()
                    .any(|key| !object.contains_key(key.as_str().unwrap()))
            }),
            "properties" => {
                for (key, rule) in wanted.as_object().unwrap() {
                    if let Some(inner) = value.get(key) {
                        found.extend(breaches(root, rule, inner, &format!("{at}/{key}")));
                    }
                }
                false
            }
            "additionalProperties" => {
                let known = rule.get("properties").and_then(Value::as_object);
                for (key, inner) in value.as_object().into_iter().flatten() {
                    if known.is_some_and(|known| known.contains_key(key)) {
                        continue;
                    }
                    match wanted {
                        Value::Bool(false) => found.push(format!("{at}/{key}: not in the schema")),
                        rule => found.extend(breaches(root, rule, inner, &format!("{at}/{key}"))),
                    }
                }
                false
            }
            "items" => {
                for (index, inner) in value.as_array().into_iter().flatten().enumerate() {
                    found.extend(breaches(root, wanted, inner, &format!("{at}/{index}")));
                }
                false
            }
            "anyOf" => n_fitting(root, wanted, value) == 0,
            "oneOf" => n_fitting(root, wanted, value) != 1,
            other => panic!("the schema uses `{other}`, which this check does not know"),
        };
        if bad {
            found.push(format!("{at}: {keyword} {wanted}, found {value}"));
        }
    }
    found
}

fn n_fitting(root: &Value, rules: &Value, value: &Value) -> usize {
    rules
        .as_array()
        .unwrap()
        .iter()
        .filter(|rule| breaches(root, rule, value, "").is_empty())
        .count()
}

fn is_type(value: &Value, name: &Value) -> bool {
    match name.as_str().unwrap() {
        "null" => value.is_null(),
        "boolean" => value.is_boolean(),
        "string" => value.is_string(),
        "array" => value.is_array(),
        "object" => value.is_object(),
        "number" => value.is_number(),
        "integer" => value.is_i64() || value.is_u64(),
        other => panic!("unknown type {other}"),
    }
}

#[track_caller]
fn check_fits(text: &str) -> Value {
    let value: Value = serde_json::from_str(text).unwrap();
    let root = schema();
    assert_eq!(breaches(&root, &root, &value, ""), Vec::<String>::new());
    let record = Record::read(text.as_bytes()).unwrap();
    assert_eq!(record.write(), text, "what was read is written otherwise");
    value
}

#[test]
fn documents_fit_the_schema() {
    let notices = sample::notices();
    let full = sample::track_day();
    check_fits(&json::render(&sample::document(&full, &notices)));
    let day = hard_day();
    let value = check_fits(&json::render(&sample::document(&day, &notices)));
    assert_eq!(value["findings"][0]["severity"], "stop");
    assert_eq!(value["class"]["alternative"], 4);
    assert_eq!(value["laps"]["corners"].as_array().unwrap().len(), 30);
    let nothing = sample::nothing();
    let value = check_fits(&json::render(&sample::document(&nothing, &notices)));
    assert_eq!(value["provisional"], true);
    assert!(value["tier"]["number"].is_null());
    assert_eq!(value["findings"], serde_json::json!([]));
}

#[test]
fn the_schema_refuses_what_is_wrong() {
    let (results, notices) = (hard_day(), sample::notices());
    let good: Value =
        serde_json::from_str(&json::render(&sample::document(&results, &notices))).unwrap();
    let root = schema();
    let spoil: [fn(&mut Value); 9] = [
        |value| value["schema"] = "halfshaft-report/1".into(),
        |value| {
            drop(
                value["figures"]["heat_total"]
                    .as_object_mut()
                    .unwrap()
                    .remove("unit"),
            )
        },
        |value| value["figures"]["turn_total"]["value"] = 0.into(),
        |value| value["findings"][0]["severity"] = "look soon".into(),
        |value| value["class"]["level"] = Value::Null,
        |value| value["class"]["meters"][4]["value"] = 0.into(),
        |value| value["laps"]["why_null"] = "none".into(),
        |value| value["extra"] = 1.into(),
        |value| value["events"][0]["start_ns"] = "early".into(),
    ];
    for (index, spoil) in spoil.iter().enumerate() {
        let mut value = good.clone();
        spoil(&mut value);
        assert!(
            !breaches(&root, &root, &value, "").is_empty(),
            "spoiled {index} passed"
        );
    }
}

#[test]
fn changed_settings_are_in_every_form() {
    let (mut results, notices) = (sample::track_day(), sample::notices());
    let unchanged = sample::document(&results, &notices);
    assert!(!html::render(&unchanged).contains("Settings changed"));
    assert!(!terminal::render(&unchanged, 100, false).contains("Settings changed"));
    let mut limits = Limits::default();
    limits.oil.warn_c = 120.5;
    limits.launch.count = 4;
    limits.usage.oil_p99_c[0] = 70.0;
    limits.hit.power_s = 1.0;
    results.settings_changed = settings::changed(&limits);
    let document = sample::document(&results, &notices);
    let value = check_fits(&json::render(&document));
    assert_eq!(
        value["settings_changed"],
        serde_json::json!([
            { "key": "oil.warn_c", "default": 130.0, "value": 120.5, "unit": "°C" },
            { "key": "hit.power_s", "default": 0.3, "value": 1.0, "unit": "s" },
            { "key": "launch.count", "default": 3, "value": 4, "unit": "count" },
            {
                "key": "usage.oil_p99_c", "default": [80.0, 90.0, 100.0, 115.0, 130.0],
                "value": [70.0, 90.0, 100.0, 115.0, 130.0], "unit": "°C"
            },
        ])
    );
    let page = html::render(&document);
    for part in [
        "<span class=\"name\">oil.warn_c</span>",
        "<td class=\"number\">120.5</td>",
        "<td class=\"number\">80, 90, 100, 115, 130</td>",
    ] {
        assert!(page.contains(part), "{part}");
    }
    let text = terminal::render(&document, 120, false).replace("\n   ", "");
    let wanted =
        "Settings changed: oil.warn_c 120.5 °C (usually 130), hit.power_s 1 s (usually 0.3)";
    assert!(text.contains(wanted), "{text}");
    assert!(text.contains("and 1 more."), "{text}");
}

#[test]
fn what_is_not_known_is_null_with_a_reason_and_never_a_number() {
    let (mut results, notices) = (sample::track_day(), sample::notices());
    for figure in &mut results.figures {
        if figure.id == FigureId::HeatPeak {
            figure.outcome = Ok(Estimate {
                value: f64::NAN,
                low: f64::NAN,
                high: f64::INFINITY,
                is_at_least: true,
            });
        }
        if figure.id == FigureId::HeatTotal {
            figure.outcome = Ok(Estimate {
                value: 12.0,
                low: 9.0,
                high: f64::INFINITY,
                is_at_least: true,
            });
        }
    }
    results.events[0].heat_kj = Some(f64::INFINITY);
    results.events[1].heat_kj = None;
    results.quality.channels[0].coverage = f64::NAN;
    let text = json::render(&sample::document(&results, &notices));
    assert!(!text.contains("NaN") && !text.contains(": inf"), "{text}");
    let value = check_fits(&text);
    let oil = &value["figures"]["oil_temp_max"];
    assert!(oil["value"].is_null() && oil["low"].is_null());
    assert_eq!(oil["why_null"], "no oil.temperature in this log");
    let peak = &value["figures"]["heat_peak"];
    assert!(peak["value"].is_null() && peak["grade"].is_null() && peak["why_null"].is_string());
    let heat = &value["figures"]["heat_total"];
    assert_eq!(
        (&heat["value"], &heat["at_least"]),
        (&12.0.into(), &true.into())
    );
    assert!(heat["high"].is_null() && heat["why_null"].is_null());
    assert!(value["events"][0]["heat_kj"].is_null() && value["events"][1]["heat_kj"].is_null());
}

#[test]
fn what_was_judged_has_its_result_or_its_reason() {
    let (mut results, notices) = (sample::track_day(), sample::notices());
    let silent = check_fits(&json::render(&sample::document(&results, &notices)));
    for key in ["actuator", "thermal", "severity", "outlook", "two_by_two"] {
        assert!(silent[key]["result"].is_null(), "{key}");
        assert!(silent[key]["why_null"].is_string(), "{key}");
    }
    assert_eq!(
        silent["oil"]["parts"]["work"]["why_guessed"], "no torque",
        "a guess says that it is one"
    );
    results.actuator = Ok(Actuator::of(
        Vec::new(),
        None,
        Some("clutch.position".to_owned()),
        Motor {
            idle_a: Some(f64::NAN),
            ..Motor::default()
        },
    ));
    // Derived: far beyond its limit a ramp stands at 100.
    let ramps = SeverityRamps::default();
    let endless = Some(f64::INFINITY);
    results.severity = severity_index(&ramps, Some(1e3), Some(0.0), None, endless);
    results.two_by_two = Ok(TwoByTwo {
        diagnosis: Diagnosis::StateSignal,
        n_followed: 1,
        n_asked: 9,
        n_fell: 8,
        n_with_slip: 8,
        sentence: "the slip falls".to_owned(),
    });
    let value = check_fits(&json::render(&sample::document(&results, &notices)));
    let actuator = &value["actuator"]["result"];
    assert_eq!(actuator["signal"], "clutch.position");
    assert_eq!(actuator["engage"]["rise_time"]["told"], "no-event");
    assert!(actuator["engage"]["rise_time"]["median_s"].is_null());
    assert!(actuator["motor"]["idle_a"].is_null() && actuator["throttle_on"].is_null());
    let severity = &value["severity"]["result"];
    assert_eq!(severity["value"], 100.0);
    assert_eq!(severity["winner"], "specific_power");
    assert!(severity["ramps"][3]["value"].is_null());
    assert_eq!(value["two_by_two"]["result"]["diagnosis"], "state-signal");

    let root = schema();
    let spoil: [fn(&mut Value); 4] = [
        |value| value["actuator"]["result"] = Value::Null,
        |value| value["thermal"]["why_null"] = Value::Null,
        |value| value["severity"]["result"]["value"] = 101.into(),
        |value| value["actuator"]["result"]["engage"]["rise_time"]["told"] = "often".into(),
    ];
    for (index, spoil) in spoil.iter().enumerate() {
        let mut value = value.clone();
        spoil(&mut value);
        let found = breaches(&root, &root, &value, "");
        assert!(!found.is_empty(), "spoiled {index} passed");
    }
}
