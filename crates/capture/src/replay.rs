//! A log played back in place of a bus, as if it were driven now.
//!
//! In: logs in any format. Out: entries to the live side, paced by their stamps, and the state of
//! the recording. A log is one drive, as in a report, however long it is silent. Frames that no map
//! names are played back too, as they would come from a bus.

use std::time::{Duration, Instant};

use halfshaft_logs::{Error, Log, Options, Source};
use halfshaft_model::constants::NS_PER_S;
use halfshaft_model::{Batch, Entry, FrameKind, Stamp};
use halfshaft_signal_map::Map;

use crate::link::{Heard, SourceEnd};
use crate::recording::{Interface, State};

/// Time of the log that goes over at once, ns.
const PIECE_NS: i64 = 50_000_000;

/// A step of the log's clock that is no time to wait through, ns: another day, or a clock that was set.
/// Source: none, engineering guess.
const JUMP_NS: i64 = 600 * NS_PER_S;

/// Longest sleep before marks and the wish to stop are looked for again.
const NAP: Duration = Duration::from_millis(20);

/// Plays logs back: at their own pace times `speed`, or as fast as it goes where that is 0. Marks
/// are entered at the time the playback has reached. Ends with the logs, or when it is asked to.
pub fn run(source: SourceEnd, logs: &[Source], map: &Map, speed: f64) -> Result<(), Error> {
    let sheets = map.sheet_specs();
    let options = Options {
        sheets: &sheets,
        only: None,
    };
    let mut log = Log::open(logs, &options)?;
    let mut player = Player {
        source,
        speed: speed.max(0.0),
        started: None,
        reached: Stamp(0),
        interfaces: Vec::new(),
        latest: Vec::new(),
    };
    let mut batch = Batch::default();
    while log.next(&mut batch)? {
        if !player.play(&batch) {
            break;
        }
    }
    player.end();
    Ok(())
}

/// What plays back, and how far it has got.
#[derive(Debug)]
struct Player {
    source: SourceEnd,
    speed: f64,
    // A stamp of the log, and when it was played.
    started: Option<(Stamp, Instant)>,
    reached: Stamp,
    interfaces: Vec<Interface>,
    // Stamp of the latest frame of each interface.
    latest: Vec<Stamp>,
}

impl Player {
    /// Plays a batch piece by piece; `false` when it was asked to end.
    fn play(&mut self, batch: &Batch) -> bool {
        let mut piece = batch.of_same_log();
        let mut piece_until = None;
        for (index, entry) in batch.entries.iter().enumerate() {
            let stamp = entry.stamp();
            let until = *piece_until.get_or_insert(Stamp(stamp.0.saturating_add(PIECE_NS)));
            // A step back of the clock ends a piece, too: it would wait for what has passed.
            if stamp >= until || stamp.0 < until.0.saturating_sub(2 * PIECE_NS) {
                if !self.give(&mut piece, batch) {
                    return false;
                }
                piece_until = Some(Stamp(stamp.0.saturating_add(PIECE_NS)));
            }
            piece.push_from(batch, index);
        }
        self.give(&mut piece, batch)
    }

    /// Waits until a piece is due, and gives it on; it is empty then.
    fn give(&mut self, piece: &mut Batch, log: &Batch) -> bool {
        let Some(due) = piece.entries.iter().map(Entry::stamp).max() else {
            return true;
        };
        if !self.wait_for(due, log) {
            return false;
        }
        self.reached = due;
        self.count(piece);
        let next = log.of_same_log();
        self.source
            .give(Heard::Batch(std::mem::replace(piece, next)));
        self.enter_marks(log);
        true
    }

    /// Waits for the time of a stamp; `false` when it was asked to end.
    fn wait_for(&mut self, due: Stamp, log: &Batch) -> bool {
        while !self.source.is_stopped() {
            if self.speed == 0.0 {
                return true;
            }
            let ahead_ns = due.0.saturating_sub(self.reached.0);
            let begins_anew = !(0..=JUMP_NS).contains(&ahead_ns);
            let (from, at) = match self.started {
                Some(started) if !begins_anew => started,
                _ => {
                    self.reached = due;
                    *self.started.insert((due, Instant::now()))
                }
            };
            let due_s = due.0.saturating_sub(from.0) as f64 / NS_PER_S as f64 / self.speed;
            let passed = at.elapsed();
            let left_s = due_s - passed.as_secs_f64();
            if left_s <= 0.0 {
                return true;
            }
            let now_ns = (passed.as_secs_f64() * self.speed * NS_PER_S as f64) as i64;
            let now = Stamp(from.0.saturating_add(now_ns)).min(due);
            self.reached = self.reached.max(now);
            self.enter_marks(log);
            self.show();
            std::thread::sleep(NAP.min(Duration::from_secs_f64(left_s)));
        }
        false
    }

    /// Enters the marks that were made.
    fn enter_marks(&mut self, log: &Batch) {
        let notes: Vec<String> = self.source.marks().collect();
        if notes.is_empty() {
            return;
        }
        let mut batch = log.of_same_log();
        for note in &notes {
            batch.push_mark(self.reached, note);
        }
        self.source.give(Heard::Batch(batch));
    }

