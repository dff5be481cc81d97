//! Left and right rear tyres of unlike size.
//!
//! Unequal rolling radii make the pack slip on every straight, as long as it is not held
//! tight: E/km = ½·T·ε·1000/r. Fires on the ratio that straight running shows, whatever
//! preload may hide of more.

use crate::figure_id::FigureId;
use crate::reason::Reason;
use halfshaft_driveline::median::upper_median;
use halfshaft_driveline::{Mode, RatioEstimate, RatioPoint};

use super::{About, Drive, Entry, FindingId, Fired, Judge, MOST_EVIDENCE, Outcome};
use crate::evidence::window;
use crate::limits::rounded;
use crate::nouns::{EvidenceWindow, Grade, Severity};
use crate::trust::TYRES;

pub const ENTRY: Entry = Entry {
    about: &About {
        id: FindingId::TyresMismatched,
        title: "Left and right tyres mismatched",
        severities: &[Severity::Note, Severity::Act],
        rule: |limits| {
            format!(
                "the rear tyres' rolling speeds differ by more than {} % on straights: note; by more than \
                 {} %: act; the ratio known to ± {} %; without a yaw rate, or front wheels alike to {} %, only a note, \
                 from {} %",
                rounded(100.0 * limits.tyres.mismatch_note, 1),
                rounded(100.0 * limits.tyres.mismatch_act, 0),
                rounded(100.0 * limits.tyres.mismatch_sd, 2),
                rounded(100.0 * limits.tyres.mismatch_act, 0),
                rounded(100.0 * limits.tyres.mismatch_act, 0)
            )
        },
        needs: "both rear wheel speeds, rolling radius, some kilometres of straight road at low command; a yaw \
                rate or the front wheels to tell the bends",
        could_also_be: "a space-saver spare, one tyre low on air, a map whose wheels have unlike scales, a road \
                        that leans one way all along; when the front wheels tell the bends, unlike front tyres",
        next_check: "Compare pressure, size, make and tread depth of both rear tyres; measure the roll-out of each.",
        owner_sees: "The two rear tyres are not of one size as they roll.",
        owner_does: "Compare pressure, size and tread of both rear tyres, and fit an equal pair where they differ.",
        withdrawn_if: "both roll-outs are equal to a few millimetres",
    },
    on: TYRES,
    begin: |_| Box::new(outcome as Judge),
};

fn outcome(drive: &Drive) -> Outcome {
    drive.rear_wheels()?;
    let calibration = drive.calibration;
    let limits = &drive.limits.tyres;
    let open = calibration.outcome.as_ref().map_err(Clone::clone);
    let open = open.and_then(|ratio| match ratio.sd > limits.mismatch_sd {
        true => Err(Reason::VagueTyreRatio {
            sd: ratio.sd,
            needed: limits.mismatch_sd,
        }),
        false => Ok(ratio),
    });
    // Few open straights are no loss where those under a little torque show it.
    let ratio = match (&open, &calibration.under_command) {
        (Err(_), Some(ratio)) => ratio,
        _ => open?,
    };
    let mismatch = ratio.ratio_log.exp_m1();
    // On a circuit driven one way its long bend is where the windows crowd: wheels that crowd at more
    // than tyres of one size make tell no straight.
    let has_witness = match calibration.mode {
        Mode::YawRegression => true,
        Mode::FrontWheels => calibration
            .front_ratio_log
            .is_some_and(|front| front.abs() <= limits.mismatch_act),
        Mode::ShortestThird => false,
    };
    // Rear wheels that turn alike beside unlike front ones: it is the front tyres that differ, or a preload
    // that holds the rear axle. What the rear wheels show themselves must be as much.
    let shown = match (calibration.mode, calibration.front_ratio_log) {
        (Mode::FrontWheels, Some(front)) => {
            let raw = (ratio.ratio_log + front).exp_m1();
            (raw * mismatch.signum()).clamp(0.0, mismatch.abs())
        }
        _ => mismatch.abs(),
    };
    let severity = match shown {
        size if size > limits.mismatch_act && has_witness => Severity::Act,
        size if size > limits.mismatch_act => Severity::Note,
        size if size > limits.mismatch_note && has_witness => Severity::Note,
        _ => {
            let most = ratio.low.abs().max(ratio.high.abs()).exp_m1();
            return match most > limits.mismatch_act {
                true => Err(Reason::TyresHidden {
                    most,
                    limit: limits.mismatch_act,
                }),
                false => Ok(None),
            };
        }
    };
    Ok(Some(Fired {
        severity,
        grade: Grade::of(ratio.grade_factor),
        summary: summary(drive, ratio),
        evidence: evidence(&calibration.points),
    }))
}

