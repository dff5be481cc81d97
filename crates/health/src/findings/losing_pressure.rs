//! A rear tyre loses its air while driving.
//!
//! A softer tyre rolls on a smaller radius and turns faster: the ratio of the rear wheels
//! steps or slides away. It cannot see both tyres losing air alike, nor less than what preload hides
//! by tying the axle: that comes and goes with the oil's warmth and the bends.

use crate::reason::DriveFact;
use halfshaft_driveline::RatioPoint;
use halfshaft_model::Time;

use super::{About, Drive, Entry, FindingId, Fired, Judge, Outcome};
use crate::evidence::window;
use crate::limits::{SDS_OF_90, rounded};
use crate::nouns::{EvidenceWindow, Grade, Severity};
use crate::trust::TYRES;

/// Windows shown on each side of a step.
const SHOWN: usize = 20;

pub const ENTRY: Entry = Entry {
    about: &About {
        id: FindingId::LosingPressure,
        title: "Losing pressure in this drive",
        severities: &[Severity::Stop],
        rule: |limits| {
            format!(
                "the rear tyres' ratio steps by more than {} % (and than preload can hide) within 2 km and stays \
                 there, or from somewhere on slides away by as much in all, by more than {} % per km over the whole \
                 90 % interval of its slope",
                rounded(100.0 * limits.tyres.pressure_step, 1),
                rounded(100.0 * limits.tyres.pressure_slope_per_km, 2)
            )
        },
        needs: "both rear wheel speeds, rolling radius, straight road at low command before and after",
        could_also_be: "tyres that warm up (less than 0.2 %), a wheel changed or air let in at a stop, the load \
                        moved to one side",
        next_check: "Stop safely where it is allowed, look at both rear tyres and measure their pressure.",
        owner_sees: "A rear tyre seems to be losing air.",
        owner_does: "Stop where it is safe and allowed, and check both rear tyres.",
        withdrawn_if: "both pressures are as they should be, or the tyre was changed at a stop at that place",
    },
    on: TYRES,
    begin: |_| Box::new(outcome as Judge),
};

fn outcome(drive: &Drive) -> Outcome {
    drive.rear_wheels()?;
    let calibration = drive.calibration;
    let limits = &drive.limits.tyres;
    if calibration.are_signals_identical {
        return Err(DriveFact::TwoSignals.into());
    }
    let grade = calibration
        .outcome
        .as_ref()
        .map_or(Grade::C, |ratio| Grade::of(ratio.grade_factor));
    // A smaller change can be the preload's.
    let least = limits.pressure_step.max(calibration.hidden_by_preload);
    let softer = |change: f64| if change > 0.0 { "right" } else { "left" };
    if let Some(step) = calibration.step.filter(|step| step.size().abs() > least) {
        let size = step.size();
        let summary = format!(
            "At {:.1} km the {} rear tyre became faster by {:.2} % and stayed so (limit {} %).",
            step.km,
            softer(size),
            100.0 * size.abs(),
            rounded(100.0 * least, 1)
        );
        return Ok(Some(Fired {
            severity: Severity::Stop,
            grade,
            summary,
            evidence: around(&calibration.points, step.time, step.before, step.after),
        }));
    }
    if let Some(slide) = calibration.slide
        && let (slope, sd) = slide.per_km
        && slope.abs() - SDS_OF_90 * sd > limits.pressure_slope_per_km
        && slide.change.abs() > least
    {
        let summary = format!(
            "From {:.1} km on the {} rear tyre grows faster by {:.3} ± {:.3} % per km (limit {} %).",
            slide.km,
            softer(slope),
            100.0 * slope.abs(),
            100.0 * SDS_OF_90 * sd,
            rounded(100.0 * limits.pressure_slope_per_km, 2)
        );
        let values = [("change of right over left per km", 100.0 * slope, "%")];
        let last = calibration.points.iter().rfind(|point| point.is_accepted);
        let evidence = last.map(|last| window(slide.time, last.time, &values));
        return Ok(Some(Fired {
            severity: Severity::Stop,
            grade,
            summary,
            evidence: evidence.into_iter().collect(),
        }));
    }
    calibration
        .outcome
        .as_ref()
        .map(|_| None)
        .map_err(Clone::clone)
}

