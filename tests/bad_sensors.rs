//! Signals that cannot be what the map says: said in words, and what rests on them withheld.

mod common;

use common::{assess_by, figure, map};
use halfshaft_drive::Options;
use halfshaft_health::FigureId;
use halfshaft_health::limits::Limits;
use halfshaft_health::{FindingId, Results};
use halfshaft_simulate::{scenarios, to_text};

const MAP: &str = include_str!("../signal-maps/brindlecote-30.map");

fn assess(map_text: &str, drive: &str, limits: &Limits) -> Results {
    let found = scenarios()
        .into_iter()
        .find(|scenario| scenario.name == drive);
    let (log, _) = to_text(&found.expect("the sample drives have these names"));
    let map = map(map_text);
    let options = Options {
        limits: *limits,
        ..Options::default()
    };
    assess_by(&map, log.as_bytes(), &options)
}

/// The map with one text in another's place, which must be there.
#[track_caller]
fn with(text: &str, old: &str, new: &str) -> String {
    assert!(text.contains(old), "{old}");
    text.replacen(old, new, 1)
}

#[track_caller]
fn check_withheld(results: &Results, ids: &[FigureId], word: &str) {
    for id in ids {
        let why = figure(results, *id).outcome.as_ref().expect_err(id.word());
        assert!(why.to_string().contains(word), "{id}: {why}");
    }
}

#[test]
fn oil_in_fahrenheit_is_said_and_nothing_is_made_of_it() {
    let oil = "oil.temperature in byte 1\n      step 1 degC\n      zero at -40 degC";
    // 1.8·(T + 40) − 40 = 1.8·T + 32.
    let text = with(MAP, oil, &oil.replace("step 1 degC", "step 1.8 degC"));
    let results = assess(&text, "hard-track-day", &Limits::default());
    check_withheld(
        &results,
        &[
            FigureId::OilTempMax,
            FigureId::OilHeadroom,
            FigureId::LapsToLimit,
        ],
        "°F",
    );
    let unchecked: Vec<FindingId> = results.not_checked.iter().map(|left| left.id).collect();
    assert!(unchecked.contains(&FindingId::OilTooHot), "{unchecked:?}");
    // A cooler drive is found out by the housing, which is as it was.
    let cool = assess(&text, "tired-motor", &Limits::default());
    check_withheld(
        &cool,
        &[FigureId::OilTempMax, FigureId::OilHeadroom],
        "housing.temperature",
    );
    let hot = [FindingId::OilTooHot, FindingId::HotWithoutClutch];
    let mut found = cool.findings.iter();
    assert!(found.all(|finding| !hot.contains(&finding.id)));
    // The pack's temperature rests on the model alone, and says so.
    let pack = figure(&results, FigureId::PackTempMax);
    assert!(
        pack.method.contains("not held by any sensor"),
        "{}",
        pack.method
    );
    // The needle of the oil is missing, not hot.
    let needle = results
        .meters
        .iter()
        .find(|meter| meter.name.contains("oil"));
    assert!(needle.expect("there are five").reading.is_err());
}

#[test]
fn a_stuck_oil_sensor_is_said() {
    let text = with(
        MAP,
        "oil.temperature in byte 1\n",
        "oil.temperature in byte 6\n",
    );
    let text = with(&text, "    oil.temperature is missing\n", "");
    let mut limits = Limits::default();
    limits.oil.stuck_after_s = 300.0;
    let results = assess(&text, "hard-track-day", &limits);
    check_withheld(&results, &[FigureId::OilTempMax], "looks stuck");
    let factor = figure(&results, FigureId::OilDistanceFactor);
    assert_eq!(factor.grade, Some(halfshaft_health::Grade::D), "{factor:?}");
}

#[test]
fn air_in_fahrenheit_is_not_used() {
    let air = "ambient.temperature in byte 3\n      step 1 degC\n      zero at -40 degC";
    let text = with(MAP, air, &air.replace("step 1 degC", "step 1.8 degC"));
    let text = with(&text, "    ambient.temperature is -3 degC\n", "");
    let results = assess(&text, "hard-track-day", &Limits::default());
    let unchecked = results.not_checked.iter();
    let cooling = unchecked
        .filter(|left| left.id == FindingId::DoesNotCool)
        .map(|left| left.missing.to_string());
    let cooling: Vec<String> = cooling.collect();
    assert!(cooling[0].contains("ambient.temperature") && cooling[0].contains("°F"));
    // What the model makes of the oil says that it has no air to go by.
    let thermal = results.thermal.as_ref().expect("the oil is as it was");
    assert!(
        thermal
            .notes
            .iter()
            .any(|note| note.to_string().contains("°F"))
    );
}

