//! The controller lets the clutch go while it is needed: it saves it.
//!
//! The command falls to nothing in hot oil while the throttle stays down, again and again, and does not so in
//! cooler oil ([`cuts`]): that is to act. Or it does while the wheels still differ beyond the bend: a note, since a
//! calibration may do that at any temperature. Stability control, the brake and a driver who lifts end a
//! command too; those are not counted.

mod cuts;

use crate::reason::{Measured, Reason};
use std::collections::VecDeque;

use cuts::{Beside, Cuts};

use halfshaft_driveline::Row;
use halfshaft_driveline::engagement::OPEN_BELOW;
use halfshaft_model::channel::name;
use halfshaft_model::{Block, Time};

use super::{About, Check, Drive, Entry, FindingId, Fired, Outcome, Setup};
use crate::driving::ROWS_LATE_S;
use crate::evidence::{Strongest, counts, window};
use crate::lasting::Lasting;
use crate::limits::{Limits, Protection, rounded};
use crate::nouns::{Grade, Severity};
use crate::trust::{BENDS, COMMAND, OIL, SLIP};

pub const ENTRY: Entry = Entry {
    about: &About {
        id: FindingId::ProtectionMode,
        title: "Protection mode seen",
        severities: &[Severity::Note, Severity::LookSoon, Severity::Act],
        rule: |limits| {
            let limits = &limits.protection;
            format!(
                "{0} times or more (from 2 on it is to look soon) with oil above {3} °C the command falls from {1} % or more \
                 to nothing within {2} s under a throttle above {6} % that comes up by less than {7} %, and stays there \
                 {8} s; that {9} times as often for the time it was given as with cooler oil, and by chance in less than \
                 one of {10} drives; or as a note {0} times or more the command falls so and stays there {4} s, while the \
                 wheels differ by {5} rad/s beyond the bend and the throttle, where logged, is above {6} %",
                limits.occurrences,
                rounded(100.0 * limits.command_from, 0),
                limits.within_s,
                limits.oil_from_c,
                limits.stays_s,
                limits.excess_rad_per_s,
                rounded(100.0 * limits.throttle_from, 0),
                rounded(100.0 * limits.lift_below, 0),
                limits.stays_under_pedal_s,
                rounded(limits.times_as_often, 0),
                rounded(1.0 / limits.chance, 0)
            )
        },
        needs: "command, oil temperature, and the throttle or both rear wheel speeds with yaw rate or front wheel speeds; a \
                drive from cool to hot oil or back",
        could_also_be: "stability control whose flag is not logged, a calibration that opens the clutch in such slides",
        next_check: "Read the stored faults of the controller; look at the oil, its level and its colour.",
        owner_sees: "The control unit switched the clutch off to protect it.",
        owner_does: "Have the stored faults read and the axle oil looked at.",
        withdrawn_if: "it happens in cold oil too: then it is the calibration",
    },
    on: COMMAND | OIL,
    begin: |setup| Box::new(ProtectionMode::new(setup)),
};

/// A command that fell.
#[derive(Clone, Copy, Debug)]
struct Fallen {
    from: f64,
    excess: f64,
    throttle_least: Option<f64>,
    oil_c: f64,
}

#[derive(Clone, Debug)]
struct ProtectionMode {
    limits: Limits,
    throttle_channel: Option<usize>,
    reach_s: f64,
    oil_ahead: VecDeque<(Time, f64)>,
    oil: Option<(Time, f64)>,
    throttle_ahead: VecDeque<(Time, Option<f64>)>,
    throttle: Option<(Time, f64)>,
    has_throttle: bool,
    // Highest command of the time in which it may fall: when it was last so high.
    high: Option<(Time, f64)>,
    fallen: Lasting<Fallen>,
    cuts: Strongest,
    under_pedal: Cuts,
    hot_s: f64,
}

