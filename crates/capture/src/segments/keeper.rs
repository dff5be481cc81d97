//! Keeps the frames of a drive: what is written when, synced when, rolled when.

use std::fs::{self, File};
use std::io::Write;
use std::path::PathBuf;

use halfshaft_logs::write::pcapng::{self, Header, RawFrame, Statistics};
use halfshaft_model::Stamp;

use super::{Clocks, Error, Facts, Options, SetAside};

/// Keeps drives in a folder.
#[derive(Debug)]
pub struct Keeper {
    options: Options,
    drive: Option<Drive>,
    set_aside: Vec<SetAside>,
    latest: Clocks,
}

/// The drive that goes on.
#[derive(Debug)]
struct Drive {
    folder: PathBuf,
    interfaces: Vec<Statistics>,
    // Frames lost of each interface since its last frame.
    lost: Vec<u64>,
    anchor: Clocks,
    file: File,
    path: PathBuf,
    buffer: Vec<u8>,
    kept_bytes: u64,
    synced_ns: i64,
}

impl Keeper {
    /// Opens the folder of drives and looks at what an earlier run left.
    pub fn open(options: Options) -> Result<Keeper, Error> {
        fs::create_dir_all(&options.into).map_err(|cause| Error::of(&options.into, cause))?;
        Ok(Keeper {
            options,
            drive: None,
            set_aside: Vec::new(),
            latest: Clocks::default(),
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
        let into = &self.options.into;
        let folder = (1..)
            .map(|number| into.join(format!("drive-{number:04}")))
            .find(|folder| !folder.exists());
        let folder = folder.ok_or(Error::NoDrive)?;
        let path = folder.join("0001.pcapng");
        let refused = |cause| Error::of(&path, cause);
        fs::create_dir(&folder).map_err(refused)?;
        let file = File::create_new(&path).map_err(refused)?;
        let mut buffer = Vec::new();
        pcapng::header(
            &mut buffer,
            &Header {
                application: concat!("halfshaft ", env!("CARGO_PKG_VERSION")),
                interfaces,
                ..Header::default()
            },
        );
        self.drive = Some(Drive {
            folder,
            interfaces: vec![Statistics::default(); interfaces.len()],
            lost: vec![0; interfaces.len()],
            anchor: at,
            file,
            path,
            buffer,
            kept_bytes: 0,
            synced_ns: at.monotonic_ns,
        });
        self.tick(at)
    }

    /// Keeps a frame.
    pub fn frame(&mut self, interface: u16, at: Clocks, frame: &RawFrame) -> Result<(), Error> {
        self.latest = at;
        let drive = self.drive.as_mut().ok_or(Error::NoDrive)?;
        let index = usize::from(interface);
        let n_lost = drive.lost.get_mut(index).map_or(0, std::mem::take);
        if let Some(statistics) = drive.interfaces.get_mut(index) {
            statistics.n_received += 1;
        }
        let stamp = drive.stamp(at);
        pcapng::frame(&mut drive.buffer, interface, stamp, frame, n_lost);
        Ok(())
    }

    /// Takes note of frames that went by on an interface and were not got.
    pub fn lost(&mut self, interface: u16, at: Clocks, n: u64) -> Result<(), Error> {
        self.latest = at;
        let drive = self.drive.as_mut().ok_or(Error::NoDrive)?;
        let index = usize::from(interface);
        if let (Some(lost), Some(statistics)) =
            (drive.lost.get_mut(index), drive.interfaces.get_mut(index))
        {
            *lost += n;
            statistics.n_lost += n;
        }
        Ok(())
    }

    /// Keeps a note of somebody who is there.
    pub fn mark(&mut self, at: Clocks, note: &str) -> Result<(), Error> {
        self.latest = at;
        let drive = self.drive.as_mut().ok_or(Error::NoDrive)?;
        let stamp = drive.stamp(at);
        pcapng::mark(&mut drive.buffer, stamp, note);
        Ok(())
    }

    /// Syncs, rolls and makes room, each when it is time: to be called at least each 0.25 s.
    pub fn tick(&mut self, at: Clocks) -> Result<(), Error> {
        self.latest = at;
        let Some(drive) = &mut self.drive else {
            return Ok(());
        };
        let refused = |cause| Error::of(&drive.path, cause);
        drive.file.write_all(&drive.buffer).map_err(refused)?;
        drive.file.sync_data().map_err(refused)?;
        drive.kept_bytes += drive.buffer.len() as u64;
        drive.buffer.clear();
        drive.synced_ns = at.monotonic_ns;
        Ok(())
    }

    /// Ends the drive, if one goes on.
    pub fn end_drive(&mut self) -> Result<(), Error> {
        self.tick(self.latest)?;
        self.drive = None;
        Ok(())
    }

    /// How it all stands.
    pub fn facts(&self) -> Facts {
        let Some(drive) = &self.drive else {
            return Facts::default();
        };
        let name = drive.folder.file_name();
        Facts {
            keeps_in: name.map(|name| name.to_string_lossy().into_owned()),
            kept_bytes: drive.kept_bytes,
            unsynced_s: (self.latest.monotonic_ns - drive.synced_ns) as f64 / 1e9,
            disk_left_bytes: None,
        }
    }
}

impl Drive {
    fn stamp(&self, at: Clocks) -> Stamp {
        let since_ns = at.monotonic_ns.saturating_sub(self.anchor.monotonic_ns);
        Stamp(self.anchor.wall_ns.saturating_add(since_ns))
    }
}
