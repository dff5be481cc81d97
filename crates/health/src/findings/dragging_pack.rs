//! The pack holds in bends though nobody asks.
//!
//! Counted are bends driven with the clutch open in which the axle turns more like a solid one
//! than its preload explains. An inside wheel that spins makes the same difference, but it
//! takes the rear axle ahead of the road, which a dragging pack does not. When every bend of a
//! log is like that, track and radius of the map are as likely to be wrong.

use crate::reason::{DriveFact, Measured, Reason};
use halfshaft_driveline::Row;
use halfshaft_driveline::engagement::OPEN_BELOW;
use halfshaft_model::channel::name;

use super::{About, Check, Drive, Entry, FindingId, Fired, Outcome, Setup};
use crate::evidence::{Strongest, counts, window};
use crate::lasting::Lasting;
use crate::limits::{Limits, rounded};
use crate::nouns::{Grade, Region, Severity};
use crate::trust::{BENDS, COMMAND, SLIP};

pub const ENTRY: Entry = Entry {
    about: &About {
        id: FindingId::DraggingPack,
        title: "Dragging pack, not releasing",
        severities: &[Severity::LookSoon, Severity::Act],
        rule: |limits| {
            let (drag, holding) = (&limits.drag, &limits.holding);
            format!(
                "in {} bends or more the axle, with the command below {} %, makes less than {} of the difference of the \
                 bend, for {} s or longer, and {} less than its preload leaves, in {} % of such bends or more; or, by the tyres in \
                 all bends, the torque at the axle never falls below {} N·m, nor {} times what is stated without command \
                 ({} N·m where nothing is stated), over the whole 90 % band: look soon",
                drag.bends,
                rounded(100.0 * OPEN_BELOW, 0),
                holding.openness_below,
                holding.least_s,
                drag.below_preload,
                rounded(100.0 * drag.held_share, 0),
                drag.held_nm,
                drag.held_ratio,
                drag.held_unstated_nm
            )
        },
        needs: "command, both rear wheel speeds, yaw rate or front wheel speeds, rear track, rolling radius, bends both held \
                and free",
        could_also_be: "a preload higher than the map states, an inside wheel with no load on it, a wrong track or radius",
        next_check: "One rear wheel lifted, gearbox free, clutch off: turn it by hand and feel the drag, cold and hot.",
        owner_sees: "The clutch stays partly closed when it should be open.",
        owner_does: "Have a workshop check whether the clutch releases. Until then expect heat and noise in tight turns.",
        withdrawn_if: "the wheel turns freely by hand, or the preload is found to be as high by design",
    },
    on: SLIP | COMMAND | BENDS,
    begin: |setup| Box::new(DraggingPack::new(setup)),
};

/// Of a bend held: values times seconds.
#[derive(Clone, Copy, Debug, Default)]
struct Held {
    openness: f64,
    expected: f64,
    asked: f64,
    // How far the rear axle is ahead of the front one, over the difference missing.
    ahead: f64,
    missing: f64,
}

#[derive(Clone, Debug)]
struct DraggingPack {
    limits: Limits,
    // Difference that the preload takes from a bend, per wheel speed.
    preload_takes: f64,
    held: Lasting<Held>,
    bends: Strongest,
    held_s: f64,
    free_s: f64,
}

impl DraggingPack {
    fn new(setup: &Setup) -> DraggingPack {
        let basis = setup.basis;
        DraggingPack {
            limits: *setup.limits,
            preload_takes: basis.tied_share(basis.preload_nm).unwrap_or(0.0),
            held: Lasting::default(),
            bends: Strongest::default(),
            held_s: 0.0,
            free_s: 0.0,
        }
    }

