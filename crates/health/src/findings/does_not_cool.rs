//! The axle does not cool as it should.
//!
//! Fits T = air + A·exp(−t/τ) to the oil of a standing car once oil and housing are of one
//! temperature, and compares τ with what an axle usually takes. Only standing counts:
//! while moving the gears heat too, by an amount the log seldom tells. Until other drives
//! of the same car give a usual value it is a guess, and so the finding is no more than a
//! note; with earlier drives to compare with it is one to look at soon.

use crate::figure_id::FigureId;
use crate::reason::Reason;
use halfshaft_driveline::Refusal;
use std::collections::VecDeque;

use halfshaft_driveline::Row;
use halfshaft_model::channel::name;
use halfshaft_model::{Site, Time};

use super::{About, Check, Drive, Entry, FindingId, Fired, Outcome, Setup};
use crate::baseline::Quantity;
use crate::baseline::conditions;
use crate::driving::ROWS_LATE_S;
use crate::evidence::{Strongest, window};
use crate::limits::{Limits, rounded};
use crate::nouns::{Grade, Severity};
use crate::trust::{AIR, OIL};

pub const ENTRY: Entry = Entry {
    about: &About {
        id: FindingId::DoesNotCool,
        title: "Does not cool",
        severities: &[Severity::Note, Severity::LookSoon],
        rule: |limits| {
            format!(
                "over {} min or more at standstill the oil cools with a time constant of more than {} \
                 times that of earlier drives: look soon; without any, of a usual one guessed as {:.0} min: note",
                rounded(limits.cooling.least_s / 60.0, 0),
                limits.cooling.ratio,
                limits.cooling.usual_time_s / 60.0
            )
        },
        needs: "oil and outside air temperature, a rear wheel speed or road speed to see that the car stands, a stop of \
                six minutes with warm oil",
        could_also_be: "hot asphalt, a hot exhaust beside it, a car parked out of the wind, another unit with more oil \
                        and iron than the guess",
        next_check: "Clean housing and fins of mud, look at undertray and breather, turn the axle by hand for drag.",
        owner_sees: "The rear axle cools more slowly than it should when the car stands.",
        owner_does: "Have mud cleaned off the axle housing, and the undertray and the breather looked at.",
        withdrawn_if: "other drives of this car cool as slowly: then that is its usual value",
    },
    on: OIL | AIR,
    begin: |setup| Box::new(DoesNotCool::new(setup)),
};

/// Place of the time constant among the values of a window.
const TIME_CONSTANT: usize = 3;

/// A straight line through ln(T − air) against time.
#[derive(Clone, Copy, Debug, Default)]
struct Fit {
    n: f64,
    t: f64,
    y: f64,
    tt: f64,
    ty: f64,
    yy: f64,
}

impl Fit {
    fn note(&mut self, t: f64, y: f64) {
        self.n += 1.0;
        self.t += t;
        self.y += y;
        self.tt += t * t;
        self.ty += t * y;
        self.yy += y * y;
    }

    /// Slope and its standard deviation.
    fn slope(&self) -> Option<(f64, f64)> {
        let stt = self.tt - self.t * self.t / self.n;
        if self.n < 3.0 || stt <= 0.0 {
            return None;
        }
        let sty = self.ty - self.t * self.y / self.n;
        let syy = self.yy - self.y * self.y / self.n;
        let slope = sty / stt;
        let rest = (syy - slope * sty).max(0.0);
        Some((slope, (rest / (self.n - 2.0) / stt).sqrt()))
    }
}

/// Oil while the car stands.
#[derive(Clone, Copy, Debug)]
struct Cooling {
    start: Time,
    latest: Time,
    first_c: f64,
    latest_c: f64,
    air_c: f64,
    fit: Fit,
}

#[derive(Clone, Debug)]
struct DoesNotCool {
    limits: Limits,
    is_modelled: bool,
    reach_s: f64,
    air_c: Option<f64>,
    // Samples that run ahead of the rows, oldest first.
    ahead: VecDeque<(Time, f64)>,
    stands_since: Option<Time>,
    cooling: Option<Cooling>,
    slow: Strongest,
    n_judged: usize,
}

impl DoesNotCool {
    fn new(setup: &Setup) -> DoesNotCool {
        let oil = setup.channel(name::OIL_TEMPERATURE);
        let limits = *setup.limits;
        DoesNotCool {
            limits,
            is_modelled: oil.is_some_and(|oil| oil.site == Some(Site::ModelledByCar)),
            reach_s: setup.oil_reach_s(),
            air_c: None,
            ahead: Default::default(),
            stands_since: None,
            cooling: None,
            slow: Strongest::default(),
            n_judged: 0,
        }
    }

