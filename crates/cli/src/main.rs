//! The `halfshaft` program: reads a log through a signal map and reports what the clutch
//! pack went through.
//!
//! This crate joins the stages and nothing more: it parses arguments, prints, and picks
//! the exit code. 0: done; 1: done, with findings at or above the level asked to fail
//! on; 2: could not do it.

mod arguments;
mod baseline;
mod commands;
mod job;
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

use crate::arguments::{Arguments, Command, MapCommand};

fn main() -> ExitCode {
    unfinished::watch();
    let arguments = Arguments::parse();
    let outcome = match arguments.command {
        Command::Report(options) => commands::report::run(&options),
        Command::Compare(options) => commands::compare::run(&options),
        Command::Map(MapCommand::Check(options)) => commands::map_check::run(&options),
        Command::Map(MapCommand::Format(options)) => commands::map_format::run(&options),
        Command::Decode(options) => commands::decode::run(&options),
        Command::Export(options) => commands::export::run(&options),
        Command::WhatIf(options) => commands::what_if::run(&options),
        Command::Demo(options) => commands::demo::run(&options),
        Command::Settings(options) => commands::settings::run(&options),
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