    fn end(&mut self) {
        let Some(held) = self.held.end() else {
            return;
        };
        if held.seconds < self.limits.holding.least_s {
            return;
        }
        let limits = &self.limits.drag;
        let sums = held.gathered;
        let (openness, expected) = (held.mean(sums.openness), held.mean(sums.expected));
        let spins = sums.ahead > limits.ahead_share * sums.missing;
        if openness > expected - limits.below_preload || spins {
            return;
        }
        let values = [
            ("held for", held.seconds, "s"),
            ("openness", openness, "ratio"),
            ("openness the preload leaves", expected, "ratio"),
            ("difference of the bend", held.mean(sums.asked), "rad/s"),
        ];
        self.held_s += held.seconds;
        self.bends
            .add(held.seconds, window(held.start, held.latest, &values));
    }
}

/// The pack never falls below a torque that preload does not explain, as the curve of the whole drive
/// shows: it need never let go. Or how large a drag would have to be to show.
fn by_the_tyres(drive: &Drive) -> Outcome {
    let held = drive.held.as_ref().map_err(Clone::clone)?;
    let shape = held.shape.as_ref().ok_or(DriveFact::EvenBends)?;
    let limits = &drive.limits.drag;
    let limit = match shape.resting_nm {
        Some(resting_nm) => limits.held_nm.max(limits.held_ratio * resting_nm),
        None => limits.held_unstated_nm,
    };
    let limit = limit.max(limits.held_ratio * shape.least_asked_nm);
    let [low, likeliest, high] = shape.drag_nm;
    if shape.one_way > limits.one_way_most {
        return Err(DriveFact::BendsBothWays.into());
    }
    if low > limit && !shape.is_weak {
        let span = drive.span();
        let values = [("torque at the axle never below", likeliest, "N·m")];
        return Ok(Some(Fired {
            // Never more: how a tyre gives way in tight bends is not known of this car, and a
            // harder one turns the axle just like a pack that drags.
            severity: Severity::LookSoon,
            grade: drive.quality.grade.max(Grade::C),
            summary: format!(
                "In the bends of the drive the torque at the axle never fell below {likeliest:.0} N·m ({low:.0} to \
                 {high:.0}), by the tyres, however little was asked of the clutch; {limit:.0} N·m are the most that \
                 preload and the least command explain."
            ),
            evidence: vec![window(span.start, span.end, &values)],
        }));
    }
    match shape.shows_from_nm(limit) {
        Some(nm) if nm <= limits.must_show_nm => Ok(None),
        nm => Err(Reason::DragShowsFrom { nm }),
    }
}

impl Check for DraggingPack {
    fn note_region(&mut self, row: &Row, region: Region) {
        if !row.is_joined || self.held.is_over(row.time, self.limits.holding.break_s) {
            self.end();
        }
        let (Some(openness), Some(asked)) = (row.openness, row.kinematic_difference) else {
            return;
        };
        let is_open = row.command.is_some_and(|command| command < OPEN_BELOW);
        if !is_open || !counts(row, &self.limits.driving) {
            return;
        }
        if openness >= self.limits.holding.openness_below {
            self.free_s += row.seconds;
        }
        if region != Region::HoldingUnasked {
            return;
        }
        // The region is known once the bend has lasted that long: what came before is in it, and
        // the first row stands for it.
        let before_s = match self.held.going_on() {
            None => self.limits.holding.least_s,
            Some(_) => 0.0,
        };
        let seconds = before_s + row.seconds;
        let held = self.held.hold(row.time, seconds, Held::default);
        if before_s > 0.0 {
            held.start = row.time.plus(-before_s);
        }
        let held = &mut held.gathered;
        held.openness += openness * seconds;
        held.expected += seconds
            * (1.0 - self.preload_takes * row.case_speed.abs() / asked.abs()).clamp(0.0, 1.0);
        held.asked += asked.abs() * seconds;
        held.missing += (asked - row.road_referred_difference).abs() * seconds;
        if let Some(front) = row.front_speed {
            held.ahead += (row.case_speed - front) * seconds;
        }
    }

    fn strongest(&self, see: &mut dyn FnMut(&Strongest)) {
        see(&self.bends);
    }

