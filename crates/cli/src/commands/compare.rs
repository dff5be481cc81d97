//! `halfshaft compare`: two logs of one car, before and after, in; what changed out.

use std::path::Path;
use std::process::ExitCode;

use anyhow::{Context, Result, bail};
use halfshaft_health::compare::compare;
use halfshaft_report::comparison::{self, ComparisonDocument};

use crate::arguments::CompareOptions;
use crate::baseline::Past;
use crate::job::{Job, input_record, map_record, quoted};
use crate::{output, pipeline, settings};

/// Runs the command.
pub fn run(options: &CompareOptions) -> Result<ExitCode> {
    check_read_once(options)?;
    let map = pipeline::read_map(&options.map)?;
    let map_after = match &options.map_after {
        Some(path) => Some(pipeline::read_map(path)?),
        None => None,
    };
    let map_after = map_after.unwrap_or_else(|| map.clone());
    let settings = settings::find(options.limits.settings.as_deref())?;
    let assess = |log: &Path, map| {
        let job = Job {
            logs: vec![log.to_owned()],
            map_path: options.map.clone(),
            map,
            settings: settings.clone(),
            past: Past::default(),
            start_line: None,
        };
        let assessed = job.assess();
        let (read, results) =
            assessed.with_context(|| format!("could not compare {}", log.display()))?;
        anyhow::Ok((map_record(&job.map), read, results))
    };
    let (map_before, read_before, before) = assess(&options.before, map)?;
    let (map_after, read_after, after) = assess(&options.after, map_after)?;
    let same = read_before.inputs.iter().zip(&read_after.inputs);
    if same.clone().count() > 0
        && same
            .clone()
            .all(|(one, other)| one.fingerprint == other.fingerprint)
    {
        bail!(
            "{} and {} hold the same bytes, wanted one drive before and another after",
            options.before.display(),
            options.after.display()
        );
    }
    let found = compare(&before, &after, &settings.limits.compare);
    let document = ComparisonDocument {
        comparison: &found,
        logs: [&read_before, &read_after]
            .map(|read| read.inputs.iter().map(input_record).collect()),
        maps: [map_before, map_after],
        settings_changed: before
            .settings_changed
            .iter()
            .map(|setting| format!("{} {}", setting.key, setting.value))
            .collect(),
        program_version: env!("CARGO_PKG_VERSION"),
        command: command(options, settings.named.as_deref()),
    };
    output::print(&match options.json {
        true => comparison::json(&document),
        false => comparison::terminal(&document, output::width(), output::is_colour_wanted()),
    })?;
    Ok(ExitCode::SUCCESS)
}

/// Standard input can be read once.
fn check_read_once(options: &CompareOptions) -> Result<()> {
    let mut paths = vec![options.before.clone(), options.after.clone()];
    match &options.map_after {
        Some(map_after) => {
            paths.push(options.map.clone());
            pipeline::check_standard_input(&paths, map_after)
        }
        None => pipeline::check_standard_input(&paths, &options.map),
    }
}

fn command(options: &CompareOptions, settings: Option<&Path>) -> String {
    let mut command = format!(
        "halfshaft compare {} {} --map {}",
        quoted(&options.before),
        quoted(&options.after),
        quoted(&options.map)
    );
    if let Some(map) = &options.map_after {
        command += &format!(" --map-after {}", quoted(map));
    }
    if let Some(path) = settings {
        command += &format!(" --settings {}", quoted(path));
    }
    command
}
