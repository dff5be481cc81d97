//! Before and after: what changed from one session to another, on like corners and like
//! events.
//!
//! In: two [`Session`]s, each taken from the stored record of a drive. Out: a [`Comparison`]: figures with the difference, its 90 % band and
//! the smallest difference that would have been seen. Corners are paired where both sessions
//! drove the same circuit, and only passes alike in speed, oil temperature and voltage are
//! compared; else stretches and events alone are. It does not say why
//! something changed, nor whether it matters.
//!
//! ```text
//! Results -> record -> session -> circuit (which corner is which) -> figures -> bootstrap -> Comparison
//! ```

mod beside;
mod bootstrap;
mod circuit;
mod figures;
mod session;
mod times;
mod whole;

use crate::reason::Reason;
pub use beside::Whose;
pub use session::{HeldAt, LapPart, Once, Pass, Session, Stretch, Times, block_of};
pub use times::each_time;

use crate::limits::Compare;

/// What drawing again draws.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Block {
    /// Laps.
    Lap,
    /// Stretches of the drive.
    Stretch,
    /// Stretches of the drive with events in them.
    Events,
    /// Nothing: the value is one of the whole drive, and brings its own scatter.
    Drive,
}

impl Block {
    /// Stable word.
    pub fn word(self) -> &'static str {
        match self {
            Block::Lap => "lap",
            Block::Stretch => "stretch",
            Block::Events => "events",
            Block::Drive => "drive",
        }
    }
}

/// One figure before and after.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Change {
    /// Value before, of what is compared.
    pub before: f64,
    /// Value after, of what is compared.
    pub after: f64,
    /// After less before.
    pub difference: f64,
    /// Lower end of its 90 % band.
    pub low: f64,
    /// Upper end of its 90 % band.
    pub high: f64,
    /// A true difference of this size would have been seen eight times out of ten.
    pub smallest: f64,
    /// What was drawn again.
    pub block: Block,
    /// Blocks before and after.
    pub n_blocks: (usize, usize),
    /// Pairs of like passes; `None` where nothing was paired.
    pub n_pairs: Option<usize>,
}

impl Change {
    /// The same with what two drives of one car are off by that no scatter shows: a share of both values' mean,
    /// and a share of the difference itself. They add to the band in squares.
    fn widened(self, share: f64, of_difference: f64) -> Change {
        let systematic = share * 0.5 * (self.before.abs() + self.after.abs());
        let half = 0.5 * (self.high - self.low);
        let wide = half.hypot(systematic);
        let band = wide.hypot(of_difference * self.difference);
        Change {
            low: self.difference - band,
            high: self.difference + band,
            smallest: self.smallest + wide - half,
            ..self
        }
    }

    /// The band leaves 0 out.
    pub fn is_seen(&self) -> bool {
        self.low > 0.0 || self.high < 0.0
    }
}

/// A figure that is compared.
#[derive(Clone, Debug, PartialEq)]
pub struct Compared {
    /// Stable name, snake case.
    pub name: &'static str,
    /// What it is called on a page.
    pub title: &'static str,
    /// Its unit.
    pub unit: &'static str,
    /// The change, or why it cannot be told.
    pub outcome: Result<Change, Reason>,
    /// How it was made, one sentence.
    pub method: &'static str,
    /// Whose the difference may be, where one was seen.
    pub whose: Option<Whose>,
}

/// What else was not the same.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Beside {
    /// What it is called on a page.
    pub title: &'static str,
    /// Its unit.
    pub unit: &'static str,
    /// Value before.
    pub before: f64,
    /// Value after.
    pub after: f64,
    /// Whether it differs by more than it scatters; `None` where its scatter is not known.
    pub is_seen: Option<bool>,
}

/// What changed from one session to another.
#[derive(Clone, Debug, PartialEq)]
pub struct Comparison {
    /// Corners of the same circuit found in both; or why laps and corners are not paired.
    pub matched: Result<usize, Reason>,
    /// Laps before and after.
    pub n_laps: (usize, usize),
    /// What else was not the same, in order.
    pub beside: Vec<Beside>,
    /// The figures, in order.
    pub figures: Vec<Compared>,
    /// What a reader must know, one sentence each.
    pub notes: Vec<String>,
}

impl Comparison {
    /// The figure of that name.
    pub fn figure(&self, name: &str) -> Option<&Compared> {
        self.figures.iter().find(|figure| figure.name == name)
    }
}

/// Compares two sessions.
pub fn compare(before: &Session, after: &Session, limits: &Compare) -> Comparison {
    let matched = circuit::matched(before, after, limits);
    let driven = beside::driven(before, after, matched.as_deref().ok());
    let mut figures = figures::all(before, after, &matched, limits);
    figures.extend(whole::all(before, after));
    let by_driving = beside::whose(&driven, limits);
    for figure in &mut figures {
        let is_seen = figure.outcome.as_ref().is_ok_and(Change::is_seen);
        figure.whose = is_seen.then_some(match figure.name {
            name if figures::DRIVEN.contains(&name) => by_driving,
            figures::HARDLY_DRIVEN if by_driving == Whose::Driving => Whose::Driving,
            _ => Whose::Car,
        });
    }
    Comparison {
        n_laps: (before.laps.len(), after.laps.len()),
        beside: driven.beside,
        figures,
        notes: notes(before, after, &matched),
        matched: matched.map(|pairs| pairs.len()),
    }
}

fn notes(
    before: &Session,
    after: &Session,
    matched: &Result<Vec<(u32, u32)>, Reason>,
) -> Vec<String> {
    let mut notes = Vec::new();
    for (session, when) in [(before, "before"), (after, "after")] {
        if session.is_older {
            notes.push(format!(
                "The report {when} is of an older version, which does not store oil and voltage in each corner, the rise of the oil per lap and each time of the actuator: make it again from its log to compare these."
            ));
        }
    }
    if let Err(reason) = matched {
        notes.push(format!(
            "Laps and corners could not be matched ({reason}): only stretches and events are compared, which need not be of like roads."
        ));
        return notes;
    }
    let knows = |of: fn(&Pass) -> Option<f64>| {
        [before, after].map(|session| session.passes.iter().any(|pass| of(pass).is_some()))
    };
    if knows(|pass| pass.oil_c) != [true, true] {
        notes.push("Oil temperature was not known in both: corners may differ in it.".to_owned());
    }
    if knows(|pass| pass.supply_v) != [true, true] {
        notes.push("Supply voltage was not known in both: corners may differ in it.".to_owned());
    }
    notes
}
