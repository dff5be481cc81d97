//! Numbers outside the believed range in any channel: what is printed stays words and numbers a person can read.

mod common;

use std::fmt::Write;

use common::program::Folder;

/// Channel, unit, and what else the map says of it.
const CHANNELS: [(&str, &str, &str); 12] = [
    ("wheel.rear.left", "rad/s", ""),
    ("wheel.rear.right", "rad/s", ""),
    ("wheel.front.left", "rad/s", ""),
    ("clutch.command", "%", "means share\n    full at 100 %"),
    ("clutch.torque", "N.m", "means pack torque"),
    ("oil.temperature", "degC", "sensor in oil"),
    ("ambient.temperature", "degC", ""),
    ("yaw.rate", "rad/s", ""),
    ("speed.vehicle", "m/s", ""),
    ("throttle", "%", ""),
    ("motor.current", "A", ""),
    ("supply.voltage", "V", ""),
];

fn map() -> String {
    let mut map =
        "map \"sheet\"\nvehicle \"car\"\n  rear track 1.55 m\n  rolling radius 0.32 m\n  \
        clutch between case and left side gear\n  preload 60 N.m\n  torque from clutch.torque\n\
        sheet \"s\"\n  time in \"time\" as s\n"
            .to_owned();
    for (name, unit, more) in CHANNELS {
        let _ = writeln!(map, "  {name} in \"{name}\"\n    unit {unit}\n    {more}");
    }
    map.replace("    \n", "")
}

/// Half a minute of driving; where `is_hit`, a channel has another value.
fn sheet(hit: usize, value: &str, is_hit: impl Fn(u32) -> bool) -> String {
    let mut sheet = "time".to_owned();
    for (name, _, _) in CHANNELS {
        let _ = write!(sheet, ",{name}");
    }
    for index in 0..1500_u32 {
        let time = f64::from(index) * 0.02;
        let speed = 60.0 + 5.0 * (time / 7.0).sin();
        let is_engaged = (200..300).contains(&(index % 500));
        let of = |engaged, open| if is_engaged { engaged } else { open };
        let cells = [
            speed,
            speed + of(4.0, 0.02 * f64::from(index).sin()),
            speed,
            of(100.0, 0.0),
            of(500.0, 60.0),
            80.0 + time / 30.0,
            20.0,
            0.1 * (time / 3.0).sin(),
            speed * 0.32,
            of(60.0, 10.0),
            5.0,
            13.5,
        ];
        let _ = write!(sheet, "\n{time:.2}");
        for (channel, cell) in cells.iter().enumerate() {
            match channel == hit && is_hit(index) {
                true => write!(sheet, ",{value}"),
                false => write!(sheet, ",{cell:.4}"),
            }
            .expect("memory does not fail");
        }
    }
    sheet + "\n"
}

/// The first word that no person would print.
fn broken_word(text: &str) -> Option<&str> {
    let is_part = |c: char| c.is_ascii_alphanumeric();
    text.split(|c| !is_part(c)).find(|word| {
        let is_long = word.len() > 9 && word.bytes().all(|byte| byte.is_ascii_digit());
        is_long || ["inf", "nan", "NaN", "Infinity"].contains(word)
    })
}

/// Every string in it.
fn texts(json: &serde_json::Value, all: &mut String) {
    match json {
        serde_json::Value::String(text) => *all += &format!("{text}\n"),
        serde_json::Value::Array(list) => list.iter().for_each(|one| texts(one, all)),
        serde_json::Value::Object(object) => object.values().for_each(|one| texts(one, all)),
        _ => {}
    }
}

#[test]
fn no_broken_word_is_printed() {
    assert_eq!(broken_word("inf °C"), Some("inf"));
    assert_eq!(
        broken_word("reads 34448102681698.410 times"),
        Some("34448102681698")
    );
    let folder = Folder::default();
    folder.write("car.map", map());
    type Case = (&'static str, fn(u32) -> bool);
    let cases: [Case; 6] = [
        ("1e300", |_| true),
        ("inf", |index| index > 700),
        ("-1e30", |index| index % 10 == 3),
        ("1e12", |index| index == 700),
        ("1e-300", |_| true),
        ("99999", |index| index > 700),
    ];
    for (channel, (name, _, _)) in CHANNELS.iter().enumerate() {
        for (value, is_hit) in cases {
            folder.write("drive.csv", sheet(channel, value, is_hit));
            let arguments = ["report", "drive.csv", "--map", "car.map", "--out", "out"];
            let report = folder.run(arguments);
            let mut all = report.out + &report.err;
            if report.code == Some(0) {
                let json = folder.read("out/report.json");
                texts(&serde_json::from_str(&json).expect("it is JSON"), &mut all);
            }
            let check = folder.run(["map", "check", "car.map", "drive.csv"]);
            all += &(check.out + &check.err);
            assert_eq!(broken_word(&all), None, "{name} {value}:\n{all}");
        }
    }
}

/// A log stamped at either end of what a stamp can be, and back.
#[test]
fn stamps_at_the_ends_of_time_overflow_nothing() {
    let folder = Folder::default();
    folder.write("car.map", map());
    let drive = sheet(0, "0", |_| false);
    let (header, rows) = drive.split_once('\n').expect("it has a header");
    let shifted = |by: f64| {
        let row = |row: &str| {
            let (time, cells) = row.split_once(',').expect("a row has cells");
            let time: f64 = time.parse().expect("it is a number");
            format!("{:.2},{cells}\n", time + by)
        };
        rows.lines().map(row).collect::<String>()
    };
    for order in [
        [9.2e9, -9.2e9, 4.7e9],
        [-9.2e9, 9.2e9, 0.0],
        [0.0, -4.7e9, 4.7e9],
    ] {
        let rows: String = order.into_iter().map(shifted).collect();
        folder.write("drive.csv", format!("{header}\n{rows}"));
        let report = folder.run(["report", "drive.csv", "--map", "car.map", "--json"]);
        let seconds = report.done().json()["figures"]["duration"]["value"].clone();
        assert!(
            (seconds.as_f64().expect("a number") - 89.94).abs() < 0.1,
            "{order:?}: {seconds}"
        );
    }
}
