//! What the parts of the assessment have in common: each takes what the drive brings and keeps
//! what it has seen of it.
//!
//! In: blocks, rows that are believed, and rows of driving with what all parts need of them. To
//! add a part write its file, with its [`Part`], and its line on the board in `assess`.

use halfshaft_driveline::{Derived, Row};
use halfshaft_model::{Block, Time};

use crate::nouns::Region;
use crate::partial::{PartialJudgement, PartialLimits};

/// A reading of a temperature sensor.
#[derive(Clone, Copy, Debug)]
pub struct Reading {
    /// When.
    pub time: Time,
    /// °C.
    pub celsius: f64,
    /// It is no jump that the sensor alone can make.
    pub is_believed: bool,
}

/// What came with a block; its samples run ahead of the rows.
#[derive(Clone, Copy, Debug)]
pub struct Came<'a> {
    /// The block.
    pub block: &'a Block,
    /// What was derived by then.
    pub derived: &'a Derived,
    /// Its readings of `oil.temperature`.
    pub oil: &'a [Reading],
    /// Its readings of `ambient.temperature`.
    pub air: &'a [Reading],
}

impl Came<'_> {
    /// Readings of the oil that are no jumps.
    pub fn oil_believed(&self) -> impl Iterator<Item = &Reading> {
        self.oil.iter().filter(|reading| reading.is_believed)
    }
}

/// A handful of rows of driving, in order of time, with what is worked out once for all parts.
#[derive(Clone, Copy, Debug)]
pub struct Passage<'a> {
    /// The rows.
    pub rows: &'a [Row],
    /// Time slipping under load of each row.
    pub judgements: &'a [PartialJudgement],
    /// Region of each row in which the car moved.
    pub regions: &'a [Option<Region>],
    /// What partial engagement is judged by.
    pub partial: &'a PartialLimits,
}

/// A part of the assessment; it takes what it has a use for.
pub trait Part {
    /// Takes a block, before the rows that came with it.
    fn block(&mut self, _came: &Came) {}

    /// Takes rows without what stood still, those that are no driving among them.
    fn believed(&mut self, _rows: &[Row]) {}

    /// Takes rows of driving.
    fn rows(&mut self, _passage: &Passage) {}
}
