//! `halfshaft export`: a log and a map in, Parquet tables out.
//!
//! Samples are written while the log is read, once; the other tables when it has ended.

use std::io::Write;
use std::process::ExitCode;

use anyhow::{Context, Result, anyhow};
use halfshaft_archive::{About, Error, Ground, Rate, Samples, results as tables};
use halfshaft_health::Results;
use halfshaft_health::baseline::Baseline;
use halfshaft_health::duty::bench_csv::bench_csv;
use halfshaft_health::limits::Limits;
use halfshaft_report::Document;
use halfshaft_signal_map::Map;

use crate::arguments::ExportOptions;
use crate::baseline::{self, Past};
use crate::commands::report;
use crate::output::{self, Begun, Folder};
use crate::pipeline::{self, Read};
use crate::settings;

/// The file of the samples.
const SAMPLES: &str = "samples.parquet";

/// Runs the command.
pub fn run(options: &ExportOptions) -> Result<ExitCode> {
    pipeline::check_standard_input(&options.log.logs, &options.log.map)?;
    let rate = match options.rate {
        Some(hz) => Some(Rate::new(hz).map_err(|wanted| anyhow!("--rate {hz}: {wanted}"))?),
        None => None,
    };
    let map = pipeline::read_map(&options.log.map)?;
    let settings = settings::find(options.limits.settings.as_deref())?;
    let past = baseline::find(&options.past.baselines, &report::map_record(&map))?;
    let mut folder = Folder::open(&options.to)?;
    let mut begun = folder.begin(SAMPLES)?;
    let (results, about) = write_samples(
        options,
        &map,
        (&settings.limits, &past),
        rate,
        &folder,
        &mut begun,
    )?;
    folder.keep(begun)?;
    write_tables(&mut folder, &results, &about)?;
    let places = folder.settle()?;
    let lines: Vec<String> = places
        .iter()
        .map(|place| format!("wrote {}\n", output::harmless(&place.display().to_string())))
        .collect();
    output::print(&lines.concat())?;
    Ok(ExitCode::SUCCESS)
}

fn write_samples(
    options: &ExportOptions,
    map: &Map,
    (limits, past): (&Limits, &Past),
    rate: Option<Rate>,
    folder: &Folder,
    begun: &mut Begun,
) -> Result<(Results, About)> {
    let doing = |error: Error| anyhow::Error::from(error).context(folder.doing(SAMPLES));
    let mut health = report::health(map, limits, options.start_line, past);
    let ground = Ground {
        basis: health.basis().clone(),
        slip: limits.slip,
    };
    let mut samples = Samples::start(begun, &map.channels, &ground, rate, options.all_positions)
        .map_err(doing)?;
    let mut rows = Vec::new();
    let read = pipeline::read(&options.log.logs, map, |_, block| {
        rows.clear();
        health.push_and_show(block, &mut |row| rows.push(*row));
        samples.push(block, &rows).map_err(doing)
    })?;
    rows.clear();
    health.finish_and_show(&mut |row| rows.push(*row));
    health.note_fit(read.fit.passed());
    let results = health.results();
    report::check_believable(map, &read, &results)?;
    let about = about(map, &read, &results, past);
    samples.finish(&rows, &about).map_err(doing)?;
    Ok((results, about))
}

fn about(map: &Map, read: &Read, results: &Results, past: &Past) -> About {
    // The command names files, which are nobody's business in a table.
    let document: Document = report::document(map, read, results, &Past::default(), String::new());
    About {
        program_version: document.program_version.to_owned(),
        map_title: document.map.title,
        map_fingerprint: document.map.fingerprint,
        vehicle: document.map.vehicle,
        inputs: document
            .inputs
            .into_iter()
            .map(|input| input.fingerprint)
            .collect(),
        clock_kind: document.clock.kind.word().to_owned(),
        origin_ns: document.clock.first_stamp.0,
        settings_changed: results
            .settings_changed
            .iter()
            .map(|setting| format!("{}={}", setting.key, setting.value))
            .collect(),
        baseline: past.onto(Baseline::of_map(&map.vehicle)).words(),
    }
}

fn write_tables(folder: &mut Folder, results: &Results, about: &About) -> Result<()> {
    let mut add = |name: &str, write: &dyn Fn(&mut Begun) -> Result<(), Error>| {
        let mut begun = folder.begin(name)?;
        write(&mut begun).with_context(|| folder.doing(name))?;
        folder.keep(begun)
    };
    add("events.parquet", &|out| {
        tables::write_events(out, &results.events, about)
    })?;
    add("figures.parquet", &|out| {
        tables::write_figures(out, &results.figures, about)
    })?;
    add("findings.parquet", &|out| {
        tables::write_findings(out, &results.findings, about)
    })?;
    add("laps.parquet", &|out| {
        tables::write_laps(out, &results.laps, about)
    })?;
    add("corners.parquet", &|out| {
        tables::write_corners(out, &results.laps, about)
    })?;
    add("gaps.parquet", &|out| {
        tables::write_gaps(out, &results.quality, about)
    })?;
    let cycle = &results.duty.bench;
    add("bench_cycle.parquet", &|out| {
        tables::write_bench_cycle(out, cycle, about)
    })?;
    add("bench_cycle.csv", &|out| {
        out.write_all(bench_csv(cycle).as_bytes())
            .map_err(Error::Write)
    })?;
    add("responses.parquet", &|out| {
        tables::write_responses(out, &results.actuator, about)
    })
}
