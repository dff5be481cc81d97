//! The oil is too hot, as measured, or the pack, as estimated.
//!
//! Fires on the temperature as logged, with where it is measured; it does not say what
//! heats the oil, which may be gears as well as the pack. The pack has no sensor: its
//! estimate counts where a sensor in the axle holds it, and where none does only with its
//! whole band, and is then called a model.

use crate::figure_id::FigureId;
use crate::reason::Reason;
use halfshaft_driveline::thermal::Anchor;
use halfshaft_model::Time;
use halfshaft_model::channel::name;

use super::{About, Check, Drive, Entry, FindingId, Fired, MOST_EVIDENCE, Outcome, Setup};
use crate::evidence::{Strongest, window};
use crate::lasting::Lasting;
use crate::limits::Oil;
use crate::nouns::{Grade, Severity};
use crate::trust::{AIR, OIL};

pub const ENTRY: Entry = Entry {
    about: &About {
        id: FindingId::OilTooHot,
        title: "Oil over its limit",
        severities: &[Severity::LookSoon, Severity::Act, Severity::Stop],
        rule: |limits| {
            let oil = &limits.oil;
            format!(
                "oil temperature above the map's warning ({} °C where it states none) for {} s: act; above the map's \
                 limit ({} °C): stop; the pack, estimated, above {} °C: act; to look soon at most where the numbers could be °F: \
                 no housing temperature, no start of this drive or an earlier one within {} K of the air",
                oil.warn_c, oil.above_s, oil.limit_c, limits.heat.pack_limit_c, oil.cold_start_k
            )
        },
        needs: "oil temperature; for the pack torque as well",
        could_also_be: "a sensor beside the exhaust or in the housing, a temperature the car only models, hot gears \
                        or bearings, a long climb or a trailer",
        next_check: "Let it cool before anything else. Then oil level and smell, and the colour of the plates at the \
                     next opening.",
        owner_sees: "The axle oil got hotter than it should.",
        owner_does: "Let it cool first: oil and housing burn skin. Then have the oil and its level checked.",
        withdrawn_if: "a second thermometer at the drain plug reads below the limit",
    },
    on: OIL | AIR,
    begin: |setup| Box::new(OilTooHot::new(setup)),
};

/// Time above one threshold.
#[derive(Clone, Debug)]
struct Above {
    celsius: f64,
    // How long it must last, s.
    least_s: f64,
    // Highest, and whether a jump is in it.
    run: Lasting<(f64, bool)>,
    stretches: Strongest,
    doubtful: Option<(Time, f64)>,
}

impl Above {
    fn new(celsius: f64, least_s: f64) -> Above {
        Above {
            celsius,
            least_s,
            run: Lasting::default(),
            stretches: Strongest::default(),
            doubtful: None,
        }
    }

    fn note(&mut self, time: Time, celsius: f64, is_jump: bool) {
        if celsius <= self.celsius {
            self.end(time);
            return;
        }
        let run = self.run.hold(time, 0.0, || (celsius, false));
        let (highest, is_doubtful) = &mut run.gathered;
        *highest = highest.max(celsius);
        *is_doubtful |= is_jump;
    }

    /// The stretch going on ends.
    fn end(&mut self, at: Time) {
        let Some(run) = self.run.end() else {
            return;
        };
        let (start, (highest, is_doubtful)) = (run.start, run.gathered);
        let seconds = at.since(start);
        if seconds < self.least_s {
            return;
        }
        if is_doubtful {
            self.doubtful.get_or_insert((start, highest));
            return;
        }
        let values = [
            ("highest oil temperature", highest, "°C"),
            ("time above", seconds, "s"),
        ];
        self.stretches.add(highest, window(start, at, &values));
    }

    /// With the stretch going on.
    fn settled(&self) -> Above {
        let mut settled = self.clone();
        if let Some(run) = self.run.going_on() {
            settled.end(run.latest);
        }
        settled
    }
}

