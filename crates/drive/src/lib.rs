//! One drive, from the entries of its log to results at any time.
//!
//! In: a checked map, and batches of entries of any size, down to one. Out: [`Results`],
//! provisional until the log has ended. A report of a whole log, an export, a comparison and
//! a capture that is still running are all this; how the log is cut into batches changes
//! nothing, and neither does how often results are asked for. Nothing here reads files,
//! starts threads or prints.
//!
//! ```text
//! Batch -> front (decoder, survey) -> Block -> driveline -> Derived -> health -> Results
//! ```

mod front;

pub use front::Front;

use halfshaft_driveline::{Derived, Driveline};
use halfshaft_health::baseline::Baseline;
use halfshaft_health::limits::Limits;
use halfshaft_health::what_if::{Three, WhatIf};
use halfshaft_health::{Health, Results};
use halfshaft_model::{Batch, Block, Position};
use halfshaft_signal_map::Map;

/// What a drive is judged by, beside its map.
#[derive(Clone, Debug, Default)]
pub struct Options {
    /// The limits.
    pub limits: Limits,
    /// What earlier drives of the car were like; `None`: only what the map states of it.
    pub baseline: Option<Baseline>,
    /// Laps begin at a line across the track at this point; `None`: laps are found.
    pub start_line: Option<Position>,
}

/// A drive on its way through the stages.
#[derive(Clone, Debug)]
pub struct Drive {
    front: Front,
    driveline: Driveline,
    health: Health,
    block: Block,
    derived: Derived,
}

/// The stages, for whoever runs them on threads of his own. Every one must see every piece, in
/// order.
#[derive(Debug)]
pub struct Stages<'a> {
    /// Batches to blocks.
    pub front: &'a mut Front,
    /// Blocks to rows.
    pub driveline: &'a mut Driveline,
    /// Blocks and rows to results.
    pub health: &'a mut Health,
}

impl Drive {
    /// A drive of the car of a map.
    pub fn new(map: &Map, options: &Options) -> Drive {
        let mut health = Health::with_limits(&map.vehicle, &map.channels, &options.limits);
        if let Some(baseline) = &options.baseline {
            health.compare_with(baseline.clone());
        }
        if let Some(point) = options.start_line {
            health.start_line(point);
        }
        Drive {
            front: Front::new(map),
            driveline: Driveline::new(&map.vehicle, &map.channels),
            health,
            block: Block::new(map.channels.len()),
            derived: Derived::default(),
        }
    }

    /// Takes a batch.
    pub fn push(&mut self, batch: &Batch) {
        self.front.push(batch, &mut self.block);
        self.driveline.push(&self.block, &mut self.derived);
        self.health.push(&self.block, &self.derived);
    }

    /// The log has ended: nothing more is pushed.
    pub fn finish(&mut self) {
        self.front.finish(&mut self.block);
        self.driveline.push(&self.block, &mut self.derived);
        self.driveline.finish(&mut self.derived);
        self.health.push(&self.block, &self.derived);
        self.health.finish();
    }

    /// The stages one by one. What they have seen goes on from there: [`Drive::finish`] ends
    /// them all.
    pub fn stages(&mut self) -> Stages<'_> {
        Stages {
            front: &mut self.front,
            driveline: &mut self.driveline,
            health: &mut self.health,
        }
    }

    /// What the decoder saw, and how log and map fit.
    pub fn front(&self) -> &Front {
        &self.front
    }

    /// Judges and says what it rests on.
    pub fn health(&self) -> &Health {
        &self.health
    }

    /// The channels of the latest batch, or what the end of the log added to them.
    pub fn block(&self) -> &Block {
        &self.block
    }

    /// The rows and events that became known with the latest batch, or at the end of the log.
    pub fn derived(&self) -> &Derived {
        &self.derived
    }

    /// What can be said so far. Cheap enough to ask for several times a second: what is fitted
    /// to the whole drive may be a little older than the rest while
    /// [`Results::is_provisional`].
    pub fn results(&mut self) -> Results {
        self.health.note_fit(self.front.fit().passed());
        self.health.note_lost(self.front.lost());
        self.health.results(&self.driveline.learned())
    }

    /// The same beside those of another pack, which was given every block and what was
    /// derived from it.
    pub fn results_beside(&mut self, other: &mut WhatIf) -> Three {
        let fit = self.front.fit().passed();
        self.health.note_fit(fit);
        self.health.note_lost(self.front.lost());
        other.note_fit(fit);
        other.note_lost(self.front.lost());
        other.results(&mut self.health, &self.driveline.learned())
    }
}
