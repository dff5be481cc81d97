//! The folder of a recorded drive in place of a log: read as one, with what was lost, torn and
//! marked.

mod common;

use std::path::Path;

use common::program::{CAR, Folder, drive};
use halfshaft_logs::write::pcapng::{self, Header, RawFrame, Statistics};
use halfshaft_logs::{Log, Options, Source, drives};
use halfshaft_model::{Batch, Entry, Stamp};
use serde_json::Value;

/// What is written beside the frames of a log.
#[derive(Default)]
struct Beside<'a> {
    /// Seconds after the first frame, and the note.
    marks: &'a [(f64, &'a str)],
    /// Seconds after the first frame, and how many were lost.
    lost: &'a [(f64, u64)],
    /// Frames of a segment; 0: all.
    n_frames: usize,
}

/// Writes a log as the segments of a drive, as the recorder does.
fn record(log: &Path, drive: &Path, beside: &Beside) {
    std::fs::create_dir_all(drive).expect("a folder can be made");
    let source = Source::File(log.to_owned());
    let mut log = Log::open(&[source], &Options::default()).expect("the log can be read");
    let names = ["can0".to_owned()];
    let header = Header {
        interfaces: &names,
        ..Header::default()
    };
    let (mut marks, mut lost) = (
        beside.marks.iter().peekable(),
        beside.lost.iter().peekable(),
    );
    let (mut batch, mut segment) = (Batch::default(), Vec::new());
    let (mut n, mut number, mut n_lost) = (0, 0, 0);
    let mut first = None;
    let (mut begun, mut latest) = (Stamp(0), Stamp(0));
    let put = |segment: &mut Vec<u8>,
               number: &mut u64,
               n: u64,
               n_lost: u64,
               [begun, latest]: [Stamp; 2]| {
        let statistics = Statistics {
            start: begun,
            end: Some(latest),
            n_received: n,
            n_lost,
            clock_offset_ns: 0,
        };
        pcapng::statistics(segment, 0, latest, &statistics);
        *number += 1;
        let path = drives::segment(drive, *number);
        std::fs::write(path, std::mem::take(segment)).expect("a segment can be written");
    };
    while log.next(&mut batch).expect("the log goes on") {
        for entry in &batch.entries {
            let Entry::Frame(frame) = entry else { continue };
            if segment.is_empty() {
                pcapng::header(&mut segment, &header);
                begun = frame.stamp;
            }
            let first = *first.get_or_insert(frame.stamp);
            let since = (frame.stamp.0 - first.0) as f64 * 1e-9;
            while let Some((_, note)) = marks.next_if(|(at_s, _)| *at_s <= since) {
                pcapng::mark(&mut segment, frame.stamp, note);
            }
            let mut n_before = 0;
            while let Some((_, some)) = lost.next_if(|(at_s, _)| *at_s <= since) {
                n_before += some;
            }
            n_lost += n_before;
            let raw = RawFrame {
                id: frame.id,
                kind: frame.kind,
                flags: frame.flags,
                payload: batch.payload(frame),
            };
            pcapng::frame(&mut segment, 0, frame.stamp, &raw, n_before);
            latest = frame.stamp;
            n += 1;
            if n == beside.n_frames {
                put(&mut segment, &mut number, n as u64, n_lost, [begun, latest]);
                (n, n_lost) = (0, 0);
            }
        }
    }
    if !segment.is_empty() {
        put(&mut segment, &mut number, n as u64, n_lost, [begun, latest]);
    }
}

fn report(folder: &Folder, log: &str, map: &Path) -> Value {
    let map = map.display().to_string();
    folder
        .run(["report", log, "--map", &map, "--json"])
        .done()
        .json()
}

fn notices(report: &Value) -> Vec<(String, u64)> {
    let notices = report["notices"].as_array().expect("a list of notices");
    let one = |notice: &Value| {
        let word = notice["code"].as_str().unwrap_or_default().to_owned();
        (word, notice["count"].as_u64().unwrap_or(0))
    };
    notices.iter().map(one).collect()
}

fn sample() -> (std::path::PathBuf, std::path::PathBuf) {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
    let map = root.join("signal-maps/brindlecote-30.map");
    (root.join("sample-logs/hard-track-day.log.zst"), map)
}

