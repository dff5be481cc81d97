//! A log with positions: laps from a start line, and nowhere the place somebody lives.

mod common;

use std::fmt::Write;

use common::program::{Folder, Run};

const CAR: &str = r#"map "car with a receiver"

vehicle "bench car"
  rear track 1.5 m
  rolling radius 0.32 m
  clutch between case and left side gear
  preload 60 N.m

sheet "logger"
  time in "t" as s
  wheel.rear.left in "RL"
    unit rad/s
  wheel.rear.right in "RR"
    unit rad/s
  yaw.rate in "yaw"
    unit rad/s
  position.latitude in "lat"
    unit deg
  position.longitude in "lon"
    unit deg
"#;

/// Home, and the point of a circle of 100 m where the road from there meets it, deg.
const HOME: (f64, f64) = (50.0, 7.0);
const GATE_M: f64 = 2000.0;
const RADIUS_M: f64 = 100.0;
const SPEED: f64 = 20.0;
const LAP_S: f64 = std::f64::consts::TAU * RADIUS_M / SPEED;
const N_LAPS: f64 = 4.0;

fn degrees(east_m: f64, north_m: f64) -> (f64, f64) {
    let per_degree = 6_371_008.8_f64.to_radians();
    let longitude = HOME.1 + east_m / per_degree / HOME.0.to_radians().cos();
    (HOME.0 + north_m / per_degree, longitude)
}

/// North from home, four times round to the left and a bit, and on to the north.
fn drive() -> String {
    let mut sheet = "t,RL,RR,yaw,lat,lon\n".to_owned();
    let arrives_s = GATE_M / SPEED;
    let leaves_s = arrives_s + N_LAPS * LAP_S;
    for index in 0.. {
        let time = f64::from(index) * 0.1;
        let (yaw, east, north) = if time < arrives_s {
            (0.0, 0.0, SPEED * time)
        } else if time < leaves_s {
            let angle = SPEED * (time - arrives_s) / RADIUS_M;
            let (sine, cosine) = angle.sin_cos();
            (0.2, RADIUS_M * (cosine - 1.0), GATE_M + RADIUS_M * sine)
        } else {
            (0.0, 0.0, GATE_M + SPEED * (time - leaves_s))
        };
        if north > GATE_M + 2000.0 {
            return sheet;
        }
        // v = ω·r, and the outer wheel is faster by track × yaw.
        let (mean, half) = (SPEED / 0.32, 0.5 * 1.5 * yaw / 0.32);
        let (latitude, longitude) = degrees(east, north);
        let (left, right) = (mean - half, mean + half);
        let _ = writeln!(
            sheet,
            "{time:.1},{left:.4},{right:.4},{yaw},{latitude:.7},{longitude:.7}"
        );
    }
    sheet
}

fn folder() -> Folder {
    let folder = Folder::default();
    folder.write("car.map", CAR);
    folder.write("drive.csv", drive());
    folder
}

fn gate() -> String {
    let (latitude, longitude) = degrees(0.0, GATE_M);
    format!("{latitude:.6},{longitude:.6}")
}

fn report(folder: &Folder, more: &[&str]) -> Run {
    let mut arguments = vec!["report", "drive.csv", "--map", "car.map"];
    arguments.extend(more);
    folder.run(&arguments)
}

#[test]
fn laps_begin_where_the_line_is_passed() {
    let folder = folder();
    let gate = gate();
    let run = report(&folder, &["--json", "--start-line", &gate]).done();
    let document: serde_json::Value = serde_json::from_str(&run.out).expect("it is JSON");
    let laps = &document["laps"];
    assert_eq!(laps["method"], "by the start line");
    let starts: Vec<f64> = laps["laps"]
        .as_array()
        .expect("a list")
        .iter()
        .map(|lap| lap["start_ns"].as_f64().expect("a number") * 1e-9)
        .collect();
    assert_eq!(starts.len() as f64, N_LAPS, "{laps}");
    for (index, start) in starts.iter().enumerate() {
        let wanted = GATE_M / SPEED + index as f64 * LAP_S;
        assert!((start - wanted).abs() < 0.02, "{start}, true {wanted}");
    }
    // The command that makes the report again has it too, and nothing says where the line is.
    let command = document["command"].as_str().expect("a text");
    assert!(command.contains("--start-line="), "{command}");
    let (latitude, _) = gate.split_once(',').expect("it is a pair");
    assert!(!run.out.contains(&latitude[..7]), "{latitude}");
}

#[test]
fn a_line_nobody_passed_is_said_and_no_other_laps_are_made_up() {
    let folder = folder();
    let run = report(&folder, &["--json", "--start-line=50.5,7"]).done();
    let document: serde_json::Value = serde_json::from_str(&run.out).expect("it is JSON");
    assert!(document["laps"]["method"].is_null());
    let why = document["laps"]["why_null"].as_str().expect("a reason");
    assert!(why.contains("never passed the start line"), "{why}");
    for wrong in ["50.5", "here,there", "95,7", "50,200"] {
        let run = report(&folder, &["--start-line", wrong]);
        assert_eq!(run.code, Some(2), "{wrong}");
        assert!(run.err.contains("expected"), "{}", run.err);
    }
}

/// Latitudes told, in metres north of home.
fn told_m(folder: &Folder, more: &[&str]) -> Vec<f64> {
    let mut arguments = vec!["decode", "drive.csv", "--map", "car.map"];
    arguments.extend(more);
    let run = folder.run(&arguments).done();
    run.out
        .lines()
        .filter_map(|line| line.split_once("position.latitude,"))
        .filter_map(|(_, rest)| rest.split(',').next()?.parse::<f64>().ok())
        .map(|degrees| (degrees - HOME.0) * 6_371_008.8_f64.to_radians())
        .collect()
}

#[test]
fn decode_leaves_the_ends_out_unless_asked() {
    let folder = folder();
    let told = told_m(&folder, &[]);
    assert!((480.0..540.0).contains(&told[0]), "{}", told[0]);
    let last = told[told.len() - 1];
    assert!((3460.0..3520.0).contains(&last), "{last}");
    let all = told_m(&folder, &["--all-positions"]);
    assert!(all[0].abs() < 0.1 && all[all.len() - 1] > 3990.0);
    // Nothing but the ends is lost: 1000 m at 20 m/s are 500 samples.
    let lost = all.len() - told.len();
    assert!((500..=525).contains(&lost), "{lost}");
}

#[test]
fn no_report_and_no_page_shows_a_position() {
    let folder = folder();
    let run = report(&folder, &["--out", "out"]).done();
    let mut texts = vec![("summary", run.out)];
    for name in ["report.json", "report.html"] {
        let path = folder.path("out").join(name);
        let text = std::fs::read_to_string(path).expect("it was written");
        texts.push((name, text));
    }
    // The way lies between 50.000 and 50.036° N, 0.87266 and 0.87329 rad. Pictures have
    // numbers of their own, but none with as many digits.
    for (name, text) in texts {
        for latitude in [
            "50.000", "50.018", "50.035", "0.87266", "0.87297", "0.87328",
        ] {
            assert!(!text.contains(latitude), "{name}: {latitude}");
        }
    }
}
