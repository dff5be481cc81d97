//! The look as JSON. Numbers are codes unless their key says a unit.

use halfshaft_look::{Candidate, Drawn, Identifier, Motion, Place};
use serde_json::{Value, json};

use super::{Document, bus, checks, place};
use crate::words::clean;

/// The look as JSON text.
pub fn render(document: &Document) -> String {
    let found = document.found;
    let value = json!({
        "made_by": format!("halfshaft {}", document.program_version),
        "inputs": document.inputs.iter().map(|(name, format)| json!({
            "name": clean(name), "format": clean(format),
        })).collect::<Vec<_>>(),
        "duration_s": found.duration_s,
        "looked_at_s": found.looked_at_s,
        "clock_is_a_date": found.first.is_some_and(|stamp| stamp.is_date()),
        "n_frames": found.n_frames,
        "n_rows": found.n_rows,
        "n_error_frames": found.n_errors,
        "n_lost_frames": found.n_lost,
        "n_lines_skipped": document.n_lines_skipped,
        "n_clock_steps_back": found.n_steps_back,
        "n_gaps": found.n_gaps,
        "gaps": found.gaps.iter().map(|(at_s, length_s)| json!({ "at_s": at_s, "length_s": length_s })).collect::<Vec<_>>(),
        "moved": found.motion == Motion::Moved,
        "candidates": found.candidates.iter().map(|one| candidate(document, one)).collect::<Vec<_>>(),
        "not_known": found.notes,
        "columns": found.columns.iter().map(|column| json!({
            "name": clean(&column.name),
            "kind": column.kind,
            "n_numbers": column.n_numbers,
            "lowest": column.span.map(|span| span.0),
            "highest": column.span.map(|span| span.1),
            "changes_every_s": column.period_s,
        })).collect::<Vec<_>>(),
        "identifiers": found.identifiers.iter().enumerate().map(|(at, one)| identifier(document, at, one)).collect::<Vec<_>>(),
    });
    let mut text =
        serde_json::to_string_pretty(&value).expect("it holds nothing but text and numbers");
    text.push('\n');
    text
}

fn candidate(document: &Document, candidate: &Candidate) -> Value {
    let found = document.found;
    let signal = &found.signals[candidate.signal];
    json!({
        "kind": candidate.kind.word(),
        "place": place(found, &signal.place),
        "field": field(document, signal),
        "axle": candidate.corner.map(|corner| corner.0 + 1),
        "side": candidate.corner.map(|corner| corner.1 + 1),
        "km_per_h_per_step": candidate.km_per_h,
        "code_of_zero": candidate.zero,
        "evidence": candidate.evidence,
    })
}

fn field(document: &Document, signal: &Drawn) -> Value {
    let quality = &signal.quality;
    let mut value = json!({
        "signed": quality.is_signed,
        "lowest": signal.span.0,
        "highest": signal.span.1,
        "smooth_bits": quality.smooth_bits,
    });
    if let Place::Bits {
        identifier,
        page,
        field,
    } = &signal.place
    {
        let identifier = &document.found.identifiers[*identifier];
        value["bus"] = json!(bus(document.found, identifier.bus));
        value["id"] = json!(identifier.id.to_string());
        value["page"] = json!(page);
        value["bits"] = json!(field.whole().words());
        value["bits_that_changed"] = json!(field.bits.words());
    }
    value
}

fn identifier(document: &Document, at: usize, identifier: &Identifier) -> Value {
    let found = document.found;
    let is_own = |signal: &&Drawn| matches!(signal.place, Place::Bits { identifier, .. } if identifier == at);
    json!({
        "bus": bus(found, identifier.bus),
        "id": identifier.id.to_string(),
        "n_frames": identifier.n_frames,
        "n_remote_requests": identifier.n_remote,
        "period_s": identifier.period_s.map(|period| period.0),
        "period_scatter_s": identifier.period_s.map(|period| period.1),
        "lengths": identifier.lengths.iter().map(|(length, n)| json!({ "bytes": length, "n_frames": n })).collect::<Vec<_>>(),
        "bytes_that_change": identifier.changing,
        "flip_rates": identifier.flip_rates,
        "counters_checksum_pages": checks(identifier),
        "fields": found.signals.iter().filter(is_own).map(|signal| field(document, signal)).collect::<Vec<_>>(),
    })
}