#[test]
fn a_drive_of_segments_says_what_its_log_says() {
    let folder = Folder::default();
    let (log, map) = sample();
    let beside = Beside {
        n_frames: 30_000,
        ..Beside::default()
    };
    record(&log, &folder.path("drive-0001"), &beside);
    let mut of_log = report(&folder, &log.display().to_string(), &map);
    let mut of_drive = report(&folder, "drive-0001", &map);
    let input = &of_drive["inputs"][0];
    assert_eq!(input["name"], "drive-0001");
    assert_eq!(input["format"], "pcapng");
    assert_eq!(input["entries"], of_log["inputs"][0]["entries"]);
    let n_segments = drives::segments(&folder.path("drive-0001")).expect("segments");
    assert!(n_segments.len() > 3, "{}", n_segments.len());
    assert_eq!(of_drive["inputs"].as_array().map(Vec::len), Some(1));
    for report in [&mut of_log, &mut of_drive] {
        for key in ["inputs", "command", "notices"] {
            report[key] = Value::Null;
        }
    }
    assert_eq!(of_log, of_drive);
    assert!(
        of_log["laps"]["laps"]
            .as_array()
            .is_some_and(|laps| laps.len() > 5)
    );
}

#[test]
fn marks_cut_stints_and_losses_lower_the_grade() {
    let folder = Folder::default();
    let (log, map) = sample();
    let bare = report(&folder, &log.display().to_string(), &map);
    let laps = bare["laps"]["laps"].as_array().expect("laps").clone();
    let middle_s = |index: usize| {
        let at = |key: &str| laps[index][key].as_f64().expect("a time");
        0.5 * (at("start_s") + at("end_s"))
    };
    let n_frames = bare["inputs"][0]["entries"].as_u64().expect("a count");
    let last = laps.len() - 1;
    let note = "rears −0.2 bar <b>\u{202e}x";
    // One lap behind the second mark: too few to say how many are left.
    let marks = [(middle_s(2), note), (middle_s(last - 1), "")];
    let lost = [(100.0, n_frames / 100), (200.0, n_frames / 50)];
    let beside = Beside {
        marks: &marks,
        lost: &lost,
        n_frames: 50_000,
    };
    record(&log, &folder.path("rec/drive-0007"), &beside);
    std::fs::write(folder.path("rec/drive-0007/0009.pcapng.torn"), [0; 77]).expect("written");
    // The only drive of a folder of drives needs no name of its own.
    let marked = report(&folder, "rec", &map);
    assert_eq!(marked["inputs"][0]["name"], "drive-0007");
    let noted = marked["marks"].as_array().expect("marks");
    assert_eq!(noted.len(), 2);
    assert_eq!(noted[0]["note"], "rears −0.2 bar <b>\\u{202e}x");
    let at_s = noted[0]["time_s"].as_f64().expect("a time");
    assert!((at_s - middle_s(2)).abs() < 0.1, "{at_s}");
    let stints: Vec<Option<u64>> = marked["laps"]["laps"]
        .as_array()
        .expect("laps")
        .iter()
        .map(|lap| lap["stint"].as_u64())
        .collect();
    let mut expected = vec![Some(2); laps.len()];
    expected[..2].fill(Some(1));
    (expected[2], expected[last - 1], expected[last]) = (None, None, Some(3));
    assert_eq!(stints, expected);
    assert!(
        bare["laps"]["laps"]
            .as_array()
            .expect("laps")
            .iter()
            .all(|lap| lap["stint"] == 1)
    );
    let n_lost = n_frames / 100 + n_frames / 50;
    let found = notices(&marked);
    assert!(
        found.contains(&("frames-lost".to_owned(), n_lost)),
        "{found:?}"
    );
    assert!(
        found.contains(&("segment-torn".to_owned(), 77)),
        "{found:?}"
    );
    let left = &marked["figures"]["laps_to_limit"];
    assert!(
        left["why_null"]
            .as_str()
            .is_some_and(|why| why.contains("laps driven alike")),
        "{left}"
    );
    // Three of a hundred are more than one.
    let grades =
        [&bare, &marked].map(|report| report["quality"]["grade"].as_str().unwrap_or("").to_owned());
    assert!(
        grades[1].as_str() >= "C" && grades[0] <= grades[1],
        "{grades:?}"
    );
    let text = folder
        .run([
            "report",
            "rec",
            "--map",
            &map.display().to_string(),
            "--full",
            "--out",
            "page",
        ])
        .done();
    text.printed(&[
        "Marks",
        "rears −0.2 bar <b>\\u{202e}x",
        "Stint 2 begins with lap 4.",
    ]);
    let page = folder.read("page/report.html");
    assert!(page.contains("rears −0.2 bar &lt;b&gt;\\u{202e}x") && !page.contains("<b>"));
}

