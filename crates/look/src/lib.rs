//! What is in a log that nobody has mapped, and which fields may be what.
//!
//! In: [`halfshaft_model::Batch`]es of all entries, of a log of any length. Out: [`Found`]:
//! buses, identifiers with their period, counters, checksums and page numbers, fields, and
//! candidates for wheel speeds and more, each with what speaks for it. Memory does not grow with
//! the log. A candidate is never more than that: this crate names no channel and scales nothing
//! that the log does not scale.
//!
//! ```text
//! watch, tally    every frame of an identifier: counts
//! samples         what is kept: slots of time, the same for all
//! checks          counters, checksums, page numbers
//! field           bits that make numbers, in both byte orders
//! curve, signal   their values at the same instants
//! wheels, roles   what they may be, by physics
//! look            all of it for a log
//! ```

pub mod checks;
mod column;
mod curve;
mod diagnostic;
pub mod field;
pub mod found;
mod judge;
mod look;
mod roles;
mod samples;
pub mod signal;
mod tally;
mod watch;
mod wheels;

pub use found::{Candidate, Column, Drawn, Found, Identifier, Kind, Motion};
pub use look::Look;
pub use signal::Place;
