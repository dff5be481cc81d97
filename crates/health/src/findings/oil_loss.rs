//! Oil may be missing.
//!
//! Less oil stores less heat and lets the pack run out of it: the oil rises more per heat of
//! the pack, and pack and oil become equal more slowly. Only the car's own past says what is
//! usual, so without earlier drives it is not checked. Gears heat the oil too; the rise
//! counts only where most of the heat is known to be the pack's.

use crate::figure_id::FigureId;
use crate::reason::{DriveFact, Measured, Reason};
use halfshaft_driveline::thermal::{Anchor, FitOutcome, ThermalEstimate};

use super::{About, Drive, Entry, FindingId, Fired, Judge, Outcome};
use crate::baseline::{Baseline, Departure, Quantity, conditions, three_digits};
use crate::evidence::window;
use crate::limits::rounded;
use crate::nouns::{EvidenceValue, Grade, Severity};
use crate::trust::HEAT;

pub const ENTRY: Entry = Entry {
    about: &About {
        id: FindingId::OilLoss,
        title: "Oil loss suspected",
        severities: &[Severity::LookSoon, Severity::Act],
        rule: |limits| {
            let percent = |ratio: f64| rounded(100.0 * (ratio - 1.0), 0);
            format!(
                "against the first of {} or more earlier drives of this car in like weather, the oil rises {} % more per \
                 pack heat, in a drive whose pack makes at least {} % of the heat, or pack and oil take {} % longer to \
                 become equal: act; over {} drives or more either grows from drive to drive, by {} % in all at the \
                 least: look soon",
                limits.past.least_drives,
                percent(limits.heat.rise_ratio),
                rounded(100.0 * limits.heat.rise_pack_share, 0),
                percent(limits.heat.equalisation_ratio),
                limits.past.drift_drives,
                percent(limits.past.drift_ratio)
            )
        },
        needs: "a temperature sensor in oil or housing, torque, earlier drives of the same car; for the rise power \
                through the axle; for the time to become equal heat that comes and goes",
        could_also_be: "a sensor that was moved, another undertray, much hotter air, gears or bearings that heat the oil, \
                        a torque table that became wrong",
        next_check: "Oil level, leaks at the seals, and whether the breather is free.",
        owner_sees: "The axle warms up faster than it used to: oil may be missing.",
        owner_does: "Have the oil level of the rear axle checked, and its seals for leaks.",
        withdrawn_if: "level and oil are right, or the next drives are as the earlier ones",
    },
    on: HEAT,
    begin: |_| Box::new(outcome as Judge),
};

/// What the conductance from pack to oil is called among the unknowns.
const PACK_TO_OIL: &str = "conductance from pack to oil";

/// One comparison with the past.
struct Compared {
    now: EvidenceValue,
    departure: Option<Departure>,
}

impl Compared {
    fn sentence(&self, departure: &Departure) -> String {
        let EvidenceValue { name, value, unit } = &self.now;
        let value = three_digits(*value);
        match departure {
            Departure::Level {
                times,
                usual,
                limit,
            } => format!(
                "{name}: {value} {unit}, {} {unit} by {}, {:+.0} % (limit {:+.0} %)",
                three_digits(usual.value),
                usual.source(),
                100.0 * (times - 1.0),
                100.0 * (limit - 1.0)
            ),
            Departure::Drift { .. } => format!("{name}: {value} {unit}, {}", departure.words(unit)),
        }
    }
}

fn rise(drive: &Drive, past: &Baseline, thermal: &ThermalEstimate) -> Result<Compared, Reason> {
    past.get(Quantity::RisePerHeat).ok_or(DriveFact::PastRise)?;
    let now = thermal.rise_k_per_kj.clone()?;
    let share = thermal.pack_share.clone()?;
    let limits = &drive.limits.heat;
    if share.value < limits.rise_pack_share {
        return Err(Reason::TooLittle {
            what: Measured::PackShare,
            found: share.value,
            needed: limits.rise_pack_share,
        });
    }
    Ok(Compared {
        now: value("rise of the oil per pack heat", now, "K/kJ"),
        departure: past.departure(Quantity::RisePerHeat, now, limits.rise_ratio),
    })
}