    fn take(&mut self, time: Time, celsius: f64) {
        let is_settled = self
            .stands_since
            .is_some_and(|since| time.since(since) > self.limits.cooling.settles_s);
        let (true, Some(air_c)) = (is_settled, self.air_c) else {
            return;
        };
        if self
            .cooling
            .is_some_and(|cooling| time.since(cooling.latest) > self.reach_s)
        {
            self.end();
        }
        let cooling = self.cooling.get_or_insert(Cooling {
            start: time,
            latest: time,
            first_c: celsius,
            latest_c: celsius,
            air_c,
            fit: Fit::default(),
        });
        if celsius - cooling.air_c > self.limits.cooling.least_above_air_k {
            cooling.latest = time;
            cooling.latest_c = celsius;
            let above = (celsius - cooling.air_c).ln();
            cooling.fit.note(time.since(cooling.start), above);
        }
    }

    fn end(&mut self) {
        let Some(cooling) = self.cooling.take() else {
            return;
        };
        let seconds = cooling.latest.since(cooling.start);
        let limits = &self.limits.cooling;
        let fell = cooling.first_c - cooling.latest_c;
        if seconds < limits.least_s || fell < limits.least_fall_k {
            return;
        }
        let Some((slope, sd)) = cooling.fit.slope() else {
            return;
        };
        self.n_judged += 1;
        // The quickest cooling that the scatter allows must still be too slow.
        let quickest_s = -1.0 / (slope - 2.0 * sd);
        if slope < 0.0 {
            let minutes = -1.0 / slope / 60.0;
            let values = [
                ("oil at the start", cooling.first_c, "°C"),
                ("oil at the end", cooling.latest_c, "°C"),
                ("air", cooling.air_c, "°C"),
                ("time constant", minutes, "min"),
            ];
            self.slow
                .add(quickest_s, window(cooling.start, cooling.latest, &values));
        }
    }

    /// Takes the samples up to a time.
    fn drain(&mut self, until: Time) {
        while let Some((time, celsius)) = self.ahead.pop_front_if(|(time, _)| *time <= until) {
            self.take(time, celsius);
        }
    }
}

impl Check for DoesNotCool {
    fn note_oil(&mut self, time: Time, celsius: f64) {
        // Rows are a few seconds late; those that have not come by then never will.
        self.ahead.push_back((time, celsius));
        while self
            .ahead
            .pop_front_if(|(oldest, _)| time.since(*oldest) > ROWS_LATE_S)
            .is_some()
        {}
    }

    fn note_air(&mut self, _time: Time, celsius: f64) {
        self.air_c = Some(celsius);
    }

    fn note(&mut self, row: &Row) {
        let stands = self.limits.driving.wheel_stands_rad_per_s;
        let is_standing = row.case_speed.abs() < stands
            && row.difference.abs() < stands
            && row.road_speed.is_none_or(|speed| speed < stands);
        if !row.is_joined {
            self.ahead.retain(|(time, _)| *time >= row.time);
            self.stands_since = None;
            self.end();
        }
        self.drain(row.time);
        if is_standing {
            self.stands_since.get_or_insert(row.time);
        } else if self.stands_since.take().is_some() {
            self.end();
        }
    }

    fn strongest(&self, see: &mut dyn FnMut(&Strongest)) {
        see(&self.slow);
    }

    fn outcome(&self, drive: &Drive) -> Outcome {
        drive.rear_wheels()?;
        drive.all_of(&[name::OIL_TEMPERATURE, name::AMBIENT_TEMPERATURE])?;
        drive.oil()?;
        drive.air()?;
        if self.is_modelled {
            return Err(Refusal::ModelledByCar.into());
        }
        let limits = &drive.limits.cooling;
        let mut settled = self.clone();
        settled.end();
        if settled.n_judged == 0 {
            return Err(Reason::NeverStood {
                needed_s: limits.settles_s + limits.least_s,
                above_air_k: limits.least_above_air_k,
            });
        }
        let weather = drive.thermal.as_ref().ok().and_then(conditions);
        let past = drive
            .baseline
            .in_like_weather(weather)
            .get(Quantity::StandingCooling);
        let usual_s = past.as_ref().map_or(limits.usual_time_s, |past| past.value);
        let slow = settled.slow.above(limits.ratio * usual_s);
        let Some(slowest) = slow.first() else {
            return Ok(None);
        };
        let minutes = slowest.values[TIME_CONSTANT].value;
        let (severity, usual) = match past {
            Some(past) => (Severity::LookSoon, format!("is that of {}", past.source())),
            None => (
                Severity::Note,
                "is usual by guess, as no other drive of this car was there to compare with"
                    .to_owned(),
            ),
        };
        Ok(Some(Fired {
            severity,
            grade: drive.grade_of(FigureId::OilTempMax).max(Grade::C),
            summary: format!(
                "At standstill the oil cooled with a time constant of {minutes:.0} min ({}); {:.0} min {usual}; \
                 limit {} times that.",
                drive.oil_site(),
                usual_s / 60.0,
                limits.ratio
            ),
            evidence: slow.windows(),
        }))
    }
}

