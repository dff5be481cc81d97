//! The two sides of a comparison, and how a figure of laps, stretches or corners is compared.
//!
//! In: a session of each side, pooled, and which corner of one is which of the other. Out: [`Change`], or why it
//! cannot be told.

use super::bootstrap::{Wander, drawn};
use super::session::{LapPart, Pass, Session, Stretch};
use super::{Block, Change};
use crate::limits::Compare;
use crate::reason::{DriveFact, Paired, Reason};

/// Corners of the same place, or why there are none.
pub type Matched = Result<Vec<(u32, u32)>, Reason>;

/// What is compared.
pub struct Sides<'a> {
    /// The drives before.
    pub before: &'a Session,
    /// The drives after.
    pub after: &'a Session,
    /// Which corner is which.
    pub matched: &'a Matched,
    /// By what is judged.
    pub limits: &'a Compare,
}

/// What a block holds: a sum, what it is divided by, and its drive.
type Part = (f64, f64, usize);

impl Sides<'_> {
    /// Means over laps, with the share by which drives of one car are off.
    pub fn by_lap(
        &self,
        of: impl Fn(&LapPart) -> Option<f64>,
        same_share: f64,
    ) -> Result<Change, Reason> {
        self.matched.as_ref().map_err(Clone::clone)?;
        let parts = [self.before, self.after].map(|side| {
            let laps = side.laps.iter();
            laps.filter_map(|lap| Some((of(lap)?, 1.0, lap.drive)))
                .collect()
        });
        self.ratios(parts, Block::Lap, Paired::Laps, same_share)
    }

    /// Means over stretches.
    pub fn by_stretch(&self, of: impl Fn(&Stretch) -> Option<f64>) -> Result<Change, Reason> {
        let parts = [self.before, self.after].map(|side| {
            let stretches = side.stretches.iter();
            stretches
                .filter_map(|stretch| Some((of(stretch)?, 1.0, stretch.drive)))
                .collect()
        });
        self.ratios(
            parts,
            Block::Stretch,
            Paired::StretchesWithEvents,
            self.limits.same_car_share,
        )
    }

    /// Differences of Σ numerator / Σ denominator.
    fn ratios(
        &self,
        [before, after]: [Vec<Part>; 2],
        block: Block,
        what: Paired,
        same_share: f64,
    ) -> Result<Change, Reason> {
        self.enough(before.len(), after.len(), what)?;
        if before.iter().chain(&after).all(|part| part.0 == 0.0) {
            return Err(DriveFact::NoneInEither.into());
        }
        let ratio = |parts: &[Part], counts: &[f64]| {
            let (mut above, mut below) = (0.0, 0.0);
            for ((numerator, denominator, _), count) in parts.iter().zip(counts) {
                above += count * numerator;
                below += count * denominator;
            }
            (below > 0.0).then(|| above / below)
        };
        let drives = [&before, &after].map(|parts| parts.iter().map(|part| part.2).collect());
        let change = changed(block, &drives, |ours, theirs| {
            Some([ratio(&before, ours)?, ratio(&after, theirs)?])
        });
        let (change, wander) = change.ok_or(DriveFact::DrawnBlocks)?;
        Ok(change.widened(same_share, &wander, 0.0))
    }

    /// Whether either side has enough of something.
    pub fn enough(&self, n_before: usize, n_after: usize, what: Paired) -> Result<(), Reason> {
        let least = self.limits.least_blocks as usize;
        match n_before >= least && n_after >= least {
            true => Ok(()),
            false => Err(Reason::TooFewOfEach {
                what,
                found: [n_before, n_after],
                needed: least,
            }),
        }
    }

    /// Heat over heading change of bends that no engagement and no slip event touches.
    pub fn open_bends(&self) -> Result<Change, Reason> {
        match self.matched {
            Ok(_) => self.by_corner(
                |pass| pass.is_open && pass.turned_deg != 0.0,
                |pass| Some(1e3 * pass.heat_kj? / pass.turned_deg.abs()),
                self.limits.same_open_share,
            ),
            Err(_) => {
                let parts = [self.before, self.after].map(|side| {
                    side.stretches
                        .iter()
                        .filter(|stretch| stretch.open_turned_deg > 0.0)
                        .map(|stretch| {
                            (stretch.open_heat_j, stretch.open_turned_deg, stretch.drive)
                        })
                        .collect()
                });
                self.ratios(
                    parts,
                    Block::Stretch,
                    Paired::StretchesWithOpenBends,
                    self.limits.same_open_share,
                )
            }
        }
    }

    /// Differences of like passes of the same corner. A corner counts once however many
    /// pairs it has.
    pub fn by_corner(
        &self,
        counts: impl Fn(&Pass) -> bool,
        of: impl Fn(&Pass) -> Option<f64>,
        same_share: f64,
    ) -> Result<Change, Reason> {
        let matched = self.matched.as_ref().map_err(Clone::clone)?;
        let passes = |session: &Session, number: u32| -> Vec<(Pass, f64)> {
            let passes = session.passes.iter();
            passes
                .filter(|pass| pass.corner == number && counts(pass))
                .filter_map(|pass| Some((*pass, of(pass)?)))
                .collect()
        };
        let mut corners: Vec<Vec<Pair>> = matched
            .iter()
            .map(|(before, after)| {
                self.pairs_of(&passes(self.before, *before), &passes(self.after, *after))
            })
            .filter(|pairs| !pairs.is_empty())
            .collect();
        // Laps that have a pair, in order: those are drawn.
        let laps = [0, 1].map(|side| {
            let mut laps: Vec<usize> = corners
                .iter()
                .flatten()
                .map(|pair| pair.laps[side])
                .collect();
            laps.sort_unstable();
            laps.dedup();
            laps
        });
        for pair in corners.iter_mut().flatten() {
            pair.laps = [0, 1].map(|side| laps[side].partition_point(|lap| *lap < pair.laps[side]));
        }
        self.enough(laps[0].len(), laps[1].len(), Paired::LapsWithLikePasses)?;
        if corners.iter().flatten().all(|pair| pair.values == [0.0; 2]) {
            return Err(DriveFact::NoneInEither.into());
        }
        let drives = [(&laps[0], self.before), (&laps[1], self.after)]
            .map(|(laps, side)| laps.iter().map(|lap| side.laps[*lap].drive).collect());
        let change = changed(Block::Lap, &drives, |ours, theirs| {
            mean_of_corners(&corners, ours, theirs)
        });
        let (change, wander) = change.ok_or(DriveFact::DrawnLaps)?;
        let change = change.widened(same_share, &wander, 0.0);
        Ok(Change {
            n_pairs: Some(corners.iter().map(Vec::len).sum()),
            ..change
        })
    }

    /// Each of one side with each of the other that is like it.
    fn pairs_of(&self, before: &[(Pass, f64)], after: &[(Pass, f64)]) -> Vec<Pair> {
        let mut pairs = Vec::new();
        for (one, value_before) in before {
            let alike = after.iter().filter(|(other, _)| self.is_alike(one, other));
            pairs.extend(alike.map(|(other, value_after)| Pair {
                laps: [one.lap, other.lap],
                values: [*value_before, *value_after],
            }));
        }
        pairs
    }

    fn is_alike(&self, before: &Pass, after: &Pass) -> bool {
        let mean = 0.5 * (before.entry_speed_m_per_s + after.entry_speed_m_per_s);
        let apart = (before.entry_speed_m_per_s - after.entry_speed_m_per_s).abs();
        apart <= self.limits.entry_speed_share * mean
            && is_within(before.oil_c, after.oil_c, self.limits.oil_k)
            && is_within(before.supply_v, after.supply_v, self.limits.supply_v)
    }
}

