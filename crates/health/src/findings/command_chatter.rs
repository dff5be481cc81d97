//! The command hunts: it turns back and forth quicker than any driver moves a pedal.
//!
//! Two ways to see it: reversals of the command one after the other, or engagements without
//! end while cruising, where nothing calls for them.

use crate::reason::Reason;
use std::collections::VecDeque;

use halfshaft_driveline::Row;
use halfshaft_model::Time;
use halfshaft_model::channel::name;
use halfshaft_model::constants::{M_PER_S_PER_KM_PER_H, NS_PER_S};

use super::{About, Check, Drive, Entry, FindingId, Fired, Outcome, Setup};
use crate::evidence::{Strongest, counts, window};
use crate::limits::{Limits, rounded};
use crate::nouns::Severity;
use crate::trust::{COMMAND, SLIP};

pub const ENTRY: Entry = Entry {
    about: &About {
        id: FindingId::CommandChatter,
        title: "Command chatter",
        severities: &[Severity::Note, Severity::LookSoon],
        rule: |limits| {
            let limits = &limits.chatter;
            format!(
                "the command reverses by {} % of full or more over {} times a second for {} s or longer, or rises to an \
                 engagement over {} times in 10 km of steady cruising above {} km/h",
                rounded(100.0 * limits.swing, 0),
                limits.reversals_per_s,
                limits.lasts_s,
                limits.cruise_engagements,
                limits.cruise_from_km_per_h
            )
        },
        needs: "command ten times a second or more, both rear wheel speeds; of the second way, five km of cruising",
        could_also_be: "a rough or slippery road that keeps the wheels hopping, a controller made to pulse",
        next_check: "Wheel speed rings and their air gap, tyres; then the controller's calibration.",
        owner_sees: "The clutch is switched on and off far more often than the driving calls for.",
        owner_does: "Have the wheel speed sensors and the tyre sizes checked, then the settings of the control unit.",
        withdrawn_if: "it shows on rough roads only, or the controller is known to pulse",
    },
    on: COMMAND | SLIP,
    begin: |setup| Box::new(CommandChatter::new(setup)),
};

/// From this command on an engagement begins, below the second it has ended: those of the
/// figure `engagements`.
const ENGAGED: (f64, f64) = (0.10, 0.05);
/// How far back a change of speed is measured, s.
const LOOK_BACK_S: f64 = 1.0;
const LOOK_BACK_NS: i64 = (LOOK_BACK_S * NS_PER_S as f64) as i64;

/// Reversals close behind each other.
#[derive(Clone, Copy, Debug)]
struct Hunting {
    start: Time,
    end: Time,
    n: usize,
    seconds: f64,
    // Time of it in which a wheel spun: then the command has something to follow.
    spinning_s: f64,
}

#[derive(Clone, Debug)]
struct CommandChatter {
    limits: Limits,
    // The extreme since the last reversal, and whether the command was rising to it.
    extreme: Option<(f64, bool)>,
    reversals: VecDeque<Time>,
    hunting: Option<Hunting>,
    stretches: Strongest,
    // Speeds of the last second, a tenth apart.
    speeds: VecDeque<(Time, f64)>,
    cruised_m: f64,
    is_engaged: bool,
    n_engaged: usize,
    first_engagements: Vec<Time>,
}

impl CommandChatter {
    fn new(setup: &Setup) -> CommandChatter {
        CommandChatter {
            limits: *setup.limits,
            extreme: None,
            reversals: VecDeque::new(),
            hunting: None,
            stretches: Strongest::default(),
            speeds: VecDeque::new(),
            cruised_m: 0.0,
            is_engaged: false,
            n_engaged: 0,
            first_engagements: Vec::new(),
        }
    }

    fn end(&mut self) {
        let Some(hunting) = self.hunting.take() else {
            return;
        };
        let seconds = hunting.end.since(hunting.start);
        let follows_wheels =
            hunting.spinning_s > self.limits.chatter.spinning_share * hunting.seconds;
        if seconds < self.limits.chatter.lasts_s || follows_wheels {
            return;
        }
        let per_s = (hunting.n as f64 - 1.0) / seconds.max(1e-9);
        let values = [
            ("hunting for", seconds, "s"),
            ("reversals", hunting.n as f64, ""),
            ("reversals per second", per_s, "1/s"),
        ];
        self.stretches
            .add(seconds, window(hunting.start, hunting.end, &values));
    }

    fn reset(&mut self) {
        self.end();
        self.extreme = None;
        self.reversals.clear();
    }