fn summary(drive: &Drive, ratio: &RatioEstimate) -> String {
    let limits = &drive.limits.tyres;
    let mismatch = ratio.ratio_log.exp_m1();
    let faster = if mismatch > 0.0 { "right" } else { "left" };
    let limit = match mismatch.abs() > limits.mismatch_act {
        true => limits.mismatch_act,
        false => limits.mismatch_note,
    };
    let (low, high) = (100.0 * ratio.low.exp_m1(), 100.0 * ratio.high.exp_m1());
    let mut text = format!(
        "The {faster} rear tyre turns {:.2} % faster on straights (limit {} %; truly {:.2} to {:.2} %, as torque in the pack may hide some)",
        100.0 * mismatch.abs(),
        rounded(100.0 * limit, 1),
        low.abs().min(high.abs()),
        low.abs().max(high.abs()),
    );
    if let Some(radius) = drive.basis.radius_m {
        let smaller_mm = 1e3 * radius * mismatch.abs();
        text += &format!(": its rolling radius is {smaller_mm:.1} mm smaller");
    }
    text += ".";
    let per_km = drive
        .figure(FigureId::HeatMismatch)
        .ok()
        .zip(drive.figure(FigureId::Distance).ok())
        .filter(|(_, distance)| distance.value > 0.1)
        .map(|(heat, distance)| heat.value / distance.value);
    if let Some(per_km) = per_km {
        text += &format!(" It cost {per_km:.2} kJ per km in the pack.");
    }
    if drive
        .calibration
        .collapses_with_command
        .is_some_and(|collapse| collapse.is_collapsed)
    {
        text +=
            " Under command the difference disappears: the pack then holds and the tyres scrub.";
    }
    if drive.calibration.mode == Mode::FrontWheels {
        text += " The front tyres' own difference was taken off.";
    }
    text
}

