//! Damage in the data, counted by kind.

use crate::words::without_vehicle_number;
use halfshaft_model::{Code, notice::Tally};
use serde::Serialize;
use std::borrow::Cow;

#[derive(Serialize)]
pub(super) struct NoticeJson<'a> {
    code: &'static str,
    meaning: &'static str,
    count: u64,
    source: Cow<'a, str>,
    line: Option<u64>,
    example: &'a str,
}

impl<'a> NoticeJson<'a> {
    pub fn of((code, tally): (Code, &'a Tally)) -> NoticeJson<'a> {
        NoticeJson {
            code: code.word(),
            meaning: code.meaning(),
            count: tally.count,
            source: without_vehicle_number(&tally.first.source),
            line: (tally.first.line > 0).then_some(tally.first.line),
            example: &tally.example,
        }
    }
}
