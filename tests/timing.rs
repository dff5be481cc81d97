//! The actuator's times of simulated drives against their known truth, and what the findings
//! say of the sample drives.

mod common;

use common::{assess, estimate, map};
use halfshaft_health::FigureId;
use halfshaft_health::response::resolution::StatedTime;
use halfshaft_health::{FindingId, Results, Severity};
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
    if !n_timed(FigureId::DeadTime) || !n_timed(FigureId::RiseTime) {
        return None;
    }
    let actuator = results.actuator.as_ref().expect("the car has an actuator");
    let truth = scenario.vehicle.actuator;
    let half_s = 0.5e-3 * f64::from(scenario.rates.command_ms);
    let doubt_s = actuator.engage.dead_time.edge_doubt_s.unwrap_or(0.0);
    let dead_s = estimate(&results, FigureId::DeadTime).value;
    // Derived: 10 to 90 % of a first-order lag is ln 9 = 2.197 of it.
    let (rise_s, true_rise_s) = (
        estimate(&results, FigureId::RiseTime).value,
        2.197 * truth.lag_s,
    );
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
fn crossings_stand_beside_the_fits_and_agree_with_them() {
    let mut n_judged = 0;
    for seed in 1..=12 {
        let mut scenario = random_drive(seed, &RandomRange::default());
        scenario.vehicle.actuator.fastest_per_s = 100.0;
        let results = results(&scenario);
        let Ok(actuator) = &results.actuator else {
            continue;
        };
        for timing in [&actuator.engage, &actuator.release] {
            let Some(found) = timing.crossings else {
                continue;
            };
            let Some(fitted) = found.lag_fitted.filter(|lag| lag.n_events >= 5) else {
                continue;
            };
            n_judged += 1;
            // Between samples a straight line is drawn, which the answer is not.
            let period_s = timing.rise_time.resolution.unwrap().answer_period_s;
            let within_s = 0.1 * fitted.median + period_s;
            for lag in [found.lag_smith, found.lag_sundaresan_krishnaswamy] {
                let off_s = lag.median - fitted.median;
                assert!(off_s.abs() < within_s, "{}: {found:?}", scenario.name);
            }
            assert!(found.settle_time.median >= found.transition_time.median);
            assert!(
                (-1.0..20.0).contains(&(100.0 * found.overshoot)),
                "{found:?}"
            );
        }
    }
    assert!(n_judged >= 4, "only {n_judged} were judged");
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
        .any(|finding| finding.id == FindingId::LazyActuator);
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
        let value = estimate(&results, FigureId::ActuatorHealth).value;
        assert!((least..=most).contains(&value), "{name}: {value}");
        let method = &common::figure(&results, FigureId::ActuatorHealth).method;
        let says = format!("the losing item is {item}");
        assert!(method.contains(&says), "{name}: {method}");
    }
}

/// A map without the blocks and lines that name the clutch's position.
fn without_position(map: &str) -> String {
    let blocks = map.split("\n\n").filter(|block| {
        let is_table = block.starts_with("table turn-to-torque");
        let is_its_frame = block.starts_with("frame") && block.contains("clutch.position");
        !(is_table || is_its_frame)
    });
    let blocks: Vec<String> = blocks
        .map(
            |block| match block.find("  torque from table turn-to-torque") {
                Some(at) => block[..at].trim_end().to_owned(),
                None => block.to_owned(),
            },
        )
        .collect();
    blocks.join("\n\n")
}

#[test]
fn without_a_word_of_the_mechanism_the_slip_gives_an_apparent_time() {
    let scenario = sample("hard-track-day");
    let text = map_text(&scenario, &Tolerances::EXACT, scenario.seed);
    let log = to_text(&scenario).0;
    let results = assess(&map(&without_position(&text)), log.as_bytes());
    // The motor's current alone is no answer of the mechanism: the few edges that look like a
    // lag by chance are not made a figure of.
    assert!(
        common::figure(&results, FigureId::DeadTime)
            .outcome
            .is_err()
    );
    let apparent = results.apparent.expect("there is a command and slip");
    // This driver feeds the throttle as the clutch closes: nearly every edge is refused for it.
    let n_refused: usize = apparent.reasons.iter().map(|(_, n)| n).sum();
    assert!(n_refused as u64 > apparent.n_edges / 2, "{apparent:?}");
    if let StatedTime::Singly(spread) = apparent.stated {
        assert_eq!(spread.n_events + n_refused, apparent.n_edges as usize);
        let truth = scenario.vehicle.actuator;
        assert!(spread.median > truth.dead_time_s, "{apparent:?}");
    }
    // With a position nobody asks the slip.
    let whole = assess(&map(&text), log.as_bytes());
    assert!(whole.apparent.is_none() && whole.actuator.is_ok());
}
