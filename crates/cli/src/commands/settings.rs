//! `halfshaft settings`: a settings file with every limit at its usual value.

use std::process::ExitCode;

use anyhow::Result;
use halfshaft_health::limits::Limits;
use halfshaft_health::settings;

use crate::arguments::SettingsOptions;
use crate::output;

/// Runs the command.
pub fn run(options: &SettingsOptions) -> Result<ExitCode> {
    let text = settings::write(&Limits::default());
    match &options.out {
        None => output::print(&text)?,
        Some(path) => {
            output::write_new(path, text.as_bytes())?;
            let name = output::harmless(&path.display().to_string());
            output::print(&format!("wrote {name}\n"))?;
        }
    }
    Ok(ExitCode::SUCCESS)
}
