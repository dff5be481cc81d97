//! What segments are written to, so that tests can have a disk that fails.

use std::fmt::Debug;
use std::fs::File;
use std::io::{self, Write};
use std::path::Path;

/// A file that is only added to.
pub(super) trait SegmentFile: Write + Debug + Send {
    /// Gives all that was written to the disk itself.
    fn sync(&mut self) -> io::Result<()>;
    /// Forgets what lies behind the first `n` bytes.
    fn cut(&mut self, n: u64) -> io::Result<()>;
}

impl SegmentFile for File {
    fn sync(&mut self) -> io::Result<()> {
        self.sync_data()
    }

    fn cut(&mut self, n: u64) -> io::Result<()> {
        self.set_len(n)
    }
}

/// Makes a file that is not there yet.
pub(super) type Make = fn(&Path) -> io::Result<Box<dyn SegmentFile>>;

/// Makes one on the disk.
pub(super) fn make(path: &Path) -> io::Result<Box<dyn SegmentFile>> {
    // To be added to, so that after a cut nothing is written behind a hole.
    let file = File::options().append(true).create_new(true).open(path)?;
    Ok(Box::new(file))
}

/// Gives the names in a folder to the disk: a file that is synced and has no name is lost.
pub(super) fn sync_folder(folder: &Path) -> io::Result<()> {
    if cfg!(unix) {
        File::open(folder)?.sync_all()?;
    }
    Ok(())
}
