//! What the decoder saw of the log, in numbers.

use halfshaft_model::timeline::Cut;
use halfshaft_model::{Stamp, Time};

/// How much of the log the map covers, and how its frames fared.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Coverage {
    /// Entries of the log.
    pub n_entries: u64,
    /// Entries that the map says something about.
    pub n_mapped: u64,
    /// One for each of `Map::frames`.
    pub frames: Vec<FrameCoverage>,
    /// Rows of each of `Map::sheets` (those of channels).
    pub sheets: Vec<u64>,
    /// Stamp of the first entry.
    pub first: Option<Stamp>,
    /// Stamp of the last entry.
    pub last: Option<Stamp>,
    /// What the clock was ahead of when the log began, once it was set to the date: nanoseconds from
    /// its first stamps to those of a clock that had been right from the start.
    pub set_ahead_ns: Option<i64>,
    /// Nanoseconds of log between cuts, added up.
    pub covered_ns: i64,
    /// Where the clock was cut, and why: the first [`MAX_CUTS`] of them.
    pub cuts: Vec<(Time, Cut)>,
    /// All cuts.
    pub n_cuts: u64,
    /// How much of the log's own clock is passed through more than once, ns.
    pub twice_ns: i64,
}

/// Cuts kept with their place; a log with more has no clock worth the name.
pub const MAX_CUTS: usize = 10_000;

/// How one frame of the map fared.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct FrameCoverage {
    /// Data frames on the bus taken, copies not counted.
    pub n_seen: u64,
    /// Of these, decoded.
    pub n_used: u64,
    /// The bus of the log it was taken from.
    pub bus: Option<String>,
    /// Frames of the same identifier on other buses: not used.
    pub n_elsewhere: u64,
    /// Copies on the same bus, dropped.
    pub n_duplicated: u64,
    /// Older than the one before, dropped.
    pub n_late: u64,
    /// Frames with another length than stated.
    pub n_other_length: u64,
    /// Wrong checksums.
    pub n_checksum_wrong: u64,
    /// Skips of the counter.
    pub n_counter_skips: u64,
    /// Frames lost by the counter's account, an estimate.
    pub n_lost: u64,
    /// Times the counter stood still although the frame came.
    pub n_counter_stood: u64,
    /// The usual time from frame to frame, s.
    pub period_s: Option<f64>,
    /// Gaps in it: silences longer than it may be held, max(0.25 s, three periods).
    pub n_gaps: u64,
    /// These gaps added up, s.
    pub in_gaps_s: f64,
    /// The longest time from frame to frame, s; cuts of the clock not counted.
    pub longest_gap_s: Option<f64>,
    /// Lengths seen and how often, shortest first.
    pub lengths: Vec<(u16, u64)>,
}
