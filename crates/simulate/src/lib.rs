//! An invented car to CAN frames, with the truth beside them.
//!
//! In: a [`Scenario`] (car, road, driver, sensors, faults, seed). Out: frames in time
//! order, as a log's text or in memory, and the [`Truth`] added up from the inner state at
//! every millisecond. Same scenario, same bytes. This crate does not read its own frames to
//! know what happened, and judges nothing.
//!
//! ```text
//! road -> driver -> controller -> actuator -> axle -> temperatures -> sensors -> frames
//!                                        \-> truth
//! ```

pub mod actuator;
pub mod axle;
mod bus;
pub mod channels;
pub mod controller;
pub mod driver;
mod episodes;
mod events;
pub mod fault_drive;
pub mod fault_drives;
mod fault_roads;
pub mod faults;
pub mod fleet;
pub mod frames;
mod map_text;
mod moment;
mod output;
pub mod random;
pub mod road;
mod run;
mod samples;
pub mod scenario;
pub mod thermal;
pub mod truth;
pub mod unit_truth;
pub mod vehicle;
mod wave;

pub use bus::FrameOut;
pub use channels::{Rates, channel_specs};
pub use events::EventTruth;
pub use fault_drive::FaultDrive;
pub use fault_drives::{FAULT_DRIVES, fault_drive};
pub use faults::Faults;
pub use map_text::map_text;
pub use output::{to_batch, to_block, to_text, write_log};
pub use random::Random;
pub use road::{Piece, Style};
pub use run::run;
pub use samples::scenarios;
pub use scenario::{RandomRange, Scenario, Sensors, random_drive};
pub use truth::Truth;
pub use unit_truth::UnitTruth;
pub use vehicle::{Tolerances, VehicleTrue};
