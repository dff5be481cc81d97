//! A log, batch by batch, and what it comes to.

use std::collections::HashMap;

use halfshaft_model::constants::NS_PER_S;
use halfshaft_model::{Batch, Entry, FrameId, FrameKind, Stamp};

use crate::checks;
use crate::column::ColumnWatch;
use crate::curve::{self, seconds};
use crate::diagnostic;
use crate::field;
use crate::found::{Drawn, Found, Identifier};
use crate::judge::judge;
use crate::samples::{Samples, Slots};
use crate::signal::{Place, Signal};
use crate::watch::{Key, Watch};

/// Identifiers looked at; a log with more is noise.
const MOST_IDENTIFIERS: usize = 4096;
/// Silence of the whole log that counts as a gap, s.
const GAP_S: f64 = 0.5;
/// Gaps kept.
const MOST_GAPS: usize = 20;
/// Columns of a sheet looked at.
const MOST_COLUMNS: usize = 2000;

/// A look at a log.
#[derive(Debug, Default)]
pub struct Look {
    found: Found,
    last: Option<Stamp>,
    elapsed_s: f64,
    slots: Slots,
    watches: Vec<Watch>,
    // Eleven-bit identifiers by bus and number, one more than the index; the others by key.
    short: Vec<Vec<u32>>,
    long: HashMap<(u16, FrameId), usize>,
    columns: Vec<ColumnWatch>,
}

impl Look {
    /// Nothing seen yet. Of a sheet the headers of its columns, in the order of the cells.
    pub fn new(columns: &[String]) -> Look {
        let column = |name: &String| ColumnWatch::new(name);
        Look {
            columns: columns.iter().take(MOST_COLUMNS).map(column).collect(),
            ..Look::default()
        }
    }

    /// Takes the entries of a batch.
    pub fn push(&mut self, batch: &Batch) {
        for (index, name) in batch.buses.iter().enumerate().skip(self.found.buses.len()) {
            debug_assert_eq!(index, self.found.buses.len());
            self.found.buses.push((name.clone(), 0));
        }
        for entry in &batch.entries {
            let stamp = entry.stamp();
            let time_s = self.time(stamp);
            let (slot, thinned) = self.slots.at(time_s);
            if let Some(stride) = thinned {
                self.thin(stride);
            }
            match entry {
                Entry::Frame(frame) => match frame.kind {
                    FrameKind::Data => {
                        self.found.n_frames += 1;
                        if let Some((_, n)) = self.found.buses.get_mut(usize::from(frame.bus)) {
                            *n += 1;
                        }
                        match self.watch(frame.bus, frame.id) {
                            Some(at) => self.watches[at].add(time_s, slot, batch.payload(frame)),
                            None => self.found.n_left_out += 1,
                        }
                    }
                    FrameKind::Remote => {
                        if let Some(at) = self.watch(frame.bus, frame.id) {
                            self.watches[at].n_remote += 1;
                        }
                    }
                    FrameKind::Error => self.found.n_errors += 1,
                },
                Entry::Row(row) => {
                    self.found.n_rows += 1;
                    for (cell, column) in batch.cells(row).zip(&mut self.columns) {
                        if let Some(value) = cell.filter(|value| value.is_finite()) {
                            column.add(time_s, slot, value);
                        }
                    }
                }
                Entry::Lost(lost) => self.found.n_lost += u64::from(lost.n_frames),
                Entry::PassedOver(_) | Entry::Mark(_) => {}
            }
        }
    }

    /// Seconds since the beginning. A clock that steps back stands still until it is past.
    fn time(&mut self, stamp: Stamp) -> f64 {
        let first = *self.found.first.get_or_insert(stamp);
        if let Some(last) = self.last {
            let step_s = (stamp.0.saturating_sub(last.0)) as f64 / NS_PER_S as f64;
            self.found.n_steps_back += u64::from(step_s < 0.0);
            if step_s > GAP_S {
                self.found.n_gaps += 1;
                self.found.gaps.push((self.elapsed_s, step_s));
                if self.found.gaps.len() > MOST_GAPS {
                    self.found
                        .gaps
                        .sort_by(|one, other| other.1.total_cmp(&one.1));
                    self.found.gaps.truncate(MOST_GAPS);
                }
            }
        }
        self.last = Some(stamp);
        let since_s = stamp.0.saturating_sub(first.0) as f64 / NS_PER_S as f64;
        self.elapsed_s = since_s;
        self.found.duration_s = self.found.duration_s.max(since_s);
        since_s
    }

