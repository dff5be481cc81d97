//! Times of the actuator and delays of the pedal, compared at like oil, like steps and like ramps.
//!
//! In: the moves of both sides. Out: the difference of their medians. An actuator with a limit of speed takes
//! longer for a longer step, no mechanism is a lag of first order, so its times depend on how quickly the command
//! moves, and thick oil slows it: another road, or another driver, has other moves. So each time is first brought to the mean
//! move of both sides, by straight lines that both sides share. What is not known of every move is left out of
//! account for all. What sampling leaves open of all moves alike is the same in both drives: one program decides and
//! sends in one rhythm, whenever it was started.

use super::Block;
use super::Change;
use super::bootstrap::median;
use super::least_squares::solved;
use super::session::{Event, Session, Times, block_of};
use super::sides::{Sides, changed};
use crate::reason::{DriveFact, Paired, Reason};

/// Oil warmer than this makes no move quicker, °C. Engineering default.
const WARM_C: f64 = 60.0;

/// A straight line over something is learned from so many moves for each of them. Source: none, engineering guess.
const MOVES_PER_LINE: usize = 10;

/// Times so many deviations off the lines are no part of them. Source: common practice.
const FAR_OFF: f64 = 3.0;

/// What a time may follow.
const FOLLOWED: [fn(&Event) -> Option<f64>; 3] = [
    |event| event.oil_c.map(|oil_c| (WARM_C - oil_c).max(0.0)),
    |event| event.step,
    |event| event.ramp_s,
];

/// Compares one time.
pub fn compared<'a>(
    sides: &'a Sides,
    of: impl Fn(&'a Session) -> Option<&'a Result<Times, Reason>>,
) -> Result<Change, Reason> {
    let side = |session, is_before| {
        let refused = |why| Reason::OfSession {
            is_before,
            why: Box::new(why),
        };
        let times = of(session).ok_or_else(|| refused(DriveFact::EachTime.into()))?;
        times.as_ref().map_err(|why| refused(why.clone()))
    };
    let (before, after) = (side(sides.before, true)?, side(sides.after, false)?);
    if before.is_normal != after.is_normal {
        return Err(DriveFact::AlikeEvents.into());
    }
    let limits = sides.limits;
    let moves = Moves::of([before, after], limits.stretch_s);
    let [n_before, n_after] = [0, 1].map(|side| moves.drives[side].len());
    sides.enough(n_before, n_after, Paired::EventBlocks)?;
    let change = changed(Block::Events, &moves.drives, |ours, theirs| {
        moves.medians([ours, theirs])
    });
    let (change, wander) = change.ok_or(DriveFact::DrawnBlocks)?;
    Ok(change.widened(limits.same_time_share, &wander, limits.size_share))
}

/// One move.
struct Moved {
    side: usize,
    block: usize,
    time_s: f64,
    // What is followed, less the mean of both sides.
    over: [f64; 3],
    // It lies on the lines as far as any.
    is_near: bool,
}

struct Moves {
    all: Vec<Moved>,
    // Which of what may be followed is known and differs from move to move.
    followed: Vec<usize>,
    // Of each block of each side.
    drives: [Vec<usize>; 2],
}

impl Moves {
    fn of(times: [&Times; 2], stretch_s: f64) -> Moves {
        let mut drives: [Vec<usize>; 2] = Default::default();
        let mut all = Vec::new();
        for (side, times) in times.into_iter().enumerate() {
            let block = |event: &Event| (event.drive, block_of(event.at, stretch_s));
            let mut blocks: Vec<(usize, i64)> = times.events.iter().map(block).collect();
            blocks.sort_unstable();
            blocks.dedup();
            all.extend(times.events.iter().map(|event| Moved {
                side,
                block: blocks.partition_point(|known| *known < block(event)),
                time_s: event.time_s,
                over: FOLLOWED.map(|of| of(event).unwrap_or(f64::NAN)),
                is_near: true,
            }));
            drives[side] = blocks.into_iter().map(|(drive, _)| drive).collect();
        }
        let mut moves = Moves {
            all,
            followed: Vec::new(),
            drives,
        };
        moves.centre();
        moves.leave_far_out();
        moves
    }

    /// Takes the means off what is followed, and forgets what is not known of all, or hardly differs.
    fn centre(&mut self) {
        let n = self.all.len() as f64;
        for index in 0..FOLLOWED.len() {
            let mean = self.all.iter().map(|one| one.over[index]).sum::<f64>() / n;
            let mut squares = 0.0;
            for one in &mut self.all {
                one.over[index] -= mean;
                squares += one.over[index] * one.over[index];
            }
            let is_spread = squares / n > (1e-3 * mean).powi(2).max(1e-12);
            if is_spread && self.all.len() >= MOVES_PER_LINE * (self.followed.len() + 3) {
                self.followed.push(index);
            }
        }
    }

    fn leave_far_out(&mut self) {
        for _ in 0..3 {
            let ones = self.drives.each_ref().map(|drives| vec![1.0; drives.len()]);
            let Some(lines) = self.lines([&ones[0], &ones[1]]) else {
                return;
            };
            let off: Vec<f64> = self
                .all
                .iter()
                .map(|one| one.time_s - lines[one.side] - self.along(one, &lines))
                .collect();
            let mut far: Vec<(f64, f64)> = off.iter().map(|off| (off.abs(), 1.0)).collect();
            far.sort_by(|one, other| one.0.total_cmp(&other.0));
            // Derived: of a normal scatter the median of what is off is 0.674 deviations.
            let sd = median(&far).unwrap_or(0.0) / 0.674;
            for (one, off) in self.all.iter_mut().zip(off) {
                one.is_near = off.abs() <= FAR_OFF * sd;
            }
        }
    }

    /// Level of either side, then the slope over each thing that is followed: of the moves near the lines.
    fn lines(&self, counts: [&[f64]; 2]) -> Option<Vec<f64>> {
        let near = self.all.iter().filter(|one| one.is_near);
        let rows = near.map(|one| {
            let mut row = vec![0.0; 2 + self.followed.len()];
            row[one.side] = 1.0;
            for (place, index) in self.followed.iter().enumerate() {
                row[2 + place] = one.over[*index];
            }
            (row, one.time_s, counts[one.side][one.block])
        });
        solved(2 + self.followed.len(), rows)
    }

    /// What of a move's time is by what is followed.
    fn along(&self, one: &Moved, lines: &[f64]) -> f64 {
        let slopes = self.followed.iter().zip(&lines[2..]);
        slopes.map(|(index, slope)| slope * one.over[*index]).sum()
    }

    /// Medians of either side, at the mean move of both.
    fn medians(&self, counts: [&[f64]; 2]) -> Option<[f64; 2]> {
        let lines = match self.followed.is_empty() {
            true => vec![0.0; 2],
            false => self.lines(counts)?,
        };
        let mut sides: [Vec<(f64, f64)>; 2] = Default::default();
        for one in &self.all {
            let time_s = one.time_s - self.along(one, &lines);
            sides[one.side].push((time_s, counts[one.side][one.block]));
        }
        for side in &mut sides {
            side.sort_by(|one, other| one.0.total_cmp(&other.0));
        }
        Some([median(&sides[0])?, median(&sides[1])?])
    }
}