impl ProtectionMode {
    fn new(setup: &Setup) -> ProtectionMode {
        let index = |name: &str| {
            let mut channels = setup.channels.iter();
            channels.position(|channel| channel.name == name)
        };
        ProtectionMode {
            limits: *setup.limits,
            throttle_channel: index(name::THROTTLE),
            reach_s: setup.oil_reach_s(),
            oil_ahead: VecDeque::new(),
            oil: None,
            throttle_ahead: VecDeque::new(),
            throttle: None,
            has_throttle: false,
            high: None,
            fallen: Lasting::default(),
            cuts: Strongest::default(),
            under_pedal: Cuts::new(setup.limits.protection),
            hot_s: 0.0,
        }
    }

    /// Oil and throttle as known at a time.
    fn advance(&mut self, now: Time) {
        while let Some(sample) = self.oil_ahead.pop_front_if(|(time, _)| *time <= now) {
            self.oil = Some(sample);
        }
        while let Some((time, value)) = self.throttle_ahead.pop_front_if(|(time, _)| *time <= now) {
            self.throttle = value.map(|value| (time, value));
        }
    }

    /// The throttle as known at a time.
    fn throttle_at(&self, now: Time) -> Option<f64> {
        let (time, value) = self.throttle?;
        (now.since(time) <= self.limits.protection.throttle_reach_s).then_some(value)
    }

    /// Whether there is still something to lock, and the driver wants it.
    fn need(&self, row: &Row) -> Option<(f64, Option<f64>)> {
        let limits = &self.limits.protection;
        let excess = (row.road_referred_difference - row.kinematic_difference?).abs();
        let throttle = self.throttle_at(row.time);
        let is_pressed = match throttle {
            Some(throttle) => throttle >= limits.throttle_from,
            None => !self.has_throttle,
        };
        let is_needed = excess >= limits.excess_rad_per_s && is_pressed && !row.is_braking;
        is_needed.then_some((excess, throttle))
    }

    fn end(&mut self, now: Time) {
        let Some(fallen) = self.fallen.end() else {
            return;
        };
        if fallen.seconds < self.limits.protection.stays_s {
            return;
        }
        let seen = fallen.gathered;
        let excess = fallen.mean(seen.excess);
        let mut values = vec![
            ("command before", 100.0 * seen.from, "%"),
            ("open in need for", fallen.seconds, "s"),
            ("difference beyond the bend", excess, "rad/s"),
            ("oil", seen.oil_c, "°C"),
        ];
        if let Some(throttle) = seen.throttle_least {
            values.push(("throttle at least", 100.0 * throttle, "%"));
        }
        self.cuts
            .add(fallen.seconds, window(fallen.start, now, &values));
    }
}

impl Check for ProtectionMode {
    fn note_block(&mut self, block: &Block) {
        let Some(channel) = self.throttle_channel else {
            return;
        };
        for (time, value) in block.columns[channel].iter() {
            self.has_throttle |= value.is_some();
            self.throttle_ahead.push_back((time, value));
        }
        let is_old = |sample: &mut (Time, Option<f64>)| block.until.since(sample.0) > ROWS_LATE_S;
        while self.throttle_ahead.pop_front_if(is_old).is_some() {}
    }

    fn note_oil(&mut self, time: Time, celsius: f64) {
        self.oil_ahead.push_back((time, celsius));
        let is_old = |sample: &mut (Time, f64)| time.since(sample.0) > ROWS_LATE_S;
        while self.oil_ahead.pop_front_if(is_old).is_some() {}
    }

