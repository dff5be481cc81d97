//! `halfshaft map start`: a map begun from a log.

use std::process::ExitCode;

use anyhow::{Result, bail};
use halfshaft_report::look::start;

use crate::arguments_look::MapStartOptions;
use crate::{looking, output};

/// Runs the command. A file that is there stays as it is.
pub fn run(options: &MapStartOptions) -> Result<ExitCode> {
    let name = output::harmless(&options.into.display().to_string());
    if options.into.symlink_metadata().is_ok() {
        bail!("could not write {name}: it is there already");
    }
    let looked = looking::look(&options.logs)?;
    let sketch = looked.sketch.as_ref();
    let sheet = sketch.map(|sketch| (&sketch.spec, &sketch.columns[..]));
    let text = start::map(&looked.document(), sheet);
    output::write_new(&options.into, text.as_bytes())?;
    output::print(&format!(
        "wrote {name}\nUncomment the candidates you have checked, fill in the car, then: halfshaft map check {name} LOG\n"
    ))?;
    Ok(ExitCode::SUCCESS)
}
