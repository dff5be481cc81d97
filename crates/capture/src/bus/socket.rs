//! What one read of a CAN socket yields, made into a frame.
//!
//! In: the bytes of one datagram as the kernel lays them out, with what it says beside them.
//! Out: a frame, and how many were dropped before it. Source: linux/can.h, linux/can/error.h.

use halfshaft_model::{FrameFlags, FrameId, FrameKind};

/// Bytes of a classic frame.
const CLASSIC: usize = 16;
/// Bytes of an FD frame, the longest there is.
pub const LONGEST: usize = 72;

const EXTENDED: u32 = 0x8000_0000;
const REMOTE: u32 = 0x4000_0000;
const ERROR: u32 = 0x2000_0000;
const BIT_RATE_SWITCH: u8 = 0x01;
const ERROR_STATE: u8 = 0x02;

/// One datagram, with what the kernel says beside it.
#[derive(Clone, Copy, Debug)]
pub struct Datagram {
    /// The bytes.
    pub bytes: [u8; LONGEST],
    /// How many of them.
    pub n_bytes: usize,
    /// When the kernel got it, by the wall clock.
    pub wall_ns: Option<i64>,
    /// Frames dropped on this socket until it came, since the socket was opened; `None`: none.
    pub n_dropped: Option<u32>,
}

/// A frame as the bus had it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct BusFrame {
    /// Identifier; of an error report its class.
    pub id: FrameId,
    /// Data, remote or error.
    pub kind: FrameKind,
    /// Flags of an FD frame.
    pub flags: FrameFlags,
    payload: [u8; 64],
    length: u8,
}

impl BusFrame {
    /// Its bytes. Of a remote frame as many as it asks for; they do not matter.
    pub fn payload(&self) -> &[u8] {
        &self.payload[..usize::from(self.length)]
    }

    /// The classes of an error report.
    pub fn error_class(&self) -> u32 {
        match self.kind {
            FrameKind::Error => self.id.number(),
            _ => 0,
        }
    }
}

/// The frame of a datagram; `None`: it is none that is asked for.
pub fn frame(bytes: &[u8]) -> Option<BusFrame> {
    let is_fd = match bytes.len() {
        CLASSIC => false,
        LONGEST => true,
        _ => return None,
    };
    let word = u32::from_ne_bytes(*bytes.first_chunk()?);
    let number = word & 0x1FFF_FFFF;
    let kind = match word {
        _ if word & ERROR != 0 => FrameKind::Error,
        _ if word & REMOTE != 0 => FrameKind::Remote,
        _ => FrameKind::Data,
    };
    let id = match kind == FrameKind::Error || word & EXTENDED != 0 {
        true => FrameId::extended(number)?,
        false => FrameId::standard(number & 0x7FF)?,
    };
    let flags = FrameFlags {
        fd: is_fd,
        bit_rate_switch: is_fd && bytes[5] & BIT_RATE_SWITCH != 0,
        error_state: is_fd && bytes[5] & ERROR_STATE != 0,
    };
    let room = &bytes[8..];
    let length = usize::from(bytes[4]).min(room.len());
    let mut payload = [0; 64];
    if kind != FrameKind::Remote {
        payload[..length].copy_from_slice(&room[..length]);
    }
    Some(BusFrame {
        id,
        kind,
        flags,
        payload,
        length: length as u8,
    })
}

/// A running count of drops, made into drops since it was last asked.
#[derive(Clone, Copy, Debug, Default)]
pub struct Drops {
    seen: u32,
}

impl Drops {
    /// What is new in this count. A count that came with a frame may be older than one asked
    /// for since: then nothing is.
    pub fn new_in(&mut self, total: u32) -> u32 {
        let new = total.wrapping_sub(self.seen);
        if new > u32::MAX / 2 {
            return 0;
        }
        self.seen = total;
        new
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bytes(word: u32, length: u8, flags: u8, n_bytes: usize) -> Vec<u8> {
        let mut bytes = word.to_ne_bytes().to_vec();
        bytes.extend([length, flags, 0, 0]);
        bytes.extend((0..64).map(|n| n as u8 + 1));
        bytes.truncate(n_bytes);
        bytes
    }

    #[track_caller]
    fn check(word: u32, length: u8, n_bytes: usize, wanted: (&str, FrameKind, bool, usize)) {
        let frame = frame(&bytes(word, length, 3, n_bytes)).unwrap();
        let (id, kind, is_fd, n) = wanted;
        assert_eq!((frame.id.to_string().as_str(), frame.kind), (id, kind));
        assert_eq!(
            frame.flags,
            FrameFlags {
                fd: is_fd,
                bit_rate_switch: is_fd,
                error_state: is_fd
            }
        );
        assert_eq!(frame.payload().len(), n);
        if n > 0 && kind != FrameKind::Remote {
            assert_eq!(frame.payload()[n - 1], n as u8);
        }
    }

    #[test]
    fn every_kind_of_frame_is_read_and_no_length_is_believed() {
        use FrameKind::{Data, Error, Remote};
        check(0x123, 8, CLASSIC, ("0x123", Data, false, 8));
        check(0x8000_0123, 0, CLASSIC, ("0x00000123", Data, false, 0));
        check(0x4000_0123, 5, CLASSIC, ("0x123", Remote, false, 5));
        check(0x2000_0040, 8, CLASSIC, ("0x00000040", Error, false, 8));
        check(0x123, 64, LONGEST, ("0x123", Data, true, 64));
        check(0x9FFF_FFFF, 12, LONGEST, ("0x1FFFFFFF", Data, true, 12));
        check(0x123, 200, CLASSIC, ("0x123", Data, false, 8));
        check(0x123, 200, LONGEST, ("0x123", Data, true, 64));
        for n_bytes in [0, 3, 15, 17, 71] {
            assert_eq!(frame(&bytes(0x123, 8, 0, n_bytes)), None);
        }
    }

    #[test]
    fn a_running_count_is_differenced_also_where_it_turns_over_or_comes_late() {
        let mut drops = Drops::default();
        let counts = [0, 322, 322, 400, 322, 401, u32::MAX, 5];
        let new = counts.map(|total| drops.new_in(total));
        // 2^32 - 1 is more than half a turn ahead, so it counts as older.
        assert_eq!(new, [0, 322, 0, 78, 0, 1, 0, 0]);
        let mut drops = Drops { seen: u32::MAX - 1 };
        assert_eq!([u32::MAX, 3].map(|total| drops.new_in(total)), [1, 4]);
    }
}
