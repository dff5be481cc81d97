//! `halfshaft look`: what is in a log nobody has mapped.

use std::path::Path;
use std::process::ExitCode;

use anyhow::{Result, bail};
use halfshaft_report::look;

use crate::arguments_look::LookOptions;
use crate::looking;
use crate::output::{self, Folder};

/// Runs the command.
pub fn run(options: &LookOptions) -> Result<ExitCode> {
    if let Some(page) = &options.out
        && page.is_dir()
    {
        bail!(
            "{} is a folder; expected the name of a page, as look.html",
            page.display()
        );
    }
    let looked = looking::look(&options.logs)?;
    let document = looked.document();
    if let Some(page) = &options.out {
        let dir = page.parent().filter(|dir| !dir.as_os_str().is_empty());
        let mut folder = Folder::open(dir.unwrap_or(Path::new(".")))?;
        let name = page.file_name().unwrap_or(page.as_os_str());
        let html = halfshaft_report::html::look::render(&document);
        folder.add(name, |out| Ok(out.write_all(html.as_bytes())?))?;
        folder.put_in_place()?;
    }
    let text = match options.json {
        true => look::json::render(&document),
        false => look::terminal::render(&document, output::width()),
    };
    output::print(&text)?;
    if let (Some(page), false) = (&options.out, options.json) {
        let name = output::harmless(&page.display().to_string());
        output::print(&format!("wrote {name}\n"))?;
    }
    Ok(ExitCode::SUCCESS)
}
