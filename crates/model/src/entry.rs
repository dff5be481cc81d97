//! What a reader yields: batches of frames and of sheet rows, in log order.
//!
//! `logs` and `signal-map` do not know each other; they meet here. A batch keeps
//! payloads and cells in two arenas, so that an entry is small and a million of
//! them cost no allocation of their own. It keeps where in the log each entry stands.
//!
//! A stage between the two, such as one that joins messages sent in several frames, is a
//! function from batch to batch: see [`Batch::push_from`].

use crate::constants::LONGEST_PAYLOAD;
use crate::notice::LogPlace;
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
    /// Payload length in bytes, at most [`LONGEST_PAYLOAD`] (for a remote frame the length
    /// asked for).
    pub length: u16,
    /// Where the payload starts in the batch's arena.
    pub payload_start: u32,
}

/// One row of a sheet of channels. Its cells lie in the batch: see [`Batch::cells`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SheetRow {
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
    Row(SheetRow),
    /// A frame that no map names and that was passed over, here for its time alone: without
    /// it, frames that go by would look like a silence of the log. Of frames passed over a
    /// reader gives on at least the first in each second of the log's clock, and the last
    /// one of the input.
    PassedOver(Stamp),
    /// Frames of a bus that went by between the one before and here, and that the recorder did
    /// not get.
    Lost(Lost),
    /// A note of somebody who was there. Its text lies in the batch: see [`Batch::note`].
    Mark(Note),
}

/// Frames a recorder did not get, and knows of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Lost {
    /// By when they were lost.
    pub stamp: Stamp,
    /// Which bus: an index into [`Batch::buses`].
    pub bus: u16,
    /// How many.
    pub n_frames: u32,
}

/// A note of somebody who was there.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Note {
    /// When it was made.
    pub stamp: Stamp,
    /// Which note of the batch.
    pub index: u32,
}

