//! What is known of a drive at one moment, in the form in which programs get it: one line of JSON
//! for each snapshot.
//!
//! Every value has its age. One that is old says so, one that is missing says why, and one that the
//! rest of the drive may still change is provisional.

use serde::Serialize;

use crate::recording::Recording;

/// Name and version of the form. A change that breaks a reader raises it.
pub const SCHEMA: &str = "halfshaft-live/1";

/// A drive at one moment.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Snapshot {
    /// Name and version of the form.
    pub schema: &'static str,
    /// Which drive since the program was started, from 1.
    pub drive: u32,
    /// The vehicle, as the map names it.
    pub vehicle: String,
    /// The drive goes on; every value may still change.
    pub is_provisional: bool,
    /// Time of the drive, s.
    pub drive_s: f64,
    /// When the drive began, s since 1970; `None` where the stamps are no dates.
    pub began_s: Option<f64>,
    /// What is kept and lost.
    pub recording: Recording,
    /// Entries that are kept and that the live side had no time for: what follows lacks them.
    pub n_left_out: u64,
    /// What keeps all values from being there, in words.
    pub trouble: Option<String>,
    /// What the car does now.
    pub now: Now,
    /// Heat of lap and stint.
    pub heat: Heat,
    /// The oil.
    pub oil: Temperature,
    /// The pack.
    pub pack: Temperature,
    /// Laps until the oil is at its limit, counted from the last lap.
    pub laps_left: LapsLeft,
    /// Laps driven, in order, the last [`MOST_LAPS`] of them.
    pub laps: Vec<Lap>,
    /// Why there are no laps.
    pub no_laps: Option<String>,
    /// The corner that costs most heat a lap.
    pub costliest_corner: Corner,
    /// Engagements that have ended, latest first, [`MOST_LISTED`] of them.
    pub events: Vec<Event>,
    /// Findings so far, gravest first, [`MOST_LISTED`] of them.
    pub findings: Vec<Finding>,
    /// Notes, latest first, [`MOST_LISTED`] of them.
    pub marks: Vec<Mark>,
    /// The figures of the report, once the drive has ended.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub figures: Vec<Figure>,
}

/// Laps that are listed.
pub const MOST_LAPS: usize = 30;

/// Events, findings and marks that are listed.
pub const MOST_LISTED: usize = 10;

/// One live value.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Value {
    /// The number; `None` where there is none.
    pub value: Option<f64>,
    /// Its unit.
    pub unit: &'static str,
    /// In words, where it is no number.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub words: Option<&'static str>,
    /// Why there is no value.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
    /// Time of the newest sample it rests on, s since the drive began.
    pub at_s: Option<f64>,
    /// The same as age, s.
    pub age_s: Option<f64>,
    /// From this age on it is stale, s; `None`: it does not age.
    pub stale_from_s: Option<f64>,
    /// It is too old to be what the car does now.
    pub is_stale: bool,
    /// The rest of the drive may still change it.
    pub is_provisional: bool,
    /// A gap hides a part of it: it is this or more.
    #[serde(skip_serializing_if = "is_false")]
    pub is_at_least: bool,
}

fn is_false(flag: &bool) -> bool {
    !*flag
}

impl Value {
    /// One that is missing for a reason.
    pub fn missing(unit: &'static str, why: impl ToString) -> Value {
        Value {
            unit,
            why: Some(why.to_string()),
            is_provisional: true,
            ..Value::default()
        }
    }

    /// Takes the number away.
    pub fn withheld(self, why: impl ToString) -> Value {
        Value {
            value: None,
            words: None,
            why: Some(why.to_string()),
            ..self
        }
    }

    /// Another number that rests on the same samples.
    pub fn of_same_age(&self, value: Option<f64>, unit: &'static str) -> Value {
        Value {
            value,
            unit,
            words: None,
            ..self.clone()
        }
    }
}

/// What the car does now.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Now {
    /// Speed over the road.
    pub road_speed: Value,
    /// Axle speed difference, right less left, mean over 0.2 s.
    pub axle_speed_difference: Value,
    /// Slip of the pack, mean over 0.2 s.
    pub slip: Value,
    /// Command.
    pub command: Value,
    /// What the mechanism says of itself.
    pub state: Value,
    /// Open, slipping under load or locked, in words.
    pub engagement: Value,
    /// Heat of the pack, mean of the last second.
    pub heat: Value,
}

/// Heat so far.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Heat {
    /// Of the lap that goes on.
    pub lap: Value,
    /// Of the last lap.
    pub last_lap: Value,
    /// Since the stint began: with the drive, or with the latest mark.
    pub stint: Value,
    /// Of the drive.
    pub drive: Value,
}

/// A temperature and its limit.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Temperature {
    /// Now: of the sensor where there is one, else by the model.
    pub now: Value,
    /// What it rests on, in words.
    pub basis: String,
    /// The limit, °C.
    pub limit_c: Option<f64>,
    /// Room to the limit; below 0 it is passed.
    pub margin: Value,
    /// Time until it is at the limit at the heat of the last minute.
    pub time_to_limit: Value,
}

/// Laps until the oil is at its limit.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct LapsLeft {
    /// How many.
    pub laps: Value,
    /// Low end of the 90 % interval.
    pub low: Option<f64>,
    /// High end.
    pub high: Option<f64>,
}

/// A lap that was driven.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Lap {
    /// Its number, from 1.
    pub number: u32,
    /// How long it took, s.
    pub seconds: f64,
    /// Heat of the pack, kJ; `None` where the torque is not known.
    pub heat_kj: Option<f64>,
    /// Highest oil, °C.
    pub oil_max_c: Option<f64>,
    /// A gap hides a part of it.
    pub is_at_least: bool,
}

/// The costliest corner.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Corner {
    /// Its number in the lap, from 1.
    pub number: Option<u32>,
    /// Its mean heat each time it was driven.
    pub heat: Value,
    /// How often it was driven.
    pub n_times: u32,
    /// Its share of the heat of all corners, each by its mean.
    pub share: Option<f64>,
}

/// An engagement that has ended.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Event {
    /// When it began, s since the drive began.
    pub start_s: f64,
    /// How long it took, s.
    pub seconds: f64,
    /// By the command, or slip alone.
    pub is_commanded: bool,
    /// Highest command, 0 to 1.
    pub command_peak: Option<f64>,
    /// Heat, kJ.
    pub heat_kj: Option<f64>,
    /// A gap lies in it: its numbers are lower bounds.
    pub is_broken: bool,
}

/// A finding so far.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Finding {
    /// Stable word.
    pub id: &'static str,
    /// Name.
    pub title: &'static str,
    /// `note`, `look-soon`, `act` or `stop`.
    pub severity: &'static str,
    /// Since when it stands, s since the drive began.
    pub since_s: f64,
    /// What was seen.
    pub summary: String,
}

/// A note of somebody who was there.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Mark {
    /// When, s since the drive began.
    pub at_s: f64,
    /// What it says.
    pub note: String,
}

/// A figure of the report.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Figure {
    /// Its key in `report.json`.
    pub id: &'static str,
    /// Its name.
    pub title: &'static str,
    /// Its unit.
    pub unit: &'static str,
    /// The number.
    pub value: Option<f64>,
    /// Low end of its 90 % interval.
    pub low: Option<f64>,
    /// High end.
    pub high: Option<f64>,
    /// Its grade.
    pub grade: Option<&'static str>,
    /// Why there is no number.
    pub why: Option<String>,
}
