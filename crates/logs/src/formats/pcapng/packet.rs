//! A packet to a CAN frame.
//!
//! Source: the tcpdump group's pages of LINKTYPE_CAN_SOCKETCAN, LINKTYPE_LINUX_SLL and
//! LINKTYPE_LINUX_SLL2; Linux can.h and if_ether.h.

use halfshaft_model::constants::LONGEST_CAN_PAYLOAD;
use halfshaft_model::{FrameFlags, FrameId, FrameKind};

use crate::blocks::*;

/// Protocol of a classic frame behind a header of Linux.
const CLASSIC: u16 = 0x000C;
/// Of an FD frame.
const FD: u16 = 0x000D;
/// Of a CAN XL frame.
const XL: u16 = 0x000E;

/// Flag at the place of the length that only CAN XL sets: no length is so large.
const XL_FLAG: u8 = 0x80;
/// A number of 29 bits.
const NUMBER: u32 = 0x1FFF_FFFF;
/// Length of an FD frame with all its room; recorders that do not flag one keep it so.
const FD_ROOM: usize = 72;

/// What a packet is.
#[derive(Debug, PartialEq)]
pub(super) enum Packet<'a> {
    /// A frame.
    Frame(CanFrame<'a>),
    /// Of another network, or CAN XL, in words.
    Foreign(&'static str),
    /// Not in its form.
    Unreadable,
}

/// A frame, and of which of the machine's interfaces, where one capture has several.
#[derive(Debug, PartialEq)]
pub(super) struct CanFrame<'a> {
    pub id: FrameId,
    pub kind: FrameKind,
    pub flags: FrameFlags,
    pub length: u8,
    pub payload: &'a [u8],
    pub machine_interface: Option<u32>,
}

/// Whether packets of this link can be CAN frames.
pub(super) fn is_known(link: u16) -> bool {
    matches!(link, LINK_SOCKETCAN | LINK_COOKED | LINK_COOKED_2)
}

/// What a packet of a link is.
pub(super) fn packet(link: u16, bytes: &[u8]) -> Packet<'_> {
    let header = Fields {
        bytes,
        order: Order::Big,
    };
    let (protocol, behind, machine_interface) = match link {
        LINK_SOCKETCAN => (Some(CLASSIC), 0, None),
        LINK_COOKED => (header.u16(14), 16, None),
        LINK_COOKED_2 => (header.u16(0), 20, header.u32(4)),
        _ => return Packet::Foreign("of another kind of network"),
    };
    match (protocol, bytes.get(behind..)) {
        (Some(XL), _) => Packet::Foreign("CAN XL"),
        (Some(protocol @ (CLASSIC | FD)), Some(bytes)) => {
            frame(bytes, protocol == FD, machine_interface)
        }
        (Some(_), Some(_)) => Packet::Foreign("of another kind of network"),
        _ => Packet::Unreadable,
    }
}

fn frame(bytes: &[u8], is_fd: bool, machine_interface: Option<u32>) -> Packet<'_> {
    let Some(&[a, b, c, d, length, flags, _, _]) = bytes.first_chunk() else {
        return Packet::Unreadable;
    };
    if length & XL_FLAG != 0 {
        return Packet::Foreign("CAN XL");
    }
    let is_fd = is_fd || flags & FD_FRAME != 0 || length > 8 || bytes.len() == FD_ROOM;
    let longest = if is_fd { LONGEST_CAN_PAYLOAD } else { 8 };
    if usize::from(length) > longest {
        return Packet::Unreadable;
    }
    let word = u32::from_be_bytes([a, b, c, d]);
    let (kind, id) = match word {
        _ if word & ID_ERROR != 0 => (FrameKind::Error, FrameId::extended(word & NUMBER)),
        _ => {
            let id = match word & ID_EXTENDED {
                0 => FrameId::standard(word & NUMBER),
                _ => FrameId::extended(word & NUMBER),
            };
            match word & ID_REMOTE {
                0 => (FrameKind::Data, id),
                _ => (FrameKind::Remote, id),
            }
        }
    };
    let payload = match kind {
        FrameKind::Remote => Some(&[][..]),
        _ => bytes.get(8..8 + usize::from(length)),
    };
    let (Some(id), Some(payload)) = (id, payload) else {
        return Packet::Unreadable;
    };
    Packet::Frame(CanFrame {
        id,
        kind,
        flags: FrameFlags {
            fd: is_fd,
            bit_rate_switch: is_fd && flags & FD_RATE_SWITCH != 0,
            error_state: is_fd && flags & FD_ERROR_STATE != 0,
        },
        length,
        payload,
        machine_interface,
    })
}
