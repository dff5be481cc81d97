//! Two drives of one car through the whole program and its comparison: what it claims has changed.
//!
//! In: a seed and how many cars. Out: for each change and figure how often a difference was seen, whether its
//! band held the truth where the plant knows it, and how far the figure wanders with nothing changed.

use std::fmt::Write;

use halfshaft_drive::Drive;
use halfshaft_health::compare::{Change, Comparison, Session, Whose, compare};
use halfshaft_health::limits::Limits;
use halfshaft_health::{FigureId, Results};
use halfshaft_model::Stamp;
use halfshaft_record::document::{ClockKind, ClockRecord, MapRecord};
use halfshaft_record::{Document, Record};
use halfshaft_simulate::fleet::pair::{self, Changed};
use halfshaft_simulate::fleet::{self, Car, Truth};

use crate::run;

/// One drive, as it is compared.
struct Side {
    session: Session,
    truth: Truth,
}

/// What was said of one pair.
pub struct Pair {
    /// The car.
    pub number: u64,
    /// What was changed.
    pub changed: Changed,
    /// What the program said.
    pub comparison: Comparison,
    truths: [Truth; 2],
}

/// What a change of one figure truly was, where the plant knows it: after over before.
fn true_ratio(name: &str, [before, after]: &[Truth; 2]) -> Option<f64> {
    let of = |truth: &Truth| {
        [
            (FigureId::DeadTime, truth.dead_s),
            (FigureId::RiseTime, truth.rise_s),
            (FigureId::TransitionTime, truth.transition_s),
            (FigureId::ReleaseTime, truth.release_s),
        ]
        .into_iter()
        .find(|(figure, _)| figure.word() == name)
        .map(|(_, seconds)| seconds)
    };
    Some(of(after)? / of(before)?).filter(|ratio| ratio.is_finite())
}

/// The figures that a change should be seen in.
fn wanted(changed: Changed) -> Vec<&'static str> {
    match changed {
        Changed::Nothing | Changed::NothingOnRoad | Changed::Driver => Vec::new(),
        Changed::Rise => vec![FigureId::RiseTime.word(), FigureId::TransitionTime.word()],
        Changed::Release => vec![FigureId::ReleaseTime.word()],
        Changed::Preload => vec!["heat_per_degree_open"],
        Changed::Tyres => vec![FigureId::TyreRatio.word()],
        Changed::HalfOil | Changed::Cooling => vec![
            "oil_rise_per_lap",
            "pack_to_oil",
            "oil_to_housing",
            "housing_to_air",
        ],
        Changed::Grip => vec!["held_torque"],
    }
}

/// Differences that were called the car's though nothing of it was changed, and how many were looked for: of all
/// figures.
pub fn wrongly_of_car(pairs: &[Pair]) -> (u32, u32) {
    let still = pairs.iter().filter(|pair| wanted(pair.changed).is_empty());
    still
        .flat_map(|pair| &pair.comparison.figures)
        .fold((0, 0), |(wrong, all), figure| {
            let is_wrong = figure.whose == Some(Whose::Car);
            (
                wrong + u32::from(is_wrong),
                all + u32::from(figure.outcome.is_ok()),
            )
        })
}

/// Pairs in which a figure that a change should be seen in was compared, and in how many it was seen.
pub fn found(pairs: &[Pair], changed: Changed) -> (u32, u32) {
    let of_change = pairs.iter().filter(|pair| pair.changed == changed);
    of_change.fold((0, 0), |(seen, all), pair| {
        let told: Vec<bool> = wanted(changed)
            .into_iter()
            .filter_map(|name| pair.comparison.figure(name)?.outcome.as_ref().ok())
            .map(Change::is_seen)
            .collect();
        let is_seen = told.contains(&true);
        (seen + u32::from(is_seen), all + u32::from(!told.is_empty()))
    })
}

/// Compares so many cars of a seed before and after every change.
pub fn compare_all(seed: u64, n_cars: u64, n_threads: usize) -> Vec<Pair> {
    let of_cars = run::on_threads(n_cars as usize, n_threads, |index| {
        pairs_of(seed, 1 + index as u64)
    });
    of_cars.into_iter().flatten().collect()
}

/// One drive of a pair.
pub struct DriveOf {
    number: u64,
    changed: Changed,
    is_after: bool,
}

/// Each drive of the pairs of so many cars.
pub fn drives(n_cars: u64) -> Vec<DriveOf> {
    let mut all = Vec::new();
    for number in 1..=n_cars {
        for changed in Changed::ALL {
            all.extend([false, true].map(|is_after| DriveOf {
                number,
                changed,
                is_after,
            }));
        }
    }
    all
}

impl DriveOf {
    /// A name for its files, and its car.
    pub fn car(&self, seed: u64) -> (String, Car) {
        let (when, car) = match self.is_after {
            false => ("before", pair::before(seed, self.number, self.changed)),
            true => ("after", pair::after(seed, self.number, self.changed)),
        };
        let name = format!("{}-{}-{when}", self.changed.word(), self.number);
        (name, car)
    }
}

fn pairs_of(seed: u64, number: u64) -> Vec<Pair> {
    Changed::ALL
        .into_iter()
        .map(|changed| {
            let before = side(&pair::before(seed, number, changed));
            let after = side(&pair::after(seed, number, changed));
            Pair {
                number,
                changed,
                comparison: compare(
                    &[before.session],
                    &[after.session],
                    &[],
                    &Limits::default().compare,
                ),
                truths: [before.truth, after.truth],
            }
        })
        .collect()
}

