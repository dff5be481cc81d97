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

use std::io::{BufRead, Read};
use std::path::Path;
use std::process::ExitCode;

use anyhow::{Context, Result, bail};
use halfshaft_capture::link::{Handle, LONGEST_NOTE, LiveEnd, SourceEnd, link};

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
        std::thread::spawn(move || take_marks(std::io::stdin().lock(), &handle));
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

/// Each line is a mark, until there are no more. One without end is cut, not kept whole.
fn take_marks(mut input: impl BufRead, handle: &Handle) {
    loop {
        let mut line = Vec::new();
        let most = 4 * LONGEST_NOTE as u64;
        match input.by_ref().take(most).read_until(b'\n', &mut line) {
            Ok(0) | Err(_) => return,
            Ok(_) => {}
        }
        let note = String::from_utf8_lossy(&line);
        if !note.trim().is_empty() {
            handle.mark(&note);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_are_marks_and_empty_ones_are_none() {
        let (source, live) = link();
        let input = b"rears -0.2 bar\n\n  \nlap \xff two\r\nlast";
        take_marks(&input[..], &live.handle());
        let notes: Vec<String> = source.marks().collect();
        assert_eq!(notes, ["rears -0.2 bar", "lap \u{fffd} two", "last"]);
    }
}