#[derive(Clone, Debug)]
struct OilTooHot {
    limits: Oil,
    warn: Above,
    limit: Above,
    reach_s: f64,
    latest: Option<(Time, f64)>,
    // The first readings, and the highest of the oil, °C.
    first_c: Option<f64>,
    air_c: Option<f64>,
    highest_c: f64,
}

impl OilTooHot {
    fn new(setup: &Setup) -> OilTooHot {
        let limits = setup.limits.oil;
        let above =
            |stated: Option<f64>, usual| Above::new(stated.unwrap_or(usual), limits.above_s);
        OilTooHot {
            limits,
            warn: above(setup.vehicle.oil_warn_c, limits.warn_c),
            limit: above(setup.vehicle.oil_limit_c, limits.limit_c),
            reach_s: setup.oil_reach_s(),
            latest: None,
            first_c: None,
            air_c: None,
            highest_c: f64::NEG_INFINITY,
        }
    }

    /// Whether the numbers of the oil could as well be °F: no housing and no cold start shows their unit, and in
    /// °F the axle was no colder at the start than the air.
    fn could_be_fahrenheit(&self, drive: &Drive) -> bool {
        let Some(first_c) = self.first_c else {
            return false;
        };
        let near_k = self.limits.cold_start_k;
        let is_shown = drive.was_seen(name::HOUSING_TEMPERATURE)
            || self
                .air_c
                .is_some_and(|air_c| (first_c - air_c).abs() <= near_k)
            || drive.baseline.has_started_cold(near_k);
        let coldest_c = self
            .air_c
            .map_or(self.limits.coldest_start_c, |air_c| air_c - near_k);
        !is_shown && from_fahrenheit(first_c) >= coldest_c
    }
}

impl Check for OilTooHot {
    fn note_oil(&mut self, time: Time, celsius: f64) {
        let mut is_jump = false;
        if let Some((before, was)) = self.latest {
            let seconds = time.since(before);
            if seconds > self.reach_s {
                self.warn.end(before);
                self.limit.end(before);
            } else {
                is_jump = self.limits.is_jump(celsius - was, seconds);
            }
        }
        self.warn.note(time, celsius, is_jump);
        self.limit.note(time, celsius, is_jump);
        self.latest = Some((time, celsius));
        self.first_c.get_or_insert(celsius);
        self.highest_c = self.highest_c.max(celsius);
    }

    fn note_air(&mut self, _time: Time, celsius: f64) {
        self.air_c.get_or_insert(celsius);
    }

    fn strongest(&self, see: &mut dyn FnMut(&Strongest)) {
        see(&self.limit.stretches);
    }

    fn outcome(&self, drive: &Drive) -> Outcome {
        let fired = match (self.by_oil(drive), hot_pack(drive)) {
            (Ok(Some(oil)), Some(pack)) => Some(both(oil, pack)),
            (Ok(None) | Err(_), Some(pack)) => Some(pack),
            (oil, None) => oil?,
        };
        Ok(fired.map(|fired| match self.could_be_fahrenheit(drive) {
            true => held_back(fired, self.highest_c),
            false => fired,
        }))
    }
}

/// Nothing is stopped, and nobody is sent to the workshop, for numbers that may be °F.
fn held_back(fired: Fired, highest_c: f64) -> Fired {
    Fired {
        severity: Severity::LookSoon,
        summary: format!(
            "{} Nothing in this log shows whether the oil is in °C, as the map says, or in °F; {highest_c:.0} °F would be \
             {:.0} °C. Check the unit first.",
            fired.summary,
            from_fahrenheit(highest_c)
        ),
        ..fired
    }
}

fn from_fahrenheit(fahrenheit: f64) -> f64 {
    (fahrenheit - 32.0) / 1.8
}

