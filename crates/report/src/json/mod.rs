//! `report.json`: the results for another program.
//!
//! In: a [`Document`]. Out: one object, keys in the order of [`records`], pretty printed,
//! with a newline at its end. Numbers have full precision. What is not known is null and
//! never 0, and NaN or an infinity is null too. `docs/report.md` explains each key,
//! `docs/report-schema.json` is the schema; a change that breaks a reader raises
//! [`SCHEMA`].

mod actuator;
mod calibration;
mod duty;
mod duty_picture;
mod evidence;
mod findings;
mod for_comparison;
mod judged;
mod laps;
mod notices;
mod oil;
mod outcome;
mod outlook;
pub(crate) mod records;
mod settings;
mod thermal;
mod use_class;
pub(crate) mod what_if;

pub use for_comparison::Earlier;

use crate::document::Document;

/// Name and version of the form.
pub const SCHEMA: &str = "halfshaft-report/1";

/// The object as text.
pub fn render(document: &Document) -> String {
    let report = records::Report::of(document);
    let mut text = serde_json::to_string_pretty(&report).expect(
        "the records hold only numbers, text, lists and objects with text keys, written to memory",
    );
    text.push('\n');
    text
}
