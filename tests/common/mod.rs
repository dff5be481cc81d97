//! What the whole-program tests share: a log and a map in memory to results.

#![allow(dead_code, reason = "each test target uses its own part")]

pub mod program;

use std::fmt::Write;

use halfshaft_drive::{Drive, Options};
use halfshaft_driveline::Derived;
use halfshaft_health::FigureId;
use halfshaft_health::{Estimate, Figure, Results};
use halfshaft_logs::Log;
use halfshaft_model::{Batch, Block, Entry};
use halfshaft_signal_map::Map;

/// Parses a map that must be right.
#[track_caller]
pub fn map(text: &str) -> Map {
    match halfshaft_signal_map::parse("test.map", text) {
        Ok(checked) => checked.map,
        Err(mistakes) => panic!("{}", mistakes.render(false)),
    }
}

/// Reads a log in memory through a map and assesses it.
#[track_caller]
pub fn assess(map: &Map, log: &[u8]) -> Results {
    assess_by(map, log, &Options::default())
}

/// The same by limits, a past or a start line of one's own.
#[track_caller]
pub fn assess_by(map: &Map, log: &[u8], options: &Options) -> Results {
    let mut drive = Drive::new(map, options);
    pass(&mut drive, map, log, |_, _| {});
    drive.results()
}

/// Passes a whole log in memory through a drive; `see` is handed each block with what was
/// derived by then.
#[track_caller]
pub fn pass(drive: &mut Drive, map: &Map, log: &[u8], mut see: impl FnMut(&Block, &Derived)) {
    batches(map, log, |batch| {
        drive.push(batch);
        see(drive.block(), drive.derived());
    });
    drive.finish();
    see(drive.block(), drive.derived());
}

/// Reads a log in memory, batch by batch.
#[track_caller]
pub fn batches(map: &Map, log: &[u8], mut take: impl FnMut(&Batch)) {
    let sheets = map.sheet_specs();
    let input = (
        "test.log".to_owned(),
        Box::new(std::io::Cursor::new(log.to_vec())) as Box<dyn std::io::Read + Send>,
    );
    let mut log = Log::from_readers(
        vec![input],
        &halfshaft_logs::Options {
            sheets: &sheets,
            only: None,
        },
    )
    .expect("the test log is readable");
    let mut batch = Batch::default();
    while log.next(&mut batch).expect("the test log has entries") {
        take(&batch);
    }
}

/// Parts a batch into such of so many entries, as `sizes` gives them one after the other.
pub fn parted(batch: &Batch, mut sizes: impl FnMut() -> usize, mut take: impl FnMut(&Batch)) {
    let mut part = Batch::default();
    let mut entries = batch.entries.as_slice();
    while !entries.is_empty() {
        let (some, rest) = entries.split_at(sizes().clamp(1, entries.len()));
        entries = rest;
        part.clear();
        for entry in some {
            let Entry::Frame(frame) = entry else {
                unreachable!("the drives are of frames")
            };
            let bus = part.bus(&batch.buses[usize::from(frame.bus)]);
            let payload = batch.payload(frame);
            part.push_frame(frame.stamp, bus, frame.id, frame.kind, frame.flags, payload);
        }
        take(&part);
    }
}

/// The figure of that name.
#[track_caller]
pub fn figure(results: &Results, id: FigureId) -> &Figure {
    results
        .figure(id)
        .unwrap_or_else(|| panic!("no figure {id}"))
}

/// The estimate of a figure that must be there.
#[track_caller]
pub fn estimate(results: &Results, id: FigureId) -> Estimate {
    match &figure(results, id).outcome {
        Ok(estimate) => *estimate,
        Err(reason) => panic!("{id}: {reason}"),
    }
}

/// Why a figure is not there.
#[track_caller]
pub fn refusal(results: &Results, id: FigureId) -> String {
    match &figure(results, id).outcome {
        Ok(estimate) => panic!("{id} is {}", estimate.value),
        Err(reason) => reason.to_string(),
    }
}

/// A log line of a frame whose payload is little-endian 32-bit floats.
pub fn float_frame(log: &mut String, time_s: f64, id: u32, values: &[f64]) {
    let _ = write!(log, "({time_s:.6}) can0 {id:03X}#");
    for value in values {
        for byte in (*value as f32).to_le_bytes() {
            let _ = write!(log, "{byte:02X}");
        }
    }
    log.push('\n');
}