    fn outcome(&self, drive: &Drive) -> Outcome {
        drive.bends()?;
        drive.all_of(&[name::CLUTCH_COMMAND])?;
        drive.basis.slip.clone()?;
        drive.steady_wheels()?;
        let limits = &drive.limits.drag;
        let by_the_tyres = by_the_tyres(drive);
        if let Ok(Some(_)) = by_the_tyres {
            return by_the_tyres;
        }
        let mut settled = self.clone();
        settled.end();
        let all_s = settled.held_s + settled.free_s;
        if all_s < drive.limits.holding.least_s {
            return by_the_tyres.map_err(|_| Reason::TooLittle {
                what: Measured::OpenBends,
                found: all_s,
                needed: drive.limits.holding.least_s,
            });
        }
        if settled.bends.n() < limits.bends as usize || settled.held_s < limits.held_share * all_s {
            return by_the_tyres;
        }
        if settled.held_s > limits.every_bend * all_s {
            return Err(Reason::DragsEverywhere {
                share: settled.held_s / all_s,
            });
        }
        let has_front =
            drive.was_seen(name::WHEEL_FRONT_LEFT) && drive.was_seen(name::WHEEL_FRONT_RIGHT);
        let grade = if has_front { Grade::A } else { Grade::C };
        Ok(Some(Fired {
            severity: Severity::Act,
            grade: drive.quality.grade.max(grade),
            summary: format!(
                "In {} bends the open clutch held: less than {} of the difference of the bend, {:.0} s in all, and more \
                 than the preload explains (limit {} bends of {} s). Other bends of the drive, {:.0} s, were free.",
                settled.bends.n(),
                drive.limits.holding.openness_below,
                settled.held_s,
                limits.bends,
                drive.limits.holding.least_s,
                settled.free_s
            ),
            evidence: settled.bends.windows(),
        }))
    }
}

#[cfg(test)]
mod tests {
    use super::super::testing::{Scene, found_held, says};
    use super::*;
    use crate::testing::row;
    use halfshaft_driveline::held_torque::Shape;

    /// Ten bends of 4 s, the last four held.
    fn outcome(scene: &Scene, n_held: i32, change: impl Fn(&mut Row, bool)) -> Outcome {
        let mut check = scene.check(&ENTRY);
        for index in 0..10_000 {
            let mut row = row(f64::from(index) * 0.01);
            let is_held = index / 1000 >= 10 - n_held;
            let place = index % 1000;
            row.case_speed = 30.0;
            row.front_speed = Some(30.0);
            let mut region = Region::Free;
            if place < 400 {
                row.kinematic_difference = Some(2.0);
                let openness = if is_held { 0.2 } else { 0.95 };
                row.openness = Some(openness);
                row.road_referred_difference = 2.0 * openness;
                change(&mut row, is_held);
                if is_held && place >= 200 {
                    region = Region::HoldingUnasked;
                }
            }
            check.note_region(&row, region);
        }
        check.outcome(&scene.drive())
    }

    /// The bends alone show no drag, and the tyres of the scene show nothing.
    fn untold() -> Reason {
        DriveFact::HeldUnderCommand.into()
    }

    #[test]
    fn four_held_bends_beside_free_ones_are_drag() {
        let scene = Scene::whole();
        let fired = outcome(&scene, 4, |_, _| ()).unwrap().unwrap();
        assert_eq!(fired.severity, Severity::Act);
        says(&fired.summary, "In 4 bends the open clutch held");
        assert!((fired.evidence[0].values[0].value - 4.0).abs() < 0.05);
        assert_eq!(outcome(&scene, 2, |_, _| ()), Err(untold()));
    }

    /// By the tyres alone: what the torque at the axle does not fall below, and the preload.
    fn by_the_tyres(low: f64, resting_nm: Option<f64>, is_weak: bool) -> Outcome {
        let mut shape = Shape::default();
        shape.drag_nm = [low, low + 100.0, low + 200.0];
        shape.resting_nm = resting_nm;
        shape.is_weak = is_weak;
        let mut scene = Scene::whole();
        scene.held = Ok(found_held(Some(shape), None));
        outcome(&scene, 0, |_, _| ())
    }

