//! The command line.

mod capture;

use std::fmt::{Display, Formatter};
use std::path::PathBuf;
use std::str::FromStr;

use clap::{Args, Parser, Subcommand, ValueEnum};
use halfshaft_model::Position;

pub use self::capture::CaptureOptions;
use crate::quantity;

const AFTER: &str = "\
Listens only: no command sends on a bus. Figures are estimates with a band; they are no \
decision on roadworthiness.

Exit codes: 0 done; 1 done, with findings at or above --fail-at; 2 could not do it.";

const REPORT: &str = "\
Example: halfshaft report drive.log --map my-car.map --out drive-report
No map yet? `halfshaft look drive.log` shows what is in the log, `halfshaft map start` begins a map. docs/signal-map.md says every sentence a map can hold.";

const COMPARE: &str = "\
Example: halfshaft compare before.log after.log --map my-car.map
Several drives of a side: halfshaft compare --before a1.log a2.log --after b1.log b2.log --map my-car.map
The car put back as it was: halfshaft compare before.log after.log --again before2.log --map my-car.map
Each file is a drive of its own; of a drive in several files give the report.json.";

const DECODE: &str = "\
Example: halfshaft decode drive.log --map my-car.map --channel wheel.rear.left > left.csv";

const EXPORT: &str = "Example: halfshaft export drive.log --map my-car.map --to tables";

const WHAT_IF_EXAMPLE: &str =
    "Example: halfshaft whatif drive.log --map my-car.map --faces 16 --oil 1.2l --out what-if";

const DEMO: &str = "Example: halfshaft demo first-look";

const SETTINGS: &str = "\
Example: halfshaft settings --out settings.toml
Change what you like in it and give it with --settings.";

const MAN: &str = "Example: halfshaft man man1 && man ./man1/halfshaft-report.1";

const COMPLETIONS: &str =
    "Example: halfshaft completions bash > ~/.local/share/bash-completion/completions/halfshaft";

const MAP_CHECK: &str = "Example: halfshaft map check my-car.map drive.log";

const MAP_FORMAT: &str = "Example: halfshaft map format --write my-car.map";

const WHAT_IF: &str = "\
Work one drive out for another clutch pack, oil or cooling, beside the car as it is.

Slip history, driver and controller are carried over as logged: the figures say what the same \
slip would have done to the other pack, not how the car would have driven with it. Values have \
their units: 62mm, 15%, 100N.m, 1.2l, 1.3x.";

/// What an electronically controlled clutch-pack axle went through, read from the car's log.
#[derive(Debug, Parser)]
#[command(version, after_help = AFTER, max_term_width = 100)]
pub struct Arguments {
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

/// What to do.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Read a log through a map: slip, partial engagement, heat, and what it leaves open
    #[command(after_help = REPORT)]
    Report(ReportOptions),
    /// Compare drives of a car before and after a change, on like corners and events
    #[command(after_help = COMPARE)]
    Compare(CompareOptions),
    /// Show what is in a log without a map: buses, identifiers, fields, and what they may be
    #[command(after_help = crate::arguments_look::LOOK)]
    Look(crate::arguments_look::LookOptions),
    /// Begin, check or format a signal map
    #[command(subcommand)]
    Map(MapCommand),
    /// Write the decoded channels of a log as CSV, one sample a line
    #[command(after_help = DECODE)]
    Decode(DecodeOptions),
    /// Write a log's channels, events and figures as Parquet tables
    #[command(after_help = EXPORT)]
    Export(ExportOptions),
    /// Work one drive out for another clutch pack, oil or cooling, beside the car as it is
    #[command(name = "whatif", long_about = WHAT_IF, after_help = WHAT_IF_EXAMPLE)]
    WhatIf(WhatIfOptions),
    /// Record a bus, drive by drive, and follow it live; or play a log back in its place
    #[command(long_about = capture::ABOUT, after_help = capture::EXAMPLES)]
    Capture(CaptureOptions),
    /// Make an invented drive, its map and its report in a folder
    #[command(after_help = DEMO)]
    Demo(DemoOptions),
    /// Write a settings file with every limit the judgement rests on
    #[command(after_help = SETTINGS)]
    Settings(SettingsOptions),
    /// Write the manual pages of all commands
    #[command(after_help = MAN)]
    Man(ManOptions),
    /// Print what a shell needs to complete commands and options
    #[command(after_help = COMPLETIONS)]
    Completions(CompletionsOptions),
    /// Write the reference pages that are made from the program
    #[command(hide = true)]
    Pages(PagesOptions),
}

