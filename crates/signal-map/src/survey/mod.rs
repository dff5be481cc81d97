//! How a log fits a map: what is there, what is not, and what looks wrong.
//!
//! In: the batches of a log, the blocks the decoder made of them, and at the end its
//! coverage. Out: a [`SurveyReport`]. Memory does not grow with the log, and how it is cut
//! into batches changes nothing. The survey changes nothing and decides nothing: it makes
//! remarks with their numbers.

mod agreement;
mod columns;
mod judge;
mod limits;
mod motion;
mod parts;
mod raw;
mod remark;
pub mod report;

use std::collections::HashMap;

use halfshaft_model::{Batch, Block, Entry, Frame, FrameId, FrameKind, Time};

pub use remark::{Kind, Remark};
pub use report::{ChannelSurvey, FrameSurvey, SurveyReport};

use crate::decode::bits;
use crate::decode::coverage::Coverage;
use crate::decode::lookup::{Buses, Lookup};
use crate::map::Map;
use columns::ColumnWatch;
use motion::Motion;
use parts::Parts;
use raw::{Codes, RawWatch};

/// Watches a log go by.
#[derive(Clone, Debug)]
pub struct Survey {
    map: Map,
    parts: Parts,
    n_entries: u64,
    lookup: Lookup,
    buses: Buses,
    // Bus on which a frame was first seen.
    pinned: Vec<Option<u16>>,
    // For each frame one per signal.
    raw: Vec<Vec<RawWatch>>,
    codes: Vec<Codes>,
    columns: Vec<ColumnWatch>,
    motion: Motion,
    // By bus and identifier.
    unmapped: HashMap<(u16, FrameId), u64>,
    n_unmapped: u64,
}

impl Survey {
    /// A survey for a map, of the whole log.
    pub fn new(map: &Map) -> Survey {
        Survey::looking_at(map, Parts::Whole)
    }

    /// A survey of the beginning of a log and then of one part in so many: a signal read
    /// wrongly is wrong all along, and a report alone need not wait for more.
    pub fn of_parts(map: &Map) -> Survey {
        Survey::looking_at(map, Parts::OneInMany)
    }

    fn looking_at(map: &Map, parts: Parts) -> Survey {
        let raw = map
            .frames
            .iter()
            .map(|frame| frame.signals.iter().map(RawWatch::new).collect());
        Survey {
            parts,
            n_entries: 0,
            lookup: Lookup::new(map),
            buses: Buses::new(map),
            pinned: vec![None; map.frames.len()],
            raw: raw.collect(),
            codes: vec![Codes::default(); map.channels.len()],
            columns: map
                .channels
                .iter()
                .map(|spec| ColumnWatch::new(spec.step))
                .collect(),
            motion: Motion::new(map),
            unmapped: HashMap::new(),
            n_unmapped: 0,
            map: map.clone(),
        }
    }

    /// Takes a batch and the block that the decoder made of it.
    pub fn push(&mut self, batch: &Batch, block: &Block) {
        self.buses.meet(&batch.buses);
        for entry in &batch.entries {
            let is_looked_at = self.parts.has_entry(self.n_entries);
            self.n_entries += 1;
            if !is_looked_at {
                continue;
            }
            match entry {
                Entry::Frame(frame) if frame.kind == FrameKind::Data => {
                    self.take_frame(frame, batch)
                }
                Entry::Frame(_) | Entry::PassedOver(_) | Entry::Lost(_) | Entry::Mark(_) => {}
                Entry::Row(row) => self.take_row(usize::from(row.sheet), batch.cells(row)),
            }
        }
        for (watch, column) in self.columns.iter_mut().zip(&block.columns) {
            watch.add(column, &block.cuts, self.parts);
        }
        self.motion.add(block, self.parts);
    }

    /// The log has ended.
    pub fn finish(&mut self) {
        self.motion.finish(self.parts);
    }

    /// What it has come to so far.
    pub fn report(&self, coverage: &Coverage) -> SurveyReport {
        judge::report(self, coverage)
    }

    fn take_frame(&mut self, frame: &Frame, batch: &Batch) {
        let Some(bus) = self.buses.of_batch(frame.bus) else {
            return;
        };
        let mut is_mapped = false;
        self.lookup.find(frame.id, |index| {
            if !self.buses.allows(bus, index) {
                return;
            }
            is_mapped = true;
            if *self.pinned[index].get_or_insert(bus) != bus {
                return;
            }
            let payload = batch.payload(frame);
            let time = Time(frame.stamp.0);
            let signals = &self.map.frames[index].signals;
            for (signal, watch) in signals.iter().zip(&mut self.raw[index]) {
                if !bits::is_on_page(signal, payload) {
                    continue;
                }
                let reading = watch.add(signal, payload, time);
                if let Some(codes) = self.codes.get_mut(signal.channel) {
                    codes.add(reading);
                }
            }
        });
        if !is_mapped {
            self.n_unmapped += 1;
            let has_room = self.unmapped.len() < limits::MAX_IDS;
            match self.unmapped.get_mut(&(bus, frame.id)) {
                Some(n) => *n += 1,
                None if has_room => drop(self.unmapped.insert((bus, frame.id), 1)),
                None => {}
            }
        }
    }

    fn take_row(&mut self, sheet: usize, cells: impl Iterator<Item = Option<f64>>) {
        let Some(sheet) = self.map.sheets.get(sheet) else {
            return;
        };
        for (column, cell) in sheet.columns.iter().zip(cells) {
            let (Some(codes), Some(cell)) = (self.codes.get_mut(column.channel), cell) else {
                continue;
            };
            let si = bits::scaled(cell, column.si_per_unit, column.si_at_zero);
            codes.add(bits::reading_of_si(si, column.believe));
        }
    }
}

#[cfg(test)]
mod tests;
