//! Which way a unit fails, if it does: evidence for, against, and what cannot be told.
//!
//! In: findings, those not checked, needles, figures. Out: [`PathEvidence`] for each of five
//! ways, with its next check. It never makes one probability of them: signs of unlike kinds
//! do not add up.

use crate::figure_id::FigureId;
use crate::reason::Reason;
use halfshaft_driveline::thermal::ThermalEstimate;

use crate::baseline::{Baseline, Quantity};
use crate::figures::named;
use crate::findings::{FindingId, about};
use crate::limits::Limits;
use crate::nouns::{Figure, Finding, Meter, NotChecked, UseClass};

/// Evidence on one way to fail.
#[derive(Clone, Debug, PartialEq)]
pub struct PathEvidence {
    /// Stable kebab-case code.
    pub id: &'static str,
    /// For a page.
    pub title: &'static str,
    /// What speaks for it, with numbers.
    pub for_it: Vec<String>,
    /// What speaks against it, with numbers.
    pub against: Vec<String>,
    /// What this drive leaves open, and why.
    pub cannot_tell: Vec<String>,
    /// What to check next, by hand.
    pub next_check: &'static str,
}

/// What the card is made from.
#[derive(Clone, Copy, Debug)]
pub struct CardInput<'a> {
    /// Findings that fired.
    pub findings: &'a [Finding],
    /// Findings that could not be looked for.
    pub not_checked: &'a [NotChecked],
    /// The needles of use.
    pub meters: &'a [Meter],
    /// The figures.
    pub figures: &'a [Figure],
    /// Temperatures, or why they cannot be told.
    pub thermal: &'a Result<ThermalEstimate, Reason>,
    /// What earlier drives of this car were like.
    pub baseline: &'a Baseline,
    /// Limits.
    pub limits: &'a Limits,
}

/// A finding that bears on a way, and the figures that say how clear it is.
struct Sign {
    id: FindingId,
    figures: &'static [FigureId],
}

const fn sign(id: FindingId, figures: &'static [FigureId]) -> Sign {
    Sign { id, figures }
}

struct Way {
    id: &'static str,
    title: &'static str,
    // Fired they speak for it, not fired against it.
    signs: &'static [Sign],
    // Fired they speak against it, with the reason.
    against: &'static [(FindingId, &'static str)],
    next_check: &'static str,
    // What no log tells.
    never_told: Option<&'static str>,
}

const WAYS: [Way; 5] = [
    Way {
        id: "use",
        title: "Hard use",
        signs: &[
            sign(FindingId::HardDriving, &[]),
            sign(
                FindingId::HardHit,
                &[FigureId::SpecificPowerMax, FigureId::SpecificEnergyMax],
            ),
            sign(FindingId::RepeatedLaunches, &[]),
            sign(FindingId::ProtectionMode, &[]),
        ],
        against: &[(
            FindingId::HotWithoutClutch,
            "it ran hot with little work of the pack",
        )],
        next_check: "Ask how the car is driven; colour of the plates at the next opening.",
        never_told: None,
    },
    Way {
        id: "actuator",
        title: "Actuator",
        signs: &[
            sign(
                FindingId::LazyActuator,
                &[
                    FigureId::TransitionTime,
                    FigureId::RiseTime,
                    FigureId::DeadTime,
                ],
            ),
            sign(FindingId::ActuatorNotMoving, &[]),
            sign(FindingId::SlowRelease, &[FigureId::ReleaseTime]),
            sign(FindingId::ScatteredTiming, &[FigureId::RiseTime]),
            sign(FindingId::SupplySag, &[]),
            sign(FindingId::MotorWorksHard, &[]),
        ],
        against: &[(
            FindingId::DoesNotGrip,
            "the mechanism follows and the slip stays: look at the pack",
        )],
        next_check: "Voltage at the plug while it moves, then motor current and free run on the bench.",
        never_told: None,
    },
    Way {
        id: "friction-pack",
        title: "Friction pack",
        signs: &[
            sign(FindingId::DoesNotGrip, &[]),
            sign(FindingId::DraggingPack, &[]),
            sign(FindingId::Judder, &[]),
        ],
        against: &[
            (
                FindingId::ActuatorNotMoving,
                "the mechanism does not move, so slip under command says nothing of the lining",
            ),
            (
                FindingId::LazyActuator,
                "the mechanism is late, so slip at first says nothing of the lining",
            ),
        ],
        next_check: "Clamp travel and clearance of the pack, thickness of the discs, smell of the oil.",
        never_told: None,
    },
    Way {
        id: "lubrication",
        title: "Lubrication",
        signs: &[
            sign(FindingId::OilLoss, &[]),
            sign(FindingId::HotWithoutClutch, &[FigureId::OilTempMax]),
            sign(
                FindingId::OilTooHot,
                &[
                    FigureId::OilTempMax,
                    FigureId::OilHeadroom,
                    FigureId::PackTempMax,
                ],
            ),
            sign(FindingId::DoesNotCool, &[]),
        ],
        against: &[],
        next_check: "Oil level, leaks at the seals, breather free?",
        never_told: Some("No log shows a breather or a seal: look at them by hand."),
    },
    Way {
        id: "not-the-clutch",
        title: "Not the clutch",
        signs: &[
            sign(FindingId::HotWithoutClutch, &[FigureId::OilTempMax]),
            sign(FindingId::TyresMismatched, &[FigureId::TyreRatio]),
            sign(FindingId::LosingPressure, &[]),
            sign(FindingId::FrontRearMismatch, &[]),
            sign(FindingId::ToneRing, &[]),
            sign(FindingId::WorkingOnTheStraight, &[]),
            sign(FindingId::CommandChatter, &[]),
            sign(FindingId::LateOnThrottle, &[FigureId::ThrottleOnDelay]),
            sign(FindingId::HangsOnAfterLift, &[FigureId::LiftOffDelay]),
        ],
        against: &[],
        next_check: "Tyre pressures, sizes and tread; noise of the bearings, metal on the magnet; the calibration.",
        never_told: None,
    },
];

