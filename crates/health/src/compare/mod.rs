//! Before and after: what changed from one session to another, on like corners and like
//! events.
//!
//! In: the [`Session`]s of each side, each taken from the stored record of a drive, and those of the car as before
//! once more, where there are any. Out: a [`Comparison`]: figures with the difference, its 90 % band and
//! the smallest difference that would have been seen. Corners are paired where both sides
//! drove the same circuit, and only passes alike in speed, oil temperature and voltage are
//! compared; else stretches and events alone are. It does not say why
//! something changed, nor whether it matters.
//!
//! ```text
//! Results -> record -> session -> pooled -> circuit (which corner is which) -> figures -> bootstrap -> Comparison
//! ```

mod again;
mod beside;
mod bootstrap;
mod circuit;
mod figures;
mod least_squares;
mod moves;
mod oil_rise;
mod pooled;
mod session;
mod sides;
#[cfg(test)]
mod tests;
mod times;
mod whole;

use self::bootstrap::{Wander, Z_80, Z_95};
use self::sides::Sides;
use crate::reason::Reason;
pub use again::Again;
pub use beside::Whose;
pub use session::{Event, HeldAt, LapPart, Once, Pass, Session, Stretch, Times, block_of};
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
    /// The same with what two drives of one car are off by that no scatter within a drive shows: a share of both
    /// values' mean, or what drives of one side show, and a share of the difference itself. They add to the band in
    /// squares.
    fn widened(self, share: f64, wander: &Wander, of_difference: f64) -> Change {
        let assumed = share * 0.5 * (self.before.abs() + self.after.abs());
        let change = self.wider_by(wander.half(assumed));
        let half = (change.high - change.difference).hypot(of_difference * self.difference);
        Change {
            low: self.difference - half,
            high: self.difference + half,
            ..change
        }
    }

    /// The same with a band that is wider by so much either way, in squares.
    fn wider_by(self, more: f64) -> Change {
        let half = 0.5 * (self.high - self.low);
        let wide = half.hypot(more);
        Change {
            low: self.difference - wide,
            high: self.difference + wide,
            // Both parts scatter: what is seen eight times out of ten grows with them.
            smallest: self.smallest.hypot((1.0 + Z_80 / Z_95) * more),
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
    /// The way back to the car as before, where it was driven once more; or why it cannot be told.
    pub again: Option<Result<Again, Reason>>,
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
    /// Value of the car as before once more, where it was driven.
    pub again: Option<f64>,
    /// Whether it differs by more than it scatters; `None` where its scatter is not known.
    pub is_seen: Option<bool>,
}

/// What changed from one session to another.
#[derive(Clone, Debug, PartialEq)]
pub struct Comparison {
    /// Corners of the same circuit found in both; or why laps and corners are not paired.
    pub matched: Result<usize, Reason>,
    /// Laps before, after and, where the car was driven as before once more, then.
    pub n_laps: [usize; 3],
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

/// Compares the drives before with those after; `again` are those of the car as before once more, if any.
pub fn compare(
    before: &[Session],
    after: &[Session],
    again: &[Session],
    limits: &Compare,
) -> Comparison {
    let [before, after, then] = [before, after, again].map(|side| pooled::pooled(side, limits));
    let mut comparison = of_two(&before, &after, limits);
    if !again.is_empty() {
        let [back, drift] =
            [(&then, &after), (&before, &then)].map(|(one, other)| of_two(one, other, limits));
        again::judge(&mut comparison, &back, &drift);
    }
    comparison
}

fn of_two(before: &Session, after: &Session, limits: &Compare) -> Comparison {
    let matched = circuit::matched(before, after, limits);
    let driven = beside::driven(before, after, matched.as_deref().ok());
    let mut figures = figures::all(&Sides {
        before,
        after,
        matched: &matched,
        limits,
    });
    figures.extend(whole::all(before, after, limits));
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
        n_laps: [before.laps.len(), after.laps.len(), 0],
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
                "A report {when} is of an older version, which does not store oil and voltage in each corner, the rise of the oil per lap and each time of the actuator: make it again from its log to compare these."
            ));
        }
        if session.n_left_out > 0 {
            notes.push(format!(
                "Slow laps {when}, out of the pits, into them or held up, are left out: {}.",
                session.n_left_out
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
