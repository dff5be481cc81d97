//! `halfshaft decode`: the channels of a log as CSV, one sample a line, at native rates.

use std::io::Write;
use std::process::ExitCode;

use anyhow::{Context, Result, bail};
use halfshaft_model::personal::PlaceTrim;
use halfshaft_model::{ChannelSpec, MapUnit};

use crate::arguments::DecodeOptions;
use crate::pipeline;

/// Runs the command.
pub fn run(options: &DecodeOptions) -> Result<ExitCode> {
    pipeline::check_standard_input(&options.log.logs, &options.log.map)?;
    let map = pipeline::read_map(&options.log.map)?;
    for name in &options.channels {
        if map.channel(name).is_none() {
            let known: Vec<&str> = map
                .channels
                .iter()
                .map(|channel| channel.name.as_str())
                .collect();
            bail!(
                "the map has no channel `{name}`; it has {}",
                known.join(", ")
            );
        }
    }
    let unit = |channel: &ChannelSpec| match options.si {
        true => MapUnit {
            symbol: channel.si_unit(),
            si_per_unit: 1.0,
            si_at_zero: 0.0,
        },
        false => channel.shown_unit(),
    };
    let wanted: Vec<(usize, &str, MapUnit)> = map
        .channels
        .iter()
        .enumerate()
        .filter(|(_, channel)| {
            options.channels.is_empty() || options.channels.contains(&channel.name)
        })
        .map(|(index, channel)| (index, channel.name.as_str(), unit(channel)))
        .collect();
    let mut out = std::io::BufWriter::new(std::io::stdout().lock());
    // The header waits for the first sample: a log that gives nothing prints nothing.
    let mut header = "time_s,channel,value,unit\n";
    let mut trim = PlaceTrim::new(&map.channels).filter(|_| !options.all_positions);
    pipeline::decode(&options.log.logs, &map, |block| {
        let mut places = Vec::new();
        if let Some(trim) = &mut trim {
            trim.push(block, &mut |column, time, value| {
                places.push((column, time, value));
            });
        }
        for (index, name, unit) in &wanted {
            let (index, symbol) = (*index, unit.symbol);
            let is_position = trim.as_ref().is_some_and(|trim| trim.is_place(index));
            let measured = block.columns[index].iter().filter(|_| !is_position);
            let positions = places.iter().filter(|(column, ..)| *column == index);
            let samples = measured.chain(positions.map(|&(_, time, value)| (time, value)));
            for (time, value) in samples {
                out.write_all(std::mem::take(&mut header).as_bytes())
                    .context("could not print")?;
                let nanoseconds = time.0.rem_euclid(1_000_000_000);
                let seconds = time.0.div_euclid(1_000_000_000);
                write!(out, "{seconds}.{nanoseconds:09},{name},").context("could not print")?;
                match value {
                    // A missing sample is an empty cell, never a number.
                    None => writeln!(out, ",{symbol}"),
                    Some(value) if options.si => writeln!(out, "{value},{symbol}"),
                    Some(value) => writeln!(out, "{},{symbol}", rounded(unit.of_si(value))),
                }
                .context("could not print")?;
            }
        }
        Ok(())
    })?;
    out.write_all(header.as_bytes())
        .context("could not print")?;
    out.flush().context("could not print")?;
    Ok(ExitCode::SUCCESS)
}

/// Without what the way to SI and back leaves in the last digits: 12.5 and not 12.500000000000002.
fn rounded(value: f64) -> f64 {
    format!("{value:.12e}").parse().unwrap_or(value)
}
