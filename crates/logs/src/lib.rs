//! Bytes of any log to entries.
//!
//! In: files or streams, plain or compressed, in any format the program knows,
//! recognised by content and never by name. Out: [`halfshaft_model::Batch`]es of entries
//! in log order, streamed, so that memory does not grow with the log. Damage is counted
//! and never fatal; an [`Error`] means that no result is possible. What the entries mean
//! is the map's business; this is the only crate that knows log formats.
//!
//! ```text
//! intake  raw bytes -> counted, hashed, decompressed bytes
//! formats bytes -> entries, one file per format, recognised by the first bytes
//! text    bytes -> UTF-8, for the formats that are text
//! lines   text -> lines, through one buffer
//! input   one input, from its opening to its last entry
//! log     several inputs -> one log, merged by stamp
//! sketch  how a sheet without a map may be read
//! drives  a folder of a recording -> its segments
//! segment one segment -> what of it is whole
//! folder  a folder in place of a log -> the segments of its drive
//! write   frames -> SocketCAN log text, or the segments of a recording
//! ```

mod blocks;
mod context;
pub mod drives;
mod error;
mod folder;
mod formats;
mod input;
mod intake;
mod lines;
mod log;
pub mod segment;
mod sketch;
#[cfg(test)]
mod testing;
#[cfg(test)]
mod tests;
mod text;
pub mod write;

pub use error::Error;
pub use input::Input;
pub use intake::Compression;
pub use log::{Log, Options, Progress, Source};
pub use sketch::{Sketch, sketch};
