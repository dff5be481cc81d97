//! Bad input: a message that says what is wrong, the documented exit code, and nothing
//! half written left behind.

mod common;

use std::io::Write;
use std::time::{Duration, Instant};

use common::program::{CAR, Folder, Run, drive};

const REPORT: [&str; 7] = [
    "report", "bad.log", "--map", "car.map", "--out", "out/a", "--full",
];

/// The report of `bad.log` with that content must be refused and leave nothing.
#[track_caller]
fn refused(content: impl AsRef<[u8]>, words: &[&str]) {
    let folder = Folder::with_drive();
    folder.write("bad.log", content);
    left_alone(&folder, || folder.run(REPORT).refused(words));
}

/// Runs something that must not change a single name in the folder.
#[track_caller]
fn left_alone<T>(folder: &Folder, run: impl FnOnce() -> T) -> T {
    let before = folder.list();
    let outcome = run();
    assert_eq!(folder.list(), before);
    outcome
}

/// The report of `bad.log` with that content must go through with these words in it.
#[track_caller]
fn used(content: impl AsRef<[u8]>, words: &[&str]) -> Run {
    let folder = Folder::with_drive();
    folder.write("bad.log", content);
    let run = folder.run(REPORT).printed(words);
    assert_eq!(run.code, Some(0), "{run:#?}");
    assert!(folder.path("out/a/report.json").is_file());
    run
}

fn noise(n: usize) -> Vec<u8> {
    let mut state = 7_u64;
    let mut next = || {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (state >> 56) as u8
    };
    (0..n).map(|_| next()).collect()
}

#[test]
fn an_empty_file() {
    refused("", &["bad.log", "the input is empty"]);
    refused("\n\n\n", &["bad.log", "no line is a frame"]);
}

#[test]
fn binary_noise() {
    let words = ["bad.log", "it is not text", "expected SocketCAN log text"];
    refused(noise(100_000), &words);
    refused(noise(1), &["bad.log"]);
}

#[test]
fn text_that_is_no_log() {
    refused(
        "Dear Sir,\nthe car makes a noise.\n",
        &["bad.log", "no line is a frame", "begins `Dear Sir,`"],
    );
    refused(
        "Zeit;Rad HL\n0,1;20,5\n0,2;20,6\n",
        &["bad.log", "looks like a sheet", "`Rad HL`"],
    );
}

#[test]
fn a_log_that_cannot_be_opened() {
    let folder = Folder::with_drive();
    let report = |log: &str| {
        left_alone(&folder, || {
            folder.run(["report", log, "--map", "car.map", "--out", "out"])
        })
    };
    report("nothing.log").refused(&["nothing.log", "No such file"]);
    std::fs::create_dir(folder.path("dir.log")).expect("a folder can be made");
    report("dir.log").refused(&["dir.log", "it is a folder"]);
    #[cfg(unix)]
    {
        use std::os::unix::fs::{PermissionsExt, symlink};
        symlink("nowhere", folder.path("link.log")).expect("a link can be made");
        report("link.log").refused(&["link.log", "No such file"]);
        folder.write("secret.log", drive());
        std::fs::set_permissions(folder.path("secret.log"), PermissionsExt::from_mode(0o000))
            .expect("the mode can be changed");
        let script = "exec \"$0\" report secret.log --map car.map --out out";
        left_alone(&folder, || folder.shell_bound(script))
            .refused(&["secret.log", "ermission denied"]);
    }
}

#[test]
fn one_bad_name_among_good_ones_is_said_and_the_others_are_read() {
    let folder = Folder::with_drive();
    folder.write("empty.log", "");
    let names = ["report", "drive.log", "drvie.log", "empty.log"];
    let run = folder.run(names.into_iter().chain(["--map", "car.map", "--json"]));
    assert_eq!(run.code, Some(0));
    let run = run.said(&["drvie.log: No such file", "empty.log: the input is empty"]);
    assert_eq!(run.json()["inputs"][1]["entries"], 0);
    assert_eq!(run.json()["figures"]["engagements"]["value"], 1.0);
    folder
        .run(["report", "a.log", "empty.log", "--map", "car.map"])
        .refused(&["none of the 2 inputs", "a.log: No such", "empty.log: the"]);
}

