//! The two-dimensional picture: how long and how hot at which torque and slip.
//!
//! In: rows. Out: seconds and joules by cell. The edges rise in steps that a lining
//! engineer reads: torque evenly, slip by factors.

use halfshaft_driveline::{HeatByFloor, Row};

use crate::result::DutyPicture;

/// Upper edges of the torque cells, N·m. Source: none, a sensible division.
const TORQUE_EDGES: [f64; 11] = [
    50.0, 100.0, 150.0, 200.0, 300.0, 400.0, 600.0, 800.0, 1000.0, 1250.0, 1500.0,
];

/// Upper edges of the slip cells, rad/s. Source: none, a sensible division; 0.3 is the
/// limit of working slip.
const SLIP_EDGES: [f64; 9] = [0.05, 0.1, 0.3, 0.6, 1.0, 2.0, 5.0, 10.0, 20.0];

const N_SLIP: usize = SLIP_EDGES.len() + 1;
const N_CELLS: usize = (TORQUE_EDGES.len() + 1) * N_SLIP;

/// Sums by cell.
#[derive(Clone, Debug)]
pub struct DutySums {
    seconds: Vec<f64>,
    heat: Vec<HeatByFloor>,
}

impl Default for DutySums {
    fn default() -> DutySums {
        DutySums {
            seconds: vec![0.0; N_CELLS],
            heat: vec![HeatByFloor::default(); N_CELLS],
        }
    }
}

impl DutySums {
    /// Takes a row; only turning wheels with a known torque count.
    pub fn note(&mut self, row: &Row) {
        let (Some(torque), Some(work)) = (row.torque_nm, row.work_j) else {
            return;
        };
        if !row.is_turning {
            return;
        }
        let cell = |edges: &[f64], value: f64| edges.partition_point(|edge| *edge < value);
        let cell = cell(&TORQUE_EDGES, torque) * N_SLIP + cell(&SLIP_EDGES, row.slip_mean.abs());
        self.seconds[cell] += row.seconds;
        self.heat[cell].add(work, row.impulse_nms, &row.evidence);
    }

    /// The picture for a noise floor.
    pub fn picture(&self, slip_sd: f64) -> DutyPicture {
        DutyPicture {
            torque_edges_nm: TORQUE_EDGES.to_vec(),
            slip_edges: SLIP_EDGES.to_vec(),
            seconds: self.seconds.clone(),
            joules: self.heat.iter().map(|heat| heat.heat_j(slip_sd)).collect(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::row;
    use halfshaft_driveline::Evidence;

    #[test]
    fn a_row_falls_into_its_cell_by_time_and_by_heat() {
        let mut sums = DutySums::default();
        for index in 0..100 {
            let mut row = row(f64::from(index) * 0.01);
            (row.torque_nm, row.slip_mean) = (Some(450.0), -3.0);
            (row.work_j, row.impulse_nms) = (Some(-13.5), 4.5);
            row.evidence = [Evidence {
                strength: 9.0,
                sign: -1.0,
            }; 4];
            sums.note(&row);
        }
        let picture = sums.picture(0.01);
        // Torque cell 6 (400 to 600), slip cell 6 (2 to 5): 1 s and 1350 J.
        let cell = 6 * N_SLIP + 6;
        assert!((picture.seconds[cell] - 1.0).abs() < 1e-9);
        assert!((picture.joules[cell] - 1350.0).abs() < 1e-6);
        assert!((picture.seconds.iter().sum::<f64>() - 1.0).abs() < 1e-9);
    }
}
