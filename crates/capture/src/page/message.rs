//! What is sent to the page: few bytes, rounded to what a person reads.
//!
//! In: snapshots and newest values. Out: JSON. A snapshot goes over in sections, of which a reader gets
//! those that changed; what the car does now goes over as a bare list. Ages are not sent but the times
//! of samples: the page counts on by itself.

use serde_json::{Value as Json, json};

use crate::feed::{Kept, Quick};
use crate::snapshot::{Snapshot, Temperature, Value};

fn round(value: Option<f64>, decimals: i32) -> Json {
    let Some(value) = value.filter(|value| value.is_finite()) else {
        return Json::Null;
    };
    let scale = 10_f64.powi(decimals);
    let rounded = (value * scale).round() / scale;
    match rounded.abs() < 9e15 && rounded.fract() == 0.0 {
        true => json!(rounded as i64),
        false => json!(rounded),
    }
}

/// What the car does now. The order of its numbers is that of `page.js`.
pub fn quick(quick: &Quick) -> String {
    let now = &quick.now;
    let oil = quick.oil.clone().unwrap_or_default();
    json!([
        quick.drive,
        round(Some(quick.now_s), 2),
        round(oil.value, 1),
        round(oil.at_s, 2),
        round(now.command.value, 0),
        round(now.command.at_s, 2),
        round(now.state.value, 0),
        round(now.state.at_s, 2),
        round(now.slip.at_s, 2),
        round(now.heat.value, 1),
        round(now.slip.value, 1),
        round(now.axle_speed_difference.value, 1),
        round(now.road_speed.value, 0),
        now.engagement.words,
    ])
    .to_string()
}

/// The state of the recording.
pub fn recording(kept: &Kept) -> String {
    let recording = &kept.recording;
    let interfaces = recording.interfaces.iter().map(|one| {
        json!([
            one.name,
            one.state,
            one.n_frames,
            one.n_lost,
            one.n_errors,
            round(one.silent_s, 0)
        ])
    });
    json!({ "rec": {
        "on": interfaces.collect::<Json>(),
        "in": recording.keeps_in,
        "kept": recording.kept_bytes,
        "unsynced": round(Some(recording.unsynced_s), 0),
        "disk": recording.disk_left_bytes,
        "trouble": recording.trouble,
        "out": kept.n_left_out,
    }})
    .to_string()
}

fn figure(value: &Value, decimals: i32) -> Json {
    json!([round(value.value, decimals), value.why, value.is_at_least])
}

fn temperature(of: &Temperature) -> Json {
    json!({
        "now": figure(&of.now, 1),
        "at": round(of.now.at_s, 0),
        "stale": of.now.stale_from_s,
        "basis": of.basis,
        "limit": round(of.limit_c, 0),
        "margin": figure(&of.margin, 0),
        "time": [minutes(of.time_to_limit.value), of.time_to_limit.why],
    })
}

/// Seconds to the next ten, minutes above ten of them: nobody reads more, and it changes less.
fn minutes(seconds: Option<f64>) -> Json {
    let step = seconds.map(|seconds| if seconds < 600.0 { 10.0 } else { 60.0 });
    let stepped = seconds
        .zip(step)
        .map(|(seconds, step)| (seconds / step).round() * step);
    round(stepped, 0)
}

/// The sections of a snapshot: the name and the JSON of each.
pub fn sections(of: &Snapshot) -> Vec<(&'static str, String)> {
    let why = |value: &Value| value.why.clone();
    let (now, heat) = (&of.now, &of.heat);
    let laps = of.laps.iter().map(|lap| {
        json!([
            lap.number,
            round(Some(lap.seconds), 1),
            round(lap.heat_kj, 1),
            round(lap.oil_max_c, 1),
            lap.is_at_least
        ])
    });
    let events = of.events.iter().map(|event| {
        json!([
            round(Some(event.start_s), 1),
            round(Some(event.seconds), 2),
            event.is_commanded,
            round(event.command_peak.map(|peak| 100.0 * peak), 0),
            round(event.heat_kj, 1),
            event.is_broken,
        ])
    });
    let findings = of.findings.iter().map(|finding| {
        json!([
            finding.severity,
            finding.title,
            round(Some(finding.since_s), 0)
        ])
    });
    let marks = of
        .marks
        .iter()
        .map(|mark| json!([round(Some(mark.at_s), 0), mark.note]));
    let corner = &of.costliest_corner;
    let left = &of.laps_left;
    let sections = [
        (
            "head",
            json!([of.drive, of.vehicle, of.is_provisional, of.trouble]),
        ),
        (
            "stale",
            json!([
                now.command.stale_from_s,
                now.state.stale_from_s,
                round(now.slip.stale_from_s, 1),
            ]),
        ),
        (
            "why",
            json!([
                why(&now.command),
                why(&now.state),
                why(&now.heat),
                why(&now.slip),
                why(&now.axle_speed_difference),
                why(&now.road_speed),
                why(&now.engagement),
            ]),
        ),
        ("oil", temperature(&of.oil)),
        ("pack", temperature(&of.pack)),
        (
            "left",
            json!([
                round(left.laps.value, 1),
                round(left.low, 0),
                round(left.high, 0),
                why(&left.laps)
            ]),
        ),
        (
            "heat",
            json!([
                figure(&heat.lap, 0),
                figure(&heat.last_lap, 0),
                figure(&heat.stint, 0),
                figure(&heat.drive, 0)
            ]),
        ),
        ("laps", json!([laps.collect::<Json>(), of.no_laps])),
        (
            "corner",
            json!([
                corner.number,
                figure(&corner.heat, 1),
                corner.n_times,
                round(corner.share.map(|share| 100.0 * share), 0)
            ]),
        ),
        ("events", events.collect()),
        ("findings", findings.collect()),
        ("marks", marks.collect()),
    ];
    sections
        .map(|(name, section)| (name, section.to_string()))
        .into()
}
