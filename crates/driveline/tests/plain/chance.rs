//! Samples by chance, and how a log delivers them in blocks.

use halfshaft_model::{Block, Time};
use proptest::prelude::*;

/// Samples of one channel in order of time: ns, and the value, `None` when missing.
pub type Samples = Vec<(i64, Option<f64>)>;

/// A channel of up to `n_most` samples, with jitter, lost samples, gaps, missing values, two
/// samples of one time; on a grid of 10 ms or off it.
pub fn samples(n_most: usize) -> impl Strategy<Value = Samples> {
    let steps = prop::collection::vec((0..60_u8, -0.2..0.2_f64, -20.0..80.0_f64), 0..n_most);
    (5.0..120.0_f64, 0.0..300.0_f64, any::<bool>(), steps).prop_map(
        |(period_ms, phase_ms, is_on_grid, steps)| {
            let mut time_ms = phase_ms;
            let each = steps.into_iter().map(|(kind, jitter, value)| {
                let at_ms = if is_on_grid {
                    (0.1 * time_ms).floor() * 10.0
                } else {
                    time_ms
                };
                time_ms += match kind {
                    0 => 0.0,
                    1..=3 => 3.0 * period_ms,
                    4..=5 => 900.0,
                    6 => 7000.0,
                    _ => period_ms * (1.0 + jitter),
                };
                // Whole numbers, so that a channel now and then repeats its value.
                let value = (!(10..14).contains(&kind)).then_some(value.round());
                ((at_ms * 1e6) as i64, value)
            });
            each.collect()
        },
    )
}

/// Up to three cuts of the clock, ns, in order, on the same grid.
pub fn cuts() -> impl Strategy<Value = Vec<i64>> {
    prop::collection::vec(0..600_i64, 0..4).prop_map(|mut cuts| {
        cuts.sort_unstable();
        cuts.into_iter().map(|cut| cut * 10_000_000).collect()
    })
}

/// Ends of the blocks of a log, ns, in order.
pub fn ends() -> impl Strategy<Value = Vec<i64>> {
    prop::collection::vec(0..9_000_000_000_i64, 0..40).prop_map(|mut ends| {
        ends.sort_unstable();
        ends
    })
}

/// The drive in blocks that end there. A channel arrives late by its share of `late_ns`.
pub fn blocks(channels: &[Samples], cuts: &[i64], ends: &[i64], late_ns: &[i64]) -> Vec<Block> {
    let mut blocks = Vec::new();
    let mut start = i64::MIN;
    for &end in ends.iter().chain([&i64::MAX]) {
        let mut block = Block::new(channels.len());
        for ((column, samples), late) in block.columns.iter_mut().zip(channels).zip(late_ns) {
            for &(time, value) in samples {
                if (start..end).contains(&(time + late)) {
                    column.push(Time(time), value);
                }
            }
        }
        let is_here = |cut: &&i64| (start..end).contains(*cut);
        block.cuts = cuts.iter().filter(is_here).map(|&cut| Time(cut)).collect();
        block.until = Time(end.min(1_000_000_000_000) - 1);
        blocks.push(block);
        start = end;
    }
    blocks
}
