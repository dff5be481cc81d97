//! Launches one after the other: heat with no air to take it away.
//!
//! A launch is a wheel turning far faster than the road goes by while the car is slow, and a
//! car that then moves: a wheel in the air or on rollers is no launch.

use std::collections::VecDeque;

use halfshaft_driveline::Row;

use super::{About, Check, Drive, Entry, FindingId, Fired, MOST_EVIDENCE, Outcome, Setup};
use crate::evidence::{counts, window};
use crate::lasting::{Lasting, Stretch};
use crate::limits::{Driving, Launch as LaunchLimits, rounded};
use crate::nouns::Severity;
use crate::trust::{SLIP, TURNING};

pub const ENTRY: Entry = Entry {
    about: &About {
        id: FindingId::RepeatedLaunches,
        title: "Repeated launches",
        severities: &[Severity::LookSoon],
        rule: |limits| {
            let limits = &limits.launch;
            format!(
                "{} times or more in {} min a wheel turns {} rad/s more than the bend makes, for {} s or more, \
                 below {} km/h",
                limits.count,
                rounded(limits.window_s / 60.0, 0),
                limits.excess_rad_per_s,
                limits.least_s,
                limits.below_km_per_h
            )
        },
        needs: "both rear wheel speeds, rolling radius, rear track, a yaw rate or the front wheels",
        could_also_be: "one wheel on ice, snow or a wet line at ordinary starts; rollers",
        next_check: "Let it cool; look at the oil for colour and smell.",
        owner_sees: "Hard starts followed each other without time to cool.",
        owner_does: "Let the axle cool between hard starts. Have the colour and smell of the oil checked.",
        withdrawn_if: "the starts were on ice or snow",
    },
    on: SLIP | TURNING,
    begin: |setup| Box::new(RepeatedLaunches::new(setup)),
};

/// Of a wheel that turns ahead of the road.
#[derive(Clone, Copy, Debug)]
struct Launch {
    excess: f64,
    has_moved: bool,
}

#[derive(Clone, Debug)]
struct RepeatedLaunches {
    driving: Driving,
    limits: LaunchLimits,
    going_on: Lasting<Launch>,
    // Those of the last window.
    recent: VecDeque<Stretch<Launch>>,
    // The densest window: how many, and the first few.
    most: (usize, Vec<Stretch<Launch>>),
}

impl RepeatedLaunches {
    fn new(setup: &Setup) -> RepeatedLaunches {
        RepeatedLaunches {
            driving: setup.limits.driving,
            limits: setup.limits.launch,
            going_on: Lasting::default(),
            recent: VecDeque::new(),
            most: (0, Vec::new()),
        }
    }

    fn end(&mut self) {
        let Some(launch) = self.going_on.end() else {
            return;
        };
        let limits = self.limits;
        let is_of_length = (limits.least_s..self.driving.not_driving_s).contains(&launch.seconds);
        if !launch.gathered.has_moved || !is_of_length {
            return;
        }
        while self
            .recent
            .front()
            .is_some_and(|first| launch.latest.since(first.start) > limits.window_s)
        {
            self.recent.pop_front();
        }
        self.recent.push_back(launch);
        if self.recent.len() > self.most.0 {
            let shown = self.recent.iter().take(MOST_EVIDENCE).copied().collect();
            self.most = (self.recent.len(), shown);
        }
    }
}

impl Check for RepeatedLaunches {
    fn note(&mut self, row: &Row) {
        if self.going_on.is_over(row.time, self.limits.apart_s) {
            self.end();
        }
        let Some(speed) = row.road_speed else { return };
        let limits = self.limits;
        if let Some(launch) = self.going_on.going_on_mut() {
            launch.gathered.has_moved |= speed > self.driving.moving_from();
        }
        let Some(asked) = row.kinematic_difference else {
            return;
        };
        let excess = (row.road_referred_difference - asked).abs();
        let is_launch = row.is_joined
            && row.is_turning
            && counts(row, &self.driving)
            && excess > limits.excess_rad_per_s;
        if !is_launch || speed >= limits.below() {
            return;
        }
        let launch = self.going_on.hold(row.time, row.seconds, || Launch {
            excess,
            has_moved: speed > self.driving.moving_from(),
        });
        launch.gathered.excess = launch.gathered.excess.max(excess);
    }

