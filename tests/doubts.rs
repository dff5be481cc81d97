//! What is not believed reaches nothing: two logs that differ only in the values of a signal
//! that is withheld give the same numbers everywhere, in the JSON, on the page, in the terminal,
//! in every Parquet table and in a comparison.
//!
//! A doubt that leaves a way open would show here, whichever way it is: no list of names says
//! where to look.

mod common;

use std::collections::BTreeMap;

use common::program::Folder;
use halfshaft_simulate::{scenarios, to_text};
use parquet::file::reader::{FileReader, SerializedFileReader};
use parquet::record::Field;
use serde_json::Value;

const MAP: &str = include_str!("../signal-maps/brindlecote-30.map");

/// Of the drive so much is read, s: long enough for every doubt, and quick.
const SECONDS: f64 = 260.0;

/// The hard track day, cut, with the payload of a frame changed by `change`, which is given the
/// time since the start.
fn log(id: &str, change: impl Fn(f64, &str) -> String) -> String {
    let found = scenarios()
        .into_iter()
        .find(|scenario| scenario.name == "hard-track-day");
    let (text, _) = to_text(&found.expect("the sample drives have these names"));
    let head = format!(" {id}#");
    let mut start_s = None;
    let mut out = String::new();
    for line in text.lines() {
        let stamp: f64 = line[1..18].parse().expect("seconds stand first");
        let since_s = stamp - *start_s.get_or_insert(stamp);
        if since_s > SECONDS {
            break;
        }
        match line.split_once(&head) {
            Some((before, payload)) => {
                out.push_str(before);
                out.push_str(&head);
                out.push_str(&change(since_s, payload));
            }
            None => out.push_str(line),
        }
        out.push('\n');
    }
    out
}

/// Two bytes, low byte first.
fn low_first(payload: &str) -> u16 {
    let bytes = u16::from_str_radix(&payload[..4], 16).expect("a payload is hexadecimal");
    bytes.swap_bytes()
}

/// Everything the program says of a log: numbers of JSON and Parquet by their place, and lines of
/// the terminal and of the page.
struct Said {
    numbers: BTreeMap<String, String>,
    lines: Vec<String>,
}

fn said(map: &str, log: &str) -> Said {
    let folder = Folder::default();
    folder.write("car.map", map);
    folder.write("drive.log", log);
    folder.write(
        "sound.log",
        self::log("2C5", |_, payload| payload.to_owned()),
    );
    let report = ["report", "drive.log", "--map", "car.map", "--out", "page"];
    let terminal = folder.run(report).out;
    let export = ["export", "drive.log", "--map", "car.map", "--to", "tables"];
    assert_eq!(folder.run(export).code, Some(0));
    let compare = [
        "compare",
        "drive.log",
        "sound.log",
        "--map",
        "car.map",
        "--json",
    ];
    let comparison = folder.run(compare).out;

    let mut numbers = BTreeMap::new();
    let json = |text: &str| -> Value { serde_json::from_str(text).expect("it is JSON") };
    walk(
        "report",
        &json(&folder.read("page/report.json")),
        &mut numbers,
    );
    if !comparison.is_empty() {
        walk("compare", &json(&comparison), &mut numbers);
    }
    for name in folder.list() {
        if name.ends_with(".parquet") {
            table(&folder, &name, &mut numbers);
        }
    }
    let page = folder.read("page/report.html");
    let text: String = without_tags(&page);
    let lines = terminal.lines().chain(text.lines());
    Said {
        numbers,
        lines: lines.map(str::to_owned).collect(),
    }
}

/// Numbers of a JSON value by their path.
fn walk(path: &str, value: &Value, numbers: &mut BTreeMap<String, String>) {
    match value {
        Value::Number(number) => {
            numbers.insert(path.to_owned(), number.to_string());
        }
        Value::Array(items) => {
            for (index, item) in items.iter().enumerate() {
                walk(&format!("{path}[{index}]"), item, numbers);
            }
        }
        Value::Object(items) => {
            for (key, item) in items {
                walk(&format!("{path}.{key}"), item, numbers);
            }
        }
        _ => {}
    }
}