/// Level of a needle from which use is hard.
const HARD: usize = 4;

/// Evidence on every way, in the order of the card.
pub fn score_card(input: &CardInput) -> Vec<PathEvidence> {
    WAYS.iter()
        .map(|way| {
            let mut path = of_findings(way, input);
            match way.id {
                "use" => needles(&mut path, input.meters),
                "friction-pack" => holding(&mut path, input),
                "lubrication" => lubrication(&mut path, input.thermal),
                "not-the-clutch" => share(&mut path, input),
                _ => {}
            }
            path.cannot_tell.extend(way.never_told.map(str::to_owned));
            path
        })
        .collect()
}

fn of_findings(way: &Way, input: &CardInput) -> PathEvidence {
    let mut path = PathEvidence {
        id: way.id,
        title: way.title,
        for_it: Vec::new(),
        against: Vec::new(),
        cannot_tell: Vec::new(),
        next_check: way.next_check,
    };
    let fired = |id: FindingId| input.findings.iter().find(|finding| finding.id == id);
    let mut gravest = None;
    for sign in way.signs {
        let title = about(sign.id).title;
        let open = input.not_checked.iter().find(|left| left.id == sign.id);
        if let Some(finding) = fired(sign.id) {
            path.for_it.push(format!("{title}: {}", finding.summary));
            if gravest.is_none_or(|severity| finding.severity > severity) {
                gravest = Some(finding.severity);
                path.next_check = finding.next_check;
            }
        } else if let Some(open) = open {
            path.cannot_tell
                .push(format!("{title}: not checked, {}.", open.missing));
        } else {
            path.against.push(format!(
                "{title}: not found{}.",
                quoted(sign.figures, input.figures)
            ));
        }
    }
    for (id, why) in way.against {
        if let Some(finding) = fired(*id) {
            path.against
                .push(format!("{}: {why}. {}", finding.title, finding.summary));
        }
    }
    path
}

/// A number with three figures that count.
fn three(value: f64) -> String {
    if value == 0.0 {
        return "0".to_owned();
    }
    let before_point = value.abs().log10().floor() as i32 + 1;
    let decimals = (3 - before_point).clamp(0, 6) as usize;
    format!("{value:.decimals$}").replace('-', "−")
}

/// A number with its unit: `12.5 kJ/km`, `0.93`, `779 per 100 km`.
fn with_unit(value: f64, unit: &str) -> String {
    match unit.strip_prefix("1/") {
        Some(of) => format!("{} per {of}", three(value)),
        None if unit == "ratio" => three(value),
        None => format!("{} {unit}", three(value)),
    }
}

/// The numbers of figures that are known.
fn quoted(ids: &[FigureId], figures: &[Figure]) -> String {
    let known: Vec<String> = ids
        .iter()
        .filter_map(|id| named(figures, *id))
        .filter_map(|figure| {
            let estimate = figure.outcome.as_ref().ok()?;
            Some(format!(
                "{} {} ({} to {})",
                figure.title,
                with_unit(estimate.value, figure.unit),
                three(estimate.low),
                three(estimate.high)
            ))
        })
        .collect();
    match known.is_empty() {
        true => String::new(),
        false => format!(" ({})", known.join("; ")),
    }
}

