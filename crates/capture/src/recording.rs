//! The state of a recording: what was kept, what was lost, what stands in the way.
//!
//! Written by the source of frames, read by whoever shows it.

use serde::Serialize;

/// The state of a recording.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Recording {
    /// The interfaces listened to, or the log played back.
    pub interfaces: Vec<Interface>,
    /// Where the drive is kept, without its folder; `None`: nothing is kept (a replay, or no
    /// drive goes on).
    pub keeps_in: Option<String>,
    /// Bytes kept of this drive.
    pub kept_bytes: u64,
    /// Seconds of the log that a power cut would cost now: the time since data was last synced.
    pub unsynced_s: f64,
    /// Bytes left on the disk; `None`: nothing is kept, or it could not be asked.
    pub disk_left_bytes: Option<u64>,
    /// What keeps frames from being kept, in words; `None`: nothing.
    pub trouble: Option<String>,
}

/// One interface.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Interface {
    /// Its name.
    pub name: String,
    /// What it does.
    pub state: State,
    /// Frames got.
    pub n_frames: u64,
    /// Frames that went by and were not got, by the kernel's count.
    pub n_lost: u64,
    /// Error reports of its controller.
    pub n_errors: u64,
    /// Seconds since its latest frame; `None`: there was none.
    pub silent_s: Option<f64>,
}

/// What an interface does.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum State {
    /// It is not there.
    #[default]
    Absent,
    /// It is there and down.
    Down,
    /// It is up.
    Listening,
    /// The log played back has ended.
    Ended,
}
