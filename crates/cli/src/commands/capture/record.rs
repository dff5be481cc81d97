//! Records interfaces until it is asked to end.

use std::process::ExitCode;
use std::sync::mpsc::channel;

use anyhow::{Context, Result, anyhow};
use halfshaft_capture::link::{LiveEnd, SourceEnd};
use halfshaft_capture::recorder::{self, Event};
use halfshaft_capture::segments;

use super::reports::Reports;
use super::service::Service;
use crate::arguments::CaptureOptions;
use crate::{output, pipeline};

/// Records. What there is to say goes to standard error.
pub fn run(source: SourceEnd, live: LiveEnd, options: CaptureOptions) -> Result<ExitCode> {
    let into = options.into.clone().context("--into is missing")?;
    // Read before anything is recorded, so that a mistake in it is said at once.
    let map = options.map.as_deref().map(pipeline::read_map).transpose()?;
    let mut reports = Reports::open(&options)?;
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
        is_followed: map.is_some(),
        events: to,
    };
    let handle = live.handle();
    let recording = std::thread::Builder::new()
        .name("recorder".to_owned())
        .spawn(move || recorder::run(source, recorder_options))
        .context("the recording thread could not be started")?;
    drop(live);
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
    reports.wait();
    outcome.map_err(|_| anyhow!("the recorder broke off"))??;
    Ok(ExitCode::SUCCESS)
}
