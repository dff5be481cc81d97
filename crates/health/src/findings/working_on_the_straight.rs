//! The pack works all the time on the straight.
//!
//! On a straight road there is nothing to lock: heat made there comes from tyres of
//! unlike size or from a controller that squeezes without need. Spinning wheels are not
//! counted; that is driving.

use crate::figure_id::FigureId;
use crate::reason::{Measured, Reason};
use halfshaft_driveline::Row;

use super::{About, Check, Drive, Entry, FindingId, Fired, Outcome, Setup};
use crate::evidence::{Strongest, counts, window};
use crate::lasting::Lasting;
use crate::limits::{Limits, rounded};
use crate::nouns::Severity;
use crate::partial::{PartialLimits, PartialTime};
use crate::trust::{COMMAND, HEAT, SLIP, TURNING};

pub const ENTRY: Entry = Entry {
    about: &About {
        id: FindingId::WorkingOnTheStraight,
        title: "Slipping on the straight",
        severities: &[Severity::LookSoon],
        rule: |limits| {
            let limits = &limits.straight;
            format!(
                "slipping under load in more than {} % of straight running above {} km/h (radius over \
                 {} m, wheelspin left out), {} times or once for {} s",
                rounded(100.0 * limits.partial_share, 0),
                limits.from_km_per_h,
                limits.radius_m,
                limits.occurrences,
                limits.sustained_s
            )
        },
        needs: "both rear wheel speeds, torque or command of the clutch, rolling radius, rear track, a yaw rate or the \
                front wheels, a minute of straight road",
        could_also_be: "a crosswind or a road that leans, tyres whose ratio was not learned yet",
        next_check: "Tyres first: pressure, size, tread of both rear tyres. Then the controller's calibration.",
        owner_sees: "The clutch slips even on a straight road.",
        owner_does: "Have the two rear tyres compared first, then the settings of the control unit checked.",
        withdrawn_if: "equal tyres are fitted and the share falls below the limit",
    },
    on: SLIP | COMMAND | TURNING | HEAT,
    begin: |setup| Box::new(WorkingOnTheStraight::new(setup)),
};

#[derive(Clone, Debug)]
struct WorkingOnTheStraight {
    partial: PartialLimits,
    // By torque and by command, as the figure of the whole drive.
    time: [PartialTime; 2],
    // With the highest slip.
    working: [Lasting<f64>; 2],
    stretches: [Strongest; 2],
}

impl WorkingOnTheStraight {
    fn new(setup: &Setup) -> WorkingOnTheStraight {
        WorkingOnTheStraight {
            partial: setup.partial,
            time: Default::default(),
            working: Default::default(),
            stretches: Default::default(),
        }
    }

    fn end(&mut self, by: usize) {
        let Some(working) = self.working[by].end() else {
            return;
        };
        let seconds = working.length_s();
        if seconds <= 0.0 {
            return;
        }
        let values = [
            ("working for", seconds, "s"),
            ("highest slip", working.gathered, "rad/s"),
        ];
        self.stretches[by].add(seconds, window(working.start, working.latest, &values));
    }
}

/// Straight, fast, no wheel spinning.
fn is_straight(row: &Row, limits: &Limits) -> bool {
    let (Some(speed), Some(yaw), Some(asked)) =
        (row.road_speed, row.yaw_rate, row.kinematic_difference)
    else {
        return false;
    };
    let excess = (row.road_referred_difference - asked).abs() - row.unknown_mismatch;
    speed > limits.straight.from()
        && asked.abs() < limits.straight.difference_rad_per_s
        && yaw.abs() < limits.straight.curvature() * speed
        && excess < limits.slip.event_from_rad_per_s
        && counts(row, &limits.driving)
}

impl Check for WorkingOnTheStraight {
    fn note(&mut self, row: &Row) {
        if !row.is_joined {
            self.end(0);
            self.end(1);
        }
        if !is_straight(row, &self.partial.limits) {
            self.end(0);
            self.end(1);
            return;
        }
        let fringe_s = self.partial.limits.slip.fringe_s;
        let judgement = self.partial.judge(row);
        for (by, judgement) in [judgement.by_torque, judgement.by_command]
            .into_iter()
            .enumerate()
        {
            // On a straight the slip of a sound car is all noise, and coarse numbers make much of it.
            let judgement =
                judgement.map(|[is_working, ..]| [is_working && self.partial.slips(row)[1]; 3]);
            let is_working = judgement.is_some_and(|[is_working, ..]| is_working);
            self.time[by].add(judgement, row.seconds);
            if !is_working && self.working[by].is_over(row.time, fringe_s) {
                self.end(by);
            }
            if is_working {
                let working = self.working[by].hold(row.time, row.seconds, || 0.0);
                working.gathered = working.gathered.max(row.slip_sharp.abs());
            }
        }
    }

