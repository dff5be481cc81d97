//! Entries to columns of named channels.
//!
//! In: a checked map, and batches of entries in log order. Out: blocks with one column
//! for each channel of the map, at native rates on the vehicle's clock; notices of all
//! that was damaged; coverage in numbers. Nothing is resampled and nothing is filled in.

pub mod bits;
mod channels;
pub mod checksum;
mod counter;
pub mod coverage;
mod formula;
mod frame;
mod gate;
pub(crate) mod lookup;
pub(crate) mod period;
mod pieces;
mod quick;
mod screen;
mod signal;

use halfshaft_model::timeline::{Clock, Cut};
use halfshaft_model::{
    Batch, Block, Code, Column, Entry, Frame, FrameKind, LogPlace, Lost, Mark, Notices, SheetRow,
    Stamp, Time,
};

pub use bits::{Reading, extract, value};
pub use coverage::{Coverage, FrameCoverage};

use crate::map::{Map, SheetColumn};
use channels::Channels;
use frame::{Arrival, FrameState};
use gate::Gate;
use lookup::{Buses, Lookup};
use pieces::Pieces;
use signal::judge;

/// Entries behind a doubtful stamp that are looked at: as many may be wrong in a row, less one.
const LOOK_AHEAD: usize = 4;

/// Decodes a log, batch by batch, and at its end [`Decoder::finish`]. What it remembers does
/// not grow with the log, and how the log is cut into batches changes nothing.
#[derive(Clone, Debug)]
pub struct Decoder {
    clock: Clock,
    lookup: Lookup,
    buses: Buses,
    frames: Vec<FrameState>,
    sheets: Vec<SheetState>,
    channels: Channels,
    notices: Notices,
    n_entries: u64,
    n_passed_over: u64,
    n_mapped: u64,
    stamps: Option<(Stamp, Stamp)>,
    cuts: Vec<(Time, Cut)>,
    n_cuts: u64,
    first_stamp: Option<Stamp>,
    set_ahead_ns: Option<i64>,
    pieces: Pieces,
    // Entries from a doubtful stamp on, where too few are behind it to judge it.
    held: Batch,
    // How far the log has got, less what a sample that waits holds back.
    until: Time,
}

/// Where an entry comes from: its batch, its index there, and its number in the log from 1.
/// The place in the log is worked out only for a notice.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Origin<'a> {
    batch: &'a Batch,
    index: usize,
    number: u64,
}

impl Origin<'_> {
    /// Its input and line; its number where the batch comes from no input.
    pub(crate) fn place(&self) -> LogPlace {
        self.batch.place(self.index).unwrap_or_else(|| LogPlace {
            source: "log entry".to_owned(),
            line: self.number,
        })
    }
}

/// What a stamp that does not simply go on from those before comes to.
enum Placed {
    At(Time),
    /// It is wrong.
    Off,
    /// Too few entries are behind it to decide.
    Open,
}

#[derive(Clone, Debug)]
struct SheetState {
    name: String,
    columns: Vec<(SheetColumn, String, Option<Gate>)>,
    n_rows: u64,
}

impl Decoder {
    /// A decoder for a map.
    pub fn new(map: &Map) -> Decoder {
        let name = |channel: usize| {
            map.channels
                .get(channel)
                .map_or(String::new(), |spec| spec.name.clone())
        };
        let sheets = map.sheets.iter().map(|sheet| {
            let columns = sheet.columns.iter().map(|column| {
                let gate = column
                    .rate_under
                    .map(|rate_per_s| Gate::new(rate_per_s, 0.0));
                (column.clone(), name(column.channel), gate)
            });
            SheetState {
                name: sheet.spec.name.clone(),
                columns: columns.collect(),
                n_rows: 0,
            }
        });
        Decoder {
            clock: Clock::default(),
            lookup: Lookup::new(map),
            buses: Buses::new(map),
            frames: map
                .frames
                .iter()
                .map(|spec| FrameState::new(spec, map))
                .collect(),
            sheets: sheets.collect(),
            channels: Channels::new(map),
            notices: Notices::default(),
            n_entries: 0,
            n_passed_over: 0,
            n_mapped: 0,
            stamps: None,
            cuts: Vec::new(),
            n_cuts: 0,
            first_stamp: None,
            set_ahead_ns: None,
            pieces: Pieces::default(),
            held: Batch::default(),
            until: Time(0),
        }
    }

