//! Writes pcapng, the segments of a recording: block after block, each added to a buffer.
//!
//! In: frames, losses, marks. Out: blocks of the open standard (IETF draft-ietf-opsawg-pcapng),
//! little end first, that other programs open too. Nothing here touches a file. A frame is
//! written with its checksum, so that a torn or rotten tail can be told from whole blocks.

use halfshaft_model::{FrameFlags, FrameId, FrameKind, Stamp};

use crate::blocks::*;

/// What stands at the beginning of a segment.
#[derive(Clone, Debug, Default)]
pub struct Header<'a> {
    /// Program and version.
    pub application: &'a str,
    /// Operating system and its version.
    pub os: &'a str,
    /// Anything else, in words.
    pub comment: &'a str,
    /// Names of the interfaces, in the order of their numbers.
    pub interfaces: &'a [String],
}

/// One frame as the bus had it.
#[derive(Clone, Copy, Debug)]
pub struct RawFrame<'a> {
    /// Identifier; of an error report its class.
    pub id: FrameId,
    /// Data, remote or error.
    pub kind: FrameKind,
    /// Flags of a CAN FD frame.
    pub flags: FrameFlags,
    /// The bytes, at most 64. A remote frame asks for as many as these are; the bytes
    /// themselves do not matter.
    pub payload: &'a [u8],
}

/// How one interface stands.
#[derive(Clone, Copy, Debug, Default)]
pub struct Statistics {
    /// When the segment began.
    pub start: Stamp,
    /// When it ended; `None`: it goes on.
    pub end: Option<Stamp>,
    /// Frames received since the segment began.
    pub n_received: u64,
    /// Frames lost since the segment began.
    pub n_lost: u64,
    /// Wall clock less monotonic clock, in nanoseconds.
    pub clock_offset_ns: i64,
}

/// Adds the beginning of a segment.
pub fn header(out: &mut Vec<u8>, header: &Header) {
    block(out, SECTION_HEADER, |out| {
        out.extend(BYTE_ORDER.to_le_bytes());
        // Version 1.0, and a length that is not known beforehand.
        out.extend([1, 0, 0, 0]);
        out.extend([0xFF; 8]);
        for (code, text) in [
            (OPTION_OS, header.os),
            (OPTION_APPLICATION, header.application),
            (OPTION_COMMENT, header.comment),
        ] {
            if !text.is_empty() {
                option(out, code, text.as_bytes());
            }
        }
        end_of_options(out);
    });
    for name in header.interfaces {
        block(out, INTERFACE, |out| {
            out.extend(LINK_SOCKETCAN.to_le_bytes());
            // Reserved, and no limit to what is kept of a packet.
            out.extend([0; 6]);
            option(out, OPTION_NAME, name.as_bytes());
            option(out, OPTION_RESOLUTION, &[9]);
            end_of_options(out);
        });
    }
}

/// Adds a frame; `n_lost` went by on its interface since the frame before.
pub fn frame(out: &mut Vec<u8>, interface: u16, stamp: Stamp, frame: &RawFrame, n_lost: u64) {
    // The longest payload of an FD frame; a length above it is no frame of ours.
    let payload = &frame.payload[..frame.payload.len().min(64)];
    let length = payload.len() as u8;
    let payload = match frame.kind {
        FrameKind::Remote => &[],
        _ => payload,
    };
    let mut packet = [0; 8 + 64];
    let mut id = frame.id.number();
    if frame.id.is_extended() && frame.kind != FrameKind::Error {
        id |= ID_EXTENDED;
    }
    id |= match frame.kind {
        FrameKind::Data => 0,
        FrameKind::Remote => ID_REMOTE,
        FrameKind::Error => ID_ERROR,
    };
    packet[..4].copy_from_slice(&id.to_be_bytes());
    packet[4] = length;
    packet[5] = fd_flags(frame.flags);
    packet[8..8 + payload.len()].copy_from_slice(payload);
    let packet = &packet[..8 + payload.len()];
    block(out, PACKET, |out| {
        out.extend(u32::from(interface).to_le_bytes());
        out.extend(high_then_low(stamp));
        out.extend((packet.len() as u32).to_le_bytes());
        out.extend((packet.len() as u32).to_le_bytes());
        padded(out, packet);
        let mut hash = [HASH_CRC32, 0, 0, 0, 0];
        hash[1..].copy_from_slice(&crc32(packet).to_be_bytes());
        option(out, OPTION_HASH, &hash);
        if n_lost > 0 {
            option(out, OPTION_DROPPED, &n_lost.to_le_bytes());
        }
        end_of_options(out);
    });
}

