//! Measured channels to derived ones: axle speed difference, slip, torque, heat.
//!
//! In: blocks of columns on the vehicle's clock. Out: [`Derived`], rows in order of time and
//! events of the command, and [`Learned`], the noise floor and the tyre ratio. Works block by block with carried
//! state; how the blocks are cut changes nothing in what comes out. Pure: no files, no
//! clock, no printing. It does not judge: `health` does.
//!
//! ```text
//! Block -> align -> smooth -> row_maker -> Row   (track: one channel; derive: the physics)
//!       -> engagement -> events
//!       -> response -> how quickly the clutch answers each edge of the command
//! ```

pub mod align;
pub mod basis;
pub mod derive;
pub mod engagement;
pub mod heat_by_floor;
pub mod held_torque;
mod late_torque;
mod linear;
pub mod median;
pub mod noise_floor;
pub mod normal;
pub mod period;
pub mod random;
pub mod refit;
pub mod refusal;
pub mod response;
pub mod row;
mod row_maker;
pub mod smooth;
pub mod thermal;
pub mod track;
pub mod tyre_ratio;

use std::collections::VecDeque;

use halfshaft_model::{Block, ChannelSpec, Time, Vehicle};

use crate::align::{Aligned, Aligner};
pub use crate::basis::Basis;
pub use crate::engagement::{CommandEvent, CommandTime, CommandWatch};
pub use crate::heat_by_floor::{ClosedHeat, Evidence, HeatByFloor, HeatNearFloor, SIGNIFICANT_SDS};
pub use crate::period::Period;
use crate::refit::Refit;
pub use crate::refusal::Refusal;
pub use crate::row::Row;
pub use crate::row_maker::MISMATCH_NOT_LEARNED;
use crate::row_maker::RowMaker;
use crate::smooth::{Smoothed, Smoother};
pub use crate::tyre_ratio::{
    Calibration, CommandCollapse, Mode, RatioEstimate, RatioPoint, RatioSlide, RatioStep,
};

/// What a block brought.
#[derive(Clone, Debug, Default)]
pub struct Derived {
    /// Rows in order of time, each of them behind every event of the command that it can
    /// fall into.
    pub rows: Vec<Row>,
    /// Events of the command that have ended.
    pub ended: Vec<CommandEvent>,
    /// The event that goes on at the end of the block.
    pub going_on: Option<CommandEvent>,
}

/// What the drive so far has taught, beside its rows.
#[derive(Clone, Debug, PartialEq)]
pub struct Learned {
    /// Standard deviation of one slip sample, rad/s; `None` before enough was seen.
    pub slip_sd: Option<f64>,
    /// Slip samples that rests on.
    pub n_slip_samples: u64,
    /// ln(ωR/ωL), running straight.
    pub tyre_ratio_log: Option<f64>,
    /// What the drive says of the rear tyres.
    pub calibration: Calibration,
    /// Seconds by level of the command; `None` where it cannot be read.
    pub command_time: Option<CommandTime>,
    /// Events of the command that may be the second half of the one before, over a cut or
    /// a long gap.
    pub n_perhaps_one: u64,
    /// Events of the command that there may be fewer and more, for what its period and step
    /// leave open.
    pub n_engagements_off: (f64, f64),
    /// Bias of the yaw sensor as seen at standstill, rad/s.
    pub standing_yaw: Option<f64>,
}

/// Derives rows from blocks.
#[derive(Clone, Debug)]
pub struct Driveline {
    aligner: Aligner,
    joiner: Joiner,
    command: Option<CommandWatch>,
    // Rows whose events of the command are not known yet.
    waiting: VecDeque<Row>,
    until: Time,
    is_finished: bool,
    calibration: Refit<bool, Calibration>,
}

/// What follows on the aligner, sample by sample.
#[derive(Clone, Debug)]
struct Joiner {
    smoother: Smoother,
    maker: RowMaker,
    // Runs of the wheels in the sample before.
    latest_runs: Option<(u32, u32)>,
}

