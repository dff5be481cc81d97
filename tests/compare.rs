//! Before and after: simulated sessions of one circuit against each other, and earlier
//! reports as what a drive is compared with, through the program.

mod common;

use common::program::{CAR, Folder, drive};
use common::{assess, map};
use halfshaft_health::FigureId;
use halfshaft_health::compare::{Change, Comparison, Session, compare};
use halfshaft_health::limits::{Compare, Limits};
use halfshaft_model::{Notices, Stamp};
use halfshaft_record::Record;
use halfshaft_record::document::{ClockKind, ClockRecord, Document, MapRecord};
use halfshaft_simulate::{Scenario, Tolerances, fault_drive, map_text, scenarios, to_text};
use serde_json::Value;

/// The sample's track day, with another seed and as it is changed.
fn track_day(seed: u64, change: impl Fn(&mut Scenario)) -> Scenario {
    let mut scenario = scenarios()
        .into_iter()
        .find(|scenario| scenario.name == "hard-track-day")
        .expect("the sample is there");
    scenario.seed = seed;
    change(&mut scenario);
    scenario
}

/// Read through a map that states the car's own torque, and taken from its record.
fn session(scenario: &Scenario) -> Session {
    let map = map(&map_text(scenario, &Tolerances::EXACT, 1));
    let results = assess(&map, to_text(scenario).0.as_bytes());
    let record = Record::of(&Document {
        results: &results,
        inputs: Vec::new(),
        notices: &Notices::default(),
        remarks: Vec::new(),
        map: MapRecord::default(),
        program_version: "",
        compared_with: None,
        command: String::new(),
        clock: ClockRecord {
            set_ahead_ns: 0,
            first_stamp: Stamp(0),
            last_stamp: Stamp(0),
            kind: ClockKind::Relative,
            words: String::new(),
        },
        workshop: None,
        files_written: Vec::new(),
    });
    record.session(&Limits::default())
}

fn more_preload(scenario: &mut Scenario) {
    scenario.vehicle.torque_points[0].1 *= 1.2;
}

fn slower_actuator(scenario: &mut Scenario) {
    scenario.vehicle.actuator.lag_s *= 1.3;
}

#[track_caller]
fn change<'a>(comparison: &'a Comparison, name: &str) -> &'a Change {
    let figure = comparison.figure(name).expect("it is compared");
    figure
        .outcome
        .as_ref()
        .unwrap_or_else(|reason| panic!("{name}: {reason}"))
}

#[test]
fn sessions_of_one_circuit_before_and_after() {
    let all: Vec<Session> = std::thread::scope(|scope| {
        [
            track_day(1, |_| {}),
            track_day(2, |_| {}),
            track_day(4, slower_actuator),
        ]
        .map(|scenario| scope.spawn(move || session(&scenario)))
        .map(|thread| thread.join().expect("the assessment does not panic"))
        .into()
    });
    let limits = Compare::default();
    let against = |after: usize| compare(&all[..1], &all[after..=after], &[], &limits);

    // Nothing changed: of all that is compared not one difference is seen, and each says how
    // small a one would have been.
    let same = against(1);
    assert!(same.matched.as_ref().is_ok_and(|n| *n >= 5), "{same:#?}");
    for figure in &same.figures {
        if let Ok(change) = &figure.outcome {
            assert!(!change.is_seen() && change.smallest > 0.0, "{figure:#?}");
        }
    }
    assert!(change(&same, "heat_per_corner").n_pairs > Some(20));

    // A lag a third longer: a rise 2.197·0.3·55 ms longer, both ways at once.
    let found = against(2);
    for name in ["rise_time", "transition_time", "release_time"] {
        assert!(change(&found, name).low > 0.0, "{name}: {found:#?}");
    }
    let rise = change(&found, "rise_time");
    let truth = 2.197 * 0.3 * 0.055;
    assert!((rise.low..=rise.high).contains(&truth), "{truth}: {rise:?}");
    // The same two give the same, bit for bit.
    assert_eq!(found, against(2));
}

