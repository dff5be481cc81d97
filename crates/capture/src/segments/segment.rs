//! One segment while it is written: blocks gather, are flushed, are synced.
//!
//! Between two blocks only whole ones are on the disk: where a write fails, what it left of a
//! block is cut off again.

use std::io;
use std::path::PathBuf;

use halfshaft_logs::write::pcapng::{self, Header, RawFrame, Statistics};
use halfshaft_model::Stamp;

use super::file::{Make, SegmentFile, sync_folder};
use super::{Clocks, Error};

/// So many bytes wait at most before they are written.
const MOST_WAITING: usize = 1 << 16;

/// A segment while it is written.
#[derive(Debug)]
pub(super) struct Segment {
    path: PathBuf,
    file: Box<dyn SegmentFile>,
    waiting: Vec<u8>,
    written_bytes: u64,
    start: Stamp,
    began_ns: i64,
    interfaces: Vec<Counts>,
}

/// What happened on an interface since the segment began.
#[derive(Clone, Copy, Debug, Default)]
struct Counts {
    n_received: u64,
    n_lost: u64,
    // Since its latest frame.
    n_lost_since_frame: u64,
}

impl Segment {
    /// Begins a segment at a place where none is.
    pub fn begin(
        path: PathBuf,
        make: Make,
        header: &Header,
        start: Stamp,
        at: Clocks,
    ) -> Result<Segment, Error> {
        let file = make(&path).map_err(|cause| Error::of(&path, cause))?;
        let mut segment = Segment {
            file,
            waiting: Vec::with_capacity(MOST_WAITING),
            written_bytes: 0,
            start,
            began_ns: at.monotonic_ns,
            interfaces: vec![Counts::default(); header.interfaces.len()],
            path,
        };
        pcapng::header(&mut segment.waiting, header);
        segment.sync()?;
        if let Some(folder) = segment.path.parent() {
            sync_folder(folder).map_err(|cause| Error::of(folder, cause))?;
        }
        Ok(segment)
    }

    /// Adds a frame.
    pub fn frame(&mut self, interface: u16, stamp: Stamp, frame: &RawFrame) -> Result<(), Error> {
        let counts = self.counts(interface)?;
        counts.n_received += 1;
        let n_lost = std::mem::take(&mut counts.n_lost_since_frame);
        pcapng::frame(&mut self.waiting, interface, stamp, frame, n_lost);
        match self.waiting.len() {
            0..MOST_WAITING => Ok(()),
            _ => self.flush(),
        }
    }

    /// Takes note of frames lost.
    pub fn lost(&mut self, interface: u16, n: u64) -> Result<(), Error> {
        let counts = self.counts(interface)?;
        counts.n_lost = counts.n_lost.saturating_add(n);
        counts.n_lost_since_frame = counts.n_lost_since_frame.saturating_add(n);
        Ok(())
    }

    /// Adds a mark.
    pub fn mark(&mut self, stamp: Stamp, note: &str) {
        pcapng::mark(&mut self.waiting, stamp, note);
    }

    /// Adds how each interface stands and syncs it all.
    pub fn keep(&mut self, stamp: Stamp, at: Clocks, is_end: bool) -> Result<(), Error> {
        for (interface, counts) in (0..).zip(&self.interfaces) {
            let statistics = Statistics {
                start: self.start,
                end: is_end.then_some(stamp),
                n_received: counts.n_received,
                n_lost: counts.n_lost,
                clock_offset_ns: at.wall_ns.saturating_sub(at.monotonic_ns),
            };
            pcapng::statistics(&mut self.waiting, interface, stamp, &statistics);
        }
        self.sync()
    }

    /// Bytes it has, those that wait included.
    pub fn n_bytes(&self) -> u64 {
        self.written_bytes + self.waiting.len() as u64
    }

    /// How old it is, in nanoseconds.
    pub fn age_ns(&self, at: Clocks) -> i64 {
        at.monotonic_ns.saturating_sub(self.began_ns)
    }

    /// Gives what waits to the operating system: a program that is killed then loses nothing.
    pub fn flush(&mut self) -> Result<(), Error> {
        let written = self.file.write_all(&self.waiting);
        self.written(written)?;
        self.written_bytes += self.waiting.len() as u64;
        self.waiting.clear();
        Ok(())
    }

    fn sync(&mut self) -> Result<(), Error> {
        self.flush()?;
        let synced = self.file.sync();
        self.written(synced)
    }

    fn written(&mut self, result: io::Result<()>) -> Result<(), Error> {
        result.map_err(|cause| {
            // It may fail as well; then the next run sets aside what is torn.
            let _ = self.file.cut(self.written_bytes);
            Error::of(&self.path, cause)
        })
    }

    fn counts(&mut self, interface: u16) -> Result<&mut Counts, Error> {
        let counts = self.interfaces.get_mut(usize::from(interface));
        counts.ok_or(Error::NoInterface(interface))
    }
}
