//! The verdict of the drive.

use halfshaft_health::verdict::{Deadline, Kind, Shortfall};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::findings::Severity;
use crate::macros::stored;
use crate::value::known;

/// Which verdict it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Word {
    /// Something was found.
    Found,
    /// Every check was made on enough driving, and none found anything.
    NothingFound,
    /// Nothing was found, but not everything was looked for.
    NothingSeen,
    /// The log does not show the clutch at work.
    CannotTell,
}

stored! {
    /// The verdict of the drive.
    Verdict of verdict: &halfshaft_health::Verdict;
    {
        let (word, severity) = match verdict.kind {
            Kind::Found(severity) => (Word::Found, Some(severity.into())),
            Kind::NothingFound => (Word::NothingFound, None),
            Kind::NothingSeen => (Word::NothingSeen, None),
            Kind::CannotTell(_) => (Word::CannotTell, None),
        };
        let (days, km) = match verdict.deadline() {
            Some(Deadline::Now) => (Some(0), Some(0.0)),
            Some(Deadline::Within { days, km }) => (Some(days), known(km)),
            Some(Deadline::NextService) | None => (None, None),
        };
    }
    /// Which it is.
    word: Word = word,
    /// How grave the gravest finding on the car is; null for every word but found.
    severity: Option<Severity> = severity,
    /// What stands between "nothing seen" and "nothing wrong found".
    doubts: Vec<Doubt> = verdict.doubts.iter().map(Doubt::of).collect(),
    /// Checks this version of the program knows; null in reports of older versions.
    n_checks: Option<u64> = Some(verdict.n_checks as u64),
    /// Those that this log allowed.
    n_made: Option<u64> = Some(verdict.n_made as u64),
    /// Days from the end of the drive in which to act; 0 is before driving on, null at the next
    /// service or where there is nothing to act on.
    deadline_days: Option<u32> ["d"] = days,
    /// The same as a distance; what comes first counts.
    deadline_km: Option<f64> ["km"] = km,
}

stored! {
    /// What was not looked for, or not on enough of a good log.
    Doubt of doubt: &Shortfall;
    /// Stable word: few-engagements, engagements-unknown, not-checked or poor-log.
    id: String = doubt.word().to_owned(),
    /// The same in words.
    sentence: String = doubt.to_string(),
}
