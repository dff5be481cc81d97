//! Results for another program: `report.json`, which is the stored record of the drive, and
//! `what-if.json`.

pub(crate) mod what_if;

use halfshaft_record::{Document, Record};

/// The record of the drive as text. `docs/report.md` explains it.
pub fn render(document: &Document) -> String {
    Record::of(document).write()
}
