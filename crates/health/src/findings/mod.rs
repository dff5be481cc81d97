//! What the vehicle shows, with its evidence.
//!
//! In: rows and temperatures while the drive goes by, and at any time what the other
//! parts made of it. Out: findings, gravest first, and those that could not be looked for
//! with what was missing. A check fires only on signals that were there; what lies in a
//! gap, in reverse or under anti-lock and stability control does not count. To add a
//! finding add its file and its line in [`ALL`]; `docs/findings.md` follows.

pub mod drive;
pub(crate) mod timing;

mod actuator_not_moving;
mod command_chatter;
mod command_exchanged;
mod does_not_cool;
mod does_not_grip;
mod dragging_pack;
mod front_rear_mismatch;
mod hangs_on_after_lift;
mod hard_driving;
mod hard_hit;
mod heavy_preload;
mod hot_without_clutch;
mod judder;
mod late_on_throttle;
mod lazy_actuator;
mod lazy_cold;
mod log_not_fit;
mod losing_pressure;
mod motor_works_hard;
mod not_driving;
mod oil_loss;
mod oil_not_believed;
mod oil_too_hot;
mod protection_mode;
mod repeated_launches;
mod scattered_timing;
mod sensor_drops_out;
mod sides_exchanged;
mod signal_frozen;
mod signals_identical;
mod slow_release;
mod supply_sag;
mod tone_ring;
mod torque_report_disagrees;
mod two_cars;
mod tyres_mismatched;
mod working_on_the_straight;

#[cfg(test)]
pub(crate) mod testing;

use crate::reason::Reason;
use std::fmt::Debug;

use halfshaft_driveline::{Basis, Row};
use halfshaft_model::channel::name;
use halfshaft_model::{Block, ChannelSpec, Time, Vehicle};

pub use crate::evidence::MOST_EVIDENCE;
pub use crate::finding_id::FindingId;
pub use drive::Drive;

use crate::evidence::Strongest;
use crate::limits::Limits;
use crate::nouns::{EvidenceWindow, Finding, Grade, NotChecked, Region, Severity};
use crate::part::{Came, Part, Passage};
use crate::partial::PartialLimits;
use crate::trust::Sources;

/// What a finding says of itself, whatever the drive.
#[derive(Debug)]
pub struct About {
    /// Stable kebab-case code.
    pub id: FindingId,
    /// Trade name.
    pub title: &'static str,
    /// The severities it can have.
    pub severities: &'static [Severity],
    /// When it fires, with the limits in force.
    pub rule: fn(&Limits) -> String,
    /// What it needs of log and map.
    pub needs: &'static str,
    /// What else could look like this.
    pub could_also_be: &'static str,
    /// What to check next, by hand.
    pub next_check: &'static str,
    /// What is the case, for the owner: no number, no name of a signal.
    pub owner_sees: &'static str,
    /// What the owner does, or has done.
    pub owner_does: &'static str,
    /// What would withdraw it.
    pub withdrawn_if: &'static str,
}

/// What a check starts from.
#[derive(Clone, Copy, Debug)]
pub struct Setup<'a> {
    /// The vehicle.
    pub vehicle: &'a Vehicle,
    /// The channels of the map.
    pub channels: &'a [ChannelSpec],
    /// What the derivation rests on.
    pub basis: &'a Basis,
    /// What counts as slipping under load.
    pub partial: PartialLimits,
    /// The limits it will be judged by.
    pub limits: &'a Limits,
}

impl Setup<'_> {
    /// The channel of that name.
    pub fn channel(&self, name: &str) -> Option<&ChannelSpec> {
        self.channels.iter().find(|channel| channel.name == name)
    }

    /// Silence of the oil temperature over which nothing reaches, s.
    pub fn oil_reach_s(&self) -> f64 {
        let oil = self.channel(name::OIL_TEMPERATURE);
        let period_s = oil.and_then(|oil| oil.period_s).unwrap_or(0.0);
        self.limits.oil.reach_s.max(3.0 * period_s)
    }
}

