//! The samples of a drive, as they come or on a grid of regular times.
//!
//! In: block after block with the derived rows that became known. Out: one Parquet file.
//! Memory does not grow with the drive.

mod grid;
mod native;
mod rate;
mod withheld;

use std::io::Write;

use halfshaft_health::Row;
use halfshaft_model::personal::PlaceTrim;
use halfshaft_model::{Block, ChannelSpec};

use crate::about::About;
use crate::channels::Ground;
use crate::samples::grid::Grid;
use crate::samples::native::Native;
pub use crate::samples::rate::Rate;
pub use crate::samples::withheld::{copy_without, withheld_channels};
use crate::table::Error;

/// The form of samples at their own times: a sample a row.
pub const NATIVE_FORM: &str = "halfshaft-samples/1";

/// The form of samples on a grid: a time a row, a channel a column.
pub const GRID_FORM: &str = "halfshaft-samples-grid/1";

/// Writes the samples of a drive.
pub struct Samples<W: Write + Send>(Form<W>);

enum Form<W: Write + Send> {
    Native(Box<Native<W>>),
    Grid(Box<Grid<W>>),
}

impl<W: Write + Send> Samples<W> {
    /// Starts a file for the channels of a map; on a grid when a rate is given. Unless all
    /// positions are wanted, those of the first and last 500 m are left out, and all of them
    /// on a grid, where rows do not wait until the car has gone that far.
    pub fn start(
        out: W,
        channels: &[ChannelSpec],
        ground: &Ground,
        rate: Option<Rate>,
        with_all_positions: bool,
    ) -> Result<Samples<W>, Error> {
        let trim = PlaceTrim::new(channels).filter(|_| !with_all_positions);
        let is_position = |index: usize| trim.as_ref().is_some_and(|trim| trim.is_place(index));
        Ok(Samples(match rate {
            Some(rate) => {
                let grid = Grid::start(out, channels, ground, rate, is_position)?;
                Form::Grid(Box::new(grid))
            }
            None => Form::Native(Box::new(Native::start(out, channels, ground, trim)?)),
        }))
    }

    /// Takes a block, and the derived rows that became known with it.
    pub fn push(&mut self, block: &Block, rows: &[Row]) -> Result<(), Error> {
        match &mut self.0 {
            Form::Native(native) => native.push(block, rows),
            Form::Grid(grid) => grid.push(block, rows),
        }
    }

    /// The log has ended: completes the file.
    pub fn finish(self, about: &About) -> Result<(), Error> {
        match self.0 {
            Form::Native(native) => native.finish(about),
            Form::Grid(grid) => grid.finish(about),
        }
    }
}
