//! Which frames of the map a frame of the log can be: by identifier, then by bus.
//!
//! In: identifiers and the bus names of a batch. Out: indexes into `Map::frames`. Most
//! frames of a log are in no map, so the answer "none" is what must be cheap.

use std::collections::HashMap;
use std::hash::{BuildHasherDefault, Hasher};

use halfshaft_model::FrameId;

use crate::map::Map;

/// Finds the frames of a map.
#[derive(Clone, Debug)]
pub(crate) struct Lookup {
    // For each 11-bit number its group, or NO_GROUP.
    standard: Vec<u16>,
    // One table for each set of ignored bits that 29-bit frames of the map use.
    extended: Vec<(u32, GroupByNumber)>,
    // Frames of the map under one identifier.
    groups: Vec<Vec<usize>>,
    // Those that were found to be the only ones of their identifiers.
    only: [Option<(FrameId, usize)>; N_ONLY],
}

/// Identifiers whose only frame is remembered; a log has some tens.
const N_ONLY: usize = 64;

type GroupByNumber = HashMap<u32, u16, BuildHasherDefault<NumberHasher>>;

const NO_GROUP: u16 = u16::MAX;

impl Lookup {
    pub(crate) fn new(map: &Map) -> Lookup {
        let mut lookup = Lookup {
            standard: vec![NO_GROUP; 0x800],
            extended: Vec::new(),
            groups: Vec::new(),
            only: [None; N_ONLY],
        };
        for number in 0..0x800 {
            let under = |spec: &&crate::map::FrameSpec| {
                !spec.id.is_extended()
                    && number & !spec.ignored_id_bits == spec.id.number() & !spec.ignored_id_bits
            };
            let group: Vec<usize> = matching(map, under);
            if let Some(index) = lookup.add(group) {
                lookup.standard[number as usize] = index;
            }
        }
        for spec in map.frames.iter().filter(|spec| spec.id.is_extended()) {
            let ignored = spec.ignored_id_bits;
            let number = spec.id.number() & !ignored;
            let position = lookup
                .extended
                .iter()
                .position(|(known, _)| *known == ignored);
            let position = position.unwrap_or_else(|| {
                lookup.extended.push((ignored, HashMap::default()));
                lookup.extended.len() - 1
            });
            if lookup.extended[position].1.contains_key(&number) {
                continue;
            }
            let group = matching(map, |other| {
                other.id.is_extended()
                    && other.ignored_id_bits == ignored
                    && other.id.number() & !ignored == number
            });
            if let Some(index) = lookup.add(group) {
                lookup.extended[position].1.insert(number, index);
            }
        }
        lookup
    }

    // Neighbouring numbers that differ in ignored bits share one group.
    fn add(&mut self, group: Vec<usize>) -> Option<u16> {
        if group.is_empty() {
            return None;
        }
        if let Some(known) = self.groups.iter().position(|known| *known == group) {
            return Some(known as u16);
        }
        if self.groups.len() >= usize::from(NO_GROUP) {
            return None;
        }
        self.groups.push(group);
        Some((self.groups.len() - 1) as u16)
    }

    /// The frame of the map that has this identifier, on whatever bus, where just one does.
    #[inline(always)]
    pub(crate) fn only(&mut self, id: FrameId) -> Option<usize> {
        let mut hasher = NumberHasher::default();
        hasher.write_u32(id.number());
        let place = hasher.finish() as usize % N_ONLY;
        match self.only[place] {
            Some((known, index)) if known == id => Some(index),
            _ => {
                let &[index] = self.group(id)? else {
                    return None;
                };
                self.only[place] = Some((id, index));
                Some(index)
            }
        }
    }

    /// The frames of the map that have this identifier, on whatever bus; `None` where more
    /// than one table has to be asked for that.
    #[inline(always)]
    pub(crate) fn group(&self, id: FrameId) -> Option<&[usize]> {
        match (id.is_extended(), &self.extended[..]) {
            (false, _) => Some(self.frames_of(self.standard[id.number() as usize])),
            (true, []) => Some(&[]),
            (true, [table]) => Some(self.frames_of(number_of(table, id))),
            (true, _) => None,
        }
    }

    /// Shows the same one by one.
    pub(crate) fn find(&self, id: FrameId, mut show: impl FnMut(usize)) {
        if let Some(group) = self.group(id) {
            group.iter().for_each(|index| show(*index));
            return;
        }
        for table in &self.extended {
            let group = self.frames_of(number_of(table, id));
            group.iter().for_each(|index| show(*index));
        }
    }

