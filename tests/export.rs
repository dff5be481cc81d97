//! Export to Parquet through the program: the files, what is in them, and what is not left
//! behind. Memory is looked at in `memory.rs`, other readers in `reference/export.py`.

mod common;

use halfshaft_model::personal::clean;
use std::collections::BTreeMap;
use std::path::Path;

use common::program::{CAR, Folder, Run, drive, gzip};
use parquet::file::reader::{FileReader, SerializedFileReader};
use parquet::record::Field;

const FILES: [&str; 10] = [
    "bench_cycle.csv",
    "bench_cycle.parquet",
    "corners.parquet",
    "events.parquet",
    "figures.parquet",
    "findings.parquet",
    "gaps.parquet",
    "laps.parquet",
    "responses.parquet",
    "samples.parquet",
];

const EXPORT: [&str; 6] = ["export", "drive.log", "--map", "car.map", "--to", "out"];

/// A table read back.
struct Table {
    keys: BTreeMap<String, String>,
    rows: Vec<BTreeMap<String, Field>>,
}

impl Table {
    #[track_caller]
    fn open(path: &Path) -> Table {
        let file =
            std::fs::File::open(path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
        let reader = SerializedFileReader::new(file).expect("it is Parquet");
        let keys = reader.metadata().file_metadata().key_value_metadata();
        let keys = keys.expect("there is metadata").iter();
        let rows = reader.get_row_iter(None).expect("it can be read by rows");
        Table {
            keys: keys
                .map(|pair| (pair.key.clone(), pair.value.clone().unwrap_or_default()))
                .collect(),
            rows: rows
                .map(|row| row.expect("every row can be read"))
                .map(|row| row.into_columns().into_iter().collect())
                .collect(),
        }
    }

    fn numbers(&self, column: &str) -> Vec<Option<f64>> {
        self.rows.iter().map(|row| number(&row[column])).collect()
    }

    fn texts(&self, column: &str) -> Vec<Option<String>> {
        self.rows.iter().map(|row| text(&row[column])).collect()
    }

    /// Samples of a channel in a native table: time in ns and value.
    fn channel(&self, name: &str) -> Vec<(i64, Option<f64>)> {
        self.rows
            .iter()
            .filter(|row| text(&row["channel"]).as_deref() == Some(name))
            .map(|row| (time(row), number(&row["value"])))
            .collect()
    }

    /// Values of a column in a table on a grid, by time in ms.
    #[track_caller]
    fn at(&self, column: &str, ms: i64) -> Option<f64> {
        let row = self.rows.iter().find(|row| time(row) == ms * 1_000_000);
        number(&row.unwrap_or_else(|| panic!("no row at {ms} ms"))[column])
    }
}

fn time(row: &BTreeMap<String, Field>) -> i64 {
    match row["time_ns"] {
        Field::Long(time) => time,
        ref other => panic!("a time is {other:?}"),
    }
}

#[track_caller]
fn number(field: &Field) -> Option<f64> {
    match field {
        Field::Double(value) => Some(*value),
        Field::Long(value) => Some(*value as f64),
        Field::Null => None,
        other => panic!("no number but {other:?}"),
    }
}

#[track_caller]
fn text(field: &Field) -> Option<String> {
    match field {
        Field::Str(text) => Some(text.clone()),
        Field::Null => None,
        other => panic!("no text but {other:?}"),
    }
}

/// The files that are Parquet.
fn tables() -> impl Iterator<Item = &'static str> {
    FILES.into_iter().filter(|name| name.ends_with(".parquet"))
}

#[track_caller]
fn exported(folder: &Folder, more: &[&str]) -> Run {
    let arguments = EXPORT.iter().chain(more);
    folder.run(arguments).done()
}

#[track_caller]
fn close(value: Option<f64>, wanted: f64) {
    // Single bits may differ between ways to interpolate.
    let is_close = value.is_some_and(|value| (value - wanted).abs() < 1e-9);
    assert!(is_close, "{value:?}, not {wanted}");
}

