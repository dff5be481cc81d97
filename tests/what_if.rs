//! Another pack in one drive: closed forms, and the command from arguments to pages.

mod common;

use common::program::{CAR, Folder};
use common::{estimate, float_frame, map, pass};
use halfshaft_drive::{Drive, Options};
use halfshaft_health::FigureId;
use halfshaft_health::limits::Limits;
use halfshaft_health::what_if::{Answer, Change, Standing, Three, WhatIf};
use serde_json::Value;

const PACK: &str = "  faces 16\n  outer radius 60 mm\n  inner radius 40 mm\n  friction 0.12\n";

/// A car whose torque is the preload alone, and its bend of 90° at R 20 m and 10 m/s.
fn bend() -> (String, Vec<u8>) {
    let map = format!(
        "map \"bend\"\nvehicle \"bend\"\n  rear track 1.55 m\n  rolling radius 0.32 m\n  \
         clutch between case and left side gear\n{PACK}  preload 80 N.m\n  oil 0.9 l\n\
         bus main\n  in the log \"can0\"\n\
         frame 0x100 on main\n  length 8 bytes\n  every 10 ms\n\
         \x20 wheel.rear.left in bytes 3 2 1 0\n    float\n    step 1 rad/s\n\
         \x20 wheel.rear.right in bytes 7 6 5 4\n    float\n    step 1 rad/s\n\
         frame 0x101 on main\n  length 4 bytes\n  every 10 ms\n\
         \x20 yaw.rate in bytes 3 2 1 0\n    float\n    step 1 rad/s\n"
    );
    let (case, half) = (10.0 / 0.32, 0.5 * 1.55 * 0.5 / 0.32);
    let mut log = String::new();
    for index in 0..=314 {
        let time = f64::from(index) * 0.01;
        float_frame(&mut log, time, 0x100, &[case - half, case + half]);
        float_frame(&mut log, time, 0x101, &[0.5]);
    }
    (map, log.into_bytes())
}

#[track_caller]
fn ask(change: &Change) -> (Three, Answer) {
    let (text, log) = bend();
    let map = map(&text);
    let mut asked = WhatIf::new(&map.vehicle, &map.channels, &Limits::default(), change)
        .expect("the map lets it be told");
    let mut drive = Drive::new(&map, &Options::default());
    pass(&mut drive, &map, &log, |block, derived| {
        asked.push(block, derived);
    });
    asked.finish();
    let three = drive.results_beside(&mut asked);
    let answer = asked.answer(&three);
    (three, answer)
}

#[track_caller]
fn near(got: f64, wanted: f64, share: f64) {
    assert!(
        (got - wanted).abs() <= share * wanted.abs(),
        "{got} is not {wanted} within {share}"
    );
}

#[test]
fn no_change_changes_nothing() {
    let (three, _) = ask(&Change::default());
    assert_eq!(three.logged, three.same_torque);
    assert_eq!(three.logged, three.same_force);
    let (text, log) = bend();
    assert_eq!(three.logged, common::assess(&map(&text), &log));
}

#[test]
fn twice_the_preload_rubs_twice_as_much_in_an_open_bend() {
    // Derived: 80 N·m · ½ · 1.55 m · 90° / 0.32 m = 304 J; 160 N·m make 608 J.
    let (three, answer) = ask(&Change {
        preload_nm: Some(160.0),
        ..Change::default()
    });
    near(
        estimate(&three.logged, FigureId::HeatTotal).value,
        0.304,
        0.005,
    );
    for other in [&three.same_torque, &three.same_force] {
        near(estimate(other, FigureId::HeatTotal).value, 0.608, 0.005);
        near(estimate(other, FigureId::HeatPreload).value, 0.608, 0.005);
    }
    let slip = answer.line("slip_peak").expect("it is told");
    assert_eq!(slip.same_torque.standing, Standing::Unknown);
    let heat = answer.line("heat_total").expect("it is told");
    assert_eq!(heat.same_torque.standing, Standing::AtMost);
}

