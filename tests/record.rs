//! The stored record: what the program writes it reads back equal, every old version still opens,
//! and one of the future is refused.

mod common;

use std::path::{Path, PathBuf};

use common::program::Folder;
use halfshaft_health::FigureId;
use halfshaft_record::{Error, Record, SCHEMA};

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../..")
}

#[track_caller]
fn read(path: &Path) -> Vec<u8> {
    std::fs::read(path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

/// Number of the form this program writes.
fn newest() -> u32 {
    let number = SCHEMA
        .rsplit('/')
        .next()
        .and_then(|number| number.parse().ok());
    number.expect("the name of the form ends with its number")
}

fn stored(version: u32) -> Vec<u8> {
    read(&root().join(format!("tests/record-versions/{version}.json")))
}

#[test]
fn every_version_opens_and_says_the_same() {
    let newest = Record::read(&stored(newest())).expect("the newest version can be read");
    assert!(newest.events.len() > 5 && newest.quality.gaps.len() > 5);
    assert!(newest.thermal.result.is_some() && newest.actuator.result.is_some());
    for version in 1..=self::newest() {
        let old = stored(version);
        let named = format!("\"schema\": \"halfshaft-report/{version}\"");
        assert!(
            String::from_utf8_lossy(&old).contains(&named),
            "{version}.json is no {named}"
        );
        // All files are of one drive, and names stand in no order in an old one.
        let mut record = Record::read(&old).unwrap_or_else(|error| panic!("{version}: {error}"));
        record
            .figures
            .0
            .sort_by_key(|(name, _)| place(&newest, name));
        assert_eq!(record.figures, newest.figures, "{version}");
        assert_eq!(record.events, newest.events, "{version}");
        assert_eq!(record.quality.gaps, newest.quality.gaps, "{version}");
        assert_eq!(record.findings, newest.findings, "{version}");
        assert_eq!(
            record.for_comparison.values(),
            newest.for_comparison.values(),
            "{version}"
        );
        let again = record.write();
        assert_eq!(
            Record::read(again.as_bytes()).as_ref(),
            Ok(&record),
            "{version}"
        );
    }
}

/// The page explains every figure, in the order of the report and no other, with its unit.
#[test]
fn every_figure_stands_in_the_page_of_the_report() {
    let page = String::from_utf8(read(&root().join("docs/report.md"))).expect("the page is text");
    let table = page
        .split("| name | unit | what it is |\n|---|---|---|\n")
        .nth(1);
    let rows = table.expect("the table of figures").lines();
    let listed: Vec<(&str, &str)> = rows
        .map_while(|row| row.strip_prefix("| `")?.split_once("` | "))
        .map(|(name, rest)| (name, rest.split(" | ").next().unwrap_or_default()))
        .collect();
    let known: Vec<&str> = FigureId::ALL.iter().map(|id| id.word()).collect();
    let names: Vec<&str> = listed.iter().map(|(name, _)| *name).collect();
    assert_eq!(names, known);
    let record = Record::read(&stored(newest())).expect("the newest version can be read");
    // A stored report may hold figures that are no more.
    let is_known = |name: &str| listed.iter().find(|(listed, _)| *listed == name);
    let units: Vec<(&str, &str)> = record
        .figures
        .0
        .iter()
        .filter_map(|(name, figure)| Some((is_known(name)?.1, figure.unit.as_str())))
        .collect();
    assert!(units.len() + 2 >= known.len(), "{units:?}");
    for (unit, stored) in units {
        assert_eq!(unit, stored);
    }
}

fn place(record: &Record, name: &str) -> Option<usize> {
    record.figures.0.iter().position(|(known, _)| known == name)
}

#[test]
fn the_newest_version_is_written_again_byte_for_byte() {
    let bytes = stored(newest());
    let record = Record::read(&bytes).expect("it can be read");
    assert!(
        record.write().as_bytes() == bytes,
        "it is written otherwise"
    );
}

#[test]
fn a_version_of_the_future_is_refused() {
    let text = String::from_utf8(stored(newest())).expect("it is text");
    let future = format!("halfshaft-report/{}", newest() + 1);
    let text = text.replace(SCHEMA, &future);
    let error = Record::read(text.as_bytes()).expect_err("it is of the future");
    assert_eq!(error, Error::FromTheFuture { found: future });
    assert!(
        error.to_string().contains("later version of this program"),
        "{error}"
    );
}

#[test]
fn what_every_sample_drive_gives_is_read_back_equal() {
    let folder = Folder::default();
    let map = root().join("signal-maps/brindlecote-30.map");
    let logs = std::fs::read_dir(root().join("sample-logs")).expect("there are sample logs");
    let mut n_logs = 0;
    for log in logs.map(|log| log.expect("the folder can be read").path()) {
        if log.extension().is_none_or(|extension| extension != "zst") {
            continue;
        }
        n_logs += 1;
        let log = log.to_string_lossy().into_owned();
        let arguments = ["report", &log, "--map", &map.to_string_lossy(), "--json"];
        let written = folder.run(arguments).done().out;
        let record =
            Record::read(written.as_bytes()).unwrap_or_else(|error| panic!("{log}: {error}"));
        assert!(
            record.write() == written,
            "{log} is written otherwise when read back"
        );
    }
    assert!(n_logs >= 4, "{n_logs} sample logs");
}