    fn note(&mut self, row: &Row) {
        self.advance(row.time);
        let limits = self.limits.protection;
        let Some(command) = row
            .command
            .filter(|_| row.is_joined && counts(row, &self.limits.driving))
        else {
            self.high = None;
            self.fallen.end();
            self.under_pedal.interrupt(row.time);
            return;
        };
        let oil_c = self
            .oil
            .filter(|(time, _)| row.time.since(*time) <= self.reach_s)
            .map(|(_, celsius)| celsius);
        let beside = self
            .throttle_at(row.time)
            .zip(oil_c)
            .map(|(throttle, oil_c)| Beside { throttle, oil_c });
        self.under_pedal.note(row, command, beside);
        let oil_c = oil_c.filter(|celsius| *celsius >= limits.oil_from_c);
        if oil_c.is_some() {
            self.hot_s += row.seconds;
        }
        if command >= limits.command_from {
            self.end(row.time);
            self.high = Some((row.time, command));
            return;
        }
        if command >= OPEN_BELOW {
            self.end(row.time);
            return;
        }
        let need = self.need(row);
        if let Some((since, from)) = self.high.take() {
            let is_quick = row.time.since(since) <= limits.within_s;
            if let (true, Some(oil_c), Some(_)) = (is_quick, oil_c, need) {
                self.fallen.hold(row.time, 0.0, || Fallen {
                    from,
                    excess: 0.0,
                    throttle_least: None,
                    oil_c,
                });
            }
        }
        let Some((excess, throttle)) = need else {
            self.end(row.time);
            return;
        };
        let Some(fallen) = self.fallen.going_on_mut() else {
            return;
        };
        fallen.seconds += row.seconds;
        let fallen = &mut fallen.gathered;
        fallen.excess += excess * row.seconds;
        fallen.throttle_least = match (fallen.throttle_least, throttle) {
            (Some(least), Some(throttle)) => Some(least.min(throttle)),
            (least, throttle) => least.or(throttle),
        };
    }

    fn strongest(&self, see: &mut dyn FnMut(&Strongest)) {
        see(&self.cuts);
    }

    fn outcome(&self, drive: &Drive) -> Outcome {
        drive.all_of(&[name::CLUTCH_COMMAND, name::OIL_TEMPERATURE])?;
        let limits = &drive.limits.protection;
        if self.hot_s == 0.0 {
            return Err(Reason::OilNeverHot {
                from_c: limits.oil_from_c,
            });
        }
        let mut settled = self.clone();
        settled.end(drive.until);
        settled.under_pedal.interrupt(drive.until);
        if settled.under_pedal.are_of_hot_oil() {
            return Ok(Some(under_pedal(drive, &settled.under_pedal)));
        }
        let bends = drive
            .bends()
            .and_then(|()| drive.trust.allows(SLIP | BENDS));
        let is_seen_in_bends = bends.is_ok() && settled.cuts.n() >= limits.occurrences as usize;
        if !is_seen_in_bends {
            return match self.has_throttle {
                true => why_not_by_pedal(&settled.under_pedal, limits).map_or(Ok(None), Err),
                false => bends.map(|()| None),
            };
        }
        let cuts = &settled.cuts;
        let (grade, witness) = match self.has_throttle {
            true => (Grade::A, "under throttle"),
            false => (Grade::C, "(no throttle was logged)"),
        };
        Ok(Some(Fired {
            severity: Severity::Note,
            grade: drive.quality.grade.max(grade),
            summary: format!(
                "{} times the command fell to nothing with hot oil (limit {} °C) while the wheels still differed by {} \
                 rad/s or more beyond the bend {witness}; longest {:.1} s. The controller seems to protect the clutch.",
                cuts.n(),
                limits.oil_from_c,
                limits.excess_rad_per_s,
                cuts.greatest().unwrap_or(0.0)
            ),
            evidence: cuts.windows(),
        }))
    }
}

