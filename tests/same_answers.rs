//! The same drive gives the same answers, however it comes in and wherever it goes out.

mod common;

use common::program::{CAR, Folder, PROGRAM, drive, gzip};
use serde_json::Value;

/// A report as JSON without what names the inputs.
#[track_caller]
fn report(folder: &Folder, logs: &[&str]) -> Value {
    let arguments = ["report", "--json", "--map", "car.map"];
    let run = folder.run(arguments.iter().chain(logs)).done();
    let mut report = run.json();
    for key in ["inputs", "command"] {
        report
            .as_object_mut()
            .and_then(|report| report.remove(key))
            .expect("the report has that key");
    }
    report
}

#[test]
fn whole_in_halves_in_either_order_packed_or_through_a_pipe() {
    let folder = Folder::with_drive();
    let whole = drive();
    // Cut in the middle of the engagement, between two lines.
    let middle = whole[whole.len() / 2..].find('\n').expect("lines end") + whole.len() / 2 + 1;
    folder.write("1.log", &whole[..middle]);
    folder.write("2.log", &whole[middle..]);
    folder.write("drive.log.gz", gzip(whole.as_bytes()));
    // The name says nothing; content does.
    folder.write(
        "drive.csv",
        zstd::encode_all(whole.as_bytes(), 3).expect("memory does not fail"),
    );
    folder.write("crlf.log", whole.replace('\n', "\r\n"));
    let wanted = report(&folder, &["drive.log"]);
    assert_eq!(wanted["figures"]["engagements"]["value"], 1.0);
    // 500 N·m · ½ · 4 rad/s over 2 s: 2 kJ, less or more by an edge sample.
    let heat = wanted["figures"]["heat_total"]["value"].as_f64();
    assert!(heat.is_some_and(|kj| (kj - 2.0).abs() < 0.05), "{heat:?}");
    for logs in [
        &["1.log", "2.log"][..],
        &["2.log", "1.log"],
        &["drive.log.gz"],
        &["drive.csv"],
        &["crlf.log"],
    ] {
        assert_eq!(report(&folder, logs), wanted, "{logs:?}");
    }
    let piped = folder
        .shell("\"$0\" report - --json --map car.map <drive.csv")
        .done();
    assert_eq!(piped.json()["figures"], wanted["figures"]);
    let piped = folder
        .shell("tail -n +3 2.log | \"$0\" report 1.log - --json --map car.map")
        .done();
    assert_eq!(
        piped.json()["inputs"][1]["name"],
        "standard input",
        "{piped:#?}"
    );
    let map = folder
        .shell("\"$0\" report drive.log --json --map - <car.map")
        .done();
    assert_eq!(map.json()["figures"], wanted["figures"]);
}

#[test]
fn twice_the_same_bytes_and_never_a_trace_of_the_place() {
    let folders = [Folder::with_drive(), Folder::with_drive()];
    for (folder, out) in folders.iter().zip(["out", "another/place"]) {
        let arguments = ["report", "drive.log", "--map", "car.map", "--out", out];
        for _ in 0..2 {
            folder.run(arguments).done().printed(&["Written"]);
        }
    }
    for name in ["report.json", "report.html"] {
        let first = folders[0].read(format!("out/{name}"));
        assert!(
            first == folders[1].read(format!("another/place/{name}")),
            "{name}"
        );
    }
    assert_eq!(
        folders[0].list(),
        [
            "car.map",
            "drive.log",
            "out",
            "out/report.html",
            "out/report.json"
        ]
    );
}

#[test]
fn json_on_standard_output_is_the_file_and_nothing_else() {
    let folder = Folder::with_drive();
    let arguments = ["report", "drive.log", "--map", "car.map", "--json"];
    let run = folder
        .run(arguments.into_iter().chain(["--out", "out"]))
        .done();
    assert_eq!(run.json()["schema"], "halfshaft-report/3");
    assert_eq!(run.out, folder.read("out/report.json"));
}

