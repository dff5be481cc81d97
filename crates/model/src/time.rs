//! Two clocks that must never be mixed: the log's stamps and the vehicle's time.
//!
//! A [`Stamp`] is what the log wrote beside an entry: seconds since 1970, since
//! boot, or since the start of a file, with every jump that clock made. A [`Time`]
//! counts from the first entry and never runs backwards; [`crate::timeline::Clock`]
//! makes one from the other. All arithmetic downstream uses `Time`.

use crate::constants::NS_PER_S;

/// A time as written in the log, in nanoseconds of whatever clock the log used.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Stamp(pub i64);

/// A point on the vehicle's clock: nanoseconds since the first entry of the log.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Time(pub i64);

impl Stamp {
    /// The stamp in seconds.
    pub fn seconds(self) -> f64 {
        self.0 as f64 / NS_PER_S as f64
    }

    /// Whether it counts from 1970: a thousand million seconds later is 2001, and no logger has been
    /// on for that long.
    pub fn is_date(self) -> bool {
        self.0 >= NS_PER_S * 1_000_000_000
    }

    /// The stamp nearest to `seconds`.
    pub fn from_seconds(seconds: f64) -> Stamp {
        Stamp((seconds * NS_PER_S as f64).round() as i64)
    }
}

impl Time {
    /// Seconds since the first entry of the log.
    pub fn seconds(self) -> f64 {
        self.0 as f64 / NS_PER_S as f64
    }

    /// The time nearest to `seconds` after the first entry.
    pub fn from_seconds(seconds: f64) -> Time {
        Time((seconds * NS_PER_S as f64).round() as i64)
    }

    /// Seconds from `earlier` to `self`; negative when `earlier` is later.
    #[inline]
    pub fn since(self, earlier: Time) -> f64 {
        // Of numbers that cannot overflow; exact within a hundred days of the first entry.
        (self.0 as f64 - earlier.0 as f64) / NS_PER_S as f64
    }

    /// The time `seconds` later.
    pub fn plus(self, seconds: f64) -> Time {
        Time(
            self.0
                .saturating_add((seconds * NS_PER_S as f64).round() as i64),
        )
    }
}

/// A half-open stretch of vehicle time, `start..end`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Span {
    /// First instant inside.
    pub start: Time,
    /// First instant after.
    pub end: Time,
}

impl Span {
    /// Length in seconds.
    pub fn seconds(self) -> f64 {
        self.end.since(self.start)
    }
}