/// The same laps at a pace at which the clutch stays open.
fn quiet_laps(scenario: &mut Scenario) {
    for piece in &mut scenario.pieces {
        piece.speed_m_per_s = piece.speed_m_per_s.min(12.0);
    }
}

#[test]
fn a_fifth_more_preload_is_a_fifth_more_heat_per_degree_of_open_bends() {
    let before = session(&track_day(11, quiet_laps));
    let same = session(&track_day(12, quiet_laps));
    let more = session(&track_day(13, |scenario| {
        quiet_laps(scenario);
        more_preload(scenario);
    }));
    let limits = Compare::default();
    let none = compare(std::slice::from_ref(&before), &[same], &[], &limits);
    let open = change(&none, "heat_per_degree_open");
    assert!(
        !open.is_seen() && open.smallest < 0.1 * open.before,
        "{open:?}"
    );
    let found = compare(&[before], &[more], &[], &limits);
    for name in ["heat_per_degree_open", "heat_per_corner", "heat_per_lap"] {
        let change = change(&found, name);
        // A fifth more at the most: torque that is not preload does not grow with it.
        let most = 0.2 * change.before;
        assert!(change.low > 0.0, "{name}: {change:?}");
        assert!(
            change.low < most && most <= change.high * 1.3,
            "{name}: {change:?}"
        );
    }
}

/// A folder with the small car's drive as `before.log` and one as `after.log` whose oil is a
/// degree warmer.
fn two_drives() -> Folder {
    let folder = Folder::with_drive();
    folder.write("after.log", drive().replace("78\n", "79\n"));
    folder
}

#[test]
fn without_laps_it_says_so_and_names_what_it_read() {
    let folder = two_drives();
    let arguments = ["compare", "drive.log", "after.log", "--map", "car.map"];
    folder.run(arguments).done().printed(&[
        "small car, unit SC-1: before and after",
        "Before: drive.log, 0 laps.",
        "Nothing that could be seen.",
        "Laps and corners could not be matched (the drive is too short for two laps)",
    ]);
    let run = folder.run(arguments.iter().chain(&["--json"])).done();
    let json = run.json();
    assert_eq!(json["schema"], "halfshaft-comparison/2");
    assert_eq!(
        json["command"],
        "halfshaft compare drive.log after.log --map car.map"
    );
    assert_eq!(json["matched_corners"], Value::Null);
    let figures = json["figures"].as_array().expect("a list");
    assert!(figures.len() >= 14, "{}", figures.len());
    for figure in figures {
        assert_ne!(figure["difference"].is_null(), figure["why_null"].is_null());
    }
}

/// A folder with five drives: two of the car as it was, two after, and one with it put back.
fn five_drives() -> Folder {
    let folder = Folder::with_drive();
    for (name, celsius) in [("a2", 77), ("b1", 79), ("b2", 80), ("a3", 76)] {
        let text = drive().replace("78\n", &format!("{celsius}\n"));
        folder.write(format!("{name}.log"), text);
    }
    folder
}

#[test]
fn several_drives_of_a_side_and_the_car_put_back() {
    let folder = five_drives();
    let arguments = [
        "compare",
        "--before",
        "drive.log",
        "a2.log",
        "--after",
        "b1.log",
        "b2.log",
        "--again",
        "a3.log",
        "--map",
        "car.map",
    ];
    folder.run(arguments).done().printed(&[
        "Before: drive.log, a2.log, 0 laps.",
        "After: b1.log, b2.log, 0 laps.",
        "Again as before: a3.log, 0 laps.",
    ]);
    let json = folder
        .run(arguments.iter().chain(&["--json"]))
        .done()
        .json();
    assert_eq!(
        json["command"],
        "halfshaft compare --before drive.log a2.log --after b1.log b2.log --again a3.log --map car.map"
    );
    assert_eq!(json["before"]["drives"], 2);
    assert_eq!(json["again"]["logs"][0]["name"], "a3.log");
    // Two drives and a third: the shorter form.
    let short = [
        "compare",
        "drive.log",
        "b1.log",
        "--again",
        "a3.log",
        "--map",
        "car.map",
        "--json",
    ];
    let json = folder.run(short).done().json();
    assert_eq!(
        json["command"],
        "halfshaft compare drive.log b1.log --again a3.log --map car.map"
    );
    let refused = |arguments: &[&str], words: &[&str]| {
        let arguments = ["compare"].iter().chain(arguments).copied();
        folder
            .run(arguments.chain(["--map", "car.map"]))
            .refused(words);
    };
    refused(
        &["drive.log", "b1.log", "a3.log"],
        &["found 3 drives", "--before", "--again"],
    );
    refused(&["--before", "drive.log"], &["--after"]);
    refused(
        &[
            "drive.log",
            "b1.log",
            "--before",
            "a2.log",
            "--after",
            "b2.log",
        ],
        &["--before"],
    );
    refused(
        &["drive.log", "b1.log", "--again", "drive.log"],
        &["drive.log and drive.log are of the same bytes"],
    );
    refused(
        &["drive.log", "b1.log", "--start-line", "50"],
        &["latitude"],
    );
}

