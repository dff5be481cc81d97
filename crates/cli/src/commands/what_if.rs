//! `halfshaft whatif`: a log, a map and another pack in; figures side by side out.

use std::fs;
use std::path::Path;
use std::process::ExitCode;

use anyhow::{Context, Result, anyhow, bail};
use halfshaft_health::what_if::{Change, WhatIf};
use halfshaft_model::table::Table;
use halfshaft_model::vehicle::TorqueSource;
use halfshaft_report::what_if::{self, Document};

use crate::arguments::WhatIfOptions;
use crate::job::{Job, input_record, map_record, quoted};
use crate::output::{self, Folder};
use crate::pipeline;

/// Runs the command.
pub fn run(options: &WhatIfOptions) -> Result<ExitCode> {
    let job = Job::open(&options.log, &options.limits, &[], None)?;
    let (map, limits) = (&job.map, &job.settings.limits);
    let change = change(options, &job)?;
    let mut other = WhatIf::new(&map.vehicle, &map.channels, limits, &change)
        .map_err(|reason| anyhow!("{}: {reason}", job.map_path.display()))?;
    let mut drive = job.drive();
    let read = job.read(&mut drive, |block, derived, _| {
        other.push(block, derived);
        Ok(())
    })?;
    other.finish();
    let three = drive.results_beside(&mut other);
    job.check_believable(&read, &three.logged)?;
    let answer = other.answer(&three);
    let mut document = Document {
        answer: &answer,
        inputs: read.inputs.iter().map(input_record).collect(),
        map: map_record(map),
        program_version: env!("CARGO_PKG_VERSION"),
        command: job.command("whatif") + &flags(options, &change),
        files_written: Vec::new(),
    };
    if let Some(dir) = &options.out {
        let mut folder = Folder::open(dir)?;
        let (html, json) = (what_if::html(&document), what_if::json(&document));
        folder.add("what-if.html", |out| Ok(out.write_all(html.as_bytes())?))?;
        folder.add("what-if.json", |out| Ok(out.write_all(json.as_bytes())?))?;
        document.files_written = output::names(&folder.put_in_place()?);
    }
    output::print(&match options.json {
        true => what_if::json(&document),
        false => what_if::terminal(&document, output::width(), output::is_colour_wanted()),
    })?;
    Ok(ExitCode::SUCCESS)
}

fn change(options: &WhatIfOptions, job: &Job) -> Result<Change> {
    let torque_table = match &options.torque_table {
        None => None,
        Some(path) => Some(torque_table(path, &job.map_path)?),
    };
    Ok(Change {
        torque_table,
        n_faces: options.faces,
        outer_radius_m: options.outer_radius,
        inner_radius_m: options.inner_radius,
        groove_share: options.groove_share,
        friction: options.friction,
        preload_nm: options.preload,
        oil_volume_m3: options.oil,
        cooling: options.cooling,
    })
}

/// The table of a file: read as a part of the map in the place of that of the same name, so that its units, its
/// grammar and its mistakes are those of the map.
fn torque_table(path: &Path, map_path: &Path) -> Result<Table> {
    let anew = fs::read_to_string(path)
        .with_context(|| format!("could not read the torque table {}", path.display()))?;
    let map = String::from_utf8(pipeline::map_bytes(map_path)?)?;
    let name = |line: &str| {
        let named = line.strip_prefix("table ")?;
        Some(named.split('#').next()?.trim().to_owned())
    };
    let named = anew.lines().find_map(name);
    let named = named.ok_or_else(|| {
        anyhow!(
            "{}: expected a table, as `table NAME`, found none",
            path.display()
        )
    })?;
    if !map.lines().any(|line| name(line).as_ref() == Some(&named)) {
        bail!("{}: the map has no table `{named}`", path.display());
    }
    let mut is_old = false;
    let kept = map.lines().filter(|line| {
        // A block goes on as long as its lines are set in.
        if line.starts_with(|letter: char| !letter.is_whitespace()) {
            is_old = name(line).as_ref() == Some(&named);
        }
        !is_old
    });
    let text = format!("{}\n{anew}", kept.collect::<Vec<_>>().join("\n"));
    let read = halfshaft_signal_map::parse(&path.display().to_string(), &text);
    let map = read
        .map_err(|mistakes| anyhow!("the map with this table:\n{}", mistakes.render(false)))?
        .map;
    match map.vehicle.torque_sources.into_iter().next() {
        Some(TorqueSource::Table { table, .. }) => Ok(table),
        _ => bail!("{}: the map takes the torque from no table", path.display()),
    }
}

/// The options that ask for the same change again.
fn flags(options: &WhatIfOptions, change: &Change) -> String {
    let mut flags = String::new();
    let all = [
        ("faces", change.n_faces.map(f64::from), 1.0, ""),
        ("outer-radius", change.outer_radius_m, 1e3, "mm"),
        ("inner-radius", change.inner_radius_m, 1e3, "mm"),
        ("groove-share", change.groove_share, 1e2, "%"),
        ("friction", change.friction, 1.0, ""),
        ("preload", change.preload_nm, 1.0, "N.m"),
        ("oil", change.oil_volume_m3, 1e3, "l"),
        ("cooling", change.cooling, 1.0, "x"),
    ];
    for (name, value, scale, unit) in all {
        if let Some(value) = value {
            // Twelve places are more than anybody writes, and hide what scaling left behind.
            let value = (value * scale * 1e12).round() / 1e12;
            flags += &format!(" --{name} {value}{unit}");
        }
    }
    if let Some(path) = &options.torque_table {
        flags += &format!(" --torque-table {}", quoted(path));
    }
    flags
}
