//! How the car was used, from idle to competition, in points anyone can recompute.
//!
//! In: rows and oil temperatures while the drive goes by; figures and events when asked.
//! Out: five needles, and the class with its sentence, or why there is none. It says how
//! the car was used and never whether anything is wrong with it.
//!
//! ```text
//! figures, events, oil -> meter (levels, class, edges) -> words (sentence, counterfactual)
//! rows -> stretches (class of each ten kilometres)
//! ```

mod meter;
mod oil;
mod stretches;
mod words;

use halfshaft_driveline::Row;
use halfshaft_model::Time;

use crate::band::absolute;
use crate::figure_id::FigureId;
use crate::findings::drive::lining_area_mm2;
use crate::findings::{Drive, Setup};
use crate::nouns::{Estimate, Event, EventKind, Meter, UseClass};
use crate::part::{Came, Part, Passage};
use crate::partial::{PartialJudgement, PartialLimits};
use crate::reason::{Counted, DriveFact, Measured, Reason};
use crate::trust::{Gate, Kept, OIL};
use meter::NEEDLES;
use oil::OilTime;
use stretches::{Known, Stretches};
use words::ClassGrounds;

pub use meter::Needle;

/// Needles and class of a drive.
#[derive(Clone, Debug, PartialEq)]
pub struct Use {
    /// The five needles.
    pub meters: Vec<Meter>,
    /// The class, or why there is none.
    pub class: Result<UseClass, Reason>,
}

/// Watches how the car is used.
#[derive(Clone, Debug)]
pub struct UseWatch {
    partial: PartialLimits,
    oil: Kept<OilTime, OIL>,
    stretches: Stretches,
}

impl Part for UseWatch {
    fn block(&mut self, came: &Came) {
        for reading in came.oil_believed() {
            self.note_oil(reading.time, reading.celsius);
        }
    }

    fn rows(&mut self, passage: &Passage) {
        for (row, judgement) in passage.rows.iter().zip(passage.judgements) {
            self.add(row, judgement);
        }
    }
}

impl UseWatch {
    /// At the start of a drive.
    pub fn new(setup: &Setup) -> UseWatch {
        let reach_s = setup.oil_reach_s();
        UseWatch {
            partial: setup.partial,
            oil: Kept::new(OilTime::new(reach_s)),
            stretches: Stretches::new(reach_s, setup.limits),
        }
    }

    /// Takes a row.
    pub fn add(&mut self, row: &Row, judgement: &PartialJudgement) {
        self.stretches.add(row, &self.partial, judgement);
    }

    /// Takes a sample of `oil.temperature`, which may run ahead of the rows.
    pub fn note_oil(&mut self, time: Time, celsius: f64) {
        self.oil.gather().add(time, celsius);
        self.stretches.note_oil(time, celsius);
    }

    /// The oil temperature passed in 1 % of the time, °C.
    pub fn oil_p99_c(&self, gate: &Gate) -> Result<f64, Reason> {
        let found = self.oil.ask(gate)?.p99_c();
        found.ok_or(DriveFact::OilValues.into())
    }

    /// Needles and class so far.
    pub fn outcome(&self, drive: &Drive) -> Use {
        let meters = self.meters(drive);
        let class = self.class(drive, &meters);
        Use { meters, class }
    }

    fn meters(&self, drive: &Drive) -> Vec<Meter> {
        let distance = drive.figure(FigureId::Distance).and_then(|distance| {
            if distance.value > 0.0 {
                Ok(distance)
            } else {
                Err(DriveFact::Motion.into())
            }
        });
        let per_100_km = |id| {
            let distance = distance.clone()?;
            Ok(per(drive.figure(id)?, distance, 100.0))
        };
        let oil = self
            .oil_p99_c(drive.trust)
            .map(|celsius| absolute(celsius, drive.limits.trust.oil_sensor_sd_k));
        let readings = [
            per_100_km(FigureId::PartialHeatMaking),
            drive.figure(FigureId::HeatPerKm),
            per_100_km(FigureId::Engagements),
            oil,
            power(drive),
        ];
        NEEDLES
            .iter()
            .zip(readings)
            .map(|(needle, reading)| Meter {
                name: needle.name,
                title: needle.title,
                unit: needle.unit,
                edges: (needle.edges)(&drive.limits.usage),
                reading,
            })
            .collect()
    }

