//! The stint that goes on: what the pack took since the drive began, or since the latest mark.
//!
//! In: marks, and rows of driving. Out: [`Stint`]. Marks run ahead of rows, so each waits until the
//! rows have come as far. The heat is summed as that of the drive is: a drive without marks has one stint,
//! with all of its heat.

use std::collections::VecDeque;

use halfshaft_driveline::HeatByFloor;
use halfshaft_model::Time;

use crate::part::{Came, Part, Passage};
use crate::reason::Reason;
use crate::trust::{Gate, HEAT, Kept};

/// The stint that goes on.
#[derive(Clone, Debug, PartialEq)]
pub struct Stint {
    /// Its number, from 1.
    pub number: u32,
    /// When it began.
    pub start: Time,
    /// Heat of the pack, kJ, or why it is not known.
    pub heat_kj: Result<f64, Reason>,
}

/// Sums the heat of the stint.
#[derive(Clone, Debug, Default)]
pub struct StintWatch {
    marks: VecDeque<Time>,
    n_before: u32,
    start: Time,
    heat: Kept<HeatByFloor, HEAT>,
}

impl Part for StintWatch {
    fn block(&mut self, came: &Came) {
        self.marks
            .extend(came.block.marks.iter().map(|mark| mark.time));
    }

    fn rows(&mut self, passage: &Passage) {
        for row in passage.rows {
            while let Some(start) = self.marks.pop_front_if(|mark| *mark <= row.time) {
                *self = StintWatch {
                    marks: std::mem::take(&mut self.marks),
                    n_before: self.n_before + 1,
                    start,
                    heat: Kept::default(),
                };
            }
            if let Some(work_j) = row.work_j.filter(|_| row.is_turning) {
                let heat = self.heat.gather();
                heat.add(work_j, row.impulse_nms, &row.evidence);
            }
        }
    }
}

impl StintWatch {
    /// The stint so far, with what is believed of it.
    pub fn stint(&self, gate: &Gate) -> Stint {
        let heat = self.heat.ask(gate);
        Stint {
            number: self.n_before + 1,
            start: self.start,
            heat_kj: heat.map(|heat| heat.heat_j(gate.slip_sd()) * 1e-3),
        }
    }
}
