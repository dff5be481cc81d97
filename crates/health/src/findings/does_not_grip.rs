//! Asked for nearly all, the mechanism there, and the pack slips on.
//!
//! Two ways to see it. By the tyres: in bends under command the pack holds plainly less than the map
//! states. And by the slip: counted are stretches of the region "asked but not holding" in which the state follows the
//! command and there was something to hold. Not counted: both wheels spinning, where the road
//! lets go and not the pack, and bends that the torque the map states cannot straighten.

use crate::reason::{DriveFact, Measured, Reason};
use halfshaft_driveline::Row;
use halfshaft_driveline::derive::openness::LEAST_DIFFERENCE;
use halfshaft_driveline::held_torque::Shape;
use halfshaft_model::channel::name;

use super::{About, Check, Drive, Entry, FindingId, Fired, Outcome, Setup};
use crate::evidence::{Strongest, counts, window};
use crate::lasting::Lasting;
use crate::limits::{Limits, SDS_OF_90, rounded};
use crate::nouns::{Grade, Region, Severity};
use crate::trust::{COMMAND, HEAT, SLIP, STATE, TURNING};

pub const ENTRY: Entry = Entry {
    about: &About {
        id: FindingId::DoesNotGrip,
        title: "Commanded, not holding",
        severities: &[Severity::LookSoon, Severity::Act],
        rule: |limits| {
            let (grip, holding) = (&limits.grip, &limits.holding);
            format!(
                "{} times or more, {} s or longer each: command from {} %, state at {} % of it or more, slip not fallen by \
                 {} % within {} s, with {} rad/s to hold, not both wheels spinning, and a torque by the map that could \
                 have held; or, by the tyres in bends under command, the torque held is less than {} of what \
                 the map states (look soon: {}) over its whole 90 % band",
                grip.occurrences,
                grip.least_s,
                rounded(100.0 * holding.asked_for_all, 0),
                rounded(100.0 * grip.follows, 0),
                rounded(100.0 * holding.fall, 0),
                holding.within_s,
                holding.opportunity_rad_per_s,
                grip.held_act,
                grip.held_look
            )
        },
        needs: "command, a state of the clutch that does not follow from it, both rear wheel speeds, road speed",
        could_also_be: "standing water or ice under both rear wheels with no front wheel speed to show it, a unit of less \
                        torque than the map states, a state signal that repeats the command",
        next_check: "Clamp travel and clearance of the pack, thickness and colour of the discs, the oil's grade.",
        owner_sees: "The clutch is told to close and still slips: it does not hold the torque it should.",
        owner_does: "Have a workshop check the clutch pack and its oil. Until then avoid full throttle out of bends and hard starts.",
        withdrawn_if: "the pack holds in like bends once the oil is changed, or the state is found to repeat the command",
    },
    on: SLIP | COMMAND | STATE | TURNING | HEAT,
    begin: |setup| Box::new(DoesNotGrip::new(setup)),
};

/// Of a stretch in which the pack does not grip: values times seconds.
#[derive(Clone, Copy, Debug, Default)]
struct Slipping {
    command: f64,
    state: f64,
    slip: f64,
    torque_nm: f64,
}

#[derive(Clone, Debug)]
struct DoesNotGrip {
    limits: Limits,
    radius_m: Option<f64>,
    // Difference in bends that one N·m of one pack takes away, per wheel speed.
    per_torque: Option<f64>,
    slipping: Lasting<Slipping>,
    stretches: Strongest,
    // Moments asked for all, state known and something that the stated torque could hold: it could have been
    // seen.
    asked_s: f64,
}

impl DoesNotGrip {
    fn new(setup: &Setup) -> DoesNotGrip {
        let radius_m = setup.basis.radius_m;
        DoesNotGrip {
            limits: *setup.limits,
            radius_m,
            per_torque: radius_m
                .map(|radius| setup.basis.bias_factor / (setup.basis.tyre_stiffness_n * radius)),
            slipping: Lasting::default(),
            stretches: Strongest::default(),
            asked_s: 0.0,
        }
    }