#[test]
fn a_map_that_cannot_be_read() {
    let folder = Folder::with_drive();
    let report = |map: &str| {
        left_alone(&folder, || {
            folder.run(["report", "drive.log", "--map", map, "--out", "out"])
        })
    };
    report("nothing.map").refused(&["the map nothing.map", "No such file"]);
    report(".").refused(&["the map .", "irectory"]);
    report("drive.log").refused(&["drive.log", "found a log, expected a map"]);
    folder.write("noise.map", noise(1000));
    report("noise.map").refused(&["noise.map:1:", "not UTF-8 text"]);
    folder.write("long.map", "# a note\n".repeat(600_000));
    report("long.map").refused(&["long.map", "is this the log?"]);
    folder.write("empty.map", "# nothing\n");
    report("empty.map").refused(&["describes no frame and no sheet"]);
    folder
        .run(["report", "-", "--map", "-"])
        .refused(&["standard input was named twice"]);
    folder
        .run(["report", "-", "-", "--map", "car.map"])
        .refused(&["standard input was named twice"]);
}

#[test]
fn the_map_of_another_car() {
    let words = [
        "none is of the map's frames or sheets (0x100, 0x101)",
        "small car",
        "the map of another car?",
        "`halfshaft look LOG` shows what the log holds",
    ];
    refused(drive().replace(" can0 1", " can0 2"), &words);
    // The same identifiers on another bus are other frames.
    refused(drive().replace("can0", "can1"), &words);
}

#[test]
fn the_identifiers_of_another_car_with_other_content() {
    let words = [
        "500 of them",
        "not one value in them is believable",
        "another car?",
    ];
    // Wheels at 512 rad/s with a right checksum, and any bytes with a wrong one.
    for bytes in [
        [0xC8, 0, 0xC8, 0, 0, 0, 0, 0],
        [0x12, 0x34, 0x12, 0x34, 0, 0, 0, 1],
    ] {
        let mut log = String::new();
        for index in 0..500 {
            let time = f64::from(index) * 0.02;
            common::program::frame(&mut log, time, 0x100, &bytes);
        }
        refused(log, &words);
    }
}

#[test]
fn a_truncated_last_line() {
    let whole = drive();
    for n_missing in [2, 9] {
        let run = used(
            &whole[..whole.len() - n_missing],
            &["1 ×", "first at", "took"],
        );
        assert!(
            ["line-truncated", "frame-length"]
                .iter()
                .any(|code| run.out.contains(code)),
            "{run:#?}"
        );
    }
    // Only the newline is missing: nothing is wrong.
    used(
        &whole[..whole.len() - 1],
        &["nothing in the data was damaged"],
    );
}

#[test]
fn damaged_compression() {
    let packed = common::program::gzip(drive().as_bytes());
    let half = &packed[..packed.len() / 2];
    used(half, &["1 × input-truncated", "reading stopped after line"]);
    refused(&packed[..12], &["bad.log"]);
    let packed = zstd::encode_all(drive().as_bytes(), 3).expect("memory does not fail");
    refused(&packed[..packed.len() / 2], &["bad.log", "incomplete"]);
}

#[test]
fn a_line_of_ten_megabytes_costs_that_line_only() {
    let whole = drive();
    let (head, tail) = whole.split_at(whole.len() / 2);
    let (head, tail) = (
        format!("{head}{}", tail.lines().next().unwrap_or("")),
        tail.split_once('\n').map_or("", |(_, rest)| rest),
    );
    let long = "x".repeat(10_000_000);
    let log = format!("{head}\n{long}\n{tail}");
    let n_head = head.lines().count();
    let at = format!("bad.log:{}: more than 65536 bytes", n_head + 1);
    let run = used(&log, &["1 × line-too-long", &at]);
    let without = used(format!("{head}\n{tail}"), &[]);
    let figures = |run: &Run| {
        let place = |heading: &str| run.out.find(heading).expect("there is that heading");
        run.out[place("  Figure ")..place("Quality")].to_owned()
    };
    assert_eq!(figures(&run), figures(&without));
    // And in little memory: the log alone would not fit in it.
    if cfg!(target_os = "linux") {
        let folder = Folder::with_drive();
        folder.write("bad.log", log.replace('x', "xxxxxxxxxxxxxxxxxxxx"));
        let script = "ulimit -v 150000 && exec \"$0\" report bad.log --map car.map --json";
        let run = folder.shell(script);
        assert_eq!(run.code, Some(0), "{}", run.err);
        assert_eq!(run.json()["notices"][0]["code"], "line-too-long");
    }
}

/// A bomb: `head`, then a gigabyte and more of one byte.
fn bomb(head: &str, byte: u8, mut out: impl Write) {
    out.write_all(head.as_bytes()).expect("there is room");
    let piece = vec![byte; 1 << 20];
    for _ in 0..1200 {
        out.write_all(&piece).expect("there is room");
    }
}

fn bombs(head: &str, byte: u8) -> [Vec<u8>; 2] {
    let mut gzip = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::new(1));
    bomb(head, byte, &mut gzip);
    let mut zstd = zstd::Encoder::new(Vec::new(), 1).expect("memory does not fail");
    bomb(head, byte, &mut zstd);
    [
        gzip.finish().expect("memory does not fail"),
        zstd.finish().expect("memory does not fail"),
    ]
}

