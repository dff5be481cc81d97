//! One car through the whole program.
//!
//! In: a car. Out: what the program said of its drive, beside the truth; and all cars of a
//! fleet on all cores, in the order of their numbers.

use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

use halfshaft_drive::{Drive, Options};
use halfshaft_health::baseline::{Baseline, Earlier, conditions};
use halfshaft_health::comparable::{COMPARED_FROM, comparable};
use halfshaft_health::{Estimate, FigureId, FindingId, Results, Severity};
use halfshaft_logs::write::write_frame;
use halfshaft_model::{Batch, Entry};
use halfshaft_signal_map::survey::Kind;
use halfshaft_simulate::fleet::{self, Car, Fault, Form, Truth};

/// Numbers of ill cars begin here.
pub const FIRST_ILL: u64 = 10_000;
/// At most so many cars of one fault, form and place.
pub const MOST_OF_A_KIND: u64 = 100;

/// What the program said of a drive.
#[derive(Clone, Debug)]
pub struct Said {
    /// Findings.
    pub findings: Vec<(FindingId, Severity)>,
    /// Findings that could not be looked for.
    pub not_checked: Vec<FindingId>,
    /// Remarks on log and map: kind and words.
    pub remarks: Vec<(Kind, String)>,
    /// Notices: code and how often.
    pub notices: Vec<String>,
    /// Figures.
    pub figures: Vec<(FigureId, Option<Estimate>)>,
}

impl Said {
    /// The figure of that name.
    pub fn figure(&self, id: FigureId) -> Option<Estimate> {
        let (_, estimate) = self.figures.iter().find(|(figure, _)| *figure == id)?;
        *estimate
    }

    /// Whether a finding is among those.
    pub fn has(&self, id: FindingId) -> bool {
        self.findings.iter().any(|(found, _)| *found == id)
    }
}

/// A drive with what was said of it.
#[derive(Clone, Debug)]
pub struct Judged {
    /// The car.
    pub car: Car,
    /// The truth.
    pub truth: Truth,
    /// What the program said.
    pub said: Said,
    /// What it said of the same drive without its fault, where the fault is one of the bus that
    /// dirties the wheels.
    pub clean: Option<Said>,
}

/// The numbers of a fleet: so many healthy cars, so many of each fault, or of `only` one, in each form
/// and place.
pub fn numbers(n_healthy: u64, n_ill: u64, only: Option<Fault>) -> Vec<u64> {
    let counts = |fault: &Fault| only.is_none_or(|only| only == *fault);
    let faults = (0..).zip(Fault::ALL).filter(|(_, fault)| counts(fault));
    let kinds = faults.flat_map(|(index, _)| 4 * index..4 * index + 4);
    let ill = kinds.flat_map(|kind| {
        let first = FIRST_ILL + kind * MOST_OF_A_KIND;
        first..first + n_ill.min(MOST_OF_A_KIND)
    });
    (1..=n_healthy).chain(ill).collect()
}

/// The car of a number; `None` beyond the last fault.
pub fn car(seed: u64, number: u64) -> Option<Car> {
    let Some(beyond) = number.checked_sub(FIRST_ILL) else {
        return Some(Car::healthy(seed, number));
    };
    let kind = beyond / MOST_OF_A_KIND;
    let fault = *Fault::ALL.get((kind / 4) as usize)?;
    let form = if (kind / 2).is_multiple_of(2) {
        Form::Mild
    } else {
        Form::Plain
    };
    Some(Car::ill(seed, number, fault, form, kind % 2 == 1))
}

/// Drives a car and asks the program.
pub fn judge(car: Car) -> Judged {
    let (batch, truth) = fleet::drive(&car);
    let past = if has_past(&car) {
        past(&car)
    } else {
        Vec::new()
    };
    let said = ask(&car, &batch, &past);
    let is_dirty = matches!(
        car.fault,
        Some((Fault::StuckWheel | Fault::DropOuts | Fault::BadSamples, _))
    );
    let clean = is_dirty.then(|| {
        let clean = car.without_fault();
        ask(&clean, &fleet::drive(&clean).0, &[])
    });
    Judged {
        car,
        truth,
        said,
        clean,
    }
}

// Oil loss shows against earlier drives only; some healthy cars have some too.
fn has_past(car: &Car) -> bool {
    match car.fault {
        Some((fault, _)) => fault == Fault::OilLoss,
        None => car.number.is_multiple_of(8),
    }
}

// Three earlier drives, as far as they are good enough to compare with.
fn past(car: &Car) -> Vec<Earlier> {
    let drives = (1..=3).map(|drive| {
        let car = car.earlier(drive);
        let (_, results) = assess(&car, &fleet::drive(&car).0, &[]);
        earlier(&results)
    });
    drives.collect()
}