fn equalisation(
    drive: &Drive,
    past: &Baseline,
    thermal: &ThermalEstimate,
) -> Result<Compared, Reason> {
    past.get(Quantity::Equalisation)
        .ok_or(DriveFact::PastEqualisation)?;
    let now = thermal.equalisation_s.value;
    let limit = drive.limits.heat.equalisation_ratio;
    let departure = past.departure(Quantity::Equalisation, now, limit);
    let fit = thermal
        .unknowns
        .iter()
        .find(|unknown| unknown.name == PACK_TO_OIL)
        .map(|unknown| unknown.outcome);
    // What one drive can hardly tell is still pulled from the value of the map by what little it tells, and one drive
    // after the other the same way: a drift needs no drive that tells it alone.
    if fit != Some(FitOutcome::Fitted) && !matches!(departure, Some(Departure::Drift { .. })) {
        return Err(DriveFact::Equalisation.into());
    }
    Ok(Compared {
        now: value("time in which pack and oil become equal", now, "s"),
        departure,
    })
}

fn value(name: &'static str, value: f64, unit: &'static str) -> EvidenceValue {
    EvidenceValue { name, value, unit }
}

fn outcome(drive: &Drive) -> Outcome {
    let thermal = drive.thermal.as_ref().map_err(Clone::clone)?;
    if let Anchor::Open(reason) = &thermal.anchor {
        return Err(reason.clone().into());
    }
    let past = drive.baseline.in_like_weather(conditions(thermal));
    let (rise, equalisation) = (
        rise(drive, &past, thermal),
        equalisation(drive, &past, thermal),
    );
    let mut sentences = Vec::new();
    let mut severity = Severity::LookSoon;
    let mut evidence = window(drive.span().start, drive.span().end, &[]);
    for compared in [&rise, &equalisation].into_iter().flatten() {
        let Some(departure) = &compared.departure else {
            continue;
        };
        if matches!(departure, Departure::Level { .. }) {
            severity = Severity::Act;
        }
        sentences.push(compared.sentence(departure));
        evidence.values.push(compared.now.clone());
        if let Departure::Level { usual, .. } = departure {
            let unit = compared.now.unit;
            evidence
                .values
                .push(value("the same in the past", usual.value, unit));
        }
    }
    if sentences.is_empty() {
        return match (rise, equalisation) {
            (Err(one), Err(other)) => Err(Reason::Both(Box::new([one.clone(), other.clone()]))),
            _ => Ok(None),
        };
    }
    Ok(Some(Fired {
        severity,
        grade: drive.grade_of(FigureId::HeatTotal).max(Grade::B),
        summary: format!(
            "The oil behaves as if there were less of it: {}.",
            sentences.join("; ")
        ),
        evidence: vec![evidence],
    }))
}

#[cfg(test)]
mod tests {
    use super::super::testing::{Scene, says, thermal};
    use super::*;
    use crate::baseline::{Conditions, Earlier};
    use halfshaft_driveline::Refusal;
    use halfshaft_driveline::thermal::TracePoint;
    use halfshaft_model::{Site, Time};

    fn scene(change: impl Fn(&mut ThermalEstimate)) -> Scene {
        let mut scene = Scene::whole();
        scene.baseline.note_past(Quantity::RisePerHeat, &[0.05; 3]);
        scene.baseline.note_past(Quantity::Equalisation, &[8.4; 3]);
        let mut thermal = thermal();
        change(&mut thermal);
        scene.thermal = Ok(thermal);
        scene
    }

    #[test]
    fn either_sign_is_enough_and_the_numbers_are_said() {
        assert_eq!(scene(|_| ()).outcome(&ENTRY), Ok(None));
        let rises = scene(|thermal| thermal.rise_k_per_kj = Ok(0.064));
        let fired = rises.outcome(&ENTRY).unwrap().unwrap();
        assert_eq!(fired.severity, Severity::Act);
        // Derived: 0.064/0.05 is +28 %.
        says(
            &fired.summary,
            "0.0640 K/kJ, 0.0500 K/kJ by the median of the first 3 earlier drives",
        );
        says(&fired.summary, "+28 % (limit +25 %)");
        assert_eq!(fired.evidence[0].values.len(), 2);
        let slow = scene(|thermal| thermal.equalisation_s.value = 12.0);
        says(&slow.outcome(&ENTRY).unwrap().unwrap().summary, "+43 %");
    }