fn side(car: &Car) -> Side {
    let (batch, truth) = fleet::drive(car);
    let (drive, results) = run::assess(car, &batch, &[]);
    Side {
        session: record(&drive, &results).session(&Limits::default()),
        truth,
    }
}

fn record(drive: &Drive, results: &Results) -> Record {
    Record::of(&Document {
        results,
        inputs: Vec::new(),
        notices: drive.front().notices(),
        remarks: Vec::new(),
        map: MapRecord::default(),
        program_version: env!("CARGO_PKG_VERSION"),
        compared_with: None,
        command: String::new(),
        clock: ClockRecord {
            kind: ClockKind::Relative,
            words: String::new(),
            first_stamp: Stamp(0),
            last_stamp: Stamp(0),
            set_ahead_ns: 0,
        },
        workshop: None,
        files_written: Vec::new(),
    })
}

/// How a figure did over all pairs of a change.
#[derive(Default)]
struct Tally {
    n: u32,
    seen: u32,
    of_car: u32,
    held: u32,
    with_truth: u32,
    // Difference and smallest that would have been seen, as shares of the value before.
    shares: Vec<(f64, f64)>,
}

impl Tally {
    fn add(&mut self, change: &Change, unit: &str, whose: Option<Whose>, ratio: Option<f64>) {
        self.n += 1;
        self.of_car += u32::from(whose == Some(Whose::Car));
        self.seen += u32::from(change.is_seen());
        // A share of what is in per cent already, and near 0, means nothing.
        let whole = match unit {
            "%" => 100.0,
            _ => change.before.abs(),
        };
        if whole > 0.0 {
            self.shares
                .push((change.difference / whole, change.smallest / whole));
        }
        if let Some(ratio) = ratio {
            let truth = (ratio - 1.0) * change.before;
            self.with_truth += 1;
            self.held += u32::from((change.low..=change.high).contains(&truth));
        }
    }

    fn middle(&self, of: impl Fn(&(f64, f64)) -> f64) -> f64 {
        let mut values: Vec<f64> = self.shares.iter().map(of).collect();
        values.sort_by(f64::total_cmp);
        values.get(values.len() / 2).copied().unwrap_or(f64::NAN)
    }

    // Derived: of a normal scatter the difference that is seen eight times out of ten is (1.645 + 0.842) sd.
    fn smallest_by_scatter(&self) -> f64 {
        let median = self.middle(|(difference, _)| difference.abs());
        median / 0.674_5 * (1.645 + 0.842)
    }
}

/// Each figure of each pair in a line.
pub fn list(pairs: &[Pair]) -> String {
    let mut text = String::new();
    for pair in pairs {
        for figure in &pair.comparison.figures {
            let Ok(change) = &figure.outcome else {
                continue;
            };
            let truth = true_ratio(figure.name, &pair.truths)
                .map_or(String::new(), |ratio| format!(", truly x{ratio:.3}"));
            let _ = writeln!(
                text,
                "- car {} {}: {} {:.4} to {:.4} {} ({:+.4} to {:+.4}){truth} {}",
                pair.number,
                pair.changed.words(),
                figure.name,
                change.before,
                change.after,
                figure.unit,
                change.low,
                change.high,
                figure.whose.map_or("", Whose::word),
            );
        }
    }
    text
}

/// The table.
pub fn text(pairs: &[Pair]) -> String {
    // Which figures there are differs from pair to pair: each has its row by its name.
    let mut tallies: Vec<(Changed, &'static str, Tally)> = Vec::new();
    for pair in pairs {
        for figure in &pair.comparison.figures {
            let is_of =
                |row: &(Changed, &str, Tally)| (row.0, row.1) == (pair.changed, figure.name);
            let at = tallies.iter().position(is_of);
            let at = at.unwrap_or_else(|| {
                tallies.push((pair.changed, figure.name, Tally::default()));
                tallies.len() - 1
            });
            if let Ok(change) = &figure.outcome {
                let truth = true_ratio(figure.name, &pair.truths);
                tallies[at].2.add(change, figure.unit, figure.whose, truth);
            }
        }
    }
    tallies.sort_by_key(|(changed, ..)| *changed as u8);
    let mut text = String::from(
        "| changed | figure | pairs | seen | called the car's | median change | band holds the truth | smallest said | by the scatter |\n\
         |---|---|---|---|---|---|---|---|---|\n",
    );
    for (changed, name, tally) in &tallies {
        let is_wanted = wanted(*changed).contains(name);
        let is_still = wanted(*changed).is_empty();
        if tally.n == 0 || !is_wanted && !is_still {
            continue;
        }
        let scatter = match changed {
            Changed::Nothing | Changed::NothingOnRoad => {
                format!("{:.1} %", 100.0 * tally.smallest_by_scatter())
            }
            _ => String::new(),
        };
        let _ = writeln!(
            text,
            "| {} | `{name}` | {} | {} | {} | {:+.1} % | {} | {:.1} % | {scatter} |",
            changed.words(),
            tally.n,
            tally.seen,
            tally.of_car,
            100.0 * tally.middle(|(difference, _)| *difference),
            match tally.with_truth {
                0 => String::new(),
                n => format!("{} of {n}", tally.held),
            },
            100.0 * tally.middle(|(_, smallest)| *smallest),
        );
    }
    text
}