/// Numbers of a table by column and row; of native samples by channel.
fn table(folder: &Folder, name: &str, numbers: &mut BTreeMap<String, String>) {
    let file = std::fs::File::open(folder.path(name)).expect("the table was written");
    let reader = SerializedFileReader::new(file).expect("it is Parquet");
    for (index, row) in reader.get_row_iter(None).expect("it has rows").enumerate() {
        let mut cells = row.expect("a row can be read").into_columns();
        let channel = cells.iter().find_map(|(key, cell)| match cell {
            Field::Str(channel) if key == "channel" => Some(channel.clone()),
            _ => None,
        });
        cells.retain(|(_, cell)| !matches!(cell, Field::Str(_) | Field::Null | Field::Bool(_)));
        for (key, cell) in cells {
            let channel = channel.as_deref().unwrap_or("");
            numbers.insert(format!("{name}.{channel}.{key}[{index}]"), cell.to_string());
        }
    }
}

/// The text of a page, drawings left out: they show raw signals, as evidence.
fn without_tags(page: &str) -> String {
    let mut text = String::new();
    let mut rest = page;
    while let Some(start) = rest.find('<') {
        text.push_str(&rest[..start]);
        text.push('\n');
        let skipped = ["svg", "style", "script"]
            .into_iter()
            .find(|tag| rest[start + 1..].starts_with(tag));
        let end = match skipped {
            Some(tag) => format!("</{tag}>"),
            None => ">".to_owned(),
        };
        let Some(length) = rest[start..].find(&end) else {
            break;
        };
        rest = &rest[start + length + end.len()..];
    }
    text + rest
}

/// Two variants of a log say the same but for what `may_differ` allows, by the place of a number
/// or by a line.
#[track_caller]
fn same(map: &str, one: &str, other: &str, must_be_null: &[&str], may_differ: &[&str]) {
    let (one, other) = (said(map, one), said(map, other));
    // Fingerprints are of the bytes, and differ as they should.
    let is_fingerprint =
        |line: &str| line.len() == 16 && line.bytes().all(|byte| byte.is_ascii_hexdigit());
    let allows =
        |place: &str| is_fingerprint(place) || may_differ.iter().any(|part| place.contains(part));
    let mut differ: Vec<String> = Vec::new();
    let places = one.numbers.keys().chain(other.numbers.keys());
    for place in places {
        let (here, there) = (one.numbers.get(place), other.numbers.get(place));
        if here != there && !allows(place) {
            differ.push(format!("{place}: {here:?} and {there:?}"));
        }
    }
    for (here, there) in one.lines.iter().zip(&other.lines) {
        if here != there && !allows(here) {
            differ.push(format!("{here} | {there}"));
        }
    }
    differ.dedup();
    let n = differ.len();
    differ.truncate(40);
    assert!(n == 0, "{n} differ:\n{}", differ.join("\n"));
    for name in must_be_null {
        let place = format!("report.figures.{name}.value");
        assert!(!one.numbers.contains_key(&place), "{name} has a value");
    }
    // The comparison looked at something: a drive of which nothing is believed has its length.
    assert!(one.numbers.contains_key("report.figures.duration.value"));
}

#[test]
fn a_position_that_stands_still_reaches_nothing() {
    let stands = |angle: u16| {
        log("2C5", |_, payload| {
            format!("{:04X}{}", angle.swap_bytes(), &payload[4..])
        })
    };
    // 5,000 steps of 0.02 deg are 100 deg.
    same(
        MAP,
        &stands(5000),
        &stands(5100),
        &["heat_total", "heat_per_km", "heat_peak", "pack_temp_max"],
        &[
            "clutch.position",
            "clutch.state.share",
            "fingerprint",
            "sha",
            "stands",
        ],
    );
}

