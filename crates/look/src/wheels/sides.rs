//! What of a difference between wheels is turning, and not the slip of driven wheels.

use crate::curve::{Together, quantile};

/// Share of the speed by which the sides differ in bends that count, and how much of it there must be
/// to the other side as well.
const LEAST_TURN: f64 = 0.02;
const OTHER_WAY: f64 = 0.4;

/// Whether a difference goes both ways, and by more than the slip of driven wheels: those that spin
/// differ from the others one way alone, and wheels that only pull, by less than a hundredth.
pub(super) fn is_turning_both_ways(difference: &[f64], speed: &[f64]) -> bool {
    let share = |at: f64| {
        let shares = difference
            .iter()
            .zip(speed)
            .map(|(d, v)| d / v.abs().max(1.0));
        quantile(shares, at)
    };
    let (one, other) = (share(0.97), -share(0.03));
    let (less, more) = (one.min(other), one.max(other));
    less > LEAST_TURN && less > OTHER_WAY * more
}

/// A difference less what goes with the speed and its change: tyres of unlike size and driven wheels
/// that slip make the axles differ, turning the sides.
pub(super) fn beside_speed(mut difference: Vec<f64>, speed: &[f64]) -> Vec<f64> {
    let change: Vec<f64> = (0..speed.len())
        .map(|at| match (at.checked_sub(1), speed.get(at + 1)) {
            (Some(before), Some(after)) => after - speed[before],
            _ => f64::NAN,
        })
        .collect();
    let along_speed = |row: &[f64]| Together::of_rows(speed, row).slope();
    let slope = along_speed(&change);
    let change: Vec<f64> = change
        .iter()
        .zip(speed)
        .map(|(c, v)| c - slope * v)
        .collect();
    for row in [speed, &change] {
        let slope = Together::of_rows(row, &difference).slope();
        for (value, by) in difference.iter_mut().zip(row) {
            *value -= slope * by;
        }
    }
    difference
}
