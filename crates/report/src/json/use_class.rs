//! The class of use and its needles.

use super::records::known;
use crate::words::NOT_FINITE;
use halfshaft_health::{Meter, Results, UseClass};
use serde::Serialize;

#[derive(Serialize)]
pub(super) struct ClassJson<'a> {
    level: Option<u8>,
    word: Option<&'static str>,
    alternative: Option<u8>,
    at_least: bool,
    meters: Vec<MeterJson>,
    sentence: Option<&'a str>,
    counterfactual: Option<&'a str>,
    stretches: Vec<StretchJson>,
    why_null: Option<String>,
}

impl<'a> ClassJson<'a> {
    pub fn of(results: &'a Results) -> ClassJson<'a> {
        let class = results.class.as_ref().ok();
        let stretches = class.map_or(&[][..], |class| &class.stretches);
        ClassJson {
            level: class.map(|class| class.level),
            word: class.map(|class| UseClass::word(class.level)),
            alternative: class.and_then(|class| class.alternative),
            at_least: class.is_some_and(|class| class.is_at_least),
            meters: results.meters.iter().map(MeterJson::of).collect(),
            sentence: class.map(|class| class.sentence.as_str()),
            counterfactual: class.and_then(|class| class.counterfactual.as_deref()),
            stretches: stretches.iter().map(StretchJson::of).collect(),
            why_null: results.class.as_ref().err().map(ToString::to_string),
        }
    }
}

#[derive(Serialize)]
struct MeterJson {
    name: &'static str,
    title: &'static str,
    unit: &'static str,
    edges: [f64; 5],
    value: Option<f64>,
    low: Option<f64>,
    high: Option<f64>,
    at_least: bool,
    why_null: Option<String>,
}

impl MeterJson {
    fn of(meter: &Meter) -> MeterJson {
        let reading = meter.reading.as_ref();
        let reading_known = reading.ok().filter(|reading| reading.value.is_finite());
        MeterJson {
            name: meter.name,
            title: meter.title,
            unit: meter.unit,
            edges: meter.edges,
            value: reading_known.map(|reading| reading.value),
            low: reading_known.and_then(|reading| known(reading.low)),
            high: reading_known.and_then(|reading| known(reading.high)),
            at_least: reading_known.is_some_and(|reading| reading.is_at_least),
            why_null: match reading {
                Err(why) => Some(why.to_string()),
                Ok(_) => reading_known.is_none().then(|| NOT_FINITE.to_owned()),
            },
        }
    }
}

#[derive(Serialize)]
struct StretchJson {
    level: u8,
    word: &'static str,
    km: Option<f64>,
}

impl StretchJson {
    fn of(&(level, km): &(u8, f64)) -> StretchJson {
        StretchJson {
            level,
            word: UseClass::word(level),
            km: known(km),
        }
    }
}
