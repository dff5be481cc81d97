//! Keeps what is heard on the bus, drive by drive, and gives it on to whoever follows live.
//!
//! In: interfaces that may only be listened to, notes of marks, the wish to end. Out: drives in
//! segments, entries for the live side, what there is to say. The live side never holds it up, and
//! the disk does not hold up the thread that listens. A drive begins with a frame and ends when the
//! bus has been silent for a while. This module does not print and does not know what a signal is.

mod counts;

use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::time::Duration;

use halfshaft_model::{Batch, FrameKind, Stamp};

use crate::bus::{self, BusFrame, Item, Listener, News, What};
use crate::link::{Heard, SourceEnd};
use crate::recording::Interface;
use crate::segments::{self, Clocks, Keeper, RawFrame};
use counts::Counts;

/// The keeper syncs, rolls and makes room so often at least.
const TICK_NS: i64 = 200_000_000;
/// The live side gets entries so often at most: its room is for so many batches.
const OFFER_NS: i64 = 20_000_000;
/// A sign of life is given so often, and losses are said.
const ALIVE_NS: i64 = 1_000_000_000;
/// Marks that wait for a drive to begin.
const MOST_MARKS: usize = 100;

/// What to record and how.
#[derive(Clone, Debug)]
pub struct Options {
    /// Names of the interfaces.
    pub interfaces: Vec<String>,
    /// Whether the user says that nothing depends on the bus.
    pub is_bench: bool,
    /// Where and how drives are kept.
    pub keep: segments::Options,
    /// A silence of the bus so long ends a drive, in seconds.
    pub silence_s: f64,
    /// Whether it goes on without keeping anything when nothing more can be kept, for whoever
    /// follows live.
    pub is_followed: bool,
    /// Who hears what there is to say.
    pub events: Sender<Event>,
}

/// What there is to say.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Event {
    /// It listens from now on.
    Ready,
    /// It is alive: once a second.
    Alive,
    /// Something for whoever runs this to read.
    Said(String),
    /// A drive has ended and is kept in this folder.
    DriveEnded(PathBuf),
}

/// Why a recording ends other than as asked.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// An interface must not be listened to.
    #[error("{0}")]
    Refused(String),
    /// Nothing can be kept.
    #[error("nothing more is kept: {0}")]
    NotKept(segments::Error),
    /// The listening thread could not be started.
    #[error("the listening thread could not be started: {0}")]
    NoThread(std::io::Error),
    /// The listening thread has ended by itself.
    #[error("the listening thread broke off")]
    Deaf,
}

/// Records until it is asked to end.
pub fn run(source: SourceEnd, options: Options) -> Result<(), Error> {
    let mut keeper = Keeper::open(options.keep.clone()).map_err(Error::NotKept)?;
    let (to, news) = channel();
    let n_waiting = Arc::new(AtomicUsize::new(0));
    let names = &options.interfaces;
    let listener =
        Listener::open(names, options.is_bench, to, n_waiting.clone()).map_err(Error::Refused)?;
    for torn in keeper.set_aside() {
        let (n_bytes, segment) = (torn.n_bytes, torn.segment.display());
        let place = match &torn.trouble {
            None => "set aside".to_owned(),
            Some(trouble) => format!("left where they are: {trouble}"),
        };
        let words = format!("{segment}: an earlier run left {n_bytes} torn bytes, {place}");
        say(&options.events, words);
    }
    source.change(|recording| {
        recording.interfaces = names
            .iter()
            .map(|name| Interface {
                name: name.clone(),
                ..Interface::default()
            })
            .collect();
    });
    let stop = Arc::new(AtomicBool::new(false));
    let stopped = stop.clone();
    let listening = std::thread::Builder::new()
        .name("listener".to_owned())
        .spawn(move || listener.listen(&stopped))
        .map_err(Error::NoThread)?;
    let mut recorder = Recorder::new(&source, &options, &mut keeper);
    let outcome = recorder.follow(&news, &n_waiting, &stop);
    stop.store(true, Ordering::Relaxed);
    // It ends within its longest wait.
    listening.join().map_err(|_| Error::Deaf)?;
    outcome
}

