//! The oil is hot and the clutch is not why.
//!
//! Compares the heat of the pack with all the heat of the axle, that of gears and bearings
//! included. Whoever does not know the power through the axle does not know the heat of the
//! gears, and may blame neither gears nor clutch: then it is not checked.

use crate::figure_id::FigureId;
use crate::reason::{DriveFact, Reason};
use halfshaft_driveline::Refusal;
use halfshaft_driveline::thermal::{Anchor, FitOutcome};
use halfshaft_model::channel::name;
use halfshaft_model::{Site, Time};

use super::{About, Check, Drive, Entry, FindingId, Fired, Outcome, Setup};
use crate::evidence::{Strongest, window};
use crate::lasting::Lasting;
use crate::limits::{Limits, SDS_OF_90, rounded};
use crate::nouns::{Grade, Severity};
use crate::trust::{HEAT, OIL};

pub const ENTRY: Entry = Entry {
    about: &About {
        id: FindingId::HotWithoutClutch,
        title: "Hot without clutch work",
        severities: &[Severity::Act],
        rule: |limits| {
            format!(
                "oil above {} °C for {} s while the pack made less than {} % of all modelled heat of the axle, by its \
                 whole band, and the loss of the gears, as fitted to the oil, is above {} % of the power through them by \
                 its whole band",
                limits.heat.hot_oil_c,
                limits.oil.above_s,
                rounded(100.0 * limits.heat.clutch_share, 0),
                rounded(100.0 * limits.heat.gear_loss_share, 0)
            )
        },
        needs: "a measured oil temperature, torque, power through the axle: engine torque and speed, or mass and \
                longitudinal acceleration",
        could_also_be: "a long climb, a trailer, hours at top speed, a hot exhaust beside the sensor",
        next_check: "Oil level, noise of the bearings, metal on the magnet of the drain plug.",
        owner_sees: "The rear axle gets hot though its clutch does little.",
        owner_does: "Have the oil level and the bearings of the axle checked. Until then keep load and speed low.",
        withdrawn_if: "the drive was a long climb or a trailer was on",
    },
    on: HEAT | OIL,
    begin: |setup| Box::new(HotWithoutClutch::new(setup)),
};

/// The unknown of the thermal model that the gears' loss is.
const GEAR_LOSS: &str = "share of axle power lost in gears";

#[derive(Clone, Debug)]
struct HotWithoutClutch {
    limits: Limits,
    reach_s: f64,
    latest: Option<(Time, f64)>,
    // The highest; none that begins or goes on with a jump.
    run: Lasting<f64>,
    hot: Strongest,
}

impl HotWithoutClutch {
    fn new(setup: &Setup) -> HotWithoutClutch {
        HotWithoutClutch {
            limits: *setup.limits,
            reach_s: setup.oil_reach_s(),
            latest: None,
            run: Lasting::default(),
            hot: Strongest::default(),
        }
    }

    fn end(&mut self) {
        let Some(run) = self.run.end() else {
            return;
        };
        if run.length_s() >= self.limits.oil.above_s {
            let values = [
                ("highest oil temperature", run.gathered, "°C"),
                ("time above", run.length_s(), "s"),
            ];
            self.hot
                .add(run.gathered, window(run.start, run.latest, &values));
        }
    }
}

impl Check for HotWithoutClutch {
    fn note_oil(&mut self, time: Time, celsius: f64) {
        let oil = &self.limits.oil;
        let is_broken = self.latest.is_some_and(|(before, was)| {
            let seconds = time.since(before);
            seconds > self.reach_s || oil.is_jump(celsius - was, seconds)
        });
        if is_broken || celsius <= self.limits.heat.hot_oil_c {
            self.end();
        }
        if celsius > self.limits.heat.hot_oil_c {
            let run = self.run.hold(time, 0.0, || celsius);
            run.gathered = run.gathered.max(celsius);
        }
        self.latest = Some((time, celsius));
    }

    fn strongest(&self, see: &mut dyn FnMut(&Strongest)) {
        see(&self.hot);
    }

    fn outcome(&self, drive: &Drive) -> Outcome {
        drive.all_of(&[name::OIL_TEMPERATURE])?;
        let thermal = drive.thermal.as_ref().map_err(Clone::clone)?;
        let share = thermal.pack_share.clone()?;
        let site = drive
            .channels
            .iter()
            .find(|channel| channel.name == name::OIL_TEMPERATURE)
            .and_then(|channel| channel.site);
        if site == Some(Site::ModelledByCar) {
            return Err(Refusal::ModelledByCar.into());
        }
        let mut settled = self.clone();
        settled.end();
        let Some(highest) = settled.hot.greatest() else {
            return Ok(None);
        };
        let limit = drive.limits.heat.clutch_share;
        if share.high >= limit {
            return Ok(None);
        }
        // Hard driving makes sound gears hot too: only what they lose beyond the usual is a
        // fault, and only a fit to a sensor tells it.
        let loss = thermal
            .unknowns
            .iter()
            .find(|unknown| unknown.name == GEAR_LOSS && unknown.outcome != FitOutcome::PriorKept)
            .ok_or(DriveFact::GearLoss)?;
        if let Anchor::Open(reason) = &thermal.anchor {
            return Err(Reason::ModelNotFixed(reason.clone()));
        }
        let usual = drive.limits.heat.gear_loss_share;
        let low = loss.value - SDS_OF_90 * loss.sd;
        if low <= usual {
            return Ok(None);
        }
        Ok(Some(Fired {
            severity: Severity::Act,
            grade: drive.grade_of(FigureId::HeatTotal).max(Grade::B),
            summary: format!(
                "The oil reached {highest:.0} °C ({}; limit {} °C) while the pack made {:.0} % of the axle's heat ({:.0} to \
                 {:.0} %, limit {:.0} %), and the gears lost {:.1} % of the power through them (at least {:.1} %, usual are 3 \
                 to {:.0} %).",
                drive.oil_site(),
                drive.limits.heat.hot_oil_c,
                100.0 * share.value,
                100.0 * share.low,
                100.0 * share.high,
                100.0 * limit,
                100.0 * loss.value,
                100.0 * low,
                100.0 * usual
            ),
            evidence: settled.hot.windows(),
        }))
    }
}