/// What a check has seen in a drive.
#[derive(Clone, Debug, PartialEq)]
pub struct Fired {
    /// How grave.
    pub severity: Severity,
    /// How far it can be trusted.
    pub grade: Grade,
    /// What was seen, with its numbers, against which limit; speeds stand in the evidence, since
    /// the owner reads this.
    pub summary: String,
    /// At most [`MOST_EVIDENCE`] stretches, in order of time.
    pub evidence: Vec<EvidenceWindow>,
}

/// It fires, it does not, or it could not be looked for and this was missing.
pub type Outcome = Result<Option<Fired>, Reason>;

/// Looks for one finding while the drive goes by.
pub trait Check: Debug + Send + Sync + Duplicate {
    /// Takes a row; rows come in order of time.
    fn note(&mut self, _row: &Row) {}

    /// Takes the region of a moving row; it comes right after that row.
    fn note_region(&mut self, _row: &Row, _region: Region) {}

    /// Takes some rows, each with its region where the car moved there.
    fn note_rows(&mut self, rows: &[Row], regions: &[Option<Region>]) {
        for (row, region) in rows.iter().zip(regions) {
            self.note(row);
            if let Some(region) = region {
                self.note_region(row, *region);
            }
        }
    }

    /// Takes a block before its rows: samples as they came, which run ahead of the rows.
    fn note_block(&mut self, _block: &Block) {}

    /// Takes a sample of `oil.temperature`, which may run ahead of the rows.
    fn note_oil(&mut self, _time: Time, _celsius: f64) {}

    /// Takes a sample of `ambient.temperature`, which may run ahead of the rows.
    fn note_air(&mut self, _time: Time, _celsius: f64) {}

    /// Shows the stretches it points at so far.
    fn strongest(&self, _see: &mut dyn FnMut(&Strongest)) {}

    /// What it has to say of the drive so far.
    fn outcome(&self, drive: &Drive) -> Outcome;
}

/// A check that needs no more than what the other parts made of the drive.
pub type Judge = fn(&Drive) -> Outcome;

impl Check for Judge {
    fn outcome(&self, drive: &Drive) -> Outcome {
        self(drive)
    }
}

/// Lets checks of unlike types be cloned together.
pub trait Duplicate {
    /// A clone.
    fn duplicate(&self) -> Box<dyn Check>;
}

impl<T: Check + Clone + 'static> Duplicate for T {
    fn duplicate(&self) -> Box<dyn Check> {
        Box::new(self.clone())
    }
}

impl Clone for Box<dyn Check> {
    fn clone(&self) -> Box<dyn Check> {
        // Of what is in the box, and not of the box.
        (**self).duplicate()
    }
}

/// A finding of the registry: what it says of itself, and its check for a drive.
#[derive(Debug)]
pub struct Entry {
    /// What it says of itself.
    pub about: &'static About,
    /// What it rests on: where one of these is there and not believed, it is not looked for.
    pub on: Sources,
    begin: fn(&Setup) -> Box<dyn Check>,
}

/// Every finding, by code.
pub const ALL: &[Entry] = &[
    actuator_not_moving::ENTRY,
    command_chatter::ENTRY,
    command_exchanged::ENTRY,
    signal_frozen::COMMAND,
    does_not_cool::ENTRY,
    does_not_grip::ENTRY,
    dragging_pack::ENTRY,
    front_rear_mismatch::ENTRY,
    hangs_on_after_lift::ENTRY,
    hard_driving::ENTRY,
    hard_hit::ENTRY,
    heavy_preload::ENTRY,
    hot_without_clutch::ENTRY,
    judder::ENTRY,
    late_on_throttle::ENTRY,
    lazy_actuator::ENTRY,
    lazy_cold::ENTRY,
    log_not_fit::ENTRY,
    losing_pressure::ENTRY,
    motor_works_hard::ENTRY,
    not_driving::ENTRY,
    oil_loss::ENTRY,
    oil_not_believed::ENTRY,
    oil_too_hot::ENTRY,
    protection_mode::ENTRY,
    repeated_launches::ENTRY,
    scattered_timing::ENTRY,
    sensor_drops_out::ENTRY,
    sides_exchanged::ENTRY,
    signals_identical::ENTRY,
    slow_release::ENTRY,
    signal_frozen::STATE,
    supply_sag::ENTRY,
    tone_ring::ENTRY,
    torque_report_disagrees::ENTRY,
    two_cars::ENTRY,
    tyres_mismatched::ENTRY,
    working_on_the_straight::ENTRY,
    signal_frozen::YAW,
];