    fn class(&self, drive: &Drive, meters: &[Meter]) -> Result<UseClass, Reason> {
        let usage = &drive.limits.usage;
        let km = drive.figure(FigureId::Distance)?.value;
        if km < usage.least_km {
            return Err(Reason::TooLittle {
                what: Measured::ClassDistance,
                found: km,
                needed: usage.least_km,
            });
        }
        let n_known = meters.iter().filter(|meter| meter.reading.is_ok()).count();
        let level = meter::class(&meter::readings(meters), usage).ok_or(Reason::TooFew {
            what: Counted::Needles,
            found: n_known,
            needed: usage.lower_bound_needles as usize,
        })?;
        let is_at_least = n_known < usage.least_needles as usize;
        let alternative = meter::alternative(meters, level, usage);
        let area_mm2 = lining_area_mm2(drive.vehicle)
            .ok()
            .filter(|_| meters[4].reading.is_ok());
        let grounds = ClassGrounds {
            meters,
            km,
            partial_s: drive.figure(FigureId::PartialHeatMaking).ok(),
            heat_kj: drive.figure(FigureId::HeatTotal).ok(),
            events: drive.events,
            area_mm2,
            usage,
        };
        let known = Known {
            usage,
            events: meters[2].reading.is_ok(),
            area_mm2,
        };
        Ok(UseClass {
            level,
            alternative,
            is_at_least,
            sentence: words::sentence(&grounds, level, alternative, is_at_least),
            counterfactual: words::counterfactual(&grounds, level),
            stretches: self.stretches.classes(drive.trust, drive.events, &known),
        })
    }
}

/// A figure over a distance, times a factor. What a gap hides of both makes the ratio no
/// lower bound, but its band stays as wide.
fn per(of: Estimate, distance: Estimate, factor: f64) -> Estimate {
    let value = of.value / distance.value;
    let below = (of.value - of.low) / distance.value;
    let above = (of.high - of.value) / distance.value;
    let by_distance = value * (distance.value - distance.low) / distance.value;
    Estimate {
        value: value * factor,
        low: (value - below.hypot(by_distance)).max(0.0) * factor,
        high: (value + above.hypot(by_distance)) * factor,
        is_at_least: of.is_at_least,
    }
}

/// Peak power per lining area that one event in a hundred passes.
fn power(drive: &Drive) -> Result<Estimate, Reason> {
    let area_mm2 = lining_area_mm2(drive.vehicle)?;
    let heat = drive.figure(FigureId::HeatPeak)?;
    let value = power_p99(drive.events, area_mm2).ok_or(DriveFact::EventHeat)?;
    let share = |end: f64| {
        if heat.value > 0.0 {
            end / heat.value
        } else {
            1.0
        }
    };
    Ok(Estimate {
        value,
        low: value * share(heat.low),
        high: value * share(heat.high),
        is_at_least: heat.is_at_least,
    })
}

