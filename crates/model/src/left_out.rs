//! Samples that are left out, since no car can do what they say, and those in doubt.

use crate::time::Span;

/// What is wrong with a sample.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Trouble {
    /// It is outside the range of its quantity.
    BeyondRange,
    /// It stands out from the sample before and the one after it.
    StandsOut,
    /// The signal fell to a number in one step and stayed on it while the car rolled on.
    DropsOut,
    /// The signal repeats one number while the other wheels change theirs.
    Stuck,
    /// It stays: a car can do this, and a bad sample looks just like it. It counts against a sensor
    /// of which others are bad beyond doubt.
    Suspect,
}

/// Samples of one channel that follow each other and were left out for one reason.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LeftOut {
    /// Index of the channel in the map.
    pub channel: usize,
    /// What was wrong.
    pub trouble: Trouble,
    /// From the first of them to the last.
    pub span: Span,
    /// How many.
    pub n: u64,
}