#[test]
fn twice_the_faces_have_half_the_energy_per_area_and_carry_twice_the_torque() {
    let (three, answer) = ask(&Change {
        n_faces: Some(32),
        ..Change::default()
    });
    let power = |results| estimate(results, FigureId::SpecificPowerMax).value;
    near(power(&three.same_torque), 0.5 * power(&three.logged), 1e-12);
    // The same springs press twice the lever: twice the heat on twice the area.
    near(power(&three.same_force), power(&three.logged), 1e-9);
    let heat = |results| estimate(results, FigureId::HeatTotal).value;
    assert_eq!(heat(&three.same_torque), heat(&three.logged));
    near(heat(&three.same_force), 2.0 * heat(&three.logged), 1e-9);
    assert_eq!(answer.capacity, 2.0);
    // Derived: 16 faces of 60/40 mm have 100,531 mm²; µ 0.12 at 1 kN over 50.667 mm 97.28 N·m.
    let line = |name: &str| answer.line(name).expect("it is told").clone();
    near(line("net_area").logged.unwrap(), 100_531.0, 1e-5);
    near(line("net_area").same_torque.value.unwrap(), 201_062.0, 1e-5);
    near(line("capacity_per_kn").logged.unwrap(), 97.28, 1e-4);
    near(
        line("capacity_per_kn").same_force.value.unwrap(),
        194.56,
        1e-4,
    );
}

#[test]
fn more_oil_peaks_lower() {
    let (three, _) = ask(&Change {
        oil_volume_m3: Some(1.8e-3),
        ..Change::default()
    });
    let oil = |results: &halfshaft_health::Results| {
        let thermal = results.thermal.as_ref().expect("the heat is known");
        thermal.oil_max.celsius.value - thermal.trace[0].oil_c
    };
    assert!(oil(&three.same_torque) < oil(&three.logged));
}

#[test]
fn less_oil_takes_its_conductance_along_and_more_adds_none() {
    let oil = |volume_m3: f64| {
        let (_, answer) = ask(&Change {
            oil_volume_m3: Some(volume_m3),
            ..Change::default()
        });
        let line = answer.line("pack_temp_max").expect("it is told").clone();
        assert_eq!(line.same_torque.standing, Standing::AtMost);
        assert_eq!(line.same_torque.range().unwrap()[0], f64::NEG_INFINITY);
        (line.logged.unwrap(), line.same_torque.value.unwrap())
    };
    let (as_it_is, half) = oil(0.45e-3);
    assert!(half > as_it_is, "{half} {as_it_is}");
    let (as_it_is, twice) = oil(1.8e-3);
    assert!(twice <= as_it_is, "{twice} {as_it_is}");
}

#[test]
fn a_number_is_a_bound_where_the_torque_differs_and_open_where_both_ways() {
    let standing = |change: Change, name: &str| {
        let (_, answer) = ask(&change);
        let line = answer.line(name).expect("it is told").clone();
        (line.same_torque.standing, line.same_force.standing)
    };
    let faces = |n_faces| Change {
        n_faces: Some(n_faces),
        ..Change::default()
    };
    use Standing::{AtLeast, AtMost, CarriedOver, Unknown, WorkedOut};
    for (change, name, wanted) in [
        (faces(32), "heat_total", (CarriedOver, AtMost)),
        (faces(8), "heat_total", (CarriedOver, AtLeast)),
        (faces(32), "specific_power_max", (WorkedOut, AtMost)),
        (faces(32), "slip_peak", (CarriedOver, Unknown)),
        (faces(32), "partial_heat_making", (CarriedOver, Unknown)),
        (faces(32), "net_area", (WorkedOut, WorkedOut)),
        (faces(32), "oil_headroom", (AtLeast, AtLeast)),
        // Fewer faces heat less and give off less: neither end is known.
        (faces(8), "pack_temp_max", (AtMost, Unknown)),
    ] {
        assert_eq!(standing(change, name), wanted, "{name}");
    }
    // Pressed alike more faces carry more, and a smaller preload carries less.
    let both = Change {
        preload_nm: Some(40.0),
        ..faces(32)
    };
    let (_, answer) = ask(&both);
    let heat = answer.line("heat_total").expect("it is told");
    assert_eq!(heat.same_force.standing, Unknown);
    assert!(heat.same_force.value.is_err() && heat.same_force.range().is_none());
    let cooled = Change {
        cooling: Some(2.0),
        ..Change::default()
    };
    let (_, answer) = ask(&cooled);
    let line = answer.line("pack_temp_max").expect("it is told");
    let [low, high] = line.same_torque.band.expect("it has a band");
    let value = *line.same_torque.value.as_ref().unwrap();
    assert!(low < value && value < high, "{low} {value} {high}");
}

