//! Cycles of one quantity over a drive: how large, about which mean, how often.
//!
//! In: samples in order of time. Out: [`Cycle`]s of the whole drive so far, and the same
//! in cells of range and mean. Values are put on levels of a stated width first, so that
//! memory is bounded by the levels and not by the drive. A gap needs nothing said: both
//! values beside it were reached, so every range counted was gone through; what happened
//! inside is missing, and the count is then a lower bound.

use crate::reason::Reason;
use std::collections::BTreeMap;

use super::rainflow::{Rainflow, Swing};
use super::turning_points::TurningPoints;

/// Most levels a scale may have: bounds the memory of a count to some megabytes.
const MOST_LEVELS: f64 = 32768.0;

/// The levels that values are put on, in the unit of the values.
///
/// Invariant: width above 0, highest above lowest, all finite, at most 32,768 levels.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Levels {
    width: f64,
    lowest: f64,
    highest: f64,
}

impl Levels {
    /// Levels `width` apart; values beyond `lowest` and `highest` count as these.
    pub fn new(width: f64, lowest: f64, highest: f64) -> Result<Levels, Reason> {
        let is_scale = [width, lowest, highest].iter().all(|end| end.is_finite())
            && width > 0.0
            && highest > lowest;
        if !is_scale {
            return Err(Reason::NoScale {
                lowest,
                highest,
                width,
            });
        }
        let n_levels = (highest - lowest) / width;
        if n_levels > MOST_LEVELS {
            return Err(Reason::TooManyLevels {
                lowest,
                highest,
                width,
                most: MOST_LEVELS,
            });
        }
        Ok(Levels {
            width,
            lowest,
            highest,
        })
    }

    /// Distance of two levels.
    pub fn width(&self) -> f64 {
        self.width
    }

    fn level(&self, value: f64) -> i64 {
        ((value.clamp(self.lowest, self.highest) - self.lowest) / self.width).round() as i64
    }
}

/// Ranges of one size about one mean.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cycle {
    /// Distance from valley to peak, in the unit of the values.
    pub range: f64,
    /// Middle between valley and peak, in the unit of the values.
    pub mean: f64,
    /// How often; half for a range gone through one way only.
    pub count: f64,
}

/// Counts the cycles of one quantity.
#[derive(Clone, Debug)]
pub struct CycleCount {
    levels: Levels,
    turning: TurningPoints,
    rainflow: Rainflow,
    // By range and sum of both ends, in levels: how many half cycles.
    halves: BTreeMap<(i64, i64), u64>,
    n_beyond: u64,
    n_refused: u64,
}

fn add(halves: &mut BTreeMap<(i64, i64), u64>, swing: Swing) {
    let key = ((swing.to - swing.from).abs(), swing.to + swing.from);
    *halves.entry(key).or_default() += if swing.is_closed { 2 } else { 1 };
}

impl CycleCount {
    /// Nothing counted yet. Ranges below `least_range`, or below one level, are noise.
    pub fn new(levels: Levels, least_range: f64) -> CycleCount {
        // `as` makes 0 of what is no number, and the turning points take one level at least.
        let hysteresis = (least_range / levels.width).ceil().min(MOST_LEVELS) as i64;
        CycleCount {
            levels,
            turning: TurningPoints::new(hysteresis),
            rainflow: Rainflow::default(),
            halves: BTreeMap::new(),
            n_beyond: 0,
            n_refused: 0,
        }
    }

    /// Takes a sample. What is no number is refused and counted.
    pub fn add(&mut self, value: f64) {
        if !value.is_finite() {
            self.n_refused += 1;
            return;
        }
        if value < self.levels.lowest || value > self.levels.highest {
            self.n_beyond += 1;
        }
        if let Some(point) = self.turning.add(self.levels.level(value)) {
            let halves = &mut self.halves;
            self.rainflow.add(point, |swing| add(halves, swing));
        }
    }

    /// Samples beyond the scale, counted as its ends: cycles there are too small.
    pub fn n_beyond(&self) -> u64 {
        self.n_beyond
    }

    /// Samples that were no number.
    pub fn n_refused(&self) -> u64 {
        self.n_refused
    }

    /// Cycles as if the drive ended here, by range and then by mean, smallest first.
    pub fn cycles(&self) -> Vec<Cycle> {
        let mut halves = self.halves.clone();
        let mut rainflow = self.rainflow.clone();
        if let Some(last) = self.turning.last() {
            rainflow.add(last, |swing| add(&mut halves, swing));
        }
        for swing in rainflow.open() {
            add(&mut halves, swing);
        }
        let Levels { width, lowest, .. } = self.levels;
        halves
            .into_iter()
            .map(|((range, ends), n)| Cycle {
                range: range as f64 * width,
                mean: lowest + 0.5 * ends as f64 * width,
                count: 0.5 * n as f64,
            })
            .collect()
    }

    /// The same in cells.
    pub fn matrix(&self, range_edges: &[f64], mean_edges: &[f64]) -> CycleMatrix {
        CycleMatrix::of(&self.cycles(), range_edges, mean_edges)
    }
}

/// Cycles by range and mean.
#[derive(Clone, Debug, PartialEq)]
pub struct CycleMatrix {
    /// Upper edges of the cells of range, rising; a value on an edge lies below it, and
    /// the last cell is open.
    pub range_edges: Vec<f64>,
    /// Upper edges of the cells of mean, in the same way.
    pub mean_edges: Vec<f64>,
    /// Cycles, cell of range by cell of range, mean rising within.
    pub counts: Vec<f64>,
}

