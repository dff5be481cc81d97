//! Rainflow counting after ASTM E1049-85, section 5.4.4.
//!
//! In: turning points, one by one. Out: closed cycles and half cycles. This is the
//! three-point count of the standard, which counts a range that holds the starting point
//! as half a cycle, and what never closes as half cycles at the end. The four-point count
//! differs by design: it leaves the half cycles in a residue. So the method is named
//! wherever its numbers stand ([`METHOD`]).

/// The name of the method, for pages and tables.
pub const METHOD: &str =
    "rainflow after ASTM E1049-85, section 5.4.4: three points, what never closes as half cycles";

/// A range gone through: its two ends, and whether there and back.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Swing {
    /// Where it began.
    pub from: i64,
    /// Where it turned.
    pub to: i64,
    /// Gone through there and back: one cycle, else half of one.
    pub is_closed: bool,
}

/// Counts by three points.
///
/// Invariant: each range between neighbours on the stack is smaller than the one before
/// it. Ranges are whole levels, so the stack is never longer than there are levels.
#[derive(Clone, Debug, Default)]
pub struct Rainflow {
    stack: Vec<i64>,
}

impl Rainflow {
    /// Takes a turning point and hands every range that it settles to `count`.
    pub fn add(&mut self, point: i64, mut count: impl FnMut(Swing)) {
        self.stack.push(point);
        while let [.., before, from, to] = *self.stack.as_slice() {
            let (latest, earlier) = ((to - from).abs(), (from - before).abs());
            if latest < earlier {
                return;
            }
            let holds_the_start = self.stack.len() == 3;
            count(Swing {
                from: before,
                to: from,
                is_closed: !holds_the_start,
            });
            if holds_the_start {
                self.stack.remove(0);
            } else {
                // The last point stays; peak and valley of the closed range go.
                self.stack.truncate(self.stack.len() - 3);
                self.stack.push(to);
            }
        }
    }

    /// What would be counted as half cycles if the course ended here.
    pub fn open(&self) -> impl Iterator<Item = Swing> {
        self.stack.windows(2).map(|ends| Swing {
            from: ends[0],
            to: ends[1],
            is_closed: false,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    // Source: ASTM E1049-85, section 5.4.4, the example of the rainflow count.
    const STANDARD: [i64; 9] = [-2, 1, -3, 5, -1, 3, -4, 4, -2];

    fn count(points: &[i64]) -> (Vec<Swing>, usize) {
        let mut swings = Vec::new();
        let mut rainflow = Rainflow::default();
        let mut longest = 0;
        for point in points {
            rainflow.add(*point, |swing| swings.push(swing));
            longest = longest.max(rainflow.stack.len());
        }
        swings.extend(rainflow.open());
        (swings, longest)
    }

    #[test]
    fn example_of_the_standard() {
        let told: Vec<(i64, i64, f64)> = count(&STANDARD)
            .0
            .iter()
            .map(|swing| {
                (
                    swing.from,
                    swing.to,
                    if swing.is_closed { 1.0 } else { 0.5 },
                )
            })
            .collect();
        // The standard's letters in order: AB, BC, EF as one cycle, CD, DG, GH, HI.
        let wanted = [
            (-2, 1, 0.5),
            (1, -3, 0.5),
            (-1, 3, 1.0),
            (-3, 5, 0.5),
            (5, -4, 0.5),
            (-4, 4, 0.5),
            (4, -2, 0.5),
        ];
        assert_eq!(told, wanted);
    }

    /// The four-point count: a range closes when it lies within both its neighbours.
    fn four_points(points: &[i64]) -> (Vec<i64>, Vec<i64>) {
        let (mut closed, mut stack) = (Vec::new(), Vec::new());
        for point in points {
            stack.push(*point);
            while let [.., a, b, c, d] = *stack.as_slice() {
                let inner: i64 = i64::abs(c - b);
                if inner > (b - a).abs() || inner > (d - c).abs() {
                    break;
                }
                closed.push(inner);
                stack.truncate(stack.len() - 3);
                stack.push(d);
            }
        }
        (closed, stack)
    }

    #[test]
    fn four_point_count_differs_by_design() {
        // Derived: one cycle of 4, the rest stays in the residue. The three-point count
        // closes the same one and has six half cycles where the residue has six ranges.
        let (closed, residue) = four_points(&STANDARD);
        assert_eq!(closed, [4]);
        assert_eq!(residue, [-2, 1, -3, 5, -4, 4, -2]);
        let (swings, _) = count(&STANDARD);
        assert_eq!(swings.iter().filter(|swing| swing.is_closed).count(), 1);
        assert_eq!(swings.iter().filter(|swing| !swing.is_closed).count(), 6);
    }

    #[test]
    fn equal_ranges_do_not_pile_up() {
        // A range that is as large as the one before closes it, so a steady swing needs
        // no more than the latest two points.
        let swing: Vec<i64> = (0..10_000).map(|index| 5 * (index % 2)).collect();
        let (swings, longest) = count(&swing);
        assert_eq!((swings.len(), longest), (9_999, 2));
    }

    proptest! {
        #[test]
        fn every_range_is_counted_once_and_the_stack_stays_short(
            steps in prop::collection::vec(1_i64..60, 2..400),
        ) {
            // Alternating up and down, kept between 0 and 60.
            let mut points = vec![30];
            for (index, step) in steps.iter().enumerate() {
                let latest = points[index];
                let room = if index % 2 == 0 { 61 - latest } else { latest + 1 };
                let step = 1 + step % room.max(1);
                points.push(if index % 2 == 0 { latest + step } else { latest - step });
            }
            let (swings, longest) = count(&points);
            // A cycle takes two ranges off the course, half a cycle one.
            let halves: usize = swings.iter().map(|swing| if swing.is_closed { 2 } else { 1 }).sum();
            prop_assert_eq!(halves, points.len() - 1);
            // Ranges on the stack fall by a level each, and the point before they are compared.
            prop_assert!(longest <= 64 + 2, "{}", longest);
            // Lowest to highest is always counted: no larger range can swallow it.
            let span = points.iter().max().unwrap() - points.iter().min().unwrap();
            let largest = swings.iter().map(|swing| (swing.to - swing.from).abs()).max();
            prop_assert_eq!(largest, Some(span));
        }
    }
}