fn folder() -> Folder {
    let folder = Folder::with_drive();
    let with_pack = CAR.replace("  preload 60 N.m\n", &format!("{PACK}  preload 60 N.m\n"));
    folder.write("pack.map", with_pack);
    folder
}

#[test]
fn the_command_shows_and_writes_it() {
    let folder = folder();
    let call = "whatif drive.log --map pack.map --faces 32 --oil 1.2l --out made";
    let run = folder.run(call.split(' ')).done();
    let run = run.printed(&[
        "Faces: 32 instead of 16",
        "same torque",
        "same force",
        "worked out",
        "carried over",
        "at most",
        "Cannot be known from this log",
        "wrote made/what-if.html",
    ]);
    assert!(run.out.contains("+100"), "{run:#?}");
    let json: Value = serde_json::from_str(&folder.read("made/what-if.json")).expect("it is JSON");
    assert_eq!(json["schema"], "halfshaft-whatif/2");
    assert_eq!(json["capacity_ratio"], 2.0);
    assert_eq!(
        json["command"],
        "halfshaft whatif drive.log --map pack.map --faces 32 --oil 1.2l"
    );
    let page = folder.read("made/what-if.html");
    assert!(page.contains("Side by side") && !page.contains("http://"));
    // A small screen shows no heads of columns: each cell carries its own.
    assert!(page.contains("<h1>") && page.contains("--c3:'same torque'"));
    let again = folder.run(call.split(' ').chain(["--json"])).done();
    assert_eq!(again.out, folder.read("made/what-if.json"));
}

#[test]
fn another_torque_table_is_a_part_of_the_map_written_anew() {
    let folder = Folder::default();
    folder.run(["demo", "one"]).done();
    let map = folder.read("one/brindlecote-30.map");
    let start = map.find("\ntable ").expect("the map has a table") + 1;
    let table = map[start..].split("\n\n").next().expect("it has lines");
    // Twice the torque at every point.
    let doubled: Vec<String> = table
        .lines()
        .map(|line| match line.split_once(" gives ") {
            Some((at, nm)) => format!("{at} gives {}", 2.0 * nm.parse::<f64>().expect("a number")),
            None => line.to_owned(),
        })
        .collect();
    folder.write("doubled.table", doubled.join("\n") + "\n");
    let base = "whatif one/hard-track-day.log --map one/brindlecote-30.map --json --torque-table";
    let run = |file: &str| folder.run(base.split(' ').chain([file]));
    let json = run("doubled.table").done().json();
    let figures = json["figures"].as_array().expect("a list");
    let heat = figures
        .iter()
        .find(|figure| figure["name"] == "heat_total")
        .expect("it is told");
    let other = &heat["same_torque"];
    assert_eq!(other["standing"], "at most");
    assert!(
        other["low"].is_null() && other["high"] == other["value"],
        "{other}"
    );
    assert!(
        json["command"]
            .as_str()
            .is_some_and(|command| command.ends_with("--torque-table doubled.table"))
    );
    folder.write(
        "other.table",
        doubled.join("\n").replacen("table ", "table other-", 1),
    );
    run("other.table").refused(&["has no table"]);
    folder.write(
        "broken.table",
        doubled.join("\n").replacen(" gives ", " makes ", 1),
    );
    run("broken.table").refused(&["the map with this table"]);
    folder.write("none.table", "at 0 gives 60\n");
    run("none.table").refused(&["expected a table"]);
}

#[test]
fn wrong_values_are_refused_with_what_was_wanted() {
    let folder = folder();
    let base = ["whatif", "drive.log", "--map", "pack.map"];
    for (option, value, words) in [
        ("--outer-radius", "62", "no unit"),
        ("--outer-radius", "62l", "a volume"),
        ("--faces", "-2", "from 1 to 200"),
        ("--groove-share", "95%", "0 to 90 %"),
        ("--oil", "-1l", "0.1 to 20 l"),
        ("--inner-radius", "70mm", "70.0 and 60.0 mm"),
    ] {
        let run = folder.run(base.iter().chain(&[option, value]));
        run.refused(&[words]);
    }
    let no_pack = "whatif drive.log --map car.map --faces 20";
    folder
        .run(no_pack.split(' '))
        .refused(&["car.map", "faces and radii"]);
}