impl OilTooHot {
    /// What the logged oil says.
    fn by_oil(&self, drive: &Drive) -> Outcome {
        drive.oil()?;
        let (warn, limit) = (self.warn.settled(), self.limit.settled());
        let (severity, above) = match (limit.stretches.n(), warn.stretches.n()) {
            (0, 0) => {
                return match warn.doubtful {
                    None => Ok(None),
                    Some((at, highest)) => Err(Reason::OilJumped {
                        at_s: at.seconds(),
                        to_c: highest,
                    }),
                };
            }
            (0, _) => (Severity::Act, &warn),
            _ => (Severity::Stop, &limit),
        };
        let highest = above.stretches.greatest().unwrap_or(above.celsius);
        let stretches = match above.stretches.n() {
            1 => "once".to_owned(),
            n => format!("{n} times"),
        };
        let summary = format!(
            "The oil reached {highest:.0} °C ({}) and stayed above {:.0} °C for {} s or more {stretches}.",
            drive.oil_site(),
            above.celsius,
            above.least_s
        );
        Ok(Some(Fired {
            severity,
            grade: drive.grade_of(FigureId::OilTempMax),
            summary,
            evidence: above.stretches.windows(),
        }))
    }
}

/// What the estimate of the pack says.
fn hot_pack(drive: &Drive) -> Option<Fired> {
    let thermal = drive.thermal.as_ref().ok()?;
    let limit_c = drive.limits.heat.pack_limit_c;
    let pack = thermal.pack_max.celsius;
    let (counts_c, basis, grade) = match &thermal.anchor {
        Anchor::Fitted(_) => (
            pack.value,
            "estimated, fitted to the sensor".to_owned(),
            Grade::B,
        ),
        Anchor::Open(why) => {
            let why = Reason::from(why.clone());
            (pack.low, format!("model, unanchored: {why}"), Grade::D)
        }
    };
    if counts_c <= limit_c {
        return None;
    }
    let mut hot = Strongest::default();
    let mut before = Time(0);
    for point in &thermal.trace {
        if point.pack_c.value > limit_c {
            let values = [
                ("pack, estimated", point.pack_c.value, "°C"),
                ("oil, estimated", point.oil_c, "°C"),
            ];
            hot.add(point.pack_c.value, window(before, point.time, &values));
        }
        before = point.time;
    }
    Some(Fired {
        severity: Severity::Act,
        grade: drive.grade_of(FigureId::HeatTotal).max(grade),
        summary: format!(
            "The pack reached {:.0} °C ({:.0} to {:.0} °C; {basis}); limit {limit_c:.0} °C.",
            pack.value, pack.low, pack.high
        ),
        evidence: hot.windows(),
    })
}

/// Oil and pack in one finding; the oil, which was measured, gives the grade.
fn both(oil: Fired, pack: Fired) -> Fired {
    let mut evidence = oil.evidence;
    let room = MOST_EVIDENCE.saturating_sub(evidence.len());
    evidence.extend(pack.evidence.into_iter().take(room));
    evidence.sort_by_key(|window| window.span.start);
    Fired {
        severity: oil.severity.max(pack.severity),
        grade: oil.grade,
        summary: format!("{} {}", oil.summary, pack.summary),
        evidence,
    }
}

#[cfg(test)]
mod tests {
    use super::super::testing::{Scene, says, thermal};
    use super::*;
    use crate::baseline::{Conditions, Earlier};
    use crate::nouns::EvidenceWindow;
    use halfshaft_driveline::thermal::{Estimate, TracePoint};
    use halfshaft_model::Site;

    /// A housing temperature beside the oil's shows that it is in °C.
    fn placed() -> Scene {
        let mut scene = Scene::whole();
        scene.seen.push(name::HOUSING_TEMPERATURE.to_owned());
        scene
    }