    #[test]
    fn a_pack_that_never_lets_go_is_drag_by_the_tyres() {
        let severity = |low: f64, resting_nm: Option<f64>| {
            let fired = by_the_tyres(low, resting_nm, false).ok().flatten()?;
            Some(fired.severity)
        };
        // Derived: the limit is 150 N·m, 1.3·160 = 208 or 280. However large, tyres alone are
        // nothing to act on.
        for (resting_nm, limit) in [(Some(80.0), 150.0), (Some(160.0), 208.0), (None, 280.0)] {
            assert_eq!(severity(limit - 1.0, resting_nm), None);
            assert_eq!(severity(limit + 1.0, resting_nm), Some(Severity::LookSoon));
            assert_eq!(severity(3.0 * limit, resting_nm), Some(Severity::LookSoon));
        }
        says(
            &by_the_tyres(300.0, Some(80.0), false)
                .unwrap()
                .unwrap()
                .summary,
            "never fell below 400 N·m (300 to 500)",
        );
        // The same curve is that of a pack that holds a quarter, on harder tyres.
        assert!(by_the_tyres(300.0, Some(80.0), true).is_err());
    }

    #[test]
    fn a_controller_that_never_lets_go_is_no_drag() {
        // Derived: 216 N·m asked all the time; 1.3 times that are 281.
        let found = |low: f64| {
            let mut shape = Shape::default();
            shape.drag_nm = [low, low + 100.0, low + 200.0];
            shape.resting_nm = Some(80.0);
            shape.least_asked_nm = 216.0;
            let mut scene = Scene::whole();
            scene.held = Ok(found_held(Some(shape), None));
            outcome(&scene, 0, |_, _| ()).ok().flatten()
        };
        assert_eq!(found(279.0), None);
        assert!(found(283.0).is_some());
    }

    #[test]
    fn bends_that_would_show_no_drag_were_not_checked() {
        says(
            &by_the_tyres(0.0, Some(80.0), false).unwrap_err(),
            "no drag would show",
        );
        let reason = Reason::DragShowsFrom { nm: Some(361.0) };
        says(&reason, "a drag below 360 N·m at the axle");
    }

    #[test]
    fn a_few_held_bends_among_many_are_no_drag() {
        // Derived: four bends of 4 s held of ten are 40 % of the time.
        let mut scene = Scene::whole();
        scene.limits.drag.held_share = 0.39;
        assert!(outcome(&scene, 4, |_, _| ()).unwrap().is_some());
        scene.limits.drag.held_share = 0.41;
        assert!(outcome(&scene, 4, |_, _| ()).is_err());
    }

    #[test]
    fn preload_wheelspin_and_a_wrong_track_are_not_drag() {
        // Derived: 600 N·m take 30·600/(80 kN·0.32 m) = 0.70 rad/s of 2: 0.65 is left, and
        // 0.45 is no more than 0.25 below.
        let mut scene = Scene::whole();
        scene.basis.preload_nm = 600.0;
        let stiff = |row: &mut Row, is_held: bool| {
            if is_held {
                row.openness = Some(0.45);
            }
        };
        assert_eq!(outcome(&scene, 4, stiff), Err(untold()));
        let scene = Scene::whole();
        // The inside wheel spins by 1.6 rad/s: the axle runs 0.8 rad/s ahead.
        let spins = |row: &mut Row, is_held: bool| {
            if is_held {
                row.case_speed = 30.8;
            }
        };
        assert_eq!(outcome(&scene, 4, spins), Err(untold()));
        says(&outcome(&scene, 10, |_, _| ()).unwrap_err(), "wrong track");
    }

    #[test]
    fn without_bends_or_their_witness_it_was_not_checked() {
        says(
            &outcome(&Scene::whole(), 4, |row, _| row.command = Some(0.5)).unwrap_err(),
            "lasted 0.0 s",
        );
        let scene = Scene::whole()
            .without("yaw.rate")
            .without("wheel.front.left");
        says(
            &outcome(&scene, 4, |_, _| ()).unwrap_err(),
            "neither a yaw rate",
        );
    }
}
