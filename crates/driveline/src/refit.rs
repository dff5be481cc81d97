//! Keeps what is costly to work out until a good deal more of the drive has been seen.
//!
//! Results may be asked for many times a second while a drive goes on. What is worked out
//! from the whole of it would then be worked out each time, for nearly the same answer.

/// It is worked out again when the drive is longer by this share, or by so many seconds,
/// whichever comes first. Source: none, engineering guess: nobody acts on a fit of half an hour
/// that is a minute old.
const AGAIN_FROM: (f64, f64) = (0.1, 60.0);

/// An answer, how much of the drive it rests on, and what else it depends on.
#[derive(Clone, Debug)]
pub struct Refit<K, T> {
    kept: Option<(f64, K, T)>,
}

impl<K, T> Default for Refit<K, T> {
    fn default() -> Refit<K, T> {
        Refit { kept: None }
    }
}

impl<K: PartialEq, T> Refit<K, T> {
    /// The answer after so many seconds of drive: the one that is kept if it is of the same
    /// key and not too old, else a new one. The key says what makes another answer at once,
    /// the end of the drive above all.
    pub fn get(&mut self, seconds: f64, key: K, answer: impl FnOnce() -> T) -> &T {
        self.get_within(AGAIN_FROM.1, seconds, key, answer)
    }

    /// The same where an answer grows old sooner, s.
    pub fn get_within(
        &mut self,
        longest_s: f64,
        seconds: f64,
        key: K,
        answer: impl FnOnce() -> T,
    ) -> &T {
        let (share, _) = AGAIN_FROM;
        let kept = self.kept.take().filter(|(since_s, of, _)| {
            let more_s = seconds - since_s;
            *of == key && more_s < longest_s && more_s <= share * since_s
        });
        let (.., answer) = self
            .kept
            .insert(kept.unwrap_or_else(|| (seconds, key, answer())));
        answer
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Which of the times, in tenths of seconds, it was worked out at.
    #[track_caller]
    fn check(times: impl IntoIterator<Item = u32>, wanted: &[u32]) {
        let mut refit = Refit::default();
        let mut worked_out = Vec::new();
        for time in times {
            let answer = *refit.get(f64::from(time) / 10.0, (), || {
                worked_out.push(time);
                time
            });
            assert_eq!(Some(&answer), worked_out.last());
        }
        assert_eq!(worked_out, wanted);
    }

    #[test]
    fn a_tenth_more_or_a_minute_more_is_enough() {
        check(1000..1120, &[1000, 1101]);
        check(
            (0..2400).step_by(10).map(|more| 100_000 + more),
            &[100_000, 100_600, 101_200, 101_800],
        );
        check([0, 0, 0], &[0]);
    }

    #[test]
    fn another_key_is_another_answer_at_once() {
        let mut refit = Refit::default();
        assert_eq!(*refit.get(100.0, false, || 1), 1);
        assert_eq!(*refit.get(100.0, false, || 2), 1);
        assert_eq!(*refit.get(100.0, true, || 3), 3);
        assert_eq!(*refit.get(100.0, true, || 4), 3);
    }
}
