//! The grid of the path, and bounds on memory. What judges is in `crate::limits`.

/// Length of a step of the path, m. Source: none, engineering guess: a third of the shortest
/// corner. Sensitivity: where a corner begins and ends is known to about half of it.
pub const STEP_M: f64 = 5.0;

/// Steps kept, 300 km. Reason: memory is bounded. Source: none, engineering guess.
pub const MOST_STEPS: usize = 60_000;

/// Marker changes kept. Reason: memory is bounded.
pub const MOST_MARKS: usize = 10_000;
