//! `halfshaft export`: a log and a map in, Parquet tables out.
//!
//! Samples are written while the log is read, once; the other tables when it has ended.

use std::io::Write;
use std::process::ExitCode;

use anyhow::{Context, Result, anyhow};
use halfshaft_archive::{
    About, Error, Ground, Rate, Samples, copy_without, results as tables, withheld_channels,
};
use halfshaft_health::Results;
use halfshaft_health::duty::bench_csv::bench_csv;

use crate::arguments::ExportOptions;
use crate::job::Job;
use crate::output::{self, Begun, Folder};
use crate::pipeline::Read;

/// The file of the samples.
const SAMPLES: &str = "samples.parquet";

/// Runs the command.
pub fn run(options: &ExportOptions) -> Result<ExitCode> {
    let rate = match options.rate {
        Some(hz) => Some(Rate::new(hz).map_err(|wanted| anyhow!("--rate {hz}: {wanted}"))?),
        None => None,
    };
    let past = &options.past.baselines;
    let job = Job::open(&options.log, &options.limits, past, options.start_line)?;
    let mut folder = Folder::open(&options.to)?;
    let mut begun = folder.begin(SAMPLES)?;
    let doing = |error: Error| anyhow::Error::from(error).context(folder.doing(SAMPLES));
    let mut drive = job.drive();
    drive.stages().health.keep_rows();
    let ground = Ground {
        basis: drive.health().basis().clone(),
        slip: job.settings.limits.slip,
    };
    let (channels, all_positions) = (&job.map.channels, options.all_positions);
    let mut samples =
        Samples::start(&mut begun, channels, &ground, rate, all_positions).map_err(doing)?;
    let read = job.read(&mut drive, |block, _, health| {
        samples.push(block, health.believed()).map_err(doing)
    })?;
    let results = drive.results();
    job.check_believable(&read, &results)?;
    let about = about(&job, &read, &results);
    samples.finish(&about).map_err(doing)?;
    let withheld = withheld_channels(&results.trust);
    let begun = match withheld.is_empty() {
        true => begun,
        false => without(&folder, begun, &withheld)?,
    };
    folder.keep(begun)?;
    write_tables(&mut folder, &results, &about)?;
    let lines: Vec<String> = output::names(&folder.put_in_place()?)
        .iter()
        .map(|name| format!("wrote {}\n", output::harmless(name)))
        .collect();
    output::print(&lines.concat())?;
    Ok(ExitCode::SUCCESS)
}

/// The samples without derived channels of which it turned out that they are not believed.
fn without(folder: &Folder, written: Begun, channels: &[&str]) -> Result<Begun> {
    let mut begun = folder.begin(SAMPLES)?;
    let file = written.complete().with_context(|| folder.doing(SAMPLES))?;
    copy_without(file, &mut begun, channels).with_context(|| folder.doing(SAMPLES))?;
    Ok(begun)
}

fn about(job: &Job, read: &Read, results: &Results) -> About {
    let document = job.document(read, results);
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
        origin_ns: (document.clock.first_stamp.0).saturating_add(document.clock.set_ahead_ns),
        settings_changed: results
            .settings_changed
            .iter()
            .map(|setting| format!("{}={}", setting.key, setting.value))
            .collect(),
        baseline: job.baseline().words(),
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
