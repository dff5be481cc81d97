//! How quickly the clutch answers: dead time, rise, release, and whose delay it is.
//!
//! In: the command, the best signal of what the mechanism did, oil temperature and supply
//! voltage, at their own times. Out: one [`Response`] for each edge of the command, the
//! pool of them, and the delays after the pedal. The figures come from a first-order lag
//! with dead time *driven by the logged command*, so that a controller that backs off early
//! does not make the clutch look quick; crossings stand beside them where the command held.
//! It refuses times that the sample periods cannot tell. It does not judge the clutch.
//!
//! ```text
//! command  -> edges -\
//! response -> series -> record: fit, crossings -> pool (resolution, normal)
//! pedal    -> ladder
//! ```

pub mod apparent;
pub mod crossed;
pub mod crossings;
pub mod edges;
pub mod first_order;
pub mod fit;
pub mod ladder;
mod median_error;
pub mod motor;
pub mod normal;
pub mod pool;
pub mod record;
pub mod resolution;
pub mod series;
#[cfg(test)]
mod testing;
pub mod two_point;
mod valley;
pub mod watch;

pub use crossings::Crossings;
pub use edges::{Direction, Edge};
pub use fit::Fit;
pub use record::{Response, Unusable};
pub use resolution::Resolution;
pub use watch::ResponseWatch;

/// One value at one time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reading {
    /// Time, s, from an origin all readings of one question share.
    pub time_s: f64,
    /// Value.
    pub value: f64,
}
