//! The frames of a recording, kept at all cost: a folder for each drive, in it segments of an
//! open standard form, synced at least each second.
//!
//! In: frames, losses, marks and the time. Out: `INTO/drive-0001/0001.pcapng`, `0002.pcapng` …
//! A power cut costs at most a second; what it tore is set aside when the next run begins.

mod error;
mod file;
mod keeper;
mod left_over;
mod segment;
#[cfg(test)]
mod tests;

use std::path::PathBuf;

use halfshaft_model::Stamp;

pub use error::Error;
pub use halfshaft_logs::write::pcapng::RawFrame;
pub use keeper::Keeper;

/// Where and how drives are kept.
#[derive(Clone, Debug)]
pub struct Options {
    /// The folder of the drives; made where it is missing.
    pub into: PathBuf,
    /// A segment is closed when it has so many bytes.
    pub segment_bytes: u64,
    /// And when it is so old, in seconds.
    pub segment_s: f64,
    /// The oldest drives are deleted when all of them take more than this; `None`: nothing is
    /// ever deleted. The drive that goes on stays in any case.
    pub keep_bytes: Option<u64>,
}

impl Options {
    /// The usual ones: segments of 8 MiB or a minute, nothing is deleted.
    pub fn new(into: PathBuf) -> Options {
        Options {
            into,
            segment_bytes: 8 << 20,
            segment_s: 60.0,
            keep_bytes: None,
        }
    }
}

/// A moment on both clocks. Stamps kept follow the monotonic clock from the wall clock's time
/// at the drive's beginning on: a clock that is set makes no jump.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Clocks {
    /// The wall clock: nanoseconds since 1970.
    pub wall_ns: i64,
    /// The monotonic clock, in nanoseconds.
    pub monotonic_ns: i64,
}

impl Clocks {
    /// The stamp of a moment of a drive that began at this one.
    fn stamp(self, at: Clocks) -> Stamp {
        let since_ns = at.monotonic_ns.saturating_sub(self.monotonic_ns);
        Stamp(self.wall_ns.saturating_add(since_ns))
    }
}

/// How the recording stands on the disk.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Facts {
    /// The folder of the drive, without the folders it stands in; `None`: no drive goes on.
    pub keeps_in: Option<String>,
    /// Bytes kept of this drive.
    pub kept_bytes: u64,
    /// Seconds from the last sync to the latest moment the keeper was given.
    pub unsynced_s: f64,
    /// Bytes left on the disk; `None`: it could not be asked.
    pub disk_left_bytes: Option<u64>,
}

/// What an earlier run left torn, and where it was set aside.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SetAside {
    /// The segment.
    pub segment: PathBuf,
    /// Bytes behind its last whole block.
    pub n_bytes: u64,
    /// Why they are still in the segment; `None`: they are in the file `NAME.torn` beside it.
    pub trouble: Option<String>,
}
