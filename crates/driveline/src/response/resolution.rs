//! Which delays between two sampled signals may be stated.
//!
//! In: the sample periods of cause and answer, and times measured. Out: bias and spread that
//! the sampling alone brings, and whether a time may be stated from one event, from many, or
//! only as "below". It refuses single times that the periods are too long for.

/// A single time may be stated when the sampling's standard deviation is below this share
/// of it. Source: common practice, no source; a quarter still parts tenths from seconds.
pub const SINGLE_SHARE: f64 = 0.25;

/// Events from which a median may be pooled. Source: common practice, no source.
pub const POOLED_FROM: usize = 20;

/// Mean length of the phase arrows below which sampling counts as unsynchronised: 0 for
/// phases spread evenly, 1 for one and the same. Source: none, engineering guess; 20 phases
/// of chance stay below it in 99 of 100 cases (e^(−20·0.5²), Rayleigh test, from memory).
pub const LOCKED_FROM: f64 = 0.5;

/// Sample periods of two signals.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Resolution {
    /// Period of the cause, Ta, s.
    pub cause_period_s: f64,
    /// Period of the answer, Tb, s.
    pub answer_period_s: f64,
}

impl Resolution {
    /// Standard deviation of one delay, s: √((Ta² + Tb²)/12). Derived: two waits, each even
    /// over its period. 100 ms both: 41 ms.
    pub fn delay_sd_s(self) -> f64 {
        self.cause_period_s.hypot(self.answer_period_s) / 12.0_f64.sqrt()
    }

    /// The shortest time may be stated from a single event, s.
    pub fn shortest_single_s(self) -> f64 {
        self.delay_sd_s() / SINGLE_SHARE
    }

    /// Whether a time may be stated from a single event.
    pub fn resolves(self, time_s: f64) -> bool {
        self.delay_sd_s() < SINGLE_SHARE * time_s
    }

    /// The period that limits, s: the longer one.
    pub fn deciding_period_s(self) -> f64 {
        self.cause_period_s.max(self.answer_period_s)
    }
}

/// How far phases, as shares of a turn, agree: the length of the mean of their arrows, 0 to
/// 1; `None` without any.
pub fn phase_agreement(phases: impl Iterator<Item = f64>) -> Option<f64> {
    let (mut n, mut east, mut north) = (0_u32, 0.0, 0.0);
    for phase in phases {
        let (sine, cosine) = (phase * std::f64::consts::TAU).sin_cos();
        east += cosine;
        north += sine;
        n += 1;
    }
    (n > 0).then(|| f64::hypot(east, north) / f64::from(n))
}

/// Median and spread of times or other values, in their own unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spread {
    /// Events.
    pub n_events: usize,
    /// Median.
    pub median: f64,
    /// Tenth and ninetieth percentile, interpolated.
    pub p10: f64,
    /// See `p10`.
    pub p90: f64,
    /// Standard deviation over mean; `None` below two events.
    pub variation: Option<f64>,
}

/// Median and spread of values; `None` without any.
pub fn spread(values: &[f64]) -> Option<Spread> {
    let mut sorted: Vec<f64> = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let n = sorted.len();
    let last = n.checked_sub(1)?;
    let quantile = |share: f64| {
        let place = share * last as f64;
        let below = place as usize;
        let above = (below + 1).min(last);
        sorted[below] + (place - below as f64) * (sorted[above] - sorted[below])
    };
    let mean = sorted.iter().sum::<f64>() / n as f64;
    let squares: f64 = sorted.iter().map(|value| (value - mean).powi(2)).sum();
    Some(Spread {
        n_events: n,
        median: quantile(0.5),
        p10: quantile(0.1),
        p90: quantile(0.9),
        variation: (n >= 2 && mean > 0.0).then(|| (squares / last as f64).sqrt() / mean),
    })
}

/// What may be stated of a time measured in several events.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum StatedTime {
    /// Each event gives its time.
    Singly(Spread),
    /// One event is too coarse, the median of many is not; the sampling's share of the spread
    /// is `sampling_sd_s`.
    Pooled {
        /// Median and spread.
        spread: Spread,
        /// Standard deviation that sampling alone gives one event, s.
        sampling_sd_s: f64,
    },
    /// The sample periods hide it: it is below this, s.
    BelowResolution {
        /// The shortest time they resolve, s.
        below_s: f64,
    },
    /// There was no event.
    NoEvent,
}

