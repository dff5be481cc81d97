//! From the log's stamps to the vehicle's clock, which never runs backwards.
//!
//! In: the stamp of every entry in log order. Out: its [`Time`], and whether the
//! timeline is cut just before it. A clock that is set during the drive (from 1970 to
//! today, or back by an hour) must neither invent nor swallow driving: the drive goes
//! on at the cut, and nothing is carried across it.

use crate::constants::NS_PER_S;
use crate::time::{Stamp, Time};

/// Entries may be written out of order by this much without the clock having jumped:
/// two buses are drained one after the other. Source: none, engineering guess.
const DISORDER_NS: i64 = NS_PER_S / 20;

/// A silence of the whole log longer than this cuts the drive: ignition off, or a jump.
/// Source: job practice, "split on a gap over 30 s"; an editable default.
const SILENCE_NS: i64 = 30 * NS_PER_S;

/// A stamp farther than this from the one before is looked at twice: a digit of it may be
/// wrong. Source: none, engineering guess; a log of a bus is rarely silent for so long.
const FAR_NS: i64 = NS_PER_S;

/// A silence longer than this is taken for a clock that was set, not for waiting, and
/// is not counted as time. Source: none, engineering guess (half a day parked).
const CLOCK_SET_NS: i64 = 12 * 3600 * NS_PER_S;

/// Why the timeline is cut.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cut {
    /// The whole log was silent for a while; the clock itself may be right.
    Silence,
    /// The clock stepped forward by more than any wait.
    JumpForward,
    /// The clock stepped back.
    JumpBack,
}

/// Where an entry stands on the vehicle's clock.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Placed {
    /// Time on the vehicle's clock.
    pub time: Time,
    /// Set when nothing may reach from before this entry to it or past it.
    pub cut: Option<Cut>,
}

/// Turns stamps into times. Feed it every entry, mapped or not.
#[derive(Clone, Debug, Default)]
pub struct Clock {
    // Stamp minus time of the current piece; None before the first entry.
    offset_ns: Option<i64>,
    latest: Stamp,
    pieces_ns: i64,
    piece_start: Time,
}

impl Clock {
    /// The time of an entry that simply goes on from those before, as all but a few do; any
    /// other is to be placed.
    #[inline]
    pub fn follow(&mut self, stamp: Stamp) -> Option<Time> {
        let offset = self.offset_ns?;
        if !self.goes_on_at(stamp) {
            return None;
        }
        self.latest = self.latest.max(stamp);
        let time = stamp.0.wrapping_sub(offset);
        Some(Time(time.max(self.piece_start.0)))
    }

    /// Places one entry. Small disorder keeps its own (slightly earlier) time.
    pub fn place(&mut self, stamp: Stamp) -> Placed {
        let Some(offset) = self.offset_ns else {
            self.offset_ns = Some(stamp.0);
            self.latest = stamp;
            return Placed {
                time: Time(0),
                cut: None,
            };
        };
        let step = stamp.0.saturating_sub(self.latest.0);
        if (-DISORDER_NS..=SILENCE_NS).contains(&step) {
            self.latest = self.latest.max(stamp);
            let time = Time(stamp.0.saturating_sub(offset).max(self.piece_start.0));
            return Placed { time, cut: None };
        }
        let cut = match step {
            ..0 => Cut::JumpBack,
            0..=CLOCK_SET_NS => Cut::Silence,
            _ => Cut::JumpForward,
        };
        let reached = Time(self.latest.0.saturating_sub(offset));
        self.pieces_ns = self.covered_ns();
        // After a jump the true wait is unknown; one nanosecond keeps times rising.
        let time = match cut {
            Cut::Silence => Time(stamp.0.saturating_sub(offset)),
            Cut::JumpForward | Cut::JumpBack => Time(reached.0 + 1),
        };
        self.offset_ns = Some(stamp.0.saturating_sub(time.0));
        self.latest = stamp;
        self.piece_start = time;
        Placed {
            time,
            cut: Some(cut),
        }
    }

    /// Whether a stamp is far from the latest one, ahead or behind.
    #[inline]
    pub fn is_far(&self, stamp: Stamp) -> bool {
        self.offset_ns.is_some() && stamp.0.abs_diff(self.latest.0) > FAR_NS as u64
    }

    /// Whether the log would simply go on at a stamp.
    #[inline]
    pub fn goes_on_at(&self, stamp: Stamp) -> bool {
        (-DISORDER_NS..=FAR_NS).contains(&stamp.0.saturating_sub(self.latest.0))
    }

    /// The time of the latest entry so far.
    pub fn reached(&self) -> Time {
        Time(
            self.latest
                .0
                .saturating_sub(self.offset_ns.unwrap_or(self.latest.0)),
        )
    }

    /// Nanoseconds of log between cuts, added up: silences and jumps are not counted.
    pub fn covered_ns(&self) -> i64 {
        self.pieces_ns + self.reached().0.saturating_sub(self.piece_start.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn place_all(seconds: &[f64]) -> (Vec<(f64, Option<Cut>)>, f64) {
        let mut clock = Clock::default();
        let placed = seconds
            .iter()
            .map(|&s| clock.place(Stamp::from_seconds(s)))
            .map(|placed| ((placed.time.seconds() * 1e3).round() / 1e3, placed.cut))
            .collect();
        (placed, clock.covered_ns() as f64 / 1e9)
    }

    #[test]
    fn starts_at_zero_whatever_the_clock_counts_from() {
        for origin in [0.0, 46_408.5, 1_580_765_471.0] {
            let (placed, covered) = place_all(&[origin, origin + 1.0]);
            assert_eq!(placed, [(0.0, None), (1.0, None)]);
            assert!((covered - 1.0).abs() < 1e-6);
        }
    }

    #[test]
    fn a_clock_set_forward_or_back_cuts_and_invents_no_driving() {
        let (placed, covered) = place_all(&[0.0, 1.0, 1.5e9, 1.5e9 + 1.0]);
        assert_eq!(placed[2], (1.0, Some(Cut::JumpForward)));
        assert_eq!(placed[3], (2.0, None));
        assert!((covered - 2.0).abs() < 1e-6);

        let (placed, covered) = place_all(&[100.0, 101.0, 50.0, 51.0]);
        assert_eq!(placed[2], (1.0, Some(Cut::JumpBack)));
        assert_eq!(placed[3], (2.0, None));
        assert!((covered - 2.0).abs() < 1e-6);
    }

    #[test]
    fn a_silence_keeps_its_length_on_the_clock_and_is_not_covered() {
        let (placed, covered) = place_all(&[0.0, 1.0, 61.0, 62.0]);
        assert_eq!(placed[2], (61.0, Some(Cut::Silence)));
        assert!((covered - 2.0).abs() < 1e-6);
    }

    #[test]
    fn small_disorder_is_not_a_jump() {
        let (placed, _) = place_all(&[0.0, 1.0, 0.99, 1.01]);
        assert_eq!(placed[2], (0.99, None));
        assert_eq!(placed[3], (1.01, None));
    }
}