    #[inline]
    fn frames_of(&self, group: u16) -> &[usize] {
        self.groups
            .get(usize::from(group))
            .map_or(&[], Vec::as_slice)
    }
}

/// The number of a 29-bit identifier's group in a table.
#[inline]
fn number_of((ignored, groups): &(u32, GroupByNumber), id: FrameId) -> u16 {
    let group = groups.get(&(id.number() & !ignored));
    group.copied().unwrap_or(NO_GROUP)
}

fn matching(map: &Map, fits: impl Fn(&&crate::map::FrameSpec) -> bool) -> Vec<usize> {
    map.frames
        .iter()
        .enumerate()
        .filter(|(_, spec)| fits(spec))
        .map(|(index, _)| index)
        .collect()
}

/// One multiplication: identifiers are few and nobody chooses them against us, since
/// only those of the map are ever stored.
#[derive(Clone, Debug, Default)]
pub(crate) struct NumberHasher(u64);

impl Hasher for NumberHasher {
    fn finish(&self) -> u64 {
        self.0
    }

    fn write(&mut self, bytes: &[u8]) {
        for byte in bytes {
            self.write_u32(u32::from(*byte));
        }
    }

    fn write_u32(&mut self, number: u32) {
        let mixed = (self.0 ^ u64::from(number)).wrapping_mul(0x9E37_79B9_7F4A_7C15);
        self.0 = mixed ^ mixed >> 32;
    }
}

/// The buses of a log: names to numbers that hold for the whole run, and which of the
/// map's frames may be on which.
#[derive(Clone, Debug)]
pub(crate) struct Buses {
    // Names the map gives for each of its frames; None: any bus.
    wanted: Vec<Option<Vec<String>>>,
    names: Vec<String>,
    // The number of each name: a log of noise has thousands.
    numbers: HashMap<String, u16>,
    // allowed[bus][frame of the map].
    allowed: Vec<Vec<bool>>,
    // Batch index to our number.
    here: Vec<u16>,
}

impl Buses {
    pub(crate) fn new(map: &Map) -> Buses {
        let wanted = map.frames.iter().map(|spec| {
            let names = &map.buses.get(spec.bus?)?.in_log;
            if names.is_empty() {
                None
            } else {
                Some(names.clone())
            }
        });
        Buses {
            wanted: wanted.collect(),
            names: Vec::new(),
            numbers: HashMap::new(),
            allowed: Vec::new(),
            here: Vec::new(),
        }
    }

    /// Takes note of the names of a batch; cheap when they are the known ones.
    pub(crate) fn meet(&mut self, batch_names: &[String]) {
        self.here.truncate(batch_names.len());
        for (index, name) in batch_names.iter().enumerate() {
            let known = self
                .here
                .get(index)
                .and_then(|&number| self.names.get(usize::from(number)));
            if known == Some(name) {
                continue;
            }
            let number = self.number(name);
            match self.here.get_mut(index) {
                Some(place) => *place = number,
                None => self.here.push(number),
            }
        }
    }

    fn number(&mut self, name: &str) -> u16 {
        if let Some(&known) = self.numbers.get(name) {
            return known;
        }
        if self.names.len() >= usize::from(u16::MAX) {
            return u16::MAX - 1;
        }
        let number = self.names.len() as u16;
        self.names.push(name.to_owned());
        self.numbers.insert(name.to_owned(), number);
        let allows = |wanted: &Option<Vec<String>>| match wanted {
            None => true,
            Some(names) => names.iter().any(|wanted| wanted == name),
        };
        self.allowed.push(self.wanted.iter().map(allows).collect());
        number
    }

    /// Our number of a bus of the current batch.
    #[inline]
    pub(crate) fn of_batch(&self, bus: u16) -> Option<u16> {
        self.here.get(usize::from(bus)).copied()
    }

    /// Whether the map lets this frame be on this bus.
    #[inline]
    pub(crate) fn allows(&self, bus: u16, frame: usize) -> bool {
        self.allowed
            .get(usize::from(bus))
            .and_then(|frames| frames.get(frame))
            .copied()
            .unwrap_or(false)
    }

    pub(crate) fn name(&self, bus: u16) -> &str {
        self.names.get(usize::from(bus)).map_or("", String::as_str)
    }
}