/// What a finding says of itself.
pub fn about(id: FindingId) -> &'static About {
    // The test holds that both are in one order, without holes.
    ALL[id as usize].about
}

/// How many checks of the car there are; whether the log is fit is none.
pub fn n_checks() -> usize {
    let is_check = |entry: &&Entry| entry.about.id != FindingId::LogNotFit;
    ALL.iter().filter(is_check).count()
}

/// Looks for every finding.
#[derive(Clone, Debug)]
pub struct Findings {
    checks: Vec<Box<dyn Check>>,
}

impl Findings {
    /// All checks, at the start of a drive.
    pub fn new(setup: &Setup) -> Findings {
        Findings {
            checks: ALL.iter().map(|entry| (entry.begin)(setup)).collect(),
        }
    }

    /// Shows the stretches that checks point at so far.
    pub fn strongest(&self, mut see: impl FnMut(&Strongest)) {
        for check in &self.checks {
            check.strongest(&mut see);
        }
    }

    /// Whether a finding fires by now.
    pub fn fires(&self, id: FindingId, drive: &Drive) -> bool {
        let mut of_id = self.checks.iter().zip(ALL);
        let found = of_id.find(|(_, entry)| entry.about.id == id);
        found.is_some_and(|(check, _)| matches!(check.outcome(drive), Ok(Some(_))))
    }

    /// Findings, gravest first and then by code; and what could not be looked for.
    pub fn outcome(&self, drive: &Drive) -> (Vec<Finding>, Vec<NotChecked>) {
        let (mut findings, mut not_checked) = (Vec::new(), Vec::new());
        for (check, Entry { about, on, .. }) in self.checks.iter().zip(ALL) {
            let outcome = match drive.trust.why_withheld(*on) {
                Some(why) => Err(why.clone()),
                None => check.outcome(drive),
            };
            // What raised a doubt is not weakened by it.
            let is_own = about.id == FindingId::DoesNotGrip;
            let doubts = drive
                .trust
                .doubts(*on)
                .filter(|doubt| doubt.is_upper_bound && !is_own);
            let doubted = doubts.map(|doubt| Grade::of(doubt.factor)).max();
            // Nobody is sent to the workshop, or stopped, by a log that carries no verdict.
            let most = match log_not_fit::is_unfit_for(drive, *on) {
                true => Severity::LookSoon,
                false => Severity::Stop,
            };
            match outcome {
                Ok(None) => {}
                Ok(Some(fired)) => findings.push(Finding {
                    id: about.id,
                    title: about.title,
                    severity: fired.severity.min(most),
                    grade: fired.grade.max(doubted.unwrap_or(Grade::A)),
                    summary: fired.summary,
                    evidence: fired.evidence,
                    could_also_be: about.could_also_be,
                    next_check: about.next_check,
                    owner_sees: about.owner_sees,
                    owner_does: about.owner_does,
                    withdrawn_if: about.withdrawn_if,
                }),
                Err(missing) => not_checked.push(NotChecked {
                    id: about.id,
                    title: about.title,
                    missing,
                }),
            }
        }
        // The sort is stable, and the registry is in order of code.
        findings.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
        (findings, not_checked)
    }
}