#[cfg(test)]
mod tests {
    use super::super::testing::{Scene, says};
    use super::*;
    use crate::testing::row;

    /// Drives for 100 s and stands for `stands_s`, the oil cooling from 110 in air of 20 °C.
    fn outcome(scene: &Scene, stands_s: f64, time_constant_s: f64) -> Outcome {
        let mut check = scene.check(&ENTRY);
        check.note_air(Time(0), 20.0);
        for index in 0..((100.0 + stands_s) as i32) {
            let time = f64::from(index);
            // The sensor has steps of 1 °C and runs ahead of the rows.
            let oil_at =
                |time: f64| 20.0 + 90.0 * (-(time - 100.0).max(0.0) / time_constant_s).exp();
            check.note_oil(Time::from_seconds(time + 3.0), oil_at(time + 3.0).round());
            let mut row = row(time);
            row.seconds = 1.0;
            if time >= 100.0 {
                row.case_speed = 0.0;
                row.road_speed = Some(0.0);
            }
            check.note(&row);
        }
        check.outcome(&scene.drive())
    }

    #[test]
    fn slow_cooling_is_a_note_by_guess() {
        let fired = outcome(&Scene::whole(), 600.0, 2700.0).unwrap().unwrap();
        assert_eq!((fired.severity, fired.grade), (Severity::Note, Grade::C));
        says(&fired.summary, "by guess");
        let minutes = fired.evidence[0].values[3].value;
        assert!((minutes - 45.0).abs() < 1.5, "{minutes}");
    }

    #[test]
    fn against_earlier_drives_it_is_to_look_at_soon() {
        let mut scene = Scene::whole();
        // Derived: 28 min are no 1.5 times the guessed 22.5, and 1.87 times a past of 15.
        assert_eq!(outcome(&scene, 600.0, 1680.0), Ok(None));
        scene
            .baseline
            .note_past(Quantity::StandingCooling, &[900.0, 880.0, 930.0]);
        let fired = outcome(&scene, 600.0, 1680.0).unwrap().unwrap();
        assert_eq!(fired.severity, Severity::LookSoon);
        says(
            &fired.summary,
            "15 min is that of the median of the first 3 earlier drives",
        );
        // A car that always cools slowly is not held to the guess.
        scene.baseline = Default::default();
        scene
            .baseline
            .note_past(Quantity::StandingCooling, &[2500.0; 3]);
        assert_eq!(outcome(&scene, 600.0, 2700.0), Ok(None));
    }

    #[test]
    fn usual_cooling_is_none() {
        let scene = Scene::whole();
        assert_eq!(outcome(&scene, 600.0, 1350.0), Ok(None));
        assert_eq!(outcome(&scene, 600.0, 1850.0), Ok(None));
    }

    #[test]
    fn a_short_stop_says_nothing() {
        says(
            &outcome(&Scene::whole(), 300.0, 2700.0).unwrap_err(),
            "never stood for 6 min",
        );
    }

    #[test]
    fn a_gap_of_the_wheels_is_no_standing() {
        let scene = Scene::whole();
        let mut check = scene.check(&ENTRY);
        check.note_air(Time(0), 20.0);
        // Standing before and after a silence of the wheels: 270 s are too few, and what
        // the oil did in the silence does not count with them.
        for index in 0..420 {
            let time = f64::from(index);
            check.note_oil(Time::from_seconds(time), 110.0 - 0.02 * time);
            let mut row = row(time);
            (row.case_speed, row.road_speed) = (0.0, Some(0.0));
            row.is_joined = index != 150;
            if !(100..150).contains(&index) {
                check.note(&row);
            }
        }
        says(&check.outcome(&scene.drive()).unwrap_err(), "never stood");
    }

    #[test]
    fn oil_that_does_not_fall_is_not_cooling() {
        says(
            &outcome(&Scene::whole(), 600.0, 1e9).unwrap_err(),
            "never stood",
        );
    }

    #[test]
    fn without_air_or_with_a_modelled_oil_it_was_not_checked() {
        let scene = Scene::whole().without("ambient.temperature");
        says(
            &outcome(&scene, 600.0, 2700.0).unwrap_err(),
            "ambient.temperature",
        );
        let mut scene = Scene::whole();
        scene.channels[7].site = Some(Site::ModelledByCar);
        says(&outcome(&scene, 600.0, 2700.0).unwrap_err(), "modelled");
    }
}
