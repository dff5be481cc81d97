//! Whole drives with one fault each: the fault's finding is raised, and no other; sound
//! cars raise none.

mod common;

use common::{assess, assess_by, map};
use halfshaft_drive::Options;
use halfshaft_health::baseline::{Baseline, Quantity};
use halfshaft_health::comparable::comparable;
use halfshaft_health::{FindingId, Results, Severity};
use halfshaft_simulate::{
    FAULT_DRIVES, HEALTHY_DRIVES, Scenario, Tolerances, fault_drive, map_text, to_text,
};

fn of_drive(name: &str) -> Results {
    let scenario = fault_drive(name).unwrap_or_else(|| panic!("there is no drive {name}"));
    let map = map(&map_text(&scenario, &Tolerances::EXACT, scenario.seed));
    assess(&map, to_text(&scenario).0.as_bytes())
}

/// A drive, the findings it must raise, and those it may raise besides, each with why.
struct Expected {
    drive: &'static str,
    raises: &'static [FindingId],
    may: &'static [FindingId],
}

const EXPECTED: &[Expected] = &[
    Expected {
        drive: "command-chatter",
        raises: &[FindingId::CommandChatter],
        may: &[],
    },
    Expected {
        drive: "does-not-grip",
        raises: &[FindingId::DoesNotGrip],
        may: &[],
    },
    Expected {
        drive: "dragging-pack",
        raises: &[FindingId::DraggingPack],
        may: &[],
    },
    Expected {
        drive: "front-rear-mismatch",
        raises: &[FindingId::FrontRearMismatch],
        may: &[],
    },
    Expected {
        drive: "judder",
        raises: &[FindingId::Judder],
        may: &[],
    },
    Expected {
        drive: "protection-mode",
        raises: &[FindingId::ProtectionMode],
        may: &[],
    },
    Expected {
        drive: "tone-ring",
        raises: &[FindingId::ToneRing],
        may: &[],
    },
    Expected {
        drive: "torque-report-disagrees",
        raises: &[FindingId::TorqueReportDisagrees],
        may: &[],
    },
    Expected {
        drive: "actuator-not-moving",
        raises: &[FindingId::ActuatorNotMoving],
        may: &[],
    },
    Expected {
        drive: "does-not-cool",
        raises: &[FindingId::DoesNotCool],
        may: &[],
    },
    Expected {
        drive: "hangs-on-after-lift",
        raises: &[FindingId::HangsOnAfterLift],
        may: &[],
    },
    Expected {
        drive: "hard-hit",
        raises: &[FindingId::HardHit],
        may: &[],
    },
    Expected {
        drive: "hot-without-clutch",
        raises: &[FindingId::HotWithoutClutch],
        may: &[],
    },
    Expected {
        drive: "late-on-throttle",
        raises: &[FindingId::LateOnThrottle],
        may: &[],
    },
    Expected {
        drive: "lazy-actuator",
        raises: &[FindingId::LazyActuator],
        // The same slow motor opens the clutch: 0.80 s, at the limit of a slow release.
        may: &[FindingId::SlowRelease, FindingId::HangsOnAfterLift],
    },
    Expected {
        drive: "lazy-cold",
        raises: &[FindingId::LazyCold],
        may: &[],
    },
    Expected {
        drive: "losing-pressure",
        raises: &[FindingId::LosingPressure],
        // A tyre that lost pressure is a mismatched one.
        may: &[FindingId::TyresMismatched],
    },
    Expected {
        drive: "motor-works-hard",
        raises: &[FindingId::MotorWorksHard],
        may: &[],
    },
    Expected {
        drive: "repeated-launches",
        raises: &[FindingId::RepeatedLaunches],
        may: &[],
    },
    Expected {
        drive: "scattered-timing",
        raises: &[FindingId::ScatteredTiming],
        // Its median lag is twice that of a sound unit.
        may: &[FindingId::LazyActuator],
    },
    Expected {
        drive: "slow-release",
        raises: &[FindingId::SlowRelease],
        // A clutch that lets go slowly hangs on, by the mechanism's part.
        may: &[FindingId::HangsOnAfterLift],
    },
    Expected {
        drive: "supply-sag",
        raises: &[FindingId::SupplySag],
        // The sagging voltage slows the motor.
        may: &[FindingId::LazyActuator],
    },
    Expected {
        drive: "towed",
        raises: &[FindingId::NotDriving],
        may: &[],
    },
    Expected {
        drive: "working-on-the-straight",
        raises: &[FindingId::WorkingOnTheStraight],
        // Its tyres are what keeps the pack at work.
        may: &[FindingId::TyresMismatched],
    },
];

/// Of the quality of the log, and of the driver: not of the car.
const NOT_OF_THE_CAR: [FindingId; 2] = [FindingId::LogNotFit, FindingId::HardDriving];

fn raised(results: &Results) -> Vec<FindingId> {
    let findings = results.findings.iter();
    findings
        .map(|finding| finding.id)
        .filter(|id| !NOT_OF_THE_CAR.contains(id))
        .collect()
}

