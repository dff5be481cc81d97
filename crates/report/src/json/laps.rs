//! Laps and corners.

use super::records::{SpanJson, known};
use halfshaft_health::{Corner, Lap, Laps};
use serde::Serialize;

#[derive(Serialize)]
pub(super) struct LapsJson {
    method: Option<&'static str>,
    why_null: Option<String>,
    laps: Vec<LapJson>,
    n_corners: u64,
    corners: Vec<CornerJson>,
}

impl LapsJson {
    pub fn of(laps: &Laps) -> LapsJson {
        LapsJson {
            method: laps.method.as_ref().ok().copied(),
            why_null: laps.method.as_ref().err().map(ToString::to_string),
            laps: laps.laps.iter().map(LapJson::of).collect(),
            n_corners: laps.n_corners,
            corners: laps.corners.iter().map(CornerJson::of).collect(),
        }
    }
}

#[derive(Serialize)]
struct LapJson {
    number: u32,
    #[serde(flatten)]
    span: SpanJson,
    length_m: Option<f64>,
    heat_kj: Option<f64>,
    oil_max_c: Option<f64>,
    at_least: bool,
}

impl LapJson {
    fn of(lap: &Lap) -> LapJson {
        LapJson {
            number: lap.number,
            span: SpanJson::of(lap.span),
            length_m: known(lap.length_m),
            heat_kj: known(lap.heat_kj),
            oil_max_c: known(lap.oil_max_c),
            at_least: lap.is_at_least,
        }
    }
}

#[derive(Serialize)]
struct CornerJson {
    lap: Option<u32>,
    number: u32,
    #[serde(flatten)]
    span: SpanJson,
    start_m: Option<f64>,
    length_m: Option<f64>,
    turned_deg: Option<f64>,
    entry_speed_m_per_s: Option<f64>,
    least_speed_m_per_s: Option<f64>,
    heat_kj: Option<f64>,
    at_least: bool,
}

impl CornerJson {
    fn of(corner: &Corner) -> CornerJson {
        CornerJson {
            lap: corner.lap,
            number: corner.number,
            span: SpanJson::of(corner.span),
            start_m: known(corner.start_m),
            length_m: known(corner.length_m),
            turned_deg: known(corner.turned_deg),
            entry_speed_m_per_s: known(corner.entry_speed_m_per_s),
            least_speed_m_per_s: known(corner.least_speed_m_per_s),
            heat_kj: known(corner.heat_kj),
            at_least: corner.is_at_least,
        }
    }
}
