//! Keeps drives: what is written when, synced when, rolled when, and what makes room.
//!
//! A segment begins with the first entry it has, so that a silent bus leaves none that are
//! empty. After an error no drive goes on; whatever was synced before stays.

use std::fs::{self, File, TryLockError};
use std::path::PathBuf;

use halfshaft_logs::drives;
use halfshaft_logs::write::pcapng::{Header, RawFrame};
use halfshaft_model::Stamp;
use halfshaft_model::constants::NS_PER_S;

use super::file::{self, Make};
use super::left_over::{self, Earlier};
use super::segment::Segment;
use super::{Clocks, Error, Facts, Options, SetAside};

/// A tick syncs when the last sync is so long ago; ticks come every quarter of a second.
const SYNC_NS: i64 = NS_PER_S / 2;
/// An entry syncs, tick or not, when the last sync is so long ago.
const LATEST_SYNC_NS: i64 = NS_PER_S;

/// Name of the file that tells two recorders of one folder apart.
const LOCK: &str = ".recorder.lock";

/// Keeps drives in a folder.
#[derive(Debug)]
pub struct Keeper {
    options: Options,
    make: Make,
    about: About,
    earlier: Vec<Earlier>,
    next_number: u64,
    drive: Option<Drive>,
    set_aside: Vec<SetAside>,
    latest: Clocks,
    // Held as long as the keeper lives.
    _lock: File,
}

/// What every segment says of where it was made.
#[derive(Debug)]
struct About {
    os: String,
    comment: String,
}

/// The drive that goes on.
#[derive(Debug)]
struct Drive {
    number: u64,
    folder: PathBuf,
    interfaces: Vec<String>,
    anchor: Clocks,
    n_segments: u64,
    segment: Option<Segment>,
    // Of the segments ended.
    kept_bytes: u64,
    synced_ns: i64,
}

impl Keeper {
    /// Opens the folder of drives, made where it is missing, and sets aside what an earlier
    /// run left torn.
    pub fn open(options: Options) -> Result<Keeper, Error> {
        Keeper::on(options, file::make)
    }

    /// The same with files made in another way.
    pub(super) fn on(options: Options, make: Make) -> Result<Keeper, Error> {
        let into = &options.into;
        let refused = |cause| Error::of(into, cause);
        fs::create_dir_all(into).map_err(refused)?;
        let lock = File::options()
            .create(true)
            .append(true)
            .open(into.join(LOCK))
            .map_err(refused)?;
        match lock.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => return Err(Error::InUse { path: into.clone() }),
            Err(TryLockError::Error(cause)) => return Err(refused(cause)),
        }
        let mut set_aside = Vec::new();
        for (_, drive) in drives::drives(into).map_err(refused)? {
            set_aside.extend(left_over::set_aside(&drive).map_err(refused)?);
        }
        let earlier = left_over::earlier(into).map_err(refused)?;
        Ok(Keeper {
            next_number: earlier.last().map_or(1, |last| last.number + 1),
            earlier,
            about: About::this_machine(),
            options,
            make,
            drive: None,
            set_aside,
            latest: Clocks::default(),
            _lock: lock,
        })
    }

    /// What an earlier run left torn.
    pub fn set_aside(&self) -> &[SetAside] {
        &self.set_aside
    }

    /// Begins a drive; one that goes on is ended first.
    pub fn begin_drive(&mut self, interfaces: &[String], at: Clocks) -> Result<(), Error> {
        self.end_drive()?;
        self.latest = at;
        self.make_room();
        let into = &self.options.into;
        let number = self.next_number;
        self.next_number += 1;
        let folder = drives::drive(into, number);
        fs::create_dir(&folder).map_err(|cause| Error::of(&folder, cause))?;
        file::sync_folder(into).map_err(|cause| Error::of(into, cause))?;
        let mut drive = Drive {
            number,
            folder,
            interfaces: interfaces.to_vec(),
            anchor: at,
            n_segments: 0,
            segment: None,
            kept_bytes: 0,
            synced_ns: at.monotonic_ns,
        };
        // The first segment is made at once: a disk that cannot be written shows here.
        let begun = drive.segment(at, self.make, &self.about).map(|_| ());
        self.drive = Some(drive);
        self.unless_refused(begun)
    }

    /// Keeps a frame.
    pub fn frame(&mut self, interface: u16, at: Clocks, frame: &RawFrame) -> Result<(), Error> {
        self.add(at, |segment, stamp| segment.frame(interface, stamp, frame))
    }

    /// Takes note of frames that went by on an interface and were not got.
    pub fn lost(&mut self, interface: u16, at: Clocks, n: u64) -> Result<(), Error> {
        self.add(at, |segment, _| segment.lost(interface, n))
    }

    /// Keeps a note of somebody who is there.
    pub fn mark(&mut self, at: Clocks, note: &str) -> Result<(), Error> {
        self.add(at, |segment, stamp| {
            segment.mark(stamp, note);
            Ok(())
        })
    }

    /// Syncs, rolls and makes room, each when it is time: to be called every 0.25 s.
    pub fn tick(&mut self, at: Clocks) -> Result<(), Error> {
        let kept = self.keep_until(at, SYNC_NS);
        self.unless_refused(kept)
    }

    /// Ends the drive, if one goes on.
    pub fn end_drive(&mut self) -> Result<(), Error> {
        let at = self.latest;
        let ended = self.drive.as_mut().map_or(Ok(()), |drive| drive.roll(at));
        self.forget_drive();
        ended
    }

    /// How it all stands.
    pub fn facts(&self) -> Facts {
        let Some(drive) = &self.drive else {
            return Facts::default();
        };
        let name = drive.folder.file_name();
        let unsynced_ns = match drive.segment {
            Some(_) => self.latest.monotonic_ns.saturating_sub(drive.synced_ns),
            None => 0,
        };
        Facts {
            keeps_in: name.map(|name| name.to_string_lossy().into_owned()),
            kept_bytes: drive.n_bytes(),
            unsynced_s: unsynced_ns.max(0) as f64 / NS_PER_S as f64,
            disk_left_bytes: left_on_disk(&drive.folder),
        }
    }

    /// Adds something to the drive.
    fn add(
        &mut self,
        at: Clocks,
        add: impl FnOnce(&mut Segment, Stamp) -> Result<(), Error>,
    ) -> Result<(), Error> {
        self.latest = at;
        let drive = self.drive.as_mut().ok_or(Error::NoDrive)?;
        let stamp = drive.stamp(at);
        let added = drive
            .segment(at, self.make, &self.about)
            .and_then(|segment| add(segment, stamp));
        let kept = added.and_then(|()| self.keep_until(at, LATEST_SYNC_NS));
        self.unless_refused(kept)
    }

    /// Syncs what is older than so much, and rolls a segment that is full.
    fn keep_until(&mut self, at: Clocks, sync_ns: i64) -> Result<(), Error> {
        self.latest = at;
        let Some(drive) = &mut self.drive else {
            return Ok(());
        };
        let Some(segment) = &mut drive.segment else {
            drive.synced_ns = at.monotonic_ns;
            return Ok(());
        };
        let longest_ns = (self.options.segment_s * NS_PER_S as f64) as i64;
        if segment.n_bytes() >= self.options.segment_bytes || segment.age_ns(at) >= longest_ns {
            drive.roll(at)?;
            self.make_room();
        } else if at.monotonic_ns.saturating_sub(drive.synced_ns) >= sync_ns {
            let stamp = drive.anchor.stamp(at);
            segment.keep(stamp, at, false)?;
            drive.synced_ns = at.monotonic_ns;
        } else if sync_ns == SYNC_NS {
            segment.flush()?;
        }
        Ok(())
    }

    /// After an error no drive goes on.
    fn unless_refused(&mut self, result: Result<(), Error>) -> Result<(), Error> {
        if result.is_err() {
            self.forget_drive();
        }
        result
    }

    fn forget_drive(&mut self) {
        if let Some(drive) = self.drive.take() {
            self.earlier.push(Earlier {
                number: drive.number,
                n_bytes: drive.n_bytes(),
                folder: drive.folder,
            });
        }
    }

    /// Deletes the oldest drives while all of them take more than is to be kept.
    fn make_room(&mut self) {
        let Some(keep_bytes) = self.options.keep_bytes else {
            return;
        };
        let current = self.drive.as_ref().map_or(0, Drive::n_bytes);
        let mut n_bytes: u64 = self.earlier.iter().map(|one| one.n_bytes).sum();
        while n_bytes + current > keep_bytes
            && let Some(oldest) = self.earlier.first()
        {
            // One that cannot be deleted now is tried again later.
            if fs::remove_dir_all(&oldest.folder).is_err() && oldest.folder.exists() {
                return;
            }
            n_bytes -= oldest.n_bytes;
            self.earlier.remove(0);
        }
    }
}

