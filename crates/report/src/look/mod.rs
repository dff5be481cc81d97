//! What `halfshaft look` shows of a log, and the map that `halfshaft map start` begins.
//!
//! In: what the crate `look` found, and what the reader of the log knows. Out: text for a terminal,
//! JSON, one page, a map. Every guess is called a candidate.

pub mod json;
pub mod start;
pub mod terminal;
mod words;

use halfshaft_look::Found;

/// A look at a log, to be shown.
#[derive(Debug)]
pub struct Document<'a> {
    /// What is in it.
    pub found: &'a Found,
    /// Each input: its name and its format.
    pub inputs: Vec<(String, String)>,
    /// Lines that could not be used.
    pub n_lines_skipped: u64,
    /// Version of the program.
    pub program_version: &'a str,
}

pub(crate) use words::{bus, checks, headline, kind, place, seconds, whole};
