//! `halfshaft compare`: drives of one car before and after a change in; what changed out.
//!
//! Each is a log or the `report.json` of one. What is compared is the stored record, so it makes
//! no difference which. With `--again` drives of the car put back as it was show whether a difference goes away
//! again.

use std::fs::File;
use std::io::{self, BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::{Context, Result, bail};
use halfshaft_health::compare::{Session, compare};
use halfshaft_health::settings::changed;
use halfshaft_record::Record;
use halfshaft_report::comparison::{self, ComparisonDocument};
use halfshaft_signal_map::Map;

use crate::arguments::{CompareOptions, StartLine};
use crate::baseline::{Past, read_report};
use crate::job::{Job, quoted};
use crate::output::{self, Folder};
use crate::settings::Settings;
use crate::{pipeline, settings};

/// Runs the command.
pub fn run(options: &CompareOptions) -> Result<ExitCode> {
    let asked = Asked::of(options)?;
    check_read_once(options, &asked)?;
    let settings = settings::find(options.limits.settings.as_deref())?;
    let map = read_map(options.map.as_deref())?;
    let map_after = read_map(options.map_after.as_deref())?.or_else(|| map.clone());
    let read = |paths: &[PathBuf], map: &Option<Map>| -> Result<Vec<Record>> {
        let records = paths.iter();
        records
            .map(|path| record(path, map.clone(), options.start_line, &settings))
            .collect()
    };
    let sides = [
        read(&asked.before, &map)?,
        read(&asked.after, &map_after)?,
        read(&asked.again, &map)?,
    ];
    check_differ(&asked, &sides)?;
    let limits = &settings.limits;
    let [before, after, again] = sides.each_ref().map(|side| {
        let sessions = side.iter().map(|record| record.session(limits));
        sessions.collect::<Vec<Session>>()
    });
    let mut document = ComparisonDocument {
        comparison: &compare(&before, &after, &again, &limits.compare),
        sides: sides.each_ref().map(Vec::as_slice),
        settings_changed: &changed(limits),
        program_version: env!("CARGO_PKG_VERSION"),
        command: asked.command(options, settings.named.as_deref()),
        files_written: Vec::new(),
    };
    if let Some(dir) = &options.out {
        let mut folder = Folder::open(dir)?;
        let page = comparison::html(&document);
        let json = comparison::json(&document);
        folder.add("comparison.html", |out| Ok(out.write_all(page.as_bytes())?))?;
        folder.add("comparison.json", |out| Ok(out.write_all(json.as_bytes())?))?;
        document.files_written = output::names(&folder.put_in_place()?);
    }
    output::print(&match options.json {
        true => comparison::json(&document),
        false => comparison::terminal(&document, output::width(), output::is_colour_wanted()),
    })?;
    Ok(ExitCode::SUCCESS)
}

/// The drives of each side.
struct Asked {
    before: Vec<PathBuf>,
    after: Vec<PathBuf>,
    again: Vec<PathBuf>,
}

impl Asked {
    fn of(options: &CompareOptions) -> Result<Asked> {
        let again = options.again.clone();
        if !options.before.is_empty() {
            return Ok(Asked {
                before: options.before.clone(),
                after: options.after.clone(),
                again,
            });
        }
        match options.two.as_slice() {
            [before, after] => Ok(Asked {
                before: vec![before.clone()],
                after: vec![after.clone()],
                again,
            }),
            drives => bail!(
                "found {}, expected BEFORE and AFTER; several drives of a side go with --before and --after, \
                 and the car put back as it was with --again",
                match drives.len() {
                    0 => "no drive".to_owned(),
                    1 => "one drive".to_owned(),
                    n => format!("{n} drives"),
                }
            ),
        }
    }

    fn all(&self) -> impl Iterator<Item = &PathBuf> {
        self.before.iter().chain(&self.after).chain(&self.again)
    }

    /// The command that does it again, in the folder of its files.
    fn command(&self, options: &CompareOptions, settings: Option<&Path>) -> String {
        let names = |paths: &[PathBuf]| {
            let names = paths.iter().map(|path| format!(" {}", quoted(path)));
            names.collect::<String>()
        };
        let (before, after) = (names(&self.before), names(&self.after));
        let mut command = "halfshaft compare".to_owned();
        command += &match self.before.len() + self.after.len() {
            2 => format!("{before}{after}"),
            _ => format!(" --before{before} --after{after}"),
        };
        if !self.again.is_empty() {
            command += &format!(" --again{}", names(&self.again));
        }
        let named = [
            ("--map", options.map.as_deref()),
            ("--map-after", options.map_after.as_deref()),
            ("--settings", settings),
        ];
        for (option, path) in named {
            if let Some(path) = path {
                command += &format!(" {option} {}", quoted(path));
            }
        }
        // Where laps begin may be somebody's gate: whoever does it again has to know.
        if options.start_line.is_some() {
            command += " --start-line=LATITUDE,LONGITUDE";
        }
        command
    }
}

/// No drive is compared with itself.
fn check_differ(asked: &Asked, sides: &[Vec<Record>; 3]) -> Result<()> {
    let mut known: Vec<(&PathBuf, Vec<&str>)> = Vec::new();
    for (path, record) in asked.all().zip(sides.iter().flatten()) {
        let bytes: Vec<&str> = record
            .inputs
            .iter()
            .map(|input| input.fingerprint.as_str())
            .collect();
        let same = known.iter().find(|(_, of)| !of.is_empty() && *of == bytes);
        if let Some((other, _)) = same {
            bail!(
                "{} and {} are of the same bytes, expected another drive in each",
                other.display(),
                path.display()
            );
        }
        known.push((path, bytes));
    }
    Ok(())
}

fn read_map(path: Option<&Path>) -> Result<Option<Map>> {
    path.map(pipeline::read_map).transpose()
}

/// The record of a drive: as it is stored, or made of its log.
fn record(
    path: &Path,
    map: Option<Map>,
    start_line: Option<StartLine>,
    settings: &Settings,
) -> Result<Record> {
    let name = path.display();
    let doing = || format!("could not compare {name}");
    // What a log reads of standard input begins with what was looked at here.
    if path.as_os_str() == "-" {
        let mut stream = io::stdin().lock();
        if is_report(stream.fill_buf().with_context(doing)?) {
            return read_report("standard input", stream);
        }
    } else if !path.is_dir() {
        let mut stream = BufReader::new(File::open(path).with_context(doing)?);
        if is_report(stream.fill_buf().with_context(doing)?) {
            return read_report(&name.to_string(), stream);
        }
    }
    let Some(map) = map else {
        bail!("{name}: found no report.json of this program, and a log needs its map: --map MAP");
    };
    let job = Job {
        logs: vec![path.to_owned()],
        // Only the command of the record would name it, and that is not compared.
        map_path: PathBuf::new(),
        map,
        settings: settings.clone(),
        past: Past::default(),
        start_line,
    };
    let (read, results) = job.assess().with_context(doing)?;
    Ok(Record::of(&job.document(&read, &results)))
}

/// A report is one JSON object; no log begins as one.
fn is_report(start: &[u8]) -> bool {
    start.trim_ascii_start().starts_with(b"{")
}

/// Standard input can be read once.
fn check_read_once(options: &CompareOptions, asked: &Asked) -> Result<()> {
    let maps = options.map.iter().chain(&options.map_after);
    let mut all: Vec<PathBuf> = asked.all().chain(maps).cloned().collect();
    let Some(last) = all.pop() else {
        return Ok(());
    };
    pipeline::check_standard_input(&all, &last)
}