fn needles(path: &mut PathEvidence, meters: &[Meter]) {
    for meter in meters {
        let title = meter.title;
        match &meter.reading {
            Err(missing) => path.cannot_tell.push(format!("{title}: {missing}.")),
            Ok(reading) => {
                let level = meter
                    .edges
                    .iter()
                    .filter(|edge| reading.value >= **edge)
                    .count();
                let sentence = format!(
                    "{title}: {}, {} use; hard from {} on.",
                    with_unit(reading.value, meter.unit),
                    UseClass::word(level as u8),
                    meter.edges[HARD - 1]
                );
                match level >= HARD {
                    true => path.for_it.push(sentence),
                    false => path.against.push(sentence),
                }
            }
        }
    }
}

/// What the pack held in bends over what the map states, compared with earlier drives: worn, glazed or weakly
/// clamped linings hold less.
fn holding(path: &mut PathEvidence, input: &CardInput) {
    let Some(figure) = named(input.figures, FigureId::HeldOverStated) else {
        return;
    };
    let index = match &figure.outcome {
        Err(missing) => {
            path.cannot_tell
                .push(format!("{}: {missing}.", figure.title));
            return;
        }
        Ok(index) => index,
    };
    let told = format!(
        "{} {} ({} to {})",
        figure.title,
        three(index.value),
        three(index.low),
        three(index.high)
    );
    let Some(past) = input.baseline.get(Quantity::HeldOverStated) else {
        path.cannot_tell.push(format!(
            "{told}: nothing earlier of this car to compare with."
        ));
        return;
    };
    let least = input.limits.grip.holding_share * past.value;
    let sentence = format!(
        "{told}; {} had {}, and below {} hold was lost.",
        past.source(),
        three(past.value),
        three(least)
    );
    match (index.high < least, index.low >= least) {
        (true, _) => path.for_it.push(sentence),
        (_, true) => path.against.push(sentence),
        _ => path.cannot_tell.push(sentence),
    }
}

fn lubrication(path: &mut PathEvidence, thermal: &Result<ThermalEstimate, Reason>) {
    match thermal {
        Err(missing) => path.cannot_tell.push(format!("Temperatures: {missing}.")),
        Ok(thermal) => {
            // Without a past these numbers speak neither for nor against.
            let equal = &thermal.equalisation_s;
            let rise = match &thermal.rise_k_per_kj {
                Ok(rise) => format!("the oil rose {rise:.3} K per kJ of pack heat"),
                Err(missing) => format!(
                    "the rise per pack heat is not told, {}",
                    Reason::from(missing.clone())
                ),
            };
            path.cannot_tell.push(format!(
                "To compare with other drives: {rise}; pack and oil became equal in {:.1} s ({:.1} to {:.1}).",
                equal.value, equal.low, equal.high
            ));
        }
    }
}

