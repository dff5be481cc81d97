//! Which stretches of the log's own clock stand in it twice.
//!
//! In: the stamps at which the clock was cut. Out: how much of the clock is passed through
//! more than once: a stretch that was copied, a drive that was given twice, or a clock that
//! was set back. Stamps that count from the logger's start say nothing of that, since every
//! log begins at zero.

use halfshaft_model::Stamp;
use halfshaft_model::constants::NS_PER_S;

/// Pieces kept; a log with more has no clock worth the name.
const MOST_PIECES: usize = 1000;

/// Stamps from here on, 2001, count from 1970.
const CALENDAR_FROM: i64 = 1_000_000_000 * NS_PER_S;

/// Stretches of the log between cuts, in its own stamps.
#[derive(Clone, Debug, Default)]
pub(crate) struct Pieces {
    known: Vec<(Stamp, Stamp)>,
}

impl Pieces {
    /// Whether no piece has begun yet.
    pub(crate) fn is_empty(&self) -> bool {
        self.known.is_empty()
    }

    /// A piece begins at a stamp.
    pub(crate) fn begin(&mut self, stamp: Stamp) {
        if self.known.len() < MOST_PIECES {
            self.known.push((stamp, stamp));
        }
    }

    /// The latest piece reaches to a stamp.
    #[inline]
    pub(crate) fn reach(&mut self, stamp: Stamp) {
        if let Some((_, end)) = self.known.last_mut() {
            *end = stamp.max(*end);
        }
    }

    /// How much of the clock is passed through more than once, ns.
    pub(crate) fn twice_ns(&self) -> i64 {
        let mut pieces: Vec<(i64, i64)> = self
            .known
            .iter()
            .map(|(start, end)| (start.0, end.0))
            .filter(|(start, _)| *start >= CALENDAR_FROM)
            .collect();
        pieces.sort_unstable();
        let (mut reached, mut twice_ns) = (i64::MIN, 0);
        for (start, end) in pieces {
            twice_ns += reached.min(end).saturating_sub(start).max(0);
            reached = reached.max(end);
        }
        twice_ns
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn twice_s(pieces: &[(f64, f64)]) -> f64 {
        let mut all = Pieces::default();
        for (start, end) in pieces {
            all.begin(Stamp::from_seconds(*start));
            all.reach(Stamp::from_seconds(*end));
        }
        all.twice_ns() as f64 / 1e9
    }

    #[test]
    fn what_stands_twice() {
        let day = 1.7e9;
        let from = |pieces: &[(f64, f64)]| {
            let moved: Vec<(f64, f64)> = pieces
                .iter()
                .map(|(start, end)| (day + start, day + end))
                .collect();
            twice_s(&moved).round()
        };
        assert_eq!(from(&[(0.0, 300.0), (228.0, 600.0)]), 72.0);
        assert_eq!(from(&[(0.0, 600.0), (0.0, 600.0), (100.0, 200.0)]), 700.0);
        assert_eq!(from(&[(0.0, 300.0), (400.0, 600.0)]), 0.0);
        // Two logs of a logger without a clock.
        assert_eq!(twice_s(&[(0.0, 300.0), (0.0, 300.0)]), 0.0);
    }
}