#[test]
fn a_page_to_hand_over_is_written_beside_the_object() {
    let folder = five_drives();
    let arguments = [
        "compare",
        "drive.log",
        "b1.log",
        "--map",
        "car.map",
        "--out",
        "page",
    ];
    folder
        .run(arguments)
        .done()
        .printed(&["Written: page/comparison.html, page/comparison.json."]);
    let object = folder
        .run(arguments[..5].iter().chain(&["--json"]))
        .done()
        .out;
    assert_eq!(folder.read("page/comparison.json"), object);
    let page = folder.read("page/comparison.html");
    for words in [
        "Content-Security-Policy",
        "Of the car no change could be seen.",
        "What cannot be seen here",
        "What to do next",
        "halfshaft compare drive.log b1.log --map car.map",
    ] {
        assert!(page.contains(words), "{words}");
    }
    assert!(!page.contains("<script"), "it runs nothing");
}

/// A lap that takes a fifth longer than the others is none.
#[test]
fn out_and_in_laps_make_no_lap() {
    let folder = Folder::default();
    let scenario = track_day(1, |_| {});
    folder.write("car.map", map_text(&scenario, &Tolerances::EXACT, 1));
    folder.write("before.log", to_text(&scenario).0);
    store(&folder, "before", "car.map");
    let text = folder.read("before.json");
    let mut slow: Value = serde_json::from_str(&text).expect("it is JSON");
    // The third took a fifth longer: it began earlier.
    let third = &mut slow["laps"]["laps"][2];
    let [start_ns, end_ns] = ["start_ns", "end_ns"].map(|key| third[key].as_i64().expect("a time"));
    third["start_ns"] = (start_ns - (end_ns - start_ns) / 5).into();
    slow["inputs"][0]["fingerprint"] = "another".into();
    folder.write("slow.json", slow.to_string());
    let run = folder
        .run(["compare", "before.json", "slow.json", "--json"])
        .done();
    let json = run.json();
    assert_eq!(
        (&json["before"]["laps"], &json["after"]["laps"]),
        (&6.into(), &5.into())
    );
    let notes = json["notes"].to_string();
    for words in ["Slow laps after", "left out: 1."] {
        assert!(notes.contains(words), "{notes}");
    }
    assert!(!notes.contains("Slow laps before"), "{notes}");
}

#[test]
fn another_map_unit_or_limit_is_said() {
    let folder = two_drives();
    folder.write("other.map", CAR.replace("SC-1", "SC-2"));
    folder.write("own.toml", "[oil]\nwarn_c = 111.0\n");
    let arguments = [
        "compare",
        "drive.log",
        "after.log",
        "--map",
        "car.map",
        "--map-after",
        "other.map",
        "--settings",
        "own.toml",
    ];
    folder.run(arguments).done().printed(&[
        "not of one unit: before small car, unit SC-1, after small car, unit SC-2.",
        "read through different maps",
        "other limits than the usual ones: oil.warn_c 111.0.",
    ]);
}

