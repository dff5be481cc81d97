//! Findings with their evidence, and those that could not be looked for.

use super::records::{SpanJson, known};
use halfshaft_health::{EvidenceValue, EvidenceWindow, Finding, NotChecked};
use serde::Serialize;

#[derive(Serialize)]
pub(super) struct FindingJson<'a> {
    id: &'static str,
    title: &'static str,
    severity: &'static str,
    grade: &'static str,
    summary: &'a str,
    evidence: Vec<WindowJson>,
    could_also_be: &'static str,
    next_check: &'static str,
    withdrawn_if: &'static str,
}

impl<'a> FindingJson<'a> {
    pub fn of(finding: &'a Finding) -> FindingJson<'a> {
        FindingJson {
            id: finding.id.word(),
            title: finding.title,
            severity: finding.severity.word(),
            grade: finding.grade.letter(),
            summary: &finding.summary,
            evidence: finding.evidence.iter().map(WindowJson::of).collect(),
            could_also_be: finding.could_also_be,
            next_check: finding.next_check,
            withdrawn_if: finding.withdrawn_if,
        }
    }
}

#[derive(Serialize)]
struct WindowJson {
    #[serde(flatten)]
    span: SpanJson,
    values: Vec<ValueJson>,
}

impl WindowJson {
    fn of(window: &EvidenceWindow) -> WindowJson {
        WindowJson {
            span: SpanJson::of(window.span),
            values: window.values.iter().map(ValueJson::of).collect(),
        }
    }
}

#[derive(Serialize)]
struct ValueJson {
    name: &'static str,
    value: Option<f64>,
    unit: &'static str,
}

impl ValueJson {
    fn of(value: &EvidenceValue) -> ValueJson {
        ValueJson {
            name: value.name,
            value: known(value.value),
            unit: value.unit,
        }
    }
}

#[derive(Serialize)]
pub(super) struct NotCheckedJson<'a> {
    id: &'static str,
    title: &'static str,
    missing: &'a str,
}

impl<'a> NotCheckedJson<'a> {
    pub fn of(item: &'a NotChecked) -> NotCheckedJson<'a> {
        NotCheckedJson {
            id: item.id.word(),
            title: item.title,
            missing: &item.missing,
        }
    }
}