/// What a drive gives later ones to compare with.
pub(crate) fn earlier(results: &Results) -> Earlier {
    let sound = comparable(results).into_iter().filter_map(|one| {
        let is_good = one.grade.is_some_and(|grade| grade <= COMPARED_FROM);
        is_good.then_some((one.quantity, one.outcome.ok()?))
    });
    Earlier {
        values: sound.collect(),
        conditions: results.thermal.as_ref().ok().and_then(conditions),
    }
}

/// Drives a log of that car through the program, with what is known of its past.
pub fn assess(car: &Car, batch: &Batch, past: &[Earlier]) -> (Drive, Results) {
    let text = fleet::map_text(car);
    let map = match halfshaft_signal_map::parse("fleet.map", &text) {
        Ok(checked) => checked.map,
        Err(mistakes) => panic!("car {}: {}", car.number, mistakes.render(false)),
    };
    let mut baseline = Baseline::of_map(&map.vehicle);
    for earlier in past {
        baseline.note_drive(earlier.clone());
    }
    let options = Options {
        baseline: Some(baseline),
        ..Options::default()
    };
    let mut drive = Drive::new(&map, &options);
    for part in parts(batch) {
        drive.push(&part);
    }
    drive.finish();
    let results = drive.results();
    (drive, results)
}

// Entries pushed at once: a few seconds of a bus.
const PART_ENTRIES: usize = 2048;

// Parts of some seconds, as a log is read: the stages do not keep a whole drive, and what they have
// forgotten when its rows come would seem never to have been logged.
pub(crate) fn parts(batch: &Batch) -> impl Iterator<Item = Batch> {
    let n = batch.entries.len();
    (0..n).step_by(PART_ENTRIES).map(move |start| {
        let mut part = batch.of_same_log();
        (start..n.min(start + PART_ENTRIES)).for_each(|index| part.push_from(batch, index));
        part
    })
}

fn ask(car: &Car, batch: &Batch, past: &[Earlier]) -> Said {
    let (drive, results) = assess(car, batch, past);
    let front = drive.front();
    let fit = front.fit();
    Said {
        findings: results
            .findings
            .iter()
            .map(|finding| (finding.id, finding.severity))
            .collect(),
        not_checked: results
            .not_checked
            .iter()
            .map(|unchecked| unchecked.id)
            .collect(),
        remarks: fit
            .remarks
            .iter()
            .map(|remark| (remark.kind, remark.to_string()))
            .collect(),
        notices: front
            .notices()
            .iter()
            .map(|(code, tally)| format!("{} {}", code.word(), tally.count))
            .collect(),
        figures: results
            .figures
            .iter()
            .map(|figure| (figure.id, figure.outcome.as_ref().ok().copied()))
            .collect(),
    }
}

/// Judges all cars of these numbers, on so many threads; the order is that of the numbers.
pub fn judge_all(seed: u64, numbers: &[u64], n_threads: usize) -> Vec<Judged> {
    let judged = on_threads(numbers.len(), n_threads, |index| {
        Some(judge(car(seed, numbers[index])?))
    });
    judged.into_iter().flatten().collect()
}

/// Does so many tasks on so many threads; the results are in the order of the tasks.
pub fn on_threads<T: Send>(
    n_tasks: usize,
    n_threads: usize,
    task: impl Fn(usize) -> T + Sync,
) -> Vec<T> {
    let next = AtomicUsize::new(0);
    let done = Mutex::new(Vec::with_capacity(n_tasks));
    std::thread::scope(|scope| {
        for _ in 0..n_threads.max(1) {
            scope.spawn(|| {
                loop {
                    let index = next.fetch_add(1, Ordering::Relaxed);
                    if index >= n_tasks {
                        break;
                    }
                    let one = (index, task(index));
                    done.lock()
                        .expect("no thread panics with the list")
                        .push(one);
                }
            });
        }
    });
    let mut done = done.into_inner().expect("no thread panics with the list");
    done.sort_by_key(|(index, _)| *index);
    done.into_iter().map(|(_, one)| one).collect()
}

/// The frames of a batch as the text of a log.
pub fn log_text(batch: &Batch) -> std::io::Result<Vec<u8>> {
    let mut text = Vec::new();
    for entry in &batch.entries {
        if let Entry::Frame(frame) = entry {
            let (bytes, flags) = (batch.payload(frame), frame.flags);
            write_frame(
                &mut text,
                frame.stamp,
                fleet::BUS,
                frame.id,
                frame.kind,
                flags,
                bytes,
            )?;
        }
    }
    Ok(text)
}