#[test]
fn a_command_that_stands_still_reaches_nothing() {
    let stands = |share: u16| {
        log("2C4", |_, payload| {
            let bytes = u32::from_str_radix(payload, 16).expect("a payload is hexadecimal");
            // Ten bits of command: the lowest two of byte 0 and byte 1; the sum is byte 3.
            let [first, _, counter, _] = bytes.to_be_bytes();
            let [high, low] = share.to_be_bytes();
            let first = first & 0xFC | high;
            let sum = first.wrapping_add(low).wrapping_add(counter);
            format!("{first:02X}{low:02X}{counter:02X}{sum:02X}")
        })
    };
    same(
        MAP,
        &stands(300),
        &stands(310),
        &[
            "partial_by_command",
            "engagements",
            "rise_time",
            "held_over_stated",
        ],
        &["clutch.command", "stands"],
    );
}

#[test]
fn a_yaw_rate_that_stands_still_reaches_nothing() {
    let stands = |rate: u16| {
        log("18FD6A31", |_, payload| {
            format!("{rate:04X}{}", &payload[4..])
        })
    };
    same(
        MAP,
        &stands(20),
        &stands(40),
        &[
            "turn_total",
            "heat_preload",
            "heat_spin",
            "heat_per_degree",
            "tyre_ratio",
        ],
        &["yaw.rate", "stands"],
    );
}

#[test]
fn torque_of_swapped_command_and_position_reaches_nothing() {
    let swapped = swapped_map();
    // A position that is a little larger everywhere is a command that is.
    let larger = |more: u16| {
        log("2C5", move |_, payload| {
            let angle = low_first(payload);
            let angle = if angle > 100 && angle < 0x8000 {
                angle + more
            } else {
                angle
            };
            format!("{:04X}{}", angle.swap_bytes(), &payload[4..])
        })
    };
    same(
        &swapped,
        &larger(24),
        &larger(40),
        &["heat_total", "rise_time", "engagements"],
        &[
            "clutch.command",
            "clutch.position",
            // How far the response had gone is the proof itself.
            "report.findings[0].evidence",
            "response gone",
        ],
    );
}

/// The map with command and position under each other's name.
fn swapped_map() -> String {
    // Full travel is 210 deg: 0.11 % of it are 0.231 deg, and 0.02 deg are 0.0095238 %.
    let pairs = [
        (
            "clutch.command in 0.1..0.0 1.7..1.0\n    step 0.11 %\n    means share\n    full at 100 %\n    believe 0 to 100 %\n",
            "clutch.position in 0.1..0.0 1.7..1.0\n    step 0.231 deg\n    means position\n    full at 210 deg\n    believe -5 to 230 deg\n",
        ),
        (
            "clutch.position in bytes 1 0\n    signed\n    step 0.02 deg\n    means position\n    full at 210 deg\n    believe -5 to 230 deg\n",
            "clutch.command in bytes 1 0\n    signed\n    step 0.0095238 %\n    means share\n    full at 100 %\n    believe -5 to 110 %\n",
        ),
        ("  prove 01 F4 06 FB\n    clutch.command is 55 %\n", ""),
        ("  prove 82 14 01 00\n    clutch.position is 105 deg\n", ""),
        ("  prove 00 80 00 00\n    clutch.position is missing\n", ""),
    ];
    let mut text = MAP.to_owned();
    for (old, new) in pairs {
        assert!(text.contains(old), "{old}");
        text = text.replacen(old, new, 1);
    }
    text
}

#[test]
fn an_oil_temperature_of_another_unit_reaches_nothing() {
    // Page 2 of 0x3E0 has the oil in byte 1, 1 degC from -40: as if it were in °F, and more.
    let hotter = |more: u8| {
        log("3E0", move |_, payload| {
            let byte =
                |at: usize| u8::from_str_radix(&payload[at..at + 2], 16).expect("hexadecimal");
            if byte(0) & 0x0F != 2 || byte(2) == 0xFF {
                return payload.to_owned();
            }
            let as_fahrenheit = (f64::from(byte(2)) * 1.6 + f64::from(more)).min(254.0) as u8;
            format!("{}{as_fahrenheit:02X}{}", &payload[..2], &payload[4..])
        })
    };
    same(
        MAP,
        &hotter(0),
        &hotter(2),
        &["oil_temp_max", "oil_headroom", "laps_to_limit"],
        &["oil.temperature", "°F", "°C"],
    );
}
