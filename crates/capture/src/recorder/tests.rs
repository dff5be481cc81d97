//! The recorder without a bus: what it makes of items, silence, marks and a disk that fails.

use halfshaft_model::Entry;

use super::*;
use crate::bus::testing::data_frame;
use crate::link::{LiveEnd, link};

const S: i64 = 1_000_000_000;
const WALL: i64 = 1_700_000_000 * S;

fn at(monotonic_ns: i64) -> Clocks {
    Clocks {
        wall_ns: WALL + monotonic_ns,
        monotonic_ns,
    }
}

fn frame(interface: u16, monotonic_ns: i64) -> Item {
    Item {
        interface,
        at: at(monotonic_ns),
        what: What::Frame(data_frame(0x123, &[1, 2, 3])),
    }
}

fn lost(interface: u16, monotonic_ns: i64, n: u32) -> Item {
    Item {
        interface,
        at: at(monotonic_ns),
        what: What::Lost(n),
    }
}

/// A recorder with a folder of its own.
struct Bench {
    folder: tempfile::TempDir,
    live: LiveEnd,
    events: Receiver<Event>,
    source: SourceEnd,
    options: Options,
}

impl Bench {
    fn new() -> Bench {
        let folder = tempfile::tempdir().unwrap();
        let (source, live) = link();
        source.change(|recording| {
            recording.interfaces = vec![Interface::default(); 2];
        });
        let (to, events) = channel();
        let options = Options {
            interfaces: vec!["can0".to_owned(), "can1".to_owned()],
            is_bench: false,
            keep: segments::Options::new(folder.path().join("drives")),
            silence_s: 30.0,
            is_followed: true,
            events: to,
        };
        Bench {
            folder,
            live,
            events,
            source,
            options,
        }
    }

    fn run(&self, steps: impl FnOnce(&mut Recorder)) {
        let mut keeper = Keeper::open(self.options.keep.clone()).unwrap();
        steps(&mut Recorder::new(&self.source, &self.options, &mut keeper));
    }

    fn said(&self) -> Vec<Event> {
        let is_told = |event: &Event| *event != Event::Alive;
        self.events.try_iter().filter(is_told).collect()
    }

    /// Entries of each drive as the live side got them: seconds, and what.
    fn heard(&self) -> Vec<Vec<(f64, String)>> {
        let mut drives = vec![Vec::new()];
        while let Ok(Some(heard)) = self.live.next(Duration::ZERO) {
            match heard {
                Heard::DriveEnds => drives.push(Vec::new()),
                Heard::Batch(batch) => {
                    let drive = drives.last_mut().unwrap();
                    for entry in &batch.entries {
                        let what = match entry {
                            Entry::Frame(frame) => format!("frame of {}", frame.bus),
                            Entry::Lost(lost) => format!("{} lost of {}", lost.n_frames, lost.bus),
                            Entry::Mark(mark) => batch.note(mark).to_owned(),
                            other => panic!("{other:?}"),
                        };
                        drive.push(((entry.stamp().0 - WALL) as f64 / 1e9, what));
                    }
                }
            }
        }
        drives
    }
}

/// Items, and then the time up to which all was heard.
fn take(recorder: &mut Recorder, items: &[Item], up_to_ns: i64) {
    let n_waiting = AtomicUsize::new(items.len());
    let items = items.to_vec();
    recorder.take(News::Items { items, up_to_ns }, &n_waiting);
    assert_eq!(n_waiting.load(Ordering::Relaxed), 0);
    recorder.pass(at(up_to_ns));
}

#[test]
fn silence_ends_a_drive_and_the_next_frame_begins_one() {
    let bench = Bench::new();
    bench.run(|recorder| {
        take(
            recorder,
            &[frame(0, S), lost(1, 2 * S, 7), frame(1, 2 * S)],
            3 * S,
        );
        take(recorder, &[], 31 * S);
        assert!(recorder.begun.is_some());
        // The clock alone ends nothing: what was not heard yet may wait.
        recorder.pass(at(50 * S));
        assert!(recorder.begun.is_some());
        take(recorder, &[], 32 * S);
        assert!(recorder.begun.is_none());
        // A silence in the midst of what waited is one, too.
        take(recorder, &[frame(0, 100 * S), frame(0, 140 * S)], 141 * S);
        recorder.end_drive(at(142 * S));
        let recording = bench.live.handle().recording();
        let counts = recording.interfaces.iter();
        let counts: Vec<_> = counts.map(|one| (one.n_frames, one.n_lost)).collect();
        assert_eq!(counts, [(3, 0), (1, 7)]);
    });
    let frames = |seconds: f64| vec![(seconds, "frame of 0".to_owned())];
    let first = [
        (1.0, "frame of 0"),
        (2.0, "7 lost of 1"),
        (2.0, "frame of 1"),
    ];
    let first: Vec<_> = first.map(|(s, what)| (s, what.to_owned())).to_vec();
    assert_eq!(bench.heard(), [first, frames(100.0), frames(140.0), vec![]]);
    let into = bench.folder.path().join("drives");
    let ended = (1..=3).map(|n| Event::DriveEnded(into.join(format!("drive-000{n}"))));
    let said: Vec<Event> = bench.said();
    let drives = said
        .iter()
        .filter(|event| matches!(event, Event::DriveEnded(_)));
    assert_eq!(
        drives.cloned().collect::<Vec<_>>(),
        ended.collect::<Vec<_>>()
    );
    let is_said = |words: &str| said.contains(&Event::Said(words.to_owned()));
    assert!(is_said("can1: 7 frames went by that could not be taken"));
    for n in 1..=3 {
        let folder = into.join(format!("drive-000{n}"));
        assert!(std::fs::read_dir(&folder).unwrap().count() > 0);
    }
}