    /// A decoder that leaves out samples which no car can make.
    pub fn screening(map: &Map) -> Decoder {
        let mut decoder = Decoder::new(map);
        decoder.channels.screen(map);
        decoder
    }

    /// Decodes a batch into `block`, which is cleared first. The last few entries may wait
    /// for the next batch.
    pub fn push(&mut self, batch: &Batch, block: &mut Block) {
        self.begin(block);
        self.buses.meet(&batch.buses);
        self.n_passed_over += batch.n_passed_over;
        let held = std::mem::take(&mut self.held);
        let n_taken = self.take(&held, Some(&batch.entries), block);
        if n_taken == held.entries.len() {
            let n_taken = self.take(batch, Some(&[]), block);
            self.hold(batch, n_taken);
        } else {
            self.hold(&held, n_taken);
            self.hold(batch, 0);
        }
    }

    /// Decodes what waited for entries that do not come, into `block`, which is cleared first.
    pub fn finish(&mut self, block: &mut Block) {
        self.begin(block);
        let held = std::mem::take(&mut self.held);
        self.take(&held, None, block);
        self.channels.end(block);
        block.until = block.until.max(self.clock.reached());
    }

    fn begin(&self, block: &mut Block) {
        block.clear();
        block
            .columns
            .resize_with(self.channels.len(), Column::default);
    }

    /// Keeps the entries of a batch from the `first` on for later.
    fn hold(&mut self, batch: &Batch, first: usize) {
        if first == batch.entries.len() {
            return;
        }
        self.held.inputs.clone_from(&batch.inputs);
        for index in first..batch.entries.len() {
            self.held.push_from(batch, index);
        }
    }

    /// Takes the entries of a batch, up to one whose stamp those behind it leave open; gives
    /// how many. `next` are entries behind the batch, `None` at the end of the log.
    fn take(&mut self, batch: &Batch, next: Option<&[Entry]>, block: &mut Block) -> usize {
        let entries = &batch.entries;
        let mut n_taken = entries.len();
        for (index, entry) in entries.iter().enumerate() {
            let stamp = entry.stamp();
            let origin = Origin {
                batch,
                index,
                number: self.n_entries + 1,
            };
            let time = match self.clock.follow(stamp) {
                Some(time) => time,
                None => match self.place(stamp, &origin, next, block) {
                    Placed::At(time) => time,
                    Placed::Off => {
                        self.n_entries += u64::from(is_counted(entry));
                        continue;
                    }
                    Placed::Open => {
                        n_taken = index;
                        break;
                    }
                },
            };
            self.n_entries += u64::from(is_counted(entry));
            self.pieces.reach(stamp);
            let is_mapped = match entry {
                Entry::Frame(frame) => self.take_frame(frame, origin, time, block),
                Entry::Row(row) => self.take_row(row, origin, time, block),
                Entry::PassedOver(_) => false,
                Entry::Lost(lost) => {
                    self.count_lost(lost, &origin);
                    false
                }
                Entry::Mark(mark) => {
                    let note = batch.note(mark).to_owned();
                    block.marks.push(Mark { time, note });
                    false
                }
            };
            self.n_mapped += u64::from(is_mapped);
        }
        let taken = &entries[..n_taken];
        if let (Some(first), Some(last)) = (taken.first(), taken.last()) {
            let first = self.stamps.map_or(first.stamp(), |(first, _)| first);
            self.stamps = Some((first, last.stamp()));
        }
        let reached = self.clock.reached();
        let held_back = self.channels.waits_since().unwrap_or(reached);
        self.until = self.until.max(reached.min(held_back));
        block.until = block.until.max(self.until);
        n_taken
    }

