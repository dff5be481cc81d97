//! More heat per degree turned than the stated preload makes.
//!
//! With free-rolling wheels a pack of preload T makes k·n·T·W/r joules per radian of turning,
//! whatever speed and line (derived: slip is k·W·ψ̇/r). The figure `heat_per_degree` is held
//! against it. A torque that comes from the command alone, or from the preload itself, cannot
//! show it.

use crate::figure_id::FigureId;
use crate::reason::{MapFact, Reason};
use halfshaft_driveline::align::follows_command;
use halfshaft_model::TorqueSource;

use super::{About, Check, Drive, Entry, FindingId, Fired, Outcome, Setup};
use crate::nouns::Severity;
use crate::trust::{BENDS, HEAT};

pub const ENTRY: Entry = Entry {
    about: &About {
        id: FindingId::HeavyPreload,
        title: "Heavy preload in bends",
        severities: &[Severity::Note],
        rule: |limits| {
            format!(
                "in bends with the clutch open the heat per degree turned, low end of its band, is more than {} times that \
                 of the stated preload and {} N·m beside",
                limits.drag.preload_ratio, limits.drag.preload_off_nm
            )
        },
        needs: "a torque that does not follow from the command, a stated preload, both rear wheel speeds, yaw rate or front \
                wheel speeds, rear track, rolling radius",
        could_also_be: "cold oil that drags, a preload stated too low, a torque signal that reads too high near zero",
        next_check: "Break-away torque with one wheel lifted; shims and springs of the preload.",
        owner_sees: "The clutch rubs more in bends than it should when it is not switched on.",
        owner_does: "Have the preload of the clutch measured.",
        withdrawn_if: "the break-away torque is as stated",
    },
    on: HEAT | BENDS,
    begin: |setup| Box::new(HeavyPreload::new(setup)),
};

#[derive(Clone, Debug)]
struct HeavyPreload {
    // Why the torque tells nothing of the preload.
    refusal: Option<Reason>,
}

impl HeavyPreload {
    fn new(setup: &Setup) -> HeavyPreload {
        let is_measured = |source: &TorqueSource| {
            let mut channels = setup.channels.iter();
            channels
                .find(|channel| channel.name == source.channel())
                .is_some_and(|channel| !follows_command(channel))
        };
        let refusal = if setup.basis.is_preload_only {
            Some(MapFact::TorqueBesidePreload.into())
        } else if !setup.vehicle.torque_sources.iter().any(is_measured) {
            Some(MapFact::MeasuredTorque.into())
        } else {
            None
        };
        HeavyPreload { refusal }
    }
}

impl Check for HeavyPreload {
    fn outcome(&self, drive: &Drive) -> Outcome {
        drive.bends()?;
        let (per_difference, _) = drive.basis.slip.clone()?;
        drive.basis.heat.clone()?;
        drive.steady_wheels()?;
        if let Some(refusal) = &self.refusal {
            return Err(refusal.clone());
        }
        if drive.basis.preload_nm <= 0.0 {
            return Err(MapFact::Preload.into());
        }
        let (Some(track_m), Some(radius_m)) = (drive.basis.track_rear_m, drive.basis.radius_m)
        else {
            return Err(MapFact::TrackAndRadius.into());
        };
        let measured = drive.figure(FigureId::HeatPerDegree)?;
        let expected = (per_difference * drive.basis.n_packs * drive.basis.preload_nm * track_m
            / radius_m)
            .to_radians();
        let limits = &drive.limits.drag;
        let limit = limits.preload_ratio + limits.preload_off_nm / drive.basis.preload_nm;
        if measured.low <= limit * expected {
            return Ok(None);
        }
        let values = [
            ("heat per degree", measured.value, "J/deg"),
            ("of the stated preload", expected, "J/deg"),
            ("stated preload", drive.basis.preload_nm, "N·m"),
        ];
        let span = drive.span();
        Ok(Some(Fired {
            severity: Severity::Note,
            grade: drive.grade_of(FigureId::HeatPerDegree),
            summary: format!(
                "In bends with the clutch open the pack made {:.2} J per degree turned ({:.2} to {:.2}); the stated preload \
                 of {:.0} N·m makes {expected:.2} (limit {limit:.1} times that).",
                measured.value, measured.low, measured.high, drive.basis.preload_nm
            ),
            evidence: vec![crate::evidence::window(span.start, span.end, &values)],
        }))
    }
}

#[cfg(test)]
mod tests {
    use super::super::testing::{Scene, figure, says};
    use super::*;

    fn scene(j_per_deg: Result<f64, &str>) -> Scene {
        let mut scene = Scene::whole();
        scene
            .figures
            .push(figure(FigureId::HeatPerDegree, j_per_deg));
        scene
    }

    #[test]
    fn more_than_twice_the_preload_s_heat_is_a_note() {
        // Derived: ½·80·1.55/0.32·π/180 = 3.38 J/deg; the band is ±16 %.
        let fired = scene(Ok(10.0)).outcome(&ENTRY).unwrap().unwrap();
        assert_eq!(fired.severity, Severity::Note);
        says(&fired.summary, "of 80 N·m makes 3.38");
        assert_eq!(scene(Ok(3.4)).outcome(&ENTRY), Ok(None));
        // Derived: 14 N·m make 0.59; three times that is within what the torque is off by near zero.
        let mut small = scene(Ok(1.8));
        small.basis.preload_nm = 14.0;
        assert_eq!(small.outcome(&ENTRY), Ok(None));
        // The band reaches below the limit.
        assert_eq!(scene(Ok(7.0)).outcome(&ENTRY), Ok(None));
    }

    #[test]
    fn a_torque_that_knows_nothing_of_the_preload_cannot_show_it() {
        let mut by_command = scene(Ok(9.0));
        for channel in &mut by_command.channels {
            channel.follows_command = true;
        }
        says(
            &by_command.outcome(&ENTRY).unwrap_err(),
            "follows from the command",
        );
        let mut preload_only = scene(Ok(9.0));
        preload_only.basis.is_preload_only = true;
        says(&preload_only.outcome(&ENTRY).unwrap_err(), "preload itself");
        says(
            &scene(Err("12° turned")).outcome(&ENTRY).unwrap_err(),
            "12° turned",
        );
    }
}
