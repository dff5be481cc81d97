//! Settings through the program: what it writes it reads, a changed limit changes the result
//! and is listed, and a mistake ends the run where it stands.

mod common;

use common::program::{Folder, Run};
use halfshaft_health::FindingId;
use serde_json::{Value, json};

const REPORT: [&str; 5] = ["report", "drive.log", "--map", "car.map", "--json"];

#[track_caller]
fn report(folder: &Folder, settings: &[&str]) -> Value {
    let run = folder.run(REPORT.iter().chain(settings)).done();
    serde_json::from_str(&run.out).expect("it is JSON")
}

#[track_caller]
fn refused(run: &Run, wanted: &str) {
    assert_eq!((run.code, run.out.as_str()), (Some(2), ""), "{run:#?}");
    assert!(run.err.contains(wanted), "{wanted}: {run:#?}");
}

#[test]
fn the_written_file_changes_nothing() {
    let folder = Folder::with_drive();
    let run = folder.run(["settings", "--out", "new/own.toml"]).done();
    assert_eq!(run.out, "wrote new/own.toml\n");
    assert_eq!(
        folder.run(["settings"]).done().out,
        folder.read("new/own.toml")
    );
    let without = report(&folder, &[]);
    let mut with = report(&folder, &["--settings", "new/own.toml"]);
    assert_eq!(with["settings_changed"], json!([]));
    assert_eq!(
        with["command"],
        "halfshaft report drive.log --map car.map --settings own.toml"
    );
    with["command"] = without["command"].clone();
    assert_eq!(with, without);
    // What someone has edited is not written over.
    folder.write("new/own.toml", "[oil]\n");
    let again = folder.run(["settings", "--out", "new/own.toml"]);
    refused(&again, "could not write new/own.toml: it is there already");
    assert_eq!(folder.read("new/own.toml"), "[oil]\n");
}

#[test]
fn a_life_line_of_ones_own_gives_the_damage_sum() {
    let folder = Folder::with_drive();
    let sum = |report: &Value| report["duty"]["miner_sum"].clone();
    let why = sum(&report(&folder, &[]))["why_null"].clone();
    assert_eq!(why, "no life line is set: `[life_line]` of the settings");
    let with = |exponent: f64, range_nm: f64| {
        let text =
            format!("[life_line]\nexponent = {exponent}\nrange_nm = {range_nm}\ncycles = 1000\n");
        folder.write("own.toml", &text);
        let found = sum(&report(&folder, &["--settings", "own.toml"]));
        found["result"]
            .as_f64()
            .unwrap_or_else(|| panic!("{found}"))
    };
    // Derived: twice the range at the same life leaves (1/2)^m of the damage, whatever the cycles.
    let (one, other) = (with(5.0, 100.0), with(5.0, 200.0));
    assert!(
        one > 0.0 && (one / other / 32.0 - 1.0).abs() < 1e-9,
        "{one}, {other}"
    );
}

#[test]
fn a_changed_limit_changes_the_result_and_is_listed() {
    let folder = Folder::with_drive();
    // The oil of the small car is at 80 °C for its ten seconds; its pack slips at 4 rad/s.
    folder.write(
        "own.toml",
        "[oil]\nwarn_c = 75\nabove_s = 5\n[slip]\nworking_rad_per_s = 9.5\n",
    );
    let usual = report(&folder, &[]);
    let own = report(&folder, &["--settings", "own.toml"]);
    let fires = |report: &Value| {
        let findings = report["findings"].as_array().expect("a list");
        findings
            .iter()
            .any(|finding| finding["id"] == FindingId::OilTooHot.word())
    };
    assert_eq!((fires(&usual), fires(&own)), (false, true));
    let partial = |report: &Value| report["figures"]["partial_heat_making"]["value"].as_f64();
    assert!(partial(&usual) > Some(1.5), "{:?}", partial(&usual));
    assert_eq!(partial(&own), Some(0.0));
    assert_eq!(
        own["settings_changed"],
        json!([
            { "key": "slip.working_rad_per_s", "default": 0.3, "value": 9.5, "unit": "rad/s" },
            { "key": "oil.warn_c", "default": 130.0, "value": 75.0, "unit": "°C" },
            { "key": "oil.above_s", "default": 10.0, "value": 5.0, "unit": "s" },
        ])
    );
    let arguments = [
        "report",
        "drive.log",
        "--map",
        "car.map",
        "--settings",
        "own.toml",
    ];
    let text = folder.run(arguments).done().out;
    assert!(
        text.contains("Settings changed: slip.working_rad_per_s 9.5"),
        "{text}"
    );
}

