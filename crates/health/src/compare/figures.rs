//! The figures that are compared, each with its blocks.
//!
//! In: two sessions, and which corner of one is which of the other. Out: [`Compared`], one
//! for each figure, with a reason where it cannot be told.

use super::bootstrap::{drawn, median};
use super::session::{LapPart, Pass, Session, Stretch, Times, block_of};
use super::{Block, Change, Compared};
use crate::figure_id::FigureId;
use crate::limits::Compare;
use crate::reason::{DriveFact, Paired, Reason};

/// Figures that move with how the car is driven.
pub const DRIVEN: [&str; 7] = [
    FigureId::ThrottleOnDelay.word(),
    "heat_per_lap",
    "heat_per_corner",
    "slid_per_lap",
    "partial_per_lap",
    "specific_power_peak",
    "oil_rise_per_lap",
];

/// The same, but so little that it is put down to the car where nothing shows how it was driven.
pub const HARDLY_DRIVEN: &str = "heat_per_degree_open";

type Matched = Result<Vec<(u32, u32)>, Reason>;

/// What is compared.
struct Sides<'a> {
    before: &'a Session,
    after: &'a Session,
    matched: &'a Matched,
    limits: &'a Compare,
}

/// Every figure.
pub fn all(
    before: &Session,
    after: &Session,
    matched: &Matched,
    limits: &Compare,
) -> Vec<Compared> {
    let sides = Sides {
        before,
        after,
        matched,
        limits,
    };
    let mut all = vec![
        Compared {
            name: "heat_per_lap",
            title: "Heat per lap",
            unit: "kJ",
            outcome: sides.by_lap(|lap| lap.heat_kj),
            method: "mean heat of a lap, laps with a gap left out; laps drawn again",
            whose: None,
        },
        Compared {
            name: "slid_per_lap",
            title: "Way the linings slid per lap",
            unit: "m",
            outcome: sides.by_lap(|lap| lap.slid_m),
            method: "mean over laps of the way slid in events; laps drawn again",
            whose: None,
        },
        Compared {
            name: "partial_per_lap",
            title: "Time slipping under load per lap",
            unit: "s",
            outcome: sides.by_lap(|lap| lap.partial_s),
            method: "mean over laps of the time slipping under load in events; laps drawn again",
            whose: None,
        },
        Compared {
            name: "heat_per_corner",
            title: "Heat per corner",
            unit: "kJ",
            outcome: sides.by_corner(|_| true, |pass| pass.heat_kj),
            method: "differences of like passes of the same corner, mean of the corners; laps drawn again",
            whose: None,
        },
        Compared {
            name: "heat_per_degree_open",
            title: "Heat per degree turned, open bends",
            unit: "J/deg",
            outcome: sides.open_bends(),
            method: "heat over heading change of bends without an engagement or a slip event: of like passes of the same corner where corners are matched, else the sums of stretches; laps or stretches drawn again",
            whose: None,
        },
    ];
    let times = [
        (FigureId::DeadTime.word(), "Dead time of the actuator"),
        (FigureId::RiseTime.word(), "Rise time, 10 to 90 %"),
        (FigureId::TransitionTime.word(), "Open to locked, to 90 %"),
        (FigureId::ReleaseTime.word(), "Locked to open, to 10 %"),
    ];
    for (index, (name, title)) in times.into_iter().enumerate() {
        all.push(Compared {
            name,
            title,
            unit: "s",
            outcome: sides.medians(|session| session.actuator[index].as_ref()),
            method: "difference of the medians, at 60 °C and 13.5 V where both sessions know oil and voltage; blocks of events drawn again",
            whose: None,
        });
    }
    all.push(Compared {
        name: FigureId::ThrottleOnDelay.word(),
        title: "Throttle to clutch, pressing",
        unit: "s",
        outcome: sides.medians(|session| session.throttle_on.as_ref()),
        method: "difference of the medians of pedal to response; blocks of events drawn again",
        whose: None,
    });
    all.push(Compared {
        name: "specific_power_peak",
        title: "Highest power per area",
        unit: "W/mm²",
        outcome: match matched {
            Ok(_) => sides.by_lap(|lap| lap.peak_w_per_mm2),
            Err(_) => sides.by_stretch(|stretch| stretch.peak_w_per_mm2),
        },
        method: "mean over laps, or stretches, of the highest heat rate of an event per net lining area; laps or stretches drawn again",
        whose: None,
    });
    all.push(Compared {
        name: "oil_rise_per_lap",
        title: "Rise of the oil per lap",
        unit: "K",
        outcome: sides.by_like_laps(|lap| lap.oil_rise_k),
        method: "oil at the end of a lap less oil at its start, of laps that begin with like oil; laps drawn again",
        whose: None,
    });
    all
}

