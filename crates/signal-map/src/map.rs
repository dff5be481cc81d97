//! A checked map: what the text means, with every name resolved and every unit in SI.
//!
//! In: nothing; `check` builds it from the syntax tree. Out: plain values that the
//! decoder runs on. Nothing here is text any more, and nothing here can be wrong in a
//! way the checker could have seen.

use halfshaft_model::{ChannelSpec, FrameId, IdFilter, SheetSpec, Table, Vehicle};

/// A whole map.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Map {
    /// Title of the map.
    pub title: String,
    /// Who wrote it, when, from what knowledge: label and text, in the order written.
    pub identity: Vec<(String, String)>,
    /// Buses.
    pub buses: Vec<Bus>,
    /// Frames that carry signals.
    pub frames: Vec<FrameSpec>,
    /// Sheets. Those of frames feed `frames`; those of channels feed channels directly.
    pub sheets: Vec<Sheet>,
    /// Channels: `Block::columns` has one column for each, in this order.
    pub channels: Vec<ChannelSpec>,
    /// Channels worked out from others, in an order in which each only needs earlier ones.
    pub derived: Vec<Derived>,
    /// Tables that formulas use.
    pub tables: Vec<NamedTable>,
    /// The vehicle.
    pub vehicle: Vehicle,
    /// Frames whose values the map vouches for; the checker has already run them.
    pub proofs: Vec<Proof>,
    /// xxh3-64 (hex) of the map in standard form, so that layout and notes do not count.
    pub fingerprint: String,
}

/// A bus.
#[derive(Clone, Debug, PartialEq)]
pub struct Bus {
    /// Its name in the map.
    pub name: String,
    /// Its names in logs; empty means any bus of the log.
    pub in_log: Vec<String>,
    /// Nominal bit rate, bit/s.
    pub bit_rate: Option<f64>,
}

/// A frame that carries signals.
#[derive(Clone, Debug, PartialEq)]
pub struct FrameSpec {
    /// Identifier, ignored bits zero.
    pub id: FrameId,
    /// Identifier bits to ignore (source address, priority).
    pub ignored_id_bits: u32,
    /// Index into `Map::buses`; `None` when the map states no bus: any.
    pub bus: Option<usize>,
    /// Length in bytes that the map states; shorter frames lose the signals beyond
    /// their end, longer ones keep all.
    pub length: u16,
    /// Time from frame to frame, s.
    pub period_s: Option<f64>,
    /// Rolling counter.
    pub counter: Option<Counter>,
    /// Checksum.
    pub checksum: Option<Checksum>,
    /// The signals, pages flattened into conditions.
    pub signals: Vec<Signal>,
    /// Line of the map, from 1.
    pub line: usize,
}

/// Bits of a payload, the most significant first: runs inside one byte each.
///
/// Invariant: every run has `high >= low`, `high <= 7`; at most 64 bits in all.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct BitField {
    /// Runs, most significant first.
    pub runs: Vec<BitRun>,
}

/// A run of bits inside one byte.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct BitRun {
    /// Byte, the first being 0.
    pub byte: u16,
    /// Highest bit of the run, 0 the least significant of its byte.
    pub high: u8,
    /// Lowest bit of the run.
    pub low: u8,
}

/// How the bits make a number.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Number {
    /// Plain binary.
    Unsigned,
    /// Two's complement.
    Signed,
    /// Highest bit is the sign, the rest the magnitude.
    SignMagnitude,
    /// IEEE 754, 32 or 64 bits.
    Float,
}

/// A range of raw codes, both ends included.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct CodeRange {
    /// First code.
    pub first: u64,
    /// Last code.
    pub last: u64,
}

/// A condition on the same frame: these bits hold one of these codes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Condition {
    /// The bits.
    pub bits: BitField,
    /// Codes that satisfy it.
    pub codes: Vec<CodeRange>,
}

/// A signal of a frame.
#[derive(Clone, Debug, PartialEq)]
pub struct Signal {
    /// Index into `Map::channels`.
    pub channel: usize,
    /// Where its bits lie.
    pub bits: BitField,
    /// How they make a number.
    pub number: Number,
    /// SI value of one step of the raw number (unit and rolling radius included).
    pub si_per_step: f64,
    /// SI value of raw 0.
    pub si_at_zero: f64,
    /// Raw codes that mean "not available".
    pub absent: Vec<CodeRange>,
    /// Raw codes that mean "faulty".
    pub broken: Vec<CodeRange>,
    /// Believable range, SI.
    pub believe: Option<(f64, f64)>,
    /// Greatest believable rate of change, SI per second.
    pub rate_under: Option<f64>,
    /// The signal is there only when all of these hold (pages are such conditions: when
    /// one does not hold, there is no sample at all, not a missing one).
    pub on_pages: Vec<Condition>,
    /// The value counts only when all of these hold; else the sample is missing.
    pub valid_when: Vec<Condition>,
    /// Line of the map, from 1.
    pub line: usize,
}

