//! Keeps a log as the recorder would have kept its frames: `keep-log LOG INTO`.
//!
//! For checks of the segments with other libraries. Ten frames are told as lost before the
//! hundredth, and a mark is made there.

use std::path::PathBuf;

use halfshaft_capture::segments::{Clocks, Keeper, Options, RawFrame};
use halfshaft_logs::{Log, Source};
use halfshaft_model::{Batch, Entry};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut arguments = std::env::args_os().skip(1).map(PathBuf::from);
    let (Some(log), Some(into)) = (arguments.next(), arguments.next()) else {
        return Err("expected LOG INTO".into());
    };
    let mut log = Log::open(&[Source::File(log)], &halfshaft_logs::Options::default())?;
    let mut keeper = Keeper::open(Options {
        segment_bytes: 100_000,
        ..Options::new(into)
    })?;
    let (mut batch, mut n) = (Batch::default(), 0);
    while log.next(&mut batch)? {
        for entry in &batch.entries {
            let Entry::Frame(frame) = entry else { continue };
            let at = Clocks {
                wall_ns: frame.stamp.0,
                monotonic_ns: frame.stamp.0,
            };
            if n == 0 {
                // Every bus of the log: its names are known with its first batch.
                keeper.begin_drive(&batch.buses, at)?;
            }
            if n == 100 {
                keeper.lost(frame.bus, at, 10)?;
                keeper.mark(at, "the hundredth frame")?;
            }
            let asked = [0; 8];
            let payload = match frame.kind {
                halfshaft_model::FrameKind::Remote => &asked[..usize::from(frame.length).min(8)],
                _ => batch.payload(frame),
            };
            let raw = RawFrame {
                id: frame.id,
                kind: frame.kind,
                flags: frame.flags,
                payload,
            };
            keeper.frame(frame.bus, at, &raw)?;
            n += 1;
        }
    }
    keeper.end_drive()?;
    Ok(())
}