#[test]
fn what_cannot_be_compared_is_refused() {
    let folder = two_drives();
    let compare = |arguments: &[&str]| folder.run(["compare"].iter().chain(arguments));
    compare(&["drive.log", "drive.log", "--map", "car.map"])
        .refused(&["drive.log and drive.log are of the same bytes"]);
    compare(&["drive.log", "none.log", "--map", "car.map"]).refused(&["none.log"]);
    compare(&["-", "-", "--map", "car.map"]).refused(&["standard input was named twice"]);
    compare(&["drive.log", "-", "--map", "car.map", "--map-after", "-"])
        .refused(&["standard input was named twice"]);
    compare(&["drive.log", "--map", "car.map"]).refused(&["AFTER"]);
    compare(&["drive.log", "after.log"]).refused(&["--map"]);
}

/// Slow in one direction, in both, silent half the way, and sound but hot.
const FAULTS: [&str; 4] = [
    "lazy-actuator",
    "slow-release",
    "actuator-not-moving",
    "track-day-hot-pack",
];

/// The record of a log beside it: `one.json` of `one.log`.
#[track_caller]
fn store(folder: &Folder, name: &str, map: &str) {
    let log = format!("{name}.log");
    let run = folder.run(["report", &log, "--map", map, "--json"]).done();
    folder.write(format!("{name}.json"), run.out);
}

/// What is compared of the stored records, and of one beside the other's log, is what is compared
/// of the logs, byte for byte.
#[track_caller]
fn check_stored_as_logs(folder: &Folder, map: &str) {
    store(folder, "before", map);
    store(folder, "after", map);
    let compare = |before: &str, after: &str, more: &[&str]| {
        let arguments = ["compare", before, after].into_iter();
        folder.run(arguments.chain(more.iter().copied())).done()
    };
    let with_map = ["--map", map];
    let logs = compare("before.log", "after.log", &with_map).out;
    assert!(logs.contains("before and after"), "{logs}");
    let stored = compare("before.json", "after.json", &[]).out;
    assert_eq!(stored, logs);
    assert_eq!(compare("before.json", "after.log", &with_map).out, logs);
    assert_eq!(compare("before.log", "after.json", &with_map).out, logs);
    // But for the command the objects are the same too.
    let object = |before, after, more: &[&str]| {
        let mut json = compare(before, after, more).json();
        json["command"] = Value::Null;
        json
    };
    assert_eq!(
        object("before.json", "after.json", &["--json"]),
        object("before.log", "after.log", &["--json", "--map", map])
    );
}

#[test]
fn stored_drives_are_compared_as_their_logs() {
    let folder = Folder::default();
    for (name, seed) in [("before", 1), ("after", 4)] {
        let scenario = track_day(seed, |scenario| {
            if seed == 4 {
                slower_actuator(scenario);
            }
        });
        folder.write("car.map", map_text(&scenario, &Tolerances::EXACT, 1));
        folder.write(format!("{name}.log"), to_text(&scenario).0);
    }
    check_stored_as_logs(&folder, "car.map");
    let run = folder.run(["compare", "before.json", "after.json", "--json"]);
    let json = run.done().json();
    assert!(
        json["matched_corners"].as_u64().is_some_and(|n| n >= 5),
        "{json}"
    );
    let figures = json["figures"].as_array().expect("a list");
    let rise = figures
        .iter()
        .find(|figure| figure["name"] == FigureId::RiseTime.word())
        .expect("it is compared");
    assert_eq!(rise["seen"], true);
    // One of standard input is recognised as well, a log or a record.
    let text = folder
        .shell("$0 compare - after.json < before.json")
        .done()
        .out;
    assert!(text.contains("corners of it found in both"), "{text}");
    let piped = "cat before.log | $0 compare - after.json --map car.map";
    folder
        .shell(piped)
        .done()
        .printed(&["corners of it found in both"]);

    // Stored before each time was: what is there is compared, and the rest is named.
    let text = folder.read("before.json");
    let mut old: Value = serde_json::from_str(&text).expect("it is JSON");
    old["schema"] = "halfshaft-report/2".into();
    let compared = old["for_comparison"].as_object_mut().expect("an object");
    compared.remove("times");
    for part in ["laps", "corners"] {
        for one in old["laps"][part].as_array_mut().expect("a list") {
            let keys = one.as_object_mut().expect("an object");
            for key in ["oil_rise_k", "oil_c", "supply_v"] {
                keys.remove(key);
            }
        }
    }
    folder.write("old.json", old.to_string());
    folder
        .run(["compare", "old.json", "after.json"])
        .done()
        .printed(&[
            "corners of it found in both",
            "Heat per lap: no difference detectable",
            "Rise time, 10 to 90 %; Closing",
            "before: a report of an older version does not hold each time.",
            "A report before is of an older version",
        ]);
}