/// A rolling counter.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Counter {
    /// Its bits.
    pub bits: BitField,
    /// What it adds from frame to frame.
    pub step: u64,
}

/// How a checksum is computed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ChecksumRule {
    /// Exclusive or of the bytes.
    Xor,
    /// Sum of the bytes, modulo 256.
    Sum,
    /// CRC-8 SAE J1850: polynomial 0x1D, start 0xFF, final exclusive or 0xFF.
    Crc8J1850,
}

/// A checksum of a frame.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Checksum {
    /// Where it stands.
    pub bits: BitField,
    /// The rule.
    pub rule: ChecksumRule,
    /// First byte it covers.
    pub first_byte: u16,
    /// Last byte it covers.
    pub last_byte: u16,
    /// Start value; `None` is the rule's own (0 for xor and sum, 0xFF for the CRC).
    pub start: Option<u8>,
}

/// A sheet.
#[derive(Clone, Debug, PartialEq)]
pub struct Sheet {
    /// How to read it.
    pub spec: SheetSpec,
    /// For a sheet of channels: what each column of `spec` is, in the same order.
    pub columns: Vec<SheetColumn>,
}

/// A column of a sheet of channels.
#[derive(Clone, Debug, PartialEq)]
pub struct SheetColumn {
    /// Index into `Map::channels`.
    pub channel: usize,
    /// SI per unit of the cell.
    pub si_per_unit: f64,
    /// SI value of a cell that reads 0.
    pub si_at_zero: f64,
    /// Believable range, SI.
    pub believe: Option<(f64, f64)>,
    /// Greatest believable rate of change, SI per second.
    pub rate_under: Option<f64>,
}

/// A channel worked out from others.
#[derive(Clone, Debug, PartialEq)]
pub struct Derived {
    /// Index into `Map::channels`.
    pub channel: usize,
    /// How.
    pub formula: Formula,
}

/// A named table.
#[derive(Clone, Debug, PartialEq)]
pub struct NamedTable {
    /// Its name.
    pub name: String,
    /// The table, in SI.
    pub table: Table,
}

/// A formula, units already checked; all values SI. Missing in, missing out.
#[derive(Clone, Debug, PartialEq)]
pub enum Formula {
    /// A number.
    Number(f64),
    /// The freshest value of a channel that is not older than its reach.
    Channel(usize),
    /// −a.
    Negative(Box<Formula>),
    /// a + b.
    Sum(Box<Formula>, Box<Formula>),
    /// a − b.
    Difference(Box<Formula>, Box<Formula>),
    /// a × b.
    Product(Box<Formula>, Box<Formula>),
    /// a ÷ b; missing when b is 0.
    Quotient(Box<Formula>, Box<Formula>),
    /// |a|.
    Absolute(Box<Formula>),
    /// The least.
    Least(Vec<Formula>),
    /// The greatest.
    Greatest(Vec<Formula>),
    /// The mean.
    Mean(Vec<Formula>),
    /// a kept between b and c.
    Clamp(Box<Formula>, Box<Formula>, Box<Formula>),
    /// A table: index into `Map::tables`, one or two inputs.
    Table(usize, Vec<Formula>),
    /// a as it was this many seconds ago.
    Delay(Box<Formula>, f64),
    /// First-order low pass of a with this time constant, s.
    LowPass(Box<Formula>, f64),
    /// b where the comparison holds, else c.
    If(Box<Comparison>, Box<Formula>, Box<Formula>),
}

/// A comparison of two formulas.
#[derive(Clone, Debug, PartialEq)]
pub enum Comparison {
    /// a < b.
    Less(Formula, Formula),
    /// a ≤ b.
    LessOrEqual(Formula, Formula),
    /// a = b.
    Equal(Formula, Formula),
}

/// A frame whose values the map vouches for.
#[derive(Clone, Debug, PartialEq)]
pub struct Proof {
    /// Index into `Map::frames`.
    pub frame: usize,
    /// The payload.
    pub payload: Vec<u8>,
    /// Expected values: index into `Map::channels`, SI value (`None` = missing), tolerance SI.
    pub expect: Vec<(usize, Option<f64>, f64)>,
    /// Line of the map, from 1.
    pub line: usize,
}

impl Map {
    /// The index of a channel by name.
    pub fn channel(&self, name: &str) -> Option<usize> {
        self.channels
            .iter()
            .position(|channel| channel.name == name)
    }

    /// The identifiers of the frames that carry signals.
    pub fn id_filter(&self) -> IdFilter {
        IdFilter::new(
            self.frames
                .iter()
                .map(|frame| (frame.id, frame.ignored_id_bits)),
        )
    }

    /// The sheets as `logs` takes them.
    pub fn sheet_specs(&self) -> Vec<SheetSpec> {
        self.sheets.iter().map(|sheet| sheet.spec.clone()).collect()
    }
}