impl Drive {
    fn stamp(&self, at: Clocks) -> Stamp {
        self.anchor.stamp(at)
    }

    fn n_bytes(&self) -> u64 {
        self.kept_bytes + self.segment.as_ref().map_or(0, Segment::n_bytes)
    }

    /// The segment that goes on, or a new one.
    fn segment(&mut self, at: Clocks, make: Make, about: &About) -> Result<&mut Segment, Error> {
        if self.segment.is_none() {
            self.n_segments += 1;
            let path = drives::segment(&self.folder, self.n_segments);
            let header = Header {
                application: concat!("halfshaft ", env!("CARGO_PKG_VERSION")),
                os: &about.os,
                comment: &about.comment,
                interfaces: &self.interfaces,
            };
            let segment = Segment::begin(path, make, &header, self.stamp(at), at)?;
            self.segment = Some(segment);
            self.synced_ns = at.monotonic_ns;
        }
        self.segment.as_mut().ok_or(Error::NoDrive)
    }

    /// Ends the segment; the next entry begins another.
    fn roll(&mut self, at: Clocks) -> Result<(), Error> {
        let stamp = self.stamp(at);
        if let Some(segment) = &mut self.segment {
            segment.keep(stamp, at, true)?;
            self.kept_bytes += segment.n_bytes();
            self.synced_ns = at.monotonic_ns;
            self.segment = None;
        }
        Ok(())
    }
}

impl About {
    fn this_machine() -> About {
        let read = |path: &str| {
            let text = fs::read_to_string(path).unwrap_or_default();
            text.trim().to_owned()
        };
        let os = format!(
            "{} {}",
            std::env::consts::OS,
            read("/proc/sys/kernel/osrelease")
        );
        // Two drives of one boot share the monotonic clock.
        let boot = read("/proc/sys/kernel/random/boot_id");
        About {
            os: os.trim().to_owned(),
            comment: match boot.is_empty() {
                true => String::new(),
                false => format!("boot {boot}"),
            },
        }
    }
}

/// Bytes left on the disk of a folder, for whoever is not root.
#[cfg(unix)]
fn left_on_disk(folder: &std::path::Path) -> Option<u64> {
    let about = nix::sys::statvfs::statvfs(folder).ok()?;
    Some(u64::from(about.blocks_available()) * about.fragment_size() as u64)
}

#[cfg(not(unix))]
fn left_on_disk(_: &std::path::Path) -> Option<u64> {
    None
}