impl Sides<'_> {
    fn by_lap(&self, of: impl Fn(&LapPart) -> Option<f64>) -> Result<Change, Reason> {
        self.matched.as_ref().map_err(Clone::clone)?;
        let [before, after] =
            [self.before, self.after].map(|side| side.laps.iter().filter_map(&of).collect());
        self.means(before, after, Block::Lap, Paired::Laps)
    }

    fn by_stretch(&self, of: impl Fn(&Stretch) -> Option<f64>) -> Result<Change, Reason> {
        let [before, after] =
            [self.before, self.after].map(|side| side.stretches.iter().filter_map(&of).collect());
        self.means(before, after, Block::Stretch, Paired::StretchesWithEvents)
    }

    fn means(
        &self,
        before: Vec<f64>,
        after: Vec<f64>,
        block: Block,
        what: Paired,
    ) -> Result<Change, Reason> {
        let ones = |values: Vec<f64>| values.into_iter().map(|value| (value, 1.0)).collect();
        self.ratios(ones(before), ones(after), block, what)
    }

    /// Differences of Σ numerator / Σ denominator.
    fn ratios(
        &self,
        before: Vec<(f64, f64)>,
        after: Vec<(f64, f64)>,
        block: Block,
        what: Paired,
    ) -> Result<Change, Reason> {
        self.enough(before.len(), after.len(), what)?;
        let ratio = |parts: &[(f64, f64)], counts: &[f64]| {
            let (mut above, mut below) = (0.0, 0.0);
            for ((numerator, denominator), count) in parts.iter().zip(counts) {
                above += count * numerator;
                below += count * denominator;
            }
            (below > 0.0).then(|| above / below)
        };
        self.settled(
            (before.len(), after.len()),
            0.0,
            (block, None),
            |counts| ratio(&before, counts),
            |counts| ratio(&after, counts),
        )
    }

    fn enough(&self, n_before: usize, n_after: usize, what: Paired) -> Result<(), Reason> {
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

    /// The change of a value that each side has on its own.
    fn settled(
        &self,
        n_blocks: (usize, usize),
        doubt: f64,
        (block, n_pairs): (Block, Option<usize>),
        of_before: impl Fn(&[f64]) -> Option<f64>,
        of_after: impl Fn(&[f64]) -> Option<f64>,
    ) -> Result<Change, Reason> {
        let once = |n: usize| vec![1.0; n];
        let told = || {
            let before = of_before(&once(n_blocks.0))?;
            let after = of_after(&once(n_blocks.1))?;
            let drawn = drawn(n_blocks, doubt, |before, after| {
                Some(of_after(after)? - of_before(before)?)
            })?;
            Some(Change {
                before,
                after,
                difference: drawn.difference,
                low: drawn.low,
                high: drawn.high,
                smallest: drawn.smallest,
                block,
                n_blocks,
                n_pairs,
            })
            .map(|change: Change| match block {
                Block::Events => {
                    change.widened(self.limits.same_time_share, self.limits.size_share)
                }
                _ => change.widened(self.limits.same_car_share, 0.0),
            })
        };
        told().ok_or(DriveFact::DrawnBlocks.into())
    }

    fn open_bends(&self) -> Result<Change, Reason> {
        match self.matched {
            Ok(_) => self.by_corner(
                |pass| pass.is_open && pass.turned_deg != 0.0,
                |pass| Some(1e3 * pass.heat_kj? / pass.turned_deg.abs()),
            ),
            Err(_) => {
                let [before, after] = [self.before, self.after].map(|side| {
                    side.stretches
                        .iter()
                        .filter(|stretch| stretch.open_turned_deg > 0.0)
                        .map(|stretch| (stretch.open_heat_j, stretch.open_turned_deg))
                        .collect()
                });
                self.ratios(
                    before,
                    after,
                    Block::Stretch,
                    Paired::StretchesWithOpenBends,
                )
            }
        }
    }

    /// Differences of like passes of the same corner. A corner counts once however many
    /// pairs it has.
    fn by_corner(
        &self,
        counts: impl Fn(&Pass) -> bool,
        of: impl Fn(&Pass) -> Option<f64>,
    ) -> Result<Change, Reason> {
        let matched = self.matched.as_ref().map_err(Clone::clone)?;
        let passes = |session: &Session, number: u32| -> Vec<(usize, Pass, f64)> {
            let passes = session.passes.iter();
            passes
                .filter(|pass| pass.corner == number && counts(pass))
                .filter_map(|pass| Some((pass.lap, *pass, of(pass)?)))
                .collect()
        };
        let mut laps: [Vec<usize>; 2] = Default::default();
        let mut corners: Vec<Vec<Pair>> = Vec::new();
        for (before, after) in matched {
            let (before, after) = (passes(self.before, *before), passes(self.after, *after));
            let pairs = pairs_of(&before, &after, &mut laps, |one, other| {
                self.is_alike(one, other)
            });
            if !pairs.is_empty() {
                corners.push(pairs);
            }
        }
        self.of_pairs(&corners, &laps)
    }

    /// Differences of laps that begin with like oil: while it warms up it rises by more each lap.
    fn by_like_laps(&self, of: impl Fn(&LapPart) -> Option<f64>) -> Result<Change, Reason> {
        self.matched.as_ref().map_err(Clone::clone)?;
        let parts = |session: &Session| -> Vec<(usize, Option<f64>, f64)> {
            let laps = session.laps.iter().enumerate();
            laps.filter_map(|(index, lap)| Some((index, lap.oil_start_c, of(lap)?)))
                .collect()
        };
        let (before, after) = (parts(self.before), parts(self.after));
        self.enough(before.len(), after.len(), Paired::Laps)?;
        let mut laps: [Vec<usize>; 2] = Default::default();
        let pairs = pairs_of(&before, &after, &mut laps, |one, other| {
            is_within(*one, *other, self.limits.lap_oil_k)
        });
        self.of_pairs(&[pairs], &laps)
    }

    fn of_pairs(&self, corners: &[Vec<Pair>], laps: &[Vec<usize>; 2]) -> Result<Change, Reason> {
        let n_pairs = corners.iter().map(Vec::len).sum();
        let n_blocks = (laps[0].len(), laps[1].len());
        self.enough(n_blocks.0, n_blocks.1, Paired::LapsWithLikePasses)?;
        let told = || {
            let [before, after] =
                mean_of_corners(corners, &vec![1.0; n_blocks.0], &vec![1.0; n_blocks.1])?;
            let drawn = drawn(n_blocks, 0.0, |ours, theirs| {
                let [before, after] = mean_of_corners(corners, ours, theirs)?;
                Some(after - before)
            })?;
            Some(Change {
                before,
                after,
                difference: drawn.difference,
                low: drawn.low,
                high: drawn.high,
                smallest: drawn.smallest,
                block: Block::Lap,
                n_blocks,
                n_pairs: Some(n_pairs),
            })
            .map(|change: Change| change.widened(self.limits.same_car_share, 0.0))
        };
        told().ok_or(DriveFact::DrawnLaps.into())
    }

    fn is_alike(&self, before: &Pass, after: &Pass) -> bool {
        let mean = 0.5 * (before.entry_speed_m_per_s + after.entry_speed_m_per_s);
        let apart = (before.entry_speed_m_per_s - after.entry_speed_m_per_s).abs();
        apart <= self.limits.entry_speed_share * mean
            && is_within(before.oil_c, after.oil_c, self.limits.oil_k)
            && is_within(before.supply_v, after.supply_v, self.limits.supply_v)
    }

    fn medians(
        &self,
        of: impl Fn(&Session) -> Option<&Result<Times, Reason>>,
    ) -> Result<Change, Reason> {
        let side = |session, is_before| {
            let refused = |why| Reason::OfSession {
                is_before,
                why: Box::new(why),
            };
            let times = of(session).ok_or_else(|| refused(DriveFact::EachTime.into()))?;
            times.as_ref().map_err(|why| refused(why.clone()))
        };
        let (before, after) = (side(self.before, true)?, side(self.after, false)?);
        if before.is_normal != after.is_normal {
            return Err(DriveFact::AlikeEvents.into());
        }
        let (ours, theirs) = (self.blocked(before), self.blocked(after));
        self.enough(ours.n_blocks, theirs.n_blocks, Paired::EventBlocks)?;
        self.settled(
            (ours.n_blocks, theirs.n_blocks),
            // What sampling leaves open is another at each start of the car: frames begin as they like.
            before.doubt_s.max(after.doubt_s),
            (Block::Events, None),
            |counts| ours.median(counts),
            |counts| theirs.median(counts),
        )
    }

    /// Times in rising order, and the block of events each belongs to.
    fn blocked(&self, times: &Times) -> Blocked {
        let block = |time| block_of(time, self.limits.stretch_s);
        let mut blocks: Vec<i64> = times.events.iter().map(|(time, _)| block(*time)).collect();
        blocks.sort_unstable();
        blocks.dedup();
        let mut sorted: Vec<(f64, usize)> = times
            .events
            .iter()
            .map(|(time, time_s)| {
                let block = block(*time);
                (*time_s, blocks.partition_point(|known| *known < block))
            })
            .collect();
        sorted.sort_by(|one, other| one.0.total_cmp(&other.0));
        Blocked {
            sorted,
            n_blocks: blocks.len(),
        }
    }
}