#[test]
fn the_verdict_follows_its_limits() {
    let folder = Folder::with_drive();
    let doubts = |least: u32| {
        folder.write(
            "own.toml",
            format!("[verdict]\nleast_engagements = {least}\n"),
        );
        let report = report(&folder, &["--settings", "own.toml"]);
        report["verdict"]["doubts"].to_string()
    };
    let seldom = "of the 9000 engagements that are needed";
    assert!(doubts(9000).contains(seldom), "{}", doubts(9000));
    assert!(!doubts(1).contains("few-engagements"), "{}", doubts(1));
}

#[test]
fn the_usual_place_is_read_unless_a_file_is_named() {
    let folder = Folder::with_drive();
    std::fs::create_dir(folder.path("halfshaft")).expect("a folder can be made");
    folder.write("halfshaft/settings.toml", "[oil]\nwarn_c = 75\n");
    let usual_place = report(&folder, &[]);
    assert_eq!(usual_place["settings_changed"][0]["key"], "oil.warn_c");
    let command = usual_place["command"].as_str().expect("a text");
    // A folder is nobody's business but the owner's.
    assert!(command.ends_with("--settings settings.toml"), "{command}");
    folder.write("own.toml", "");
    let named = report(&folder, &["--settings", "own.toml"]);
    assert_eq!(named["settings_changed"], json!([]));
    // The other commands that judge read it too.
    folder.write("halfshaft/settings.toml", "[oil]\nwarm_c = 75\n");
    for arguments in [
        &REPORT[..],
        &["export", "drive.log", "--map", "car.map", "--to", "out"],
        &["demo", "made"],
    ] {
        refused(
            &folder.run(arguments),
            "halfshaft/settings.toml:2:1: found `warm_c`",
        );
    }
    assert!(!folder.path("out").exists() && !folder.path("made").exists());
}

#[test]
fn mistakes_are_said_in_place_all_at_once() {
    let folder = Folder::with_drive();
    folder.write(
        "own.toml",
        "[oil]\nwarm_c = 75\nlimit_c = \"140\"\nabove_s = -1\nabove_s = 2\n\n[coling]\n",
    );
    let run = folder.run(REPORT.iter().chain(&["--settings", "own.toml"]));
    let lines: Vec<&str> = run.err.lines().collect();
    assert_eq!(run.code, Some(2));
    assert_eq!(
        &lines[..4],
        [
            "own.toml:2:1: found `warm_c`, which is no key of `[oil]`; `warn_c` is near",
            "own.toml:3:11: `oil.limit_c`: found \"140\", expected a number from 40 to 300 (°C)",
            "own.toml:4:11: `oil.above_s`: found -1, expected a number from 0 to 3600 (s)",
            "own.toml:5:1: duplicate key: `above_s`",
        ]
    );
    assert!(
        lines[4].starts_with("own.toml:7:2: found `coling`"),
        "{lines:?}"
    );
    assert!(
        lines[5].contains("own.toml: the settings have 5 mistakes"),
        "{lines:?}"
    );
    assert_eq!(lines.len(), 6);
}

#[test]
fn what_is_no_settings_file_is_refused() {
    let folder = Folder::with_drive();
    let with = |name: &str| folder.run(REPORT.iter().chain(&["--settings", name]));
    refused(
        &with("none.toml"),
        "could not read the settings none.toml: no such file",
    );
    refused(&with("."), "could not read the settings .");
    folder.write("latin.toml", b"[oil]\n# 75 \xb0C\n");
    refused(
        &with("latin.toml"),
        "latin.toml:2:6: found the byte 0xB0, expected text in UTF-8",
    );
    folder.write("long.toml", "#".repeat(300_000));
    refused(&with("long.toml"), "long.toml: longer than 262144 bytes");
    // Text of a file cannot steer the terminal.
    folder.write("odd.toml", "[oil]\n\"\\u001b[2J\" = 1\n");
    let run = with("odd.toml");
    refused(&run, "odd.toml:2:1: found `\\u{1b}[2J`");
    assert!(!run.err.contains('\u{1b}'));
}
