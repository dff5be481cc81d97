//! Several inputs read as one log.
//!
//! Each input is recognised by itself and ordered by its first stamp; entries are merged
//! by stamp, so that files of two buses interleave and files of one bus follow each
//! other. Within one input the order of arrival stays, even where its clock steps back.
//! Clocks are not compared: two files whose clocks each began at boot interleave, and
//! have to be read apart.
//! An input that cannot be used is an error only if no other can.

use std::cmp::Reverse;
use std::collections::BinaryHeap;
use std::io::{self, Read};
use std::path::PathBuf;

use halfshaft_model::personal::base_name;
use halfshaft_model::{Batch, IdFilter, Notices, SheetSpec, Stamp};

use crate::context::{Buses, Context};
use crate::error::Error;
use crate::folder;
use crate::formats::is_full;
use crate::input::{Input, Slot};

/// With more inputs than this, files are closed after their beginning was looked at and
/// opened again when their turn comes: open files and their buffers stay few.
const MOST_OPEN: usize = 16;

/// An input, as the user named it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Source {
    /// A file, or the folder of a drive.
    File(PathBuf),
    /// Standard input.
    StandardInput,
}

/// What the map says about reading.
#[derive(Clone, Copy, Debug, Default)]
pub struct Options<'a> {
    /// The sheets of the map; empty without a map.
    pub sheets: &'a [SheetSpec],
    /// Give on only frames with these identifiers, and of others now and then the time
    /// ([`halfshaft_model::Entry::PassedOver`]); error reports and remote requests always. `None`: all.
    pub only: Option<&'a IdFilter>,
}

/// How far reading has got.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Progress {
    /// Raw bytes read.
    pub read_bytes: u64,
    /// Raw bytes there are; `None` when an input is no plain file.
    pub total_bytes: Option<u64>,
}

/// Several inputs read as one log.
pub struct Log {
    slots: Vec<Slot>,
    // Their names without folders, as batches have them.
    names: Vec<String>,
    // Open inputs, by the stamp of their next entry.
    order: BinaryHeap<Reverse<(Stamp, usize)>>,
    notices: Notices,
    buses: Buses,
    sheets: Vec<SheetSpec>,
    only: Option<IdFilter>,
}

impl Log {
    /// Opens inputs and recognises each by its content.
    ///
    /// An error means that no input can be used. One that cannot, beside others that
    /// can, has its reason in [`Input::trouble`].
    pub fn open(sources: &[Source], options: &Options) -> Result<Log, Error> {
        let inputs = sources.iter().map(|source| match source {
            Source::File(path) => Slot::file(folder::the_only_drive(path)),
            Source::StandardInput => {
                Slot::stream("standard input".to_owned(), Box::new(io::stdin()))
            }
        });
        Log::start(inputs.collect(), options)
    }

    /// Opens streams by name.
    pub fn from_readers(
        readers: Vec<(String, Box<dyn Read + Send>)>,
        options: &Options,
    ) -> Result<Log, Error> {
        let inputs = readers
            .into_iter()
            .map(|(name, stream)| Slot::stream(name, stream));
        Log::start(inputs.collect(), options)
    }

    fn start(slots: Vec<Slot>, options: &Options) -> Result<Log, Error> {
        let mut log = Log {
            names: slots
                .iter()
                .map(|slot| base_name(&slot.tally.name).to_owned())
                .collect(),
            slots,
            order: BinaryHeap::new(),
            notices: Notices::default(),
            buses: Buses::default(),
            sheets: options.sheets.to_vec(),
            only: options.only.cloned(),
        };
        let are_many = log.slots.len() > MOST_OPEN;
        let mut errors = Vec::new();
        for (index, slot) in log.slots.iter_mut().enumerate() {
            let closes_again = are_many && slot.can_open_again();
            // What is counted in a beginning that will be read again is not kept.
            let mut discarded = Notices::default();
            let notices = if closes_again {
                &mut discarded
            } else {
                &mut log.notices
            };
            let (sheets, only) = (&log.sheets, log.only.as_ref());
            match slot.open(index as u32, sheets, notices, &mut log.buses, only) {
                Ok(first) => {
                    log.order.push(Reverse((first, index)));
                    if closes_again {
                        slot.close_for_now();
                    }
                }
                Err(error) => {
                    slot.tally.trouble = Some(error.to_string());
                    errors.push(error);
                }
            }
        }
        if !log.order.is_empty() {
            return Ok(log);
        }
        Err(match errors.len() {
            0 => Error::NoInput,
            1 => errors.remove(0),
            _ => Error::NoneUsable(errors),
        })
    }

