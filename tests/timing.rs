//! The actuator's times of simulated drives against their known truth, and what the findings
//! say of the sample drives.

mod common;

use common::{assess, estimate, map};
use halfshaft_health::{Results, Severity};
use halfshaft_simulate::{
    RandomRange, Scenario, Tolerances, fault_drive, map_text, random_drive, scenarios, to_text,
};

fn results(scenario: &Scenario) -> Results {
    let map = map(&map_text(scenario, &Tolerances::EXACT, scenario.seed));
    assess(&map, to_text(scenario).0.as_bytes())
}

fn sample(name: &str) -> Scenario {
    let found = scenarios()
        .into_iter()
        .find(|scenario| scenario.name == name);
    found.unwrap_or_else(|| panic!("there is no sample drive {name}"))
}

/// Dead time within half the command's period and the doubt of the edge, rise within 5 %;
/// `None` for a drive with too few quick moves of the command.
fn check_times(scenario: &Scenario) -> Option<Result<(), String>> {
    let results = results(scenario);
    let n_timed = |name| common::figure(&results, name).outcome.is_ok();
    if !n_timed("dead_time") || !n_timed("rise_time") {
        return None;
    }
    let actuator = results.actuator.as_ref().expect("the car has an actuator");
    let truth = scenario.vehicle.actuator;
    let half_s = 0.5e-3 * f64::from(scenario.rates.command_ms);
    let doubt_s = actuator.engage.dead_time.edge_doubt_s.unwrap_or(0.0);
    let dead_s = estimate(&results, "dead_time").value;
    // Derived: 10 to 90 % of a first-order lag is ln 9 = 2.197 of it.
    let (rise_s, true_rise_s) = (estimate(&results, "rise_time").value, 2.197 * truth.lag_s);
    let is_dead_right = (dead_s - truth.dead_time_s).abs() <= half_s + doubt_s;
    let is_rise_right = (rise_s - true_rise_s).abs() <= 0.05 * true_rise_s;
    if is_dead_right && is_rise_right {
        return Some(Ok(()));
    }
    Some(Err(format!(
        "{}: dead {dead_s:.4} s, true {:.4} ± {half_s} and {doubt_s}; rise {rise_s:.4} s, true {true_rise_s:.4}",
        scenario.name, truth.dead_time_s
    )))
}

#[test]
fn dead_time_and_rise_of_random_drives() {
    // A greatest speed far above what the lag asks for: a motor at its limit is no first-order
    // lag, and has no true time constant.
    let judged: Vec<Result<(), String>> = (1..=16)
        .flat_map(|seed| {
            let mut healthy = random_drive(seed, &RandomRange::default());
            healthy.vehicle.actuator.fastest_per_s = 100.0;
            let mut tired = healthy.clone();
            tired.name = format!("{}, tired", tired.name);
            tired.vehicle.actuator.dead_time_s = 0.17;
            tired.vehicle.actuator.lag_s = 0.24;
            [healthy, tired]
        })
        .filter_map(|scenario| check_times(&scenario))
        .collect();
    let wrong: Vec<String> = judged.iter().filter_map(|one| one.clone().err()).collect();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert!(
        judged.len() >= 16,
        "only {} drives were judged",
        judged.len()
    );
}

#[test]
fn findings_of_the_sample_drives() {
    for name in ["healthy-road", "hard-track-day"] {
        let results = results(&sample(name));
        let grave: Vec<String> = results
            .findings
            .iter()
            .filter(|finding| finding.severity > Severity::Note)
            .map(|finding| format!("{}: {}", finding.id, finding.summary))
            .collect();
        assert!(grave.is_empty(), "{name}: {grave:?}");
    }
    let tired = results(&sample("tired-motor"));
    let lazy = tired
        .findings
        .iter()
        .any(|finding| finding.id == "lazy-actuator");
    assert!(lazy, "{:#?}", tired.findings);
}

#[test]
fn the_health_index_parts_sound_from_broken_and_names_the_reason() {
    for (name, least, most, item) in [
        ("healthy-town", 75.0, 100.0, ""),
        ("track-day-hot-pack", 75.0, 100.0, ""),
        ("lazy-actuator", 0.0, 30.0, "time to close"),
        ("slow-release", 0.0, 50.0, "time to let go"),
        ("motor-works-hard", 0.0, 50.0, "current to hold"),
    ] {
        let scenario = fault_drive(name).expect("there is such a drive");
        let results = results(&scenario);
        let value = estimate(&results, "actuator_health").value;
        assert!((least..=most).contains(&value), "{name}: {value}");
        let method = &common::figure(&results, "actuator_health").method;
        let says = format!("the losing item is {item}");
        assert!(method.contains(&says), "{name}: {method}");
    }
}