#[test]
fn a_bomb_ends_soon_and_what_came_before_is_read() {
    for packed in bombs(&drive(), 0) {
        assert!(packed.len() < 10 << 20);
        let began = Instant::now();
        let folder = Folder::with_drive();
        folder.write("bad.log", packed);
        let limit = if cfg!(target_os = "linux") {
            "ulimit -v 300000 && "
        } else {
            ""
        };
        let run = folder.shell(&format!(
            "{limit}exec \"$0\" report bad.log --map car.map --json"
        ));
        assert_eq!(run.code, Some(0), "{}", run.err);
        assert!(began.elapsed() < Duration::from_secs(20));
        let report = run.json();
        assert_eq!(report["figures"]["engagements"]["value"], 1.0);
        assert_eq!(report["notices"][0]["code"], "input-truncated");
        run.said(&["bad.log", "the rest was not read"]);
    }
}

#[test]
fn a_bomb_with_nothing_in_it() {
    for packed in bombs("", b'a') {
        let began = Instant::now();
        refused(packed, &["bad.log", "no line is a frame"]);
        assert!(began.elapsed() < Duration::from_secs(20));
    }
}

#[test]
fn an_output_folder_that_cannot_be() {
    let folder = Folder::with_drive();
    let report = |out: &str| {
        left_alone(&folder, || {
            folder.run(["report", "drive.log", "--map", "car.map", "--out", out])
        })
    };
    report("drive.log").refused(&["drive.log is a file; a folder was expected"]);
    report("drive.log/out").refused(&["the folder drive.log/out"]);
    // The report of before stays whole when one of its files cannot be replaced.
    std::fs::create_dir_all(folder.path("old/report.json")).expect("a folder can be made");
    folder.write("old/report.html", "the report of before");
    report("old").refused(&["old/report.json", "there is a folder of that name"]);
    assert_eq!(folder.read("old/report.html"), "the report of before");
}

#[cfg(unix)]
#[test]
fn a_read_only_output_folder() {
    use std::os::unix::fs::PermissionsExt;
    let folder = Folder::with_drive();
    let dir = folder.path("out");
    std::fs::create_dir(&dir).expect("a folder can be made");
    let mode = |mode| {
        std::fs::set_permissions(&dir, PermissionsExt::from_mode(mode))
            .expect("the mode can be changed");
    };
    mode(0o555);
    let script = "exec \"$0\" report drive.log --map car.map --out";
    for (out, place) in [
        ("out", "out/report.html"),
        ("out/in/it", "the folder out/in/it"),
    ] {
        left_alone(&folder, || folder.shell_bound(&format!("{script} {out}")))
            .refused(&[place, "ermission denied"]);
    }
    mode(0o755);
}

/// A full disk, without one: files may not grow beyond a few kilobytes.
#[cfg(unix)]
#[test]
fn a_full_disk_leaves_nothing() {
    let folder = Folder::with_drive();
    let full = "trap '' XFSZ && ulimit -f 8 && exec \"$0\"";
    left_alone(&folder, || {
        folder
            .shell(&format!(
                "{full} report drive.log --map car.map --out out/a/b"
            ))
            .refused(&["could not write out/a/b/report.html", "File too large"])
    });
    left_alone(&folder, || {
        folder
            .shell(&format!("{full} demo demo"))
            .refused(&["could not write demo/", "File too large"])
    });
    folder.write(
        "big.map",
        format!("{CAR}{}", "# a long note\n".repeat(2000)),
    );
    let big = folder.read("big.map");
    left_alone(&folder, || {
        folder
            .shell(&format!("{full} map format --write big.map"))
            .refused(&["could not write", "big.map", "File too large"])
    });
    assert_eq!(folder.read("big.map"), big);
}

#[cfg(target_os = "linux")]
#[test]
fn output_that_cannot_be_printed() {
    let folder = Folder::with_drive();
    for command in [
        "report drive.log",
        "report drive.log --json",
        "decode drive.log",
    ] {
        folder
            .shell(&format!("\"$0\" {command} --map car.map >/dev/full"))
            .refused(&["could not print", "No space left"]);
        // Nobody to tell is no reason to panic.
        let run = folder.shell(&format!(
            "\"$0\" {command} --map nothing.map >/dev/full 2>/dev/full"
        ));
        assert_eq!(run.code, Some(2), "{run:#?}");
    }
}

