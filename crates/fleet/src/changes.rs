//! What `whatif` says of another pack, beside the truth of the car that truly has it.
//!
//! In: a seed and how many drives. Out: for each change and figure how the number stands, what it is, what the
//! plant made of it on the same drive, and how often that lies in the stated range. Compared are ratios of the
//! changed car to the same car unchanged, and differences of temperatures: what the map is off by concerns both.

use std::fmt::Write;

use halfshaft_drive::{Drive, Options};
use halfshaft_health::FigureId;
use halfshaft_health::limits::Limits;
use halfshaft_health::what_if::{Answer, Change, Line, Standing, WhatIf};
use halfshaft_model::Batch;
use halfshaft_model::channel::name;
use halfshaft_model::vehicle::TorqueSource;
use halfshaft_signal_map::Map;
use halfshaft_simulate::fleet::pair::{self, Altered};
use halfshaft_simulate::fleet::{self, Car, Truth};

use crate::run;

/// One number of one drive.
pub struct Told {
    /// The car.
    pub number: u64,
    /// What was altered.
    pub altered: Altered,
    /// Name of the figure.
    pub figure: &'static str,
    /// How the program lets it stand.
    pub standing: Standing,
    /// Lowest, told and highest change; nothing where it says that it is not known.
    pub range: Option<[f64; 3]>,
    /// The true change.
    pub truth: f64,
    is_kelvin: bool,
}

/// What a stated range is widened by before a truth outside of it counts as outside: what the same drive with
/// nothing altered would differ by in its last digits once a wheel breaks away a millisecond later.
const SHARE: f64 = 0.03;
const KELVIN: f64 = 1.0;

impl Told {
    /// Whether the truth lies in the range; nothing where none is stated.
    pub fn is_inside(&self) -> Option<bool> {
        let [low, _, high] = self.range?;
        let more = if self.is_kelvin { KELVIN } else { SHARE };
        Some((low - more..=high + more).contains(&self.truth))
    }
}

/// A figure with its truth.
type Checked = (FigureId, fn(&Truth) -> f64);

const CHECKED: [Checked; 8] = [
    (FigureId::HeatTotal, |truth| truth.heat_kj),
    (FigureId::HeatPeak, |truth| truth.heat_peak_kw),
    (FigureId::SpecificEnergyMax, |truth| truth.specific_energy),
    (FigureId::SpecificPowerMax, |truth| truth.specific_power),
    (FigureId::SlipPeak, |truth| truth.slip_peak),
    (FigureId::PartialHeatMaking, |truth| truth.partial_s),
    (FigureId::OilTempMax, |truth| truth.oil_max_c),
    (FigureId::PackTempMax, |truth| truth.pack_max_c),
];

/// Cars looked at for so many drives.
const LOOKED_AT: u64 = 400;

/// So many drives with every change. Taken are the first cars whose map and log say all that is changed.
pub fn drive_all(seed: u64, n_drives: u64, n_threads: usize) -> Vec<Told> {
    let fit = |number: &u64| {
        let car = pair::to_exchange(seed, *number);
        let map = map_of(&car);
        let is_told = map.vehicle.pack.is_some()
            && map.vehicle.preload_nm.is_some()
            && map
                .vehicle
                .layout
                .is_some_and(|layout| layout.slip_factor().is_some())
            && matches!(
                map.vehicle.torque_sources.first(),
                Some(TorqueSource::Table { .. })
            )
            && map
                .channels
                .iter()
                .any(|channel| channel.name == name::OIL_TEMPERATURE);
        is_told.then_some(*number)
    };
    let numbers: Vec<u64> = (1..=LOOKED_AT)
        .filter_map(|number| fit(&number))
        .take(n_drives as usize)
        .collect();
    let of_cars = run::on_threads(numbers.len(), n_threads, |index| {
        of_car(seed, numbers[index])
    });
    of_cars.into_iter().flatten().collect()
}

fn map_of(car: &Car) -> Map {
    match halfshaft_signal_map::parse("fleet.map", &fleet::map_text(car)) {
        Ok(checked) => checked.map,
        Err(mistakes) => panic!("car {}: {}", car.number, mistakes.render(false)),
    }
}

fn of_car(seed: u64, number: u64) -> Vec<Told> {
    let car = pair::to_exchange(seed, number);
    let map = map_of(&car);
    let (batch, before) = fleet::drive(&car);
    let mut all = Vec::new();
    for altered in Altered::ALL {
        let other = altered.in_car(&car);
        let change = asked(altered, &map, &other);
        let answer = ask(&map, &batch, &change);
        let (_, after) = fleet::drive(&other);
        for (figure, truth) in CHECKED {
            let truths = [truth(&before), truth(&after)];
            all.extend(
                answer
                    .line(figure.word())
                    .and_then(|line| told(line, truths))
                    .map(|(standing, range, truth, is_kelvin)| Told {
                        number,
                        altered,
                        figure: figure.word(),
                        standing,
                        range,
                        truth,
                        is_kelvin,
                    }),
            );
        }
    }
    all
}

