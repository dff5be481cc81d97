//! Results to terminal, JSON and one HTML page.
//!
//! In: [`halfshaft_health::Results`] and a few facts about the run, joined in a
//! [`Document`]. Out: text. Nothing here computes a figure, opens a file or asks the
//! clock: the same document gives the same bytes. Units are turned into the ones of a
//! page here, text from a log or a map is made harmless here, and a number that is not
//! known is shown as a reason, never as 0.

mod beside;
pub mod calibration;
mod causes;
mod compared;
pub mod comparison;
pub mod corners;
pub mod html;
pub mod json;
pub mod look;
mod noted;
mod open_questions;
pub mod ranking;
pub mod sentences;
pub mod terminal;
pub mod track;
pub mod verdict;
pub mod what_if;
pub mod words;

pub use halfshaft_record::document;
pub use halfshaft_record::document::{ClockKind, ClockRecord, Document, InputRecord, MapRecord};
