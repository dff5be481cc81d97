//! How hard the drive was on the discs: cycles, exceedance, severity.

use super::outcome::Outcome;
use super::records::known;
use halfshaft_health::Results;
use halfshaft_health::duty::{CycleMatrix, Exceedance, Guide, Ramp, SeverityIndex};
use serde::Serialize;

#[derive(Serialize)]
pub(super) struct DutyJson<'a> {
    torque_cycles: Outcome<CyclesJson<'a>>,
    temperature_cycles: Outcome<CyclesJson<'a>>,
    power: Outcome<ExceedanceJson<'a>>,
    energy: Outcome<ExceedanceJson<'a>>,
    miner_sum: Outcome<Option<f64>>,
}

impl<'a> DutyJson<'a> {
    pub fn of(results: &'a Results) -> DutyJson<'a> {
        let duty = &results.duty;
        // Without torque nothing was counted, which is not the same as no cycles.
        let is_counted = duty.torque_cycles.counts.iter().any(|&count| count > 0.0);
        let torque = || CyclesJson::of(&duty.torque_cycles, "N·m");
        DutyJson {
            torque_cycles: match &results.duty_picture {
                Err(_) if is_counted => Outcome::found(torque()),
                picture => Outcome::of(picture, |_| torque()),
            },
            temperature_cycles: Outcome::of(&duty.temperature_cycles, |matrix| {
                CyclesJson::of(matrix, "°C")
            }),
            power: Outcome::of(&duty.power, ExceedanceJson::of),
            energy: Outcome::of(&duty.energy, ExceedanceJson::of),
            miner_sum: Outcome::of(&duty.miner_sum, |sum| known(*sum)),
        }
    }
}

/// Cells of range by cells of mean; the last of each is open.
#[derive(Serialize)]
struct CyclesJson<'a> {
    unit: &'static str,
    range_edges: &'a [f64],
    mean_edges: &'a [f64],
    counts: Vec<Vec<Option<f64>>>,
    method: &'static str,
}

impl<'a> CyclesJson<'a> {
    fn of(matrix: &'a CycleMatrix, unit: &'static str) -> CyclesJson<'a> {
        let rows = matrix.counts.chunks(matrix.mean_edges.len() + 1);
        CyclesJson {
            unit,
            range_edges: &matrix.range_edges,
            mean_edges: &matrix.mean_edges,
            counts: rows
                .map(|row| row.iter().map(|&count| known(count)).collect())
                .collect(),
            method: "rainflow of the whole drive; a range gone through one way only counts half",
        }
    }
}

#[derive(Serialize)]
struct ExceedanceJson<'a> {
    unit: &'static str,
    levels: &'a [f64],
    per_100_km: Vec<Option<f64>>,
    n_events: usize,
    n_at_least: usize,
    highest: Option<f64>,
    guides: Vec<GuideJson>,
}

impl<'a> ExceedanceJson<'a> {
    fn of(curve: &'a Exceedance) -> ExceedanceJson<'a> {
        ExceedanceJson {
            unit: curve.unit,
            levels: &curve.levels,
            per_100_km: curve.per_100_km.iter().map(|&count| known(count)).collect(),
            n_events: curve.n_events,
            n_at_least: curve.n_at_least,
            highest: known(curve.highest),
            guides: curve.guides.iter().map(GuideJson::of).collect(),
        }
    }
}

#[derive(Serialize)]
struct GuideJson {
    label: &'static str,
    low: Option<f64>,
    high: Option<f64>,
    source: &'static str,
}

impl GuideJson {
    fn of(guide: &Guide) -> GuideJson {
        GuideJson {
            label: guide.label,
            low: known(guide.low),
            high: known(guide.high),
            source: guide.source,
        }
    }
}

#[derive(Serialize)]
pub(super) struct SeverityJson {
    value: Option<f64>,
    at_least: bool,
    winner: Option<&'static str>,
    ramps: Vec<RampJson>,
}

impl SeverityJson {
    pub fn of(severity: &SeverityIndex) -> SeverityJson {
        SeverityJson {
            value: known(severity.value),
            at_least: severity.is_at_least,
            winner: severity.winner,
            ramps: severity.ramps.iter().map(RampJson::of).collect(),
        }
    }
}

#[derive(Serialize)]
struct RampJson {
    name: &'static str,
    title: &'static str,
    unit: &'static str,
    quiet: Option<f64>,
    limit: Option<f64>,
    value: Option<f64>,
    points: Option<f64>,
}

impl RampJson {
    fn of(ramp: &Ramp) -> RampJson {
        RampJson {
            name: ramp.name,
            title: ramp.title,
            unit: ramp.unit,
            quiet: known(ramp.quiet),
            limit: known(ramp.limit),
            value: known(ramp.value),
            points: known(ramp.points),
        }
    }
}