#[test]
fn the_advice_about_a_comma_of_two_readings_works() {
    let folder = Folder::default();
    folder.write("bad.csv", "ms;HL\n0;1,200\n20;1,201\n40;1,202\n");
    let map = |mark: &str| {
        format!(
            "map \"m\"\nvehicle \"v\"\n  rolling radius 0.32 m\nsheet \"s\"\n{mark}  \
             time in \"ms\" as ms\n  wheel.rear.left in \"HL\"\n    unit rad/s\n"
        )
    };
    let decode = ["decode", "bad.csv", "--map", "car.map"];
    folder.write("car.map", map(""));
    folder.run(decode).refused(&[
        "bad.csv:2: `1,200`",
        "1.200 or 1200",
        "state `decimal mark` for this sheet",
    ]);
    folder.write("car.map", map("  decimal mark \",\"\n"));
    let table = folder.run(decode).done().out;
    assert!(
        table.contains("0.000000000,wheel.rear.left,1.2,rad/s"),
        "{table}"
    );
    folder.write("car.map", map("  decimal mark \".\"\n"));
    let table = folder.run(decode).done().out;
    assert!(
        table.contains("0.000000000,wheel.rear.left,1200,rad/s"),
        "{table}"
    );
}

#[test]
fn arguments_that_make_no_sense() {
    let folder = Folder::with_drive();
    let run = |line: &str| folder.run(line.split(' '));
    run("report drive.log").refused(&["--map"]);
    run("report --map car.map").refused(&["<LOG>"]);
    run("report drive.log --map car.map --fail-at never").refused(&["'never'", "look-soon"]);
    run("reprot drive.log").refused(&["'reprot'", "'report'"]);
    run("decode drive.log --map car.map --channel wheel.raer.left").refused(&[
        "`wheel.raer.left`",
        "it has wheel.rear.left, wheel.rear.right",
    ]);
    run("demo out --drive nowhere").refused(&["`nowhere`", "hard-track-day"]);
    assert_eq!(folder.list(), ["car.map", "drive.log"]);
}

#[test]
fn a_map_with_three_mistakes_gets_all_three() {
    let folder = Folder::with_drive();
    let map = CAR
        .replace("rolling radius 0.32 m", "rolling radius 0.32 mm/h")
        .replace("  unit \"SC-1\"", "  untis \"SC-1\"")
        .replace("in bytes 1 2", "in bytes 4 5");
    folder.write("bad.map", map);
    let places = [
        ("bad.map:5:3", "did you mean `unit`?"),
        ("bad.map:7:23", "`mm/h` is not a unit"),
        ("bad.map:34:20", "frame 0x101 has 4 bytes (0 to 3)"),
    ];
    let checked = folder.run(["map", "check", "bad.map"]);
    let reported = folder.run(["report", "drive.log", "--map", "bad.map", "--out", "out"]);
    for (place, words) in places {
        assert!(checked.out.contains(place), "{place}: {checked:#?}");
        assert!(checked.out.contains(words), "{words}: {checked:#?}");
    }
    assert_eq!(
        (checked.code, checked.out.matches("mistake[").count()),
        (Some(2), 3)
    );
    checked.said(&["bad.map: 3 mistakes"]);
    let words: Vec<&str> = places
        .iter()
        .flat_map(|&(place, words)| [place, words])
        .collect();
    reported
        .refused(&words)
        .said(&["bad.map: the map has 3 mistakes"]);
    assert!(!folder.path("out").exists());
    folder
        .run(["map", "format", "--write", "bad.map"])
        .refused(&["bad.map:5:3"]);
}

#[test]
fn a_stretch_that_stands_twice_is_said() {
    // Stamps that count from 1970: others begin anew with every log.
    let log = drive().replace('(', "(1700000");
    let copied = used(format!("{log}{log}"), &["twice", "[time-twice]"]);
    assert!(copied.out.contains("log grade"), "{copied:#?}");
    let once = used(log, &[]);
    assert!(!once.out.contains("time-twice"), "{once:#?}");
}

#[test]
fn a_wrong_digit_in_one_stamp_changes_no_figure() {
    let log = drive();
    let lines: Vec<&str> = log.lines().collect();
    let middle = lines.len() / 2;
    let mut spoilt: Vec<String> = lines.iter().map(|line| (*line).to_owned()).collect();
    // The hundreds of seconds: some minutes ahead.
    let digit = spoilt[middle].find('.').expect("a stamp has decimals") - 3;
    let other = if &lines[middle][digit..=digit] == "9" {
        "5"
    } else {
        "9"
    };
    spoilt[middle].replace_range(digit..=digit, other);
    let run = used(spoilt.join("\n") + "\n", &["stamp-off"]);
    let time = |run: &Run| {
        let line = run
            .out
            .lines()
            .find(|line| line.contains("Length of the log"));
        line.expect("there is the length").to_owned()
    };
    assert_eq!(time(&run), time(&used(log, &[])));
}
