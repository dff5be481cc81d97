//! The run: map, logs, clock, damage in the data, limits that were changed.

use std::fmt;

use halfshaft_health::SettingChanged;
use halfshaft_health::limits::LimitValue;
use halfshaft_model::notice::Tally;
use halfshaft_model::{Code, Stamp};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::document::{self, ClockRecord, InputRecord, MapRecord};
use crate::macros::{stored, words};
use crate::value::{Ordered, foreign};

stored! {
    /// The signal map.
    Map of map: &MapRecord;
    /// Its title.
    title: String = foreign(&map.title),
    /// What else it says of itself: label and text.
    identity: Ordered<String> = map
        .identity
        .iter()
        .map(|(label, text)| (foreign(label), foreign(text)))
        .collect(),
    /// Fingerprint of its text.
    fingerprint: String = map.fingerprint.clone(),
    /// Name of the vehicle.
    vehicle: String = foreign(&map.vehicle),
    /// Name of the axle unit.
    unit: Option<String> = map.unit.as_deref().map(foreign),
}

stored! {
    /// What a workshop stated with the options.
    Workshop of found: &document::Workshop;
    /// Name of the workshop.
    shop: Option<String> = found.shop.as_deref().map(foreign),
    /// Number of its job.
    job: Option<String> = found.job.as_deref().map(foreign),
    /// Reading of the odometer.
    mileage_km: Option<f64> ["km"] = found.mileage_km,
}

stored! {
    /// One log.
    Input of found: (&InputRecord, &ClockRecord);
    {
        let (input, clock) = found;
        let utc = |stamp: Option<Stamp>| stamp.and_then(|stamp| clock.utc(stamp));
    }
    /// Its name, without its folder.
    name: String = foreign(&input.name),
    /// Its format in words.
    format: String = foreign(&input.format),
    /// Its compression in words; null when plain.
    compression: Option<String> = input.compression.clone(),
    /// Size as stored.
    size: u64 ["bytes"] = input.size_bytes,
    /// Fingerprint of those bytes.
    fingerprint: String = input.fingerprint.clone(),
    /// Entries read.
    entries: u64 = input.n_entries,
    /// Lines or records that could not be used.
    lines_skipped: u64 = input.n_lines_skipped,
    /// Stamp of the first entry on the log's own clock; null when there was none.
    first_t_ns: Option<i64> ["ns"] = input.first_stamp.map(|stamp| stamp.0),
    /// The same in seconds.
    first_t: Option<f64> ["s"] = input.first_stamp.map(Stamp::seconds),
    /// Its date; null when the clock has none.
    first_utc: Option<String> = utc(input.first_stamp),
    /// Stamp of the last entry on the log's own clock; null when there was none.
    last_t_ns: Option<i64> ["ns"] = input.last_stamp.map(|stamp| stamp.0),
    /// The same in seconds.
    last_t: Option<f64> ["s"] = input.last_stamp.map(Stamp::seconds),
    /// Its date; null when the clock has none.
    last_utc: Option<String> = utc(input.last_stamp),
    /// What ended the reading early.
    trouble: Option<String> = input.trouble.as_deref().map(foreign),
}

words! {
    /// What the stamps of the log count from.
    ClockKind of document::ClockKind;
    /// Seconds since 1970, UTC.
    Unix = document::ClockKind::Unix,
    /// Seconds since the logger was switched on.
    Boot = document::ClockKind::Boot,
    /// Seconds since the start of the file.
    Relative = document::ClockKind::Relative,
}

stored! {
    /// The clock of the log.
    Clock of clock: &ClockRecord;
    /// What its stamps count from.
    kind: ClockKind = clock.kind.into(),
    /// The same for people.
    words: String = clock.words.clone(),
    /// Stamp of the first entry.
    first_ns: i64 ["ns"] = clock.first_stamp.0,
    /// Its date; null when the clock has none.
    first_utc: Option<String> = clock.utc(clock.first_stamp),
    /// Stamp of the last entry.
    last_ns: i64 ["ns"] = clock.last_stamp.0,
    /// Its date; null when the clock has none.
    last_utc: Option<String> = clock.utc(clock.last_stamp),
}

stored! {
    /// One kind of damage in the data, counted.
    Notice of found: (Code, &Tally);
    {
        let (code, tally) = found;
    }
    /// Stable word.
    code: String = code.word().to_owned(),
    /// What was wrong.
    meaning: String = code.meaning().to_owned(),
    /// How often.
    #[schemars(range(min = 1))]
    count: u64 = tally.count,
    /// Where it was first seen.
    source: String = foreign(&tally.first.source),
    /// The line of it; null where there are no lines.
    #[schemars(range(min = 1))]
    line: Option<u64> = (tally.first.line > 0).then_some(tally.first.line),
    /// What was found there; of a line or cell only its form, each letter as `a` and each digit
    /// as `0`.
    example: String = foreign(&tally.example),
}

stored! {
    /// A limit that was not the usual one.
    Setting of setting: &SettingChanged;
    /// Table and key of the settings file.
    key: String = setting.key.clone(),
    /// The usual value.
    default: Limit = Limit::of(setting.default),
    /// The value judged by.
    value: Limit = Limit::of(setting.value),
    /// Unit of both.
    unit: String = setting.unit.to_owned(),
}

/// A number, or the five upper ends of classes.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(untagged)]
pub enum Limit {
    /// A whole number. It stands first: a reader tries one after the other, and any whole number
    /// is also a number.
    Count(u32),
    /// A number.
    Number(f64),
    /// Upper ends of the first five classes.
    Edges([f64; 5]),
}

impl fmt::Display for Limit {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Limit::Count(value) => LimitValue::Count(value),
            Limit::Number(value) => LimitValue::Number(value),
            Limit::Edges(edges) => LimitValue::Edges(edges),
        }
        .fmt(out)
    }
}

impl Limit {
    fn of(value: LimitValue) -> Limit {
        match value {
            LimitValue::Count(value) => Limit::Count(value),
            LimitValue::Number(value) => Limit::Number(value),
            LimitValue::Edges(edges) => Limit::Edges(edges),
        }
    }
}