/// Two like passes.
struct Pair {
    // Before and after: index among the laps that have a pair, and value.
    laps: [usize; 2],
    values: [f64; 2],
}

/// Each of one side with each of the other that is like it: index of the lap, what makes them alike, value.
fn pairs_of<T>(
    before: &[(usize, T, f64)],
    after: &[(usize, T, f64)],
    laps: &mut [Vec<usize>; 2],
    is_alike: impl Fn(&T, &T) -> bool,
) -> Vec<Pair> {
    let mut pairs = Vec::new();
    for (lap_before, one, value_before) in before {
        for (lap_after, other, value_after) in after {
            if is_alike(one, other) {
                pairs.push(Pair {
                    laps: [
                        index_of(&mut laps[0], *lap_before),
                        index_of(&mut laps[1], *lap_after),
                    ],
                    values: [*value_before, *value_after],
                });
            }
        }
    }
    pairs
}

/// Not further apart than that, as far as both are known.
fn is_within(one: Option<f64>, other: Option<f64>, most: f64) -> bool {
    one.zip(other)
        .is_none_or(|(one, other)| (one - other).abs() <= most)
}

fn index_of(laps: &mut Vec<usize>, lap: usize) -> usize {
    let found = laps.iter().position(|known| *known == lap);
    found.unwrap_or_else(|| {
        laps.push(lap);
        laps.len() - 1
    })
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

/// Times in rising order, each with the index of its block.
struct Blocked {
    sorted: Vec<(f64, usize)>,
    n_blocks: usize,
}

impl Blocked {
    fn median(&self, counts: &[f64]) -> Option<f64> {
        let counted: Vec<(f64, f64)> = self
            .sorted
            .iter()
            .map(|(time_s, block)| (*time_s, counts[*block]))
            .collect();
        median(&counted)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use halfshaft_model::Time;

    /// The usual limits, with nothing but scatter in the band.
    fn scatter_only() -> Compare {
        Compare {
            same_car_share: 0.0,
            same_time_share: 0.0,
            ..Compare::default()
        }
    }
    use crate::compare::compare;
    use crate::compare::session::testing::{CORNERS, session};

    fn heat(_: usize, corner: usize) -> f64 {
        0.5 + 0.3 * corner as f64
    }

    fn more(lap: usize, corner: usize) -> f64 {
        1.2 * heat(lap, corner)
    }

    fn change(before: &Session, after: &Session, name: &str) -> Change {
        let found = compare(before, after, &scatter_only());
        let figure = found.figure(name).expect("it is compared");
        figure.outcome.clone().expect("it is told")
    }

    #[test]
    fn a_fifth_more_heat_is_found_and_none_is_not() {
        let (before, same) = (session(6, 1, heat), session(7, 2, heat));
        let after = session(7, 3, more);
        for name in ["heat_per_lap", "heat_per_corner", "heat_per_degree_open"] {
            let none = change(&before, &same, name);
            assert!(!none.is_seen() && none.smallest > 0.0, "{name}: {none:?}");
            let found = change(&before, &after, name);
            let truth = 0.2 * found.before;
            assert!(found.is_seen() && found.low > 0.0, "{name}: {found:?}");
            assert!(
                found.low < 1.3 * truth && 0.7 * truth < found.high,
                "{name}: {found:?}"
            );
            let back = change(&after, &before, name);
            assert!(back.high < 0.0, "{name}: {back:?}");
        }
    }

    #[test]
    fn passes_that_are_not_alike_are_left_out() {
        let (before, after) = (session(6, 1, heat), session(6, 2, more));
        let pairs = |change: Change| change.n_pairs.expect("corners are paired");
        let all = pairs(change(&before, &after, "heat_per_corner"));
        assert_eq!(all, 6 * 6 * CORNERS.len());
        let spoilt = |spoil: fn(&mut Pass)| {
            let mut other = after.clone();
            other
                .passes
                .iter_mut()
                .filter(|pass| pass.lap >= 3)
                .for_each(spoil);
            pairs(change(&before, &other, "heat_per_corner"))
        };
        assert_eq!(spoilt(|pass| pass.entry_speed_m_per_s *= 1.3), all / 2);
        assert_eq!(spoilt(|pass| pass.supply_v = Some(12.0)), all / 2);
        assert_eq!(spoilt(|pass| pass.oil_c = Some(40.0)), all / 2);
        assert_eq!(spoilt(|pass| pass.oil_c = None), all);
        assert_eq!(spoilt(|pass| pass.heat_kj = None), all / 2);
    }

    #[test]
    fn bands_hold_the_truth_nine_times_out_of_ten() {
        // The true difference of the mean corner.
        let mean = (0..CORNERS.len()).map(|c| heat(0, c)).sum::<f64>() / CORNERS.len() as f64;
        let (mut n_held, mut n_held_none, n_all) = (0, 0, 60);
        for pair in 0..n_all {
            let before = session(5, 1000 + pair, heat);
            let after = session(6, 2000 + pair, more);
            let found = change(&before, &after, "heat_per_corner");
            n_held += u64::from(found.low <= 0.2 * mean && 0.2 * mean <= found.high);
            let same = session(6, 3000 + pair, heat);
            let none = change(&before, &same, "heat_per_lap");
            n_held_none += u64::from(!none.is_seen());
        }
        for n in [n_held, n_held_none] {
            let share = n as f64 / n_all as f64;
            assert!((0.85..=0.97).contains(&share), "{share}");
        }
    }

    fn times(values: &[f64], is_normal: bool) -> Option<Result<Times, Reason>> {
        Some(Ok(Times {
            events: (0..)
                .map(|n| Time::from_seconds(60.0 * f64::from(n / 4)))
                .zip(values.iter().copied())
                .collect(),
            doubt_s: 0.0,
            is_normal,
        }))
    }

    #[test]
    fn a_slower_actuator_is_found_without_laps() {
        let values = |from: f64| -> Vec<f64> {
            (0..40)
                .map(|n| from + 0.001 * f64::from(n * 7 % 11))
                .collect()
        };
        let mut before = Session {
            no_laps: Some(DriveFact::RepeatedPath.into()),
            ..Session::default()
        };
        let mut after = before.clone();
        before.actuator[1] = times(&values(0.1), true);
        after.actuator[1] = times(&values(0.13), true);
        let found = change(&before, &after, "rise_time");
        assert!(
            found.low > 0.02 && found.low <= 0.03 && 0.03 <= found.high,
            "{found:?}"
        );
        assert_eq!(found.n_blocks, (10, 10));
        let comparison = compare(&before, &after, &scatter_only());
        assert!(comparison.notes[0].contains("only stretches and events"));
        let refused = |after: &Session, name: &str| {
            let comparison = compare(&before, after, &scatter_only());
            let figure = comparison.figure(name).expect("it is compared");
            figure.outcome.clone().expect_err("it is not told")
        };
        assert_eq!(
            refused(&after, "heat_per_lap"),
            DriveFact::RepeatedPath.into()
        );
        // Too few blocks, another footing, no value.
        after.actuator[1] = times(&values(0.13)[..8], true);
        let few = Reason::TooFewOfEach {
            what: Paired::EventBlocks,
            found: [10, 2],
            needed: scatter_only().least_blocks as usize,
        };
        assert_eq!(refused(&after, "rise_time"), few);
        after.actuator[1] = times(&values(0.13), false);
        assert_eq!(refused(&after, "rise_time"), DriveFact::AlikeEvents.into());
        after.actuator[1] = Some(Err(DriveFact::QuickMove.into()));
        let no_move = Reason::OfSession {
            is_before: false,
            why: Box::new(DriveFact::QuickMove.into()),
        };
        assert_eq!(refused(&after, "rise_time"), no_move);
        // An older record holds no single time.
        after.actuator[1] = None;
        after.is_older = true;
        let words = refused(&after, "rise_time").to_string();
        assert!(words.starts_with("after: a report of an older"), "{words}");
        let notes = compare(&before, &after, &scatter_only()).notes;
        assert!(
            notes[0].starts_with("The report after is of an older"),
            "{notes:?}"
        );
    }

    #[test]
    fn open_bends_of_other_roads_are_compared_by_stretch() {
        let side = |per_degree: f64| Session {
            stretches: (0..8)
                .map(|n| {
                    let open_turned_deg = 100.0 + 20.0 * f64::from(n);
                    let scatter = 1.0 + 0.02 * f64::from(n % 3);
                    Stretch {
                        open_heat_j: per_degree * scatter * open_turned_deg,
                        open_turned_deg,
                        peak_w_per_mm2: None,
                    }
                })
                .collect(),
            ..Session::default()
        };
        let found = change(&side(2.0), &side(2.4), "heat_per_degree_open");
        assert_eq!(found.block, Block::Stretch);
        assert!(found.low > 0.3 && found.high < 0.5, "{found:?}");
    }
}