    fn thin(&mut self, stride: u32) {
        for watch in &mut self.watches {
            watch.samples.thin(stride);
        }
        for column in &mut self.columns {
            column.thin(stride);
        }
    }

    fn watch(&mut self, bus: u16, id: FrameId) -> Option<usize> {
        let number = id.number() as usize;
        if !id.is_extended() {
            let bus_index = usize::from(bus);
            if bus_index >= self.short.len() && bus_index < 64 {
                self.short.resize(bus_index + 1, vec![0; 0x800]);
            }
            if let Some(known) = self.short.get(bus_index).map(|of_bus| of_bus[number])
                && known > 0
            {
                return Some(known as usize - 1);
            }
        }
        if let Some(known) = self.long.get(&(bus, id)) {
            return Some(*known);
        }
        if self.watches.len() >= MOST_IDENTIFIERS {
            return None;
        }
        let at = self.watches.len();
        self.watches.push(Watch::new(Key { bus, id }));
        match self.short.get_mut(usize::from(bus)) {
            Some(of_bus) if !id.is_extended() => of_bus[number] = at as u32 + 1,
            _ => {
                self.long.insert((bus, id), at);
            }
        }
        Some(at)
    }

    /// What the log comes to.
    pub fn found(mut self) -> Found {
        self.found
            .gaps
            .sort_by(|one, other| other.1.total_cmp(&one.1));
        let slots = self.slots.kept().to_vec();
        let mut watches = std::mem::take(&mut self.watches);
        watches.sort_by_key(|watch| watch.key);
        let mut signals: Vec<Signal> = Vec::new();
        let mut diagnostic: Vec<(f64, u32, f64)> = Vec::new();
        for (index, watch) in watches.iter_mut().enumerate() {
            let identifier = identifier(watch);
            if diagnostic::is_answer(watch.key.id) {
                diagnostic.extend(diagnostic::speeds(&watch.samples));
            } else {
                signals.extend(signals_of(index, &identifier, &watch.samples, &slots));
            }
            // What was kept of it is not needed any more.
            watch.samples = Samples::default();
            self.found.identifiers.push(identifier);
        }
        for (index, column) in std::mem::take(&mut self.columns).into_iter().enumerate() {
            self.found.columns.push(column.facts());
            signals.extend(column.signal(index, &slots));
        }
        diagnostic.sort_by(|one, other| one.1.cmp(&other.1).then(one.0.total_cmp(&other.0)));
        let heard = curve::curve(&diagnostic, 1.0, &slots);
        let copies = same_on_another_bus(&signals, &self.found.identifiers);
        let mut found = self.found;
        found.looked_at_s = slots.len() as f64 * crate::samples::SLOT_S;
        found.looked_at_s = found.looked_at_s.min(found.duration_s);
        judge(&mut found, &signals, &copies, &heard);
        found.signals = signals.iter().map(|signal| drawn(signal, &slots)).collect();
        found
    }
}

fn identifier(watch: &mut Watch) -> Identifier {
    let flip_rates = watch.flip_rates();
    let changes = |byte: &usize| {
        flip_rates[8 * byte..8 * byte + 8]
            .iter()
            .any(|rate| *rate > 0.0)
    };
    let changing = (0..flip_rates.len() / 8).filter(changes).collect();
    let counters = checks::counters(watch);
    let checksum = checks::checksum(watch, &flip_rates);
    let mut taken = vec![false; flip_rates.len()];
    if let Some(sum) = &checksum {
        taken[8 * sum.byte..8 * sum.byte + 8].fill(true);
    }
    // A page number that goes round is a counter by its looks; by what follows from it, it is none.
    let length = flip_rates.len() / 8;
    let pages = checks::pages(&watch.samples, &flip_rates, &taken, length);
    let is_page = |bit: usize| {
        let own = pages
            .as_ref()
            .map(|pages| pages.first_bit..pages.first_bit + pages.n_bits);
        own.is_some_and(|own| own.contains(&bit))
    };
    let counters = counters.into_iter().filter(|counter| {
        let bits = counter.first_bit..counter.first_bit + counter.n_bits;
        let is_sum = checksum.is_some_and(|sum| bits.contains(&(8 * sum.byte)));
        !is_sum && !bits.into_iter().any(is_page)
    });
    let counters = counters.collect();
    Identifier {
        bus: usize::from(watch.key.bus),
        id: watch.key.id,
        n_frames: watch.n_frames,
        n_remote: watch.n_remote,
        period_s: watch.period_s(),
        lengths: watch.lengths.clone(),
        changing,
        flip_rates,
        counters,
        checksum,
        pages,
    }
}