/// The p99 of the peaks of the events, W/mm²; of fewer than a hundred events the highest.
fn power_p99(events: &[Event], area_mm2: f64) -> Option<f64> {
    let mut peaks: Vec<f64> = events
        .iter()
        .filter(|event| event.kind == EventKind::Command || event.heat_kj.is_some())
        .filter_map(|event| event.heat_peak_kw)
        .collect();
    peaks.sort_by(f64::total_cmp);
    let rank = (0.99 * peaks.len() as f64).ceil() as usize;
    Some(peaks.get(rank.checked_sub(1)?)? * 1e3 / area_mm2)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::findings::testing::{Scene, event, figure, says};

    /// 214 km, 560 s, heat and events by hand; oil at 95 °C.
    fn scene(n_hot: usize) -> Scene {
        let mut scene = Scene::whole();
        scene.events = (0..300)
            .map(|index| {
                let start_s = 20.0 * index as f64;
                match index < n_hot {
                    true => event(start_s, start_s + 10.0, 250.0),
                    false => event(start_s, start_s + 1.0, 1.0),
                }
            })
            .collect();
        let heat: f64 = scene.events.iter().filter_map(|event| event.heat_kj).sum();
        let partial_s: f64 = scene
            .events
            .iter()
            .filter_map(|event| event.partial_heat_making_s)
            .sum();
        for event in &mut scene.events {
            event.heat_peak_kw = Some(5.0);
        }
        scene.figures = vec![
            figure(FigureId::Distance, Ok(214.0)),
            figure(FigureId::PartialHeatMaking, Ok(partial_s)),
            figure(FigureId::HeatTotal, Ok(heat)),
            figure(FigureId::HeatPeak, Ok(5.0)),
            figure(FigureId::HeatPerKm, Ok(heat / 214.0)),
            figure(FigureId::Engagements, Ok(300.0)),
        ];
        scene
    }

    fn outcome(scene: &Scene) -> Use {
        let mut watch = UseWatch::new(&scene.setup());
        for second in 0..1000 {
            watch.note_oil(Time::from_seconds(f64::from(second)), 95.0);
        }
        watch.outcome(&scene.drive())
    }

    #[test]
    fn needles_by_hand() {
        let got = outcome(&scene(0));
        let values: Vec<f64> = got
            .meters
            .iter()
            .map(|meter| meter.reading.as_ref().unwrap().value)
            .collect();
        // Derived: 300 s, 300 kJ and 300 events in 214 km; 5 kW over 53,812 mm².
        for (got, wanted) in values.iter().zip([140.2, 1.402, 140.2, 95.0, 0.0929]) {
            assert!((got - wanted).abs() < 6e-4 * wanted, "{values:?}");
        }
        // Levels 3 2 3 2 1: the second highest.
        let class = got.class.unwrap();
        assert_eq!((class.level, class.is_at_least), (3, false));
        says(
            &class.sentence,
            "worked against slip for 5 min (140 s per 100 km)",
        );
        says(&class.sentence, "gentle cars do under 43 s");
        says(&class.sentence, "called brisk");
        // The interval of the oil is named once, by `oil_life`.
        assert!(!class.sentence.contains("oil"), "{}", class.sentence);
    }

    #[test]
    fn a_few_hot_events_decide_and_it_says_so() {
        // Derived: 8 of 250 kJ and 292 of 1 kJ: 2292 kJ in 214 km, 10.7 kJ/km, level 4; the
        // partial time of 372 s, 174 s per 100 km, level 3. 131 hot seconds more make it 4.
        let mut hot = scene(8);
        hot.figures[1] = figure(FigureId::PartialHeatMaking, Ok(390.0));
        let class = outcome(&hot).class.unwrap();
        assert_eq!(class.level, 4);
        // Without one of them partial time falls to 380 s, 177.6 s per 100 km: level 3.
        assert_eq!(
            class.counterfactual.as_deref(),
            Some("Without the hottest event it would be brisk.")
        );
        says(&class.sentence, "came in 1 min 10 s of 7 events out of 300");
        // Partial time far above its edge, heat just: one event of 250 kJ is 1.17 kJ/km.
        hot.figures[1] = figure(FigureId::PartialHeatMaking, Ok(800.0));
        hot.figures[4] = figure(FigureId::HeatPerKm, Ok(8.5));
        let without = outcome(&hot).class.unwrap().counterfactual;
        assert_eq!(
            without.as_deref(),
            Some("Without the hottest event it would be brisk.")
        );
        // Both far above: ten events are not enough to change the class.
        hot.figures[4] = figure(FigureId::HeatPerKm, Ok(24.0));
        assert_eq!(outcome(&hot).class.unwrap().counterfactual, None);
    }

    #[test]
    fn the_edge_names_both_classes() {
        let mut near = scene(0);
        near.figures[1] = figure(FigureId::PartialHeatMaking, Ok(130.0));
        // Levels 3 2 3 2 1 with 60.7 s per 100 km and ± 10 %.
        let class = outcome(&near).class.unwrap();
        assert_eq!((class.level, class.alternative), (3, Some(2)));
        says(&class.sentence, "called brisk, close to normal");
    }

    #[test]
    fn short_drives_and_missing_needles() {
        let mut short = scene(0);
        short.figures[0] = figure(FigureId::Distance, Ok(9.4));
        assert_eq!(
            outcome(&short).class,
            Err(Reason::TooLittle {
                what: Measured::ClassDistance,
                found: 9.4,
                needed: 10.0,
            })
        );
        let mut two = scene(0).without("oil.temperature");
        two.vehicle.pack = None;
        two.figures[4] = figure(FigureId::HeatPerKm, Err("no torque"));
        let got = outcome(&two);
        says(
            got.meters[3].reading.as_ref().unwrap_err(),
            "oil.temperature",
        );
        says(
            got.meters[4].reading.as_ref().unwrap_err(),
            "faces and radii",
        );
        let class = got.class.unwrap();
        assert_eq!((class.level, class.is_at_least), (3, true));
        says(&class.sentence, "at least brisk");
        two.figures[5] = figure(FigureId::Engagements, Err("no value of clutch.command"));
        says(
            &outcome(&two).class.unwrap_err(),
            "1 of the five gauges could be read",
        );
    }
}