    #[test]
    fn oil_that_goes_from_drive_to_drive_is_to_look_at_soon_before_any_drive_tells_it_alone() {
        let mut going = scene(|thermal| {
            thermal.unknowns[0].outcome = FitOutcome::PriorKept;
            thermal.equalisation_s.value = 10.6;
        });
        going.baseline = Default::default();
        going
            .baseline
            .note_past(Quantity::Equalisation, &[7.8, 8.3, 9.0, 9.8]);
        let fired = going.outcome(&ENTRY).unwrap().unwrap();
        assert_eq!(fired.severity, Severity::LookSoon);
        says(&fired.summary, "8 % more a drive over 5 drives");
    }

    #[test]
    fn two_earlier_drives_or_other_weather_are_no_past() {
        let slow = |past: &[f64], air_c: f64| {
            let mut scene = scene(|thermal| {
                thermal.equalisation_s.value = 14.0;
                thermal.trace.push(TracePoint {
                    time: Time(0),
                    pack_c: thermal.pack_max.celsius,
                    oil_c: 20.0,
                    housing_c: 20.0,
                });
            });
            scene.baseline = Default::default();
            let air_now_c = thermal().recent.ambient_c;
            for value in past {
                scene.baseline.note_drive(Earlier {
                    conditions: Some(Conditions {
                        air_c: air_now_c + air_c,
                        oil_start_c: 20.0,
                    }),
                    values: vec![(Quantity::Equalisation, *value)],
                });
            }
            scene.outcome(&ENTRY)
        };
        assert!(slow(&[8.4; 3], 5.0).unwrap().is_some());
        says(
            &slow(&[8.4; 2], 5.0).unwrap_err(),
            "fewer than three earlier drives",
        );
        says(&slow(&[8.4; 3], 15.0).unwrap_err(), "in like weather");
    }

    #[test]
    fn below_the_limits_it_is_none() {
        let near = scene(|thermal| {
            thermal.rise_k_per_kj = Ok(0.062);
            thermal.equalisation_s.value = 11.7;
        });
        assert_eq!(near.outcome(&ENTRY), Ok(None));
    }

    #[test]
    fn heat_of_the_gears_is_no_loss_of_oil() {
        // Ten times the rise, and the pack made a tenth of the heat.
        let gears = |thermal: &mut ThermalEstimate| {
            thermal.rise_k_per_kj = Ok(0.5);
            thermal.pack_share.as_mut().unwrap().value = 0.1;
        };
        assert_eq!(scene(gears).outcome(&ENTRY), Ok(None));
        let unknown = scene(|thermal| {
            thermal.rise_k_per_kj = Ok(0.5);
            thermal.pack_share = Err(Refusal::NoAxlePower);
        });
        assert_eq!(unknown.outcome(&ENTRY), Ok(None));
    }

    #[test]
    fn what_the_drive_cannot_tell_is_not_compared() {
        let held = scene(|thermal| {
            thermal.unknowns[0].outcome = FitOutcome::PriorKept;
            thermal.equalisation_s.value = 20.0;
            thermal.rise_k_per_kj = Err(Refusal::RoseLittle { rise_k: 2.0 });
        });
        let reason = held.outcome(&ENTRY).unwrap_err();
        says(&reason, "2.0 K only");
        says(&reason, "how fast pack and oil become equal is not known");
    }

    #[test]
    fn without_past_or_sensor_it_was_not_checked() {
        let mut alone = scene(|thermal| thermal.rise_k_per_kj = Ok(0.1));
        alone.baseline = Default::default();
        says(
            &alone.outcome(&ENTRY).unwrap_err(),
            "fewer than three earlier drives",
        );
        let open = scene(|thermal| {
            thermal.anchor = Anchor::Open(Refusal::ModelledByCar);
            thermal.rise_k_per_kj = Ok(0.1);
        });
        says(&open.outcome(&ENTRY).unwrap_err(), "modelled by the car");
        let mut none = scene(|_| ());
        none.thermal = Err(Refusal::NoPackHeat.into());
        says(&none.outcome(&ENTRY).unwrap_err(), "not known");
        let housing = scene(|thermal| {
            thermal.anchor = Anchor::Fitted(Site::Housing);
            thermal.rise_k_per_kj = Ok(0.1);
        });
        assert!(housing.outcome(&ENTRY).unwrap().is_some());
    }
}
