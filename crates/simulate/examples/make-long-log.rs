//! Writes a long SocketCAN log for timing: 14 identifiers, a quarter of its frames mapped.
//!
//! `make-long-log MEGABYTES FILE`. The hard track day of the sample drives, again and again,
//! four of its frames kept and three unmapped ones written beside each.

use std::io::{BufWriter, Write};

use halfshaft_logs::write::write_frame;
use halfshaft_model::{FrameFlags, FrameId, FrameKind, Stamp};
use halfshaft_simulate::{FrameOut, run, scenarios};

/// Frames kept: rear wheels, command, position, motion.
const MAPPED: [u32; 4] = [0x1B0, 0x2C4, 0x2C5, 0x18FD_6A31];

/// Unmapped identifiers beside them.
const UNMAPPED: [u32; 10] = [
    0x010, 0x123, 0x155, 0x1F0, 0x244, 0x321, 0x3AA, 0x455, 0x512, 0x6B0,
];

fn main() -> std::io::Result<()> {
    let mut arguments = std::env::args().skip(1);
    let (Some(megabytes), Some(path)) = (arguments.next(), arguments.next()) else {
        eprintln!("make-long-log MEGABYTES FILE");
        std::process::exit(2);
    };
    let wanted = megabytes.parse::<u64>().unwrap_or(500) * 1_000_000;
    let scenario = scenarios()
        .into_iter()
        .find(|scenario| scenario.name == "hard-track-day");
    let scenario = scenario.expect("the sample drives have a hard track day");
    let mut frames: Vec<FrameOut> = Vec::new();
    run(&scenario, &mut |frame| {
        if MAPPED.contains(&frame.id.number()) {
            frames.push(frame);
        }
    });
    let span_ns = frames
        .last()
        .map_or(0, |last| last.stamp.0 - frames[0].stamp.0)
        + 20_000_000;
    let mut out = Counting {
        out: BufWriter::new(std::fs::File::create(path)?),
        n_bytes: 0,
    };
    let mut state = 1_u64;
    let (data, flags) = (FrameKind::Data, FrameFlags::default());
    for round in 0.. {
        for frame in &frames {
            let stamp = Stamp(frame.stamp.0 + round * span_ns);
            write_frame(
                &mut out,
                stamp,
                "can0",
                frame.id,
                data,
                flags,
                frame.payload.as_slice(),
            )?;
            for beside in 1..=3_i64 {
                state = state
                    .wrapping_mul(6_364_136_223_846_793_005)
                    .wrapping_add(1_442_695_040_888_963_407);
                let number = UNMAPPED[(state >> 60) as usize % UNMAPPED.len()];
                let id = FrameId::standard(number).expect("eleven bits");
                let stamp = Stamp(stamp.0 + beside * 200_000);
                write_frame(
                    &mut out,
                    stamp,
                    "can0",
                    id,
                    data,
                    flags,
                    &state.to_be_bytes(),
                )?;
            }
        }
        if out.n_bytes >= wanted {
            break;
        }
    }
    out.flush()
}

struct Counting<W> {
    out: W,
    n_bytes: u64,
}

impl<W: Write> Write for Counting<W> {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        let n = self.out.write(bytes)?;
        self.n_bytes += n as u64;
        Ok(n)
    }

    fn flush(&mut self) -> std::io::Result<()> {
        self.out.flush()
    }
}
