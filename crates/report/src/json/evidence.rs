//! Evidence by way to fail, and whether mechanism and friction follow.

use halfshaft_health::score_card::PathEvidence;
use halfshaft_health::two_by_two::TwoByTwo;
use serde::Serialize;

#[derive(Serialize)]
pub(super) struct PathJson<'a> {
    id: &'static str,
    title: &'static str,
    for_it: &'a [String],
    against: &'a [String],
    cannot_tell: &'a [String],
    next_check: &'static str,
}

impl<'a> PathJson<'a> {
    pub fn of(path: &'a PathEvidence) -> PathJson<'a> {
        PathJson {
            id: path.id,
            title: path.title,
            for_it: &path.for_it,
            against: &path.against,
            cannot_tell: &path.cannot_tell,
            next_check: path.next_check,
        }
    }
}

#[derive(Serialize)]
pub(super) struct TwoByTwoJson<'a> {
    diagnosis: &'static str,
    n_followed: usize,
    n_asked: usize,
    n_fell: usize,
    n_with_slip: usize,
    sentence: &'a str,
}

impl<'a> TwoByTwoJson<'a> {
    pub fn of(found: &'a TwoByTwo) -> TwoByTwoJson<'a> {
        TwoByTwoJson {
            diagnosis: found.diagnosis.word(),
            n_followed: found.n_followed,
            n_asked: found.n_asked,
            n_fell: found.n_fell,
            n_with_slip: found.n_with_slip,
            sentence: &found.sentence,
        }
    }
}