#[test]
fn a_reader_that_has_seen_enough_is_no_failure() {
    let folder = Folder::with_drive();
    for command in [
        "report drive.log --map car.map",
        "report drive.log --map car.map --json",
        "decode drive.log --map car.map",
        "map format car.map",
        "map check car.map drive.log",
    ] {
        // The exit code goes through a file: `sh` knows that of the last command only.
        let run = folder.shell(&format!(
            "{{ \"$0\" {command}; echo $? >code; }} | head -c 2"
        ));
        assert_eq!((run.err.as_str(), run.out.len()), ("", 2), "{command}");
        assert_eq!(folder.read("code"), "0\n", "{command}");
        let run = folder.shell(&format!("{{ \"$0\" {command}; echo $? >code; }} | true"));
        assert_eq!((run.err.as_str(), run.out.as_str()), ("", ""), "{command}");
        assert_eq!(folder.read("code"), "0\n", "{command}");
    }
}

#[cfg(target_os = "linux")]
#[test]
fn colour_is_for_terminals_that_want_it() {
    let folder = Folder::with_drive();
    let report = "report drive.log --map car.map";
    let plain = folder.run(report.split(' ')).done().out;
    assert!(!plain.contains('\u{1b}'));
    let bad = folder.shell("echo nonsense | \"$0\" map check -");
    assert!(
        !bad.out.contains('\u{1b}') && bad.code == Some(2),
        "{bad:#?}"
    );
    // `script` of util-linux runs a command on a terminal of its own.
    let script = |environment: &str| {
        folder
            .shell(&format!(
                "script -qec \"{environment} '$0' {report}\" /dev/null </dev/null"
            ))
            .out
            .replace('\r', "")
    };
    let coloured = script("");
    assert!(coloured.contains('\u{1b}'), "{coloured}");
    assert_eq!(script("NO_COLOR=1"), plain);
    // Colour is all that differs.
    let mut bare = String::new();
    for (index, part) in coloured.split('\u{1b}').enumerate() {
        let end = part.find('m').map_or(0, |end| end + 1);
        bare += if index == 0 { part } else { &part[end..] };
    }
    assert_eq!(bare, plain);
}

#[test]
fn width_of_the_terminal() {
    let folder = Folder::with_drive();
    for width in [40, 80, 120] {
        let run = folder
            .program()
            .env("COLUMNS", width.to_string())
            .args(["report", "drive.log", "--map", "car.map"])
            .output()
            .expect("the program starts");
        let text = String::from_utf8_lossy(&run.stdout).into_owned();
        for line in text.lines() {
            assert!(line.chars().count() <= width.max(60), "{width}: {line}");
        }
    }
}

/// Threads only divide the work: on one processor a log of 200,000 frames gives the same report to
/// the byte. `taskset` of util-linux holds the program to one.
#[cfg(target_os = "linux")]
#[test]
fn one_processor_or_two_give_the_same_bytes() {
    let root = concat!(env!("CARGO_MANIFEST_DIR"), "/../..");
    let log = format!("{root}/sample-logs/healthy-road.log.zst");
    let packed = std::fs::read(&log).expect("the sample log is there");
    let text = zstd::decode_all(packed.as_slice()).expect("it is packed whole");
    let n_frames = text.iter().filter(|byte| **byte == b'\n').count();
    assert!(n_frames >= 50_000, "only {n_frames} frames");
    let folder = Folder::default();
    folder.write("drive.log", &text);
    folder.write("car.map", include_str!("../signal-maps/brindlecote-30.map"));
    let report = ["report", "drive.log", "--map", "car.map", "--out"];
    for (processors, out) in [("0", "one"), ("0-1023", "all")] {
        let ended = std::process::Command::new("taskset")
            .args(["--cpu-list", processors, env!("CARGO_BIN_EXE_halfshaft")])
            .args(report.iter().chain(&[out]))
            .current_dir(folder.path("."))
            .output()
            .expect("util-linux has taskset");
        assert!(ended.status.success(), "{ended:?}");
    }
    for name in ["report.json", "report.html"] {
        let [one, all] = ["one", "all"].map(|out| folder.read(format!("{out}/{name}")));
        assert!(one == all, "{name}");
    }
}

/// The small drive raises one note, that it is too short for a verdict, and nothing graver.
#[test]
fn fails_at_the_severity_asked_for_and_above() {
    let folder = Folder::with_drive();
    for (severity, code) in [("note", 1), ("look-soon", 0), ("act", 0), ("stop", 0)] {
        let arguments = ["report", "drive.log", "--map", "car.map", "--fail-at"];
        let run = folder.run(arguments.into_iter().chain([severity]));
        assert_eq!(run.code, Some(code), "{severity}: {run:?}");
    }
}