    /// Oil once a second.
    fn outcome(scene: &Scene, celsius: impl Fn(f64) -> Option<f64>) -> Outcome {
        let mut check = scene.check(&ENTRY);
        for second in 0..600 {
            let time = f64::from(second);
            if let Some(celsius) = celsius(time) {
                check.note_oil(Time::from_seconds(time), celsius);
            }
        }
        check.outcome(&scene.drive())
    }

    /// A hill that peaks at 300 s.
    fn hill(peak: f64) -> impl Fn(f64) -> Option<f64> {
        move |time| Some(peak - 0.1 * (time - 300.0).abs())
    }

    #[test]
    fn above_the_warning_act_above_the_limit_stop() {
        let scene = placed();
        assert_eq!(outcome(&scene, hill(129.0)), Ok(None));
        let warned = outcome(&scene, hill(134.0)).unwrap().unwrap();
        assert_eq!(warned.severity, Severity::Act);
        says(&warned.summary, "134 °C (site of the sensor not stated)");
        // Derived: 4 K above on slopes of 0.1 K/s is 80 s.
        let EvidenceWindow { span, values } = &warned.evidence[0];
        assert!((span.seconds() - 80.0).abs() < 2.5, "{span:?}");
        assert_eq!(values[0].value, 134.0);
        let stopped = outcome(&scene, hill(155.0)).unwrap().unwrap();
        assert_eq!(stopped.severity, Severity::Stop);
    }

    #[test]
    fn the_map_s_own_limits_rule_and_the_site_is_said() {
        let mut scene = placed();
        scene.vehicle.oil_warn_c = Some(100.0);
        scene.vehicle.oil_limit_c = Some(110.0);
        scene.channels[7].site = Some(Site::ModelledByCar);
        let fired = outcome(&scene, hill(112.0)).unwrap().unwrap();
        assert_eq!(fired.severity, Severity::Stop);
        says(&fired.summary, "modelled by the car, not a sensor");
    }

    #[test]
    fn what_lasts_less_or_lies_in_a_gap_does_not_count() {
        let scene = placed();
        assert_eq!(outcome(&scene, hill(130.4)), Ok(None));
        // 8 s before a silence and 8 s after it.
        let around_gap = |time: f64| {
            let is_silent = (300.0..400.0).contains(&time);
            let is_hot = (292.0..408.0).contains(&time);
            (!is_silent).then_some(if is_hot { 131.0 } else { 125.0 })
        };
        assert_eq!(outcome(&scene, around_gap), Ok(None));
    }

    #[test]
    fn a_jump_no_oil_can_make_is_not_believed() {
        let stuck = |time: f64| Some(if time < 200.0 { 90.0 } else { 215.0 });
        let reason = outcome(&placed(), stuck).unwrap_err();
        says(&reason, "jumped to 215 °C at 200 s");
    }

    /// Pack at its hottest, band ± 10 %, fitted or not.
    fn pack(celsius: f64, anchor: Anchor) -> Scene {
        let mut thermal = thermal();
        thermal.pack_max.celsius = Estimate {
            value: celsius,
            low: 0.9 * celsius,
            high: 1.1 * celsius,
        };
        thermal.anchor = anchor;
        thermal.trace = vec![TracePoint {
            time: Time::from_seconds(500.0),
            pack_c: thermal.pack_max.celsius,
            oil_c: 115.0,
            housing_c: 100.0,
        }];
        Scene {
            thermal: Ok(thermal),
            ..placed()
        }
    }

    #[test]
    fn a_hot_pack_counts_when_a_sensor_holds_it() {
        let cool = pack(199.0, Anchor::Fitted(Site::Oil));
        assert_eq!(outcome(&cool, hill(110.0)), Ok(None));
        let hot = pack(205.0, Anchor::Fitted(Site::Oil));
        let fired = outcome(&hot, hill(110.0)).unwrap().unwrap();
        assert_eq!((fired.severity, fired.grade), (Severity::Act, Grade::B));
        says(&fired.summary, "205 °C (184 to 226 °C; estimated");
        assert_eq!(fired.evidence[0].values[1].value, 115.0);
        let stopped = outcome(&hot, hill(155.0)).unwrap().unwrap();
        assert_eq!(stopped.severity, Severity::Stop);
        says(&stopped.summary, "The pack reached 205 °C");
    }