    fn follow(&mut self, time: Time, command: f64) {
        let limits = self.limits.chatter;
        let Some((extreme, was_rising)) = self.extreme else {
            self.extreme = Some((command, true));
            return;
        };
        let onward = if was_rising {
            command - extreme
        } else {
            extreme - command
        };
        if onward >= 0.0 {
            self.extreme = Some((command, was_rising));
        } else if -onward >= limits.swing {
            self.extreme = Some((command, !was_rising));
            self.reversals.push_back(time);
        }
        while self
            .reversals
            .pop_front_if(|first| time.since(*first) > limits.lasts_s)
            .is_some()
        {}
        // That many within the time, the first of them not counted as an interval.
        let is_hunting = self.reversals.len() as f64 > limits.reversals_per_s * limits.lasts_s;
        if !is_hunting {
            self.end();
            return;
        }
        let (first, last) = (self.reversals[0], self.reversals[self.reversals.len() - 1]);
        let n = self.reversals.len();
        match &mut self.hunting {
            None => {
                self.hunting = Some(Hunting {
                    start: first,
                    end: last,
                    n,
                    seconds: 0.0,
                    spinning_s: 0.0,
                });
            }
            Some(hunting) if last > hunting.end => {
                hunting.end = last;
                hunting.n += 1;
            }
            Some(_) => {}
        }
    }

    /// Straight on at steady speed.
    fn is_cruising(&mut self, row: &Row) -> Option<f64> {
        let limits = self.limits.chatter;
        let speed = row.road_speed?;
        while self
            .speeds
            .pop_front_if(|(then, _)| row.time.0 - then.0 > LOOK_BACK_NS)
            .is_some()
        {}
        if self
            .speeds
            .back()
            .is_none_or(|(then, _)| row.time.0 - then.0 >= LOOK_BACK_NS / 10)
        {
            self.speeds.push_back((row.time, speed));
        }
        let &(then, before) = self.speeds.front()?;
        let over_s = row.time.since(then);
        if over_s < 0.5 * LOOK_BACK_S {
            return None;
        }
        let is_steady = (speed - before).abs() < limits.cruise_steady_m_per_s2 * over_s;
        let is_straight = row
            .yaw_rate
            .is_some_and(|yaw| yaw.abs() < self.limits.straight.curvature() * speed);
        let is_fast = speed > limits.cruise_from_km_per_h * M_PER_S_PER_KM_PER_H;
        (is_steady && is_straight && is_fast).then_some(speed)
    }
}

impl Check for CommandChatter {
    fn note(&mut self, row: &Row) {
        if !row.is_joined {
            self.reset();
            self.speeds.clear();
        }
        let Some(command) = row.command.filter(|_| counts(row, &self.limits.driving)) else {
            self.reset();
            return;
        };
        self.follow(row.time, command);
        if let Some(hunting) = &mut self.hunting {
            let excess = row
                .kinematic_difference
                .map(|asked| (row.road_referred_difference - asked).abs());
            hunting.seconds += row.seconds;
            if excess.is_some_and(|excess| excess >= self.limits.slip.event_from_rad_per_s) {
                hunting.spinning_s += row.seconds;
            }
        }
        let cruising = self.is_cruising(row);
        if let Some(speed) = cruising {
            self.cruised_m += speed * row.seconds;
        }
        if command < ENGAGED.1 {
            self.is_engaged = false;
        } else if command >= ENGAGED.0 && !self.is_engaged {
            self.is_engaged = true;
            if cruising.is_some() {
                self.n_engaged += 1;
                if self.first_engagements.len() < super::MOST_EVIDENCE {
                    self.first_engagements.push(row.time);
                }
            }
        }
    }

    fn strongest(&self, see: &mut dyn FnMut(&Strongest)) {
        see(&self.stretches);
    }

