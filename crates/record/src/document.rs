//! What a report is made of: the results, and the facts of the run they came from.

use halfshaft_health::Results;
use halfshaft_model::{Notices, Stamp};

/// Everything a report says, in whichever form.
#[derive(Clone, Debug)]
pub struct Document<'a> {
    /// The figures and what stands around them.
    pub results: &'a Results,
    /// The logs, in the order they were given.
    pub inputs: Vec<InputRecord>,
    /// What was wrong with the data.
    pub notices: &'a Notices,
    /// What looks wrong when log and map are compared, in words.
    pub remarks: Vec<String>,
    /// The signal map.
    pub map: MapRecord,
    /// Version of the program.
    pub program_version: &'a str,
    /// With which earlier drives it was compared, in a sentence; `None` when with none.
    pub compared_with: Option<String>,
    /// The command that makes this report again.
    pub command: String,
    /// The clock of the log.
    pub clock: ClockRecord,
    /// Whose report it is, where somebody stated it.
    pub workshop: Option<Workshop>,
    /// Names of the files written beside this text; shown on the terminal only.
    pub files_written: Vec<String>,
}

/// What a workshop writes on its papers. No log holds it: it is stated with the options.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Workshop {
    /// Its name.
    pub shop: Option<String>,
    /// Number of its job.
    pub job: Option<String>,
    /// Reading of the odometer, km.
    pub mileage_km: Option<f64>,
}

/// One log.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct InputRecord {
    /// Its name without its folder, or `standard input`.
    pub name: String,
    /// Its format in words.
    pub format: String,
    /// Its compression in words; `None` when plain.
    pub compression: Option<String>,
    /// Bytes read, as stored.
    pub size_bytes: u64,
    /// Fingerprint of those bytes, hexadecimal.
    pub fingerprint: String,
    /// Entries read.
    pub n_entries: u64,
    /// Lines or records that could not be used.
    pub n_lines_skipped: u64,
    /// Stamp of the first entry; `None` when there was none.
    pub first_stamp: Option<Stamp>,
    /// Stamp of the last entry.
    pub last_stamp: Option<Stamp>,
    /// What ended the reading early, in words.
    pub trouble: Option<String>,
}

/// The signal map a report was made with.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct MapRecord {
    /// Its title.
    pub title: String,
    /// What else it says of itself, in its order: author, date, model year, ….
    pub identity: Vec<(String, String)>,
    /// Fingerprint of its text, hexadecimal.
    pub fingerprint: String,
    /// Name of the vehicle.
    pub vehicle: String,
    /// Name of the axle unit.
    pub unit: Option<String>,
}

/// What the log's stamps count from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ClockKind {
    /// Seconds since 1970, UTC.
    Unix,
    /// Seconds since the logger was switched on.
    Boot,
    /// Seconds since the start of the file.
    Relative,
}

impl ClockKind {
    /// Stable word.
    pub fn word(self) -> &'static str {
        match self {
            ClockKind::Unix => "unix",
            ClockKind::Boot => "boot",
            ClockKind::Relative => "relative",
        }
    }
}

/// The clock of the log.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ClockRecord {
    /// Stamp of the first entry.
    pub first_stamp: Stamp,
    /// Stamp of the last entry.
    pub last_stamp: Stamp,
    /// What the stamps count from; 1970 also where the clock was set to the date on the way.
    pub kind: ClockKind,
    /// What stamps before that lack, ns.
    pub set_ahead_ns: i64,
    /// The same in words, for a page: `date unknown: the logger had no clock`.
    pub words: String,
}

impl ClockRecord {
    /// The UTC second of a stamp, `2024-05-03 09:12:44 UTC`; `None` unless the stamps
    /// count from 1970.
    pub fn utc(&self, stamp: Stamp) -> Option<String> {
        if self.kind != ClockKind::Unix {
            return None;
        }
        let set_ahead_ns = if stamp.is_date() {
            0
        } else {
            self.set_ahead_ns
        };
        let ns = i128::from(stamp.0) + i128::from(set_ahead_ns);
        let instant = jiff::Timestamp::from_nanosecond(ns).ok()?;
        let second = instant.to_string();
        let second = second.get(..19)?;
        Some(format!("{} UTC", second.replace('T', " ")))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_a_clock_that_counts_from_1970_has_a_date() {
        let clock = |kind| ClockRecord {
            first_stamp: Stamp(0),
            last_stamp: Stamp(0),
            kind,
            set_ahead_ns: 0,
            words: String::new(),
        };
        // Source: POSIX, seconds since the epoch; 1 000 000 000 s is 2001-09-09T01:46:40Z.
        let stamp = Stamp::from_seconds(1e9);
        assert_eq!(
            clock(ClockKind::Unix).utc(stamp).as_deref(),
            Some("2001-09-09 01:46:40 UTC")
        );
        assert_eq!(
            clock(ClockKind::Unix).utc(Stamp(-1)).as_deref(),
            Some("1969-12-31 23:59:59 UTC")
        );
        // Set a minute after the logger was switched on.
        let set = ClockRecord {
            set_ahead_ns: Stamp::from_seconds(1e9 - 60.0).0,
            ..clock(ClockKind::Unix)
        };
        assert_eq!(
            set.utc(Stamp::from_seconds(12.0)).as_deref(),
            Some("2001-09-09 01:45:52 UTC")
        );
        assert_eq!(set.utc(stamp), clock(ClockKind::Unix).utc(stamp));
        assert_eq!(clock(ClockKind::Boot).utc(stamp), None);
        assert_eq!(clock(ClockKind::Relative).utc(stamp), None);
        assert!(clock(ClockKind::Unix).utc(Stamp(i64::MIN)).is_some());
    }
}
