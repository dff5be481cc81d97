//! What every command that assesses a drive begins with: its logs, the map of the car, limits
//! to judge by, and earlier drives to compare with.

use std::path::{Path, PathBuf};

use anyhow::{Result, bail};
use halfshaft_drive::{Drive, Options};
use halfshaft_driveline::Derived;
use halfshaft_health::baseline::Baseline;
use halfshaft_health::{Health, Results};
use halfshaft_model::personal::base_name;
use halfshaft_model::{Block, Stamp};
use halfshaft_report::{ClockKind, ClockRecord, Document, InputRecord, MapRecord};
use halfshaft_signal_map::Map;

use crate::arguments::{LimitOptions, LogOptions, StartLine};
use crate::baseline::{self, Past};
use crate::output::file_name;
use crate::pipeline::{self, Read};
use crate::settings::{self, Settings};

/// One drive to assess.
#[derive(Clone, Debug)]
pub struct Job {
    /// The logs.
    pub logs: Vec<PathBuf>,
    /// Where the map was read from.
    pub map_path: PathBuf,
    /// The map.
    pub map: Map,
    /// The limits.
    pub settings: Settings,
    /// Earlier drives.
    pub past: Past,
    /// Laps begin here.
    pub start_line: Option<StartLine>,
}

impl Job {
    /// Reads all that a drive is assessed by; the logs are not touched yet.
    pub fn open(
        log: &LogOptions,
        limits: &LimitOptions,
        baselines: &[PathBuf],
        start_line: Option<StartLine>,
    ) -> Result<Job> {
        pipeline::check_standard_input(&log.logs, &log.map)?;
        let map = pipeline::read_map(&log.map)?;
        let settings = settings::find(limits.settings.as_deref())?;
        let past = baseline::find(baselines, &map_record(&map))?;
        Ok(Job {
            logs: log.logs.clone(),
            map_path: log.map.clone(),
            map,
            settings,
            past,
            start_line,
        })
    }

    /// What earlier drives of the car were like, where there are any, else what the map rates.
    pub fn baseline(&self) -> Baseline {
        self.past.onto(Baseline::of_map(&self.map.vehicle))
    }

    /// The drive, before its first entry.
    pub fn drive(&self) -> Drive {
        let options = Options {
            limits: self.settings.limits,
            baseline: Some(self.baseline()),
            start_line: self.start_line.map(|line| line.position),
        };
        Drive::new(&self.map, &options)
    }

    /// Reads the logs through the drive to their end. `see` is handed every block with what
    /// was derived and judged by then.
    pub fn read(
        &self,
        drive: &mut Drive,
        see: impl FnMut(&Block, &Derived, &Health) -> Result<()>,
    ) -> Result<Read> {
        pipeline::drive(&self.logs, &self.map, drive, see)
    }

    /// Assesses the drive.
    pub fn assess(&self) -> Result<(Read, Results)> {
        let mut drive = self.drive();
        let read = self.read(&mut drive, |_, _, _| Ok(()))?;
        let mut results = drive.results();
        results
            .assumptions
            .extend_from_slice(&self.past.assumptions);
        self.check_believable(&read, &results)?;
        Ok((read, results))
    }

    /// A log in which not one value can be believed is an error.
    pub fn check_believable(&self, read: &Read, results: &Results) -> Result<()> {
        let mut channels = results.quality.channels.iter();
        if channels.all(|channel| channel.n_samples == 0) {
            bail!(
                "frames of the map \"{}\" were seen ({} of them), but not one value in them is believable; \
                 is this the map of another car? `halfshaft map check MAP LOG` says what was found",
                self.map.title,
                read.coverage.n_mapped
            );
        }
        Ok(())
    }

    /// Joins results and the facts of the run.
    pub fn document<'a>(&self, read: &'a Read, results: &'a Results) -> Document<'a> {
        Document {
            results,
            inputs: read.inputs.iter().map(input_record).collect(),
            notices: &read.notices,
            map: map_record(&self.map),
            compared_with: self.past.sentence(),
            program_version: env!("CARGO_PKG_VERSION"),
            command: self.command("report"),
            clock: clock(read),
            remarks: read.fit.remarks.iter().map(ToString::to_string).collect(),
            workshop: None,
            files_written: Vec::new(),
        }
    }

    /// The command that does it again, in the folder of its files. Where it is written to is left
    /// out: it changes nothing in it.
    pub fn command(&self, name: &str) -> String {
        let logs: Vec<String> = self.logs.iter().map(|log| quoted(log)).collect();
        let map = quoted(&self.map_path);
        let mut command = format!("halfshaft {name} {} --map {map}", logs.join(" "));
        if let Some(path) = &self.settings.named {
            command += &format!(" --settings {}", quoted(path));
        }
        // Where laps begin may be somebody's gate: whoever does it again has to know.
        if self.start_line.is_some() {
            command += " --start-line=LATITUDE,LONGITUDE";
        }
        for path in &self.past.paths {
            command += &format!(" --baseline {}", quoted(path));
        }
        command
    }
}

/// The facts of a map.
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
pub fn input_record(input: &halfshaft_logs::Input) -> InputRecord {
    let name = base_name(&input.name);
    InputRecord {
        name: name.to_owned(),
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
        trouble: input
            .trouble
            .as_ref()
            .map(|trouble| trouble.replace(&input.name, name)),
    }
}

fn clock(read: &Read) -> ClockRecord {
    let first_stamp = read.coverage.first.unwrap_or(Stamp(0));
    let last_stamp = read.coverage.last.unwrap_or(first_stamp);
    let set_ahead_ns = read.coverage.set_ahead_ns;
    let (kind, words) = match first_stamp.seconds() {
        _ if first_stamp.is_date() => (ClockKind::Unix, "seconds since 1970, UTC"),
        _ if set_ahead_ns.is_some() => (
            ClockKind::Unix,
            "seconds since 1970, UTC, once the clock was set; dates before that are counted back",
        ),
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
        set_ahead_ns: set_ahead_ns.unwrap_or(0),
        words: words.to_owned(),
    }
}

/// The name of a file as a shell takes it, to be run in its folder.
pub fn quoted(path: &Path) -> String {
    let mut text = file_name(path);
    // Without its folder it would be an option, or standard input.
    if text.starts_with('-') && path.as_os_str() != "-" {
        text.insert_str(0, "./");
    }
    let is_plain = text
        .chars()
        .all(|c| c.is_alphanumeric() || "./_-+".contains(c));
    if is_plain {
        text
    } else {
        format!("'{}'", text.replace('\'', "'\\''"))
    }
}
