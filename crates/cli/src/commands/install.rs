//! `halfshaft man` and `halfshaft completions`: what is installed beside the program, made from its
//! own arguments.

use std::path::Path;
use std::process::ExitCode;

use anyhow::Result;
use clap::CommandFactory;

use crate::arguments::{Arguments, CompletionsOptions, ManOptions};
use crate::output::{self, Folder};

/// Writes a manual page for each command.
pub fn man(options: &ManOptions) -> Result<ExitCode> {
    let mut command = Arguments::command().disable_help_subcommand(true);
    command.build();
    let mut folder = Folder::open(&options.dir)?;
    add_pages(&mut folder, &command)?;
    let places = folder.put_in_place()?;
    output::print(&format!(
        "Written: {} pages in {}\n",
        places.len(),
        options.dir.display()
    ))?;
    Ok(ExitCode::SUCCESS)
}

fn add_pages(folder: &mut Folder, command: &clap::Command) -> Result<()> {
    let page = clap_mangen::Man::new(command.clone());
    let name = page.get_filename();
    folder.add(Path::new(&name), |mut out| Ok(page.render(&mut out)?))?;
    let shown = command
        .get_subcommands()
        .filter(|command| !command.is_hide_set());
    for command in shown {
        add_pages(folder, command)?;
    }
    Ok(())
}

/// Prints the completions of a shell.
pub fn completions(options: &CompletionsOptions) -> Result<ExitCode> {
    let mut text = Vec::new();
    let mut command = Arguments::command();
    clap_complete::generate(options.shell, &mut command, "halfshaft", &mut text);
    output::print(&String::from_utf8(text)?)?;
    Ok(ExitCode::SUCCESS)
}
