//! Reads earlier reports of the same car into what a drive is compared with.
//!
//! One that is no report of this program, or of another unit, ends the program: a comparison
//! with half of what was asked for would be another comparison. Another map only warns.

use std::io::Read;
use std::path::{Path, PathBuf};

use anyhow::{Context, Result, anyhow, bail};
use halfshaft_health::baseline::{Baseline, Quantity};
use halfshaft_record::Record;
use halfshaft_report::MapRecord;

use crate::output::file_name;

/// A report may not be larger than this; one of a long day with thousands of events is a
/// twentieth of it.
const LARGEST_BYTES: u64 = 64 << 20;

/// Earlier drives, and what must be said of them.
#[derive(Clone, Debug, Default)]
pub struct Past {
    /// Values of earlier drives, where there are any.
    pub values: Vec<(Quantity, Vec<f64>)>,
    /// The reports.
    pub paths: Vec<PathBuf>,
    /// What the comparison assumes, in sentences.
    pub assumptions: Vec<String>,
}

impl Past {
    /// Puts the medians of the earlier drives in place of rated values.
    pub fn onto(&self, mut baseline: Baseline) -> Baseline {
        for (quantity, values) in &self.values {
            baseline.note_past(*quantity, values);
        }
        baseline
    }

    /// With what the drive was compared, in a sentence; `None` when with nothing.
    pub fn sentence(&self) -> Option<String> {
        let files: Vec<String> = self.paths.iter().map(|path| file_name(path)).collect();
        if files.is_empty() {
            return None;
        }
        let values: Vec<String> = Quantity::ALL
            .iter()
            .filter_map(|(quantity, name)| {
                let (_, values) = self.values.iter().find(|(known, _)| known == quantity)?;
                Some(format!("{name} of {}", values.len()))
            })
            .collect();
        let values = match values.is_empty() {
            true => "none of them has a value of grade B or better".to_owned(),
            false => format!("medians: {}", values.join(", ")),
        };
        Some(format!(
            "Compared with {} of this car ({}); {values}.",
            match files.len() {
                1 => "an earlier drive".to_owned(),
                n => format!("{n} earlier drives"),
            },
            files.join(", ")
        ))
    }
}

/// Reads the reports that are to be compared with.
pub fn find(paths: &[PathBuf], map: &MapRecord) -> Result<Past> {
    let mut past = Past::default();
    let mut logs: Vec<(Vec<String>, &Path)> = Vec::new();
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
        if compared.map_fingerprint != map.fingerprint {
            past.assumptions.push(format!(
                "{} was made with another map, or another version of it: where the maps differ, so may what is compared.",
                file_name(path)
            ));
        }
        for (quantity, value) in compared.values().map_err(refused)? {
            match past.values.iter_mut().find(|(known, _)| *known == quantity) {
                Some((_, values)) => values.push(value),
                None => past.values.push((quantity, vec![value])),
            }
        }
        logs.push((fingerprints, path));
        past.paths.push(path.clone());
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
