//! Between the source of frames and whoever follows it live.
//!
//! The source never waits: what the live side has no time for is left out there, counted, and
//! kept on disk all the same. Notes travel the other way: whoever makes a mark gives its words
//! to the source, which stamps and keeps it.

use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::mpsc::{Receiver, Sender, SyncSender, TrySendError, channel, sync_channel};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use halfshaft_model::Batch;

use crate::recording::Recording;

/// Batches that may wait for the live side: some seconds of a busy bus.
const MOST_WAITING: usize = 256;

/// Longest note of a mark, in bytes.
pub const LONGEST_NOTE: usize = 200;

/// What the source tells the live side.
#[derive(Debug)]
#[expect(
    clippy::large_enum_variant,
    reason = "nearly all are batches, and a box for each would be one more allocation"
)]
pub enum Heard {
    /// Entries in log order.
    Batch(Batch),
    /// The drive has ended; what comes next belongs to another.
    DriveEnds,
}

/// What both sides share.
#[derive(Debug, Default)]
struct Shared {
    recording: Mutex<Recording>,
    // Entries the live side had no time for.
    n_left_out: AtomicU64,
    // The end of a drive for which there was no room yet.
    owes_end: AtomicBool,
    stop: AtomicBool,
}

/// The end of the source.
#[derive(Debug)]
pub struct SourceEnd {
    to_live: SyncSender<Heard>,
    marks: Receiver<String>,
    shared: Arc<Shared>,
}

/// The end of the live side.
#[derive(Debug)]
pub struct LiveEnd {
    heard: Receiver<Heard>,
    handle: Handle,
}

/// For whoever only asks for the state, makes a mark or ends it all. Any number of them.
#[derive(Clone, Debug)]
pub struct Handle {
    marks: Sender<String>,
    shared: Arc<Shared>,
}

/// A source and a live side that know each other.
pub fn link() -> (SourceEnd, LiveEnd) {
    let (to_live, heard) = sync_channel(MOST_WAITING);
    let (send_mark, marks) = channel();
    let shared = Arc::new(Shared::default());
    let handle = Handle {
        marks: send_mark,
        shared: shared.clone(),
    };
    let source = SourceEnd {
        to_live,
        marks,
        shared,
    };
    (source, LiveEnd { heard, handle })
}

impl SourceEnd {
    /// Gives entries on, if the live side has room for them; never waits. The end of a drive is not
    /// left out: it comes before anything else that finds room.
    pub fn offer(&self, heard: Heard) {
        let owes_end = self.shared.owes_end.load(Ordering::Relaxed);
        if owes_end && self.has_room_for(Heard::DriveEnds) {
            self.shared.owes_end.store(false, Ordering::Relaxed);
        }
        let is_behind = self.shared.owes_end.load(Ordering::Relaxed);
        match heard {
            Heard::DriveEnds => {
                if is_behind || !self.has_room_for(Heard::DriveEnds) {
                    self.shared.owes_end.store(true, Ordering::Relaxed);
                }
            }
            Heard::Batch(batch) => {
                let n = batch.entries.len() as u64;
                if is_behind || !self.has_room_for(Heard::Batch(batch)) {
                    self.shared.n_left_out.fetch_add(n, Ordering::Relaxed);
                }
            }
        }
    }

    /// Gives on, unless the live side is full; nobody there is room enough.
    fn has_room_for(&self, heard: Heard) -> bool {
        !matches!(self.to_live.try_send(heard), Err(TrySendError::Full(_)))
    }

    /// Gives on and waits for room: for a replay, which may.
    pub fn give(&self, heard: Heard) {
        // Nobody follows any more: nothing to do.
        let _ = self.to_live.send(heard);
    }

    /// The words of marks made since it was last asked.
    pub fn marks(&self) -> impl Iterator<Item = String> + '_ {
        self.marks.try_iter()
    }

    /// Changes the state shown.
    pub fn change(&self, change: impl FnOnce(&mut Recording)) {
        change(&mut lock(&self.shared.recording));
    }

    /// Whether the end was asked for.
    pub fn is_stopped(&self) -> bool {
        self.shared.stop.load(Ordering::Relaxed)
    }
}

