//! What earlier runs left: torn tails, and drives that may have to make room.

use std::fs::{self, File};
use std::io::{self, Seek, SeekFrom};
use std::path::{Path, PathBuf};

use halfshaft_logs::{drives, segment};

use super::SetAside;
use super::file::sync_folder;

/// An earlier drive.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Earlier {
    pub number: u64,
    pub folder: PathBuf,
    pub n_bytes: u64,
}

/// The earlier drives in a folder, the oldest first.
pub(super) fn earlier(into: &Path) -> io::Result<Vec<Earlier>> {
    let drives = drives::drives(into)?.into_iter();
    let sized = drives.map(|(number, folder)| {
        Ok(Earlier {
            number,
            n_bytes: size(&folder)?,
            folder,
        })
    });
    sized.collect()
}

fn size(folder: &Path) -> io::Result<u64> {
    let mut n_bytes = 0;
    for entry in fs::read_dir(folder)? {
        let about = entry?.metadata()?;
        n_bytes += if about.is_file() { about.len() } else { 0 };
    }
    Ok(n_bytes)
}

/// Sets aside what lies behind the last sound block of a drive. Only its last segment can be
/// torn: each is synced before the next begins.
pub(super) fn set_aside(drive: &Path) -> io::Result<Option<SetAside>> {
    let Some((_, path)) = drives::segments(drive)?.pop() else {
        return Ok(None);
    };
    let mut file = File::open(&path)?;
    if segment::ended(&mut file)?.is_some() {
        return Ok(None);
    }
    file.rewind()?;
    let whole = segment::whole(&file)?;
    let n_all = file.metadata()?.len();
    // A segment without an entry is no log: all of it is set aside.
    let n_whole = match whole.n_entries {
        0 => 0,
        _ => whole.n_bytes,
    };
    let n_bytes = n_all.saturating_sub(n_whole);
    if n_bytes == 0 && n_whole > 0 {
        return Ok(None);
    }
    let moved = match n_whole {
        0 => fs::rename(&path, drives::torn(&path)).and_then(|()| sync_folder(drive)),
        _ => move_tail(&mut file, &path, n_whole),
    };
    Ok(Some(SetAside {
        segment: path,
        n_bytes,
        // A disk that is full or can only be read leaves it where it is; readers pass over it.
        trouble: moved.err().map(|trouble| trouble.to_string()),
    }))
}

/// Moves the tail of a segment into a file of its own, which is there for good before the
/// segment is cut.
fn move_tail(file: &mut File, path: &Path, n_whole: u64) -> io::Result<()> {
    let torn = drives::torn(path);
    let mut copy = || {
        let mut aside = File::create(&torn)?;
        file.seek(SeekFrom::Start(n_whole))?;
        io::copy(file, &mut aside)?;
        aside.sync_all()
    };
    if let Err(trouble) = copy() {
        let _ = fs::remove_file(&torn);
        return Err(trouble);
    }
    if let Some(drive) = path.parent() {
        sync_folder(drive)?;
    }
    let segment = File::options().write(true).open(path)?;
    segment.set_len(n_whole)?;
    segment.sync_all()
}
