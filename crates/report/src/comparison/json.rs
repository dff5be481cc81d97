//! A comparison as one JSON object, [`SCHEMA`]; `docs/compare.md` explains its keys.

use halfshaft_health::compare::{Change, Compared, Whose};
use halfshaft_record::Record;
use halfshaft_record::value::known;
use serde::Serialize;

use crate::compared::ComparisonDocument;
use crate::words::clean;

/// Name and version of the form.
pub const SCHEMA: &str = "halfshaft-comparison/2";

#[derive(Serialize)]
struct ComparisonJson<'a> {
    schema: &'static str,
    tool_version: &'a str,
    before: Option<SideJson<'a>>,
    after: Option<SideJson<'a>>,
    again: Option<SideJson<'a>>,
    matched_corners: Option<usize>,
    why_not_matched: Option<String>,
    findings: Vec<String>,
    blind_spots: Vec<String>,
    beside: Vec<BesideJson>,
    figures: Vec<FigureJson>,
    next: Vec<String>,
    notes: Vec<String>,
    settings_changed: Vec<String>,
    command: String,
}

#[derive(Serialize)]
struct SideJson<'a> {
    logs: Vec<LogJson<'a>>,
    vehicle: String,
    unit: Option<String>,
    map_fingerprints: Vec<&'a str>,
    drives: usize,
    laps: usize,
}

#[derive(Serialize)]
struct LogJson<'a> {
    name: String,
    fingerprint: &'a str,
}

#[derive(Serialize)]
struct BesideJson {
    title: &'static str,
    unit: &'static str,
    before: Option<f64>,
    after: Option<f64>,
    again: Option<f64>,
    seen: Option<bool>,
}

#[derive(Serialize)]
struct FigureJson {
    name: &'static str,
    title: &'static str,
    unit: &'static str,
    before: Option<f64>,
    after: Option<f64>,
    difference: Option<f64>,
    low: Option<f64>,
    high: Option<f64>,
    smallest: Option<f64>,
    seen: Option<bool>,
    whose: Option<&'static str>,
    block: Option<&'static str>,
    blocks_before: Option<usize>,
    blocks_after: Option<usize>,
    pairs: Option<usize>,
    again: Option<AgainJson>,
    method: &'static str,
    why_null: Option<String>,
}

/// The car as before, driven once more.
#[derive(Serialize)]
struct AgainJson {
    value: Option<f64>,
    difference: Option<f64>,
    low: Option<f64>,
    high: Option<f64>,
    seen: Option<bool>,
    drift: Option<f64>,
    why_null: Option<String>,
}

/// The comparison for another program.
pub fn json<'a>(document: &'a ComparisonDocument<'a>) -> String {
    let comparison = document.comparison;
    let side = |records: &'a [Record], laps: usize| {
        let first = records.first()?;
        let mut map_fingerprints: Vec<&str> = Vec::new();
        for record in records {
            if !map_fingerprints.contains(&record.map.fingerprint.as_str()) {
                map_fingerprints.push(&record.map.fingerprint);
            }
        }
        Some(SideJson {
            logs: records
                .iter()
                .flat_map(|record| &record.inputs)
                .map(|log| LogJson {
                    name: clean(&log.name),
                    fingerprint: &log.fingerprint,
                })
                .collect(),
            vehicle: clean(&first.map.vehicle),
            unit: first.map.unit.as_deref().map(clean),
            map_fingerprints,
            drives: records.len(),
            laps,
        })
    };
    let [before, after, again] = document.sides;
    let [laps_before, laps_after, laps_again] = comparison.n_laps;
    let object = ComparisonJson {
        schema: SCHEMA,
        tool_version: document.program_version,
        before: side(before, laps_before),
        after: side(after, laps_after),
        again: side(again, laps_again),
        matched_corners: comparison.matched.as_ref().ok().copied(),
        why_not_matched: comparison.matched.as_ref().err().map(ToString::to_string),
        findings: document.findings().iter().map(clean).collect(),
        blind_spots: document.blind_spots(),
        beside: comparison
            .beside
            .iter()
            .map(|one| BesideJson {
                title: one.title,
                unit: one.unit,
                before: known(one.before),
                after: known(one.after),
                again: one.again.and_then(known),
                seen: one.is_seen,
            })
            .collect(),
        figures: comparison.figures.iter().map(figure).collect(),
        next: document.next().iter().map(clean).collect(),
        notes: document.notes().iter().map(clean).collect(),
        settings_changed: document.settings_changed(),
        command: clean(&document.command),
    };
    let mut text = serde_json::to_string_pretty(&object).expect(
        "the records hold only numbers, text, lists and objects with text keys, written to memory",
    );
    text.push('\n');
    text
}

fn figure(figure: &Compared) -> FigureJson {
    let change = figure.outcome.as_ref().ok();
    let number = |of: fn(&Change) -> f64| change.and_then(|change| known(of(change)));
    FigureJson {
        name: figure.name,
        title: figure.title,
        unit: figure.unit,
        before: number(|change| change.before),
        after: number(|change| change.after),
        difference: number(|change| change.difference),
        low: number(|change| change.low),
        high: number(|change| change.high),
        smallest: number(|change| change.smallest),
        seen: change.map(Change::is_seen),
        whose: figure.whose.map(Whose::word),
        block: change.map(|change| change.block.word()),
        blocks_before: change.map(|change| change.n_blocks.0),
        blocks_after: change.map(|change| change.n_blocks.1),
        pairs: change.and_then(|change| change.n_pairs),
        again: figure.again.as_ref().map(|again| match again {
            Ok(again) => AgainJson {
                value: known(again.value),
                difference: known(again.back.difference),
                low: known(again.back.low),
                high: known(again.back.high),
                seen: Some(again.back.is_seen()),
                drift: known(again.drift),
                why_null: None,
            },
            Err(reason) => AgainJson {
                value: None,
                difference: None,
                low: None,
                high: None,
                seen: None,
                drift: None,
                why_null: Some(reason.to_string()),
            },
        }),
        method: figure.method,
        why_null: figure.outcome.as_ref().err().map(ToString::to_string),
    }
}