impl CycleMatrix {
    /// Puts cycles into cells; no cycle is left out.
    pub fn of(cycles: &[Cycle], range_edges: &[f64], mean_edges: &[f64]) -> CycleMatrix {
        let n_means = mean_edges.len() + 1;
        let mut counts = vec![0.0; (range_edges.len() + 1) * n_means];
        let cell = |edges: &[f64], value: f64| edges.partition_point(|edge| *edge < value);
        for cycle in cycles {
            let row = cell(range_edges, cycle.range);
            counts[row * n_means + cell(mean_edges, cycle.mean)] += cycle.count;
        }
        CycleMatrix {
            range_edges: range_edges.to_vec(),
            mean_edges: mean_edges.to_vec(),
            counts,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn counted(width: f64, least_range: f64, values: &[f64]) -> CycleCount {
        let levels = Levels::new(width, -100.0, 100.0).unwrap();
        let mut count = CycleCount::new(levels, least_range);
        for value in values {
            count.add(*value);
        }
        count
    }

    // Source: ASTM E1049-85, section 5.4.4, the example of the rainflow count.
    const STANDARD: [f64; 9] = [-2.0, 1.0, -3.0, 5.0, -1.0, 3.0, -4.0, 4.0, -2.0];

    #[test]
    fn example_of_the_standard_by_range_and_by_mean() {
        let count = counted(1.0, 0.0, &STANDARD);
        let told: Vec<(f64, f64, f64)> = count
            .cycles()
            .iter()
            .map(|cycle| (cycle.range, cycle.mean, cycle.count))
            .collect();
        // Means: derived by hand from the standard's pairs.
        let wanted = [
            (3.0, -0.5, 0.5),
            (4.0, -1.0, 0.5),
            (4.0, 1.0, 1.0),
            (6.0, 1.0, 0.5),
            (8.0, 0.0, 0.5),
            (8.0, 1.0, 0.5),
            (9.0, 0.5, 0.5),
        ];
        assert_eq!(told, wanted);
        // By range alone, as the standard prints it: 3: 0.5, 4: 1.5, 6: 0.5, 8: 1, 9: 0.5.
        let edges: Vec<f64> = (0..10).map(f64::from).collect();
        let by_range = count.matrix(&edges, &[]);
        assert_eq!(
            by_range.counts,
            [0.0, 0.0, 0.0, 0.5, 1.5, 0.0, 0.5, 0.0, 1.0, 0.5, 0.0]
        );
        let matrix = count.matrix(&[5.0], &[0.0]);
        assert_eq!(matrix.counts, [1.0, 1.0, 0.5, 1.5]);
    }

    #[test]
    fn a_count_can_be_asked_for_at_any_time() {
        let mut count = counted(1.0, 0.0, &STANDARD[..5]);
        let early = count.cycles();
        assert_eq!(early, count.cycles());
        STANDARD[5..].iter().for_each(|value| count.add(*value));
        assert_eq!(count.cycles(), counted(1.0, 0.0, &STANDARD).cycles());
        assert!(counted(1.0, 0.0, &[3.0; 9]).cycles().is_empty());
    }

    #[test]
    fn what_is_no_number_and_what_is_beyond_the_scale_is_counted() {
        let count = counted(1.0, 0.0, &[0.0, f64::NAN, 500.0, f64::INFINITY, 0.0]);
        assert_eq!((count.n_refused(), count.n_beyond()), (2, 1));
        assert_eq!(count.cycles()[0].range, 100.0);
        for (width, lowest, highest) in [
            (0.0, 0.0, 1.0),
            (-1.0, 0.0, 1.0),
            (1.0, 1.0, 1.0),
            (f64::NAN, 0.0, 1.0),
            (1.0, 0.0, f64::INFINITY),
            (1e-6, 0.0, 1.0),
        ] {
            assert!(Levels::new(width, lowest, highest).is_err(), "{width}");
        }
    }

    proptest! {
        #[test]
        fn counts_sum_to_half_the_ranges_and_a_matrix_loses_none(
            values in prop::collection::vec(-120_i32..120, 0..300),
        ) {
            let values: Vec<f64> = values.into_iter().map(f64::from).collect();
            let count = counted(1.0, 0.0, &values);
            let mut levels: Vec<f64> = values.iter().map(|value| value.clamp(-100.0, 100.0)).collect();
            levels.dedup();
            let turns = levels
                .windows(3)
                .filter(|three| (three[1] - three[0]) * (three[2] - three[1]) < 0.0)
                .count();
            let n_ranges = if levels.len() < 2 { 0 } else { turns + 1 };
            let total: f64 = count.cycles().iter().map(|cycle| cycle.count).sum();
            prop_assert_eq!(total, 0.5 * n_ranges as f64);
            let matrix = count.matrix(&[1.0, 10.0, 50.0], &[-50.0, 0.0]);
            prop_assert_eq!(matrix.counts.iter().sum::<f64>(), total);
        }

        #[test]
        fn a_hysteresis_takes_away_the_small_ranges_and_nothing_else(
            values in prop::collection::vec(-100_i32..100, 0..300),
            least in 1_i32..60,
        ) {
            let values: Vec<f64> = values.into_iter().map(f64::from).collect();
            let all = counted(1.0, 0.0, &values).cycles();
            let large: Vec<Cycle> =
                all.into_iter().filter(|cycle| cycle.range >= f64::from(least)).collect();
            let total = |cycles: &[Cycle]| cycles.iter().map(|cycle| cycle.count).sum::<f64>();
            let filtered = counted(1.0, f64::from(least), &values).cycles();
            prop_assert_eq!(total(&large), total(&filtered));
            let by_range = |cycles: &[Cycle]| CycleMatrix::of(cycles, &[20.0, 40.0, 80.0, 160.0], &[]);
            prop_assert_eq!(by_range(&large), by_range(&filtered));
        }
    }
}
