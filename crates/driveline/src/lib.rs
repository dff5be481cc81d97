//! Measured channels to derived ones: axle speed difference, slip, torque, heat.
//!
//! In: blocks of columns on the vehicle's clock. Out: [`Row`]s in order of time, events of
//! the command, the noise floor and the tyre ratio. Works block by block with carried
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
pub mod doubt;
pub mod engagement;
pub mod heat_by_floor;
mod linear;
pub mod median;
pub mod noise_floor;
pub mod period;
pub mod random;
pub mod response;
pub mod row;
mod row_maker;
pub mod smooth;
pub mod thermal;
pub mod track;
pub mod tyre_ratio;

use halfshaft_model::{Block, ChannelSpec, Vehicle};

use crate::align::{Aligned, Aligner};
pub use crate::basis::Basis;
pub use crate::engagement::{CommandEvent, CommandTime, CommandWatch};
pub use crate::heat_by_floor::{Evidence, HeatByFloor, HeatNearFloor, SIGNIFICANT_SDS};
use crate::noise_floor::NoiseFloor;
pub use crate::period::Period;
pub use crate::row::Row;
pub use crate::row_maker::MISMATCH_NOT_LEARNED;
use crate::row_maker::RowMaker;
use crate::smooth::{Smoothed, Smoother};
pub use crate::tyre_ratio::{
    Calibration, CommandCollapse, Mode, RatioEstimate, RatioPoint, RatioStep,
};

/// Derives rows from blocks.
#[derive(Clone, Debug)]
pub struct Driveline {
    aligner: Aligner,
    joiner: Joiner,
}

/// What follows on the aligner, sample by sample.
#[derive(Clone, Debug)]
struct Joiner {
    smoother: Smoother,
    maker: RowMaker,
    // Runs of the wheels in the sample before.
    latest_runs: Option<(u32, u32, u32)>,
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
        }
    }

    /// What the derivation rests on.
    pub fn basis(&self) -> &Basis {
        &self.joiner.maker.basis
    }

    /// How often a rear wheel speed came into doubt and was left out.
    pub fn n_doubted(&self) -> u32 {
        self.aligner.n_doubted()
    }

    /// The noise floor learned so far.
    pub fn noise_floor(&self) -> &NoiseFloor {
        &self.joiner.maker.floor
    }

    /// ln(ωR/ωL) learned so far, running straight.
    pub fn tyre_ratio_log(&self) -> Option<f64> {
        self.joiner.maker.ratio.ratio_log()
    }

    /// What the drive so far says of the rear tyres. It takes a walk over all windows kept,
    /// so ask at the end, or now and then.
    pub fn tyre_calibration(&self) -> Calibration {
        self.joiner.maker.ratio.calibration(self.basis())
    }

    /// Takes a block and appends the rows that are settled by now, some two seconds late.
    pub fn push(&mut self, block: &Block, rows: &mut Vec<Row>) {
        let Driveline { aligner, joiner } = self;
        joiner.maker.cuts.extend(&block.cuts);
        aligner.push(block, &mut |sample| joiner.push(sample, rows));
    }

    /// The log has ended: appends the last rows.
    pub fn finish(&mut self, rows: &mut Vec<Row>) {
        let Driveline { aligner, joiner } = self;
        aligner.finish(&mut |sample| joiner.push(sample, rows));
        joiner.finish(rows);
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
