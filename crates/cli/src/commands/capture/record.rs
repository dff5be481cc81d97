//! Records interfaces until it is asked to end.

use std::process::ExitCode;
use std::sync::mpsc::channel;

use anyhow::{Context, Result, anyhow};
use halfshaft_capture::link::{LiveEnd, SourceEnd};
use halfshaft_capture::recorder::{self, Event};
use halfshaft_capture::segments;

use super::follow::{self, Following};
use super::reports::Reports;
use super::service::Service;
use crate::arguments::CaptureOptions;
use crate::job::Job;
use crate::output;

/// Records, and follows where there is a map. What there is to say goes to standard error.
pub fn run(
    source: SourceEnd,
    live: LiveEnd,
    options: CaptureOptions,
    job: Option<Job>,
) -> Result<ExitCode> {
    let into = options.into.clone().context("--into is missing")?;
    let mut reports = Reports::default();
    if let (Some(job), Some(into)) = (&job, &options.report_into) {
        reports = Reports::into(into, job);
    }
    let (to, events) = channel();
    let recorder_options = recorder::Options {
        interfaces: options.interfaces.clone(),
        is_bench: options.bench,
        keep: segments::Options {
            segment_bytes: options.segment_size,
            segment_s: options.segment_seconds,
            keep_bytes: options.keep,
            ..segments::Options::new(into)
        },
        silence_s: options.silence,
        is_followed: job.is_some(),
        events: to,
    };
    let handle = live.handle();
    // Without a map nobody follows: the other end is let go of at once.
    let following = match job {
        Some(job) => Some(follow::follow(live, &job, &options)?),
        None => None,
    };
    let recording = std::thread::Builder::new()
        .name("recorder".to_owned())
        .spawn(move || recorder::run(source, recorder_options))
        .context("the recording thread could not be started")?;
    let mut service = Service::default();
    // It ends when the recorder has ended.
    for event in events {
        match event {
            Event::Ready => service.is_ready(),
            Event::Alive => service.is_alive(&handle.recording()),
            Event::Said(words) => output::write_error_line(&words),
            Event::DriveEnded(folder) => reports.begin(&folder),
        }
    }
    service.ends();
    let outcome = recording.join();
    let followed = following.map_or(Ok(()), Following::end);
    reports.wait();
    outcome.map_err(|_| anyhow!("the recorder broke off"))??;
    followed?;
    Ok(ExitCode::SUCCESS)
}