/// Adds how an interface stands.
pub fn statistics(out: &mut Vec<u8>, interface: u16, stamp: Stamp, statistics: &Statistics) {
    block(out, STATISTICS, |out| {
        out.extend(u32::from(interface).to_le_bytes());
        out.extend(high_then_low(stamp));
        option(out, OPTION_START, &high_then_low(statistics.start));
        if let Some(end) = statistics.end {
            option(out, OPTION_END, &high_then_low(end));
        }
        option(out, OPTION_RECEIVED, &statistics.n_received.to_le_bytes());
        option(out, OPTION_OS_DROPPED, &statistics.n_lost.to_le_bytes());
        let offset = statistics.clock_offset_ns.to_le_bytes();
        option(out, OPTION_CLOCK_OFFSET, &offset);
        end_of_options(out);
    });
}

/// Adds a note of somebody who was there, as an entry of a journal: text with its own time, a
/// row of its own in programs that show packets.
pub fn mark(out: &mut Vec<u8>, stamp: Stamp, note: &str) {
    block(out, JOURNAL, |out| {
        // A line break would begin another field.
        let note = note.replace(|letter: char| letter.is_control(), " ");
        let us = stamp.0.div_euclid(1000);
        let entry = format!(
            "__REALTIME_TIMESTAMP={us}\nSYSLOG_IDENTIFIER={MARK_IDENTIFIER}\nMESSAGE={note}\n"
        );
        padded(out, entry.as_bytes());
    });
}

fn fd_flags(flags: FrameFlags) -> u8 {
    let flag = |is_set: bool, bit| if is_set { bit } else { 0 };
    flag(flags.fd, FD_FRAME)
        | flag(flags.bit_rate_switch, FD_RATE_SWITCH)
        | flag(flags.error_state, FD_ERROR_STATE)
}

/// A stamp in two halves, the high one first, each little end first.
fn high_then_low(stamp: Stamp) -> [u8; 8] {
    let ns = stamp.0 as u64;
    let mut halves = [0; 8];
    halves[..4].copy_from_slice(&((ns >> 32) as u32).to_le_bytes());
    halves[4..].copy_from_slice(&(ns as u32).to_le_bytes());
    halves
}

/// A block around its body: type, length, body, length again.
fn block(out: &mut Vec<u8>, kind: u32, body: impl FnOnce(&mut Vec<u8>)) {
    let start = out.len();
    out.extend(kind.to_le_bytes());
    out.extend([0; 4]);
    body(out);
    let length = ((out.len() - start + 4) as u32).to_le_bytes();
    out[start + 4..start + 8].copy_from_slice(&length);
    out.extend(length);
}

/// An option, padded; its text or bytes are cut at what its length can say.
fn option(out: &mut Vec<u8>, code: u16, value: &[u8]) {
    let value = &value[..value.len().min(usize::from(u16::MAX - 3))];
    out.extend(code.to_le_bytes());
    out.extend((value.len() as u16).to_le_bytes());
    padded(out, value);
}

/// Bytes, filled up to a whole number of four.
fn padded(out: &mut Vec<u8>, bytes: &[u8]) {
    out.extend_from_slice(bytes);
    out.extend_from_slice(&[0; 3][..(4 - bytes.len() % 4) % 4]);
}

fn end_of_options(out: &mut Vec<u8>) {
    out.extend([0; 4]);
}
