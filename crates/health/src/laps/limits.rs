//! The limits by which laps and corners are told: value, unit, reason, source, sensitivity.

/// Length of a step of the path, m. Source: none, engineering guess: a third of the shortest
/// corner. Sensitivity: where a corner begins and ends is known to about half of it.
pub const STEP_M: f64 = 5.0;

/// Steps kept, 300 km. Reason: memory is bounded. Source: none, engineering guess.
pub const MOST_STEPS: usize = 60_000;

/// A gap longer than this is not bridged by the speed around it, s. Source: none,
/// engineering guess.
pub const LONGEST_BRIDGE_S: f64 = 60.0;

/// Length above which a bend is a corner, m. Source: none, engineering guess.
pub const CORNER_FROM_M: f64 = 15.0;

/// A corner goes on down to this share of the curvature it began with, so that noise does
/// not cut it in two. Source: none, engineering guess.
pub const CORNER_HYSTERESIS: f64 = 0.8;

/// A dip below that no longer than this does not end a corner, m. Source: none,
/// engineering guess.
pub const CORNER_DIP_M: f64 = 10.0;

/// Shortest and longest lap looked for, m. Source: none, engineering guess: from a kart
/// track to the longest circuits.
pub const LAP_M: (f64, f64) = (200.0, 30_000.0);

/// Correlation of the curvature of two laps, one after the other, before they are aligned:
/// from here on a lap length is worth a closer look. Source: none, engineering guess.
pub const CANDIDATE_CORRELATION: f64 = 0.5;

/// Correlation of aligned laps from which the path repeats. Source: none, engineering guess.
pub const LAP_CORRELATION: f64 = 0.8;

/// The same for a path that crosses itself and turns as much to the left as to the right.
/// Source: none, engineering guess.
pub const EIGHT_CORRELATION: f64 = 0.9;

/// How far the heading change of a lap may be from a full turn (or from none), deg, and how
/// much further for each second of it, deg/s: scale and bias of the yaw sensor; and the
/// limit of both, deg. Source: none, engineering guess.
pub const CLOSING_DEG: (f64, f64, f64) = (20.0, 0.2, 60.0);

/// How far from its start, as a share of its length, dead reckoning may end a lap that
/// turns as much to the left as to the right. Reason: a winding road that repeats its bends
/// turns by nothing as well, and goes somewhere. Source: none, engineering guess.
pub const EIGHT_CLOSING: f64 = 0.2;

/// How fast the measured distance of one lap may run away from that of another.
/// Source: none, engineering guess: tyre slip and line, twice 1 %.
pub const DISTANCE_DRIFT: f64 = 0.025;

/// How alike two pieces of road must be, 1 for equal and about 0 for strangers, to be the
/// same. Source: none, engineering guess.
pub const SAME_ROAD: f64 = 0.6;

/// Two changes of the marker within this time are one passing (a pulse, a pressed button), s.
/// Source: none, engineering guess.
pub const MARKER_PASSING_S: f64 = 5.0;

/// A start line reaches this far to either side of its point, m: half the width of a wide
/// track, and what a receiver is off by. Source: none, engineering guess.
pub const GATE_REACH_M: f64 = 30.0;

/// Marker changes kept. Reason: memory is bounded.
pub const MOST_MARKS: usize = 10_000;

/// Laps of this much other length than the usual one are not stretched to it, share.
/// Source: none, engineering guess.
pub const SAME_LENGTH: f64 = 0.03;

/// Corners of two laps are the same when their middles lie within this, m, plus this share
/// of the lap. Source: none, engineering guess.
pub const SAME_PLACE: (f64, f64) = (25.0, 0.005);

/// and their heading changes within this, deg, or this share. Source: none, engineering guess.
pub const SAME_TURN: (f64, f64) = (20.0, 0.35);
