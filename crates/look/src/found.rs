//! What a look at a log comes to.

use halfshaft_model::{FrameId, Stamp};

use crate::checks::{Checksum, Counter, Pages};
use crate::field::Quality;
use crate::signal::Place;

/// What is in a log.
#[derive(Clone, Debug, Default)]
pub struct Found {
    /// Stamp of the first entry.
    pub first: Option<Stamp>,
    /// Time from the first entry to the last, as far as the clock goes forward, s.
    pub duration_s: f64,
    /// Data frames.
    pub n_frames: u64,
    /// Rows of sheets.
    pub n_rows: u64,
    /// Error reports of controllers.
    pub n_errors: u64,
    /// Frames a recorder says it lost.
    pub n_lost: u64,
    /// Steps back of the clock.
    pub n_steps_back: u64,
    /// Times without any entry: when and how long, s; the longest ones.
    pub gaps: Vec<(f64, f64)>,
    /// How many there were.
    pub n_gaps: u64,
    /// Names of the buses as the log writes them, with their frames.
    pub buses: Vec<(String, u64)>,
    /// Identifiers by bus and number.
    pub identifiers: Vec<Identifier>,
    /// Frames of identifiers beyond the most that are looked at.
    pub n_left_out: u64,
    /// Columns of a sheet.
    pub columns: Vec<Column>,
    /// Fields and columns.
    pub signals: Vec<Drawn>,
    /// What they may be, the wheels first.
    pub candidates: Vec<Candidate>,
    /// Whether it is a log of a moving car.
    pub motion: Motion,
    /// What is not known of the wheels and why, in sentences.
    pub notes: Vec<String>,
    /// The part of the log the fields were read from, s.
    pub looked_at_s: f64,
}

/// Whether the car moved.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Motion {
    /// Wheel speeds were found, and they changed.
    Moved,
    /// No field runs as wheel speeds do.
    #[default]
    NotSeen,
}

/// An identifier on a bus.
#[derive(Clone, Debug)]
pub struct Identifier {
    /// Index of the bus.
    pub bus: usize,
    /// Identifier.
    pub id: FrameId,
    /// Data frames.
    pub n_frames: u64,
    /// Remote requests.
    pub n_remote: u64,
    /// Median time between two and its scatter, s.
    pub period_s: Option<(f64, f64)>,
    /// Lengths in bytes, and how often each.
    pub lengths: Vec<(u16, u64)>,
    /// Bytes that change, from 0.
    pub changing: Vec<usize>,
    /// For each bit, the first byte's highest first, how often it flips.
    pub flip_rates: Vec<f64>,
    /// Counters.
    pub counters: Vec<Counter>,
    /// Its checksum.
    pub checksum: Option<Checksum>,
    /// Its page number.
    pub pages: Option<Pages>,
}

impl Identifier {
    /// The length most frames have.
    pub fn length(&self) -> u16 {
        let most = self.lengths.iter().max_by_key(|(_, n)| *n);
        most.map_or(0, |(length, _)| *length)
    }
}

/// A column of a sheet.
#[derive(Clone, Debug, PartialEq)]
pub struct Column {
    /// Its header.
    pub name: String,
    /// What it holds.
    pub kind: &'static str,
    /// Cells with a number.
    pub n_numbers: u64,
    /// Lowest and highest.
    pub span: Option<(f64, f64)>,
    /// Median time between two that differ, s.
    pub period_s: Option<f64>,
}

/// A field or column with its values.
#[derive(Clone, Debug)]
pub struct Drawn {
    /// Where it stands.
    pub place: Place,
    /// How its values run.
    pub quality: Quality,
    /// Lowest and highest value kept.
    pub span: (f64, f64),
    /// Time and mean of each second that is kept.
    pub picture: Vec<(f64, f64)>,
}

/// What a field may be.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Kind {
    /// Speed of a wheel.
    WheelSpeed,
    /// The same as a wheel speed, once more: a copy or a filtered one.
    WheelCopy,
    /// Road speed.
    RoadSpeed,
    /// Yaw rate.
    YawRate,
    /// Angle of the steering wheel.
    Steering,
    /// Lateral acceleration.
    LateralAcceleration,
    /// One of these three; which is not known.
    Turning,
    /// Longitudinal acceleration.
    LongitudinalAcceleration,
    /// Accelerator pedal, or a torque it asks for.
    Accelerator,
    /// Brake.
    Brake,
    /// Speed of engine or motor.
    EngineSpeed,
    /// Something that moves over minutes: temperature, supply, level, pressure.
    Slow,
    /// A command that another field follows.
    Command,
    /// A field that follows a command.
    Follower,
}

impl Kind {
    /// A word for machines.
    pub fn word(self) -> &'static str {
        match self {
            Kind::WheelSpeed => "wheel-speed",
            Kind::WheelCopy => "wheel-speed-again",
            Kind::RoadSpeed => "road-speed",
            Kind::YawRate => "yaw-rate",
            Kind::Steering => "steering-angle",
            Kind::LateralAcceleration => "lateral-acceleration",
            Kind::Turning => "turning",
            Kind::LongitudinalAcceleration => "longitudinal-acceleration",
            Kind::Accelerator => "accelerator",
            Kind::Brake => "brakes",
            Kind::EngineSpeed => "engine-speed",
            Kind::Slow => "slow",
            Kind::Command => "command",
            Kind::Follower => "follower",
        }
    }

    /// Words for people.
    pub fn words(self) -> &'static str {
        match self {
            Kind::WheelSpeed => "wheel speed",
            Kind::WheelCopy => "a wheel speed again, or the road speed",
            Kind::RoadSpeed => "road speed",
            Kind::YawRate => "yaw rate",
            Kind::Steering => "steering angle",
            Kind::LateralAcceleration => "lateral acceleration",
            Kind::Turning => "yaw rate, steering or lateral acceleration",
            Kind::LongitudinalAcceleration => "longitudinal acceleration",
            Kind::Accelerator => "accelerator or drive torque",
            Kind::Brake => "brake pedal or pressure",
            Kind::EngineSpeed => "engine or motor speed",
            Kind::Slow => "something slow: temperature, supply, level",
            Kind::Command => "a command",
            Kind::Follower => "what follows a command",
        }
    }
}

/// A field and what it may be.
#[derive(Clone, Debug, PartialEq)]
pub struct Candidate {
    /// What it may be.
    pub kind: Kind,
    /// Which signal.
    pub signal: usize,
    /// Why, in sentences.
    pub evidence: Vec<String>,
    /// Axle and side of a wheel, 0 or 1 each; which of them is front or left is not known.
    pub corner: Option<(usize, usize)>,
    /// What one step of the code is worth in km/h, where something in the log tells.
    pub km_per_h: Option<f64>,
    /// The code that stands for 0.
    pub zero: Option<f64>,
}
