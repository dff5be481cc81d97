//! How fast the oil was used up.

use super::records::known;
use halfshaft_health::Estimate;
use halfshaft_health::oil_life::{OilLife, factor::Factor};
use serde::Serialize;

#[derive(Serialize)]
pub(super) struct OilJson<'a> {
    factor: EstimateJson,
    parts: PartsJson,
    km_equivalent: Option<EstimateJson>,
    distance_km: EstimateJson,
    grade: &'static str,
    basis: &'a str,
}

impl<'a> OilJson<'a> {
    pub fn of(oil: &'a OilLife) -> OilJson<'a> {
        OilJson {
            factor: EstimateJson::of(&oil.factor),
            parts: PartsJson {
                temperature: PartJson::of(&oil.temperature),
                work: PartJson::of(&oil.work),
                calendar: EstimateJson::of(&oil.calendar),
            },
            km_equivalent: oil.km_equivalent.as_ref().map(EstimateJson::of),
            distance_km: EstimateJson::of(&oil.distance_km),
            grade: oil.grade.letter(),
            basis: &oil.basis,
        }
    }
}

#[derive(Serialize)]
struct PartsJson {
    temperature: PartJson,
    work: PartJson,
    calendar: EstimateJson,
}

#[derive(Serialize)]
struct PartJson {
    factor: EstimateJson,
    why_guessed: Option<String>,
}

impl PartJson {
    fn of(part: &Factor) -> PartJson {
        PartJson {
            factor: EstimateJson::of(&part.factor),
            why_guessed: part.why_guessed.as_ref().map(ToString::to_string),
        }
    }
}

/// A value with its 90 % interval.
#[derive(Serialize)]
pub(super) struct EstimateJson {
    value: Option<f64>,
    low: Option<f64>,
    high: Option<f64>,
    at_least: bool,
}

impl EstimateJson {
    pub fn of(estimate: &Estimate) -> EstimateJson {
        EstimateJson {
            value: known(estimate.value),
            low: known(estimate.low),
            high: known(estimate.high),
            at_least: estimate.is_at_least,
        }
    }
}