impl Driveline {
    /// A driveline for the vehicle and the channels of a map.
    pub fn new(vehicle: &Vehicle, channels: &[ChannelSpec]) -> Driveline {
        Driveline {
            aligner: Aligner::new(vehicle, channels),
            joiner: Joiner {
                smoother: Smoother::default(),
                maker: RowMaker::new(Basis::new(vehicle, channels), channels),
                latest_runs: None,
            },
            command: CommandWatch::of(vehicle, channels),
            waiting: VecDeque::new(),
            until: Time(0),
            is_finished: false,
            calibration: Refit::default(),
        }
    }

    /// What the derivation rests on.
    pub fn basis(&self) -> &Basis {
        &self.joiner.maker.basis
    }

    /// What was learned so far. The calibration of the tyres takes a walk over all windows
    /// kept, so while the drive goes on it may be a little older than the rest.
    pub fn learned(&mut self) -> Learned {
        let maker = &self.joiner.maker;
        let calibration = self
            .calibration
            .get(self.until.seconds(), self.is_finished, || {
                maker.ratio.calibration(&maker.basis)
            });
        Learned {
            slip_sd: maker.floor.slip_sd(),
            n_slip_samples: maker.floor.n_samples(),
            tyre_ratio_log: maker.ratio.ratio_log(),
            calibration: calibration.clone(),
            command_time: self.command.as_ref().map(CommandWatch::time),
            n_perhaps_one: self.command.as_ref().map_or(0, CommandWatch::n_perhaps_one),
            n_engagements_off: self
                .command
                .as_ref()
                .map_or((0.0, 0.0), CommandWatch::n_off),
            standing_yaw: maker.ratio.standing_yaw(),
        }
    }

    /// Takes a block, and puts what it brought in place of what is in `derived`; its rows
    /// come some two seconds late.
    pub fn push(&mut self, block: &Block, derived: &mut Derived) {
        let Derived {
            rows,
            ended,
            going_on,
        } = derived;
        rows.clear();
        ended.clear();
        self.until = self.until.max(block.until);
        let mut ahead_s = 0.0;
        if let Some(command) = &mut self.command {
            command.extend(&block.columns[command.channel()], &block.cuts);
            ended.extend(command.take_finished());
            *going_on = command.going_on();
            ahead_s = command.needs_ahead_s();
        }
        let until = self.until.plus(-ahead_s);
        let n_known = self.waiting.partition_point(|row| row.time <= until);
        rows.extend(self.waiting.drain(..n_known));
        // Rows are large: those that need not wait stay where they are made.
        let n_before = rows.len();
        let Driveline {
            aligner, joiner, ..
        } = self;
        joiner.maker.cuts.extend(&block.cuts);
        aligner.push(block, &mut |sample| joiner.push(sample, rows));
        let n_known = match self.waiting.is_empty() {
            true => rows.partition_point(|row| row.time <= until),
            false => n_before,
        };
        self.waiting.extend(rows.drain(n_known..));
    }

    /// The log has ended: adds the last rows and events to those of the last block.
    pub fn finish(&mut self, derived: &mut Derived) {
        if let Some(command) = &mut self.command {
            command.finish();
            derived.ended.extend(command.take_finished());
            derived.going_on = command.going_on();
        }
        derived.rows.extend(self.waiting.drain(..));
        let Driveline {
            aligner, joiner, ..
        } = self;
        aligner.finish(&mut |sample| joiner.push(sample, &mut derived.rows));
        joiner.finish(&mut derived.rows);
        self.is_finished = true;
    }
}

impl Joiner {
    fn push(&mut self, sample: &Aligned, rows: &mut Vec<Row>) {
        let is_joined = self.latest_runs == Some(sample.wheel_runs);
        self.latest_runs = Some(sample.wheel_runs);
        let sample = self.maker.slipping(sample);
        let maker = &mut self.maker;
        let mut show = |smoothed: &Smoothed| rows.push(maker.row(smoothed));
        self.smoother.push(&sample, is_joined, &mut show);
    }

    fn finish(&mut self, rows: &mut Vec<Row>) {
        let maker = &mut self.maker;
        let mut show = |smoothed: &Smoothed| rows.push(maker.row(smoothed));
        self.smoother.finish(&mut show);
    }
}
