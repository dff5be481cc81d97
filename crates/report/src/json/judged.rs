//! Keys of the report for timing, heat, duty, oil and evidence.

use super::actuator::{ActuatorJson, ApparentJson};
use super::duty::{DutyJson, SeverityJson};
use super::evidence::{PathJson, TwoByTwoJson};
use super::oil::OilJson;
use super::outcome::Outcome;
use super::outlook::OutlookJson;
use super::thermal::ThermalJson;
use halfshaft_health::Results;
use serde::Serialize;

/// They stand in the report itself, one after another.
#[derive(Serialize)]
pub(super) struct JudgedJson<'a> {
    actuator: Outcome<ActuatorJson<'a>>,
    apparent: Option<ApparentJson>,
    thermal: Outcome<ThermalJson<'a>>,
    duty: DutyJson<'a>,
    severity: Outcome<SeverityJson>,
    oil: OilJson<'a>,
    outlook: Outcome<OutlookJson<'a>>,
    score_card: Vec<PathJson<'a>>,
    two_by_two: Outcome<TwoByTwoJson<'a>>,
}

impl<'a> JudgedJson<'a> {
    pub fn of(results: &'a Results) -> JudgedJson<'a> {
        JudgedJson {
            actuator: Outcome::of(&results.actuator, ActuatorJson::of),
            apparent: results.apparent.as_ref().map(ApparentJson::of),
            thermal: Outcome::of(&results.thermal, ThermalJson::of),
            duty: DutyJson::of(results),
            severity: Outcome::of(&results.severity, SeverityJson::of),
            oil: OilJson::of(&results.oil_life),
            outlook: Outcome::of(&results.outlook, OutlookJson::of),
            score_card: results.score_card.iter().map(PathJson::of).collect(),
            two_by_two: Outcome::of(&results.two_by_two, TwoByTwoJson::of),
        }
    }
}
