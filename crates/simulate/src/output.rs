//! A simulated drive in the forms the rest of the program takes.
//!
//! In: a [`Scenario`]. Out: log text, a batch of frames, or columns of channels; each with
//! the truth.

use crate::channels::channels_sent;
use crate::frames;
use crate::run::run;
use crate::scenario::Scenario;
use crate::truth::Truth;
use halfshaft_logs::write::write_frame;
use halfshaft_model::{Batch, Block, FrameFlags, FrameKind, Time};
use std::io::{self, Write};

/// Writes the drive as SocketCAN log text, and gives its truth.
pub fn write_log(scenario: &Scenario, out: &mut impl Write) -> io::Result<Truth> {
    let mut trouble = Ok(());
    let truth = run(scenario, &mut |frame| {
        if trouble.is_ok() {
            let (kind, flags) = (FrameKind::Data, FrameFlags::default());
            trouble = write_frame(
                out,
                frame.stamp,
                frames::BUS,
                frame.id,
                kind,
                flags,
                frame.payload.as_slice(),
            );
        }
    });
    trouble.map(|()| truth)
}

/// The drive as log text, and its truth.
pub fn to_text(scenario: &Scenario) -> (String, Truth) {
    let mut bytes = Vec::new();
    let truth = write_log(scenario, &mut bytes)
        .expect("memory takes every byte and every simulated frame fits the form");
    (String::from_utf8(bytes).expect("log text is ASCII"), truth)
}

/// The drive as one batch of frames, and its truth.
pub fn to_batch(scenario: &Scenario) -> (Batch, Truth) {
    let mut batch = Batch::default();
    let bus = batch.bus(frames::BUS);
    let truth = run(scenario, &mut |frame| {
        let bytes = frame.payload.as_slice();
        batch.push_frame(
            frame.stamp,
            bus,
            frame.id,
            FrameKind::Data,
            FrameFlags::default(),
            bytes,
        );
    });
    (batch, truth)
}

/// The drive as columns, as a right map would decode it (channels in the order of
/// [`channels_sent`]), and its truth. `radius_m` is the rolling radius such a map states.
pub fn to_block(scenario: &Scenario, radius_m: f64) -> (Block, Truth) {
    let mut block = Block::new(channels_sent(&scenario.rates).len());
    let origin_ns = scenario.start_stamp_s * halfshaft_model::constants::NS_PER_S;
    let truth = run(scenario, &mut |frame| {
        let time = Time(frame.stamp.0 - origin_ns);
        block.until = time;
        frames::read_back(
            frame.id,
            frame.payload.as_slice(),
            radius_m,
            &mut |channel, value| {
                block.columns[channel].push(time, value);
            },
        );
    });
    (block, truth)
}
