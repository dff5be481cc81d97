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
mod signal;

use halfshaft_model::timeline::{Clock, Cut};
use halfshaft_model::{
    Batch, Block, Code, Column, Entry, Frame, FrameKind, Notices, Place, Row, Stamp, Time,
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

/// What places are called here: entries have lost their file and line.
const LOG: &str = "log entry";

/// Decodes a log, batch by batch. What it remembers does not grow with the log.
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
    n_mapped: u64,
    stamps: Option<(Stamp, Stamp)>,
    cuts: Vec<(Time, Cut)>,
    n_cuts: u64,
    pieces: Pieces,
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
            n_mapped: 0,
            stamps: None,
            cuts: Vec::new(),
            n_cuts: 0,
            pieces: Pieces::default(),
        }
    }

    /// Decodes a batch into `block`, which is cleared first.
    pub fn push(&mut self, batch: &Batch, block: &mut Block) {
        block.clear();
        block
            .columns
            .resize_with(self.channels.len(), Column::default);
        self.buses.meet(&batch.buses);
        if let (Some(first), Some(last)) = (batch.entries.first(), batch.entries.last()) {
            let first = self.stamps.map_or(first.stamp(), |(first, _)| first);
            self.stamps = Some((first, last.stamp()));
        }
        for (index, entry) in batch.entries.iter().enumerate() {
            let stamp = entry.stamp();
            self.n_entries += 1;
            let placed = match self.clock.follow(stamp) {
                Some(time) => Some(time),
                None => self.place(stamp, &batch.entries[index + 1..], block),
            };
            let Some(time) = placed else {
                continue;
            };
            self.pieces.reach(stamp);
            let is_mapped = match entry {
                Entry::Frame(frame) => self.take_frame(frame, batch, time, block),
                Entry::Row(row) => self.take_row(row, batch, time, block),
            };
            self.n_mapped += u64::from(is_mapped);
        }
        block.until = block.until.max(self.clock.reached());
    }

    /// What was damaged. A place here is the number of the entry in the log, from 1.
    pub fn notices(&self) -> &Notices {
        &self.notices
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
            covered_ns: self.clock.covered_ns(),
            cuts: self.cuts.clone(),
            n_cuts: self.n_cuts,
            twice_ns: self.pieces.twice_ns(),
        }
    }

    /// Places an entry that does not simply follow those before; `None` when its stamp is wrong.
    #[cold]
    fn place(&mut self, stamp: Stamp, behind: &[Entry], block: &mut Block) -> Option<Time> {
        if self.clock.is_far(stamp) && self.is_alone(behind) {
            self.count_off(stamp);
            return None;
        }
        let placed = self.clock.place(stamp);
        if self.n_entries == 1 {
            self.channels.cut(placed.time);
            self.pieces.begin(stamp);
        }
        if let Some(cut) = placed.cut {
            self.pieces.begin(stamp);
            self.cut(placed.time, cut, stamp, block);
        }
        Some(placed.time)
    }

    /// Whether the log goes on behind an entry as if that were not there: then its stamp is
    /// wrong, and no clock was set. At the end of a batch nobody knows, and it counts.
    fn is_alone(&self, behind: &[Entry]) -> bool {
        let mut behind = behind.iter().take(LOOK_AHEAD);
        behind.any(|entry| self.clock.goes_on_at(entry.stamp()))
    }

    fn count_off(&mut self, stamp: Stamp) {
        let line = self.n_entries;
        self.notices.count(Code::StampOff, || {
            let source = LOG.to_owned();
            (
                Place { source, line },
                format!("its stamp is {:.6} s", stamp.seconds()),
            )
        });
    }

    fn cut(&mut self, time: Time, cut: Cut, stamp: Stamp, block: &mut Block) {
        block.cuts.push(time);
        self.n_cuts += 1;
        if self.cuts.len() < coverage::MAX_CUTS {
            self.cuts.push((time, cut));
        }
        self.channels.cut(time);
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
        let line = self.n_entries;
        self.notices.count(code, || {
            let source = LOG.to_owned();
            (
                Place { source, line },
                format!("the next stamp is {:.3} s", stamp.seconds()),
            )
        });
    }

    #[inline]
    fn take_frame(&mut self, frame: &Frame, batch: &Batch, time: Time, block: &mut Block) -> bool {
        if frame.kind != FrameKind::Data {
            self.count_without_data(frame);
            return false;
        }
        let Some(bus) = self.buses.of_batch(frame.bus) else {
            return false;
        };
        let arrival = Arrival {
            time,
            bus,
            id: frame.id,
            payload: batch.payload(frame),
            entry: self.n_entries,
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
    fn count_without_data(&mut self, frame: &Frame) {
        let code = match frame.kind {
            FrameKind::Data => return,
            FrameKind::Remote => Code::RemoteFrame,
            FrameKind::Error => Code::ErrorFrame,
        };
        let line = self.n_entries;
        self.notices.count(code, || {
            let source = LOG.to_owned();
            (Place { source, line }, frame.id.to_string())
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

    fn take_row(&mut self, row: &Row, batch: &Batch, time: Time, block: &mut Block) -> bool {
        let Some(sheet) = self.sheets.get_mut(usize::from(row.sheet)) else {
            return false;
        };
        sheet.n_rows += 1;
        self.channels.begin();
        let place = || Place {
            source: LOG.to_owned(),
            line: self.n_entries,
        };
        let mut has_room = true;
        for ((column, name, gate), cell) in sheet.columns.iter_mut().zip(batch.cells(row)) {
            // Nothing written is no sample: a slow channel shares the sheet with fast ones.
            let Some(cell) = cell else { continue };
            let si = cell * column.si_per_unit + column.si_at_zero;
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
                || (place(), format!("{name} in sheet {}", sheet.name)),
            );
            has_room &= self.channels.push(column.channel, time, value, block);
        }
        if !has_room {
            self.notices.count(Code::FrameLate, || {
                (
                    place(),
                    format!(
                        "a row of sheet {} is not later than one before it",
                        sheet.name
                    ),
                )
            });
        }
        self.channels.finish(time, block);
        true
    }
}

#[cfg(test)]
mod tests;
