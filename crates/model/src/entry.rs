//! What a reader yields: batches of frames and of sheet rows, in log order.
//!
//! `logs` and `signal-map` do not know each other; they meet here. A batch keeps
//! payloads and cells in two arenas, so that an entry is small and a million of
//! them cost no allocation of their own.

use crate::time::Stamp;

/// A CAN identifier; 11-bit and 29-bit identifiers of one number are different keys.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct FrameId(u32);

impl FrameId {
    const EXTENDED: u32 = 0x8000_0000;

    /// An 11-bit identifier; `None` above 0x7FF.
    pub const fn standard(number: u32) -> Option<FrameId> {
        if number <= 0x7FF {
            Some(FrameId(number))
        } else {
            None
        }
    }

    /// A 29-bit identifier; `None` above 0x1FFFFFFF.
    pub const fn extended(number: u32) -> Option<FrameId> {
        if number <= 0x1FFF_FFFF {
            Some(FrameId(number | FrameId::EXTENDED))
        } else {
            None
        }
    }

    /// The bare number, 11 or 29 bits.
    pub const fn number(self) -> u32 {
        self.0 & !FrameId::EXTENDED
    }

    /// Whether this is a 29-bit identifier.
    pub const fn is_extended(self) -> bool {
        self.0 & FrameId::EXTENDED != 0
    }
}

impl std::fmt::Display for FrameId {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        if self.is_extended() {
            write!(f, "0x{:08X}", self.number())
        } else {
            write!(f, "0x{:03X}", self.number())
        }
    }
}

impl std::fmt::Debug for FrameId {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{self}")
    }
}

/// What a frame is. Only `Data` carries signals; the others are quality events.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FrameKind {
    /// A data frame.
    Data,
    /// A remote request: an identifier without data.
    Remote,
    /// An error report of the controller; its identifier is an error class.
    Error,
}

/// Flags of a CAN FD frame; all false on a classic one.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct FrameFlags {
    /// Flexible data rate format.
    pub fd: bool,
    /// Bit-rate switch.
    pub bit_rate_switch: bool,
    /// Error state indicator of the sender.
    pub error_state: bool,
}

/// One frame. Its payload lies in the batch: see [`Batch::payload`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Frame {
    /// When the log says it was seen.
    pub stamp: Stamp,
    /// Which bus: an index into [`Batch::buses`].
    pub bus: u16,
    /// Identifier.
    pub id: FrameId,
    /// Data, remote or error.
    pub kind: FrameKind,
    /// CAN FD flags.
    pub flags: FrameFlags,
    /// Payload length in bytes, 0 to 64 (for a remote frame the length asked for).
    pub length: u8,
    /// Where the payload starts in the batch's arena.
    pub payload_start: u32,
}

/// One row of a sheet of channels. Its cells lie in the batch: see [`Batch::cells`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Row {
    /// When the sheet says it was taken.
    pub stamp: Stamp,
    /// Which sheet of the map: an index into the `SheetSpec`s given to the reader.
    pub sheet: u16,
    /// Where the cells start in the batch's arena.
    pub cells_start: u32,
    /// How many cells: as many as the sheet has columns in its map.
    pub n_cells: u16,
}

/// One entry of a log.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Entry {
    /// A CAN frame.
    Frame(Frame),
    /// A row of a sheet of channels.
    Row(Row),
}

impl Entry {
    /// When the log says it was taken.
    pub fn stamp(&self) -> Stamp {
        match self {
            Entry::Frame(frame) => frame.stamp,
            Entry::Row(row) => row.stamp,
        }
    }
}

/// Some thousands of entries in log order, with the arenas they point into.
///
/// Readers refill one batch again and again, so its memory is paid once.
#[derive(Clone, Debug, Default)]
pub struct Batch {
    /// Entries in log order.
    pub entries: Vec<Entry>,
    /// Names of the buses seen so far, as the log writes them; `Frame::bus` indexes it.
    /// It only ever grows, and an index keeps its meaning for the whole log.
    pub buses: Vec<String>,
    payload_arena: Vec<u8>,
    cell_arena: Vec<f64>,
}

impl Batch {
    /// Forgets the entries and keeps the memory and the bus names.
    pub fn clear(&mut self) {
        self.entries.clear();
        self.payload_arena.clear();
        self.cell_arena.clear();
    }

    /// The index of a bus name, new or known.
    pub fn bus(&mut self, name: &str) -> u16 {
        if let Some(found) = self.buses.iter().position(|known| known == name) {
            return found as u16;
        }
        // A log with more than 65 535 buses is noise; the last index then serves for the rest.
        if self.buses.len() < usize::from(u16::MAX) {
            self.buses.push(name.to_owned());
        }
        (self.buses.len() - 1) as u16
    }