    fn end(&mut self) {
        let Some(slipping) = self.slipping.end() else {
            return;
        };
        if slipping.seconds < self.limits.grip.least_s {
            return;
        }
        let sums = slipping.gathered;
        let mean = |sum: f64| slipping.mean(sum);
        let values = [
            ("slipping for", slipping.seconds, "s"),
            ("command", 100.0 * mean(sums.command), "%"),
            ("state", 100.0 * mean(sums.state), "%"),
            ("slip", mean(sums.slip), "rad/s"),
            ("torque by the map", mean(sums.torque_nm), "N·m"),
        ];
        self.stretches.add(
            slipping.seconds,
            window(slipping.start, slipping.latest, &values),
        );
    }

    fn has_something_to_hold(&self, row: &Row) -> bool {
        row.kinematic_difference
            .is_some_and(|asked| asked.abs() >= LEAST_DIFFERENCE)
            || row.difference_mean.abs() >= self.limits.holding.opportunity_rad_per_s
    }

    /// The slower rear wheel is well ahead of the road: both spin.
    fn do_both_spin(&self, row: &Row) -> bool {
        let (Some(road), Some(radius_m)) = (row.road_speed, self.radius_m) else {
            return false;
        };
        let slower = row.case_speed - 0.5 * row.difference_mean.abs();
        slower * radius_m > (1.0 + self.limits.grip.both_spin) * road
    }

    /// What the pack can carry by the map would take away the share of the difference that it
    /// is expected to: a bias T leaves a bend T/(C·r) of its difference per wheel speed, as
    /// far as the tyres let it. Unknown torque is no excuse.
    fn could_hold(&self, row: &Row) -> bool {
        let (Some(torque_nm), Some(per_torque)) = (row.torque_nm, self.per_torque) else {
            return true;
        };
        let taken =
            torque_nm * per_torque * row.case_speed.abs() / self.limits.grip.could_hold_room;
        let bend = row.kinematic_difference.map_or(0.0, f64::abs);
        let to_hold = bend.max(row.difference_mean.abs());
        taken >= self.limits.holding.fall * to_hold
    }
}

/// The pack holds less than stated, as the curve of the whole drive shows; or how little it would have to
/// hold to show. A drag that explains the bends better is none of it.
fn by_the_tyres(drive: &Drive) -> Outcome {
    let held = drive.held.as_ref().map_err(Clone::clone)?;
    let limits = &drive.limits.grip;
    let sees = |shape: &&Shape| shape.n_commanded >= limits.held_pieces as usize;
    let even = held.shape.as_ref().filter(sees);
    let wide = held.wide_shape.as_ref().filter(sees);
    let shape = even.or(wide).ok_or(DriveFact::HeldUnderCommand)?;
    let factor = (SDS_OF_90 * shape.over_stated_sd).exp();
    let over = shape.over_stated;
    // Bends in which the command moves, alone: a look, and that only from the greater margin.
    let (severity, limit) = match over * factor {
        high if shape.is_weak && high < limits.held_act => match even {
            Some(_) => (Severity::Act, limits.held_act),
            None => (Severity::LookSoon, limits.held_act),
        },
        high if shape.is_weak && even.is_some() && high < limits.held_look => {
            (Severity::LookSoon, limits.held_look)
        }
        _ => {
            let share = even.map_or(limits.held_act, |_| limits.held_look) / factor;
            return match share >= limits.must_show {
                true => Ok(None),
                false => Err(Reason::GripShowsBelow { share }),
            };
        }
    };
    let span = drive.span();
    let values: Vec<(&str, f64, &str)> = held
        .points
        .iter()
        .filter(|point| !point.is_at_least)
        .map(|point| ("torque held", point.held_nm.value, "N·m"))
        .collect();
    Ok(Some(Fired {
        severity,
        grade: drive.quality.grade.max(Grade::C),
        summary: format!(
            "In bends under command the pack held {over:.2} times the torque the map states ({:.2} to {:.2}; limit \
             {limit}), over {} half seconds.",
            over / factor,
            over * factor,
            shape.n_commanded
        ),
        evidence: vec![window(span.start, span.end, &values)],
    }))
}

