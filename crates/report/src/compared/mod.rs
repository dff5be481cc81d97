//! What a comparison of drives before and after says, in whichever form.
//!
//! In: a [`ComparisonDocument`], the comparison and the records of the drives. Out: its sentences. Nothing here
//! computes a figure. Where no difference is seen it says so, and how small a one would have been.

pub mod words;

use halfshaft_health::SettingChanged;
use halfshaft_health::compare::{Change, Comparison, Whose};
use halfshaft_record::Record;
use halfshaft_record::findings::Severity;
use halfshaft_record::run::Map;

use crate::words::{clean, sentence};

/// Everything a comparison says, in whichever form.
#[derive(Clone, Debug)]
pub struct ComparisonDocument<'a> {
    /// What changed.
    pub comparison: &'a Comparison,
    /// The drives before, after, and of the car as before once more, if any.
    pub sides: [&'a [Record]; 3],
    /// Limits of this run that were not the usual ones.
    pub settings_changed: &'a [SettingChanged],
    /// Version of the program.
    pub program_version: &'a str,
    /// The command that makes this comparison again.
    pub command: String,
    /// Files that were written beside it.
    pub files_written: Vec<String>,
}

impl ComparisonDocument<'_> {
    /// Every drive, with the side it is of.
    fn drives(&self) -> impl Iterator<Item = (&'static str, &Record)> {
        let sides = ["before", "after", "again"].into_iter().zip(self.sides);
        sides.flat_map(|(when, records)| records.iter().map(move |record| (when, record)))
    }

    /// The car, as the first drive has it.
    pub fn unit(&self) -> String {
        let first = self.drives().next();
        first.map_or(String::new(), |(_, record)| clean(unit_of(&record.map)))
    }

    /// The limits of this comparison, one sentence each: the maps first.
    pub fn notes(&self) -> Vec<String> {
        let mut notes = Vec::new();
        let units = self.each(|record| unit_of(&record.map));
        if units.len() > 1 {
            notes.push(format!("These are not of one unit: {}.", by_side(&units)));
        }
        if self.each(|record| record.map.fingerprint.clone()).len() > 1 {
            notes.push(
                "They were read through different maps: where the maps differ, a difference may be theirs."
                    .to_owned(),
            );
        }
        let judged = self.each(|record| match judged_by(record).as_slice() {
            [] => "the usual ones".to_owned(),
            limits => limits.join(", "),
        });
        let settings = self.settings_changed();
        if judged.len() > 1 {
            notes.push(format!(
                "They were judged by different limits: {}.",
                by_side(&judged)
            ));
        } else if !settings.is_empty() {
            notes.push(format!(
                "All were judged by other limits than the usual ones: {}.",
                settings.join(", ")
            ));
        }
        notes.extend(self.comparison.notes.iter().cloned());
        notes
    }

    /// What differs among the drives, each once, with the first side that has it.
    fn each(&self, of: impl Fn(&Record) -> String) -> Vec<(&'static str, String)> {
        let mut all: Vec<(&str, String)> = Vec::new();
        for (when, record) in self.drives() {
            let one = of(record);
            if !all.iter().any(|(_, known)| *known == one) {
                all.push((when, one));
            }
        }
        all
    }

    /// Findings of any drive that want something done: a figure beside a fault compares the fault.
    pub fn findings(&self) -> Vec<String> {
        let mut all: Vec<String> = Vec::new();
        for (when, record) in self.drives() {
            let grave = record.findings.iter();
            for one in grave.filter(|one| one.severity != Severity::Note) {
                let words = format!("{when}: {} ({})", one.title, severity(one.severity));
                if !all.contains(&words) {
                    all.push(words);
                }
            }
        }
        all
    }

    /// What these figures cannot show, whatever they say.
    pub fn blind_spots(&self) -> Vec<String> {
        let comparison = self.comparison;
        let is_told = |name: &str| {
            let figure = comparison.figure(name);
            figure.is_some_and(|figure| figure.outcome.is_ok())
        };
        let mut spots = Vec::new();
        if is_told("heat_per_lap") || is_told("heat_per_degree_open") {
            spots.push(format!(
                "Heat is worked out from the torque that the map states, so linings that grip less, or a preload that \
                 has worn, do not show in it. {}",
                self.witnesses()
            ));
        }
        if !is_told("oil_rise_per_lap") {
            spots.push(
                "The oil was not compared, so neither was what cools the axle, nor how much oil is in it."
                    .to_owned(),
            );
        }
        spots
    }

    /// What would show linings that grip less, and from how much on.
    fn witnesses(&self) -> String {
        let smallest = |name: &str| {
            let figure = self.comparison.figure(name)?;
            let change = figure.outcome.as_ref().ok()?;
            Some(100.0 * change.smallest / change.before.abs())
        };
        let shows = |what: &str, percent: f64| match percent {
            percent if percent < 100.0 => format!("{what} would from {percent:.0}\u{a0}% on"),
            _ => format!("{what} scatters too much here to do so"),
        };
        let held = match smallest("held_torque") {
            Some(percent) => shows("the torque held by the tyres", percent),
            None => "the torque held by the tyres would, and could not be compared".to_owned(),
        };
        let oil = smallest("oil_rise_per_lap").map_or(String::new(), |percent| {
            format!("; {}", shows("the rise of the oil", percent))
        });
        sentence(&format!("{held}{oil}"))
    }

    /// What to do next, one sentence each.
    pub fn next(&self) -> Vec<String> {
        let comparison = self.comparison;
        let mut next = Vec::new();
        if !self.findings().is_empty() {
            next.push("Look first at what the reports find wrong: a figure beside a fault compares the fault.");
        }
        let whose = |wanted: Whose| {
            let mut figures = comparison.figures.iter();
            figures.any(|figure| figure.whose == Some(wanted))
        };
        if comparison.matched.is_err() {
            next.push("Drive three laps or more of one circuit before and after: then laps and corners can be compared.");
        } else if whose(Whose::Driving) {
            next.push("Drive once more at the lap times and corner speeds of before: what then remains is the car's.");
        }
        let has_again = !self.sides[2].is_empty();
        if whose(Whose::Car) && !has_again {
            next.push("To be sure, put the car back as it was, drive once more and give that log with --again: only what goes away again was the change.");
        }
        if whose(Whose::Drift) || whose(Whose::Unconfirmed) {
            next.push("Drive both once more, in turn, in like weather: what moved by itself today shows twice, what was changed goes there and back.");
        }
        let is_one_each = self.sides[..2].iter().any(|side| side.len() < 2);
        if is_one_each
            && comparison.figures.iter().any(|figure| {
                figure
                    .outcome
                    .as_ref()
                    .is_ok_and(|change: &Change| !change.is_seen())
            })
        {
            next.push("To see smaller differences, drive twice or more on each side and give all logs with --before and --after.");
        }
        next.into_iter().map(str::to_owned).collect()
    }

    /// Every limit that was not the usual one, of any drive or of this run.
    pub fn settings_changed(&self) -> Vec<String> {
        let mut all: Vec<String> = Vec::new();
        for (_, record) in self.drives() {
            for one in judged_by(record) {
                if !all.contains(&one) {
                    all.push(one);
                }
            }
        }
        let own = self.settings_changed.iter();
        let own = own.filter(|setting| is_of_comparison(&setting.key));
        all.extend(own.map(|setting| format!("{} {}", setting.key, setting.value)));
        all
    }
}

/// Limits that a drive was judged by and that were not the usual ones. Those of comparisons are of this run.
fn judged_by(record: &Record) -> Vec<String> {
    let settings = record.settings_changed.iter();
    settings
        .filter(|setting| !is_of_comparison(&setting.key))
        .map(|setting| format!("{} {}", setting.key, setting.value))
        .collect()
}

fn by_side(all: &[(&str, String)]) -> String {
    let all = all.iter().map(|(when, one)| format!("{when} {one}"));
    all.collect::<Vec<String>>().join(", ")
}

fn is_of_comparison(key: &str) -> bool {
    key.starts_with("compare.")
}

fn unit_of(map: &Map) -> String {
    match &map.unit {
        Some(unit) => format!("{}, unit {unit}", map.vehicle),
        None => map.vehicle.clone(),
    }
}

fn severity(severity: Severity) -> &'static str {
    match severity {
        Severity::Note => "note",
        Severity::LookSoon => "look soon",
        Severity::Act => "act",
        Severity::Stop => "stop",
    }
}