/// The change of a value, from what both sides give for how often each block counts, and how far the drives of a
/// side are apart. `drives` are those of the blocks.
pub fn changed(
    block: Block,
    drives: &[Vec<usize>; 2],
    mut values: impl FnMut(&[f64], &[f64]) -> Option<[f64; 2]>,
) -> Option<(Change, Wander)> {
    let n_blocks = (drives[0].len(), drives[1].len());
    let [before, after] = values(&vec![1.0; n_blocks.0], &vec![1.0; n_blocks.1])?;
    let drawn = drawn([&drives[0], &drives[1]], |ours, theirs| {
        let [before, after] = values(ours, theirs)?;
        Some(after - before)
    })?;
    let change = Change {
        before,
        after,
        difference: drawn.difference,
        low: drawn.low,
        high: drawn.high,
        smallest: drawn.smallest,
        block,
        n_blocks,
        n_pairs: None,
    };
    Some((change, drawn.wander))
}

/// Two like passes.
struct Pair {
    // Before and after: index among the laps that have a pair, and value.
    laps: [usize; 2],
    values: [f64; 2],
}

/// Not further apart than that, as far as both are known.
fn is_within(one: Option<f64>, other: Option<f64>, most: f64) -> bool {
    one.zip(other)
        .is_none_or(|(one, other)| (one - other).abs() <= most)
}

/// Mean over the corners of the mean over their pairs, before and after.
fn mean_of_corners(corners: &[Vec<Pair>], before: &[f64], after: &[f64]) -> Option<[f64; 2]> {
    let mut sums = [0.0; 2];
    let mut n_corners = 0.0;
    for pairs in corners {
        let mut of_corner = [0.0; 2];
        let mut weight = 0.0;
        for pair in pairs {
            let count = before[pair.laps[0]] * after[pair.laps[1]];
            weight += count;
            of_corner[0] += count * pair.values[0];
            of_corner[1] += count * pair.values[1];
        }
        if weight > 0.0 {
            n_corners += 1.0;
            sums[0] += of_corner[0] / weight;
            sums[1] += of_corner[1] / weight;
        }
    }
    (n_corners > 0.0).then(|| sums.map(|sum| sum / n_corners))
}