    /// What was damaged.
    pub fn notices(&self) -> &Notices {
        &self.notices
    }

    /// Frames that went by and that the recorder did not get, and all that went by.
    pub fn lost(&self) -> (u64, u64) {
        let n_lost = self.notices.n(Code::FramesLost);
        let n_got = self.n_entries.saturating_add(self.n_passed_over);
        (n_lost, n_got.saturating_add(n_lost))
    }

    /// What was seen so far.
    pub fn coverage(&self) -> Coverage {
        let bus_name = |bus| self.buses.name(bus).to_owned();
        Coverage {
            n_entries: self.n_entries,
            n_mapped: self.n_mapped,
            frames: self
                .frames
                .iter()
                .map(|frame| frame.coverage(bus_name))
                .collect(),
            sheets: self.sheets.iter().map(|sheet| sheet.n_rows).collect(),
            first: self.stamps.map(|(first, _)| first),
            last: self.stamps.map(|(_, last)| last),
            set_ahead_ns: self.set_ahead_ns,
            covered_ns: self.clock.covered_ns(),
            cuts: self.cuts.clone(),
            n_cuts: self.n_cuts,
            twice_ns: self.pieces.twice_ns(),
        }
    }

    /// Places an entry that does not simply follow those before.
    #[cold]
    fn place(
        &mut self,
        stamp: Stamp,
        origin: &Origin,
        next: Option<&[Entry]>,
        block: &mut Block,
    ) -> Placed {
        if self.clock.is_far(stamp) {
            // Where the log goes on behind an entry as if that were not there, its stamp is
            // wrong, and no clock was set. At the end of the log that cannot be seen, and it counts.
            let behind = &origin.batch.entries[origin.index + 1..];
            let behind = behind.iter().chain(next.unwrap_or(&[])).take(LOOK_AHEAD);
            let n_behind = behind.clone().count();
            if behind
                .clone()
                .any(|entry| self.clock.goes_on_at(entry.stamp()))
            {
                self.notices.count(Code::StampOff, || {
                    let example = format!("its stamp is {:.6} s", stamp.seconds());
                    (origin.place(), example)
                });
                return Placed::Off;
            }
            if next.is_some() && n_behind < LOOK_AHEAD {
                return Placed::Open;
            }
        }
        let placed = self.clock.place(stamp);
        self.first_stamp.get_or_insert(stamp);
        if self.pieces.is_empty() {
            self.channels.cut(placed.time, block);
            self.pieces.begin(stamp);
        }
        if let Some(cut) = placed.cut {
            self.pieces.begin(stamp);
            self.cut(placed.time, cut, stamp, origin, block);
        }
        Placed::At(placed.time)
    }

    fn cut(&mut self, time: Time, cut: Cut, stamp: Stamp, origin: &Origin, block: &mut Block) {
        block.cuts.push(time);
        self.n_cuts += 1;
        if let Some(first) = self.first_stamp
            && !first.is_date()
            && stamp.is_date()
        {
            // The drive went on at the cut, so the time before it is known but for that wait.
            let begin_ns = stamp.0.saturating_sub(time.0);
            let ahead_ns = begin_ns.saturating_sub(first.0);
            self.set_ahead_ns.get_or_insert(ahead_ns);
        }
        if self.cuts.len() < coverage::MAX_CUTS {
            self.cuts.push((time, cut));
        }
        self.channels.cut(time, block);
        self.frames.iter_mut().for_each(FrameState::cut);
        let gates = self.sheets.iter_mut().flat_map(|sheet| &mut sheet.columns);
        gates
            .filter_map(|(_, _, gate)| gate.as_mut())
            .for_each(Gate::cut);
        let code = match cut {
            Cut::Silence => Code::ClockSilence,
            Cut::JumpForward => Code::ClockJumpForward,
            Cut::JumpBack => Code::ClockJumpBack,
        };
        self.notices.count(code, || {
            let example = format!("the next stamp is {:.3} s", stamp.seconds());
            (origin.place(), example)
        });
    }

