//! `halfshaft capture`: a bus recorded drive by drive, followed live where there is a map.
//!
//! In: interfaces or a log to play back, a map, lines on standard input as marks. Out: drives in a
//! folder, live figures, reports when drives end; on standard error what there is to say. This file
//! starts the threads and joins them; each of them ends by itself when the source has ended.

mod follow;
#[cfg(target_os = "linux")]
mod record;
#[cfg(target_os = "linux")]
mod reports;
#[cfg(target_os = "linux")]
mod service;

use std::path::Path;
use std::process::ExitCode;

use anyhow::{Context, Result, bail};
use halfshaft_capture::link::{LiveEnd, SourceEnd, link};
use halfshaft_capture::marks;

use crate::arguments::{CaptureOptions, LogOptions};
use crate::job::Job;
use crate::{pipeline, unfinished};

/// Runs the command.
pub fn run(options: CaptureOptions) -> Result<ExitCode> {
    let (source, live) = link();
    let handle = live.handle();
    let stop = handle.clone();
    unfinished::end_by(move || stop.stop());
    let reads_input = options.replay.iter().any(|log| log.as_os_str() == "-");
    if !reads_input {
        std::thread::spawn(move || marks::take(std::io::stdin().lock(), &handle));
    }
    let job = options.map.as_deref().map(|map| job(map, &options));
    let job = job.transpose()?;
    match (job, options.replay.is_empty()) {
        (job, true) => record(source, live, options, job),
        (Some(job), false) => replay(source, live, &options, &job),
        (None, false) => bail!("a log is played back through a map: --map is missing"),
    }
}

/// What drives are judged by. It is read before anything is recorded, so that a mistake in it is said at
/// once.
fn job(map: &Path, options: &CaptureOptions) -> Result<Job> {
    let log = LogOptions {
        logs: options.replay.clone(),
        map: map.to_owned(),
    };
    Job::open(&log, &options.limits, &[], None)
}

/// Plays logs back in the place of a bus.
fn replay(
    source: SourceEnd,
    live: LiveEnd,
    options: &CaptureOptions,
    job: &Job,
) -> Result<ExitCode> {
    let following = follow::follow(live, job, options)?;
    let logs = pipeline::sources(&job.logs);
    let played = halfshaft_capture::replay::run(source, &logs, &job.map, options.speed);
    following.end()?;
    played.context("could not play the log back")?;
    Ok(ExitCode::SUCCESS)
}

#[cfg(target_os = "linux")]
use record::run as record;

#[cfg(not(target_os = "linux"))]
fn record(_: SourceEnd, _: LiveEnd, _: CaptureOptions, _: Option<Job>) -> Result<ExitCode> {
    bail!("a bus can be recorded on Linux only, whose kernel knows CAN; --replay works here")
}
