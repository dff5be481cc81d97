//! Whether the mechanism follows the command, against whether slip falls when asked.
//!
//! In: rows. Out: [`TwoByTwo`]: which of four kinds of trouble the drive looks like. An
//! asking begins where the command rises through half of full; a second later the state must
//! have come along, and, where there was something to lock, the difference must have fallen.
//! Slip is judged by the command and not by the state: a state that is never high would leave
//! the second question open for just those drives that need it. It refuses to name a kind from
//! a few askings.

use crate::reason::{Counted, Reason};
use halfshaft_driveline::Row;
use halfshaft_driveline::derive::openness::LEAST_DIFFERENCE;
use halfshaft_model::Time;

use crate::evidence::counts;
use crate::limits::Limits;
use crate::part::{Part, Passage};

/// Most askings of a kind that may answer otherwise without changing the word: the larger half
/// decides.
const HALF: f64 = 0.5;

/// Which kind of trouble it looks like.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Diagnosis {
    /// The mechanism follows and slip falls.
    Sound,
    /// The mechanism follows and slip does not fall: friction, clamp or torque.
    Friction,
    /// Neither: the actuator.
    Actuator,
    /// The state does not follow and slip falls: the state's sensor or the map.
    StateSignal,
}

/// How often each was seen.
#[derive(Clone, Debug, PartialEq)]
pub struct TwoByTwo {
    /// What it looks like.
    pub diagnosis: Diagnosis,
    /// Askings that the state followed.
    pub n_followed: usize,
    /// Askings with a state known.
    pub n_asked: usize,
    /// Of the askings that were answered like most, those after which slip fell.
    pub n_fell: usize,
    /// Of the askings that were answered like most, those with something to lock.
    pub n_with_slip: usize,
    /// In words with its counts.
    pub sentence: String,
}

impl Diagnosis {
    /// Stable kebab-case word.
    pub fn word(self) -> &'static str {
        match self {
            Diagnosis::Sound => "sound",
            Diagnosis::Friction => "friction",
            Diagnosis::Actuator => "actuator",
            Diagnosis::StateSignal => "state-signal",
        }
    }

    fn of(follows: bool, falls: bool) -> Diagnosis {
        match (follows, falls) {
            (true, true) => Diagnosis::Sound,
            (true, false) => Diagnosis::Friction,
            (false, false) => Diagnosis::Actuator,
            (false, true) => Diagnosis::StateSignal,
        }
    }

    fn words(self) -> &'static str {
        match self {
            Diagnosis::Sound => "mechanism and pack do what they are asked",
            Diagnosis::Friction => "that points to friction, clamp or torque of the pack",
            Diagnosis::Actuator => "that points to the actuator",
            Diagnosis::StateSignal => "that points to the sensor of the state or to the map",
        }
    }
}

/// An asking.
#[derive(Clone, Copy, Debug)]
struct Asking {
    since: Time,
    // Difference beyond what is asked of it, or openness, when it began.
    before: Option<Before>,
    seconds: f64,
    command: f64,
    state: f64,
    has_state: bool,
    after: f64,
    after_s: f64,
}

/// What there was to lock: a bend, or a difference without one.
#[derive(Clone, Copy, Debug)]
enum Before {
    Bend(f64),
    Spin(f64),
}

/// Gathers while the drive goes by.
#[derive(Clone, Debug)]
pub struct TwoByTwoWatch {
    limits: Limits,
    was_below: bool,
    asking: Option<Asking>,
    n_followed: usize,
    n_asked: usize,
    // Of askings that the state did not follow, and of those that it did.
    n_fell: [usize; 2],
    n_with_slip: [usize; 2],
}

impl Part for TwoByTwoWatch {
    fn rows(&mut self, passage: &Passage) {
        passage.rows.iter().for_each(|row| self.add(row));
    }
}

impl TwoByTwoWatch {
    /// Nothing seen yet.
    pub fn new(limits: &Limits) -> TwoByTwoWatch {
        TwoByTwoWatch {
            limits: *limits,
            was_below: false,
            asking: None,
            n_followed: 0,
            n_asked: 0,
            n_fell: [0; 2],
            n_with_slip: [0; 2],
        }
    }

    /// Takes a row.
    pub fn add(&mut self, row: &Row) {
        let limits = self.limits.grip;
        let Some(command) = row
            .command
            .filter(|_| row.is_joined && counts(row, &self.limits.driving))
        else {
            self.asking = None;
            self.was_below = false;
            return;
        };
        if command < limits.asked {
            // Taken back before the time for answers: nothing is learned from it.
            self.asking = None;
            self.was_below = true;
            return;
        }
        if self.was_below {
            self.was_below = false;
            self.asking = Some(Asking {
                since: row.time,
                before: self.before(row),
                seconds: 0.0,
                command: 0.0,
                state: 0.0,
                has_state: true,
                after: 0.0,
                after_s: 0.0,
            });
        }
        let Some(asking) = &mut self.asking else {
            return;
        };
        if row.time.since(asking.since) < limits.answers_within_s {
            return;
        }
        asking.seconds += row.seconds;
        asking.command += command * row.seconds;
        match row.state {
            Some(state) => asking.state += state * row.seconds,
            None => asking.has_state = false,
        }
        let after = match asking.before {
            Some(Before::Bend(_)) => row.openness,
            Some(Before::Spin(_)) => Some(row.difference_mean.abs()),
            None => None,
        };
        if let Some(after) = after {
            asking.after += after * row.seconds;
            asking.after_s += row.seconds;
        }
        if asking.seconds >= self.limits.grip.answers_over_s {
            let asking = *asking;
            self.asking = None;
            self.judge(&asking);
        }
    }