    /// Counts what goes over, bus by bus; rows of sheets belong to the log as a whole.
    fn count(&mut self, piece: &Batch) {
        for entry in &piece.entries {
            let (bus, n_lost) = match entry {
                Entry::Frame(frame) => (usize::from(frame.bus), 0),
                Entry::Lost(lost) => (usize::from(lost.bus), u64::from(lost.n_frames)),
                Entry::Row(_) | Entry::PassedOver(_) => (piece.buses.len(), 0),
                Entry::Mark(_) => continue,
            };
            let name = piece.buses.get(bus).map_or("log", String::as_str);
            let known = self.interfaces.iter().position(|one| one.name == name);
            let index = known.unwrap_or_else(|| {
                self.interfaces.push(Interface {
                    name: name.to_owned(),
                    state: State::Listening,
                    ..Interface::default()
                });
                self.latest.push(entry.stamp());
                self.interfaces.len() - 1
            });
            let interface = &mut self.interfaces[index];
            interface.n_lost += n_lost;
            if n_lost == 0 {
                interface.n_frames += 1;
                self.latest[index] = entry.stamp();
            }
            if matches!(entry, Entry::Frame(frame) if frame.kind == FrameKind::Error) {
                interface.n_errors += 1;
            }
        }
        self.show();
    }

    fn show(&mut self) {
        for (interface, latest) in self.interfaces.iter_mut().zip(&self.latest) {
            let silent_ns = self.reached.0.saturating_sub(latest.0).max(0);
            interface.silent_s = Some(silent_ns as f64 / NS_PER_S as f64);
        }
        let interfaces = &self.interfaces;
        self.source
            .change(|recording| recording.interfaces.clone_from(interfaces));
    }

    fn end(mut self) {
        for interface in &mut self.interfaces {
            interface.state = State::Ended;
        }
        self.show();
        self.source.give(Heard::DriveEnds);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::link::{LiveEnd, link};
    use std::io::Write;

    fn map() -> Map {
        let text = include_str!("../../../signal-maps/brindlecote-30.map");
        halfshaft_signal_map::parse("car.map", text).unwrap().map
    }

    fn played(text: &str, speed: f64, with: impl FnOnce(&LiveEnd)) -> (Vec<Batch>, LiveEnd) {
        let mut file = tempfile::NamedTempFile::new().unwrap();
        file.write_all(text.as_bytes()).unwrap();
        let (source, live) = link();
        with(&live);
        let logs = [Source::File(file.path().to_owned())];
        run(source, &logs, &map(), speed).unwrap();
        let mut batches = Vec::new();
        while let Ok(Some(heard)) = live.next(Duration::ZERO) {
            if let Heard::Batch(batch) = heard {
                batches.push(batch);
            }
        }
        (batches, live)
    }

    fn log(times_s: &[f64]) -> String {
        let line = |time: &f64| format!("({time:.6}) can{} 123#0102\n", (time * 10.0) as u32 % 2);
        times_s.iter().map(line).collect()
    }

    #[test]
    fn pieces_are_short_and_come_when_they_are_due() {
        let start = Instant::now();
        let text = log(&[100.0, 100.02, 100.06, 101.0]);
        let (batches, live) = played(&text, 5.0, |_| ());
        let passed_s = start.elapsed().as_secs_f64();
        // Derived: a second at five times the pace, less what the first piece took.
        assert!((0.19..1.0).contains(&passed_s), "{passed_s}");
        let sizes: Vec<usize> = batches.iter().map(|batch| batch.entries.len()).collect();
        assert_eq!(sizes, [2, 1, 1]);
        let recording = live.handle().recording();
        let interface = &recording.interfaces[0];
        assert_eq!(
            (interface.name.as_str(), interface.state),
            ("can0", State::Ended)
        );
        assert_eq!(
            recording
                .interfaces
                .iter()
                .map(|one| one.n_frames)
                .sum::<u64>(),
            4
        );
    }

    #[test]
    fn another_day_and_a_clock_set_back_are_not_waited_for() {
        let start = Instant::now();
        let text = log(&[100_000.0, 100_000.1, 500.0, 500.1, 90_000.0]);
        let (batches, _) = played(&text, 1.0, |_| ());
        assert!(start.elapsed() < Duration::from_secs(2));
        assert_eq!(
            batches
                .iter()
                .map(|batch| batch.entries.len())
                .sum::<usize>(),
            5
        );
    }

    #[test]
    fn a_mark_stands_where_the_playback_is() {
        let (batches, _) = played(&log(&[100.0, 101.0]), 0.0, |live| {
            live.handle().mark("wing +1")
        });
        let marks: Vec<(Stamp, String)> = batches
            .iter()
            .flat_map(|batch| batch.entries.iter().map(move |entry| (batch, entry)))
            .filter_map(|(batch, entry)| match entry {
                Entry::Mark(mark) => Some((mark.stamp, batch.note(mark).to_owned())),
                _ => None,
            })
            .collect();
        assert_eq!(marks, [(Stamp(100 * NS_PER_S), "wing +1".to_owned())]);
    }

    #[test]
    fn it_ends_when_asked_to() {
        let (batches, _) = played(&log(&[100.0, 500.0]), 1.0, |live| live.handle().stop());
        assert!(batches.is_empty());
    }
}
