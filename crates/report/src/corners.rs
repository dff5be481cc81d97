//! Corners of one number brought together over the laps.

use halfshaft_health::{Corner, Laps};

/// One corner of the circuit, or one bend of a drive without laps.
#[derive(Clone, Debug, PartialEq)]
pub struct Bend<'a> {
    /// Its number.
    pub number: u32,
    /// Each time it was driven.
    pub times: Vec<&'a Corner>,
}

impl Bend<'_> {
    /// Heat per degree turned of each time, J/deg.
    pub fn heat_per_degree(&self) -> Vec<f64> {
        self.times
            .iter()
            .filter_map(|corner| heat_per_degree(corner))
            .collect()
    }

    /// Mean of what `of` gives, over the times it gives anything.
    pub fn mean(&self, of: impl Fn(&Corner) -> Option<f64>) -> Option<f64> {
        let values: Vec<f64> = self
            .times
            .iter()
            .filter_map(|corner| of(corner))
            .filter(|value| value.is_finite())
            .collect();
        (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
    }
}

/// Heat per degree turned, J/deg; `None` when torque is unknown or it hardly bent.
pub fn heat_per_degree(corner: &Corner) -> Option<f64> {
    let heat = corner.heat_kj? * 1e3 / corner.turned_deg.abs();
    heat.is_finite().then_some(heat)
}

/// Corners of laps by number, in order of the lap; without laps each bend for itself.
pub fn bends(laps: &Laps) -> Vec<Bend<'_>> {
    let is_circuit = !laps.laps.is_empty();
    let mut bends: Vec<Bend> = Vec::new();
    for corner in &laps.corners {
        if is_circuit && corner.lap.is_none() {
            continue;
        }
        let known = bends
            .iter_mut()
            .find(|bend| is_circuit && bend.number == corner.number);
        match known {
            Some(bend) => bend.times.push(corner),
            None => bends.push(Bend {
                number: corner.number,
                times: vec![corner],
            }),
        }
    }
    if is_circuit {
        bends.sort_by_key(|bend| bend.number);
    }
    bends
}
