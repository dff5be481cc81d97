//! Which parts of a log the survey looks at.
//!
//! Parts are counted in entries where the survey looks at payloads, and in time where it looks
//! at columns, and never in pieces: how a log is cut into those changes nothing.

use halfshaft_model::Time;
use halfshaft_model::constants::NS_PER_S;

/// So many entries are all looked at, then so many in a row of every [`EVERY`] times as many.
const ENTRIES: (u64, u64) = (128 * 1024, 1024);

/// The same in nanoseconds of the drive.
const NANOSECONDS: (i64, i64) = (1024 * NS_PER_S, 4 * NS_PER_S);

/// One part in so many is looked at.
const EVERY: u64 = 64;

/// The parts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Parts {
    /// All of the log.
    Whole,
    /// Its beginning, and then one part in many.
    OneInMany,
}

impl Parts {
    /// Whether an entry is looked at, before which there were so many.
    pub(crate) fn has_entry(self, n_before: u64) -> bool {
        let (whole, part) = ENTRIES;
        self == Parts::Whole || n_before < whole || (n_before / part).is_multiple_of(EVERY)
    }

    /// The part that a time lies in, if it is looked at: nothing reaches from one to another.
    pub(crate) fn of_time(self, time: Time) -> Option<i64> {
        let (whole, part) = NANOSECONDS;
        if self == Parts::Whole || time.0 < whole {
            return Some(0);
        }
        let index = time.0 / part;
        (index % EVERY as i64 == 0).then_some(index)
    }

    /// Whether anything from one time to another may be looked at.
    pub(crate) fn has_some(self, start: Time, end: Time) -> bool {
        let round = NANOSECONDS.1 * EVERY as i64;
        self.of_time(start).is_some() || end.0 / round > start.0 / round
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(seconds: f64, wanted: Option<i64>) {
        assert_eq!(
            Parts::OneInMany.of_time(Time::from_seconds(seconds)),
            wanted,
            "{seconds} s"
        );
    }

    #[test]
    fn the_beginning_and_then_four_seconds_of_every_256() {
        check(-1.0, Some(0));
        check(1023.9, Some(0));
        // 1024 s is 256 parts of 4 s, which is four times 64.
        check(1024.0, Some(256));
        check(1027.9, Some(256));
        check(1028.0, None);
        check(1279.9, None);
        check(1280.0, Some(320));
        assert_eq!(Parts::Whole.of_time(Time::from_seconds(1e6)), Some(0));
        let has_some = |start, end| {
            Parts::OneInMany.has_some(Time::from_seconds(start), Time::from_seconds(end))
        };
        assert!(!has_some(1030.0, 1270.0) && has_some(1030.0, 1281.0) && has_some(1026.0, 1030.0));
    }

    #[test]
    fn one_run_of_entries_in_64() {
        let n = (0..1_179_648)
            .filter(|&n| Parts::OneInMany.has_entry(n))
            .count();
        // 128 Ki, and 1 Ki of each of the 16 times 64 Ki that follow.
        assert_eq!(n, 128 * 1024 + 16 * 1024);
    }
}
