//! Medians.
//!
//! In: values in any order. Out: the middle one. Two rules, and they are not mixed: of an even
//! number the one gives the mean of both in the middle, the other a value that was there.

/// Median of the values; they are put in order.
pub fn median(values: &mut [f64]) -> Option<f64> {
    if values.is_empty() {
        return None;
    }
    values.sort_by(f64::total_cmp);
    let n = values.len();
    Some(0.5 * (values[(n - 1) / 2] + values[n / 2]))
}

/// Median of the values, the upper of the two in the middle of an even number; `None` of none.
pub fn upper_median(values: impl Iterator<Item = f64>) -> Option<f64> {
    let mut values: Vec<f64> = values.collect();
    if values.is_empty() {
        return None;
    }
    let middle = values.len() / 2;
    let (_, median, _) = values.select_nth_unstable_by(middle, f64::total_cmp);
    Some(*median)
}