/// What to do with a map.
#[derive(Debug, Subcommand)]
pub enum MapCommand {
    /// Begin a map from a log: what was found as facts, candidates as notes to uncomment
    #[command(after_help = crate::arguments_look::MAP_START)]
    Start(crate::arguments_look::MapStartOptions),
    /// Print every mistake in a map; with a log, how the log fits it
    #[command(after_help = MAP_CHECK)]
    Check(MapCheckOptions),
    /// Print a map in standard form
    #[command(after_help = MAP_FORMAT)]
    Format(MapFormatOptions),
}

/// How grave a finding is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, ValueEnum)]
pub enum Severity {
    /// Worth knowing.
    Note,
    /// Look at it before long.
    LookSoon,
    /// Do something.
    Act,
    /// Stop the car.
    Stop,
}

impl Severity {
    /// The severity as findings have it.
    pub fn severity(self) -> halfshaft_health::Severity {
        match self {
            Severity::Note => halfshaft_health::Severity::Note,
            Severity::LookSoon => halfshaft_health::Severity::LookSoon,
            Severity::Act => halfshaft_health::Severity::Act,
            Severity::Stop => halfshaft_health::Severity::Stop,
        }
    }
}

/// A point of the start line.
#[derive(Clone, Copy, Debug)]
pub struct StartLine {
    degrees: [f64; 2],
    /// The same as a position.
    pub position: Position,
}

impl FromStr for StartLine {
    type Err = String;

    fn from_str(text: &str) -> Result<StartLine, String> {
        let wanted = || "expected latitude and longitude in degrees, as 50.0,7.0".to_owned();
        let (latitude, longitude) = text.split_once(',').ok_or_else(wanted)?;
        let number = |text: &str| text.trim().parse::<f64>().map_err(|_| wanted());
        let degrees = [number(latitude)?, number(longitude)?];
        let position = Position::from_degrees(degrees[0], degrees[1])
            .ok_or("expected a latitude from -90 to 90 and a longitude from -180 to 180 degrees")?;
        Ok(StartLine { degrees, position })
    }
}

impl Display for StartLine {
    fn fmt(&self, out: &mut Formatter) -> std::fmt::Result {
        write!(out, "{},{}", self.degrees[0], self.degrees[1])
    }
}

/// Where a log is and how to read it.
#[derive(Debug, Args)]
pub struct LogOptions {
    /// Logs: SocketCAN text, pcapng or sheets, plain, gzip or zstd, or the folder of a recorded
    /// drive; `-` is standard input. Several are read as one
    #[arg(required = true, value_name = "LOG")]
    pub logs: Vec<PathBuf>,
    /// Signal map
    #[arg(long, value_name = "MAP")]
    pub map: PathBuf,
}

/// Where the limits are that it judges by.
#[derive(Debug, Args)]
pub struct LimitOptions {
    /// Settings file [default: $XDG_CONFIG_HOME/halfshaft/settings.toml where there is one]
    #[arg(long, value_name = "FILE")]
    pub settings: Option<PathBuf>,
}

/// What the drive is compared with.
#[derive(Debug, Args)]
pub struct PastOptions {
    /// report.json of an earlier drive of the same car, to compare with; may be given more
    /// than once
    #[arg(long = "baseline", value_name = "REPORT.json")]
    pub baselines: Vec<PathBuf>,
}

/// Options of `settings`.
#[derive(Debug, Args)]
pub struct SettingsOptions {
    /// File to write, which must not be there; its folder is made [default: standard output]
    #[arg(long, value_name = "FILE")]
    pub out: Option<PathBuf>,
}