/// Judges what may be stated. With `is_unsynchronised` the samples fall anywhere against the
/// events, so that many events average the sampling out.
pub fn stated_time(times_s: &[f64], resolution: Resolution, is_unsynchronised: bool) -> StatedTime {
    let Some(spread) = spread(times_s) else {
        return StatedTime::NoEvent;
    };
    if resolution.resolves(spread.median) {
        return StatedTime::Singly(spread);
    }
    if spread.n_events >= POOLED_FROM && is_unsynchronised {
        return StatedTime::Pooled {
            spread,
            sampling_sd_s: resolution.delay_sd_s(),
        };
    }
    StatedTime::BelowResolution {
        below_s: resolution.shortest_single_s(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::response::testing::Chance;

    fn both(period_s: f64) -> Resolution {
        Resolution {
            cause_period_s: period_s,
            answer_period_s: period_s,
        }
    }

    #[track_caller]
    fn near(got: f64, wanted: f64, tolerance: f64) {
        assert!((got - wanted).abs() <= tolerance, "{got} is not {wanted}");
    }

    #[test]
    fn spread_and_bias_of_sampling() {
        // Derived: 100 ms both: 41 ms; 1 s both: 0.41 s.
        near(both(0.1).delay_sd_s(), 0.0408, 5e-5);
        near(both(1.0).delay_sd_s(), 0.41, 0.002);
        let uneven = Resolution {
            cause_period_s: 0.02,
            answer_period_s: 0.1,
        };
        // From first new sample to first new sample, by chance, for both.
        let mut chance = Chance(3);
        for resolution in [both(0.1), uneven] {
            let delays: Vec<f64> = (0..20_000)
                .map(|_| {
                    let cause_wait = resolution.cause_period_s * chance.even();
                    let answer_wait = resolution.answer_period_s * chance.even();
                    0.18 + answer_wait - cause_wait
                })
                .collect();
            let n = delays.len() as f64;
            let mean = delays.iter().sum::<f64>() / n;
            let squares: f64 = delays.iter().map(|delay| (delay - mean).powi(2)).sum();
            // Each first sample waits half its period.
            let bias_s = 0.5 * (resolution.answer_period_s - resolution.cause_period_s);
            near(mean - 0.18, bias_s, 1e-3);
            near((squares / n).sqrt(), resolution.delay_sd_s(), 1e-3);
        }
    }

    #[test]
    fn the_period_must_be_short_against_the_time() {
        // Derived: both at P: P < 0.6 of the time; 0.5 s needs 3.3 Hz, 100 ms 17 Hz, 40 ms 41 Hz.
        for (time_s, rate) in [(0.5, 3.3), (0.1, 17.0), (0.04, 41.0)] {
            assert!(both(1.0 / rate).resolves(time_s), "{time_s}");
            assert!(!both(1.0 / (0.95 * rate)).resolves(time_s), "{time_s}");
        }
    }

    #[test]
    fn stated_singly_pooled_or_not() {
        let times = |n: usize| vec![0.18; n];
        assert!(matches!(
            stated_time(&times(1), both(0.05), false),
            StatedTime::Singly(_)
        ));
        assert!(matches!(
            stated_time(&times(20), both(0.2), true),
            StatedTime::Pooled { sampling_sd_s, .. } if (sampling_sd_s - 0.0816).abs() < 1e-4
        ));
        for (n, is_unsynchronised) in [(19, true), (20, false)] {
            assert!(matches!(
                stated_time(&times(n), both(0.2), is_unsynchronised),
                StatedTime::BelowResolution { below_s } if (below_s - 0.3266).abs() < 1e-4
            ));
        }
        assert_eq!(stated_time(&[], both(0.2), true), StatedTime::NoEvent);
    }

    #[test]
    fn spreads_and_phases() {
        let got = spread(&[5.0, 1.0, 3.0, 2.0, 4.0]).unwrap();
        assert_eq!((got.median, got.p10, got.p90), (3.0, 1.4, 4.6));
        near(got.variation.unwrap(), 2.5_f64.sqrt() / 3.0, 1e-12);
        near(
            phase_agreement([0.2, 1.2, 0.2].into_iter()).unwrap(),
            1.0,
            1e-12,
        );
        near(
            phase_agreement([0.0, 0.25, 0.5, 0.75].into_iter()).unwrap(),
            0.0,
            1e-12,
        );
        assert_eq!(phase_agreement([].into_iter()), None);
    }
}
