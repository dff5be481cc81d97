//! One event that may have hurt the plates.
//!
//! Buckled plates and lifted linings come from single hits: much energy per lining area
//! in one event, or much power for a moment. Judged per net area; the map's torque
//! carries its tolerance into both.

use crate::figure_id::FigureId;
use crate::reason::Reason;
use halfshaft_driveline::Row;

use super::drive::lining_area_mm2;
use super::{About, Check, Drive, Entry, FindingId, Fired, Outcome, Setup};
use crate::evidence::{Strongest, counts, window};
use crate::lasting::Lasting;
use crate::limits::{Driving, Hit, Slip, rounded};
use crate::nouns::Severity;
use crate::sums::is_slipping;
use crate::trust::HEAT;

pub const ENTRY: Entry = Entry {
    about: &About {
        id: FindingId::HardHit,
        title: "Single hard hit",
        severities: &[Severity::LookSoon],
        rule: |limits| {
            format!(
                "one event of more than {} J/mm², or more than {} W/mm² for {} s, per net lining area",
                rounded(limits.hit.energy_j_per_mm2, 1),
                rounded(limits.hit.power_w_per_mm2, 1),
                limits.hit.power_s
            )
        },
        needs: "both rear wheel speeds, torque of the pack, faces and radii of the pack",
        could_also_be: "a torque table that overstates, both wheels spinning with the pack nearly locked; carbon \
                        linings bear 1.5 to 2 times as much",
        next_check: "Feel for judder in slow tight turns, smell the oil, check the plates for flatness at the next \
                     opening.",
        owner_sees: "One start or one bend put more heat into the clutch at once than its plates should take.",
        owner_does: "Have a workshop drive slow tight turns and feel for judder, and smell the axle oil.",
        withdrawn_if: "the true torque is lower by the margin, or the lining is rated for more",
    },
    on: HEAT,
    begin: |setup| Box::new(HardHit::new(setup)),
};

#[derive(Clone, Debug)]
struct HardHit {
    driving: Driving,
    slip: Slip,
    limits: Hit,
    area_mm2: Result<f64, Reason>,
    // Power above the limit, and the highest.
    above: Lasting<f64>,
    by_power: Strongest,
}

impl HardHit {
    fn new(setup: &Setup) -> HardHit {
        HardHit {
            driving: setup.limits.driving,
            slip: setup.limits.slip,
            limits: setup.limits.hit,
            area_mm2: lining_area_mm2(setup.vehicle),
            above: Lasting::default(),
            by_power: Strongest::default(),
        }
    }

    fn end(&mut self) {
        let Some(above) = self.above.end() else {
            return;
        };
        if above.length_s() < self.limits.power_s {
            return;
        }
        let values = [
            ("highest power", above.gathered, "W/mm²"),
            ("time above", above.length_s(), "s"),
        ];
        let strength = above.gathered / self.limits.power_w_per_mm2;
        self.by_power
            .add(strength, window(above.start, above.latest, &values));
    }
}

impl Check for HardHit {
    fn note(&mut self, row: &Row) {
        let Ok(area_mm2) = self.area_mm2 else { return };
        if !row.is_joined {
            self.end();
        }
        let is_judged =
            row.is_turning && counts(row, &self.driving) && is_slipping(row, &self.slip);
        let power = row.heat_rate_w.filter(|_| is_judged).unwrap_or(0.0) / area_mm2;
        if power <= self.limits.power_w_per_mm2 {
            self.end();
            return;
        }
        let above = self.above.hold(row.time, row.seconds, || power);
        above.gathered = above.gathered.max(power);
    }

    fn strongest(&self, see: &mut dyn FnMut(&Strongest)) {
        see(&self.by_power);
    }

    fn outcome(&self, drive: &Drive) -> Outcome {
        drive.rear_wheels()?;
        drive.basis.heat.clone()?;
        drive.figure(FigureId::HeatTotal)?;
        let area_mm2 = self.area_mm2.clone()?;
        let limits = &drive.limits.hit;
        let mut settled = self.clone();
        settled.end();
        let mut by_energy = Strongest::default();
        let mut hits = settled.by_power.clone();
        for event in drive.events {
            let energy = event.heat_kj.unwrap_or(0.0) * 1e3 / area_mm2;
            if energy > limits.energy_j_per_mm2 {
                let values = [("energy", energy, "J/mm²")];
                let shown = window(event.span.start, event.span.end, &values);
                by_energy.add(energy, shown.clone());
                hits.add(energy / limits.energy_j_per_mm2, shown);
            }
        }
        if hits.n() == 0 {
            return Ok(None);
        }
        let mut parts = Vec::new();
        if let Some(most) = by_energy.greatest() {
            let n = by_energy.n();
            parts.push(format!(
                "{n} event{} of up to {most:.1} J/mm² (limit {})",
                if n == 1 { "" } else { "s" },
                rounded(limits.energy_j_per_mm2, 1)
            ));
        }
        if let Some(most) = settled.by_power.greatest() {
            let most = most * limits.power_w_per_mm2;
            let n = settled.by_power.n();
            parts.push(format!(
                "{n} time{} more than {} W/mm² for {} s, up to {most:.1} W/mm²",
                if n == 1 { "" } else { "s" },
                rounded(limits.power_w_per_mm2, 1),
                limits.power_s
            ));
        }
        Ok(Some(Fired {
            severity: Severity::LookSoon,
            grade: drive.grade_of(FigureId::HeatTotal),
            summary: format!("The lining took {}.", parts.join(", and ")),
            evidence: hits.windows(),
        }))
    }
}

