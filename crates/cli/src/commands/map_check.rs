//! `halfshaft map check`: every mistake in a map, and how a log fits it.

use std::process::ExitCode;

use anyhow::Result;

use crate::arguments::MapCheckOptions;
use crate::output;
use crate::pipeline::{self, counted_mistakes};

/// Runs the command: 0 when the map is right, 2 when it is not.
pub fn run(options: &MapCheckOptions) -> Result<ExitCode> {
    pipeline::check_standard_input(&options.logs, &options.map)?;
    let name = output::harmless(&options.map.display().to_string());
    let checked = match pipeline::check_map(&options.map)? {
        Ok(checked) => checked,
        Err(mistakes) => {
            output::print(&mistakes.render(output::is_colour_wanted()))?;
            output::write_error_line(&format!("{name}: {}", counted_mistakes(mistakes.len())));
            return Ok(ExitCode::from(2));
        }
    };
    let map = &checked.map;
    output::print(&checked.warnings.render(output::is_colour_wanted()))?;
    let proofs = match map.proofs.len() {
        0 => "it proves nothing of itself: add `prove` lines".to_owned(),
        1 => "its 1 prove line holds".to_owned(),
        n => format!("its {n} prove lines hold"),
    };
    output::print(&format!(
        "{name}: \"{}\": {} channels from {} frames and {} sheets; {proofs}\n",
        output::harmless(&map.title),
        map.channels.len(),
        map.frames.len(),
        map.sheets.len(),
    ))?;
    if options.logs.is_empty() {
        return Ok(ExitCode::SUCCESS);
    }
    let read = pipeline::survey(&options.logs, map)?;
    let mut lines = read.fit.lines();
    lines.extend(read.notices.iter().map(|(code, tally)| {
        format!(
            "{}: {} times, first at {}: {}",
            code.word(),
            tally.count,
            tally.first,
            code.meaning()
        )
    }));
    output::print(&(output::harmless(&lines.join("\n")) + "\n"))?;
    Ok(ExitCode::SUCCESS)
}
