//! The tyres as torque gauge, on the board: rows in, what the pack holds out.
//!
//! [`halfshaft_driveline::held_torque`] measures; here rows that do not count are left out, and what
//! the drive withholds stays withheld.

use halfshaft_driveline::Basis;
pub use halfshaft_driveline::held_torque::{Found, Held, HeldPoint, Shape};
use halfshaft_driveline::held_torque::{HeldWatch, OVER_STATED_TRIED};

use crate::evidence::counts;
use crate::limits::Driving;
use crate::part::{Part, Passage};
use crate::reason::{DriveFact, Reason};

/// Gathers while the drive goes by.
#[derive(Clone, Debug)]
pub struct HeldTorque {
    driving: Driving,
    watch: HeldWatch,
}

impl Part for HeldTorque {
    fn rows(&mut self, passage: &Passage) {
        for row in passage.rows {
            self.watch.note(row, counts(row, &self.driving));
        }
    }
}

impl HeldTorque {
    /// Nothing seen yet.
    pub fn new(driving: Driving) -> HeldTorque {
        HeldTorque {
            driving,
            watch: HeldWatch::default(),
        }
    }

    /// What the pack holds, or why nobody can tell.
    pub fn outcome(&self, basis: &Basis) -> Result<Held, Reason> {
        basis.slip.clone()?;
        Ok(self.watch.held(basis)?)
    }
}

/// The curve of what is held under command: of even bends, else with those in which the command moved. It refuses
/// where few bends were driven under command, and where the tyres gave way by more than any that were tried.
pub fn commanded(held: &Held, least_pieces: usize) -> Result<&Shape, Reason> {
    let curves = [&held.shape, &held.wide_shape];
    let curve = curves
        .into_iter()
        .flatten()
        .find(|shape| shape.n_commanded >= least_pieces);
    let curve = curve.ok_or(DriveFact::HeldUnderCommand)?;
    let is_within = curve.over_stated < OVER_STATED_TRIED && curve.over_stated_sd.is_finite();
    is_within
        .then_some(curve)
        .ok_or(DriveFact::TyresGiveWay.into())
}
