//! Rendered text against files in `tests/golden`. `HALFSHAFT_REWRITE=1` rewrites them;
//! review the difference like code.

use crate::hard_day::hard_day;
use crate::sample;
use halfshaft_report::{html, json, terminal};
use std::path::Path;

#[track_caller]
fn check(name: &str, got: &str) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/golden")
        .join(name);
    if crate::rewriting::is_rewriting() {
        std::fs::write(&path, got).unwrap();
    }
    let wanted = std::fs::read_to_string(&path).unwrap_or_default();
    let differing = got
        .lines()
        .zip(wanted.lines())
        .position(|(got, wanted)| got != wanted);
    assert!(
        got == wanted,
        "{name} differs, first at line {:?}; now:\n{got}",
        differing.map(|index| index + 1)
    );
}

#[test]
fn terminal_of_a_track_day() {
    let (results, notices) = (sample::track_day(), sample::notices());
    let document = sample::document(&results, &notices);
    check("terminal-80.txt", &terminal::render(&document, 80, false));
    check("terminal-60.txt", &terminal::render(&document, 60, false));
    check(
        "terminal-110-colour.txt",
        &terminal::render(&document, 110, true),
    );
}

#[test]
fn terminal_and_json_of_a_hard_day() {
    let (mut results, notices) = (hard_day(), sample::notices());
    let document = sample::document(&results, &notices);
    check("hard-day-80.txt", &terminal::render(&document, 80, false));
    // A few points, corners and cells show the form as well as all of them.
    results.calibration.points.truncate(5);
    results.laps.corners.truncate(4);
    check(
        "hard-day.json",
        &json::render(&sample::document(&results, &notices)),
    );
}

#[test]
fn terminal_of_a_log_with_nothing_in_it() {
    let (results, notices) = (sample::nothing(), Default::default());
    let mut document = sample::document(&results, &notices);
    document.inputs.clear();
    document.files_written.clear();
    check(
        "terminal-nothing.txt",
        &terminal::render(&document, 80, false),
    );
}

#[test]
fn json_of_a_track_day() {
    let (results, notices) = (sample::track_day(), sample::notices());
    check(
        "report.json",
        &json::render(&sample::document(&results, &notices)),
    );
}

#[test]
fn the_same_document_gives_the_same_bytes() {
    let render = || {
        let (results, notices) = (sample::track_day(), sample::notices());
        let document = sample::document(&results, &notices);
        [
            html::render(&document),
            json::render(&document),
            terminal::render(&document, 72, true),
        ]
    };
    assert_eq!(render(), render());
}
