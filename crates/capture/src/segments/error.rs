//! Why nothing more can be kept. What was synced before stays.

use std::io;
use std::path::{Path, PathBuf};

/// Why nothing more can be kept.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// No room is left, on the disk or in the user's share of it.
    #[error("{}: the disk is full", .path.display())]
    DiskFull {
        /// Where.
        path: PathBuf,
    },
    /// The file system can only be read.
    #[error("{}: the file system is read-only", .path.display())]
    ReadOnly {
        /// Where.
        path: PathBuf,
    },
    /// Another recorder keeps its drives in this folder.
    #[error("{}: another recorder keeps its drives there", .path.display())]
    InUse {
        /// Where.
        path: PathBuf,
    },
    /// The operating system refused.
    #[error("{}: {cause}", .path.display())]
    Refused {
        /// Where.
        path: PathBuf,
        /// What the operating system says.
        cause: io::Error,
    },
    /// A frame of an interface that the drive does not have.
    #[error("the drive has no interface {0}")]
    NoInterface(u16),
    /// Frames are to be kept, and no drive was begun.
    #[error("no drive was begun")]
    NoDrive,
}

impl Error {
    /// What the operating system's word means to a recording.
    pub(super) fn of(path: &Path, cause: io::Error) -> Error {
        let path = path.to_owned();
        match cause.kind() {
            io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => Error::DiskFull { path },
            io::ErrorKind::ReadOnlyFilesystem => Error::ReadOnly { path },
            _ => Error::Refused { path, cause },
        }
    }
}