fn say(events: &Sender<Event>, words: String) {
    // Nobody reads any more: the recording goes on.
    let _ = events.send(Event::Said(words));
}

/// What the recorder keeps track of.
struct Recorder<'a> {
    source: &'a SourceEnd,
    options: &'a Options,
    keeper: &'a mut Keeper,
    // The beginning of the drive that goes on.
    begun: Option<Clocks>,
    // Where the drive is kept; none when nothing more can be kept of it.
    folder: Option<PathBuf>,
    first_failure: Option<segments::Error>,
    marks: Vec<(Clocks, String)>,
    batch: Batch,
    counts: Vec<Counts>,
    // The latest item, and the time up to which everything has been heard.
    latest_ns: i64,
    heard_ns: i64,
    ticked_ns: i64,
    offered_ns: i64,
    alive_ns: i64,
}

impl<'a> Recorder<'a> {
    fn new(source: &'a SourceEnd, options: &'a Options, keeper: &'a mut Keeper) -> Recorder<'a> {
        let mut batch = Batch::default();
        for name in &options.interfaces {
            batch.bus(name);
        }
        Recorder {
            source,
            options,
            keeper,
            begun: None,
            folder: None,
            first_failure: None,
            marks: Vec::new(),
            batch,
            counts: vec![Counts::default(); options.interfaces.len()],
            latest_ns: 0,
            heard_ns: 0,
            ticked_ns: 0,
            offered_ns: 0,
            alive_ns: 0,
        }
    }

    fn follow(
        &mut self,
        news: &Receiver<News>,
        n_waiting: &AtomicUsize,
        stop: &AtomicBool,
    ) -> Result<(), Error> {
        let _ = self.options.events.send(Event::Ready);
        loop {
            let mut is_over = false;
            match news.recv_timeout(Duration::from_millis(50)) {
                Ok(news) => self.take(news, n_waiting),
                Err(RecvTimeoutError::Timeout) => {}
                Err(RecvTimeoutError::Disconnected) => is_over = true,
            }
            let now = bus::now();
            self.pass(now);
            let is_useless = self.first_failure.is_some() && !self.options.is_followed;
            if self.source.is_stopped() || is_useless {
                // The listener gives on what it has, and then there is no more news.
                stop.store(true, Ordering::Relaxed);
            }
            if is_over {
                self.end_drive(now);
                self.state(now);
                return match self.first_failure.take() {
                    Some(failure) => Err(Error::NotKept(failure)),
                    None => Ok(()),
                };
            }
        }
    }

    fn take(&mut self, news: News, n_waiting: &AtomicUsize) {
        match news {
            News::Items { items, up_to_ns } => {
                for item in &items {
                    self.item(item);
                }
                self.heard_ns = up_to_ns;
                n_waiting.fetch_sub(items.len(), Ordering::Relaxed);
            }
            News::State(index, state) => self.source.change(|recording| {
                if let Some(interface) = recording.interfaces.get_mut(usize::from(index)) {
                    interface.state = state;
                }
            }),
            News::Said(words) => say(&self.options.events, words),
        }
    }

    fn item(&mut self, item: &Item) {
        let at = item.at;
        if self.begun.is_some() && self.silence_s(at.monotonic_ns) >= self.options.silence_s {
            self.end_drive(at);
        }
        self.latest_ns = at.monotonic_ns;
        if self.begun.is_none() {
            self.begin_drive(at);
        }
        self.write_marks(at.monotonic_ns);
        let Some(counts) = self.counts.get_mut(usize::from(item.interface)) else {
            return;
        };
        match item.what {
            What::Lost(n) => {
                counts.lost(n);
                let stamp = self.stamp(at);
                self.batch.push_lost(stamp, item.interface, n);
                self.keep(|keeper| keeper.lost(item.interface, at, u64::from(n)));
            }
            What::Frame(frame) => {
                counts.frame(at);
                self.frame(item.interface, at, &frame);
            }
        }
    }

    fn frame(&mut self, interface: u16, at: Clocks, frame: &BusFrame) {
        let (stamp, payload) = (self.stamp(at), frame.payload());
        match frame.kind {
            FrameKind::Remote => {
                let length = payload.len() as u8;
                self.batch.push_remote(stamp, interface, frame.id, length);
            }
            kind => self
                .batch
                .push_frame(stamp, interface, frame.id, kind, frame.flags, payload),
        }
        let raw = RawFrame {
            id: frame.id,
            kind: frame.kind,
            flags: frame.flags,
            payload,
        };
        self.keep(|keeper| keeper.frame(interface, at, &raw));
        if frame.kind == FrameKind::Error {
            self.error_report(interface, frame);
        }
    }

    fn error_report(&mut self, interface: u16, frame: &BusFrame) {
        let index = usize::from(interface);
        let counts = self.counts.get_mut(index);
        let words = counts.and_then(|counts| counts.error_report(frame));
        if let (Some(words), Some(name)) = (words, self.options.interfaces.get(index)) {
            say(&self.options.events, format!("{name}: {words}"));
        }
    }

    /// The stamp in the log: the monotonic clock, from the wall clock's time at the drive's
    /// beginning on.
    fn stamp(&self, at: Clocks) -> Stamp {
        let begun = self.begun.unwrap_or(at);
        let since_ns = at.monotonic_ns.saturating_sub(begun.monotonic_ns);
        Stamp(begun.wall_ns.saturating_add(since_ns))
    }

    fn silence_s(&self, now_ns: i64) -> f64 {
        now_ns.saturating_sub(self.latest_ns) as f64 / 1e9
    }

    /// What time brings with it.
    fn pass(&mut self, now: Clocks) {
        let now_ns = now.monotonic_ns;
        let notes: Vec<String> = self.source.marks().collect();
        for note in notes {
            self.mark(now, note);
        }
        if self.begun.is_some() {
            self.write_marks(self.heard_ns);
            // Not by the clock: frames may wait that have not been heard yet.
            if self.silence_s(self.heard_ns) >= self.options.silence_s {
                self.end_drive(now);
            }
        }
        if now_ns.saturating_sub(self.ticked_ns) >= TICK_NS {
            self.ticked_ns = now_ns;
            self.keep(|keeper| keeper.tick(now));
        }
        if now_ns.saturating_sub(self.offered_ns) >= OFFER_NS {
            self.offered_ns = now_ns;
            self.offer();
            self.state(now);
        }
        if now_ns.saturating_sub(self.alive_ns) >= ALIVE_NS {
            self.alive_ns = now_ns;
            let _ = self.options.events.send(Event::Alive);
            for (counts, name) in self.counts.iter_mut().zip(&self.options.interfaces) {
                for words in counts.unsaid() {
                    say(&self.options.events, format!("{name}: {words}"));
                }
            }
        }
    }

    fn mark(&mut self, now: Clocks, note: String) {
        if self.begun.is_none() {
            let words = match self.marks.len() < MOST_MARKS {
                true => "no drive goes on: the mark will stand at the beginning of the next",
                false => "no drive goes on, and too many marks wait for one: this one is not kept",
            };
            say(&self.options.events, words.to_owned());
        }
        if self.marks.len() < MOST_MARKS {
            self.marks.push((now, note));
        }
    }

    /// Keeps the marks made up to here, in the drive that goes on.
    fn write_marks(&mut self, up_to_ns: i64) {
        let Some(begun) = self.begun else {
            return;
        };
        // Marks are in the order of time.
        let n = self
            .marks
            .partition_point(|(at, _)| at.monotonic_ns <= up_to_ns);
        let due: Vec<(Clocks, String)> = self.marks.drain(..n).collect();
        for (at, note) in due {
            let at = match at.monotonic_ns < begun.monotonic_ns {
                true => begun,
                false => at,
            };
            let stamp = self.stamp(at);
            self.batch.push_mark(stamp, &note);
            self.keep(|keeper| keeper.mark(at, &note));
        }
    }

    /// Hands the entries over to the live side, which may have no room for them.
    fn offer(&mut self) {
        if !self.batch.entries.is_empty() {
            let next = self.batch.of_same_log();
            let batch = std::mem::replace(&mut self.batch, next);
            self.source.offer(Heard::Batch(batch));
        }
    }

    fn begin_drive(&mut self, at: Clocks) {
        self.begun = Some(at);
        match self.keeper.begin_drive(&self.options.interfaces, at) {
            Ok(()) => {
                let name = self.keeper.facts().keeps_in;
                let folder = name.map(|name| self.options.keep.into.join(name));
                if let Some(folder) = &folder {
                    let words = format!("a drive begins: {}", folder.display());
                    say(&self.options.events, words);
                }
                self.folder = folder;
                self.source.change(|recording| recording.trouble = None);
            }
            Err(error) => self.fail(error),
        }
    }

    fn end_drive(&mut self, now: Clocks) {
        if self.begun.is_none() {
            return;
        }
        self.write_marks(i64::MAX);
        self.offer();
        self.begun = None;
        let folder = self.folder.clone();
        let ended = self.keeper.end_drive();
        if self.folder.is_some() {
            match ended {
                Ok(()) => self.folder = None,
                Err(error) => self.fail(error),
            }
        }
        self.source.offer(Heard::DriveEnds);
        if let Some(folder) = folder {
            let words = format!("the drive has ended: {}", folder.display());
            say(&self.options.events, words);
            let _ = self.options.events.send(Event::DriveEnded(folder));
        }
        self.state(now);
    }

    /// Keeps something of the drive that goes on, while it can be kept.
    fn keep(&mut self, keep: impl FnOnce(&mut Keeper) -> Result<(), segments::Error>) {
        if self.folder.is_some()
            && let Err(error) = keep(self.keeper)
        {
            self.fail(error);
        }
    }

    /// Nothing more can be kept of this drive. What is kept stays, and the next drive is tried.
    fn fail(&mut self, error: segments::Error) {
        let words = format!("nothing more of this drive is kept: {error}");
        say(&self.options.events, words.clone());
        self.source
            .change(|recording| recording.trouble = Some(words));
        if let Some(folder) = self.folder.take() {
            // What it had not written may fail again; the first failure is the one to say.
            let _ = self.keeper.end_drive();
            if self.begun.is_some() {
                let _ = self.options.events.send(Event::DriveEnded(folder));
            }
        }
        self.first_failure.get_or_insert(error);
    }

    /// Writes down how it all stands.
    fn state(&self, now: Clocks) {
        let facts = self.keeper.facts();
        let counts = &self.counts;
        let is_kept = self.folder.is_some();
        self.source.change(|recording| {
            for (interface, counts) in recording.interfaces.iter_mut().zip(counts) {
                interface.n_frames = counts.n_frames;
                interface.n_lost = counts.n_lost;
                interface.n_errors = counts.n_errors;
                interface.silent_s = counts
                    .latest_ns
                    .map(|latest_ns| now.monotonic_ns.saturating_sub(latest_ns) as f64 / 1e9);
            }
            recording.keeps_in = facts.keeps_in.filter(|_| is_kept);
            recording.kept_bytes = facts.kept_bytes;
            recording.unsynced_s = facts.unsynced_s;
            recording.disk_left_bytes = facts.disk_left_bytes;
        });
    }
}

#[cfg(test)]
mod tests;
