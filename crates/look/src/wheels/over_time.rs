//! How the wheels found run over time: their mean, how the car turns, and their code at rest.

use super::Wheels;
use crate::curve::{quantile, second_means};
use crate::signal::Signal;

impl Wheels {
    /// The mean of all, on the level of the first, at every instant.
    pub fn mean(&self, signals: &[Signal]) -> Vec<f64> {
        let n = signals[self.signals[0]].curve.len();
        let mut mean = vec![0.0; n];
        for (signal, offset) in self.signals.iter().zip(&self.offsets) {
            for (sum, value) in mean.iter_mut().zip(&signals[*signal].curve) {
                *sum += (f64::from(*value) - offset) / self.signals.len() as f64;
            }
        }
        mean
    }

    /// How much one side runs ahead of the other, a second each.
    pub fn turning(&self, signals: &[Signal]) -> Vec<f64> {
        let pairs = self.signals.chunks(2).zip(self.offsets.chunks(2));
        let n = signals[self.signals[0]].curve.len();
        let mut sum = vec![0.0; n];
        for (pair, offsets) in pairs {
            let (one, other) = (&signals[pair[0]].curve, &signals[pair[1]].curve);
            for (sum, (a, b)) in sum.iter_mut().zip(one.iter().zip(other)) {
                *sum += f64::from(*a) - offsets[0] - f64::from(*b) + offsets[1];
            }
        }
        second_means(sum.into_iter())
    }
}

/// The code while all stand, and how long that was: all on one code for a second and more.
pub(super) fn at_rest(signals: &[Signal], wheels: &Wheels) -> Option<(f64, f64)> {
    let curves: Vec<&[f32]> = wheels
        .signals
        .iter()
        .map(|signal| &signals[*signal].curve[..])
        .collect();
    let step = signals[wheels.signals[0]].quality.range / 1000.0;
    let mut codes: Vec<f64> = Vec::new();
    for start in (0..curves[0].len()).step_by(20) {
        let mut lowest = f64::INFINITY;
        let mut highest = f64::NEG_INFINITY;
        for (curve, offset) in curves.iter().zip(&wheels.offsets) {
            for value in &curve[start..start + 20] {
                let value = f64::from(*value) - offset;
                if value.is_nan() {
                    highest = f64::INFINITY;
                }
                lowest = lowest.min(value);
                highest = highest.max(value);
            }
        }
        // Whoever moves at one speed for a second still has noise.
        if highest - lowest <= step.min(1.0) {
            codes.push(lowest);
        }
    }
    let code = quantile(codes.iter().copied(), 0.5);
    let n = codes
        .iter()
        .filter(|other| (**other - code).abs() < 1.5)
        .count();
    (n > 0).then_some((code, n as f64))
}