#[test]
fn losses_below_the_limit_leave_the_grade() {
    let folder = Folder::with_drive();
    let grade = |n_lost| {
        let name = format!("lost-{n_lost}");
        let lost = [(5.0, n_lost)];
        let beside = Beside {
            lost: &lost,
            ..Beside::default()
        };
        record(&folder.path("drive.log"), &folder.path(&name), &beside);
        report(&folder, &name, &folder.path("car.map"))["quality"].clone()
    };
    // Derived: 1,002 frames were got; 10 of 1,012 are 0.99 %, 11 of 1,013 are 1.09 %. The short
    // drive has a worse factor, so that only the words of one that lost much more show it.
    assert_eq!(grade(0), grade(10));
    let much = grade(3_000);
    assert!(much["grade"].as_str() >= Some("C"), "{much}");
}

#[test]
fn every_command_takes_a_drive() {
    let folder = Folder::with_drive();
    let beside = Beside {
        n_frames: 300,
        ..Beside::default()
    };
    record(
        &folder.path("drive.log"),
        &folder.path("rec/drive-0001"),
        &beside,
    );
    let decoded = |log: &str| folder.run(["decode", log, "--map", "car.map"]).done();
    assert_eq!(decoded("rec/drive-0001").out, decoded("drive.log").out);
    folder
        .run(["map", "check", "car.map", "rec/drive-0001"])
        .done();
    folder
        .run(["export", "rec", "--map", "car.map", "--to", "tables"])
        .done();
    assert!(folder.list().iter().any(|name| name.starts_with("tables/")));
    // Compared with itself it is refused for the same bytes, so it was read.
    let compared = folder.run([
        "compare",
        "rec/drive-0001",
        "rec/drive-0001/",
        "--map",
        "car.map",
    ]);
    compared.refused(&["of the same bytes"]);
    folder
        .run(["compare", "rec/drive-0001", "drive.log", "--map", "car.map"])
        .done();
    // A drive is named by where one stands.
    let here = folder.shell("cd rec/drive-0001 && \"$0\" report . --map ../../car.map --json");
    assert_eq!(here.done().json()["inputs"][0]["name"], "drive-0001");
}

#[test]
fn a_folder_of_several_drives_is_listed() {
    let folder = Folder::with_drive();
    let beside = Beside {
        n_frames: 300,
        ..Beside::default()
    };
    for name in ["drive-0001", "drive-0002"] {
        record(
            &folder.path("drive.log"),
            &folder.path("rec").join(name),
            &beside,
        );
    }
    // One that was cut is counted through; one without segments is none.
    let cut = folder.path("rec/drive-0002/0001.pcapng");
    let bytes = std::fs::read(&cut).expect("a segment");
    std::fs::write(&cut, &bytes[..bytes.len() - 50]).expect("written");
    std::fs::create_dir(folder.path("rec/drive-0003")).expect("made");
    let several = folder.run(["report", "rec", "--map", "car.map"]);
    several.refused(&[
        "rec: there are 2 drives in this folder; name one of them:",
        "  drive-0001: date unknown, 0.2 min, 1002 frames",
        "  drive-0002: date unknown, 0.2 min, 1002 frames",
    ]);
    std::fs::create_dir(folder.path("empty")).expect("made");
    folder.write("empty/notes.txt", CAR);
    let none = folder.run(["report", "empty", "--map", "car.map"]);
    none.refused(&["empty", "it is a folder; name the files in it"]);
    // The first segment ends early, and what follows is read all the same.
    let torn = report(&folder, "rec/drive-0002", &folder.path("car.map"));
    assert_eq!(torn["inputs"][0]["entries"], 1002);
    assert!(drive().lines().count() == 1002);
}
