//! One drive for another pack, beside the car as it is.
//!
//! In: blocks and what was derived from them, once; the vehicle and what is to change. Out:
//! [`Answer`], figure by figure for the car as it is and for the other pack under two
//! assumptions, each marked as carried over, worked out, a bound or not known, and what cannot be known. Two more
//! assessments see the rows of the one of the car as it is: slip, command, tyres and noise are
//! those of the drive in all of them. Files and words for a page are not made here.

mod answer;
mod standing;

use crate::reason::Reason;
use halfshaft_driveline::{Derived, Learned};
use halfshaft_model::{Block, ChannelSpec, Vehicle};

use crate::assess::{Beside, Health};
use crate::limits::Limits;
use crate::results::Results;

pub use crate::change::{Change, Changed, Held, Moves, TorqueChange};
pub use answer::{Answer, Asked, CANNOT_KNOW, HOW, Line};
pub use standing::{Other, Standing, Value};

/// Assesses a drive for another pack.
#[derive(Clone, Debug)]
pub struct WhatIf {
    logged_vehicle: Vehicle,
    changed: Changed,
    same_torque: Health,
    same_force: Health,
}

/// The results of one drive, three times.
#[derive(Clone, Debug, PartialEq)]
pub struct Three {
    /// The car as it is.
    pub logged: Results,
    /// The other pack, the controller getting the torque it asked for.
    pub same_torque: Results,
    /// The other pack, pressed as the logged one was.
    pub same_force: Results,
}

impl WhatIf {
    /// Another pack in the car of a map, or why the map does not say enough for it.
    pub fn new(
        vehicle: &Vehicle,
        channels: &[ChannelSpec],
        limits: &Limits,
        change: &Change,
    ) -> Result<WhatIf, Reason> {
        let changed = Changed::new(vehicle, change)?;
        let other = |held| {
            let torque = changed.torque(vehicle, held);
            Health::with_limits(vehicle, channels, limits).with_other_pack(&changed.vehicle, torque)
        };
        Ok(WhatIf {
            logged_vehicle: vehicle.clone(),
            same_torque: other(Held::Torque),
            same_force: other(Held::Force),
            changed,
        })
    }

    fn each(&mut self) -> [&mut Health; 2] {
        [&mut self.same_torque, &mut self.same_force]
    }

    /// Takes a block and what was derived by then for the car as it is.
    pub fn push(&mut self, block: &Block, derived: &Derived) {
        for health in self.each() {
            health.push(block, derived);
        }
    }

    /// The log has ended.
    pub fn finish(&mut self) {
        for health in self.each() {
            health.finish();
        }
    }

    /// How many checks of the values against the map were passed, and of how many.
    pub fn note_fit(&mut self, fit: (usize, usize)) {
        for health in self.each() {
            health.note_fit(fit);
        }
    }

    /// How many frames the recorder did not get, and of how many.
    pub fn note_lost(&mut self, lost: (u64, u64)) {
        for health in self.each() {
            health.note_lost(lost);
        }
    }

    /// All that can be said so far of each; `logged` assessed the car as it is.
    pub fn results(&mut self, logged: &mut Health, learned: &Learned) -> Three {
        let results = logged.results(learned);
        let beside = Beside {
            logged,
            thermal: &results.thermal,
            factors: self.changed.factors,
        };
        Three {
            same_torque: self.same_torque.results_beside(learned, &beside),
            same_force: self.same_force.results_beside(learned, &beside),
            logged: results,
        }
    }

    /// The answer, side by side.
    pub fn answer(&self, three: &Three) -> Answer {
        Answer::new(&self.logged_vehicle, &self.changed, three)
    }
}
