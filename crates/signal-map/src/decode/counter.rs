//! What a rolling counter says about lost frames.

/// A step of a counter.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Step {
    /// As it should be.
    Right,
    /// It stood still.
    Stood,
    /// It skipped; about this many frames were lost.
    Skipped(u64),
}

/// Compares two counts in a row. `n_periods` is the time between them in periods of the
/// frame, where known: a counter of 16 that is 3 too far may have lost 3, 19 or 35.
#[inline]
pub(crate) fn step(
    from: u64,
    to: u64,
    width: u32,
    step: u64,
    n_periods: impl FnOnce() -> Option<f64>,
) -> Step {
    let mask = u64::MAX.checked_shr(64 - width.clamp(1, 64)).unwrap_or(0);
    let step = step & mask;
    if step == 0 || to == from.wrapping_add(step) & mask {
        return Step::Right;
    }
    let apart = to.wrapping_sub(from) & mask;
    let (cycle, n_steps) = steps(apart, step, width.clamp(1, 64));
    let by_time = n_periods()
        .filter(|n| n.is_finite())
        .map_or(0.0, |n| n.max(0.0));
    if apart == 0 && by_time.round() <= 1.0 {
        return Step::Stood;
    }
    let Some(n_steps) = n_steps else {
        // Not a multiple of the step: lost by time alone, and at least one.
        return Step::Skipped((by_time.round() as u64).saturating_sub(1).max(1));
    };
    let n_cycles = ((by_time - n_steps as f64) / cycle).round().max(0.0);
    let n_steps = n_steps as f64 + n_cycles * cycle;
    Step::Skipped((n_steps as u64).saturating_sub(1))
}

/// Steps from count to count, 1 to the length of a whole cycle, and that length.
fn steps(apart: u64, step: u64, width: u32) -> (f64, Option<u64>) {
    let shift = step.trailing_zeros();
    let cycle_bits = width - shift.min(width - 1);
    let cycle = 2f64.powi(cycle_bits as i32);
    if apart.trailing_zeros() < shift {
        return (cycle, None);
    }
    // The inverse of an odd number modulo 2^64, each round doubling the bits that are right.
    let odd = step >> shift;
    let mut inverse = odd;
    for _ in 0..6 {
        inverse = inverse.wrapping_mul(2u64.wrapping_sub(odd.wrapping_mul(inverse)));
    }
    let cycle_mask = u64::MAX.checked_shr(64 - cycle_bits).unwrap_or(0);
    let n = (apart >> shift).wrapping_mul(inverse) & cycle_mask;
    (cycle, Some(if n == 0 { cycle as u64 } else { n }))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(from: u64, to: u64, width: u32, by: u64, n_periods: Option<f64>, want: Step) {
        assert_eq!(step(from, to, width, by, || n_periods), want);
    }

    #[test]
    fn steps_wraps_and_skips() {
        check(3, 4, 4, 1, None, Step::Right);
        check(15, 0, 4, 1, None, Step::Right);
        check(14, 1, 4, 3, None, Step::Right);
        check(3, 6, 4, 1, None, Step::Skipped(2));
        check(14, 1, 4, 1, None, Step::Skipped(2));
        // 3 steps of 3 from 0 are 9: two were lost.
        check(0, 9, 4, 3, None, Step::Skipped(2));
        check(0, 8, 4, 4, None, Step::Skipped(1));
        check(0, 7, 4, 4, None, Step::Skipped(1));
        check(5, 5, 4, 0, None, Step::Right);
        check(u64::MAX, 0, 64, 1, None, Step::Right);
        check(u64::MAX, 2, 64, 1, None, Step::Skipped(2));
    }

    #[test]
    fn time_tells_how_often_it_went_round() {
        check(3, 6, 4, 1, Some(3.1), Step::Skipped(2));
        check(3, 6, 4, 1, Some(18.7), Step::Skipped(18));
        check(3, 3, 4, 1, Some(1.0), Step::Stood);
        check(3, 3, 4, 1, Some(16.2), Step::Skipped(15));
        check(3, 3, 4, 1, Some(f64::INFINITY), Step::Stood);
    }
}