#[test]
fn standard_form_of_a_map_is_stable_and_means_the_same() {
    let folder = Folder::with_drive();
    let untidy = CAR
        .replace("  ", "      ")
        .replace("rear track 1.55 m", "rear   track  1.550 m  # measured")
        .replace('\n', "\r\n");
    folder.write("untidy.map", &untidy);
    let once = folder.run(["map", "format", "untidy.map"]).done().out;
    folder.write("once.map", &once);
    assert_eq!(folder.run(["map", "format", "once.map"]).done().out, once);
    assert!(once.contains("# measured") && !once.contains('\r'));
    assert_eq!(folder.read("untidy.map"), untidy);
    let run = folder
        .run(["map", "format", "--write", "untidy.map"])
        .done();
    assert_eq!(
        (run.out.as_str(), folder.read("untidy.map")),
        ("", once.clone())
    );
    let piped = folder.shell("\"$0\" map format --write - <once.map").done();
    assert_eq!(piped.out, once);
    folder.write("car.map", CAR);
    let wanted = report(&folder, &["drive.log"]);
    folder.write("car.map", &once);
    assert_eq!(
        report(&folder, &["drive.log"])["figures"],
        wanted["figures"]
    );
    for map in ["brackenford-hx", "brindlecote-30", "larkspur-40"] {
        let root = concat!(env!("CARGO_MANIFEST_DIR"), "/../..");
        let path = format!("{root}/signal-maps/{map}.map");
        let text = std::fs::read_to_string(&path).expect("the map is there");
        assert_eq!(
            folder.run(["map", "format", &path]).done().out,
            text,
            "{map}"
        );
    }
}

/// Who may read a report is its maker's to say; a map keeps its mode, and a link stays one.
#[cfg(unix)]
#[test]
fn modes_and_links_are_kept() {
    use std::os::unix::fs::{PermissionsExt, symlink};
    let folder = Folder::with_drive();
    let mode = |name: &str| {
        let about = std::fs::metadata(folder.path(name)).expect("the file is there");
        about.permissions().mode() & 0o777
    };
    for (mask, wanted) in [("022", 0o644), ("077", 0o600)] {
        let report = "report drive.log --map car.map --out";
        folder
            .shell(&format!("umask {mask}; \"$0\" {report} out{mask}"))
            .done();
        assert_eq!(mode(&format!("out{mask}/report.html")), wanted);
    }
    folder.write("there.map", CAR.replace("  ", "    "));
    symlink("there.map", folder.path("link.map")).expect("a link can be made");
    std::fs::set_permissions(folder.path("there.map"), PermissionsExt::from_mode(0o640))
        .expect("the mode can be changed");
    folder.run(["map", "format", "--write", "link.map"]).done();
    assert!(folder.path("link.map").is_symlink());
    assert_eq!(
        (folder.read("there.map").as_str(), mode("there.map")),
        (CAR, 0o640)
    );
}

#[test]
fn decoded_samples() {
    let folder = Folder::with_drive();
    let run = folder
        .run(["decode", "drive.log", "--map", "car.map"])
        .done();
    let lines: Vec<&str> = run.out.lines().collect();
    assert_eq!(lines[0], "time_s,channel,value,unit");
    // 501 samples of each of five channels.
    assert_eq!(lines.len(), 1 + 5 * 501);
    assert!(lines.contains(&"0.001000000,oil.temperature,80,degC"));
    let one = folder.run([
        "decode",
        "drive.log",
        "--map",
        "car.map",
        "--channel",
        "clutch.torque",
    ]);
    let engaged = one
        .done()
        .out
        .lines()
        .filter(|line| line.ends_with(",500,N.m"))
        .count();
    assert_eq!(engaged, 100);
}

#[test]
fn help_and_version() {
    let folder = Folder::default();
    folder.run(["--help"]).done().printed(&[
        "clutch-pack axle",
        "Exit codes: 0 done; 1 done, with findings at or above --fail-at; 2 could not do it.",
    ]);
    let version = folder.run(["--version"]).done().out;
    assert_eq!(
        version,
        format!("halfshaft {}\n", env!("CARGO_PKG_VERSION"))
    );
    assert!(PROGRAM.contains("halfshaft"));
}