impl Part for Findings {
    fn block(&mut self, came: &Came) {
        for check in &mut self.checks {
            // A check may look for jumps on its own, and then states where they were.
            for reading in came.oil {
                check.note_oil(reading.time, reading.celsius);
            }
            for reading in came.air.iter().filter(|reading| reading.is_believed) {
                check.note_air(reading.time, reading.celsius);
            }
            check.note_block(came.block);
        }
    }

    fn rows(&mut self, passage: &Passage) {
        for check in &mut self.checks {
            check.note_rows(passage.rows, passage.regions);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::trust::{AIR, COMMAND, HEAT, OIL, STATE, Source, TURNING};
    use halfshaft_driveline::random::Random;
    use halfshaft_model::vehicle::Pack;

    /// What every finding says of half an hour of rows that hold a bit of everything, each spoiled
    /// by `spoil`, and of oil and air that are so much hotter.
    fn outcomes(spoil: fn(&mut Row), spoil_c: [f64; 2]) -> Vec<Outcome> {
        let mut scene = testing::Scene::whole();
        scene.vehicle.pack = Some(Pack {
            n_faces: 14,
            outer_radius_m: 0.06,
            inner_radius_m: 0.044,
            groove_share: 0.16,
            friction: None,
        });
        let mut random = Random::new(9);
        let mut rows: Vec<Row> = Vec::new();
        for index in 0..180_000 {
            let time_s = f64::from(index) * 0.01;
            let mut row = crate::testing::row(time_s);
            // Four seconds of one kind of driving after the other, each in its region.
            let phase = (index / 400) % 7;
            let sways = 0.1 * (random.below(1000) as f64 / 500.0 - 1.0);
            let (command, bend, difference, speed) = match phase {
                // A command that hunts.
                1 => (0.2 + 0.6 * f64::from(index / 10 % 2), 1.5, 1.4, 19.0),
                // A launch.
                2 => (0.9, 0.1, 15.0, 3.0),
                // Slip on the straight.
                3 => (0.5, 0.0, 2.0, 20.0),
                // Commanded and not holding in a bend.
                4 => (0.95, 3.0, 3.0, 19.0),
                // Holding without command.
                5 => (0.0, 2.0, 0.2, 19.0),
                // Stick and slip in a slow turn.
                6 => (0.6, 1.5, 1.5 + 3.0 * (75.0 * time_s).sin(), 4.0),
                _ => (0.0, 1.2, 1.1, 19.0),
            };
            row.command = Some(command);
            row.state = Some(command);
            row.kinematic_difference = Some(bend);
            row.yaw_rate = Some(0.2 * bend);
            row.openness = Some(if phase == 5 { 0.1 } else { 0.9 });
            row.difference_mean = difference + sways;
            row.road_referred_difference = row.difference_mean;
            row.slip_mean = 0.5 * row.difference_mean;
            (row.slip, row.slip_sharp) = (row.slip_mean, row.slip_mean);
            row.road_speed = Some(speed);
            row.case_speed = speed / 0.32;
            (row.torque_nm, row.heat_rate_w) = (Some(900.0), Some(90_000.0));
            row.work_j = Some(900.0 * row.slip_mean * 0.01);
            spoil(&mut row);
            rows.push(row);
        }
        let regions: Vec<Option<Region>> = (0..rows.len())
            .map(|index| Some(Region::ALL[(index / 400) % 7]))
            .collect();
        ALL.iter()
            .map(|entry| {
                let mut check = (entry.begin)(&scene.setup());
                for second in 0..1800 {
                    let time = Time::from_seconds(f64::from(second));
                    check.note_oil(time, 60.0 + 0.05 * f64::from(second) + spoil_c[0]);
                    check.note_air(time, 20.0 + spoil_c[1]);
                }
                check.note_rows(&rows, &regions);
                check.outcome(&scene.drive())
            })
            .collect()
    }

    /// A source that a finding does not declare may say what it likes: the finding is the same.
    /// So a declaration that is forgotten fails here, in whatever finding.
    #[test]
    fn no_finding_looks_at_a_source_that_it_does_not_declare() {
        type Spoiled = (Sources, fn(&mut Row), [f64; 2]);
        let spoiled: [Spoiled; 6] = [
            (
                COMMAND,
                |row| row.command = row.command.map(|command| 0.4 + 0.2 * command),
                [0.0; 2],
            ),
            (
                STATE,
                |row| row.state = row.state.map(|state| 0.9 - state),
                [0.0; 2],
            ),
            (
                HEAT,
                |row| {
                    row.torque_nm = Some(90.0);
                    row.work_j = row.work_j.map(|work_j| 0.1 * work_j);
                    row.heat_rate_w = Some(50.0);
                },
                [0.0; 2],
            ),
            (
                TURNING,
                |row| {
                    row.kinematic_difference = row.kinematic_difference.map(|asked| 3.0 - asked);
                    row.yaw_rate = row.yaw_rate.map(|rate| 0.9 - rate);
                    row.openness = Some(0.6);
                },
                [0.0; 2],
            ),
            (OIL, |_| {}, [70.0, 0.0]),
            (AIR, |_| {}, [0.0, 30.0]),
        ];
        let sound = outcomes(|_| {}, [0.0; 2]);
        let n_fired = sound
            .iter()
            .filter(|outcome| matches!(outcome, Ok(Some(_))))
            .count();
        // A speed is nobody's business on the owner's side, and summaries stand there.
        let summaries = sound.iter().flatten().flatten().map(|fired| &fired.summary);
        assert!(summaries.into_iter().all(|text| !text.contains("km/h")));
        assert!(n_fired >= 5, "the rows show too little: {n_fired} findings");
        for (source, spoil, spoil_c) in spoiled {
            let spoiled = outcomes(spoil, spoil_c);
            let mut n_changed = 0;
            for ((entry, sound), spoiled) in ALL.iter().zip(&sound).zip(&spoiled) {
                // Heat rests on the wheels too, as all does.
                let is_declared = entry.on & source & !crate::trust::on(&[Source::Wheels]) != 0;
                n_changed += usize::from(sound != spoiled);
                assert!(
                    is_declared || sound == spoiled,
                    "{} looks at {source:b}",
                    entry.about.id.word()
                );
            }
            assert!(
                n_changed > 0 || source == AIR,
                "{source:b} spoils nothing: no test of it"
            );
        }
    }

    #[test]
    fn codes_are_in_order_and_once_only() {
        let ids: Vec<FindingId> = ALL.iter().map(|entry| entry.about.id).collect();
        assert!(ids.is_sorted_by(|one, other| one < other), "{ids:?}");
        let words: Vec<&str> = ids.iter().map(|id| id.word()).collect();
        assert!(words.is_sorted_by(|one, other| one < other), "{words:?}");
        for (index, entry) in ALL.iter().enumerate() {
            let about = entry.about;
            assert_eq!(about.id as usize, index, "{}", about.id);
            let word = about.id.word();
            let is_kebab = word
                .chars()
                .all(|letter| letter.is_ascii_lowercase() || letter == '-');
            assert!(is_kebab, "{}", about.id);
            assert!(!about.severities.is_empty(), "{}", about.id);
            assert!(!(about.rule)(&Limits::default()).is_empty(), "{}", about.id);
        }
    }

    #[test]
    fn an_empty_drive_fires_nothing_but_that_it_is_not_fit() {
        let scene = testing::Scene::default();
        let findings = Findings::new(&scene.setup());
        let (found, not_checked) = findings.clone().outcome(&scene.drive());
        let ids: Vec<FindingId> = found.iter().map(|finding| finding.id).collect();
        assert_eq!(ids, [FindingId::LogNotFit]);
        assert_eq!(not_checked.len(), ALL.len() - 1, "{not_checked:?}");
        assert!(
            not_checked
                .iter()
                .all(|left| !left.missing.to_string().is_empty())
        );
    }
}
