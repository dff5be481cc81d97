//! `what-if.json`: another pack beside the car as it is, for another program.
//!
//! In: a document. Out: one object; `docs/whatif.md` explains each key. What is not known
//! is null with its reason, never 0.

use crate::beside::Document;
use crate::words::clean;
use halfshaft_health::Reason;
use halfshaft_health::duty::Exceedance;
use halfshaft_health::what_if::{CANNOT_KNOW, HOW, Line, Other};
use halfshaft_record::value::known;
use serde::Serialize;

/// Name and version of the form.
pub const SCHEMA: &str = "halfshaft-whatif/2";

#[derive(Serialize)]
struct WhatIfJson<'a> {
    schema: &'static str,
    tool_version: &'a str,
    vehicle: String,
    map_fingerprint: &'a str,
    inputs: Vec<String>,
    asked: Vec<AskedJson>,
    capacity_ratio: Option<f64>,
    figures: Vec<LineJson>,
    energy_exceedance: CurvesJson<'a>,
    power_exceedance: CurvesJson<'a>,
    how: [&'static str; 7],
    cannot_know: [&'static str; 6],
    command: String,
}

#[derive(Serialize)]
struct AskedJson {
    what: &'static str,
    unit: &'static str,
    as_it_is: Option<f64>,
    other: f64,
}

#[derive(Serialize)]
struct LineJson {
    name: &'static str,
    title: &'static str,
    unit: &'static str,
    as_it_is: ValueJson,
    same_torque: OtherJson,
    same_force: OtherJson,
}

#[derive(Serialize)]
struct OtherJson {
    standing: &'static str,
    value: Option<f64>,
    low: Option<f64>,
    high: Option<f64>,
    difference: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    why_null: Option<String>,
}

#[derive(Serialize)]
struct ValueJson {
    value: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    why_null: Option<String>,
}

#[derive(Serialize)]
struct CurvesJson<'a> {
    as_it_is: CurveJson<'a>,
    same_torque: CurveJson<'a>,
    same_force: CurveJson<'a>,
}

#[derive(Serialize)]
struct CurveJson<'a> {
    unit: Option<&'static str>,
    levels: &'a [f64],
    per_100_km: &'a [f64],
    #[serde(skip_serializing_if = "Option::is_none")]
    why_null: Option<String>,
}

/// The object as text.
pub fn render(document: &Document) -> String {
    let answer = document.answer;
    let whole = WhatIfJson {
        schema: SCHEMA,
        tool_version: document.program_version,
        vehicle: clean(&document.map.vehicle),
        map_fingerprint: &document.map.fingerprint,
        inputs: document
            .inputs
            .iter()
            .map(|input| clean(&input.name))
            .collect(),
        asked: answer
            .asked
            .iter()
            .map(|asked| AskedJson {
                what: asked.title,
                unit: asked.unit,
                as_it_is: known(asked.logged),
                other: asked.other,
            })
            .collect(),
        capacity_ratio: known(answer.capacity),
        figures: answer.lines.iter().map(line).collect(),
        energy_exceedance: curves(&answer.energy),
        power_exceedance: curves(&answer.power),
        how: HOW,
        cannot_know: CANNOT_KNOW,
        command: clean(&document.command),
    };
    let mut text = serde_json::to_string_pretty(&whole).expect(
        "the records hold only numbers, text, lists and objects with text keys, written to memory",
    );
    text.push('\n');
    text
}

fn line(line: &Line) -> LineJson {
    LineJson {
        name: line.name,
        title: line.title,
        unit: line.unit,
        as_it_is: ValueJson {
            value: known(line.logged.as_ref().ok().copied()),
            why_null: line.logged.as_ref().err().map(ToString::to_string),
        },
        same_torque: of_other(line, &line.same_torque),
        same_force: of_other(line, &line.same_force),
    }
}

fn of_other(line: &Line, other: &Other) -> OtherJson {
    let range = other.range();
    OtherJson {
        standing: other.standing.words(),
        value: known(other.value.as_ref().ok().copied()),
        low: known(range.map(|[low, _]| low)),
        high: known(range.map(|[_, high]| high)),
        difference: known(line.difference(&other.value)),
        why_null: other.value.as_ref().err().map(ToString::to_string),
    }
}

fn curves(all: &[Result<Exceedance, Reason>; 3]) -> CurvesJson<'_> {
    let [as_it_is, same_torque, same_force] = all;
    CurvesJson {
        as_it_is: curve(as_it_is),
        same_torque: curve(same_torque),
        same_force: curve(same_force),
    }
}

fn curve(outcome: &Result<Exceedance, Reason>) -> CurveJson<'_> {
    match outcome {
        Ok(curve) => CurveJson {
            unit: Some(curve.unit),
            levels: &curve.levels,
            per_100_km: &curve.per_100_km,
            why_null: None,
        },
        Err(why) => CurveJson {
            unit: None,
            levels: &[],
            per_100_km: &[],
            why_null: Some(why.to_string()),
        },
    }
}