/// The road in up to five parts, each with the middle of its windows.
fn evidence(points: &[RatioPoint]) -> Vec<EvidenceWindow> {
    let accepted: Vec<&RatioPoint> = points.iter().filter(|point| point.is_accepted).collect();
    let n_parts = (accepted.len() / 8).clamp(1, MOST_EVIDENCE);
    let size = accepted.len().div_ceil(n_parts).max(1);
    accepted
        .chunks(size)
        .map(|part| {
            let ratios = part.iter().map(|point| point.ratio_log);
            let middle = upper_median(ratios).unwrap_or(0.0);
            window(
                part[0].time,
                part[part.len() - 1].time,
                &[
                    ("right over left", 100.0 * middle.exp_m1(), "%"),
                    ("straight stretches of 50 m", part.len() as f64, "1"),
                ],
            )
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::super::testing::{Scene, calibration, figure, says};
    use super::*;
    use halfshaft_model::Time;

    fn scene(ratio_log: f64, sd: f64) -> Scene {
        let mut scene = Scene::whole();
        scene.calibration = calibration(Ok(RatioEstimate {
            ratio_log,
            sd,
            low: ratio_log - 0.001,
            high: ratio_log + 0.001,
            grade_factor: 0.95,
        }));
        scene.calibration.points = (0..100)
            .map(|index| RatioPoint {
                km: 0.05 * f64::from(index),
                time: Time::from_seconds(f64::from(index) * 2.0),
                ratio_log,
                heading_per_m: None,
                is_accepted: index % 2 == 0,
            })
            .collect();
        scene
    }

    #[test]
    fn a_percent_is_to_act_on_and_half_of_it_a_note() {
        for (ratio_log, severity) in [
            (0.012, Some(Severity::Act)),
            (-0.012, Some(Severity::Act)),
            (0.007, Some(Severity::Note)),
            (0.004, None),
            (-0.0, None),
        ] {
            let fired = scene(ratio_log, 1e-4).outcome(&ENTRY).unwrap();
            assert_eq!(fired.map(|fired| fired.severity), severity, "{ratio_log}");
        }
    }

    #[test]
    fn a_bend_driven_one_way_is_no_tyre() {
        // An oval: without a witness its bend of 58 m reads 2.6 %; front wheels that crowd in
        // the bend at 1.9 % leave 0.85 % of the rear ones.
        for (mode, front, ratio_log, severity) in [
            (Mode::ShortestThird, None, -0.0265, Some(Severity::Note)),
            (Mode::ShortestThird, None, 0.0085, None),
            (Mode::FrontWheels, Some(0.0187), 0.0085, None),
            (Mode::FrontWheels, Some(0.002), 0.0085, Some(Severity::Note)),
            (Mode::FrontWheels, Some(0.002), 0.012, Some(Severity::Act)),
            // Front wheels of unlike size beside rear ones that turn alike.
            (Mode::FrontWheels, Some(-0.0073), 0.0073, None),
            (
                Mode::FrontWheels,
                Some(-0.002),
                0.0115,
                Some(Severity::Note),
            ),
        ] {
            let mut scene = scene(ratio_log, 1e-4);
            scene.calibration.mode = mode;
            scene.calibration.front_ratio_log = front;
            let fired = scene.outcome(&ENTRY).unwrap();
            assert_eq!(
                fired.map(|fired| fired.severity),
                severity,
                "{mode:?} {ratio_log}"
            );
        }
    }

    #[test]
    fn without_open_straights_those_under_a_little_torque_show_it() {
        let under_command = |ratio_log: f64, hidden: f64| {
            let mut scene = scene(0.0, 1e-4);
            scene.calibration.under_command = Some(RatioEstimate {
                ratio_log,
                sd: 1e-3,
                low: ratio_log - hidden,
                high: ratio_log + hidden,
                grade_factor: 0.5,
            });
            scene.calibration.outcome = Err(Reason::Because("3 straights".to_owned()));
            scene.outcome(&ENTRY)
        };
        let fired = under_command(0.012, 0.006).unwrap().unwrap();
        assert_eq!((fired.severity, fired.grade), (Severity::Act, Grade::C));
        assert_eq!(under_command(0.001, 0.006), Ok(None));
        // Tyres 1.1 % apart could look like 0.1 %: nothing found would be no answer.
        says(
            &under_command(0.001, 0.010).unwrap_err(),
            "tyres 1.1 % apart could look alike",
        );
    }

    #[test]
    fn it_says_which_by_how_much_and_what_it_costs() {
        let mut scene = scene(-0.012, 1e-4);
        scene.figures.push(figure(FigureId::HeatMismatch, Ok(75.0)));
        let fired = scene.outcome(&ENTRY).unwrap().unwrap();
        // Derived: 1 − e^−0.012 = 1.19 % of 320 mm is 3.8 mm; 75 kJ over 50 km.
        for part in ["left rear tyre", "1.19 %", "3.8 mm", "1.50 kJ per km"] {
            says(&fired.summary, part);
        }
        assert_eq!(fired.evidence.len(), 5);
        assert!((fired.evidence[4].values[0].value + 1.193).abs() < 1e-3);
    }

    #[test]
    fn without_a_ratio_it_was_not_checked() {
        says(
            &scene(0.02, 0.002).outcome(&ENTRY).unwrap_err(),
            "± 0.20 % only",
        );
        let mut none = scene(0.02, 1e-4);
        none.calibration.outcome = Err("12 straight stretches".to_owned().into());
        says(&none.outcome(&ENTRY).unwrap_err(), "12 straight stretches");
        let lacking = scene(0.02, 1e-4).without("wheel.rear.left");
        says(&lacking.outcome(&ENTRY).unwrap_err(), "wheel.rear.left");
    }

    #[test]
    fn the_limits_are_half_a_percent_and_one() {
        // Rule: "by more than 0.5 %: note; by more than 1 %: act"; a twentieth to each side.
        for (mismatch, severity) in [
            (0.00475, None),
            (0.00525, Some(Severity::Note)),
            (0.0095, Some(Severity::Note)),
            (0.0105, Some(Severity::Act)),
        ] {
            let fired = scene(f64::ln_1p(mismatch), 1e-4).outcome(&ENTRY).unwrap();
            assert_eq!(fired.map(|fired| fired.severity), severity, "{mismatch}");
        }
    }
}