impl LiveEnd {
    /// What the source says; waits at most so long. `None`: nothing came. An error: it has ended.
    pub fn next(&self, wait: std::time::Duration) -> Result<Option<Heard>, Ended> {
        use std::sync::mpsc::RecvTimeoutError::{Disconnected, Timeout};
        match self.heard.recv_timeout(wait) {
            Ok(heard) => Ok(Some(heard)),
            Err(Timeout) => Ok(None),
            Err(Disconnected) => Err(Ended),
        }
    }

    /// For the state, marks and the end.
    pub fn handle(&self) -> Handle {
        self.handle.clone()
    }
}

/// The source has ended and everything it gave has been taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Ended;

impl Handle {
    /// Makes a mark; its words are cut at [`LONGEST_NOTE`] bytes and are one line.
    pub fn mark(&self, note: &str) {
        // The source has ended: there is nothing left to mark.
        let _ = self.marks.send(one_line(note));
    }

    /// The state of the recording now.
    pub fn recording(&self) -> Recording {
        lock(&self.shared.recording).clone()
    }

    /// Entries that are kept and that the live side had no time for.
    pub fn n_left_out(&self) -> u64 {
        self.shared.n_left_out.load(Ordering::Relaxed)
    }

    /// Asks the source to end.
    pub fn stop(&self) {
        self.shared.stop.store(true, Ordering::Relaxed);
    }
}

/// A note without control characters, at most [`LONGEST_NOTE`] bytes.
fn one_line(note: &str) -> String {
    let mut line = String::new();
    for letter in note.trim().chars() {
        let letter = if letter.is_control() { ' ' } else { letter };
        if line.len() + letter.len_utf8() > LONGEST_NOTE {
            break;
        }
        line.push(letter);
    }
    line.trim_end().to_owned()
}

fn lock(recording: &Mutex<Recording>) -> MutexGuard<'_, Recording> {
    // Nothing that can panic half way is done while it is locked.
    recording.lock().unwrap_or_else(PoisonError::into_inner)
}

#[cfg(test)]
mod tests {
    use super::*;
    use halfshaft_model::Stamp;
    use std::time::Duration;

    fn batch() -> Heard {
        let mut batch = Batch::default();
        batch.push_passed_over(Stamp(0));
        Heard::Batch(batch)
    }

    #[test]
    fn a_live_side_that_sleeps_never_holds_the_source_up() {
        let (source, live) = link();
        for _ in 0..MOST_WAITING + 30 {
            source.offer(batch());
        }
        assert_eq!(live.handle().n_left_out(), 30);
        drop(source);
        for _ in 0..MOST_WAITING {
            assert!(matches!(live.next(Duration::ZERO), Ok(Some(_))));
        }
        assert!(matches!(live.next(Duration::ZERO), Err(Ended)));
    }

    #[test]
    fn the_end_of_a_drive_is_never_left_out() {
        let (source, live) = link();
        for _ in 0..MOST_WAITING {
            source.offer(batch());
        }
        source.offer(Heard::DriveEnds);
        source.offer(batch());
        assert_eq!(live.handle().n_left_out(), 1);
        assert!(matches!(
            live.next(Duration::ZERO),
            Ok(Some(Heard::Batch(_)))
        ));
        assert!(matches!(
            live.next(Duration::ZERO),
            Ok(Some(Heard::Batch(_)))
        ));
        source.offer(batch());
        drop(source);
        let mut kinds = Vec::new();
        while let Ok(Some(heard)) = live.next(Duration::ZERO) {
            kinds.push(matches!(heard, Heard::DriveEnds));
        }
        assert_eq!(
            kinds.iter().position(|is_end| *is_end),
            Some(MOST_WAITING - 2)
        );
        assert_eq!(kinds.len(), MOST_WAITING);
    }

    #[test]
    fn notes_reach_the_source_as_one_short_line() {
        let (source, live) = link();
        live.handle().mark(" rears\n−0.2 bar\u{7} ");
        live.handle().mark(&"ä".repeat(300));
        let notes: Vec<String> = source.marks().collect();
        assert_eq!(notes, ["rears −0.2 bar".to_owned(), "ä".repeat(100)]);
        source.change(|recording| recording.kept_bytes = 7);
        assert_eq!(live.handle().recording().kept_bytes, 7);
        assert!(!source.is_stopped());
        live.handle().stop();
        assert!(source.is_stopped());
    }
}
