//! What the whole-program tests share: a log and a map in memory to results.

#![allow(dead_code, reason = "each test target uses its own part")]

pub mod program;

use std::fmt::Write;

use halfshaft_health::{Estimate, Figure, Health, Results};
use halfshaft_logs::{Log, Options};
use halfshaft_model::{Batch, Block};
use halfshaft_signal_map::Map;
use halfshaft_signal_map::decode::Decoder;

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
    let mut health = Health::new(&map.vehicle, &map.channels);
    read(map, log, |block| health.push(block));
    health.finish();
    health.results()
}

/// Reads a log in memory through a map, block by block.
#[track_caller]
pub fn read(map: &Map, log: &[u8], mut take: impl FnMut(&Block)) {
    let sheets = map.sheet_specs();
    let input = (
        "test.log".to_owned(),
        Box::new(std::io::Cursor::new(log.to_vec())) as Box<dyn std::io::Read + Send>,
    );
    let mut log = Log::from_readers(
        vec![input],
        &Options {
            sheets: &sheets,
            only: None,
        },
    )
    .expect("the test log is readable");
    let mut decoder = Decoder::new(map);
    let (mut batch, mut block) = (Batch::default(), Block::new(map.channels.len()));
    while log.next(&mut batch).expect("the test log has entries") {
        decoder.push(&batch, &mut block);
        take(&block);
    }
    decoder.finish(&mut block);
    take(&block);
}

/// The figure of that name.
#[track_caller]
pub fn figure<'a>(results: &'a Results, name: &str) -> &'a Figure {
    results
        .figure(name)
        .unwrap_or_else(|| panic!("no figure {name}"))
}

/// The estimate of a figure that must be there.
#[track_caller]
pub fn estimate(results: &Results, name: &str) -> Estimate {
    match &figure(results, name).outcome {
        Ok(estimate) => *estimate,
        Err(reason) => panic!("{name}: {reason}"),
    }
}

/// Why a figure is not there.
#[track_caller]
pub fn refusal<'a>(results: &'a Results, name: &str) -> &'a str {
    match &figure(results, name).outcome {
        Ok(estimate) => panic!("{name} is {}", estimate.value),
        Err(reason) => reason,
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
