//! Joins the parts: takes blocks and what was derived from them, gives [`crate::Results`] at any
//! time.
//!
//! ```text
//! Block -> sensors -\
//! Row   -> sieve ----> board of parts -> judge -> settled, step by step -> Results
//! ```

mod board;
mod figures;
mod fits;
mod judge;
mod ledgers;
mod quality;
mod reasons;
mod sensors;
mod settle;
mod settled;
mod sieve;
mod strips;
mod temperatures;

pub(crate) use temperatures::Beside;

use halfshaft_driveline::align::full_scale;
use halfshaft_driveline::{Basis, Derived, Row};
use halfshaft_model::channel::name;
use halfshaft_model::{Block, ChannelSpec, Position, Time, Vehicle};

use crate::band::Tolerances;
use crate::baseline::Baseline;
use crate::change::TorqueChange;
use crate::driving::ROWS_LATE_S;
use crate::findings::Setup;
use crate::limits::Limits;
use crate::part::Came;
use crate::partial::PartialLimits;
use crate::reason::{MapFact, Reason};
use board::Board;
use fits::Fits;
use sensors::Sensors;
use sieve::Sieve;

/// Assesses a drive, block by block.
#[derive(Clone, Debug)]
pub struct Health {
    vehicle: Vehicle,
    channels: Vec<ChannelSpec>,
    basis: Basis,
    // The command's channel, or why it cannot be read.
    command: Result<usize, Reason>,
    is_torque_of_state: bool,
    limits: Limits,
    baseline: Baseline,
    sensors: Sensors,
    sieve: Sieve,
    board: Board,
    fits: Fits,
    until: Time,
    // Checks of the values against the map: passed, and all.
    fit: (usize, usize),
    is_finished: bool,
}

impl Health {
    /// An assessment of a vehicle by the channels of its map, by the usual limits.
    pub fn new(vehicle: &Vehicle, channels: &[ChannelSpec]) -> Health {
        Health::with_limits(vehicle, channels, &Limits::default())
    }

    /// The same by limits of one's own.
    pub fn with_limits(vehicle: &Vehicle, channels: &[ChannelSpec], limits: &Limits) -> Health {
        let basis = Basis::new(vehicle, channels);
        let tolerances = Tolerances::new(vehicle, channels, &basis, &limits.trust);
        let partial = PartialLimits::new(&basis, tolerances.shares(), limits);
        let is_torque_of_state = judge::is_torque_of_state(vehicle, channels);
        let setup = Setup {
            vehicle,
            channels,
            basis: &basis,
            partial,
            limits,
        };
        Health {
            command: command_channel(vehicle, channels),
            is_torque_of_state,
            limits: *limits,
            baseline: Baseline::of_map(vehicle),
            sensors: Sensors::new(channels, limits),
            sieve: Sieve::new(&basis, is_torque_of_state, partial, limits),
            board: Board::new(&setup, &tolerances),
            fits: Fits::default(),
            until: Time(0),
            fit: (1, 1),
            is_finished: false,
            vehicle: vehicle.clone(),
            channels: channels.to_vec(),
            basis,
        }
    }

    /// Assess another pack in the same drive: its linings and oil, and what each torque that
    /// was logged would be. Only before the first block. Slip, noise, tyres and what
    /// counts as partial engagement stay those of the pack that was logged.
    pub(crate) fn with_other_pack(mut self, vehicle: &Vehicle, torque: TorqueChange) -> Health {
        self.vehicle.pack = vehicle.pack;
        self.vehicle.oil_volume_m3 = vehicle.oil_volume_m3;
        self.board.ledgers.set_preload(torque.preload_nm());
        self.sieve.other_torque = Some(torque);
        self
    }

    /// What earlier drives of this car were like.
    pub fn compare_with(&mut self, baseline: Baseline) {
        self.baseline = baseline.by(&self.limits.past);
    }

    /// Laps begin at a line across the track at this point.
    pub fn start_line(&mut self, point: Position) {
        self.board.path.start_line(point);
    }

    /// How many checks of the values against the map were passed, and of how many.
    pub fn note_fit(&mut self, (n_passed, n_all): (usize, usize)) {
        self.fit = (n_passed.min(n_all), n_all.max(1));
    }

    /// Keeps the rows that it believes until the next block comes, for [`Health::believed`].
    pub fn keep_rows(&mut self) {
        self.sieve.believed = Some(Vec::new());
    }

    /// Rows without what stood still that became known with the latest block, in order of time;
    /// none unless [`Health::keep_rows`] asked for them.
    pub fn believed(&self) -> &[Row] {
        self.sieve.believed.as_deref().unwrap_or_default()
    }

    /// Takes a block and what was derived by then.
    pub fn push(&mut self, block: &Block, derived: &Derived) {
        if let Some(believed) = &mut self.sieve.believed {
            believed.clear();
        }
        self.until = self.until.max(block.until);
        self.sensors.read(block);
        let came = Came {
            block,
            derived,
            oil: &self.sensors.oil.readings,
            air: &self.sensors.air.readings,
        };
        self.board.each(|part| part.block(&came));
        self.sieve.pass(&derived.rows, &mut self.board);
        let rows_until = self.sieve.latest.map_or(Time(0), |(time, _)| time);
        let never_later = self.until.plus(-ROWS_LATE_S);
        let settled = Some(rows_until.max(never_later));
        self.board.actuator.finish_until(settled);
    }

    /// The log has ended: nothing more is pushed.
    pub fn finish(&mut self) {
        self.sieve.finish(&mut self.board);
        self.board.actuator.finish_until(None);
        self.is_finished = true;
    }

    /// What the derivation rests on: what cannot be derived says why there.
    pub fn basis(&self) -> &Basis {
        &self.basis
    }

    /// The limits it judges by.
    pub fn limits(&self) -> &Limits {
        &self.limits
    }
}

fn command_channel(vehicle: &Vehicle, channels: &[ChannelSpec]) -> Result<usize, Reason> {
    let found = channels
        .iter()
        .position(|channel| channel.name == name::CLUTCH_COMMAND)
        .ok_or(Reason::NoChannel(name::CLUTCH_COMMAND))?;
    match full_scale(&channels[found], vehicle) {
        Some(_) => Ok(found),
        None => Err(MapFact::FullCommand.into()),
    }
}