/// Options of `report`.
#[derive(Debug, Args)]
pub struct ReportOptions {
    #[command(flatten)]
    pub log: LogOptions,
    #[command(flatten)]
    pub limits: LimitOptions,
    #[command(flatten)]
    pub past: PastOptions,
    #[command(flatten)]
    pub workshop: WorkshopOptions,
    /// Folder for report.html and report.json; made when it is not there
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Laps begin where the car first passes this point, in degrees, north and east positive
    #[arg(long, value_name = "LAT,LON", allow_hyphen_values = true)]
    pub start_line: Option<StartLine>,
    /// Print all of the report, not only its summary
    #[arg(long, conflicts_with = "json")]
    pub full: bool,
    /// Print the report as JSON instead of the summary
    #[arg(long)]
    pub json: bool,
    /// Exit with 1 when there is a finding of this severity or a graver one
    #[arg(long, value_name = "SEVERITY")]
    pub fail_at: Option<Severity>,
}

/// What a workshop writes on its papers.
#[derive(Debug, Args)]
pub struct WorkshopOptions {
    /// Name of the workshop, for the head and foot of the report
    #[arg(long, value_name = "NAME")]
    pub shop: Option<String>,
    /// Number of the job
    #[arg(long, value_name = "NUMBER")]
    pub job: Option<String>,
    /// Reading of the odometer, as 84200km
    #[arg(long, value_name = "DISTANCE", value_parser = quantity::mileage, allow_hyphen_values = true)]
    pub mileage: Option<f64>,
}

/// Options of `compare`.
#[derive(Debug, Args)]
pub struct CompareOptions {
    /// The drive before and the one after, each a log or its report.json
    #[arg(value_name = "BEFORE AFTER", conflicts_with_all = ["before", "after"])]
    pub two: Vec<PathBuf>,
    /// Drives before, each a log or its report.json; the more, the smaller a difference can be seen
    #[arg(long, value_name = "LOG", num_args = 1.., requires = "after")]
    pub before: Vec<PathBuf>,
    /// Drives after
    #[arg(long, value_name = "LOG", num_args = 1.., requires = "before")]
    pub after: Vec<PathBuf>,
    /// Drives with the car put back as it was before: only what goes back then is called the car's
    #[arg(long, value_name = "LOG", num_args = 1..)]
    pub again: Vec<PathBuf>,
    /// Signal map; a report.json needs none
    #[arg(long, value_name = "MAP")]
    pub map: Option<PathBuf>,
    /// Signal map of the drives after, when it is another
    #[arg(long, value_name = "MAP")]
    pub map_after: Option<PathBuf>,
    /// Laps of a log begin where the car first passes this point, in degrees, north and east
    /// positive; a report.json keeps its own
    #[arg(long, value_name = "LAT,LON", allow_hyphen_values = true)]
    pub start_line: Option<StartLine>,
    #[command(flatten)]
    pub limits: LimitOptions,
    /// Folder for comparison.html and comparison.json; made when it is not there
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Print the comparison as JSON
    #[arg(long)]
    pub json: bool,
}

/// Options of `map check`.
#[derive(Debug, Args)]
pub struct MapCheckOptions {
    /// Signal map
    pub map: PathBuf,
    /// Logs to compare with it
    #[arg(value_name = "LOG")]
    pub logs: Vec<PathBuf>,
}

/// Options of `map format`.
#[derive(Debug, Args)]
pub struct MapFormatOptions {
    /// Signal map; `-` is standard input
    pub map: PathBuf,
    /// Put the standard form in the file's place
    #[arg(long)]
    pub write: bool,
}

/// Options of `decode`.
#[derive(Debug, Args)]
pub struct DecodeOptions {
    #[command(flatten)]
    pub log: LogOptions,
    /// Only these channels
    #[arg(long = "channel", value_name = "NAME")]
    pub channels: Vec<String>,
    /// Values in SI, temperatures in °C, as `export` writes them, and not in the units of the map
    #[arg(long)]
    pub si: bool,
    /// Positions of the first and last 500 m too: they tell where somebody lives
    #[arg(long)]
    pub all_positions: bool,
}