/// The command is cut under the pedal with hot oil alone.
fn under_pedal(drive: &Drive, cuts: &Cuts) -> Fired {
    let limits = &drive.limits.protection;
    let (n_cooler, cooler_s) = cuts.cooler();
    Fired {
        severity: match cuts.n_hot() >= limits.occurrences as usize {
            true => Severity::Act,
            false => Severity::LookSoon,
        },
        grade: drive.quality.grade,
        summary: format!(
            "{} times the command fell to nothing with hot oil (limit {} °C) under a throttle that stayed down, for up to \
             {:.1} s; with cooler oil it did {} in {cooler_s:.0} s of command under such a throttle. The controller \
             protects the clutch.",
            cuts.n_hot(),
            limits.oil_from_c,
            cuts.hot.greatest().unwrap_or(0.0),
            match n_cooler {
                0 => "not once".to_owned(),
                1 => "once".to_owned(),
                n => format!("{n} times"),
            }
        ),
        evidence: cuts.hot.windows(),
    }
}

/// Why the pedal cannot tell.
fn why_not_by_pedal(cuts: &Cuts, limits: &Protection) -> Option<Reason> {
    if cuts.pedal_in_hot_s < limits.pedal_s {
        return Some(Reason::TooLittle {
            what: Measured::PedalInHotOil {
                throttle_from: limits.throttle_from,
                oil_from_c: limits.oil_from_c,
            },
            found: cuts.pedal_in_hot_s,
            needed: limits.pedal_s,
        });
    }
    let (_, cooler_s) = cuts.cooler();
    let is_open = cuts.n_hot() >= limits.occurrences as usize
        && cuts.are_oftener_in_hot_oil()
        && cooler_s < cuts.needed_s();
    is_open.then(|| Reason::TooLittle {
        what: Measured::CommandedInCoolerOil {
            n_cuts: cuts.n_hot(),
        },
        found: cooler_s,
        needed: cuts.needed_s(),
    })
}

#[cfg(test)]
mod tests {
    use super::super::testing::{Scene, says};
    use super::*;
    use crate::testing::row;
    use halfshaft_model::ChannelSpec;

    /// The command falls from 60 % every 10 s while the wheels differ by 4 rad/s.
    fn outcome(oil_c: f64, throttle: f64, change: impl Fn(&mut Row)) -> Outcome {
        let mut scene = Scene::whole();
        scene.channels.push(ChannelSpec::new("throttle"));
        let mut check = scene.check(&ENTRY);
        let throttle_channel = scene.channels.len() - 1;
        for index in 0..4000 {
            let mut row = row(f64::from(index) * 0.01);
            if index % 100 == 0 {
                check.note_oil(row.time, oil_c);
            }
            if index % 5 == 0 {
                let mut block = Block::new(scene.channels.len());
                block.columns[throttle_channel].push(row.time, Some(throttle));
                block.until = row.time;
                check.note_block(&block);
            }
            let place = index % 1000;
            row.command = Some(if place < 500 { 0.6 } else { 0.0 });
            let is_needed = (400..700).contains(&place);
            row.road_referred_difference = if is_needed { 4.0 } else { 0.0 };
            change(&mut row);
            check.note(&row);
        }
        check.outcome(&scene.drive())
    }

    #[test]
    fn let_go_in_need_four_times_is_a_note() {
        let fired = outcome(110.0, 0.8, |_| ()).unwrap().unwrap();
        assert_eq!((fired.severity, fired.grade), (Severity::Note, Grade::A));
        says(&fired.summary, "4 times the command fell to nothing");
        assert!((fired.evidence[0].values[1].value - 2.0).abs() < 0.05);
    }

    #[test]
    fn a_lifted_foot_the_brake_control_and_no_need_are_no_protection() {
        let why = outcome(110.0, 0.1, |_| ()).unwrap_err();
        says(&why, "the pedal was at 40 % or more for 0.0 s");
        let why = outcome(110.0, 0.8, |row| row.is_braking = true).unwrap_err();
        says(&why, "the pedal was at 40 % or more for 0.0 s");
        let controlled = |row: &mut Row| row.is_controlled = row.command == Some(0.0);
        assert_eq!(outcome(110.0, 0.8, controlled), Ok(None));
        // The pedal stays down, and nothing shows what the controller does with cooler oil.
        let why = outcome(110.0, 0.8, |row| row.road_referred_difference = 0.0);
        says(
            &why.unwrap_err(),
            "with hot oil the command fell to nothing 4 times",
        );
    }