    fn outcome(&self, drive: &Drive) -> Outcome {
        drive.bends()?;
        let mut settled = self.clone();
        settled.end();
        let (n, shown) = settled.most;
        let limits = &drive.limits.launch;
        if n < limits.count as usize {
            return Ok(None);
        }
        let evidence = shown
            .iter()
            .map(|launch| {
                let values = [
                    ("wheel ahead of the road", launch.gathered.excess, "rad/s"),
                    ("for", launch.seconds, "s"),
                ];
                window(launch.start, launch.latest, &values)
            })
            .collect();
        let hardest = shown
            .iter()
            .map(|launch| launch.gathered.excess)
            .fold(0.0, f64::max);
        let summary = format!(
            "{n} launches within {} min (limit {}): a wheel turned up to {hardest:.0} rad/s ahead of the road. \
             Counted from {} rad/s on.",
            rounded(limits.window_s / 60.0, 0),
            limits.count,
            limits.excess_rad_per_s
        );
        Ok(Some(Fired {
            severity: Severity::LookSoon,
            grade: drive.quality.grade,
            summary,
            evidence,
        }))
    }
}

#[cfg(test)]
mod tests {
    use super::super::testing::{Scene, says};
    use super::*;
    use crate::testing::row;

    /// A launch of 2 s every `apart_s`, of that excess, into a drive of 15 km/h.
    fn outcome(scene: &Scene, n: u32, apart_s: f64, excess: f64, speed: f64) -> Outcome {
        launches(scene, n, apart_s, excess, speed, 2.0)
    }

    fn launches(
        scene: &Scene,
        n: u32,
        apart_s: f64,
        excess: f64,
        speed: f64,
        seconds: f64,
    ) -> Outcome {
        let mut check = scene.check(&ENTRY);
        for index in 0..30_000 {
            let time = f64::from(index) * 0.1;
            let within = time % apart_s;
            let is_launch = within < seconds - 0.05 && time < f64::from(n) * apart_s;
            let mut row = row(time);
            row.seconds = 0.1;
            row.road_speed = Some(speed);
            row.road_referred_difference = if is_launch { excess } else { 0.0 };
            check.note(&row);
        }
        check.outcome(&scene.drive())
    }

    #[test]
    fn three_in_ten_minutes() {
        let scene = Scene::whole();
        let fired = outcome(&scene, 4, 100.0, -14.0, 4.0).unwrap().unwrap();
        assert_eq!(
            (fired.severity, fired.evidence.len()),
            (Severity::LookSoon, 4)
        );
        says(&fired.summary, "4 launches within 10 min");
        // Of many, the densest ten minutes count and five are shown.
        let many = outcome(&scene, 20, 60.0, 14.0, 4.0).unwrap().unwrap();
        says(&many.summary, "10 launches");
        assert_eq!(many.evidence.len(), 5);
    }

    #[test]
    fn two_gentle_ones_far_apart_or_fast_do_not_fire() {
        let scene = Scene::whole();
        assert_eq!(outcome(&scene, 2, 100.0, 14.0, 4.0), Ok(None));
        assert_eq!(outcome(&scene, 9, 100.0, 9.0, 4.0), Ok(None));
        assert_eq!(outcome(&scene, 9, 310.0, 14.0, 4.0), Ok(None));
        assert_eq!(outcome(&scene, 9, 100.0, 14.0, 7.0), Ok(None));
    }

    #[test]
    fn a_wheel_that_slips_for_a_moment_is_no_launch() {
        let scene = Scene::whole();
        assert_eq!(launches(&scene, 9, 60.0, 20.0, 4.0, 0.8), Ok(None));
        assert!(launches(&scene, 9, 60.0, 20.0, 4.0, 1.2).unwrap().is_some());
    }

    #[test]
    fn a_wheel_in_the_air_is_no_launch() {
        assert_eq!(outcome(&Scene::whole(), 4, 100.0, 14.0, 0.0), Ok(None));
    }

    #[test]
    fn without_a_witness_of_bends_it_was_not_checked() {
        let scene = Scene::whole()
            .without("yaw.rate")
            .without("wheel.front.left");
        says(
            &outcome(&scene, 4, 100.0, 14.0, 4.0).unwrap_err(),
            "neither a yaw rate",
        );
    }
}
