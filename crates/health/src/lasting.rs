//! A condition that holds for a while: since when, until when, how long in all, and what is
//! gathered meanwhile.
//!
//! In: the moments in which it holds. Out: a [`Stretch`] when it ends. When that is, the caller
//! decides: at a gap, on release, or after a break.

use halfshaft_model::Time;

/// A stretch in which a condition held.
#[derive(Clone, Copy, Debug)]
pub struct Stretch<T> {
    /// The first moment.
    pub start: Time,
    /// The latest moment.
    pub latest: Time,
    /// Seconds that counted.
    pub seconds: f64,
    /// What was gathered.
    pub gathered: T,
}

impl<T> Stretch<T> {
    /// From the first moment to the latest, s.
    pub fn length_s(&self) -> f64 {
        self.latest.since(self.start)
    }

    /// Mean of a sum of values times seconds.
    pub fn mean(&self, sum: f64) -> f64 {
        sum / self.seconds
    }
}

/// A condition that may be holding.
#[derive(Clone, Copy, Debug)]
pub struct Lasting<T>(Option<Stretch<T>>);

impl<T> Default for Lasting<T> {
    fn default() -> Lasting<T> {
        Lasting(None)
    }
}

impl<T> Lasting<T> {
    /// It holds now, for some seconds more; where it begins, so does what is gathered.
    pub fn hold(&mut self, now: Time, seconds: f64, begin: impl FnOnce() -> T) -> &mut Stretch<T> {
        let stretch = self.0.get_or_insert_with(|| Stretch {
            start: now,
            latest: now,
            seconds: 0.0,
            gathered: begin(),
        });
        stretch.latest = now;
        stretch.seconds += seconds;
        stretch
    }

    /// The stretch that goes on.
    pub fn going_on(&self) -> Option<&Stretch<T>> {
        self.0.as_ref()
    }

    /// The stretch that goes on, to gather more.
    pub fn going_on_mut(&mut self) -> Option<&mut Stretch<T>> {
        self.0.as_mut()
    }

    /// Whether it goes on and has not held for longer than a break may be.
    pub fn is_over(&self, now: Time, break_s: f64) -> bool {
        self.going_on()
            .is_some_and(|stretch| now.since(stretch.latest) > break_s)
    }

    /// It holds no longer.
    pub fn end(&mut self) -> Option<Stretch<T>> {
        self.0.take()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_break_parts_only_when_it_is_too_long() {
        let mut lasting = Lasting::default();
        for (at_s, value) in [(1.0, 3.0), (1.5, 5.0), (3.0, 4.0)] {
            let now = Time::from_seconds(at_s);
            assert!(!lasting.is_over(now, 1.5), "{at_s}");
            let stretch = lasting.hold(now, 0.5, || 0.0);
            stretch.gathered += 0.5 * value;
        }
        assert!(lasting.is_over(Time::from_seconds(4.6), 1.5));
        let stretch = lasting.end().expect("it went on");
        assert_eq!((stretch.length_s(), stretch.seconds), (2.0, 1.5));
        assert_eq!(stretch.mean(stretch.gathered), 4.0);
        assert!(lasting.end().is_none() && !lasting.is_over(Time::from_seconds(9.0), 1.5));
    }
}
