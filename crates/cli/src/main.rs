//! The `halfshaft` program: reads a log through a signal map and reports what the clutch
//! pack went through.
//!
//! This crate joins the stages and nothing more: it parses arguments, prints, and picks
//! the exit code. 0: done; 1: done, with findings at or above the level asked to fail
//! on; 2: could not do it.

mod arguments;
mod arguments_look;
mod baseline;
mod commands;
mod job;
mod looking;
mod output;
mod pages;
mod pipeline;
mod progress;
mod quantity;
mod settings;
mod stages;
mod unfinished;

use std::process::ExitCode;

use clap::Parser;
use clap::error::ErrorKind;

use crate::arguments::{Arguments, Command, MapCommand};

/// The arguments; where they are wrong it says what is expected and ends.
fn arguments() -> Arguments {
    let mut given: Vec<_> = std::env::args_os().collect();
    // `help --help` is what somebody types who wants help on help.
    if given.len() == 3 && given[1] == "help" && (given[2] == "--help" || given[2] == "-h") {
        given.remove(1);
    }
    let error = match Arguments::try_parse_from(given) {
        Ok(arguments) => return arguments,
        Err(error) => error,
    };
    let is_map_missing = error.kind() == ErrorKind::MissingRequiredArgument
        && error.to_string().contains("--map <MAP>");
    // It goes to standard output or standard error, as the error wants; nowhere else to say that
    // this failed.
    let _ = error.print();
    if is_map_missing {
        output::write_error_text(NO_MAP);
    }
    std::process::exit(error.exit_code());
}

/// What to do without a map.
const NO_MAP: &str = "
A map says in plain words which bytes of which frame hold what. No map yet? `halfshaft look LOG`
shows what is in the log, and `halfshaft map start LOG --into FILE.map` begins a map with it.
`halfshaft map check MAP LOG` says how the two fit; `halfshaft demo DIR` writes a finished map of
an invented car beside its log.
";

fn main() -> ExitCode {
    unfinished::watch();
    let arguments = arguments();
    let outcome = match arguments.command {
        Command::Report(options) => commands::report::run(&options),
        Command::Compare(options) => commands::compare::run(&options),
        Command::Look(options) => commands::look::run(&options),
        Command::Map(MapCommand::Start(options)) => commands::map_start::run(&options),
        Command::Map(MapCommand::Check(options)) => commands::map_check::run(&options),
        Command::Map(MapCommand::Format(options)) => commands::map_format::run(&options),
        Command::Decode(options) => commands::decode::run(&options),
        Command::Export(options) => commands::export::run(&options),
        Command::WhatIf(options) => commands::what_if::run(&options),
        Command::Capture(options) => commands::capture::run(options),
        Command::Demo(options) => commands::demo::run(&options),
        Command::Settings(options) => commands::settings::run(&options),
        Command::Man(options) => commands::install::man(&options),
        Command::Completions(options) => commands::install::completions(&options),
        Command::Pages(options) => pages::run(&options),
    };
    match outcome {
        Ok(code) => code,
        Err(error) => {
            // A reader that has seen enough (`| head`) is no failure. Rust ignores the
            // signal, so it shows as a write error.
            if output::is_closed_pipe(&error) {
                return ExitCode::SUCCESS;
            }
            output::write_error_line(&format!("{error:#}"));
            ExitCode::from(2)
        }
    }
}
