//! `halfshaft report`: a log and a map in, a summary, `report.json` and `report.html` out.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::Result;
use halfshaft_model::at_once;
use halfshaft_record::document::Workshop;
use halfshaft_report::Document;

use crate::arguments::{ReportOptions, WorkshopOptions};
use crate::job::{Job, quoted};
use crate::output::{self, Folder};

/// Runs the command.
pub fn run(options: &ReportOptions) -> Result<ExitCode> {
    let past = &options.past.baselines;
    let job = Job::open(&options.log, &options.limits, past, options.start_line)?;
    let (read, results) = job.assess()?;
    let mut document = job.document(&read, &results);
    state_workshop(&mut document, &options.workshop);
    if let Some(dir) = &options.out {
        document.files_written = output::names(&write(dir, &document)?);
    }
    output::print(&match options.json {
        true => halfshaft_report::json::render(&document),
        false => {
            let print = match options.full {
                true => halfshaft_report::terminal::render,
                false => halfshaft_report::terminal::summary,
            };
            print(&document, output::width(), output::is_colour_wanted())
        }
    })?;
    let findings = results.findings.iter();
    let worst = findings.map(|finding| finding.severity).max();
    let fails = options
        .fail_at
        .is_some_and(|fail_at| worst >= Some(fail_at.severity()));
    Ok(if fails {
        ExitCode::from(1)
    } else {
        ExitCode::SUCCESS
    })
}

/// What the workshop stated, and the options of it in the command that does it again.
fn state_workshop(document: &mut Document, stated: &WorkshopOptions) {
    let WorkshopOptions { shop, job, mileage } = stated;
    let mileage_km = mileage.map(|metres| metres / 1e3);
    let texts = [
        ("shop", shop.clone()),
        ("job", job.clone()),
        ("mileage", mileage_km.map(|km| format!("{km}km"))),
    ];
    if texts.iter().all(|(_, text)| text.is_none()) {
        return;
    }
    for (name, text) in &texts {
        if let Some(text) = text {
            document.command += &format!(" --{name}={}", quoted(Path::new(text)));
        }
    }
    document.workshop = Some(Workshop {
        shop: shop.clone(),
        job: job.clone(),
        mileage_km,
    });
}

/// Writes `report.html` and `report.json` into a folder.
pub fn write(dir: &Path, document: &Document) -> Result<Vec<PathBuf>> {
    let mut folder = Folder::open(dir)?;
    let (json, html) = at_once(
        || halfshaft_report::json::render(document),
        || halfshaft_report::html::render(document),
    );
    folder.add("report.html", |out| Ok(out.write_all(html.as_bytes())?))?;
    folder.add("report.json", |out| Ok(out.write_all(json.as_bytes())?))?;
    folder.put_in_place()
}
