//! A folder in place of a log: the segments of one drive, read as one.
//!
//! In: a folder that was named as a log. Out: the segments of the drive it is, or of the only
//! drive in it; else an error that says what there is to name.

use std::fs::File;
use std::io;
use std::path::{Path, PathBuf};

use halfshaft_model::Stamp;

use crate::drives;
use crate::error::Error;
use crate::segment;

/// So many drives are listed at most, the latest.
const MOST_LISTED: usize = 20;

/// The drive in a folder that has no other; any other path stays as it is.
pub(crate) fn the_only_drive(path: &Path) -> PathBuf {
    if !path.is_dir() {
        return path.to_owned();
    }
    // A folder named by where somebody stands has a name too.
    let folder = match path.file_name() {
        Some(_) => path.components().collect(),
        None => path.canonicalize().unwrap_or_else(|_| path.to_owned()),
    };
    match &full_drives(&folder).unwrap_or_default()[..] {
        [only] => only.clone(),
        _ => folder,
    }
}

/// The segments of a drive.
pub(crate) fn segments(folder: &Path) -> Result<Vec<PathBuf>, Error> {
    let name = folder.display().to_string();
    let unreadable = |cause| Error::Unreadable {
        name: name.clone(),
        cause,
    };
    let segments = drives::segments(folder).map_err(unreadable)?;
    if !segments.is_empty() {
        return Ok(segments.into_iter().map(|(_, path)| path).collect());
    }
    let drives = full_drives(folder).map_err(unreadable)?;
    if drives.is_empty() {
        return Err(unreadable(io::Error::other(
            "it is a folder; name the files in it",
        )));
    }
    let n_drives = drives.len();
    let latest = &drives[n_drives.saturating_sub(MOST_LISTED)..];
    let mut list: String = latest.iter().map(|drive| line(drive)).collect();
    if latest.len() < n_drives {
        list += &format!("\n  and {} earlier ones", n_drives - latest.len());
    }
    Err(Error::SeveralDrives {
        name,
        n_drives,
        list,
    })
}

/// What was torn off segments of a drive and set aside: the files, and their bytes.
pub(crate) fn torn(drive: &Path) -> io::Result<Vec<(PathBuf, u64)>> {
    let tails = drives::torn_tails(drive)?.into_iter();
    let sized = tails.map(|(_, path)| Ok((path.clone(), path.metadata()?.len())));
    let mut sized: Vec<_> = sized.collect::<io::Result<_>>()?;
    sized.retain(|(_, n_bytes)| *n_bytes > 0);
    Ok(sized)
}

/// The drives of a folder of drives that have segments; none where it is a drive itself.
fn full_drives(folder: &Path) -> io::Result<Vec<PathBuf>> {
    if !drives::segments(folder)?.is_empty() {
        return Ok(Vec::new());
    }
    let drives = drives::drives(folder)?.into_iter();
    let full = drives.filter(|(_, drive)| drives::segments(drive).is_ok_and(|all| !all.is_empty()));
    Ok(full.map(|(_, drive)| drive).collect())
}

/// One drive of a list: its name, when it began, how long it is, how many frames it has.
fn line(drive: &Path) -> String {
    let name = drive.file_name().unwrap_or_default().to_string_lossy();
    match facts(drive) {
        Ok(Some((start, end, n_frames))) => {
            let date = jiff::Timestamp::from_nanosecond(start.0.into())
                .ok()
                .filter(|_| start.is_date());
            let date = date.map_or_else(
                || "date unknown".to_owned(),
                |date| date.strftime("%Y-%m-%d %H:%M UTC").to_string(),
            );
            let minutes = (end.seconds() - start.seconds()) / 60.0;
            format!("\n  {name}: {date}, {minutes:.1} min, {n_frames} frames")
        }
        Ok(None) => format!("\n  {name}: no frames"),
        Err(cause) => format!("\n  {name}: {cause}"),
    }
}

/// When a drive began and ended, and how many frames it has.
fn facts(drive: &Path) -> io::Result<Option<(Stamp, Stamp, u64)>> {
    let mut facts: Option<(Stamp, Stamp, u64)> = None;
    for (_, path) in drives::segments(drive)? {
        let mut file = File::open(path)?;
        // One that was cut says nothing at its end.
        let found = match segment::ended(&mut file)? {
            Some(ended) => Some((ended.start, ended.end, ended.n_frames)),
            None => {
                io::Seek::rewind(&mut file)?;
                let whole = segment::whole(file)?;
                whole
                    .frames
                    .map(|(first, last)| (first, last, whole.n_frames))
            }
        };
        if let Some((start, end, n_frames)) = found {
            let (start, n_before) = facts.map_or((start, 0), |(start, _, n)| (start, n));
            facts = Some((start, end, n_before + n_frames));
        }
    }
    Ok(facts)
}
