//! Twelve drives of one car, each compared with all before it: at which drive a change is said, and what is said
//! with nothing changed.
//!
//! In: a seed and how many cars. Out: for each finding that compares with the car's own past, in how many chains it
//! was said and at which drive.

use std::collections::BTreeMap;
use std::fmt::Write;

use halfshaft_health::baseline::{Earlier, Quantity, three_digits};
use halfshaft_health::{FindingId, Results};
use halfshaft_simulate::fleet;
use halfshaft_simulate::fleet::chain::{self, Creeps, N_DRIVES};

use crate::run;

/// Findings that compare with the car's own past.
pub const OF_THE_PAST: [FindingId; 5] = [
    FindingId::LazyActuator,
    FindingId::SlowRelease,
    FindingId::MotorWorksHard,
    FindingId::OilLoss,
    FindingId::DoesNotCool,
];

/// What each of them compares.
fn compared(id: FindingId) -> &'static [Quantity] {
    match id {
        FindingId::LazyActuator => &[Quantity::TransitionTime, Quantity::RiseTime],
        FindingId::SlowRelease => &[Quantity::ReleaseTime],
        FindingId::MotorWorksHard => &[Quantity::HoldCurrent],
        FindingId::OilLoss => &[Quantity::RisePerHeat, Quantity::Equalisation],
        _ => &[Quantity::StandingCooling],
    }
}

/// Drives with a value of which the first three are a past and the last is compared with it.
const LEAST_COMPARED: usize = 4;

/// One finding over one chain.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Heard {
    /// First said at this drive, counted from 1.
    At(u64),
    /// Never said, though it was looked for with a past.
    Silent,
    /// No drive could look for it, or too few gave a value to compare.
    NotChecked,
}

/// What was said over a chain.
pub struct Chain {
    /// The car.
    pub number: u64,
    /// What creeps.
    pub creeps: Creeps,
    /// For each finding of the past.
    pub heard: Vec<(FindingId, Heard)>,
    /// What each drive gave later ones to compare with.
    pub drives: Vec<Earlier>,
}

impl Chain {
    /// What was heard of a finding.
    pub fn of(&self, id: FindingId) -> Heard {
        let mut heard = self.heard.iter();
        heard
            .find(|(found, _)| *found == id)
            .map_or(Heard::NotChecked, |(_, heard)| *heard)
    }
}

/// Drives cars of a seed, by their numbers, through every chain.
pub fn drive_all(seed: u64, numbers: &[u64], n_threads: usize) -> Vec<Chain> {
    let n_cars = numbers.len();
    run::on_threads(Creeps::ALL.len() * n_cars, n_threads, |index| {
        chain_of(seed, numbers[index % n_cars], Creeps::ALL[index / n_cars])
    })
}

fn chain_of(seed: u64, number: u64, creeps: Creeps) -> Chain {
    let mut past = Vec::new();
    let mut heard = OF_THE_PAST.map(|id| (id, Heard::NotChecked));
    for drive in 0..N_DRIVES {
        let car = chain::drive(seed, number, creeps, drive);
        let (_, results) = run::assess(&car, &fleet::drive(&car).0, &past);
        for (id, heard) in &mut heard {
            match (*heard, was_said(&results, *id)) {
                (Heard::At(_), _) | (_, None) => {}
                (_, Some(true)) => *heard = Heard::At(drive + 1),
                (_, Some(false)) => *heard = Heard::Silent,
            }
        }
        past.push(run::earlier(&results));
    }
    for (id, heard) in &mut heard {
        let gives = |drive: &&Earlier| {
            let mut values = drive.values.iter();
            values.any(|(quantity, _)| compared(*id).contains(quantity))
        };
        if *heard == Heard::Silent && past.iter().filter(gives).count() < LEAST_COMPARED {
            *heard = Heard::NotChecked;
        }
    }
    Chain {
        number,
        creeps,
        heard: heard.to_vec(),
        drives: past,
    }
}

// `None` when it could not be looked for.
fn was_said(results: &Results, id: FindingId) -> Option<bool> {
    if results.not_checked.iter().any(|left| left.id == id) {
        return None;
    }
    Some(results.findings.iter().any(|finding| finding.id == id))
}

/// What each drive of each chain gave to compare with, a line a quantity.
pub fn list(chains: &[Chain]) -> String {
    let mut text = String::new();
    for chain in chains {
        let _ = writeln!(text, "- car {}, {}", chain.number, chain.creeps.words());
        for (quantity, name) in Quantity::ALL {
            let values = chain.drives.iter().map(|drive| {
                let mut values = drive.values.iter();
                let found = values.find(|(known, _)| *known == quantity);
                found.map(|(_, value)| three_digits(*value))
            });
            let values: Vec<Option<String>> = values.collect();
            if values.iter().any(Option::is_some) {
                let values = values
                    .into_iter()
                    .map(|value| value.unwrap_or_else(|| "–".to_owned()));
                let _ = writeln!(text, "  - {name}: {}", values.collect::<Vec<_>>().join(" "));
            }
        }
    }
    text
}

/// The table.
pub fn text(chains: &[Chain]) -> String {
    let mut rows: BTreeMap<(u8, usize), (Creeps, FindingId, Vec<Heard>)> = BTreeMap::new();
    for chain in chains {
        for (index, (id, heard)) in chain.heard.iter().enumerate() {
            let row = rows
                .entry((chain.creeps as u8, index))
                .or_insert_with(|| (chain.creeps, *id, Vec::new()));
            row.2.push(*heard);
        }
    }
    let mut text = format!(
        "| what creeps | finding | cars | not checked, or fewer than {LEAST_COMPARED} of {N_DRIVES} drives give a value | never said | first said at drive |\n\
         |---|---|---|---|---|---|\n"
    );
    for (creeps, id, heard) in rows.values() {
        let count = |wanted: Heard| heard.iter().filter(|one| **one == wanted).count();
        let at = (1..=N_DRIVES).filter_map(|drive| match count(Heard::At(drive)) {
            0 => None,
            n => Some(format!("{drive}: {n}")),
        });
        let at: Vec<String> = at.collect();
        let _ = writeln!(
            text,
            "| {} | `{}` | {} | {} | {} | {} |",
            creeps.words(),
            id.word(),
            heard.len(),
            count(Heard::NotChecked),
            count(Heard::Silent),
            at.join(", ")
        );
    }
    text
}