#[test]
fn every_table_appears_with_what_the_report_says() {
    let folder = Folder::with_drive();
    let run = exported(&folder, &[]);
    for name in FILES {
        assert!(run.out.contains(&format!("wrote out/{name}\n")), "{run:#?}");
    }
    let there: Vec<String> = folder.list().split_off(3);
    let wanted: Vec<String> = FILES.iter().map(|name| format!("out/{name}")).collect();
    assert_eq!(there, wanted);
    let samples = Table::open(&folder.path("out/samples.parquet"));
    // The drive has 501 frames of each kind, the clutch's a millisecond after the wheels'.
    for name in ["wheel.rear.left", "wheel.rear.right"] {
        let wheel = samples.channel(name);
        assert_eq!(wheel.len(), 501);
        assert_eq!(wheel[250].0, 5_000_000_000);
    }
    close(samples.channel("wheel.rear.right")[250].1, 64.0);
    assert_eq!(samples.channel("clutch.torque")[1].0, 21_000_000);
    close(samples.channel("clutch.torque")[250].1, 500.0);
    close(samples.channel("oil.temperature")[0].1, 80.0);
    // Derived: 4 rad/s between the wheels, half of it at the pack, 500 N·m: 1 kW.
    let in_the_middle = |name: &str| {
        let samples = samples.channel(name);
        let at = samples.iter().find(|(time, _)| *time == 5_000_000_000);
        at.and_then(|(_, value)| *value)
    };
    close(in_the_middle("axle.speed_difference"), 4.0);
    close(in_the_middle("pack.slip"), 2.0);
    close(in_the_middle("pack.torque"), 500.0);
    close(in_the_middle("pack.heat_rate"), 1000.0);
    close(in_the_middle("clutch.command.share"), 1.0);
    // There is no yaw rate.
    assert!(samples.channel("axle.openness").is_empty());
    let report = folder.run(["report", "drive.log", "--map", "car.map", "--json"]);
    let report = report.done().json();
    let figures = Table::open(&folder.path("out/figures.parquet"));
    let names = figures.texts("name");
    let of_report = report["figures"].as_object().expect("it is an object");
    assert_eq!(names.len(), of_report.len());
    for (name, value) in names.iter().zip(figures.numbers("value")) {
        let name = name.as_deref().expect("a name is never null");
        assert_eq!(value, of_report[name]["value"].as_f64(), "{name}");
    }
    let events = Table::open(&folder.path("out/events.parquet"));
    let heat: Vec<Option<f64>> = report["events"]
        .as_array()
        .expect("it is a list")
        .iter()
        .map(|event| event["heat_kj"].as_f64())
        .collect();
    assert!(!heat.is_empty());
    assert_eq!(events.numbers("heat_kj"), heat);
    // The steps make the heat of the drive, in events or not, and the hottest is its peak.
    let steps = Table::open(&folder.path("out/bench_cycle.parquet"));
    let of = |name: &str| {
        let times = steps.numbers("count").into_iter();
        let each = times.zip(steps.numbers(name));
        let each: Vec<f64> = each.filter_map(|(n, value)| Some(n? * value?)).collect();
        each
    };
    let (joules, seconds) = (of("energy_j"), of("duration_s"));
    let figure = |name: &str| of_report[name]["value"].as_f64().expect("it is known");
    let sum_kj = joules.iter().sum::<f64>() / 1e3;
    assert!(
        (sum_kj / figure("heat_total") - 1.0).abs() < 0.05,
        "{sum_kj} kJ"
    );
    let powers = joules
        .iter()
        .zip(&seconds)
        .map(|(joules, seconds)| joules / seconds);
    let peak_kw = powers.fold(0.0, f64::max) / 1e3;
    assert!(
        (peak_kw / figure("heat_peak") - 1.0).abs() < 0.05,
        "{peak_kw} kW"
    );
    let sheet = std::fs::read_to_string(folder.path("out/bench_cycle.csv")).expect("it is text");
    assert_eq!(sheet.lines().count(), 1 + steps.rows.len());
    let responses = Table::open(&folder.path("out/responses.parquet"));
    let is_empty = report["actuator"]["result"].is_null();
    assert_eq!(responses.rows.is_empty(), is_empty);
    for (time, reason) in responses
        .numbers("dead_time_s")
        .iter()
        .zip(responses.texts("reason"))
    {
        assert_ne!(time.is_some(), reason.is_some());
    }
    for name in tables() {
        let keys = Table::open(&folder.path(format!("out/{name}"))).keys;
        assert_eq!(keys["halfshaft.map.title"], "small car");
        assert_eq!(keys["halfshaft.clock.origin_ns"], "100000000000");
        assert_eq!(keys["halfshaft.clock.kind"], "boot");
        assert_eq!(keys["halfshaft.program"], env!("CARGO_PKG_VERSION"));
        assert_eq!(
            keys["halfshaft.map.fingerprint"],
            report["map"]["fingerprint"].as_str().expect("it is text")
        );
        assert_eq!(
            keys["halfshaft.inputs"],
            report["inputs"][0]["fingerprint"]
                .as_str()
                .expect("it is text")
        );
    }
}

