//! Which samples are peaks and valleys.
//!
//! In: levels, whole numbers. Out: turning points, each one once the course has gone back
//! from it by the hysteresis. Swings smaller than that are refused: they are noise, and
//! rainflow would count them as the smallest cycles and nothing else.

/// Where the course is heading.
#[derive(Clone, Copy, Debug)]
enum Heading {
    /// Nothing seen.
    Nowhere,
    /// Still within the hysteresis of the start: lowest and highest.
    Within(i64, i64),
    /// Upwards, with the highest level so far.
    Up(i64),
    /// Downwards, with the lowest.
    Down(i64),
}

/// Picks turning points.
#[derive(Clone, Debug)]
pub struct TurningPoints {
    hysteresis: i64,
    heading: Heading,
}

impl TurningPoints {
    /// Nothing seen yet. The hysteresis is at least one level.
    pub fn new(hysteresis: i64) -> TurningPoints {
        TurningPoints {
            hysteresis: hysteresis.max(1),
            heading: Heading::Nowhere,
        }
    }

    /// Takes a sample; gives the turning point that it settles.
    pub fn add(&mut self, level: i64) -> Option<i64> {
        let least = self.hysteresis;
        let (heading, settled) = match self.heading {
            Heading::Nowhere => (Heading::Within(level, level), None),
            Heading::Within(low, _) if level - low >= least => (Heading::Up(level), Some(low)),
            Heading::Within(_, high) if high - level >= least => (Heading::Down(level), Some(high)),
            Heading::Within(low, high) => (Heading::Within(low.min(level), high.max(level)), None),
            Heading::Up(peak) if peak - level >= least => (Heading::Down(level), Some(peak)),
            Heading::Up(peak) => (Heading::Up(peak.max(level)), None),
            Heading::Down(valley) if level - valley >= least => (Heading::Up(level), Some(valley)),
            Heading::Down(valley) => (Heading::Down(valley.min(level)), None),
        };
        self.heading = heading;
        settled
    }

    /// The point the course stands to turn at: the last one, if it ended here.
    pub fn last(&self) -> Option<i64> {
        match self.heading {
            Heading::Nowhere | Heading::Within(..) => None,
            Heading::Up(level) | Heading::Down(level) => Some(level),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(hysteresis: i64, levels: &[i64], wanted: &[i64]) {
        let mut points = TurningPoints::new(hysteresis);
        let mut found: Vec<i64> = levels
            .iter()
            .filter_map(|level| points.add(*level))
            .collect();
        found.extend(points.last());
        assert_eq!(found, wanted, "{levels:?} with {hysteresis}");
    }

    #[test]
    fn peaks_and_valleys() {
        check(1, &[0, 1, 1, 3, 2, 2, 5, 5, 4], &[0, 3, 2, 5, 4]);
        check(1, &[7, 7, 7], &[]);
        check(1, &[], &[]);
        // A swing of 1 is no turning point for a hysteresis of 2; the course goes on.
        check(2, &[0, 1, 1, 3, 2, 2, 5, 5, 4], &[0, 5]);
        // What happens within the hysteresis of the start moves the start, not more.
        check(3, &[0, 2, -1, 1, 2, 0], &[2, -1, 2]);
        check(3, &[0, 2, 0, -5], &[2, -5]);
    }
}
