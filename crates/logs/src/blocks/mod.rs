//! pcapng as far as its reader and its writer share it: the numbers of its blocks, and
//! [`Blocks`], which parts a stream into them.
//!
//! Source: IETF draft-ietf-opsawg-pcapng for blocks and options; the tcpdump group's list of
//! link-layer types for what stands in a packet; Linux can.h for identifiers and flags.

mod fields;
mod stream;

pub(crate) use fields::{Fields, Options, Order};
pub(crate) use stream::{Block, Blocks, Next};

/// Section Header Block. It reads the same in both byte orders.
pub(crate) const SECTION_HEADER: u32 = 0x0A0D_0D0A;
/// Interface Description Block.
pub(crate) const INTERFACE: u32 = 1;
/// Packet Block, of old.
pub(crate) const OLD_PACKET: u32 = 2;
/// Simple Packet Block: it has no time.
pub(crate) const SIMPLE_PACKET: u32 = 3;
/// Interface Statistics Block.
pub(crate) const STATISTICS: u32 = 5;
/// Enhanced Packet Block.
pub(crate) const PACKET: u32 = 6;
/// systemd Journal Export Block: an entry of text with its own time.
pub(crate) const JOURNAL: u32 = 9;

/// What a section begins with behind its length, in the byte order of the section.
pub(crate) const BYTE_ORDER: u32 = 0x1A2B_3C4D;

/// A SocketCAN frame: header of 8 bytes, identifier with its flags big end first, and payload.
pub(crate) const LINK_SOCKETCAN: u16 = 227;

/// Packets of a Linux machine behind a header of 16 bytes.
pub(crate) const LINK_COOKED: u16 = 113;
/// Packets of a Linux machine behind a header of 20 bytes.
pub(crate) const LINK_COOKED_2: u16 = 276;

/// `opt_comment`.
pub(crate) const OPTION_COMMENT: u16 = 1;
/// `shb_os`.
pub(crate) const OPTION_OS: u16 = 3;
/// `shb_userappl`.
pub(crate) const OPTION_APPLICATION: u16 = 4;
/// `if_name`.
pub(crate) const OPTION_NAME: u16 = 2;
/// `if_tsresol`.
pub(crate) const OPTION_RESOLUTION: u16 = 9;
/// `if_tsoffset`.
pub(crate) const OPTION_OFFSET: u16 = 14;
/// `epb_hash`.
pub(crate) const OPTION_HASH: u16 = 3;
/// `epb_dropcount`.
pub(crate) const OPTION_DROPPED: u16 = 4;
/// `isb_starttime`.
pub(crate) const OPTION_START: u16 = 2;
/// `isb_endtime`.
pub(crate) const OPTION_END: u16 = 3;
/// `isb_ifrecv`.
pub(crate) const OPTION_RECEIVED: u16 = 4;
/// `isb_ifdrop`.
pub(crate) const OPTION_DROPPED_BEFORE: u16 = 5;
/// `isb_osdrop`.
pub(crate) const OPTION_OS_DROPPED: u16 = 7;
/// Of our own, from the range kept for local use: wall clock less monotonic clock, in
/// nanoseconds, eight bytes with sign.
pub(crate) const OPTION_CLOCK_OFFSET: u16 = 0x8C0F;

/// The algorithm of `epb_hash` that is CRC-32.
pub(crate) const HASH_CRC32: u8 = 2;

/// Bit of an identifier: 29 bits.
pub(crate) const ID_EXTENDED: u32 = 0x8000_0000;
/// Bit of an identifier: a remote request.
pub(crate) const ID_REMOTE: u32 = 0x4000_0000;
/// Bit of an identifier: an error report.
pub(crate) const ID_ERROR: u32 = 0x2000_0000;
/// Flag of an FD frame: bit-rate switch.
pub(crate) const FD_RATE_SWITCH: u8 = 1;
/// Flag of an FD frame: error state of the sender.
pub(crate) const FD_ERROR_STATE: u8 = 2;
/// Flag of an FD frame: that it is one.
pub(crate) const FD_FRAME: u8 = 4;

/// What our journal entries say they are, so that those of others are not taken for marks.
pub(crate) const MARK_IDENTIFIER: &str = "halfshaft-mark";

/// CRC-32 of the packet data, as `epb_hash` has it.
pub(crate) fn crc32(bytes: &[u8]) -> u32 {
    let mut crc = flate2::Crc::new();
    crc.update(bytes);
    crc.sum()
}

/// Whether a packet fits its checksum. The standard leaves the byte order open, so either will do.
pub(crate) fn fits_hash(packet: &[u8], hash: &[u8]) -> bool {
    match *hash {
        [HASH_CRC32, a, b, c, d] => {
            let crc = crc32(packet);
            [crc.to_be_bytes(), crc.to_le_bytes()].contains(&[a, b, c, d])
        }
        // Of other algorithms none is worked out here.
        _ => true,
    }
}