/// The hard track day with the payload of an identifier the same from so many seconds on:
/// the first for which `holds` says so.
fn frozen(id: &str, from_s: f64, holds: fn(&str) -> bool) -> Results {
    let found = scenarios()
        .into_iter()
        .find(|scenario| scenario.name == "hard-track-day");
    let (log, _) = to_text(&found.expect("the sample drives have these names"));
    let head = format!("{id}#");
    let mut first_s = None;
    let mut still: Option<&str> = None;
    let mut lines = Vec::new();
    for line in log.lines() {
        let stamp: f64 = line[1..18].parse().expect("seconds stand first");
        let since_s = stamp - *first_s.get_or_insert(stamp);
        match line.split_once(&head) {
            Some((before, payload)) if since_s >= from_s => {
                if still.is_none() && holds(payload) {
                    still = Some(payload);
                }
                lines.push(format!("{before}{head}{}", still.unwrap_or(payload)));
            }
            _ => lines.push(line.to_owned()),
        }
    }
    common::assess(&map(MAP), lines.join("\n").as_bytes())
}

/// The findings that say a signal stands still.
fn frozen_signals(results: &Results) -> Vec<FindingId> {
    let ids = results.findings.iter().map(|finding| finding.id);
    ids.filter(|id| id.word().ends_with("-frozen")).collect()
}

#[test]
fn a_signal_that_stands_still_is_said_and_what_is_read_from_it_is_withheld() {
    // Position, low byte first in steps of 0.02 deg: 0x14.. and up is 102 deg and more.
    let high = |payload: &str| {
        payload
            .get(2..4)
            .is_some_and(|byte| ("14".."28").contains(&byte))
    };
    let position = frozen("2C5", 200.0, high);
    assert_eq!(frozen_signals(&position), [FindingId::StateFrozen]);
    check_withheld(
        &position,
        &[
            FigureId::HeatTotal,
            FigureId::SpecificEnergyMax,
            FigureId::PackTempMax,
        ],
        "stands still",
    );
    // What the mechanism did before that still counts.
    let rise = common::estimate(&position, FigureId::RiseTime).value;
    assert!((rise - 0.122).abs() < 0.005, "{rise}");
    assert!(figure(&position, FigureId::Distance).outcome.is_ok());
    let yaw = frozen("18FD6A31", 100.0, |_| true);
    assert_eq!(frozen_signals(&yaw), [FindingId::YawFrozen]);
    check_withheld(
        &yaw,
        &[FigureId::TurnTotal, FigureId::HeatPreload],
        "stands still",
    );
    assert!(figure(&yaw, FigureId::HeatTotal).outcome.is_ok());
    // As it is, nothing is frozen.
    let sound = assess(MAP, "hard-track-day", &Limits::default());
    assert!(frozen_signals(&sound).is_empty());
}

#[test]
fn command_and_position_exchanged_are_said_and_the_times_withheld() {
    // Full travel is 210 deg: 0.11 % of it are 0.231 deg, and 0.02 deg are 0.0095238 %.
    let command = "clutch.command in 0.1..0.0 1.7..1.0\n    step 0.11 %\n    means share\n    full at 100 %\n    believe 0 to 100 %\n";
    let position = "clutch.position in bytes 1 0\n    signed\n    step 0.02 deg\n    means position\n    full at 210 deg\n    believe -5 to 230 deg\n";
    let as_position = "clutch.position in 0.1..0.0 1.7..1.0\n    step 0.231 deg\n    means position\n    full at 210 deg\n    believe -5 to 230 deg\n";
    let as_command = "clutch.command in bytes 1 0\n    signed\n    step 0.0095238 %\n    means share\n    full at 100 %\n    believe -5 to 110 %\n";
    let mut text = with(MAP, command, as_position);
    text = with(&text, position, as_command);
    for proof in [
        "  prove 01 F4 06 FB\n    clutch.command is 55 %\n",
        "  prove 82 14 01 00\n    clutch.position is 105 deg\n",
        "  prove 00 80 00 00\n    clutch.position is missing\n",
    ] {
        text = with(&text, proof, "");
    }
    let results = assess(&text, "hard-track-day", &Limits::default());
    let found = results
        .findings
        .iter()
        .find(|finding| finding.id == FindingId::CommandExchanged);
    assert!(found.is_some(), "{:?}", results.findings);
    check_withheld(
        &results,
        &[
            FigureId::DeadTime,
            FigureId::RiseTime,
            FigureId::ReleaseTime,
            FigureId::HeatTotal,
        ],
        "look swapped",
    );
    // A tired motor is too slow for edges: the whole drive tells.
    let tired = assess(&text, "tired-motor", &Limits::default());
    assert!(
        tired
            .findings
            .iter()
            .any(|finding| finding.id == FindingId::CommandExchanged),
        "{:?}",
        tired.findings
    );
    check_withheld(&tired, &[FigureId::HeatTotal], "look swapped");
    // As it is, nobody doubts it.
    let results = assess(MAP, "hard-track-day", &Limits::default());
    assert!(
        results
            .findings
            .iter()
            .all(|finding| finding.id != FindingId::CommandExchanged)
    );
    assert!(figure(&results, FigureId::DeadTime).outcome.is_ok());
}
