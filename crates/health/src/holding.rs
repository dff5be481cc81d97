//! How much of a bend's difference the clutch takes away per command: the holding index.
//!
//! In: rows of bends. Out: [`Holding`], the share of the difference a bend makes that full
//! command would take away, from pieces of half a second compared within bends of like radius.
//! It is the friction side of the unit, apart from the quickness of its actuator. It leaves
//! out wheelspin, and refuses when bends were not driven both with and without command. More
//! than all cannot be taken away: on loose ground part of a command does that, and the index
//! is 1, lest firm ground after loose should look like a pack that lost its hold.

use crate::reason::{DriveFact, Paired, Reason};
use halfshaft_driveline::Row;
use halfshaft_driveline::engagement::OPEN_BELOW;
use halfshaft_model::Time;

use crate::evidence::counts;
use crate::limits::{Limits, SDS_OF_90};
use crate::nouns::Estimate;
use crate::part::{Part, Passage};

/// Upper edges of the classes of bend radius, m; the same torque straightens a wide bend more
/// than a tight one (derived: share T·R/(C·r·W)).
const RADII_M: [f64; 5] = [12.0, 20.0, 32.0, 50.0, 80.0];
/// Length of a piece, s.
const PIECE_S: f64 = 0.5;
/// The holding index.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Holding {
    /// Share of the difference taken away per full command, with its band.
    pub index: Estimate,
    /// Pieces with command.
    pub n_asked: usize,
    /// Pieces without.
    pub n_open: usize,
}

/// Sums of pieces of one class: command u and openness φ.
#[derive(Clone, Copy, Debug, Default)]
struct Class {
    n: f64,
    u: f64,
    phi: f64,
    uu: f64,
    up: f64,
    pp: f64,
    n_asked: usize,
    n_open: usize,
}

/// A piece being driven.
#[derive(Clone, Copy, Debug)]
struct Piece {
    start: Time,
    seconds: f64,
    u: f64,
    phi: f64,
    least: f64,
    most: f64,
    class: usize,
}

/// Gathers while the drive goes by.
#[derive(Clone, Debug)]
pub struct HoldingSums {
    limits: Limits,
    piece: Option<Piece>,
    classes: [Class; RADII_M.len()],
}

impl Part for HoldingSums {
    fn rows(&mut self, passage: &Passage) {
        passage.rows.iter().for_each(|row| self.add(row));
    }
}

impl HoldingSums {
    /// Nothing seen yet.
    pub fn new(limits: &Limits) -> HoldingSums {
        HoldingSums {
            limits: *limits,
            piece: None,
            classes: Default::default(),
        }
    }

    /// Takes a row.
    pub fn add(&mut self, row: &Row) {
        let Some((class, command, openness)) = self.of_bend(row) else {
            self.piece = None;
            return;
        };
        let piece = self.piece.get_or_insert(Piece {
            start: row.time,
            seconds: 0.0,
            u: 0.0,
            phi: 0.0,
            least: command,
            most: command,
            class,
        });
        if piece.class != class {
            self.piece = None;
            return;
        }
        piece.seconds += row.seconds;
        piece.u += command * row.seconds;
        piece.phi += openness * row.seconds;
        piece.least = piece.least.min(command);
        piece.most = piece.most.max(command);
        if row.time.since(piece.start) < PIECE_S {
            return;
        }
        let piece = *piece;
        self.piece = None;
        // While the command moves the mechanism is still on its way.
        if piece.most - piece.least > 0.1 {
            return;
        }
        let (u, phi) = (piece.u / piece.seconds, piece.phi / piece.seconds);
        let class = &mut self.classes[piece.class];
        class.n += 1.0;
        class.u += u;
        class.phi += phi;
        class.uu += u * u;
        class.up += u * phi;
        class.pp += phi * phi;
        if u < OPEN_BELOW {
            class.n_open += 1;
        } else {
            class.n_asked += 1;
        }
    }

