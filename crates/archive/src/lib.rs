//! Results and columns to Parquet.
//!
//! In: blocks of columns, derived rows, results, and facts of the run. Out: one table a
//! file, with the meaning and unit of every column and the provenance of the whole in its
//! metadata. Arrow and Parquet live here only. This crate writes to what it is given and
//! opens no file; it computes nothing but values between samples, and those only when a
//! regular rate is asked for.
//!
//! ```text
//! table    one Parquet file: columns in, bytes out
//! about    where the numbers come from: the metadata of every file
//! channels the channels of a drive, measured and derived
//! samples  their values, at their own times or on a grid
//! results  events, figures, gaps, findings, laps, corners, answers of the actuator, bench cycle
//! ```

pub mod about;
pub mod channels;
pub mod results;
pub mod samples;
mod table;
#[cfg(test)]
mod testing;

pub use about::About;
pub use channels::Ground;
pub use samples::{Rate, Samples, copy_without, withheld_channels};
pub use table::Error;