/// The fields of an identifier with their values.
fn signals_of(
    index: usize,
    identifier: &Identifier,
    samples: &Samples,
    slots: &[(u32, f64)],
) -> Vec<Signal> {
    let length = usize::from(identifier.length().min(64));
    let mut signals = Vec::new();
    let pages: Vec<Option<u8>> = match &identifier.pages {
        Some(pages) => pages.values.iter().map(|page| Some(*page)).collect(),
        None => vec![None],
    };
    for page in pages {
        let is_of_page = |sample: &usize| {
            let number = identifier
                .pages
                .as_ref()
                .map(|pages| checks::part(samples, *sample, pages.first_bit, pages.n_bits));
            usize::from(samples.lengths[*sample]) == length && number == page
        };
        let chosen: Vec<usize> = (0..samples.len()).filter(is_of_page).collect();
        let steps = chosen
            .windows(2)
            .map(|pair| samples.times_s[pair[1]] - samples.times_s[pair[0]]);
        let period_s = curve::quantile(steps, 0.5);
        for word in 0..length.div_ceil(8).min(samples.n_words()) {
            let n_bytes = (length - 8 * word).min(8);
            let taken = taken(identifier, word);
            for field in field::fields(samples, &chosen, word, n_bytes, taken) {
                let mut points = Vec::with_capacity(chosen.len());
                let mut span = (f64::INFINITY, f64::NEG_INFINITY);
                for &sample in &chosen {
                    if let Some(value) = field.value(samples.word(sample, word)) {
                        span = (span.0.min(value), span.1.max(value));
                        points.push((samples.times_s[sample], samples.slots[sample], value));
                    }
                }
                signals.push(Signal {
                    place: Place::Bits {
                        identifier: index,
                        page,
                        field,
                    },
                    quality: field.quality,
                    period_s,
                    curve: curve::curve(&points, period_s, slots),
                    span,
                });
            }
        }
    }
    signals
}

/// Bits of counters, checksums and page numbers in a word.
fn taken(identifier: &Identifier, word: usize) -> u64 {
    let counters = identifier
        .counters
        .iter()
        .map(|counter| (counter.first_bit, counter.n_bits));
    let sums = identifier.checksum.iter().map(|sum| (8 * sum.byte, 8));
    let pages = identifier
        .pages
        .iter()
        .map(|pages| (pages.first_bit, pages.n_bits));
    let mut mask = 0;
    for (first_bit, n_bits) in counters.chain(sums).chain(pages) {
        for bit in first_bit..first_bit + n_bits {
            if bit / 64 == word {
                mask |= 1 << (63 - bit % 64);
            }
        }
    }
    mask
}

/// Signals that stand in a frame which another bus carries as well, with more frames.
fn same_on_another_bus(signals: &[Signal], identifiers: &[Identifier]) -> Vec<usize> {
    let is_copy = |signal: &Signal| {
        let Place::Bits { identifier, .. } = signal.place else {
            return false;
        };
        let own = &identifiers[identifier];
        identifiers.iter().enumerate().any(|(index, other)| {
            let is_first = (other.n_frames, std::cmp::Reverse(index))
                > (own.n_frames, std::cmp::Reverse(identifier));
            other.id == own.id
                && other.bus != own.bus
                && other.length() == own.length()
                && other.changing == own.changing
                && is_first
        })
    };
    (0..signals.len())
        .filter(|index| is_copy(&signals[*index]))
        .collect()
}

/// A signal with a mean for each second.
fn drawn(signal: &Signal, slots: &[(u32, f64)]) -> Drawn {
    let means = seconds(&signal.curve);
    let per_slot = crate::samples::SLOT_S as usize;
    let time = |n: usize| slots[n / per_slot].1 + (n % per_slot) as f64 + 0.5;
    let known = means.iter().enumerate().filter(|(_, mean)| !mean.is_nan());
    Drawn {
        place: signal.place,
        quality: signal.quality,
        span: signal.span,
        picture: known.map(|(n, mean)| (time(n), *mean)).collect(),
    }
}