    fn before(&self, row: &Row) -> Option<Before> {
        let bend = row.kinematic_difference?;
        let spins = (row.road_referred_difference - bend).abs();
        let asks = self.limits.holding.opportunity_rad_per_s;
        if spins >= asks.max(bend.abs()) {
            return Some(Before::Spin(row.difference_mean.abs()));
        }
        row.openness
            .filter(|_| bend.abs() >= LEAST_DIFFERENCE)
            .map(Before::Bend)
    }

    fn judge(&mut self, asking: &Asking) {
        if !asking.has_state {
            return;
        }
        let has_followed = asking.state >= self.limits.grip.follows * asking.command;
        self.n_asked += 1;
        self.n_followed += usize::from(has_followed);
        // The bend must last as long as the look at it.
        let is_whole = asking.after_s >= 0.9 * asking.seconds;
        let before = match asking.before {
            Some(Before::Bend(before) | Before::Spin(before)) if is_whole && before > 0.0 => before,
            _ => return,
        };
        self.n_with_slip[usize::from(has_followed)] += 1;
        let left = (asking.after / asking.after_s).abs();
        if left <= (1.0 - self.limits.holding.fall) * before {
            self.n_fell[usize::from(has_followed)] += 1;
        }
    }

    /// What it looks like, or why it cannot be said.
    pub fn outcome(&self) -> Result<TwoByTwo, Reason> {
        let least = self.limits.grip.judged_from as usize;
        let above = self.limits.grip.asked;
        if self.n_asked < least {
            return Err(Reason::TooFew {
                what: Counted::HeldCommands { above },
                found: self.n_asked,
                needed: least,
            });
        }
        let most = |n: usize, of: usize| n as f64 > HALF * of as f64;
        let follows = most(self.n_followed, self.n_asked);
        // Slip that fell while the mechanism still followed says nothing of the time when it
        // no longer did: only askings answered alike are held together.
        let kind = usize::from(follows);
        let (n_fell, n_with_slip) = (self.n_fell[kind], self.n_with_slip[kind]);
        if n_with_slip < least {
            return Err(Reason::TooFew {
                what: Counted::CommandsToLock {
                    above,
                    followed: follows,
                },
                found: n_with_slip,
                needed: least,
            });
        }
        let diagnosis = Diagnosis::of(follows, most(n_fell, n_with_slip));
        Ok(TwoByTwo {
            diagnosis,
            n_followed: self.n_followed,
            n_asked: self.n_asked,
            n_fell,
            n_with_slip,
            sentence: format!(
                "Asked for {:.0} % or more, the mechanism followed {} of {} times and the slip fell {} of {} times when \
                 there was something to lock: {}.",
                100.0 * above,
                self.n_followed,
                self.n_asked,
                n_fell,
                n_with_slip,
                diagnosis.words()
            ),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::row;

    /// Five askings of 2 s in a bend; state and openness while asked.
    fn watch(n: i32, state: f64, openness: f64) -> TwoByTwoWatch {
        let mut watch = TwoByTwoWatch::new(&Limits::default());
        for index in 0..n * 500 {
            let mut row = row(f64::from(index) * 0.01);
            let is_asked = (100..300).contains(&(index % 500));
            // The difference falls a while after the command.
            let is_held = (130..330).contains(&(index % 500));
            row.command = Some(if is_asked { 0.8 } else { 0.0 });
            row.state = Some(if is_asked { state } else { 0.0 });
            row.kinematic_difference = Some(2.0);
            row.openness = Some(if is_held { openness } else { 0.95 });
            row.road_referred_difference = 1.9;
            row.difference_mean = 1.9;
            watch.add(&row);
        }
        watch
    }

    #[test]
    fn the_four_cells() {
        for (state, openness, wanted) in [
            (0.8, 0.1, Diagnosis::Sound),
            (0.8, 0.9, Diagnosis::Friction),
            (0.1, 0.9, Diagnosis::Actuator),
            (0.1, 0.1, Diagnosis::StateSignal),
        ] {
            let found = watch(5, state, openness).outcome().unwrap();
            assert_eq!(found.diagnosis, wanted);
            assert_eq!((found.n_asked, found.n_with_slip), (5, 5));
            assert!(found.sentence.contains("of 5 times"), "{}", found.sentence);
        }
    }

    #[test]
    fn twice_is_too_few() {
        let reason = watch(2, 0.8, 0.1).outcome().unwrap_err();
        assert!(reason.to_string().contains("3 are needed"), "{reason}");
    }
}
