//! Reads earlier reports of the same car into what a drive is compared with.
//!
//! One that is no report of this program, or of another unit, ends the program: a comparison
//! with half of what was asked for would be another comparison. One made with another map is left out, and named:
//! where the maps differ, so may what is compared, and that would pass for a change of the car.

use std::io::Read;
use std::path::{Path, PathBuf};

use anyhow::{Context, Result, anyhow, bail};
use halfshaft_health::baseline::{Baseline, Earlier, Quantity};
use halfshaft_record::Record;
use halfshaft_report::MapRecord;

use crate::output::file_name;

/// A report may not be larger than this; one of a long day with thousands of events is a
/// twentieth of it.
const LARGEST_BYTES: u64 = 64 << 20;

/// Earlier drives, and what must be said of them.
#[derive(Clone, Debug, Default)]
pub struct Past {
    /// Earlier drives that were read with the same map, in the order they were driven.
    pub drives: Vec<Earlier>,
    /// The reports that were given.
    pub paths: Vec<PathBuf>,
    /// Names of those that are compared with, in the order they were driven.
    pub names: Vec<String>,
    /// What the comparison assumes, in sentences.
    pub assumptions: Vec<String>,
}

impl Past {
    /// Adds the earlier drives, which go before rated values.
    pub fn onto(&self, mut baseline: Baseline) -> Baseline {
        for drive in &self.drives {
            baseline.note_drive(drive.clone());
        }
        baseline
    }

    /// With what the drive was compared, in a sentence; `None` when with nothing.
    pub fn sentence(&self) -> Option<String> {
        let drives = match self.names.as_slice() {
            [] => return None,
            [name] => format!("an earlier drive of this car ({name})"),
            names => format!(
                "{} earlier drives of this car ({})",
                names.len(),
                names.join(", ")
            ),
        };
        let count = |quantity| {
            let values = self.drives.iter().flat_map(|drive| &drive.values);
            values.filter(|(known, _)| *known == quantity).count()
        };
        let values: Vec<String> = Quantity::ALL
            .iter()
            .map(|(quantity, name)| (name, count(*quantity)))
            .filter(|(_, n)| *n > 0)
            .map(|(name, n)| format!("{name} of {n}"))
            .collect();
        let values = match values.is_empty() {
            true => "none of them has a value of grade B or better".to_owned(),
            false => format!(
                "values: {}; what is usual is the median of the first five at most, three are needed",
                values.join(", ")
            ),
        };
        Some(format!("Compared with {drives}; {values}."))
    }
}

/// Reads the reports that are to be compared with.
pub fn find(paths: &[PathBuf], map: &MapRecord) -> Result<Past> {
    let mut past = Past::default();
    let mut logs: Vec<(Vec<String>, &Path)> = Vec::new();
    let mut drives = Vec::new();
    for path in paths {
        let name = path.display().to_string();
        let refused = |found| anyhow!("{name}: {found}");
        let file = std::fs::File::open(path)
            .with_context(|| format!("could not read the earlier report {name}"))?;
        let earlier = read_report(&name, file)?;
        let compared = &earlier.for_comparison;
        compared.check_same_unit(map).map_err(refused)?;
        let inputs = earlier.inputs.into_iter();
        let fingerprints: Vec<String> = inputs.map(|input| input.fingerprint).collect();
        let twin = logs.iter().find(|(logs, _)| *logs == fingerprints);
        if let Some((_, twin)) = twin.filter(|_| !fingerprints.is_empty()) {
            bail!(
                "{name}: found the drive of {} again, expected each drive once",
                twin.display()
            );
        }
        let drive = compared.earlier().map_err(refused)?;
        if compared.map_fingerprint == map.fingerprint {
            drives.push((earlier.clock.first_utc, file_name(path), drive));
        } else {
            past.assumptions.push(format!(
                "{} was made with another map, or another version of it, and is left out of what this drive is \
                 compared with: make it again from its log with this map.",
                file_name(path)
            ));
        }
        logs.push((fingerprints, path));
        past.paths.push(path.clone());
    }
    // Without a date of each the order is that in which they were given.
    if drives.iter().all(|(date, ..)| date.is_some()) {
        drives.sort_by(|(one, ..), (other, ..)| one.cmp(other));
    }
    for (_, name, drive) in drives {
        past.names.push(name);
        past.drives.push(drive);
    }
    Ok(past)
}

/// Reads a `report.json`; mistakes in it begin with its name.
pub fn read_report(name: &str, source: impl Read) -> Result<Record> {
    let mut bytes = Vec::new();
    source
        .take(LARGEST_BYTES + 1)
        .read_to_end(&mut bytes)
        .with_context(|| format!("could not read the report {name}"))?;
    if bytes.len() as u64 > LARGEST_BYTES {
        bail!(
            "{name}: found more than {LARGEST_BYTES} bytes, expected a report.json of this program; is this the log?"
        );
    }
    Record::read(&bytes).map_err(|found| anyhow!("{name}: {found}"))
}