/// Halves of a list, one for each of two cores; what went wrong, of all of them.
fn each<T: Sync>(list: &[T], check: impl Fn(&T) -> Option<String> + Sync) -> Vec<String> {
    let wrong = std::sync::Mutex::new(Vec::new());
    std::thread::scope(|scope| {
        for half in 0..2 {
            let (wrong, check) = (&wrong, &check);
            scope.spawn(move || {
                for item in list.iter().skip(half).step_by(2) {
                    if let Some(why) = check(item) {
                        wrong.lock().expect("no check panicked").push(why);
                    }
                }
            });
        }
    });
    wrong.into_inner().expect("no check panicked")
}

#[test]
fn each_fault_raises_its_finding_and_no_other() {
    let wrong = each(EXPECTED, |expected| {
        let results = of_drive(expected.drive);
        let raised = raised(&results);
        let is_missing = expected.raises.iter().find(|id| !raised.contains(id));
        let is_known = |id: &FindingId| expected.raises.contains(id) || expected.may.contains(id);
        let is_too_much = raised.iter().find(|id| !is_known(id));
        if is_missing.is_none() && is_too_much.is_none() {
            return None;
        }
        Some(format!(
            "{} raises {raised:?}: {:#?}",
            expected.drive, results.findings
        ))
    });
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn every_fault_has_its_drive_here() {
    // Little oil shows only against the car's own past: `thermal.rs`.
    for drive in FAULT_DRIVES.iter().filter(|drive| **drive != "low-oil") {
        let is_here = EXPECTED.iter().any(|expected| expected.drive == *drive);
        assert!(is_here, "{drive}");
    }
}

#[test]
fn sound_cars_raise_none() {
    let wrong = each(HEALTHY_DRIVES, |name| {
        let results = of_drive(name);
        let grave: Vec<_> = results
            .findings
            .iter()
            .filter(|finding| {
                finding.severity > Severity::Note || !NOT_OF_THE_CAR.contains(&finding.id)
            })
            .collect();
        (!grave.is_empty()).then(|| format!("{name}: {grave:#?}"))
    });
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// The same car and map, but for the preload that the map states.
fn with_stated_preload(map_text: &str, stated: &str) -> String {
    let lines = map_text.lines().map(|line| {
        let is_preload = line.trim_start().starts_with("preload ");
        if is_preload { stated } else { line }
    });
    lines.collect::<Vec<&str>>().join("\n")
}

#[test]
fn a_preload_far_above_the_stated_one_is_heavy() {
    let mut scenario = fault_drive("dragging-pack").expect("there is such a drive");
    scenario.faults.pack.drag_torque_nm = 0.0;
    let text = map_text(&scenario, &Tolerances::EXACT, scenario.seed);
    let log = to_text(&scenario).0;
    let fires = |text: &str| {
        let results = assess(&map(text), log.as_bytes());
        let mut findings = results.findings.iter();
        findings.any(|finding| finding.id == FindingId::HeavyPreload)
    };
    assert!(!fires(&text));
    // The pack holds 70 N·m when open, by its table of position; the rated value is a third.
    assert!(fires(&with_stated_preload(
        &text,
        "  preload 24 N.m +/- 10 %"
    )));
}

/// Evidence for and against a worn pack, of a drive held against another of the same car.
fn of_friction_pack(now: &Scenario, past: &Scenario) -> (String, String) {
    let map_of = |scenario: &Scenario| map(&map_text(scenario, &Tolerances::EXACT, scenario.seed));
    let earlier = assess(&map_of(past), to_text(past).0.as_bytes());
    let holding = comparable(&earlier)
        .into_iter()
        .find(|one| one.quantity == Quantity::Holding)
        .expect("holding is compared");
    let holding = holding.outcome.expect("the earlier drive has bends enough");
    assert!((0.5..=1.0).contains(&holding), "{holding}");
    let map = map_of(now);
    let mut baseline = Baseline::default();
    baseline.note_past(Quantity::Holding, &[holding]);
    let options = Options {
        baseline: Some(baseline),
        ..Options::default()
    };
    let results = assess_by(&map, to_text(now).0.as_bytes(), &options);
    let mut paths = results.score_card.iter();
    let path = paths
        .find(|path| path.id == "friction-pack")
        .expect("a card");
    (path.for_it.join(" "), path.against.join(" "))
}

#[test]
fn hold_that_was_lost_speaks_for_a_worn_pack_and_hold_that_was_not_against() {
    let worn = fault_drive("does-not-grip").expect("there is such a drive");
    let sound = fault_drive("torque-report-disagrees").expect("there is such a drive");
    let loose = fault_drive("healthy-gravel").expect("there is such a drive");
    for past in [&sound, &loose] {
        let (for_it, _) = of_friction_pack(&worn, past);
        assert!(for_it.contains("hold was lost"), "{for_it}");
    }
    // Firm ground after loose must not look like wear.
    let (_, against) = of_friction_pack(&sound, &loose);
    assert!(against.contains("hold was lost"), "{against}");
}