    /// Refills `batch`, which is cleared first, with up to some thousands of entries in
    /// log order. `false`, with an empty batch, when there are no more.
    pub fn next(&mut self, batch: &mut Batch) -> Result<bool, Error> {
        batch.clear();
        while !is_full(batch) {
            let Some(Reverse((_, index))) = self.order.pop() else {
                break;
            };
            // How far this input may go before another one has its turn.
            let until = self.order.peek().map(|Reverse(key)| *key);
            if let Some(next) = self.advance(index, until, batch) {
                self.order.push(Reverse((next, index)));
            }
        }
        self.buses.name_in(&mut batch.buses);
        if batch.inputs != self.names {
            batch.inputs.clone_from(&self.names);
        }
        if !batch.entries.is_empty() {
            return Ok(true);
        }
        match self.slots.iter().any(|slot| slot.tally.n_usable > 0) {
            true => Ok(false),
            false => Err(self.nothing_usable()),
        }
    }

    /// Moves entries of one input into `batch`; gives the stamp of its next one.
    fn advance(
        &mut self,
        index: usize,
        until: Option<(Stamp, usize)>,
        batch: &mut Batch,
    ) -> Option<Stamp> {
        let slot = &mut self.slots[index];
        if slot.opened.is_none()
            && let Err(error) = slot.open(
                index as u32,
                &self.sheets,
                &mut self.notices,
                &mut self.buses,
                self.only.as_ref(),
            )
        {
            slot.tally.trouble = Some(error.to_string());
            return None;
        }
        let opened = slot.opened.as_mut()?;
        let mut context = Context {
            notices: &mut self.notices,
            buses: &mut self.buses,
            tally: &mut slot.tally,
            only: self.only.as_ref(),
        };
        if until.is_none() && opened.at == opened.pending.entries.len() {
            // The only input left: no need to hold anything back.
            while opened.has_more && !is_full(batch) {
                opened.fill(batch, &mut context);
            }
            if opened.has_more {
                return Some(Stamp(i64::MAX));
            }
            slot.finish();
            return None;
        }
        while let Some(entry) = opened.pending.entries.get(opened.at) {
            let stamp = entry.stamp();
            if is_full(batch) || until.is_some_and(|until| (stamp, index) > until) {
                return Some(stamp);
            }
            batch.push_from(&opened.pending, opened.at);
            opened.at += 1;
        }
        if until.is_none() && opened.has_more {
            return Some(Stamp(i64::MAX));
        }
        match opened.read_ahead(&mut context) {
            Some(stamp) => Some(stamp),
            None => {
                slot.finish();
                None
            }
        }
    }

    fn nothing_usable(&self) -> Error {
        let mut errors: Vec<Error> = self.slots.iter().map(Slot::nothing_usable).collect();
        if errors.len() == 1 {
            errors.remove(0)
        } else {
            Error::NoneUsable(errors)
        }
    }

    /// Damage found so far, by code.
    pub fn notices(&self) -> &Notices {
        &self.notices
    }

    /// What is known of each input so far, in the order they were named.
    pub fn inputs(&self) -> Vec<Input> {
        self.slots.iter().map(Slot::input).collect()
    }

    /// How far reading has got.
    pub fn progress(&self) -> Progress {
        Progress {
            read_bytes: self.slots.iter().map(Slot::read_bytes).sum(),
            total_bytes: self.slots.iter().map(|slot| slot.size_bytes).sum(),
        }
    }
}
