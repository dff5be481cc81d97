//! `halfshaft whatif`: a log, a map and another pack in; figures side by side out.

use std::process::ExitCode;

use anyhow::{Result, anyhow};
use halfshaft_health::what_if::{Change, WhatIf};
use halfshaft_report::what_if::{self, Document};

use crate::arguments::WhatIfOptions;
use crate::job::{Job, input_record, map_record};
use crate::output::{self, Folder};

/// Runs the command.
pub fn run(options: &WhatIfOptions) -> Result<ExitCode> {
    let job = Job::open(&options.log, &options.limits, &[], None)?;
    let (map, limits) = (&job.map, &job.settings.limits);
    let change = change(options);
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
        command: job.command("whatif") + &flags(&change),
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

fn change(options: &WhatIfOptions) -> Change {
    Change {
        n_faces: options.faces,
        outer_radius_m: options.outer_radius,
        inner_radius_m: options.inner_radius,
        groove_share: options.groove_share,
        friction: options.friction,
        preload_nm: options.preload,
        oil_volume_m3: options.oil,
        cooling: options.cooling,
    }
}

/// The options that ask for the same change again.
fn flags(change: &Change) -> String {
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
    flags
}