    fn outcome(&self, drive: &Drive) -> Outcome {
        drive.rear_wheels()?;
        drive.all_of(&[name::CLUTCH_COMMAND])?;
        let limits = &drive.limits.chatter;
        let mut channels = drive.quality.channels.iter();
        let period_s = channels
            .find(|channel| channel.name == name::CLUTCH_COMMAND)
            .and_then(|channel| channel.period_s);
        if let Some(period_s) = period_s.filter(|period_s| *period_s > limits.period_s) {
            return Err(Reason::SlowCommand {
                period_s,
                most_s: limits.period_s,
            });
        }
        let mut settled = self.clone();
        settled.end();
        let grade = drive.quality.grade;
        let stretches = &settled.stretches;
        if stretches.n() > 0 {
            return Ok(Some(Fired {
                severity: Severity::LookSoon,
                grade,
                summary: format!(
                    "{} times the command reversed by {} % or more over {} times a second (limit once for {} s), the \
                     longest for {:.1} s.",
                    stretches.n(),
                    rounded(100.0 * limits.swing, 0),
                    limits.reversals_per_s,
                    limits.lasts_s,
                    stretches.greatest().unwrap_or(0.0)
                ),
                evidence: stretches.windows(),
            }));
        }
        let cruised_km = self.cruised_m / 1000.0;
        let per_10_km = 10.0 * self.n_engaged as f64 / cruised_km.max(1e-9);
        if cruised_km < limits.cruise_least_km || per_10_km <= limits.cruise_engagements {
            return Ok(None);
        }
        let windows = self.first_engagements.iter();
        // Some controllers engage with each touch of the pedal, by design, and a trailer or a wet
        // road asks for many: by the count alone nobody is to look.
        Ok(Some(Fired {
            severity: Severity::Note,
            grade,
            summary: format!(
                "In {cruised_km:.1} km of steady cruising the clutch was engaged {} times, {per_10_km:.0} in 10 km (limit \
                 {}).",
                self.n_engaged, limits.cruise_engagements
            ),
            evidence: windows
                .map(|time| {
                    let values = [("engagements in 10 km", per_10_km, "")];
                    window(*time, time.plus(1.0), &values)
                })
                .collect(),
        }))
    }
}

#[cfg(test)]
mod tests {
    use super::super::testing::{Scene, says};
    use super::*;
    use crate::testing::row;

    fn outcome(scene: &Scene, seconds: f64, command: impl Fn(f64) -> f64) -> Outcome {
        let mut check = scene.check(&ENTRY);
        for index in 0..(seconds * 50.0) as i32 {
            let time = f64::from(index) * 0.02;
            let mut row = row(time);
            row.seconds = 0.02;
            row.command = Some(command(time));
            check.note(&row);
        }
        check.outcome(&scene.drive())
    }

    /// A triangle of 0 to 1.
    fn triangle(turns: f64) -> f64 {
        let phase = turns - turns.floor();
        if phase < 0.5 {
            2.0 * phase
        } else {
            2.0 - 2.0 * phase
        }
    }

    #[test]
    fn five_reversals_a_second_for_ten_seconds_are_chatter() {
        let scene = Scene::whole();
        let hunts = |swing: f64, per_s: f64| {
            move |time: f64| {
                let is_on = (20.0..30.0).contains(&time);
                0.4 + if is_on {
                    swing * triangle(0.5 * per_s * time)
                } else {
                    0.0
                }
            }
        };
        let fired = outcome(&scene, 60.0, hunts(0.3, 5.0)).unwrap().unwrap();
        assert_eq!(fired.severity, Severity::LookSoon);
        let seconds = fired.evidence[0].values[0].value;
        let per_s = fired.evidence[0].values[2].value;
        assert!((seconds - 10.0).abs() < 0.5, "{seconds}");
        assert!((per_s - 5.0).abs() < 0.2, "{per_s}");
        // On loose ground the command has wheels to follow.
        let mut check = scene.check(&ENTRY);
        for index in 0..3000 {
            let mut row = row(f64::from(index) * 0.02);
            row.command = Some(hunts(0.3, 5.0)(row.time.seconds()));
            row.road_referred_difference = 3.0;
            check.note(&row);
        }
        assert_eq!(check.outcome(&scene.drive()), Ok(None));
        // Ripples of 8 %, and a driver who pumps the pedal twice a second, are none.
        assert_eq!(outcome(&scene, 60.0, hunts(0.08, 5.0)), Ok(None));
        assert_eq!(outcome(&scene, 60.0, hunts(0.9, 2.5)), Ok(None));
    }

    #[test]
    fn engagements_without_end_while_cruising() {
        let scene = Scene::whole();
        // 20 m/s for 300 s are 6 km: one every 100 m is 100 in 10 km, one every 200 m is 50.
        let every = |seconds: f64| move |time: f64| 0.3 * f64::from(u8::from(time % seconds < 1.0));
        let fired = outcome(&scene, 310.0, every(5.0)).unwrap().unwrap();
        says(&fired.summary, "in 10 km (limit 60)");
        assert_eq!(outcome(&scene, 310.0, every(10.0)), Ok(None));
    }

    #[test]
    fn without_a_command_it_was_not_checked() {
        let scene = Scene::whole().without("clutch.command");
        says(
            &outcome(&scene, 1.0, |_| 0.0).unwrap_err(),
            "clutch.command",
        );
    }
}