#[cfg(test)]
mod tests {
    use super::super::testing::{Scene, says, thermal};
    use super::*;
    use halfshaft_driveline::thermal::{Estimate, UnknownEstimate};

    fn outcome(scene: &Scene, celsius: impl Fn(f64) -> f64) -> Outcome {
        let mut check = scene.check(&ENTRY);
        for second in 0..600 {
            let time = f64::from(second);
            check.note_oil(Time::from_seconds(time), celsius(time));
        }
        check.outcome(&scene.drive())
    }

    fn scene(share: Result<f64, Refusal>) -> Scene {
        let mut thermal = thermal();
        thermal.unknowns.push(gears(0.09));
        thermal.pack_share = share.map(|value| Estimate {
            value,
            low: 0.7 * value,
            high: 1.3 * value,
        });
        Scene {
            thermal: Ok(thermal),
            ..Scene::whole()
        }
    }

    fn gears(value: f64) -> UnknownEstimate {
        UnknownEstimate {
            name: GEAR_LOSS,
            unit: "share",
            prior: 0.04,
            prior_sd: 0.02,
            value,
            sd: 0.01,
            outcome: FitOutcome::Fitted,
        }
    }

    /// The same with gears that lose so much.
    fn with_gears(loss: UnknownEstimate) -> Scene {
        let mut scene = scene(Ok(0.1));
        if let Ok(thermal) = &mut scene.thermal {
            thermal.unknowns.pop();
            thermal.unknowns.push(loss);
        }
        scene
    }

    #[test]
    fn sound_gears_that_work_hard_are_no_fault() {
        assert_eq!(outcome(&with_gears(gears(0.04)), hill(140.0)), Ok(None));
        // 0.06 less 1.645 times 0.01 is below the limit of 0.05.
        assert_eq!(outcome(&with_gears(gears(0.06)), hill(140.0)), Ok(None));
        let held = UnknownEstimate {
            outcome: FitOutcome::PriorKept,
            ..gears(0.09)
        };
        let why = outcome(&with_gears(held), hill(140.0)).unwrap_err();
        says(&why, "the loss of the gears is not known");
    }

    fn hill(peak: f64) -> impl Fn(f64) -> f64 {
        move |time| peak - 0.05 * (time - 300.0).abs()
    }

    #[test]
    fn hot_oil_and_an_idle_pack_are_to_act_on() {
        let fired = outcome(&scene(Ok(0.1)), hill(118.0)).unwrap().unwrap();
        assert_eq!(fired.severity, Severity::Act);
        says(&fired.summary, "118 °C");
        says(
            &fired.summary,
            "10 % of the axle's heat (7 to 13 %, limit 20 %",
        );
        says(&fired.summary, "the gears lost 9.0 %");
    }

    #[test]
    fn a_working_pack_a_band_over_the_limit_or_cool_oil_are_none() {
        assert_eq!(outcome(&scene(Ok(0.6)), hill(140.0)), Ok(None));
        assert_eq!(outcome(&scene(Ok(0.17)), hill(140.0)), Ok(None));
        assert_eq!(outcome(&scene(Ok(0.1)), hill(109.0)), Ok(None));
        // A sensor that jumps there and back within ten seconds.
        let spike = |time: f64| {
            if (300.0..305.0).contains(&time) {
                150.0
            } else {
                90.0
            }
        };
        assert_eq!(outcome(&scene(Ok(0.1)), spike), Ok(None));
    }

    #[test]
    fn nobody_is_blamed_while_the_axle_power_is_unknown() {
        let unknown = scene(Err(Refusal::NoAxlePower));
        says(
            &outcome(&unknown, hill(140.0)).unwrap_err(),
            "axle power unknown",
        );
        let without = scene(Ok(0.1)).without("oil.temperature");
        says(
            &outcome(&without, hill(140.0)).unwrap_err(),
            "oil.temperature",
        );
        let mut modelled = scene(Ok(0.1));
        modelled.channels[7].site = Some(Site::ModelledByCar);
        says(&outcome(&modelled, hill(140.0)).unwrap_err(), "modelled");
    }
}
