//! `halfshaft demo`: an invented drive with its map, its truth and its report.

use std::path::Path;
use std::process::ExitCode;

use anyhow::{Context, Result, bail};
use halfshaft_health::FigureId;
use halfshaft_health::Results;
use halfshaft_simulate::{Scenario, Truth};

use crate::arguments::DemoOptions;
use crate::commands::report;
use crate::job::{Job, map_record};
use crate::output::{self, Folder};
use crate::{baseline, pipeline, settings};

/// The map of the invented car.
const MAP_NAME: &str = "brindlecote-30.map";
const MAP: &str = include_str!("../../../../signal-maps/brindlecote-30.map");

/// Runs the command.
pub fn run(options: &DemoOptions) -> Result<ExitCode> {
    let scenarios = halfshaft_simulate::scenarios();
    let Some(scenario) = scenarios
        .iter()
        .find(|scenario| scenario.name == options.drive)
    else {
        let known: Vec<&str> = scenarios
            .iter()
            .map(|scenario| scenario.name.as_str())
            .collect();
        bail!(
            "there is no drive `{}`; there are {}",
            options.drive,
            known.join(", ")
        );
    };
    let log_name = format!("{}.log", scenario.name);
    let settings = settings::find(options.limits.settings.as_deref())?;
    let truth = make(&options.dir, &log_name, scenario)?;
    let log = options.dir.join(&log_name);
    let map_path = options.dir.join(MAP_NAME);
    let map = pipeline::read_map(&map_path)?;
    let past = baseline::find(&options.past.baselines, &map_record(&map))?;
    let job = Job {
        logs: vec![log.clone()],
        map_path: map_path.clone(),
        map,
        settings,
        past,
        start_line: None,
    };
    let (read, results) = job.assess()?;
    let mut document = job.document(&read, &results);
    let mut places = vec![log, map_path, options.dir.join(truth_name(scenario))];
    places.extend(report::write(&options.dir, &document)?);
    document.files_written = output::names(&places);
    output::print(&halfshaft_report::terminal::summary(
        &document,
        output::width(),
        output::is_colour_wanted(),
    ))?;
    output::print(&beside_the_truth(&results, &truth))?;
    Ok(ExitCode::SUCCESS)
}

fn truth_name(scenario: &Scenario) -> String {
    format!("{}.truth.json", scenario.name)
}

fn make(dir: &Path, log_name: &str, scenario: &Scenario) -> Result<Truth> {
    let mut folder = Folder::open(dir)?;
    let mut truth = None;
    folder.add(log_name, |mut out| {
        truth = Some(halfshaft_simulate::write_log(scenario, &mut out)?);
        Ok(())
    })?;
    let truth = truth.context("the simulated drive has no truth")?;
    folder.add(truth_name(scenario), |out| {
        Ok(out.write_all(truth.to_json().as_bytes())?)
    })?;
    folder.add(MAP_NAME, |out| Ok(out.write_all(MAP.as_bytes())?))?;
    folder.put_in_place()?;
    Ok(truth)
}

/// Since the drive is invented its truth is known: what the report says, and what was.
fn beside_the_truth(results: &Results, truth: &Truth) -> String {
    let rows = [
        (
            FigureId::HeatTotal,
            "heat in the pack",
            "kJ",
            truth.heat_total_kj,
        ),
        (
            FigureId::PartialHeatMaking,
            "slipping under load",
            "s",
            truth.partial_heat_making_s,
        ),
        (
            FigureId::Engagements,
            "engagements",
            "",
            f64::from(truth.engagements),
        ),
    ];
    let mut text = "\nThe drive is invented, so its truth is known:\n".to_owned();
    for (id, title, unit, truth) in rows {
        if let Some(Ok(estimate)) = results.figure(id).map(|figure| &figure.outcome) {
            let decimals = usize::from(!unit.is_empty());
            text += &format!(
                "  {title:<20} reported {:>8.decimals$}, true {truth:>8.decimals$} {unit}\n",
                estimate.value
            );
        }
    }
    text
}