#[test]
fn a_grid_holds_commands_and_interpolates_the_rest() {
    let folder = Folder::with_drive();
    exported(&folder, &["--rate", "100"]);
    let table = Table::open(&folder.path("out/samples.parquet"));
    // Ten seconds and a millisecond at 100 Hz.
    let times: Vec<i64> = table.rows.iter().map(time).collect();
    let wanted: Vec<i64> = (0..=1000).map(|index| index * 10_000_000).collect();
    assert_eq!(times, wanted);
    // The clutch is asked at 4.001 s, and until then the sample of 3.981 s lasts.
    assert_eq!(table.at("clutch.command", 4000), Some(0.0));
    assert_eq!(table.at("clutch.command", 4010), Some(1.0));
    assert_eq!(table.at("clutch.command", 0), None);
    // 60 N·m at 3.981 s, 500 N·m at 4.001 s.
    close(table.at("clutch.torque", 3990), 60.0 + 440.0 * 9.0 / 20.0);
    close(table.at("clutch.torque", 4000), 60.0 + 440.0 * 19.0 / 20.0);
    // The right wheel turns 60 rad/s at 3.98 s and 64 rad/s at 4 s.
    close(table.at("wheel.rear.right", 3990), 62.0);
    close(table.at("axle.speed_difference", 3990), 2.0);
    close(table.at("pack.heat_rate", 5000), 1000.0);
    assert_eq!(table.at("axle.openness", 5000), None);
    assert_eq!(table.keys["halfshaft.schema"], "halfshaft-samples-grid/1");
    assert_eq!(table.keys["halfshaft.rate_hz"], "100");
}

#[test]
fn a_gap_stays_a_gap() {
    let folder = Folder::with_drive();
    // Half a second without wheels, and one sample the car declares missing.
    let log: String = drive()
        .lines()
        .filter(|line| !(line.starts_with("(107.2") && line.contains(" 100#")))
        .filter(|line| !(line.starts_with("(107.3") && line.contains(" 100#")))
        .filter(|line| !(line.starts_with("(107.4") && line.contains(" 100#")))
        .map(|line| match line.starts_with("(108.001000) can0 101#") {
            true => "(108.001000) can0 101#00FFFFFF\n".to_owned(),
            false => format!("{line}\n"),
        })
        .collect();
    folder.write("drive.log", log);
    let map = CAR.replace(
        "    means pack torque\n",
        "    absent 0xFFFF\n    means pack torque\n",
    );
    folder.write("car.map", map);
    exported(&folder, &["--rate", "100"]);
    let table = Table::open(&folder.path("out/samples.parquet"));
    close(table.at("wheel.rear.left", 7180), 60.0);
    for ms in [7190, 7300, 7490] {
        assert_eq!(table.at("wheel.rear.left", ms), None, "{ms}");
        assert_eq!(table.at("axle.speed_difference", ms), None, "{ms}");
        close(table.at("clutch.torque", ms), 60.0);
    }
    close(table.at("wheel.rear.left", 7500), 60.0);
    for (ms, is_known) in [(7980, true), (7990, false), (8010, false), (8030, true)] {
        assert_eq!(table.at("clutch.torque", ms).is_some(), is_known, "{ms}");
    }
    // At native times the missing sample is a null, and the gap is nothing at all.
    exported(&folder, &[]);
    let table = Table::open(&folder.path("out/samples.parquet"));
    let torque = table.channel("clutch.torque");
    assert_eq!(torque.len(), 501);
    assert_eq!(torque[400], (8_001_000_000, None));
    assert_eq!(table.channel("wheel.rear.left").len(), 501 - 15);
    let gaps = Table::open(&folder.path("out/gaps.parquet"));
    let names = gaps.texts("channel");
    assert!(
        names.contains(&Some("wheel.rear.left".to_owned())),
        "{names:?}"
    );
}

#[test]
fn the_same_input_gives_the_same_bytes() {
    for more in [&[][..], &["--rate", "33.3"]] {
        let folder = Folder::with_drive();
        let read = || FILES.map(|name| std::fs::read(folder.path(format!("out/{name}"))));
        exported(&folder, more);
        let first = read().map(|bytes| bytes.expect("it was written"));
        // Another name and another folder change nothing.
        std::fs::rename(folder.path("drive.log"), folder.path("other.log"))
            .expect("a file can be renamed");
        let arguments = ["export", "other.log", "--map", "car.map", "--to", "out"];
        folder.run(arguments.iter().chain(more)).done();
        let second = read().map(|bytes| bytes.expect("it was written"));
        for (name, (first, second)) in FILES.iter().zip(first.iter().zip(&second)) {
            assert_eq!(first, second, "{name}");
        }
    }
}