impl Entry {
    /// When the log says it was taken.
    pub fn stamp(&self) -> Stamp {
        match self {
            Entry::Frame(frame) => frame.stamp,
            Entry::Row(row) => row.stamp,
            Entry::PassedOver(stamp) => *stamp,
            Entry::Lost(lost) => lost.stamp,
            Entry::Mark(mark) => mark.stamp,
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
    /// Names of the inputs of the log; empty for a batch that comes from none.
    pub inputs: Vec<String>,
    /// Frames that were passed over, where the reader counts them: one of a log that knows of
    /// losses does, to say what share of all those are.
    pub n_passed_over: u64,
    // The input from each of these entries on: entry, index into `inputs`. Neighbours differ.
    input_starts: Vec<(usize, u32)>,
    // The line of each entry, and of the one that is added next.
    lines: Vec<u64>,
    line: u64,
    payload_arena: Vec<u8>,
    cell_arena: Vec<f64>,
    notes: Vec<String>,
}

impl Batch {
    /// An empty batch of the same log.
    pub fn of_same_log(&self) -> Batch {
        Batch {
            buses: self.buses.clone(),
            inputs: self.inputs.clone(),
            ..Batch::default()
        }
    }

    /// Forgets the entries and keeps the memory and the names.
    pub fn clear(&mut self) {
        self.entries.clear();
        self.n_passed_over = 0;
        self.input_starts.clear();
        self.lines.clear();
        self.payload_arena.clear();
        self.cell_arena.clear();
        self.notes.clear();
    }

    /// Cells of all its rows.
    pub fn n_cells(&self) -> usize {
        self.cell_arena.len()
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

    /// Entries added from now on come from this input: an index into [`Batch::inputs`].
    pub fn set_input(&mut self, input: u32) {
        if self
            .input_starts
            .last()
            .is_none_or(|(_, last)| *last != input)
        {
            self.input_starts.push((self.entries.len(), input));
        }
    }

    /// Entries added from now on stand on this line of their input: see [`LogPlace::line`].
    #[inline]
    pub fn set_line(&mut self, line: u64) {
        self.line = line;
    }

    /// Where in the log an entry stands; `None` for a batch that comes from no log.
    pub fn place(&self, index: usize) -> Option<LogPlace> {
        let name = self.inputs.get(self.input_of(index)? as usize)?;
        Some(LogPlace {
            source: name.clone(),
            line: *self.lines.get(index)?,
        })
    }

    fn input_of(&self, index: usize) -> Option<u32> {
        let n = self
            .input_starts
            .partition_point(|(first, _)| *first <= index);
        let (_, input) = self.input_starts.get(n.checked_sub(1)?)?;
        Some(*input)
    }

    /// Adds an entry of another batch of the same log with all that belongs to it.
    pub fn push_from(&mut self, other: &Batch, index: usize) {
        let Some(entry) = other.entries.get(index) else {
            return;
        };
        if let Some(input) = other.input_of(index) {
            self.set_input(input);
        }
        self.set_line(other.lines.get(index).copied().unwrap_or(0));
        match entry {
            Entry::Frame(frame) => {
                let payload_start = self.payload_arena.len() as u32;
                self.payload_arena.extend_from_slice(other.payload(frame));
                self.push(Entry::Frame(Frame {
                    payload_start,
                    ..*frame
                }));
            }
            Entry::Row(row) => self.push_row(row.stamp, row.sheet, other.cells(row)),
            Entry::PassedOver(_) | Entry::Lost(_) => self.push(*entry),
            Entry::Mark(mark) => self.push_mark(mark.stamp, other.note(mark)),
        }
    }

    #[inline(always)]
    fn push(&mut self, entry: Entry) {
        self.entries.push(entry);
        self.lines.push(self.line);
    }

    /// Adds a frame that was passed over.
    pub fn push_passed_over(&mut self, stamp: Stamp) {
        self.push(Entry::PassedOver(stamp));
    }

    /// Adds frames that the recorder did not get.
    pub fn push_lost(&mut self, stamp: Stamp, bus: u16, n_frames: u32) {
        self.push(Entry::Lost(Lost {
            stamp,
            bus,
            n_frames,
        }));
    }

    /// Adds a note.
    pub fn push_mark(&mut self, stamp: Stamp, note: &str) {
        let index = self.notes.len() as u32;
        self.notes.push(note.to_owned());
        self.push(Entry::Mark(Note { stamp, index }));
    }

    /// Adds a frame with its payload (cut at [`LONGEST_PAYLOAD`]).
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
        let payload = &payload[..payload.len().min(LONGEST_PAYLOAD)];
        let payload_start = self.payload_arena.len() as u32;
        self.payload_arena.extend_from_slice(payload);
        self.push(Entry::Frame(Frame {
            stamp,
            bus,
            id,
            kind,
            flags,
            length: payload.len() as u16,
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
        self.push(Entry::Frame(Frame {
            stamp,
            bus,
            id,
            kind: FrameKind::Data,
            flags: FrameFlags::default(),
            length: length as u16,
            payload_start: payload_start as u32,
        }));
    }

    /// Adds a remote request for `length` bytes: it has a length and no payload.
    pub fn push_remote(&mut self, stamp: Stamp, bus: u16, id: FrameId, length: u8) {
        self.push(Entry::Frame(Frame {
            stamp,
            bus,
            id,
            kind: FrameKind::Remote,
            flags: FrameFlags::default(),
            length: u16::from(length),
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
        self.push(Entry::Row(SheetRow {
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

    /// The text of a note.
    pub fn note(&self, mark: &Note) -> &str {
        self.notes
            .get(mark.index as usize)
            .map_or("", String::as_str)
    }

    /// The cells of a row in the order of the sheet's columns; `None` where nothing was written.
    pub fn cells(&self, row: &SheetRow) -> impl Iterator<Item = Option<f64>> + '_ {
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
                other => unreachable!("{other:?} was not pushed"),
            })
            .collect();
        assert_eq!((frames[0].length, batch.payload(&frames[0])), (4, &[][..]));
        assert_eq!(batch.payload(&frames[1]), &[9]);
    }

    #[test]
    fn an_entry_is_small_and_its_payload_may_be_long() {
        assert_eq!(std::mem::size_of::<Entry>(), 24);
        let mut batch = Batch::default();
        let id = FrameId::standard(1).unwrap();
        let long: Vec<u8> = (0..5000_u32).map(|n| n as u8).collect();
        for length in [LONGEST_PAYLOAD, LONGEST_PAYLOAD + 1, 300] {
            let flags = FrameFlags::default();
            batch.push_frame(Stamp(0), 0, id, FrameKind::Data, flags, &long[..length]);
        }
        let lengths: Vec<usize> = batch
            .entries
            .iter()
            .map(|entry| match entry {
                Entry::Frame(frame) => {
                    let payload = batch.payload(frame);
                    assert_eq!(payload, &long[..usize::from(frame.length)]);
                    payload.len()
                }
                other => unreachable!("{other:?} was not pushed"),
            })
            .collect();
        assert_eq!(lengths, [4095, 4095, 300]);
    }

    #[test]
    fn every_entry_knows_its_input_and_line_wherever_it_is_moved() {
        let mut batch = Batch::default();
        batch.push_passed_over(Stamp(0));
        assert_eq!(batch.place(0), None);
        batch.clear();
        batch.inputs = vec!["a.log".to_owned(), "b.log".to_owned()];
        let mut wanted = Vec::new();
        for (input, line) in [(0, 7), (0, 9), (1, 1), (0, 10), (1, 3)] {
            batch.set_input(input);
            batch.set_line(line);
            match line {
                9 => batch.push_row(Stamp(1), 0, [Some(1.0), None]),
                _ => batch.push_passed_over(Stamp(2)),
            }
            wanted.push(format!("{}:{line}", ["a.log", "b.log"][input as usize]));
        }
        let mut moved = batch.of_same_log();
        (1..5).for_each(|index| moved.push_from(&batch, index));
        let places = |batch: &Batch| -> Vec<String> {
            let places = (0..batch.entries.len()).map(|index| batch.place(index));
            places.map(|place| place.unwrap().to_string()).collect()
        };
        assert_eq!(places(&batch), wanted);
        assert_eq!(places(&moved), wanted[1..]);
        assert_eq!(moved.entries[1..], batch.entries[2..]);
    }
}
