//! Whether a value can have changed as fast as it did.
//!
//! In: the believable values of one signal with their times. Out: whether each is to be
//! used. One wild value is refused and the next is measured against the last believed
//! one; three in a row that agree with each other are believed in its place, so that a
//! bad start cannot shut a good signal out for ever.

use halfshaft_model::Time;

/// Samples in a row that must agree before the signal is believed again.
/// Source: none, engineering guess; more delays recovery by a sample each.
const AGREEING: u32 = 3;

/// The rate limit of one signal.
#[derive(Clone, Debug)]
pub(crate) struct Gate {
    rate_per_s: f64,
    // One step of the number on the bus is never "too fast": a slow signal moves in steps.
    step: f64,
    believed: Option<(Time, f64)>,
    refused: Option<(Time, f64, u32)>,
}

impl Gate {
    pub(crate) fn new(rate_per_s: f64, step: f64) -> Gate {
        let step = if step.is_finite() { step.abs() } else { 0.0 };
        Gate {
            rate_per_s: rate_per_s.abs(),
            step,
            believed: None,
            refused: None,
        }
    }

    /// Forgets what was: nothing is compared across a cut.
    pub(crate) fn cut(&mut self) {
        self.believed = None;
        self.refused = None;
    }

    /// The signal was missing: samples before and after it are not "in a row".
    pub(crate) fn miss(&mut self) {
        self.refused = None;
    }

    /// Whether to use this value.
    pub(crate) fn admits(&mut self, time: Time, value: f64) -> bool {
        let follows = |(earlier, from): (Time, f64)| {
            (value - from).abs() <= self.rate_per_s * time.since(earlier).max(0.0) + self.step
        };
        if self.believed.is_none_or(follows) {
            self.believed = Some((time, value));
            self.refused = None;
            return true;
        }
        let n_agreeing = match self.refused {
            Some((earlier, from, n)) if follows((earlier, from)) => n + 1,
            _ => 1,
        };
        if n_agreeing >= AGREEING {
            self.believed = Some((time, value));
            self.refused = None;
            return true;
        }
        self.refused = Some((time, value, n_agreeing));
        false
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Values 0.1 s apart, 5 per second allowed, steps of 0; `x` is a missing sample.
    #[track_caller]
    fn check(step: f64, values: &str, want: &str) {
        let mut gate = Gate::new(5.0, step);
        let mut got = String::new();
        for (n, word) in values.split(' ').enumerate() {
            let admitted = match word.parse() {
                Ok(value) => gate.admits(Time::from_seconds(n as f64 * 0.1), value),
                Err(_) => {
                    gate.miss();
                    false
                }
            };
            got.push(if admitted { '+' } else { '-' });
        }
        assert_eq!(got, want, "{values}");
    }

    #[test]
    fn one_wild_value_is_refused_and_the_next_is_believed() {
        check(0.0, "1 1.4 90 1.8 2.2", "++-++");
        check(0.0, "1 1 90 95 1", "++--+");
    }

    #[test]
    fn a_bad_start_does_not_block_for_ever() {
        check(0.0, "250 20 20.1 20.2 20.3", "+--++");
        // A missing sample breaks the row.
        check(0.0, "250 20 20.1 x 20.2 20.3 20.4", "+-----+");
    }

    #[test]
    fn one_step_of_the_number_is_never_too_fast() {
        check(1.0, "20 21 22 21", "++++");
        check(0.0, "20 21 20 20", "+-++");
    }
}
