//! The tyres as torque gauge, on the board: rows in, what the pack holds out.
//!
//! [`halfshaft_driveline::held_torque`] measures; here rows that do not count are left out, and what
//! the drive withholds stays withheld.

use halfshaft_driveline::Basis;
use halfshaft_driveline::held_torque::HeldWatch;
pub use halfshaft_driveline::held_torque::{Found, Held, HeldPoint};

use crate::evidence::counts;
use crate::limits::Driving;
use crate::part::{Part, Passage};
use crate::reason::Reason;

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