#[cfg(test)]
mod tests {
    use super::super::testing::{Scene, event, says};
    use halfshaft_model::Time;

    use super::*;
    use crate::testing::row;

    // Derived: 12·π·(61² − 44.5²)·0.82 = 53,812 mm²; 1 J/mm² is 53.8 kJ, 1.5 W/mm² 80.7 kW.
    fn outcome(scene: &Scene, watts: f64, seconds: f64, change: impl Fn(&mut Row)) -> Outcome {
        let mut check = scene.check(&ENTRY);
        for index in 0..500 {
            let time = f64::from(index) * 0.01;
            let mut row = row(time);
            row.slip_mean = 20.0;
            let is_hit = time >= 2.0 && time <= 2.0 + seconds;
            row.heat_rate_w = Some(if is_hit { watts } else { 2000.0 });
            change(&mut row);
            check.note(&row);
        }
        check.outcome(&scene.drive())
    }

    #[test]
    fn power_must_last() {
        let scene = Scene::whole();
        let fired = outcome(&scene, 85e3, 0.4, |_| ()).unwrap().unwrap();
        assert_eq!(fired.severity, Severity::LookSoon);
        says(&fired.summary, "up to 1.6 W/mm²");
        assert_eq!(outcome(&scene, 85e3, 0.2, |_| ()), Ok(None));
        assert_eq!(outcome(&scene, 80e3, 1.0, |_| ()), Ok(None));
    }

    #[test]
    fn energy_counts_by_event() {
        let mut scene = Scene::whole();
        scene.events = vec![
            event(10.0, 14.0, 53.0),
            event(30.0, 34.0, 60.0),
            event(50.0, 51.0, 1.0),
        ];
        let fired = outcome(&scene, 0.0, 0.0, |_| ()).unwrap().unwrap();
        says(&fired.summary, "1 event of up to 1.1 J/mm²");
        assert_eq!(fired.evidence[0].span.start.seconds(), 30.0);
        scene.events.remove(1);
        assert_eq!(outcome(&scene, 0.0, 0.0, |_| ()), Ok(None));
    }

    #[test]
    fn gaps_reverse_and_stability_control_do_not_count() {
        let scene = Scene::whole();
        let gap = |row: &mut Row| row.is_joined &= row.time != Time::from_seconds(2.2);
        let reverse = |row: &mut Row| row.case_speed = -20.0;
        let controlled = |row: &mut Row| row.is_controlled = true;
        assert_eq!(outcome(&scene, 85e3, 0.4, gap), Ok(None));
        assert_eq!(outcome(&scene, 85e3, 0.4, reverse), Ok(None));
        assert_eq!(outcome(&scene, 85e3, 0.4, controlled), Ok(None));
    }

    #[test]
    fn without_area_or_torque_it_was_not_checked() {
        let mut scene = Scene::whole();
        scene.vehicle.pack = None;
        says(
            &outcome(&scene, 85e3, 0.4, |_| ()).unwrap_err(),
            "faces and radii",
        );
        let mut scene = Scene::whole();
        scene.basis.heat = Err(halfshaft_driveline::Refusal::NoTorque);
        says(
            &outcome(&scene, 85e3, 0.4, |_| ()).unwrap_err(),
            "no torque",
        );
    }

    #[test]
    fn the_limits_are_a_joule_and_one_and_a_half_watts_per_mm2() {
        // Derived: over 53,812 mm² 1 J/mm² is 53.81 kJ, 1.5 W/mm² 80.72 kW; a twentieth to each
        // side.
        for (share, fires) in [(0.95, false), (1.05, true)] {
            let mut scene = Scene::whole();
            let by_power = outcome(&scene, share * 80.72e3, 1.0, |_| ()).unwrap();
            assert_eq!(by_power.is_some(), fires, "{share}");
            scene.events = vec![event(10.0, 14.0, share * 53.81)];
            let by_energy = outcome(&scene, 0.0, 0.0, |_| ()).unwrap();
            assert_eq!(by_energy.is_some(), fires, "{share}");
        }
    }
}
