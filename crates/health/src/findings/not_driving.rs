//! Wheels that turn as no driven car's do: towed, one wheel up, on rollers.
//!
//! Such stretches are no use of the car and no evidence against it. It looks for one rear
//! wheel that stands while the other or the car goes, and for a car that stands while its
//! rear wheels turn.

use halfshaft_driveline::Row;
use halfshaft_model::Time;

use super::evidence::{Strongest, window};
use super::{About, Check, Drive, Entry, Fired, Outcome, Setup};
use crate::limits::Driving;
use crate::result::Severity;

pub const ENTRY: Entry = Entry {
    about: &About {
        id: "not-driving",
        title: "Towed, one wheel up, or on rollers",
        severities: &[Severity::Note],
        rule: |limits| {
            format!(
                "for more than {} s a rear wheel stands while the other or the car goes faster than \
                 {} km/h, or the car stands while a rear wheel turns that fast",
                limits.driving.not_driving_s, limits.driving.moving_from_km_per_h
            )
        },
        needs: "both rear wheel speeds, rolling radius; the front wheels or a road speed to see rollers",
        could_also_be: "a dead wheel-speed sensor, a hand brake that binds",
        next_check: "Ask where and how the car was moved; if it was driven, check the sensor of the wheel that stands.",
        withdrawn_if: "the car was driven on the road at that time: then a wheel-speed sensor is at fault",
    },
    begin: |setup| Box::new(NotDriving::new(setup)),
};

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Kind {
    WheelStands,
    CarStands,
}

#[derive(Clone, Debug)]
struct Run {
    kind: Kind,
    start: Time,
    latest: Time,
    // Highest speeds of left, right and car, km/h.
    highest: [f64; 3],
}

#[derive(Clone, Debug)]
struct NotDriving {
    limits: Driving,
    radius_m: Option<f64>,
    run: Option<Run>,
    stretches: [Strongest; 2],
}

impl NotDriving {
    fn new(setup: &Setup) -> NotDriving {
        NotDriving {
            limits: setup.limits.driving,
            radius_m: setup.basis.radius_m,
            run: None,
            stretches: Default::default(),
        }
    }

    fn end(&mut self) {
        let Some(run) = self.run.take() else { return };
        let seconds = run.latest.since(run.start);
        if seconds <= self.limits.not_driving_s {
            return;
        }
        let [left, right, car] = run.highest;
        let values = [
            ("rear left, highest", left, "km/h"),
            ("rear right, highest", right, "km/h"),
            ("car, highest", car, "km/h"),
        ];
        self.stretches[run.kind as usize].note(seconds, window(run.start, run.latest, &values));
    }
}

impl Check for NotDriving {
    fn note(&mut self, row: &Row) {
        let Some(radius_m) = self.radius_m else {
            return;
        };
        if !row.is_joined {
            self.end();
        }
        let left = (row.case_speed - 0.5 * row.difference).abs();
        let right = (row.case_speed + 0.5 * row.difference).abs();
        let (slow, fast) = (left.min(right), left.max(right));
        let car = row.road_speed.unwrap_or(0.0);
        let (stands, moves) = (
            self.limits.wheel_stands_rad_per_s,
            self.limits.moving_from(),
        );
        let kind = if slow < stands && (fast * radius_m).max(car) > moves {
            Some(Kind::WheelStands)
        } else if row.road_speed.is_some_and(|car| car < stands * radius_m)
            && fast * radius_m > moves
        {
            Some(Kind::CarStands)
        } else {
            None
        };
        if self.run.as_ref().map(|run| run.kind) != kind {
            self.end();
        }
        let Some(kind) = kind else { return };
        let run = self.run.get_or_insert(Run {
            kind,
            start: row.time,
            latest: row.time,
            highest: [0.0; 3],
        });
        run.latest = row.time;
        let speeds = [left * radius_m, right * radius_m, car];
        for (highest, speed) in run.highest.iter_mut().zip(speeds) {
            *highest = highest.max(3.6 * speed);
        }
    }

    fn outcome(&self, drive: &Drive) -> Outcome {
        drive.rear_wheels()?;
        if self.radius_m.is_none() {
            return Err("the map states no rolling radius".to_owned());
        }
        let mut settled = self.clone();
        settled.end();
        let [wheel, car] = &settled.stretches;
        let mut parts = Vec::new();
        for (stretches, words) in [
            (
                wheel,
                "one rear wheel stood while the other or the car went",
            ),
            (car, "the car stood while its rear wheels turned"),
        ] {
            if let Some(longest) = stretches.greatest() {
                parts.push(format!(
                    "{words}, for up to {longest:.0} s (limit {} s)",
                    self.limits.not_driving_s
                ));
            }
        }
        let mut summary = parts.join("; ");
        let Some(first) = summary.get(..1).map(str::to_uppercase) else {
            return Ok(None);
        };
        summary.replace_range(..1, &first);
        let mut all = Strongest::default();
        for shown in wheel.windows().into_iter().chain(car.windows()) {
            all.note(shown.span.seconds(), shown);
        }
        Ok(Some(Fired {
            severity: Severity::Note,
            grade: drive.quality.grade,
            summary: summary + ".",
            evidence: all.windows(),
        }))
    }
}

#[cfg(test)]
mod tests {
    use super::super::testing::{Scene, says};
    use super::*;
    use crate::testing::row;

    /// Rear wheels in rad/s and the car in m/s for `seconds`, then at rest.
    fn outcome(scene: &Scene, left: f64, right: f64, car: Option<f64>, seconds: f64) -> Outcome {
        let mut check = scene.check(&ENTRY);
        for index in 0..300 {
            let time = f64::from(index) * 0.1;
            let mut row = row(time);
            let is_on = time <= seconds;
            row.case_speed = if is_on { 0.5 * (left + right) } else { 0.0 };
            row.difference = if is_on { right - left } else { 0.0 };
            row.road_speed = if is_on { car } else { car.map(|_| 0.0) };
            check.note(&row);
        }
        check.outcome(&scene.drive())
    }

    #[test]
    fn one_wheel_up_rollers_and_towing() {
        let scene = Scene::whole();
        let up = outcome(&scene, 0.0, 10.0, Some(0.0), 12.0)
            .unwrap()
            .unwrap();
        assert_eq!(up.severity, Severity::Note);
        says(&up.summary, "One rear wheel stood");
        assert!((up.evidence[0].values[1].value - 11.52).abs() < 1e-9);
        let rollers = outcome(&scene, 30.0, 30.0, Some(0.0), 12.0)
            .unwrap()
            .unwrap();
        says(&rollers.summary, "The car stood");
        let towed = outcome(&scene, 0.0, 0.0, Some(8.0), 12.0).unwrap();
        assert!(towed.is_some());
    }

    #[test]
    fn driving_standing_and_short_spins_are_none_of_it() {
        let scene = Scene::whole();
        assert_eq!(outcome(&scene, 30.0, 31.0, Some(9.8), 12.0), Ok(None));
        assert_eq!(outcome(&scene, 0.0, 0.0, Some(0.0), 12.0), Ok(None));
        assert_eq!(outcome(&scene, 0.0, 30.0, Some(0.0), 9.0), Ok(None));
        // A road speed nobody knows is not zero.
        assert_eq!(outcome(&scene, 30.0, 30.0, None, 12.0), Ok(None));
    }

    #[test]
    fn without_wheels_it_was_not_checked() {
        let scene = Scene::whole().without("wheel.rear.left");
        let reason = outcome(&scene, 0.0, 10.0, Some(0.0), 12.0).unwrap_err();
        says(&reason, "wheel.rear.left");
    }
}