impl Check for DoesNotGrip {
    fn note_region(&mut self, row: &Row, region: Region) {
        if !row.is_joined || self.slipping.is_over(row.time, self.limits.holding.break_s) {
            self.end();
        }
        let (Some(command), Some(state)) = (row.command, row.state) else {
            return;
        };
        let is_asked = command >= self.limits.holding.asked_for_all;
        if !is_asked
            || !self.has_something_to_hold(row)
            || !self.could_hold(row)
            || !counts(row, &self.limits.driving)
        {
            return;
        }
        self.asked_s += row.seconds;
        let counts_here = region == Region::AskedNotHolding
            && state >= self.limits.grip.follows * command
            && !self.do_both_spin(row);
        if !counts_here {
            return;
        }
        let slipping = self.slipping.hold(row.time, row.seconds, Slipping::default);
        let sums = &mut slipping.gathered;
        sums.command += command * row.seconds;
        sums.state += state * row.seconds;
        sums.slip += row.slip_mean.abs() * row.seconds;
        sums.torque_nm += row.torque_nm.unwrap_or(0.0) * row.seconds;
    }

    fn strongest(&self, see: &mut dyn FnMut(&Strongest)) {
        see(&self.stretches);
    }

    fn outcome(&self, drive: &Drive) -> Outcome {
        drive.rear_wheels()?;
        drive.all_of(&[name::CLUTCH_COMMAND])?;
        drive.basis.slip.clone()?;
        drive.road_speed()?;
        drive.steady_wheels()?;
        let by_the_tyres = by_the_tyres(drive);
        if let Ok(Some(_)) = by_the_tyres {
            return by_the_tyres;
        }
        if self.asked_s < drive.limits.grip.least_s {
            return by_the_tyres.map_err(|why| match why {
                Reason::GripShowsBelow { .. } => why,
                _ => Reason::TooLittle {
                    what: Measured::CommandToHold {
                        from: drive.limits.holding.asked_for_all,
                    },
                    found: self.asked_s,
                    needed: drive.limits.grip.least_s,
                },
            });
        }
        let mut settled = self.clone();
        settled.end();
        let limits = &drive.limits.grip;
        let stretches = &settled.stretches;
        if stretches.n() < limits.occurrences as usize {
            return by_the_tyres;
        }
        // Without another witness the road speed comes from the rear wheels themselves.
        let has_witness = drive.was_seen(name::SPEED_VEHICLE)
            || (drive.was_seen(name::WHEEL_FRONT_LEFT) && drive.was_seen(name::WHEEL_FRONT_RIGHT));
        let grade = if has_witness { Grade::A } else { Grade::C };
        Ok(Some(Fired {
            severity: Severity::Act,
            grade: drive.quality.grade.max(grade),
            summary: format!(
                "{} times the clutch was commanded to {} % or more, its mechanism followed, and the slip did not fall by {} % \
                 within {} s, but went on for up to {:.1} s more (limit {} times of {} s).",
                stretches.n(),
                rounded(100.0 * drive.limits.holding.asked_for_all, 0),
                rounded(100.0 * drive.limits.holding.fall, 0),
                drive.limits.holding.within_s,
                stretches.greatest().unwrap_or(0.0),
                limits.occurrences,
                limits.least_s
            ),
            evidence: stretches.windows(),
        }))
    }
}

#[cfg(test)]
mod tests {
    use super::super::testing::{Scene, found_held, says};
    use super::*;
    use crate::testing::row;

    /// Four bends of 3 s in which nearly all is asked and the pack slips on.
    fn outcome(scene: &Scene, change: impl Fn(&mut Row)) -> Outcome {
        let mut check = scene.check(&ENTRY);
        for index in 0..4000 {
            let mut row = row(f64::from(index) * 0.01);
            let is_asked = index % 1000 < 300;
            if is_asked {
                (row.command, row.state) = (Some(0.9), Some(0.88));
                row.kinematic_difference = Some(2.0);
                row.difference_mean = 1.9;
                row.slip_mean = 0.95;
                row.torque_nm = Some(800.0);
            }
            row.road_speed = Some(60.0 * 0.32);
            change(&mut row);
            check.note(&row);
            let region = if is_asked {
                Region::AskedNotHolding
            } else {
                Region::Free
            };
            check.note_region(&row, region);
        }
        check.outcome(&scene.drive())
    }

    #[test]
    fn four_times_is_to_act_on() {
        let fired = outcome(&Scene::whole(), |_| ()).unwrap().unwrap();
        assert_eq!((fired.severity, fired.grade), (Severity::Act, Grade::A));
        says(
            &fired.summary,
            "4 times the clutch was commanded to 80 % or more",
        );
        assert_eq!(fired.evidence.len(), 4);
        assert!((fired.evidence[0].values[0].value - 3.0).abs() < 0.05);
    }