    #[test]
    fn without_a_sensor_only_its_whole_band_counts_and_it_is_called_a_model() {
        let open = || Anchor::Open(halfshaft_driveline::Refusal::NoSensor);
        let scene = pack(215.0, open()).without("oil.temperature");
        says(&outcome(&scene, |_| None).unwrap_err(), "oil.temperature");
        let scene = pack(230.0, open()).without("oil.temperature");
        let fired = outcome(&scene, |_| None).unwrap().unwrap();
        says(
            &fired.summary,
            "model, unanchored: no temperature of the unit",
        );
        assert_eq!(fired.grade, Grade::D);
    }

    #[test]
    fn without_a_temperature_it_was_not_checked() {
        let scene = placed().without("oil.temperature");
        says(&outcome(&scene, |_| None).unwrap_err(), "oil.temperature");
    }

    #[test]
    fn numbers_that_may_be_fahrenheit_call_for_a_look_and_no_more() {
        let severity = |scene: &Scene, from: f64, air_c: Option<f64>| {
            let mut check = scene.check(&ENTRY);
            for second in 0..600 {
                let time = Time::from_seconds(f64::from(second));
                check.note_oil(time, from + (f64::from(second) / 4.0).min(160.0 - from));
                if let Some(air_c) = air_c {
                    check.note_air(time, air_c);
                }
            }
            let fired = check.outcome(&scene.drive()).unwrap().unwrap();
            (fired.severity, fired.summary)
        };
        assert_eq!(severity(&placed(), 70.0, Some(15.0)).0, Severity::Stop);
        let blind = Scene::whole;
        let (held_back, words) = severity(&blind(), 70.0, Some(15.0));
        assert_eq!(held_back, Severity::LookSoon);
        // Derived: (160 − 32)/1.8.
        says(&words, "160 °F would be 71 °C");
        assert_eq!(severity(&blind(), 70.0, None).0, Severity::LookSoon);
        // A cold start shows the unit; and 40 °F are 4 °C, too cold for an axle in air of 15 °C.
        assert_eq!(severity(&blind(), 25.0, Some(15.0)).0, Severity::Stop);
        assert_eq!(severity(&blind(), 40.0, Some(15.0)).0, Severity::Stop);
        // So does an earlier drive's.
        let mut known = blind();
        known.baseline.note_drive(Earlier {
            conditions: Some(Conditions {
                air_c: 12.0,
                oil_start_c: 14.0,
            }),
            values: Vec::new(),
        });
        assert_eq!(severity(&known, 70.0, Some(15.0)).0, Severity::Stop);
    }

    #[test]
    fn the_limits_are_130_and_150_degrees_for_10_s() {
        // Rule: above 130 °C act, above 150 °C stop, for 10 s. 2 K to each side, a whole minute.
        let severity = |peak: f64, seconds: f64| {
            let plateau = move |time: f64| {
                let is_hot = (200.0..200.0 + seconds).contains(&time);
                Some(if is_hot { peak } else { peak - 5.0 })
            };
            let fired = outcome(&placed(), plateau).unwrap();
            fired.map(|fired| fired.severity)
        };
        assert_eq!(severity(128.0, 60.0), None);
        assert_eq!(severity(132.0, 60.0), Some(Severity::Act));
        assert_eq!(severity(148.0, 60.0), Some(Severity::Act));
        assert_eq!(severity(152.0, 60.0), Some(Severity::Stop));
        assert_eq!(severity(132.0, 8.0), None);
        assert_eq!(severity(132.0, 13.0), Some(Severity::Act));
    }
}
