//! One drive, whether it comes whole or entry by entry, and whether results were asked for on
//! the way or only at its end: a running capture must say what a report of its log says.

mod common;

use std::time::Instant;

use common::{batches, map, parted};
use halfshaft_drive::{Drive, Options};
use halfshaft_driveline::random::Random;
use halfshaft_driveline::thermal::Anchor;
use halfshaft_model::{Batch, Stamp};
use halfshaft_report::{ClockKind, ClockRecord, Document, MapRecord};
use halfshaft_signal_map::Map;
use halfshaft_simulate::{RandomRange, Tolerances, map_text, random_drive, to_text};

/// Lines of a sample log that are read where nothing else is stated: a minute of driving.
const N_LINES: usize = 20_000;

/// The same where results are asked for on the way: long enough for the oil to be fitted.
const N_LINES_FITTED: usize = 110_000;

/// The report of a drive that has ended, without what names its files.
fn report(drive: &mut Drive) -> String {
    let results = drive.results();
    assert!(!results.is_provisional);
    let front = drive.front();
    let coverage = front.coverage();
    let first_stamp = coverage.first.unwrap_or(Stamp(0));
    halfshaft_report::json::render(&Document {
        results: &results,
        inputs: Vec::new(),
        notices: front.notices(),
        remarks: front
            .fit()
            .remarks
            .iter()
            .map(ToString::to_string)
            .collect(),
        map: MapRecord::default(),
        program_version: "",
        compared_with: None,
        command: String::new(),
        clock: ClockRecord {
            set_ahead_ns: 0,
            first_stamp,
            last_stamp: coverage.last.unwrap_or(first_stamp),
            kind: ClockKind::Unix,
            words: String::new(),
        },
        workshop: None,
        files_written: Vec::new(),
    })
}

/// The whole log in one batch.
fn whole(map: &Map, log: &[u8]) -> Batch {
    let mut whole = Batch::default();
    batches(map, log, |batch| {
        parted(batch, || 1, |entry| append(entry, &mut whole));
    });
    whole
}

fn append(one: &Batch, whole: &mut Batch) {
    let halfshaft_model::Entry::Frame(frame) = &one.entries[0] else {
        unreachable!("the drives are of frames")
    };
    let bus = whole.bus(&one.buses[usize::from(frame.bus)]);
    let payload = one.payload(frame);
    whole.push_frame(frame.stamp, bus, frame.id, frame.kind, frame.flags, payload);
}

fn cut(map: &Map, log: &Batch, sizes: impl FnMut() -> usize) -> String {
    let mut drive = Drive::new(map, &Options::default());
    parted(log, sizes, |part| drive.push(part));
    drive.finish();
    report(&mut drive)
}

/// The same report, however the log is cut.
#[track_caller]
fn check(name: &str, map: &Map, log: &[u8]) {
    let log = whole(map, log);
    let wanted = cut(map, &log, || usize::MAX);
    let mut random = Random::new(7);
    let one_by_one = cut(map, &log, || 1);
    assert!(one_by_one == wanted, "{name}: one by one");
    assert!(cut(map, &log, || 1024) == wanted, "{name}: as readers do");
    let few_then_many = cut(map, &log, || random.below(2) * random.below(5000));
    assert!(few_then_many == wanted, "{name}: of random sizes");
}

fn root(path: &str) -> String {
    format!("{}/../../{path}", env!("CARGO_MANIFEST_DIR"))
}

/// The map of the sample drives, and the first so many lines of one of them.
fn sample(name: &str, n_lines: usize) -> (Map, Vec<String>) {
    let text = std::fs::read_to_string(root("signal-maps/brindlecote-30.map"));
    let packed = std::fs::read(root(&format!("sample-logs/{name}.log.zst")));
    let log = zstd::decode_all(packed.expect("the sample is there").as_slice());
    let log = String::from_utf8(log.expect("it is packed")).expect("it is text");
    let lines = log.lines().take(n_lines).map(|line| format!("{line}\n"));
    (map(&text.expect("the map is there")), lines.collect())
}

#[test]
fn the_cut_of_a_sample_log_changes_nothing() {
    for name in [
        "healthy-road",
        "hard-track-day",
        "tired-motor",
        "mismatched-tyres",
    ] {
        let (map, lines) = sample(name, N_LINES);
        check(name, &map, lines.concat().as_bytes());
    }
}

#[test]
fn the_cut_of_a_log_with_silences_and_a_second_day_changes_nothing() {
    let (map, mut lines) = sample("healthy-road", N_LINES);
    // 45 s of nothing, some 300 lines a second; and the beginning once more.
    let again = lines[..3000].to_vec();
    lines.drain(4000..17_500);
    lines.extend(again);
    check("with a silence", &map, lines.concat().as_bytes());
}

#[test]
fn the_cut_of_an_invented_drive_changes_nothing() {
    let scenario = random_drive(7, &RandomRange::default());
    let (log, _) = to_text(&scenario);
    let map = map(&map_text(&scenario, &Tolerances::USUAL, 7));
    check(&scenario.name, &map, log.as_bytes());
}

/// Prints what results cost, too: on the way, and with and without all that is fitted.
#[test]
fn results_asked_for_on_the_way_change_nothing_at_the_end() {
    let (map, lines) = sample("hard-track-day", N_LINES_FITTED);
    let log = whole(&map, lines.concat().as_bytes());
    let mut drive = Drive::new(&map, &Options::default());
    let (mut n_asked, mut asking_s) = (0, 0.0);
    parted(
        &log,
        || 100,
        |part| {
            drive.push(part);
            let (results, seconds) = timed(|| drive.results());
            assert!(results.is_provisional);
            n_asked += 1;
            asking_s += seconds;
        },
    );
    drive.finish();
    let stages = drive.stages();
    let (learned, tyres_s) = timed(|| stages.driveline.learned());
    let (results, all_s) = timed(|| stages.health.results(&learned));
    let (_, kept_s) = timed(|| stages.health.results(&learned));
    let thermal = results.thermal.as_ref().expect("there is heat");
    assert!(matches!(thermal.anchor, Anchor::Fitted(_)));
    println!(
        "{n_asked} results on the way: {:.2} ms each; at the end tyres {:.2} ms, temperatures {:.2} ms, the rest {:.2} ms",
        1e3 * asking_s / f64::from(n_asked),
        1e3 * tyres_s,
        1e3 * (all_s - kept_s),
        1e3 * kept_s,
    );
    let never = cut(&map, &log, || 1024);
    assert!(report(&mut drive) == never);
    // Nor does asking twice at the end.
    assert!(report(&mut drive) == never);
}

fn timed<T>(make: impl FnOnce() -> T) -> (T, f64) {
    let start = Instant::now();
    let made = make();
    (made, start.elapsed().as_secs_f64())
}