    /// 40 s of a command by time under a steady throttle, the oil at 112 °C for the first 20 s.
    fn under_pedal(later_c: f64, command: impl Fn(f64) -> f64) -> Outcome {
        let mut scene = Scene::whole();
        scene.channels.push(ChannelSpec::new("throttle"));
        let mut check = scene.check(&ENTRY);
        for index in 0..4000 {
            let time_s = f64::from(index) * 0.01;
            let mut row = row(time_s);
            if index % 100 == 0 {
                let oil_c = if time_s < 20.0 { 112.0 } else { later_c };
                check.note_oil(row.time, oil_c);
            }
            let mut block = Block::new(scene.channels.len());
            block.columns[scene.channels.len() - 1].push(row.time, Some(0.8));
            block.until = row.time;
            check.note_block(&block);
            row.command = Some(command(time_s));
            check.note(&row);
        }
        check.outcome(&scene.drive())
    }

    /// Given for 0.3 s, and cut for 2.5 s.
    fn cut(time_s: f64) -> f64 {
        if time_s % 2.8 < 0.3 { 0.6 } else { 0.0 }
    }

    #[test]
    fn cut_under_the_pedal_with_hot_oil_alone_is_to_act() {
        let of_hot_oil = |time_s: f64| if time_s < 20.0 { cut(time_s) } else { 0.6 };
        let fired = under_pedal(90.0, of_hot_oil).unwrap().unwrap();
        assert_eq!((fired.severity, fired.grade), (Severity::Act, Grade::A));
        says(
            &fired.summary,
            "7 times the command fell to nothing with hot oil",
        );
        says(&fired.summary, "not once in 20 s of command");
    }

    #[test]
    fn a_controller_that_rests_at_any_temperature_is_no_protection() {
        assert_eq!(under_pedal(90.0, cut), Ok(None));
        // Without cooler oil nobody can tell.
        says(&under_pedal(112.0, cut).unwrap_err(), "with cooler oil");
        // For 5 s of ten, with hot oil twice: it may as well be chance.
        let seldom = |time_s: f64| match time_s < 20.0 && time_s % 10.0 < 5.0 {
            true => 0.0,
            false => 0.6,
        };
        assert_eq!(under_pedal(90.0, seldom), Ok(None));
    }

    #[test]
    fn too_little_pedal_in_hot_oil_was_not_checked() {
        // The pedal comes up after so long; 3 s are needed.
        for (down_s, is_checked) in [(2.9, false), (3.1, true)] {
            let mut scene = Scene::whole();
            scene.channels.push(ChannelSpec::new("throttle"));
            let mut check = scene.check(&ENTRY);
            for index in 0..1000 {
                let mut row = row(f64::from(index) * 0.01);
                check.note_oil(row.time, 112.0);
                let throttle = if row.time.seconds() < down_s {
                    0.8
                } else {
                    0.1
                };
                let mut block = Block::new(scene.channels.len());
                block.columns[scene.channels.len() - 1].push(row.time, Some(throttle));
                block.until = row.time;
                check.note_block(&block);
                row.command = Some(0.5);
                check.note(&row);
            }
            assert_eq!(
                check.outcome(&scene.drive()).is_ok(),
                is_checked,
                "{down_s}"
            );
        }
    }

    #[test]
    fn cool_oil_or_none_was_not_checked() {
        says(
            &outcome(80.0, 0.8, |_| ()).unwrap_err(),
            "never reached 100 °C",
        );
        let scene = Scene::whole().without("oil.temperature");
        says(&scene.outcome(&ENTRY).unwrap_err(), "oil.temperature");
    }
}