#[test]
fn stored_drives_with_a_fault_are_compared_as_their_logs() {
    for name in FAULTS {
        let folder = Folder::default();
        for (side, seed) in [("before", 31), ("after", 32)] {
            let mut scenario = fault_drive(name).expect("its row is there");
            scenario.seed = seed;
            folder.write("car.map", map_text(&scenario, &Tolerances::EXACT, 1));
            folder.write(format!("{side}.log"), to_text(&scenario).0);
        }
        check_stored_as_logs(&folder, "car.map");
    }
}

#[test]
fn a_broken_record_is_refused_with_what_was_found() {
    let folder = two_drives();
    folder.write("before.log", drive());
    store(&folder, "before", "car.map");
    let good = folder.read("before.json");
    let refused = |text: &str, words: &[&str]| {
        folder.write("broken.json", text);
        for sides in [["broken.json", "after.log"], ["after.log", "broken.json"]] {
            let arguments = ["compare", sides[0], sides[1], "--map", "car.map"];
            folder.run(arguments).refused(words);
        }
    };
    let expected = "expected a report.json of this program";
    refused(
        &good[..good.len() / 2],
        &["broken.json: found no JSON", expected],
    );
    refused("{}", &["broken.json: found no schema", expected]);
    refused(
        &good.replace("halfshaft-report/3", "halfshaft-report/4"),
        &[
            "broken.json: found the schema \"halfshaft-report/4\"",
            "halfshaft-report/3 or older",
        ],
    );
    refused(
        &good.replace("\"laps\"", "\"lops\""),
        &["broken.json: found a mistake", "`laps`"],
    );
    folder
        .run(["compare", "before.json", "after.log"])
        .refused(&["after.log: found no report.json", "--map"]);
    folder
        .run(["compare", "before.json", "before.log", "--map", "car.map"])
        .refused(&["before.json and before.log are of the same bytes"]);
}

#[test]
fn drives_judged_by_different_limits_say_so() {
    let folder = two_drives();
    folder.write(
        "own.toml",
        "[oil]\nwarn_c = 111.0\n[compare]\noil_k = 11.0\n",
    );
    store(&folder, "after", "car.map");
    let arguments = [
        "compare",
        "drive.log",
        "after.json",
        "--map",
        "car.map",
        "--settings",
        "own.toml",
    ];
    folder
        .run(arguments)
        .done()
        .printed(&["judged by different limits: before oil.warn_c 111.0, after the usual ones."]);
    let json = folder
        .run(arguments.iter().chain(&["--json"]))
        .done()
        .json();
    assert_eq!(
        json["settings_changed"],
        serde_json::json!(["oil.warn_c 111.0", "compare.oil_k 11.0"])
    );
}

/// The demo's drive and its report, made once in a folder.
fn demo() -> (Folder, Value) {
    let folder = Folder::default();
    folder.run(["demo", "one"]).done();
    let report = serde_json::from_str(&folder.read("one/report.json")).expect("it is JSON");
    (folder, report)
}