    /// By the tyres alone: what the pack holds of the stated torque, and by how much that may be off.
    fn by_the_tyres(change: impl Fn(&mut Shape), is_wide: bool) -> Outcome {
        let mut shape = Shape::default();
        shape.is_weak = true;
        shape.n_commanded = 60;
        shape.over_stated = 0.25;
        shape.over_stated_sd = 0.3;
        change(&mut shape);
        let mut scene = Scene::whole();
        scene.held = Ok(match is_wide {
            false => found_held(Some(shape), None),
            true => found_held(None, Some(shape)),
        });
        scene.check(&ENTRY).outcome(&scene.drive())
    }

    #[test]
    fn a_torque_held_that_is_plainly_below_the_stated_one_is_no_grip() {
        // Derived: e^(1.645·0.3) = 1.638, so that 0.366 reach to 0.6 and 0.488 to 0.8.
        for (over, even, wide) in [
            (0.25, Some(Severity::Act), Some(Severity::LookSoon)),
            (0.36, Some(Severity::Act), Some(Severity::LookSoon)),
            (0.37, Some(Severity::LookSoon), None),
            (0.48, Some(Severity::LookSoon), None),
            (0.49, None, None),
            (1.1, None, None),
        ] {
            for (is_wide, severity) in [(false, even), (true, wide)] {
                let fired = by_the_tyres(|shape| shape.over_stated = over, is_wide);
                let found = fired.ok().flatten().map(|fired| fired.severity);
                assert_eq!(found, severity, "{over} {is_wide}");
            }
        }
        // A drag explains the bends better; and few bends say little.
        assert!(by_the_tyres(|shape| shape.is_weak = false, false).is_err());
        assert!(by_the_tyres(|shape| shape.n_commanded = 8, false).is_ok());
        assert!(by_the_tyres(|shape| shape.n_commanded = 7, false).is_err());
    }

    #[test]
    fn where_half_the_torque_would_not_show_it_was_not_checked() {
        let outcome = |sd: f64| {
            by_the_tyres(
                |shape| (shape.over_stated, shape.over_stated_sd) = (1.0, sd),
                false,
            )
        };
        // Derived: 0.8/e^(1.645·0.3) = 0.488; 0.8/e^(1.645·0.28) = 0.505.
        says(
            &outcome(0.3).unwrap_err(),
            "more than 49 % of its stated torque",
        );
        assert_eq!(outcome(0.28), Ok(None));
    }

    #[test]
    fn the_road_the_mechanism_and_the_design_are_no_worn_pack() {
        let scene = Scene::whole();
        // By the tyres the pack is sound.
        let mut shape = Shape::default();
        (shape.over_stated, shape.n_commanded) = (1.0, 60);
        let mut sound = scene.clone();
        sound.held = Ok(found_held(Some(shape), None));
        // Both wheels spin on ice: 60 rad/s against 15 m/s.
        assert_eq!(outcome(&sound, |row| row.road_speed = Some(15.0)), Ok(None));
        // The mechanism does not follow: another fault.
        assert_eq!(
            outcome(&sound, |row| row.state = row.state.map(|state| 0.5 * state)),
            Ok(None)
        );
        // Derived: 100 N·m take 60·100/(80 kN·0.32 m) = 0.23 rad/s from the bend, a tenth. There is nothing
        // to judge; 1.7 times 260 N·m would take three tenths for sure.
        says(
            &outcome(&scene, |row| row.torque_nm = row.torque_nm.map(|_| 100.0)).unwrap_err(),
            "lasted 0.0 s",
        );
        assert!(
            outcome(&scene, |row| row.torque_nm = row.torque_nm.map(|_| 442.0))
                .unwrap()
                .is_some()
        );
        // Stability control at work does not count, and leaves nothing to judge.
        says(
            &outcome(&scene, |row| row.is_controlled = true).unwrap_err(),
            "lasted 0.0 s",
        );
        // Twice may be chance.
        let mut strict = sound.clone();
        strict.limits.grip.occurrences = 5;
        assert_eq!(outcome(&strict, |_| ()), Ok(None));
    }

    #[test]
    fn without_state_or_command_it_was_not_checked() {
        let scene = Scene::whole();
        says(
            &outcome(&scene, |row| row.state = None).unwrap_err(),
            "a state of the clutch known",
        );
        let scene = scene.without("clutch.command");
        says(&outcome(&scene, |_| ()).unwrap_err(), "clutch.command");
    }
}
