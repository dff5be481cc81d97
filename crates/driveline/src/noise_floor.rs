//! Learns how much of the slip signal is noise.
//!
//! In: slip at the times the wheels were sampled. Out: the standard deviation of one
//! sample. What changes smoothly has a second difference near zero, so the second
//! difference of noise of deviation σ, which has √6·σ, shows σ in any driving, not only on
//! straights. Wheelspin and tone-ring spikes sit in the upper tail, which is left out.
//! Kept as a histogram: bounded, and resolved when asked.

use halfshaft_model::octaves::steps_above;

/// Histogram slots, so many to each doubling from the smallest size on, rad/s.
const N_SLOTS: usize = 160;
const SMALLEST: f64 = 1e-6;
const SLOTS_PER_OCTAVE: u64 = 6;

/// Share of the second differences that is used; the rest is taken for real movement.
const KEPT_SHARE: f64 = 0.9;

/// Root mean square of a unit normal variable cut at its central 90 %, |x| < 1.645:
/// √((0.9 − 2·1.645·0.10314)/0.9) = 0.7893. Derived.
const CUT_NORMAL_RMS: f64 = 0.7893;

/// Second differences between two looks at the floor.
const LOOK_EVERY: u64 = 512;

/// Second differences needed before the floor is believed.
const LEAST_SAMPLES: u64 = 20;

/// The floor so far.
#[derive(Clone, Debug)]
pub struct NoiseFloor {
    counts: [u64; N_SLOTS],
    squares: [f64; N_SLOTS],
    n: u64,
    // The floor as of the latest look: looking takes a walk over all slots.
    settled: Option<f64>,
    // The last two slip samples of the current run, and the time between them.
    previous: Option<(f64, Option<(f64, f64)>)>,
}

impl Default for NoiseFloor {
    fn default() -> NoiseFloor {
        NoiseFloor {
            counts: [0; N_SLOTS],
            squares: [0.0; N_SLOTS],
            n: 0,
            settled: None,
            previous: None,
        }
    }
}

impl NoiseFloor {
    /// Takes a wheel sample that came `interval_s` after the one before.
    pub fn add(&mut self, slip: f64, interval_s: f64) {
        if let Some((before, Some((first, first_interval)))) = self.previous {
            // On uneven spacing it is the departure from the straight line between the outer
            // two, scaled to the size that even spacing would give: with √(1 + share² + share²)
            // for the shares of the two intervals in the whole. Multiplied out by that whole.
            let whole = first_interval + interval_s;
            let departure = before * whole - interval_s * first - first_interval * slip;
            let square = whole * whole + interval_s * interval_s + first_interval * first_interval;
            self.count(6.0 * departure * departure / square);
        }
        self.previous = Some((slip, self.previous.map(|(before, _)| (before, interval_s))));
    }

    /// A gap, or standing still: the next sample begins anew.
    pub fn interrupt(&mut self) {
        self.previous = None;
    }

    /// Counts a second difference whose square is that.
    fn count(&mut self, square: f64) {
        let steps = steps_above(square, SMALLEST * SMALLEST, SLOTS_PER_OCTAVE / 2);
        let slot = steps.min(N_SLOTS - 1);
        self.counts[slot] += 1;
        self.squares[slot] += square;
        self.n += 1;
        if self.n == LEAST_SAMPLES
            || self.n == 4 * LEAST_SAMPLES
            || self.n.is_multiple_of(LOOK_EVERY)
        {
            self.settled = self.slip_sd();
        }
    }

    /// The floor as of the latest look, rad/s: cheap, and the same however the log was
    /// parted into blocks.
    pub fn so_far(&self) -> Option<f64> {
        self.settled
    }

    /// Samples it is learned from.
    pub fn n_samples(&self) -> u64 {
        self.n
    }

    /// Standard deviation of one slip sample, rad/s; `None` before enough was seen.
    pub fn slip_sd(&self) -> Option<f64> {
        if self.n < LEAST_SAMPLES {
            return None;
        }
        let wanted = self.n as f64 * KEPT_SHARE;
        let (mut n, mut square) = (0.0, 0.0);
        for (&count, &sum) in self.counts.iter().zip(&self.squares) {
            let share = if count == 0 {
                0.0
            } else {
                ((wanted - n) / count as f64).clamp(0.0, 1.0)
            };
            n += share * count as f64;
            square += share * sum;
        }
        Some((square / n).sqrt() / CUT_NORMAL_RMS / 6.0_f64.sqrt())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn normal(state: &mut u64) -> f64 {
        // Sum of twelve uniform numbers less six: standard deviation 1, from memory.
        (0..12).fold(-6.0, |sum, _| {
            *state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            sum + (*state >> 11) as f64 / (1_u64 << 53) as f64
        })
    }

    #[test]
    fn finds_the_noise_under_driving_and_bursts_of_wheelspin() {
        let mut floor = NoiseFloor::default();
        let mut state = 7;
        for index in 0..20_000 {
            let time = f64::from(index) * 0.01;
            let spin = if index % 1000 < 30 {
                8.0 * (time * 40.0).sin()
            } else {
                0.0
            };
            floor.add(
                1.5 * (time * 0.7).sin() + spin + 0.03 * normal(&mut state),
                0.01,
            );
        }
        let sd = floor.slip_sd().unwrap();
        assert!((sd / 0.03 - 1.0).abs() < 0.08, "{sd}");
    }

    #[test]
    fn batched_stamps_do_not_hide_the_noise() {
        // A logger that empties its queue every 20 ms: 3 and 17 ms in turn.
        let mut floor = NoiseFloor::default();
        let mut state = 11;
        for index in 0..20_000 {
            floor.add(
                0.05 * normal(&mut state),
                if index % 2 == 0 { 0.003 } else { 0.017 },
            );
        }
        let sd = floor.slip_sd().unwrap();
        assert!((sd / 0.05 - 1.0).abs() < 0.08, "{sd}");
    }

    #[test]
    fn too_little_says_nothing_and_a_clean_signal_says_almost_zero() {
        let mut floor = NoiseFloor::default();
        for index in 0..15 {
            floor.add(f64::from(index), 0.01);
        }
        assert_eq!(floor.slip_sd(), None);
        for index in 0..500 {
            floor.add(f64::from(index) * 1e-3, 0.01);
        }
        assert!(floor.slip_sd().unwrap() < 1e-6);
    }
}