/// Options of `export`.
#[derive(Debug, Args)]
pub struct ExportOptions {
    #[command(flatten)]
    pub log: LogOptions,
    #[command(flatten)]
    pub limits: LimitOptions,
    #[command(flatten)]
    pub past: PastOptions,
    /// Folder for the tables; made when it is not there
    #[arg(long, value_name = "DIR")]
    pub to: PathBuf,
    /// Samples on a regular grid, one column a channel, instead of at their own times
    #[arg(long, value_name = "HZ", allow_negative_numbers = true)]
    pub rate: Option<f64>,
    /// Laps begin where the car first passes this point, in degrees, north and east positive
    #[arg(long, value_name = "LAT,LON", allow_hyphen_values = true)]
    pub start_line: Option<StartLine>,
    /// Positions of the first and last 500 m too (and, with --rate, any): they tell where
    /// somebody lives
    #[arg(long)]
    pub all_positions: bool,
}

/// Options of `whatif`.
#[derive(Debug, Args)]
pub struct WhatIfOptions {
    #[command(flatten)]
    pub log: LogOptions,
    #[command(flatten)]
    pub limits: LimitOptions,
    /// Friction surfaces in contact
    #[arg(long, value_name = "N", value_parser = quantity::faces, allow_hyphen_values = true)]
    pub faces: Option<u32>,
    /// Outer radius of the lining, as 62mm
    #[arg(long, value_name = "LENGTH", value_parser = quantity::radius, allow_hyphen_values = true)]
    pub outer_radius: Option<f64>,
    /// Inner radius of the lining, as 40mm
    #[arg(long, value_name = "LENGTH", value_parser = quantity::radius, allow_hyphen_values = true)]
    pub inner_radius: Option<f64>,
    /// Share of the lining that is groove, as 15%
    #[arg(long, value_name = "SHARE", value_parser = quantity::groove_share, allow_hyphen_values = true)]
    pub groove_share: Option<f64>,
    /// Coefficient of friction, as 0.12
    #[arg(long, value_name = "NUMBER", value_parser = quantity::friction, allow_hyphen_values = true)]
    pub friction: Option<f64>,
    /// Torque of one pack with no command, as 100N.m
    #[arg(long, value_name = "TORQUE", value_parser = quantity::preload, allow_hyphen_values = true)]
    pub preload: Option<f64>,
    /// Oil quantity, as 1.2l
    #[arg(long, value_name = "VOLUME", value_parser = quantity::oil, allow_hyphen_values = true)]
    pub oil: Option<f64>,
    /// Heat that the housing gives to the air, over what it gives now, as 1.3x
    #[arg(long, value_name = "FACTOR", value_parser = quantity::cooling, allow_hyphen_values = true)]
    pub cooling: Option<f64>,
    /// File with the map's torque table written anew, its lines as in the map, under the same name
    #[arg(long, value_name = "FILE")]
    pub torque_table: Option<PathBuf>,
    /// Print the comparison as JSON instead of the table
    #[arg(long)]
    pub json: bool,
    /// Folder for what-if.html and what-if.json; made when it is not there
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
}

/// Options of `demo`.
#[derive(Debug, Args)]
pub struct DemoOptions {
    /// Folder to make it in
    #[arg(value_name = "DIR")]
    pub dir: PathBuf,
    /// Which drive
    #[arg(long, default_value = "hard-track-day", value_name = "NAME")]
    pub drive: String,
    #[command(flatten)]
    pub limits: LimitOptions,
    #[command(flatten)]
    pub past: PastOptions,
}

/// Options of `man`.
#[derive(Debug, Args)]
pub struct ManOptions {
    /// Folder for the pages; made when it is not there
    #[arg(value_name = "DIR")]
    pub dir: PathBuf,
}

/// Options of `completions`.
#[derive(Debug, Args)]
pub struct CompletionsOptions {
    /// Which shell
    #[arg(value_name = "SHELL")]
    pub shell: clap_complete::Shell,
}

/// Options of `pages`.
#[derive(Debug, Args)]
pub struct PagesOptions {
    /// Folder for the pages
    pub dir: PathBuf,
    /// Write nothing; exit with 2 when a page is stale
    #[arg(long)]
    pub check: bool,
}
