//! The command line of `capture`.

use std::net::SocketAddr;
use std::path::PathBuf;

use clap::Args;

use super::LimitOptions;
use crate::quantity;

pub const ABOUT: &str = "\
Record a bus, drive by drive, and follow it live; or play a log back in its place.

Listens only, on Linux: it does not start unless every interface is in listen-only mode, a virtual \
bus, or said to be a bench, and it never changes one. An interface that is missing or down is waited \
for. A drive begins with a frame and ends when the bus has been silent for a while; each has a \
folder of its own in DIR, which `halfshaft report` reads. A power cut costs at most a second. What \
went by and was not got is counted and stands in the log.

A line on standard input makes a mark: its words stand in the log, the report shows them, and a \
stint ends there.";

pub const EXAMPLES: &str = "\
Example: halfshaft capture can0 --map my-car.map --into drives
Without a bus: halfshaft capture --replay drive.log --map my-car.map
On a bench with a virtual bus: halfshaft capture vcan0 --into drives --lines --map my-car.map
docs/capture.md leads from a bare board to the first live page.";

/// Options of `capture`.
#[derive(Debug, Args)]
pub struct CaptureOptions {
    /// CAN interfaces, all recorded into one log
    #[arg(
        value_name = "IFACE",
        required_unless_present = "replay",
        conflicts_with = "replay"
    )]
    pub interfaces: Vec<String>,
    /// Logs to play back in the place of a bus; nothing is recorded
    #[arg(long, value_name = "LOG", num_args = 1.., requires = "map")]
    pub replay: Vec<PathBuf>,
    /// How many times as fast as it was recorded; 0 is as fast as it goes
    #[arg(long, value_name = "FACTOR", default_value_t = 1.0, value_parser = speed, requires = "replay")]
    pub speed: f64,
    /// Signal map; without one the bus is recorded and not followed
    #[arg(long, value_name = "MAP")]
    pub map: Option<PathBuf>,
    /// Folder for the drives; made when it is not there
    #[arg(
        long,
        value_name = "DIR",
        required_unless_present = "replay",
        conflicts_with = "replay"
    )]
    pub into: Option<PathBuf>,
    /// Nothing depends on the bus: listen although the interface is not in listen-only mode
    #[arg(long)]
    pub bench: bool,
    /// A file of the drive is closed when it is so large
    #[arg(long, value_name = "SIZE", default_value = "8MiB", value_parser = quantity::bytes, allow_hyphen_values = true)]
    pub segment_size: u64,
    /// And when it is so old
    #[arg(long, value_name = "SECONDS", default_value_t = 60.0, value_parser = segment_seconds, allow_hyphen_values = true)]
    pub segment_seconds: f64,
    /// The oldest drives are deleted when all of them take more than this [default: none is]
    #[arg(long, value_name = "SIZE", value_parser = quantity::bytes, allow_hyphen_values = true)]
    pub keep: Option<u64>,
    /// A silence of the bus so long ends a drive
    #[arg(long, value_name = "TIME", default_value = "30s", value_parser = quantity::silence, allow_hyphen_values = true)]
    pub silence: f64,
    /// Where the live page is served; beyond this computer a token is needed [default:
    /// 127.0.0.1:8470 where there is a map]
    #[arg(long, value_name = "ADDRESS:PORT", requires = "map")]
    pub listen: Option<SocketAddr>,
    /// File with the token that readers of the page must give
    #[arg(long, value_name = "FILE", requires = "map")]
    pub token_file: Option<PathBuf>,
    /// Print the live figures on standard output, a line of JSON each
    #[arg(long, requires = "map")]
    pub lines: bool,
    /// Write the report of a drive in a folder of its name in DIR when it ends
    #[arg(long, value_name = "DIR", requires_all = ["map", "into"])]
    pub report_into: Option<PathBuf>,
    #[command(flatten)]
    pub limits: LimitOptions,
}

fn speed(text: &str) -> Result<f64, String> {
    number(text, 0.0, 1000.0)
}

fn segment_seconds(text: &str) -> Result<f64, String> {
    number(text, 1.0, 3600.0)
}

fn number(text: &str, low: f64, high: f64) -> Result<f64, String> {
    let value = text.trim().parse().ok();
    value
        .filter(|value| (low..=high).contains(value))
        .ok_or_else(|| format!("expected a number from {low} to {high}; found `{text}`"))
}