    #[inline]
    fn take_frame(&mut self, frame: &Frame, origin: Origin, time: Time, block: &mut Block) -> bool {
        if frame.kind != FrameKind::Data {
            self.count_without_data(frame, &origin);
            return false;
        }
        let Some(bus) = self.buses.of_batch(frame.bus) else {
            return false;
        };
        let arrival = Arrival {
            time,
            bus,
            id: frame.id,
            payload: origin.batch.payload(frame),
            origin,
        };
        // Nearly always one frame of the map has this identifier, or none.
        let Some(index) = self.lookup.only(frame.id) else {
            return self.take_for_several(&arrival, block);
        };
        if !self.buses.allows(bus, index) {
            return false;
        }
        self.channels.begin();
        self.frames[index].take(&arrival, &mut self.channels, &mut self.notices, block);
        self.channels.finish(time, block);
        true
    }

    #[cold]
    fn count_without_data(&mut self, frame: &Frame, origin: &Origin) {
        let code = match frame.kind {
            FrameKind::Data => return,
            FrameKind::Remote => Code::RemoteFrame,
            FrameKind::Error => Code::ErrorFrame,
        };
        self.notices
            .count(code, || (origin.place(), frame.id.to_string()));
    }

    #[cold]
    fn count_lost(&mut self, lost: &Lost, origin: &Origin) {
        let n = u64::from(lost.n_frames);
        self.notices.count_many(Code::FramesLost, n, || {
            let bus = origin.batch.buses.get(usize::from(lost.bus));
            let bus = bus.map_or("", String::as_str);
            (origin.place(), format!("{n} frames of {bus}"))
        });
    }

    /// A frame for any number of frames of the map; whether there is one.
    fn take_for_several(&mut self, arrival: &Arrival, block: &mut Block) -> bool {
        let mut is_mapped = false;
        self.lookup.find(arrival.id, |index| {
            if !self.buses.allows(arrival.bus, index) {
                return;
            }
            if !is_mapped {
                self.channels.begin();
                is_mapped = true;
            }
            self.frames[index].take(arrival, &mut self.channels, &mut self.notices, block);
        });
        if is_mapped {
            self.channels.finish(arrival.time, block);
        }
        is_mapped
    }

    fn take_row(&mut self, row: &SheetRow, origin: Origin, time: Time, block: &mut Block) -> bool {
        let Some(sheet) = self.sheets.get_mut(usize::from(row.sheet)) else {
            return false;
        };
        sheet.n_rows += 1;
        self.channels.begin();
        let mut has_room = true;
        let cells = origin.batch.cells(row);
        for ((column, name, gate), cell) in sheet.columns.iter_mut().zip(cells) {
            // Nothing written is no sample: a slow channel shares the sheet with fast ones.
            let Some(cell) = cell else { continue };
            let si = bits::scaled(cell, column.si_per_unit, column.si_at_zero);
            let reading = match column.believe {
                _ if !si.is_finite() => Reading::NotFinite,
                Some((low, high)) if !(low..=high).contains(&si) => Reading::BeyondBelief(si),
                _ => Reading::Value(si),
            };
            let value = judge(
                reading,
                gate.as_mut(),
                time,
                column.believe,
                &mut self.notices,
                || (origin.place(), format!("{name} in sheet {}", sheet.name)),
            );
            has_room &= self.channels.push(column.channel, time, value, block);
        }
        if !has_room {
            self.notices.count(Code::FrameLate, || {
                let example = format!(
                    "a row of sheet {} is not later than one before it",
                    sheet.name
                );
                (origin.place(), example)
            });
        }
        self.channels.finish(time, block);
        true
    }
}

/// Whether an entry counts as one of the log's.
#[inline]
fn is_counted(entry: &Entry) -> bool {
    matches!(entry, Entry::Frame(_) | Entry::Row(_))
}

#[cfg(test)]
mod tests;
