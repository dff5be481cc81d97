//! `halfshaft report`: a log and a map in, a summary, `report.json` and `report.html` out.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::{Result, bail};
use halfshaft_health::baseline::Baseline;
use halfshaft_health::limits::Limits;
use halfshaft_health::{Health, Results};
use halfshaft_model::{Stamp, at_once};
use halfshaft_report::{ClockKind, ClockRecord, Document, InputRecord, MapRecord};
use halfshaft_signal_map::Map;

use crate::arguments::{ReportOptions, StartLine};
use crate::baseline::{self, Past};
use crate::output::{self, Folder};
use crate::pipeline::{self, Read};
use crate::settings::{self, Settings};

/// Runs the command.
pub fn run(options: &ReportOptions) -> Result<ExitCode> {
    pipeline::check_standard_input(&options.log.logs, &options.log.map)?;
    let map = pipeline::read_map(&options.log.map)?;
    let settings = settings::find(options.limits.settings.as_deref())?;
    let line = options.start_line;
    let past = baseline::find(&options.past.baselines, &map_record(&map))?;
    let (read, results) = assess(&options.log.logs, &map, &settings, line, &past)?;
    let command = command(&options.log.logs, &options.log.map, &settings, line, &past);
    let mut document = document(&map, &read, &results, &past, command);
    if let Some(dir) = &options.out {
        let places = write(dir, &document)?;
        document.files_written = places
            .iter()
            .map(|place| place.display().to_string())
            .collect();
    }
    output::print(&match options.json {
        true => halfshaft_report::json::render(&document),
        false => halfshaft_report::terminal::render(
            &document,
            output::width(),
            output::is_colour_wanted(),
        ),
    })?;
    let worst = results
        .findings
        .iter()
        .map(|finding| finding.severity)
        .max();
    let fails = options
        .fail_at
        .is_some_and(|fail_at| worst >= Some(fail_at.severity()));
    Ok(if fails {
        ExitCode::from(1)
    } else {
        ExitCode::SUCCESS
    })
}

/// An assessment through a map, with laps from a start line when there is one, compared with
/// earlier drives where there are any.
pub fn health(map: &Map, limits: &Limits, start_line: Option<StartLine>, past: &Past) -> Health {
    let mut health = Health::with_limits(&map.vehicle, &map.channels, limits);
    health.compare_with(past.onto(Baseline::of_map(&map.vehicle)));
    if let Some(line) = start_line {
        health.start_line(line.position);
    }
    health
}

/// Reads logs through a map and assesses them.
pub fn assess(
    logs: &[PathBuf],
    map: &Map,
    settings: &Settings,
    start_line: Option<StartLine>,
    past: &Past,
) -> Result<(Read, Results)> {
    let mut health = health(map, &settings.limits, start_line, past);
    let mut driveline = health.lend_driveline();
    let read = pipeline::derive(logs, map, &mut driveline, |block, rows| {
        health.push_derived(block, rows);
        Ok(())
    })?;
    health.take_back(driveline);
    health.finish();
    health.note_fit(read.fit.passed());
    let mut results = health.results();
    results.assumptions.extend_from_slice(&past.assumptions);
    check_believable(map, &read, &results)?;
    Ok((read, results))
}

/// A log in which not one value can be believed is an error.
pub fn check_believable(map: &Map, read: &Read, results: &Results) -> Result<()> {
    if results
        .quality
        .channels
        .iter()
        .all(|channel| channel.n_samples == 0)
    {
        bail!(
            "frames of the map \"{}\" were seen ({} of them), but not one value in them is believable; \
             is this the map of another car? `halfshaft map check MAP LOG` says what was found",
            map.title,
            read.coverage.n_mapped
        );
    }
    Ok(())
}

/// Writes `report.html` and `report.json` into a folder.
pub fn write(dir: &Path, document: &Document) -> Result<Vec<PathBuf>> {
    let mut folder = Folder::open(dir)?;
    let (json, html) = at_once(
        || halfshaft_report::json::render(document),
        || halfshaft_report::html::render(document),
    );
    folder.add("report.html", |out| Ok(out.write_all(html.as_bytes())?))?;
    folder.add("report.json", |out| Ok(out.write_all(json.as_bytes())?))?;
    folder.settle()
}

/// Joins results and the facts of the run.
pub fn document<'a>(
    map: &Map,
    read: &'a Read,
    results: &'a Results,
    past: &Past,
    command: String,
) -> Document<'a> {
    Document {
        results,
        inputs: read.inputs.iter().map(input).collect(),
        notices: &read.notices,
        map: map_record(map),
        compared_with: past.sentence(),
        program_version: env!("CARGO_PKG_VERSION"),
        command,
        clock: clock(read),
        remarks: read.fit.remarks.iter().map(ToString::to_string).collect(),
        files_written: Vec::new(),
    }
}

/// The facts of the map.
pub fn map_record(map: &Map) -> MapRecord {
    MapRecord {
        title: map.title.clone(),
        identity: map.identity.clone(),
        fingerprint: map.fingerprint.clone(),
        vehicle: map.vehicle.name.clone(),
        unit: map.vehicle.unit.clone(),
    }
}

/// The facts of one log.
pub fn input(input: &halfshaft_logs::Input) -> InputRecord {
    InputRecord {
        name: input.name.clone(),
        format: input.format.clone(),
        compression: match input.compression {
            halfshaft_logs::Compression::Plain => None,
            other => Some(other.to_string()),
        },
        size_bytes: input.size_bytes,
        fingerprint: input.fingerprint.clone().unwrap_or_default(),
        n_entries: input.n_entries,
        n_lines_skipped: input.n_lines_skipped,
        first_stamp: input.first,
        last_stamp: input.last,
        trouble: input.trouble.clone(),
    }
}

fn clock(read: &Read) -> ClockRecord {
    let first_stamp = read.coverage.first.unwrap_or(Stamp(0));
    let last_stamp = read.coverage.last.unwrap_or(first_stamp);
    // A thousand million seconds after 1970 is 2001; no logger has been on for that long.
    let (kind, words) = match first_stamp.seconds() {
        seconds if seconds >= 1e9 => (ClockKind::Unix, "seconds since 1970, UTC"),
        0.0 => (
            ClockKind::Relative,
            "seconds since the start of the log; date unknown",
        ),
        _ => (
            ClockKind::Boot,
            "seconds since the logger was switched on; date unknown",
        ),
    };
    ClockRecord {
        first_stamp,
        last_stamp,
        kind,
        words: words.to_owned(),
    }
}

/// The command that makes the report again. Where it is written to is left out: it
/// changes nothing in it.
pub fn command(
    logs: &[PathBuf],
    map: &Path,
    settings: &Settings,
    start_line: Option<StartLine>,
    past: &Past,
) -> String {
    let logs: Vec<String> = logs.iter().map(|log| quoted(log)).collect();
    let mut command = format!("halfshaft report {} --map {}", logs.join(" "), quoted(map));
    if let Some(path) = &settings.named {
        command += &format!(" --settings {}", quoted(path));
    }
    if let Some(line) = start_line {
        command += &format!(" --start-line={line}");
    }
    for path in &past.paths {
        command += &format!(" --baseline {}", quoted(path));
    }
    command
}

/// A path as a shell takes it.
pub fn quoted(path: &Path) -> String {
    let text = path.display().to_string();
    let is_plain = text
        .chars()
        .all(|c| c.is_alphanumeric() || "./_-+".contains(c));
    if is_plain {
        text
    } else {
        format!("'{}'", text.replace('\'', "'\\''"))
    }
}
