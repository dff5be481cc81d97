//! Tables of one or two inputs, linear between their points.
//!
//! In: points as the user wrote them, in SI. Out: a value, or `None` beyond the ends of
//! a table that refuses to guess there.

/// What a table says beyond its ends.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Beyond {
    /// The value of the nearest end.
    Hold,
    /// No value.
    Refuse,
}

/// A table.
///
/// Invariant: each axis has at least one point and rises strictly; there are as many
/// values as points; all numbers are finite.
#[derive(Clone, Debug, PartialEq)]
pub struct Table {
    x: Vec<f64>,
    // A one-input table has a single row and an empty `y`.
    y: Vec<f64>,
    // Row by row: the value at (x[i], y[j]) is `values[j * x.len() + i]`.
    values: Vec<f64>,
    beyond: Beyond,
}

impl Table {
    /// A table of one input; `None` when the invariant does not hold.
    pub fn one(x: Vec<f64>, values: Vec<f64>, beyond: Beyond) -> Option<Table> {
        Table {
            x,
            y: Vec::new(),
            values,
            beyond,
        }
        .checked()
    }

    /// A table of two inputs, `values` row by row, one row per `y`.
    pub fn two(x: Vec<f64>, y: Vec<f64>, values: Vec<f64>, beyond: Beyond) -> Option<Table> {
        if y.is_empty() {
            return None;
        }
        Table {
            x,
            y,
            values,
            beyond,
        }
        .checked()
    }

    fn checked(self) -> Option<Table> {
        let rises = |axis: &[f64]| axis.windows(2).all(|pair| pair[0] < pair[1]);
        let finite = |numbers: &[f64]| numbers.iter().all(|number| number.is_finite());
        let n = self.x.len() * self.y.len().max(1);
        let holds = !self.x.is_empty()
            && self.values.len() == n
            && rises(&self.x)
            && rises(&self.y)
            && finite(&self.x)
            && finite(&self.y)
            && finite(&self.values);
        holds.then_some(self)
    }

    /// The highest value it holds.
    pub fn highest(&self) -> f64 {
        self.values
            .iter()
            .copied()
            .fold(f64::NEG_INFINITY, f64::max)
    }

    /// Points of the first axis.
    pub fn inputs(&self) -> &[f64] {
        &self.x
    }

    /// First and last point of the first axis.
    pub fn x_range(&self) -> (f64, f64) {
        (self.x[0], self.x[self.x.len() - 1])
    }

    /// The value at `x` (and `y`, for a table of two inputs).
    ///
    /// `None` beyond the ends of a refusing table, for inputs that are not finite, and
    /// when `y` is missing where it is needed.
    pub fn at(&self, x: f64, y: Option<f64>) -> Option<f64> {
        let (i, fx) = self.locate(&self.x, x)?;
        let along = |row: usize| {
            let start = row * self.x.len();
            let low = self.values[start + i];
            let high = self.values[start + (i + 1).min(self.x.len() - 1)];
            low + fx * (high - low)
        };
        if self.y.is_empty() {
            return Some(along(0));
        }
        let (j, fy) = self.locate(&self.y, y?)?;
        let low = along(j);
        let high = along((j + 1).min(self.y.len() - 1));
        Some(low + fy * (high - low))
    }

    fn locate(&self, axis: &[f64], at: f64) -> Option<(usize, f64)> {
        if !at.is_finite() {
            return None;
        }
        let last = axis.len() - 1;
        if at < axis[0] || at > axis[last] {
            return match self.beyond {
                Beyond::Refuse => None,
                Beyond::Hold if at < axis[0] => Some((0, 0.0)),
                Beyond::Hold => Some((last, 0.0)),
            };
        }
        // Tables are short: to count all points is quicker than to search them.
        let n_up_to: usize = axis.iter().map(|&point| usize::from(point <= at)).sum();
        let i = n_up_to.saturating_sub(1).min(last.saturating_sub(1));
        if i == last {
            return Some((last, 0.0));
        }
        Some((i, (at - axis[i]) / (axis[i + 1] - axis[i])))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn linear_between_points_and_by_rule_beyond() {
        let points = (vec![0.0, 0.2, 0.6, 1.0], vec![60.0, 180.0, 620.0, 1100.0]);
        let hold = Table::one(points.0.clone(), points.1.clone(), Beyond::Hold).unwrap();
        // 0.4 is half way from 180 to 620.
        assert_eq!(
            hold.at(0.4, None).map(|t| (t * 1e9).round() / 1e9),
            Some(400.0)
        );
        assert_eq!(hold.at(0.2, None), Some(180.0));
        assert_eq!(hold.at(-1.0, None), Some(60.0));
        assert_eq!(hold.at(1.0, None), Some(1100.0));
        assert_eq!(hold.at(9.0, None), Some(1100.0));
        assert_eq!(hold.at(f64::NAN, None), None);
        let refuse = Table::one(points.0, points.1, Beyond::Refuse).unwrap();
        assert_eq!(refuse.at(-0.1, None), None);
        assert_eq!(refuse.at(0.0, None), Some(60.0));
        let single = Table::one(vec![1.0], vec![5.0], Beyond::Hold).unwrap();
        assert_eq!(single.at(1.0, None), Some(5.0));
        assert_eq!(single.at(2.0, None), Some(5.0));
    }

    #[test]
    fn two_inputs_are_bilinear() {
        let table = Table::two(
            vec![0.0, 1.0],
            vec![0.0, 100.0],
            vec![0.0, 10.0, 20.0, 50.0],
            Beyond::Hold,
        )
        .unwrap();
        // Middle of all four corners: (0 + 10 + 20 + 50) / 4.
        assert_eq!(table.at(0.5, Some(50.0)), Some(20.0));
        assert_eq!(table.at(1.0, Some(200.0)), Some(50.0));
        assert_eq!(table.at(0.5, None), None);
    }

    #[test]
    fn an_axis_that_does_not_rise_is_no_table() {
        assert_eq!(
            Table::one(vec![0.0, 0.0], vec![1.0, 2.0], Beyond::Hold),
            None
        );
        assert_eq!(Table::one(vec![], vec![], Beyond::Hold), None);
        assert_eq!(Table::one(vec![0.0], vec![f64::NAN], Beyond::Hold), None);
    }
}
