//! `halfshaft map format`: a map in standard form.

use std::process::ExitCode;

use anyhow::{Context, Result};

use crate::arguments::MapFormatOptions;
use crate::output::{self, Folder};
use crate::pipeline::{self, counted_mistakes};

/// Runs the command.
pub fn run(options: &MapFormatOptions) -> Result<ExitCode> {
    let name = output::harmless(&options.map.display().to_string());
    let bytes = pipeline::map_bytes(&options.map)?;
    let formatted = halfshaft_signal_map::mistakes::as_text(&name, &bytes)
        .and_then(|text| halfshaft_signal_map::format(&name, text));
    let text = match formatted {
        Ok(text) => text,
        Err(mistakes) => {
            output::write_error_text(&mistakes.render(pipeline::is_error_colour_wanted()));
            output::write_error_line(&format!("{name}: {}", counted_mistakes(mistakes.len())));
            return Ok(ExitCode::from(2));
        }
    };
    if !options.write || options.map.as_os_str() == "-" {
        output::print(&text)?;
        return Ok(ExitCode::SUCCESS);
    }
    // A link stays one: the file it leads to is replaced.
    let place =
        std::fs::canonicalize(&options.map).with_context(|| format!("could not find {name}"))?;
    let file = place
        .file_name()
        .with_context(|| format!("{name} is not a file"))?;
    let dir = place.parent().filter(|dir| !dir.as_os_str().is_empty());
    let mut folder = Folder::open(dir.unwrap_or(std::path::Path::new(".")))?;
    folder.add(file, |out| Ok(out.write_all(text.as_bytes())?))?;
    folder.put_in_place()?;
    Ok(ExitCode::SUCCESS)
}