    /// Class, command and openness of a row in a bend without wheelspin.
    fn of_bend(&self, row: &Row) -> Option<(usize, f64, f64)> {
        let (command, openness) = (row.command?, row.openness?);
        let radius_m = row.road_speed? / row.yaw_rate?.abs();
        let class = RADII_M.iter().position(|edge| radius_m < *edge)?;
        // Beyond these a wheel spins, whatever the clutch does.
        let rolls = (-0.2..1.2).contains(&openness);
        let may_count = row.is_joined
            && row.is_turning
            && !row.is_braking
            && rolls
            && counts(row, &self.limits.driving);
        may_count.then_some((class, command, openness))
    }

    /// The index, or why it cannot be told.
    pub fn outcome(&self) -> Result<Holding, Reason> {
        let (mut uu, mut up, mut pp, mut n) = (0.0, 0.0, 0.0, 0.0);
        let (mut n_asked, mut n_open, mut n_classes) = (0, 0, 0.0);
        for class in &self.classes {
            // A class with one kind of pieces compares nothing.
            if class.n_asked == 0 || class.n_open == 0 {
                continue;
            }
            uu += class.uu - class.u * class.u / class.n;
            up += class.up - class.u * class.phi / class.n;
            pp += class.pp - class.phi * class.phi / class.n;
            n += class.n;
            n_classes += 1.0;
            n_asked += class.n_asked;
            n_open += class.n_open;
        }
        let limits = &self.limits.grip;
        let least = limits.holding_pieces as usize;
        if n_asked < least || n_open < least {
            return Err(Reason::TooFewOfEach {
                what: Paired::BendPieces,
                found: [n_asked, n_open],
                needed: least,
            });
        }
        if uu / n < limits.holding_spread * limits.holding_spread {
            return Err(DriveFact::CommandSpread.into());
        }
        let slope = up / uu;
        let rest = (pp - slope * up).max(0.0) / (n - n_classes - 1.0).max(1.0);
        let half = SDS_OF_90 * (limits.holding_alike * rest / uu).sqrt();
        let share = |taken: f64| taken.min(1.0);
        Ok(Holding {
            index: Estimate {
                value: share(-slope),
                low: share(-slope - half),
                high: share(-slope + half),
                is_at_least: false,
            },
            n_asked,
            n_open,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::row;

    /// Bends of 5 s on radii of 30 and 15 m in turn, every other pair with command; each
    /// radius has its own openness when open.
    fn sums(per_command: f64, command: f64, n_bends: i32) -> HoldingSums {
        let mut sums = HoldingSums::new(&Limits::default());
        for index in 0..500 * n_bends {
            let bend = index / 500;
            let mut row = row(f64::from(index) * 0.01);
            let is_tight = bend % 2 == 0;
            let radius_m = if is_tight { 15.0 } else { 30.0 };
            let asked = if bend % 4 < 2 { command } else { 0.0 };
            row.road_speed = Some(9.0);
            row.yaw_rate = Some(9.0 / radius_m);
            row.command = Some(asked);
            let open = if is_tight { 0.97 } else { 0.9 };
            row.openness = Some(open - per_command * asked);
            sums.add(&row);
        }
        sums
    }

    #[test]
    fn what_full_command_would_take_away() {
        for per_command in [0.8, 0.08] {
            let holding = sums(per_command, 0.5, 20).outcome().unwrap();
            assert!((holding.index.value - per_command).abs() < 1e-9);
            assert!(holding.n_asked > 50 && holding.n_open > 50);
        }
    }

    #[test]
    fn where_part_of_a_command_holds_all_the_index_is_all() {
        let index = sums(1.7, 0.5, 20).outcome().unwrap().index;
        assert_eq!((index.value, index.high), (1.0, 1.0));
    }

    #[test]
    fn bends_of_one_kind_refuse() {
        let reason = sums(0.8, 0.0, 20).outcome().unwrap_err().to_string();
        assert!(reason.contains("0 half seconds of bends with"), "{reason}");
        let reason = sums(0.8, 0.5, 4).outcome().unwrap_err().to_string();
        assert!(reason.contains("20 of each"), "{reason}");
    }
}