#[test]
fn an_earlier_report_is_what_a_drive_is_compared_with() {
    let (folder, report) = demo();
    let compared = &report["for_comparison"];
    assert_eq!(
        (&compared["version"], &report["compared_with"]),
        (&1.into(), &Value::Null)
    );
    assert_eq!(compared["unit"], "BC-R2");
    let rise = &compared["quantities"]["rise_time_s"];
    assert!(
        rise["value"]
            .as_f64()
            .is_some_and(|rise| (0.1..0.15).contains(&rise)),
        "{rise}"
    );
    assert_eq!(rise["grade"], "A");
    // What this drive does not give says why.
    let holding = &compared["quantities"]["held_share"];
    assert!(
        holding["value"].is_null()
            && holding["why_null"]
                .as_str()
                .is_some_and(|why| why.contains("steady bends under command")),
        "{holding}"
    );
    assert!(compared["quantities"].get("hold_current_a").is_some());

    let log = "one/hard-track-day.log";
    let map = "one/brindlecote-30.map";
    let with = ["report", log, "--map", map, "--baseline", "one/report.json"];
    folder
        .run(with)
        .done()
        .printed(&["Compared with an earlier drive of this car (report.json); values:"]);
    let again = folder.run(with.iter().chain(&["--json"])).done().json();
    assert_eq!(
        again["command"],
        "halfshaft report hard-track-day.log --map brindlecote-30.map --baseline report.json"
    );
    assert_eq!(again["for_comparison"], *compared);
    let export = [
        "export",
        log,
        "--map",
        map,
        "--to",
        "tables",
        "--baseline",
        "one/report.json",
    ];
    folder.run(export).done();
    folder
        .run(["demo", "two", "--baseline", "one/report.json"])
        .done()
        .printed(&["Compared with an earlier drive of this car"]);

    // Another version of the map is a caution, in the report itself.
    let text = std::fs::read_to_string(folder.path(map)).expect("the map is there");
    folder.write(
        "other.map",
        text.replace("rear track 1.55 m", "rear track 1.56 m"),
    );
    let mut other = with;
    other[3] = "other.map";
    let json = folder.run(other.iter().chain(&["--json"])).done().json();
    let assumptions = json["assumptions"].to_string();
    assert!(
        assumptions.contains("report.json was made with another map"),
        "{assumptions}"
    );
    assert!(!again["assumptions"].to_string().contains("another map"));

    // The same drive twice would count twice.
    let twice = with.iter().chain(&["--baseline", "two/report.json"]);
    folder
        .run(twice)
        .refused(&["two/report.json: found the drive of one/report.json again"]);
}

#[test]
fn what_is_no_earlier_report_of_this_unit_is_refused() {
    let folder = Folder::with_drive();
    let report = ["report", "drive.log", "--map", "car.map"];
    let good = folder.run(report.iter().chain(&["--json"])).done().out;
    let with = |name: &str| {
        let arguments = report.iter().copied().chain(["--baseline", name]);
        folder.run(arguments)
    };
    folder.write("good.json", &good);
    with("good.json")
        .done()
        .printed(&["none of them has a value of grade B or better"]);
    with("none.json").refused(&["could not read the earlier report none.json"]);
    with("drive.log").refused(&["drive.log: found no JSON", "expected a report.json"]);
    folder.write("bytes.json", [0xFF, 0xFE]);
    with("bytes.json").refused(&["bytes.json: found bytes that are no UTF-8"]);
    folder.write(
        "next.json",
        good.replace("halfshaft-report/3", "halfshaft-report/4"),
    );
    with("next.json").refused(&[
        "next.json: found the schema \"halfshaft-report/4\"",
        "halfshaft-report/3 or older",
    ]);
    folder.write("old.json", good.replace("for_comparison", "something_else"));
    with("old.json").refused(&[
        "old.json: found a mistake in a report of \"halfshaft-report/3\": line ",
        "missing field `for_comparison`",
    ]);
    folder.write("other.json", good.replace("SC-1", "SC-7"));
    with("other.json").refused(&[
        "other.json: found a report of \"small car\" with unit \"SC-7\"",
        "expected one of \"small car\" with unit \"SC-1\"",
    ]);
}

#[test]
fn the_laps_that_are_compared_are_found_whatever_the_noise() {
    for seed in 0..7 {
        let scenario = track_day(seed, |_| {});
        let map = map(&map_text(&scenario, &Tolerances::EXACT, 1));
        let laps = assess(&map, to_text(&scenario).0.as_bytes()).laps;
        // The seventh is the slow one home.
        assert!(
            matches!(laps.laps.len(), 6 | 7),
            "seed {seed}: {:?}",
            laps.method
        );
    }
}