fn share(path: &mut PathEvidence, input: &CardInput) {
    let told = input
        .thermal
        .as_ref()
        .map_err(Clone::clone)
        .and_then(|thermal| Ok(thermal.pack_share.clone()?));
    match told {
        Err(missing) => path.cannot_tell.push(format!(
            "Whether the clutch or the gears heat the axle: {missing}."
        )),
        Ok(share) => {
            let limit = input.limits.heat.clutch_share;
            let sentence = format!(
                "The pack made {:.0} % of the axle's heat ({:.0} to {:.0} %); below {:.0} % the clutch is not the cause of heat.",
                100.0 * share.value,
                100.0 * share.low,
                100.0 * share.high,
                100.0 * limit
            );
            match (share.high < limit, share.low >= limit) {
                (true, _) => path.for_it.push(sentence),
                (_, true) => path.against.push(sentence),
                _ => path.cannot_tell.push(sentence),
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reason::{DriveFact, MapFact};

    #[test]
    fn three_figures_count() {
        for (value, text) in [
            (133.0, "133"),
            (0.0994, "0.0994"),
            (-6.29, "−6.29"),
            (0.0, "0"),
        ] {
            assert_eq!(three(value), text);
        }
    }
    use crate::findings::testing::{Scene, says, thermal};
    use crate::nouns::{Estimate, Grade, Severity};

    fn finding(id: FindingId, severity: Severity) -> Finding {
        Finding {
            id,
            title: "A title",
            severity,
            grade: Grade::B,
            summary: "12 times over 3.".to_owned(),
            evidence: Vec::new(),
            could_also_be: "",
            next_check: "By its own hand.",
            owner_sees: "",
            owner_does: "",
            withdrawn_if: "",
        }
    }

    fn card(findings: &[Finding], thermal: &Result<ThermalEstimate, Reason>) -> Vec<PathEvidence> {
        compared(findings, thermal, &Baseline::default())
    }

    fn compared(
        findings: &[Finding],
        thermal: &Result<ThermalEstimate, Reason>,
        baseline: &Baseline,
    ) -> Vec<PathEvidence> {
        let reading = |value: f64| {
            Ok(Estimate {
                value,
                low: value,
                high: value,
                is_at_least: false,
            })
        };
        let meter = |title: &'static str, reading| Meter {
            name: "needle",
            title,
            unit: "kJ/km",
            edges: [0.3, 1.0, 3.0, 8.0, 25.0],
            reading,
        };
        let mut scene = Scene::whole();
        scene.figures.push(Figure {
            title: "Torque held over torque stated",
            outcome: Ok(Estimate {
                value: 0.6,
                low: 0.5,
                high: 0.7,
                is_at_least: false,
            }),
            ..crate::findings::testing::figure(FigureId::HeldOverStated, Ok(0.6))
        });
        score_card(&CardInput {
            findings,
            not_checked: &[NotChecked {
                id: FindingId::OilLoss,
                title: "Oil loss suspected",
                missing: DriveFact::PastRise.into(),
            }],
            meters: &[
                meter("Heat", reading(9.0)),
                meter("Events", reading(0.5)),
                meter("Power", Err(MapFact::LiningArea.into())),
            ],
            figures: &scene.figures,
            thermal,
            baseline,
            limits: &scene.limits,
        })
    }

    #[test]
    fn numbers_go_with_their_units() {
        for (unit, text) in [
            ("kJ/km", "779 kJ/km"),
            ("1/100 km", "779 per 100 km"),
            ("ratio", "779"),
        ] {
            assert_eq!(with_unit(779.0, unit), text);
        }
    }

    fn path<'a>(card: &'a [PathEvidence], id: &str) -> &'a PathEvidence {
        card.iter().find(|path| path.id == id).unwrap()
    }

    #[test]
    fn a_finding_speaks_for_its_ways_and_against_others() {
        let card = card(
            &[finding(FindingId::HotWithoutClutch, Severity::Act)],
            &Ok(thermal()),
        );
        assert_eq!(card.len(), 5);
        for id in ["lubrication", "not-the-clutch"] {
            let path = path(&card, id);
            says(&path.for_it[0], "12 times over 3.");
            assert_eq!(path.next_check, "By its own hand.");
        }
        let used = path(&card, "use");
        assert!(used.against.iter().any(|text| text.contains("little work")));
        assert_ne!(used.next_check, "By its own hand.");
    }

    #[test]
    fn hold_is_held_against_the_cars_own_past() {
        let told = |past: Option<f64>| {
            let mut baseline = Baseline::default();
            if let Some(past) = past {
                baseline.note_past(Quantity::HeldOverStated, &[past; 3]);
            }
            path(&compared(&[], &Ok(thermal()), &baseline), "friction-pack").clone()
        };
        // The drive has 0.6 (0.5 to 0.7): of 0.9 it is two thirds, of 0.65 nearly all.
        says(&told(None).cannot_tell.join(" "), "nothing earlier");
        says(&told(Some(1.0)).cannot_tell.join(" "), "below 0.700 hold");
        says(&told(Some(0.65)).against.join(" "), "below 0.455 hold");
        assert!(told(Some(1.0)).for_it.is_empty());
        says(
            &told(Some(1.1)).for_it.join(" "),
            "Torque held over torque stated 0.600 (0.500 to 0.700); the median of the first 3 earlier drives of this car had 1.10, and below 0.770 hold was lost.",
        );
    }

    #[test]
    fn needles_speak_with_their_numbers() {
        let card = card(&[], &Ok(thermal()));
        let used = path(&card, "use");
        says(
            &used.for_it.join(" "),
            "Heat: 9.00 kJ/km, hard use; hard from 8 on.",
        );
        says(&used.against.join(" "), "Events: 0.500 kJ/km, gentle use");
        says(
            &used.cannot_tell.join(" "),
            "Power: the lining has no area.",
        );
    }

    #[test]
    fn what_was_not_checked_is_neither_for_nor_against() {
        let card = card(&[], &Ok(thermal()));
        let oil = path(&card, "lubrication");
        says(
            &oil.cannot_tell.join(" "),
            "Oil loss suspected: not checked, fewer than three earlier drives in like weather give the usual rise per heat.",
        );
        assert!(!oil.against.iter().any(|text| text.contains("Oil loss")));
        says(&oil.cannot_tell.join(" "), "No log shows a breather");
        // Not found, with the number that shows how far it was.
        says(
            &oil.against.join(" "),
            "Oil over its limit: not found (oil_temp_max 110",
        );
    }

    #[test]
    fn whether_clutch_or_gears_heat_is_open_without_axle_power() {
        let mut unknown = thermal();
        unknown.pack_share = Err(halfshaft_driveline::Refusal::NoAxlePower);
        let told = card(&[], &Ok(thermal()));
        says(
            &path(&told, "not-the-clutch").against.join(" "),
            "The pack made 70 %",
        );
        let open = card(&[], &Ok(unknown));
        let path = path(&open, "not-the-clutch");
        says(&path.cannot_tell.join(" "), "axle power unknown");
        assert!(
            !path
                .against
                .iter()
                .any(|text| text.contains("The pack made"))
        );
    }
}