/// The straights before and after the step.
fn around(points: &[RatioPoint], at: Time, before: f64, after: f64) -> Vec<EvidenceWindow> {
    let accepted: Vec<Time> = points
        .iter()
        .filter(|point| point.is_accepted)
        .map(|point| point.time)
        .collect();
    let middle = accepted.partition_point(|&time| time < at);
    let start = accepted[..middle]
        .get(middle.saturating_sub(SHOWN))
        .copied()
        .unwrap_or(Time(0));
    let end = accepted[middle..]
        .get(SHOWN)
        .or(accepted.last())
        .copied()
        .unwrap_or(at)
        .max(at);
    let shown = |ratio_log: f64| [("right over left", 100.0 * ratio_log.exp_m1(), "%")];
    vec![
        window(start, at, &shown(before)),
        window(at, end, &shown(after)),
    ]
}

#[cfg(test)]
mod tests {
    use super::super::testing::{Scene, calibration, says};
    use super::*;
    use halfshaft_driveline::{RatioEstimate, RatioSlide, RatioStep};

    fn scene() -> Scene {
        let mut scene = Scene::whole();
        scene.calibration = calibration(Ok(RatioEstimate {
            ratio_log: 0.001,
            sd: 1e-4,
            low: 0.0,
            high: 0.002,
            grade_factor: 0.8,
        }));
        scene
    }

    fn step(size: f64) -> RatioStep {
        RatioStep {
            km: 12.3,
            time: Time::from_seconds(600.0),
            before: 0.001,
            after: 0.001 + size,
        }
    }

    #[test]
    fn a_step_means_stop() {
        let mut scene = scene();
        scene.calibration.step = Some(step(-0.005));
        let fired = scene.outcome(&ENTRY).unwrap().unwrap();
        assert_eq!(
            (fired.severity, fired.grade, fired.evidence.len()),
            (Severity::Stop, Grade::B, 2)
        );
        for part in ["12.3 km", "left rear", "0.50 %"] {
            says(&fired.summary, part);
        }
        scene.calibration.step = Some(step(0.0029));
        assert_eq!(scene.outcome(&ENTRY), Ok(None));
    }

    #[test]
    fn a_slope_counts_when_it_is_certain() {
        let mut scene = scene();
        for (slope, sd, road_km, fires) in [
            (0.0008, 1e-4, 10.0, true),
            (-0.0008, 1e-4, 10.0, true),
            (0.0008, 2e-4, 10.0, false),
            (0.0004, 1e-5, 10.0, false),
            // It has not come to anything yet.
            (0.0008, 1e-4, 3.0, false),
        ] {
            scene.calibration.slide = Some(RatioSlide {
                km: 4.0,
                time: Time::from_seconds(200.0),
                per_km: (slope, sd),
                change: slope * road_km,
            });
            let fired = scene.outcome(&ENTRY).unwrap();
            assert_eq!(fired.is_some(), fires, "{slope} {sd}");
        }
    }

    #[test]
    fn what_preload_can_hide_is_no_loss() {
        let mut scene = scene();
        scene.calibration.hidden_by_preload = 0.006;
        for (size, fires) in [(0.005, false), (0.007, true)] {
            scene.calibration.step = Some(step(size));
            assert_eq!(scene.outcome(&ENTRY).unwrap().is_some(), fires, "{size}");
        }
    }

    #[test]
    fn a_step_is_told_even_where_the_ratio_is_not() {
        let mut scene = scene();
        scene.calibration.outcome = Err("30 straight stretches".to_owned().into());
        says(&scene.outcome(&ENTRY).unwrap_err(), "30 straight");
        scene.calibration.step = Some(step(0.02));
        assert!(scene.outcome(&ENTRY).unwrap().is_some());
        let lacking = scene.without("wheel.rear.right");
        says(&lacking.outcome(&ENTRY).unwrap_err(), "wheel.rear.right");
    }
}
