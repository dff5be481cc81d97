//! Arguments of `look` and `map start`.

use std::path::PathBuf;

use clap::Args;

/// An example of `look`.
pub const LOOK: &str = "\
Example: halfshaft look drive.log --out drive.html
It needs no map. Candidates are guesses by how fields run; `halfshaft map start` begins a map with them.";

/// An example of `map start`.
pub const MAP_START: &str = "Example: halfshaft map start drive.log --into new-car.map";

/// Options of `look`.
#[derive(Debug, Args)]
pub struct LookOptions {
    /// Logs: SocketCAN text or sheets, plain, gzip or zstd; `-` is standard input. Several
    /// are read as one
    #[arg(required = true, value_name = "LOG")]
    pub logs: Vec<PathBuf>,
    /// Print it as JSON
    #[arg(long)]
    pub json: bool,
    /// File for a page with a picture of every field over time
    #[arg(long, value_name = "PAGE.html")]
    pub out: Option<PathBuf>,
}

/// Options of `map start`.
#[derive(Debug, Args)]
pub struct MapStartOptions {
    /// Logs of the car; `-` is standard input
    #[arg(required = true, value_name = "LOG")]
    pub logs: Vec<PathBuf>,
    /// File to write, which must not be there; its folder is made
    #[arg(long, value_name = "FILE.map")]
    pub into: PathBuf,
}