#[test]
fn stamps_follow_the_monotonic_clock_when_the_wall_clock_is_set() {
    let bench = Bench::new();
    bench.run(|recorder| {
        let mut set = frame(0, 2 * S);
        set.at.wall_ns += 3600 * S;
        take(recorder, &[frame(0, S), set, frame(0, 3 * S)], 4 * S);
        recorder.end_drive(at(4 * S));
    });
    let heard = bench.heard();
    let times: Vec<f64> = heard[0].iter().map(|(seconds, _)| *seconds).collect();
    assert_eq!(times, [1.0, 2.0, 3.0]);
}

#[test]
fn a_mark_stands_where_it_was_made_and_waits_for_a_drive() {
    let bench = Bench::new();
    bench.run(|recorder| {
        recorder.mark(at(S), "before".to_owned());
        take(recorder, &[frame(0, 5 * S)], 5 * S);
        recorder.mark(at(6 * S), "on the way".to_owned());
        // Frames that came before it are heard after it was made.
        take(recorder, &[frame(0, 5 * S + S / 2), frame(0, 7 * S)], 7 * S);
        recorder.mark(at(8 * S), "at the end".to_owned());
        recorder.end_drive(at(8 * S));
    });
    let wanted = [
        (5.0, "before"),
        (5.0, "frame of 0"),
        (5.5, "frame of 0"),
        (6.0, "on the way"),
        (7.0, "frame of 0"),
        (8.0, "at the end"),
    ];
    let wanted: Vec<_> = wanted.map(|(s, what)| (s, what.to_owned())).to_vec();
    assert_eq!(bench.heard(), [wanted, vec![]]);
    let waits =
        |event: &Event| matches!(event, Event::Said(words) if words.starts_with("no drive"));
    assert!(bench.said().iter().any(waits));
}

#[test]
fn error_reports_are_counted_and_what_they_mean_is_said() {
    let bench = Bench::new();
    let report = |monotonic_ns: i64, class: u32, detail: u8| Item {
        what: What::Frame(data_frame(
            0x2000_0000 | class,
            &[0, detail, 0, 0, 0, 0, 0, 0],
        )),
        ..frame(0, monotonic_ns)
    };
    bench.run(|recorder| {
        let reports = [
            (0x04, 1),
            (0x04, 4),
            (0x04, 1),
            (0x40, 0),
            (0x40, 0),
            (0x100, 0),
        ];
        for ((class, detail), second) in reports.into_iter().zip(1..) {
            take(recorder, &[report(second * S, class, detail)], second * S);
        }
        take(recorder, &[], 8 * S);
    });
    let recording = bench.live.handle().recording();
    assert_eq!(recording.interfaces[0].n_errors, 6);
    let said = bench.said();
    let n_said = |words: &str| {
        let has = |event: &&Event| matches!(event, Event::Said(said) if said.contains(words));
        said.iter().filter(has).count()
    };
    assert_eq!(
        n_said("can0: the controller's own buffer was full 1 times"),
        2
    );
    assert_eq!(n_said("can0: bus off"), 1);
    assert_eq!(n_said("on the bus again"), 1);
}

#[test]
fn a_disk_that_fails_ends_the_keeping_and_not_the_following() {
    let bench = Bench::new();
    let into = bench.folder.path().join("drives");
    bench.run(|recorder| {
        take(recorder, &[frame(0, S)], 2 * S);
        recorder.end_drive(at(2 * S));
        std::fs::remove_dir_all(&into).unwrap();
        take(recorder, &[frame(0, 60 * S)], 61 * S);
        let trouble = bench.live.handle().recording().trouble;
        let trouble = trouble.expect("it cannot be kept");
        assert!(
            trouble.contains("nothing more of this drive is kept"),
            "{trouble}"
        );
        assert_eq!(bench.live.handle().recording().keeps_in, None);
        take(recorder, &[frame(0, 62 * S)], 63 * S);
        recorder.end_drive(at(63 * S));
        // The next drive is tried, and kept.
        std::fs::create_dir_all(&into).unwrap();
        take(recorder, &[frame(0, 100 * S)], 101 * S);
        assert_eq!(bench.live.handle().recording().trouble, None);
        recorder.end_drive(at(101 * S));
        assert!(recorder.first_failure.is_some());
    });
    let lengths: Vec<usize> = bench.heard().iter().map(Vec::len).collect();
    assert_eq!(lengths, [1, 2, 1, 0]);
    let is_end = |event: &Event| matches!(event, Event::DriveEnded(_));
    assert_eq!(bench.said().iter().filter(|event| is_end(event)).count(), 2);
}

#[test]
fn an_absent_interface_is_waited_for_and_a_wish_to_end_is_heeded() {
    let bench = Bench::new();
    bench.live.handle().stop();
    let Bench {
        source,
        options,
        events,
        ..
    } = bench;
    let options = Options {
        interfaces: vec!["no-such-bus".to_owned()],
        ..options
    };
    run(source, options).unwrap();
    let said: Vec<Event> = events.try_iter().collect();
    assert!(said.contains(&Event::Said(
        "no-such-bus: not there; waiting for it".to_owned()
    )));
    assert!(said.contains(&Event::Ready));
}

#[test]
fn what_is_no_can_interface_is_refused() {
    let bench = Bench::new();
    let options = Options {
        interfaces: vec!["lo".to_owned()],
        ..bench.options
    };
    let refused = run(bench.source, options).unwrap_err();
    assert_eq!(refused.to_string(), "lo is no CAN interface");
}