#[test]
fn half_broken_logs_are_exported_as_far_as_they_go() {
    let folder = Folder::default();
    folder.write("car.map", CAR);
    let packed = gzip(drive().as_bytes());
    folder.write("drive.log", &packed[..packed.len() / 2]);
    let run = folder.run(EXPORT);
    assert_eq!(run.code, Some(0), "{run:#?}");
    run.said(&["drive.log", "reading stopped"]);
    let table = Table::open(&folder.path("out/samples.parquet"));
    let n_samples = table.channel("wheel.rear.left").len();
    assert!((10..501).contains(&n_samples), "{n_samples}");
}

#[test]
fn what_cannot_be_exported_leaves_nothing() {
    let folder = Folder::with_drive();
    folder.write("text.log", "Dear Sir,\nthe car makes a noise.\n");
    folder.write("other.log", drive().replace("can0", "can1"));
    // Wheels at 512 rad/s with a right checksum.
    let mut beyond = String::new();
    for index in 0..500 {
        let bytes = [0xC8, 0, 0xC8, 0, 0, 0, 0, 0];
        common::program::frame(&mut beyond, f64::from(index) * 0.02, 0x100, &bytes);
    }
    folder.write("beyond.log", beyond);
    std::fs::create_dir_all(folder.path("old/gaps.parquet")).expect("a folder can be made");
    folder.write("old/samples.parquet", "those of before");
    let before = folder.list();
    let refused = |log: &str, to: &str, more: &[&str], words: &[&str]| {
        let arguments = ["export", log, "--map", "car.map", "--to", to];
        folder.run(arguments.iter().chain(more)).refused(words);
        assert_eq!(folder.list(), before);
    };
    refused(
        "text.log",
        "out/a",
        &[],
        &["text.log", "no line is a frame"],
    );
    refused("none.log", "out", &[], &["none.log", "No such file"]);
    refused("other.log", "out", &[], &["map of another car"]);
    refused("beyond.log", "out", &[], &["not one value", "believable"]);
    refused(
        "drive.log",
        "car.map",
        &[],
        &["car.map is a file; a folder was expected"],
    );
    refused(
        "drive.log",
        "old",
        &[],
        &["old/gaps.parquet", "a folder of that name"],
    );
    assert_eq!(folder.read("old/samples.parquet"), "those of before");
    for rate in ["0", "-1", "nan", "inf", "1e9", "1e-9"] {
        let wanted = "expected a rate from 0.001 to 1000 Hz";
        refused("drive.log", "out", &["--rate", rate], &["--rate", wanted]);
    }
    refused(
        "drive.log",
        "out",
        &["--rate", "fast"],
        &["'fast'", "--rate"],
    );
    folder
        .run(["export", "drive.log", "--map", "car.map"])
        .refused(&["--to"]);
}

/// A full disk, without one: files may not grow beyond a few kilobytes.
#[cfg(unix)]
#[test]
fn a_full_disk_leaves_nothing() {
    let folder = Folder::with_drive();
    let before = folder.list();
    for (n_blocks, more, place) in [
        (8, "", "out/a/samples.parquet"),
        (8, "--rate 1000", "out/a/samples.parquet"),
        (0, "", "out/a/samples.parquet"),
    ] {
        let script = format!(
            "trap '' XFSZ && ulimit -f {n_blocks} && \
             exec \"$0\" export drive.log --map car.map --to out/a {more}"
        );
        folder
            .shell(&script)
            .refused(&[&format!("could not write {place}"), "File too large"]);
        assert_eq!(folder.list(), before);
    }
}

#[test]
fn hostile_names_stay_text() {
    let hostile = "<script>=1+1\u{1b}[31m\u{202e}../../x";
    let folder = Folder::with_drive();
    let quoted = format!("\"{hostile}\"");
    let map = CAR
        .replace("\"small car\"", &quoted)
        .replace("\"SC-1\"", &quoted);
    folder.write("car.map", map);
    let before = folder.list().len();
    exported(&folder, &[]);
    // A name is never a place.
    assert_eq!(folder.list().len(), before + 1 + FILES.len());
    for name in tables() {
        let keys = Table::open(&folder.path(format!("out/{name}"))).keys;
        assert_eq!(keys["halfshaft.map.title"], clean(hostile));
        assert_eq!(keys["halfshaft.vehicle"], clean(hostile));
    }
}

/// A file system of Linux takes any name; others are more particular.
#[cfg(target_os = "linux")]
#[test]
fn a_hostile_folder_is_written_out_on_the_terminal() {
    let folder = Folder::with_drive();
    let to = "\u{1b}[31mred\u{7}";
    let run = folder.run(["export", "drive.log", "--map", "car.map", "--to", to]);
    let run = run.done();
    assert!(!run.out.contains(['\u{1b}', '\u{7}']), "{run:#?}");
    assert!(folder.path(to).join("samples.parquet").is_file());
}