// The change as an owner would ask for it, by the numbers of his map.
fn asked(altered: Altered, map: &Map, other: &Car) -> Change {
    let vehicle = &map.vehicle;
    let pack = vehicle.pack.expect("such maps were taken");
    let preload = vehicle.preload_nm.expect("such maps were taken");
    let none = Change::default();
    match altered {
        Altered::Faces => Change {
            n_faces: Some(other.pack.n_faces.round() as u32),
            ..none
        },
        Altered::Friction => Change {
            friction: pack.friction.map(|friction| 0.75 * friction.value),
            ..none
        },
        Altered::Preload => Change {
            preload_nm: Some(1.5 * preload.value),
            ..none
        },
        Altered::Oil => Change {
            oil_volume_m3: vehicle.oil_volume_m3.map(|volume_m3| 0.5 * volume_m3),
            ..none
        },
        Altered::Cooling => Change {
            cooling: Some(1.5),
            ..none
        },
        Altered::Table => Change {
            torque_table: match map_of(other).vehicle.torque_sources.into_iter().next() {
                Some(TorqueSource::Table { table, .. }) => Some(table),
                _ => None,
            },
            ..none
        },
    }
}

fn ask(map: &Map, batch: &Batch, change: &Change) -> Answer {
    let mut other = WhatIf::new(&map.vehicle, &map.channels, &Limits::default(), change)
        .expect("such maps were taken");
    let mut drive = Drive::new(map, &Options::default());
    for part in run::parts(batch) {
        drive.push(&part);
        other.push(drive.block(), drive.derived());
    }
    drive.finish();
    other.push(drive.block(), drive.derived());
    other.finish();
    let three = drive.results_beside(&mut other);
    other.answer(&three)
}

type Range = Option<[f64; 3]>;

// How it stands, the change it tells and the true one: shares of the value before, or kelvin. Nothing of a
// figure that the log does not give.
fn told(line: &Line, [before, after]: [f64; 2]) -> Option<(Standing, Range, f64, bool)> {
    let logged = *line.logged.as_ref().ok()?;
    let is_kelvin = line.unit == "°C";
    let change = |value: f64, whole: f64| match is_kelvin {
        true => value - whole,
        false => value / whole - 1.0,
    };
    let truth = change(after, before);
    let other = &line.same_force;
    let range = other.range().and_then(|[low, high]| {
        let value = *other.value.as_ref().ok()?;
        Some([low, value, high].map(|value| change(value, logged)))
    });
    truth
        .is_finite()
        .then_some((other.standing, range, truth, is_kelvin))
}

/// The table.
pub fn text(all: &[Told]) -> String {
    let mut text = String::from(
        "| changed | figure | drives | stands | by whatif | truly | in the stated range |\n|---|---|---|---|---|---|---|\n",
    );
    for altered in Altered::ALL {
        for (figure, _) in CHECKED {
            let of: Vec<&Told> = all
                .iter()
                .filter(|told| (told.altered, told.figure) == (altered, figure.word()))
                .collect();
            let Some(first) = of.first() else { continue };
            let words = |values: Vec<f64>| {
                let [low, high] =
                    [f64::min, f64::max].map(|end| values.iter().copied().reduce(end));
                match (low, high, first.is_kelvin) {
                    (Some(low), Some(high), true) => format!("{low:+.1} to {high:+.1} K"),
                    (Some(low), Some(high), false) => {
                        format!("{:+} to {:+} %", percent(low), percent(high))
                    }
                    _ => "–".to_owned(),
                }
            };
            let stated: Vec<bool> = of.iter().filter_map(|told| told.is_inside()).collect();
            let _ = writeln!(
                text,
                "| {} | `{}` | {} | {} | {} | {} | {} |",
                altered.words(),
                figure.word(),
                of.len(),
                first.standing.words(),
                words(of.iter().filter_map(|told| Some(told.range?[1])).collect()),
                words(of.iter().map(|told| told.truth).collect()),
                match stated.len() {
                    0 => "none stated".to_owned(),
                    n => format!(
                        "{} of {n}",
                        stated.iter().filter(|is_inside| **is_inside).count()
                    ),
                },
            );
        }
    }
    text
}

fn percent(share: f64) -> i64 {
    (100.0 * share).round() as i64
}

/// Each number outside of its range, a line each.
pub fn list(all: &[Told]) -> String {
    let mut text = String::new();
    for told in all.iter().filter(|told| told.is_inside() == Some(false)) {
        let _ = writeln!(
            text,
            "- car {} {}: {} {} {:?}, truly {:+.3}",
            told.number,
            told.altered.words(),
            told.figure,
            told.standing.words(),
            told.range.unwrap_or_default(),
            told.truth
        );
    }
    text
}
