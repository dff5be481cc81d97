//! `halfshaft compare`: two drives of one car, before and after, in; what changed out.
//!
//! Either is a log or the `report.json` of one. What is compared is the stored record, so it makes
//! no difference which.

use std::fs::File;
use std::io::{self, BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::{Context, Result, bail};
use halfshaft_health::compare::compare;
use halfshaft_health::settings::changed;
use halfshaft_record::Record;
use halfshaft_report::comparison::{self, ComparisonDocument};
use halfshaft_signal_map::Map;

use crate::arguments::CompareOptions;
use crate::baseline::{Past, read_report};
use crate::job::{Job, quoted};
use crate::settings::Settings;
use crate::{output, pipeline, settings};

/// Runs the command.
pub fn run(options: &CompareOptions) -> Result<ExitCode> {
    check_read_once(options)?;
    let settings = settings::find(options.limits.settings.as_deref())?;
    let map = read_map(options.map.as_deref())?;
    let map_after = read_map(options.map_after.as_deref())?.or_else(|| map.clone());
    let before = record(&options.before, map, &settings)?;
    let after = record(&options.after, map_after, &settings)?;
    let same = before.inputs.iter().zip(&after.inputs);
    if same.clone().count() > 0
        && same
            .clone()
            .all(|(one, other)| one.fingerprint == other.fingerprint)
    {
        bail!(
            "{} and {} are of the same bytes, expected one drive before and another after",
            options.before.display(),
            options.after.display()
        );
    }
    let limits = &settings.limits.compare;
    let [one, other] = [&before, &after].map(|record| record.session(limits.stretch_s));
    let document = ComparisonDocument {
        comparison: &compare(&one, &other, limits),
        records: [&before, &after],
        settings_changed: &changed(&settings.limits),
        program_version: env!("CARGO_PKG_VERSION"),
        command: command(options, settings.named.as_deref()),
    };
    output::print(&match options.json {
        true => comparison::json(&document),
        false => comparison::terminal(&document, output::width(), output::is_colour_wanted()),
    })?;
    Ok(ExitCode::SUCCESS)
}

fn read_map(path: Option<&Path>) -> Result<Option<Map>> {
    path.map(pipeline::read_map).transpose()
}

/// The record of a drive: as it is stored, or made of its log.
fn record(path: &Path, map: Option<Map>, settings: &Settings) -> Result<Record> {
    let name = path.display();
    let doing = || format!("could not compare {name}");
    // What a log reads of standard input begins with what was looked at here.
    if path.as_os_str() == "-" {
        let mut stream = io::stdin().lock();
        if is_report(stream.fill_buf().with_context(doing)?) {
            return read_report("standard input", stream);
        }
    } else {
        let mut stream = BufReader::new(File::open(path).with_context(doing)?);
        if is_report(stream.fill_buf().with_context(doing)?) {
            return read_report(&name.to_string(), stream);
        }
    }
    let Some(map) = map else {
        bail!("{name}: found no report.json of this program, and a log needs its map: --map MAP");
    };
    let job = Job {
        logs: vec![path.to_owned()],
        // Only the command of the record would name it, and that is not compared.
        map_path: PathBuf::new(),
        map,
        settings: settings.clone(),
        past: Past::default(),
        start_line: None,
    };
    let (read, results) = job.assess().with_context(doing)?;
    Ok(Record::of(&job.document(&read, &results)))
}

/// A report is one JSON object; no log begins as one.
fn is_report(start: &[u8]) -> bool {
    start.trim_ascii_start().starts_with(b"{")
}

/// Standard input can be read once.
fn check_read_once(options: &CompareOptions) -> Result<()> {
    let maps = options.map.iter().chain(&options.map_after);
    let others: Vec<_> = [&options.after].into_iter().chain(maps).cloned().collect();
    pipeline::check_standard_input(&others, &options.before)
}

fn command(options: &CompareOptions, settings: Option<&Path>) -> String {
    let mut command = format!(
        "halfshaft compare {} {}",
        quoted(&options.before),
        quoted(&options.after)
    );
    let named = [
        ("--map", options.map.as_deref()),
        ("--map-after", options.map_after.as_deref()),
        ("--settings", settings),
    ];
    for (option, path) in named {
        if let Some(path) = path {
            command += &format!(" {option} {}", quoted(path));
        }
    }
    command
}