    /// Adds a frame with its payload (cut at 64 bytes, the longest CAN FD frame).
    #[inline]
    pub fn push_frame(
        &mut self,
        stamp: Stamp,
        bus: u16,
        id: FrameId,
        kind: FrameKind,
        flags: FrameFlags,
        payload: &[u8],
    ) {
        let payload = &payload[..payload.len().min(64)];
        let payload_start = self.payload_arena.len() as u32;
        self.payload_arena.extend_from_slice(payload);
        self.entries.push(Entry::Frame(Frame {
            stamp,
            bus,
            id,
            kind,
            flags,
            length: payload.len() as u8,
            payload_start,
        }));
    }

    /// Adds a data frame of the classic kind: the first `n_bytes` of these. Quicker than
    /// [`Batch::push_frame`], since so many bytes need no loop.
    #[inline]
    pub fn push_short_frame(
        &mut self,
        stamp: Stamp,
        bus: u16,
        id: FrameId,
        bytes: [u8; 8],
        n_bytes: usize,
    ) {
        let payload_start = self.payload_arena.len();
        self.payload_arena.extend_from_slice(&bytes);
        let length = n_bytes.min(8);
        self.payload_arena.truncate(payload_start + length);
        self.entries.push(Entry::Frame(Frame {
            stamp,
            bus,
            id,
            kind: FrameKind::Data,
            flags: FrameFlags::default(),
            length: length as u8,
            payload_start: payload_start as u32,
        }));
    }

    /// Adds a remote request for `length` bytes: it has a length and no payload.
    pub fn push_remote(&mut self, stamp: Stamp, bus: u16, id: FrameId, length: u8) {
        self.entries.push(Entry::Frame(Frame {
            stamp,
            bus,
            id,
            kind: FrameKind::Remote,
            flags: FrameFlags::default(),
            length: length.min(64),
            payload_start: self.payload_arena.len() as u32,
        }));
    }

    /// Adds a row; `None` is a cell with nothing in it.
    pub fn push_row(
        &mut self,
        stamp: Stamp,
        sheet: u16,
        cells: impl IntoIterator<Item = Option<f64>>,
    ) {
        let cells_start = self.cell_arena.len();
        self.cell_arena
            .extend(cells.into_iter().map(|cell| cell.unwrap_or(f64::NAN)));
        self.entries.push(Entry::Row(Row {
            stamp,
            sheet,
            cells_start: cells_start as u32,
            n_cells: (self.cell_arena.len() - cells_start) as u16,
        }));
    }

    /// The bytes of a frame; empty for a remote one.
    pub fn payload(&self, frame: &Frame) -> &[u8] {
        let start = frame.payload_start as usize;
        match frame.kind {
            FrameKind::Remote => &[],
            _ => self
                .payload_arena
                .get(start..start + usize::from(frame.length))
                .unwrap_or(&[]),
        }
    }

    /// The cells of a row in the order of the sheet's columns; `None` where nothing was written.
    pub fn cells(&self, row: &Row) -> impl Iterator<Item = Option<f64>> + '_ {
        let start = row.cells_start as usize;
        self.cell_arena
            .get(start..start + usize::from(row.n_cells))
            .unwrap_or(&[])
            .iter()
            .map(|&cell| if cell.is_nan() { None } else { Some(cell) })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn same_number_in_11_and_29_bits_is_two_keys() {
        let short = FrameId::standard(0x123).unwrap();
        let long = FrameId::extended(0x123).unwrap();
        assert_ne!(short, long);
        assert_eq!(short.number(), long.number());
        assert_eq!(short.to_string(), "0x123");
        assert_eq!(long.to_string(), "0x00000123");
        assert_eq!(FrameId::standard(0x800), None);
        assert_eq!(FrameId::extended(0x2000_0000), None);
    }

    #[test]
    fn a_remote_frame_has_a_length_and_no_payload() {
        let mut batch = Batch::default();
        let bus = batch.bus("can0");
        let id = FrameId::standard(1).unwrap();
        batch.push_remote(Stamp(0), bus, id, 4);
        batch.push_frame(
            Stamp(1),
            bus,
            id,
            FrameKind::Data,
            FrameFlags::default(),
            &[9],
        );
        let frames: Vec<Frame> = batch
            .entries
            .iter()
            .map(|entry| match entry {
                Entry::Frame(frame) => *frame,
                Entry::Row(_) => unreachable!("no row was pushed"),
            })
            .collect();
        assert_eq!((frames[0].length, batch.payload(&frames[0])), (4, &[][..]));
        assert_eq!(batch.payload(&frames[1]), &[9]);
    }
}
