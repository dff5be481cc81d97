//! Reads a log without a map and looks at all of it.

use std::path::PathBuf;

use anyhow::{Context, Result, bail};
use halfshaft_logs::{Log, Options, Sketch, Source, sketch};
use halfshaft_look::{Found, Look};
use halfshaft_model::{Batch, SheetSpec};
use halfshaft_report::look::Document;

use crate::output;
use crate::progress::Indicator;

/// A log that was looked at.
#[derive(Debug)]
pub struct Looked {
    /// What is in it.
    pub found: Found,
    /// How it was read, where it is a sheet.
    pub sketch: Option<Sketch>,
    inputs: Vec<(String, String)>,
    n_lines_skipped: u64,
}

impl Looked {
    /// What is to be shown.
    pub fn document(&self) -> Document<'_> {
        Document {
            found: &self.found,
            inputs: self.inputs.clone(),
            n_lines_skipped: self.n_lines_skipped,
            program_version: env!("CARGO_PKG_VERSION"),
        }
    }
}

/// Looks at logs read as one.
pub fn look(logs: &[PathBuf]) -> Result<Looked> {
    if logs.iter().filter(|path| path.as_os_str() == "-").count() > 1 {
        bail!("standard input was named twice, and can be read once");
    }
    let source = |path: &PathBuf| match path.as_os_str() == "-" {
        true => Source::StandardInput,
        false => Source::File(path.clone()),
    };
    let sources: Vec<Source> = logs.iter().map(source).collect();
    let sketch = logs.iter().find_map(|path| sketch(path));
    let sheets: Vec<SheetSpec> = sketch.iter().map(|sketch| sketch.spec.clone()).collect();
    let options = Options {
        sheets: &sheets,
        only: None,
    };
    let doing = "could not read the log";
    let mut log = Log::open(&sources, &options).context(doing)?;
    let columns = sketch.as_ref().map_or(&[][..], |sketch| &sketch.columns);
    let mut look = Look::new(columns);
    let mut batch = Batch::default();
    let indicator = Indicator::start(log.progress());
    while log.next(&mut batch).context(doing)? {
        look.push(&batch);
        indicator.at(log.progress().read_bytes);
    }
    indicator.end();
    let inputs = log.inputs();
    for trouble in inputs.iter().filter_map(|input| input.trouble.as_ref()) {
        output::write_error_line(trouble);
    }
    Ok(Looked {
        found: look.found(),
        sketch,
        n_lines_skipped: inputs.iter().map(|input| input.n_lines_skipped).sum(),
        inputs: inputs
            .iter()
            .map(|input| (output::file_name(input.name.as_ref()), input.format.clone()))
            .collect(),
    })
}
