//! `halfshaft capture`: a bus recorded drive by drive, followed live where there is a map.
//!
//! In: interfaces or a log to play back, a map, lines on standard input as marks. Out: drives in a
//! folder, live figures, reports when drives end; on standard error what there is to say. This file
//! starts the threads and joins them; each of them ends by itself when the source has ended.

#[cfg(target_os = "linux")]
mod record;
#[cfg(target_os = "linux")]
mod reports;
#[cfg(target_os = "linux")]
mod service;

use std::io::{BufRead, Read};
use std::process::ExitCode;

use anyhow::{Result, bail};
use halfshaft_capture::link::{Handle, LONGEST_NOTE, link};

use crate::arguments::CaptureOptions;
use crate::unfinished;

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
    if !options.replay.is_empty() {
        bail!("nothing can be played back yet");
    }
    record(source, live, options)
}

#[cfg(target_os = "linux")]
use record::run as record;

#[cfg(not(target_os = "linux"))]
fn record(
    _: halfshaft_capture::link::SourceEnd,
    _: halfshaft_capture::link::LiveEnd,
    _: CaptureOptions,
) -> Result<ExitCode> {
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