    fn strongest(&self, see: &mut dyn FnMut(&Strongest)) {
        self.stretches.iter().for_each(see);
    }

    fn outcome(&self, drive: &Drive) -> Outcome {
        drive.bends()?;
        drive.basis.slip.clone()?;
        drive.steady_wheels()?;
        let limits = &drive.limits.straight;
        let by_torque = self.time[0].judged_s > 0.0;
        let by = usize::from(!by_torque);
        let PartialTime {
            seconds, judged_s, ..
        } = self.time[by];
        if judged_s < limits.least_s {
            return Err(Reason::TooLittle {
                what: Measured::StraightRunning {
                    from_km_per_h: limits.from_km_per_h,
                },
                found: judged_s,
                needed: limits.least_s,
            });
        }
        let share = seconds[0] / judged_s;
        let mut settled = self.clone();
        settled.end(by);
        let stretches = &settled.stretches[by];
        let longest = stretches.greatest().unwrap_or(0.0);
        let is_repeated =
            stretches.n() >= limits.occurrences as usize || longest >= limits.sustained_s;
        if share <= limits.partial_share || !is_repeated {
            return Ok(None);
        }
        let judged_by = if by_torque {
            ""
        } else {
            " (by command, the torque not being known)"
        };
        Ok(Some(Fired {
            severity: Severity::LookSoon,
            grade: drive.grade_of(FigureId::PartialHeatMaking),
            summary: format!(
                "Of {judged_s:.0} s straight running the pack slipped under load for {:.0} s at least, {:.0} % (limit \
                 {} %){judged_by}; longest {longest:.0} s.",
                seconds[0],
                100.0 * share,
                rounded(100.0 * limits.partial_share, 0)
            ),
            evidence: stretches.windows(),
        }))
    }
}

#[cfg(test)]
mod tests {
    use super::super::testing::{Scene, says};
    use super::*;
    use crate::testing::row;

    /// 100 s; the pack works for the first part of every 10 s.
    fn outcome(scene: &Scene, working_s: f64, change: impl Fn(&mut Row)) -> Outcome {
        let mut check = scene.check(&ENTRY);
        for index in 0..10_000 {
            let time = f64::from(index) * 0.01;
            let mut row = row(time);
            let is_working = time % 10.0 < working_s;
            row.torque_nm = Some(if is_working { 200.0 } else { 80.0 });
            row.slip_sharp = 0.5;
            row.road_referred_difference = 0.1;
            change(&mut row);
            check.note(&row);
        }
        check.outcome(&scene.drive())
    }

    #[test]
    fn a_tenth_of_the_straight_is_too_much() {
        let scene = Scene::whole();
        let fired = outcome(&scene, 3.0, |_| ()).unwrap().unwrap();
        assert_eq!(fired.severity, Severity::LookSoon);
        says(
            &fired.summary,
            "for 30 s at least, 30 % (limit 10 %); longest 3 s",
        );
        assert_eq!(fired.evidence.len(), 5);
        assert_eq!(outcome(&scene, 0.9, |_| ()), Ok(None));
    }

    #[test]
    fn bends_town_and_wheelspin_are_not_straight_running() {
        for change in [
            (|row: &mut Row| row.kinematic_difference = Some(1.0)) as fn(&mut Row),
            |row| row.road_speed = Some(13.0),
            |row| row.road_referred_difference = 5.0,
            |row| row.is_controlled = true,
        ] {
            let reason = outcome(&Scene::whole(), 3.0, change).unwrap_err();
            says(&reason, "0 s of straight running");
        }
    }

    #[test]
    fn by_command_where_the_torque_is_not_known() {
        let by_command = |row: &mut Row| {
            row.command = Some(if row.torque_nm == Some(200.0) {
                0.3
            } else {
                0.0
            });
            row.torque_nm = None;
        };
        let fired = outcome(&Scene::whole(), 3.0, by_command).unwrap().unwrap();
        says(&fired.summary, "by command");
    }

    #[test]
    fn without_a_witness_of_bends_it_was_not_checked() {
        let scene = Scene::whole()
            .without("yaw.rate")
            .without("wheel.front.left");
        says(
            &outcome(&scene, 3.0, |_| ()).unwrap_err(),
            "neither a yaw rate",
        );
    }
}
