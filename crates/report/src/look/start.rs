//! A map begun from a look at a log: what was found stands in it as facts, what may be so as notes to
//! uncomment, what only somebody at the car knows as notes to fill in. It is right as it is written.

use std::collections::BTreeSet;
use std::fmt::Write;

use halfshaft_look::checks::{Checksum, Rule};
use halfshaft_look::{Candidate, Identifier, Kind, Place};
use halfshaft_model::SheetSpec;
use halfshaft_model::channel::name;
use halfshaft_model::sheet::{Base, ColumnRef, SheetContent, TimeKind};

use super::{Document, whole};
use crate::words::{clean, number};

/// Identifiers written down; a car has fewer.
const MOST_FRAMES: usize = 500;

const VEHICLE: &str = r#"
# The car. What is not stated stays unknown, and what needs it is refused with that reason.
# Uncomment a line and put your figure in it.
vehicle "my car"
  # rear track 1.55 m +/- 1 %        (middle of tyre to middle of tyre, by tape or from the papers)
  # front track 1.55 m +/- 1 %
  # tyre 225/45 R17                  (on the flank of the tyre)
  # rolling radius 0.31 m +/- 2 %    (better than the tyre: roll the car ten turns of a wheel, way / 20 pi)
  # final drive 3.5                  (workshop manual, or the tag on the unit)
  # unit "maker and number"          (tag on the unit)
  # clutch between case and one side gear
  #                                  (or: clutches between case and both side gears, clutch between left and
  #                                  right shaft; drawing or exploded view in the workshop manual)
  # faces 12                         (count them, or the parts list)
  # outer radius 61 mm               (of the lining)
  # inner radius 44.5 mm
  # friction 0.115 +/- 0.02          (maker of the lining; without one leave it out)
  # preload 75 N.m +/- 10 %          (torque wrench: docs/signal-map.md, Preload)
  # oil 0.95 l                       (workshop manual, filling of the unit)
"#;

/// The map as text. `sheet` is how the log was read where it is a sheet.
pub fn map(document: &Document, sheet: Option<(&SheetSpec, &[String])>) -> String {
    let found = document.found;
    let from = document
        .inputs
        .first()
        .map_or(String::new(), |(name, _)| text(name));
    let mut map = format!(
        "# Begun by `halfshaft map start`. Buses, frames, counters and checksums are as found in the log.\n\
         # Lines behind `#` are candidates: uncomment what you have checked, delete the rest. Then:\n\
         # halfshaft map check THIS.map LOG\n\n\
         map \"begun from {from}\"\n  remark \"begun from a log; nothing of it is checked\"\n"
    );
    map.push_str(VEHICLE);
    for note in &found.notes {
        map += &format!("\n# {}", note.replace('\n', " "));
    }
    if !found.notes.is_empty() {
        map.push('\n');
    }
    let named = channels(&found.candidates);
    if let Some((spec, columns)) = sheet {
        sheet_lines(document, &mut map, spec, columns, &named);
    }
    for at in 0..found.buses.len() {
        map += &format!(
            "\nbus b{}\n  in the log \"{}\"\n",
            at + 1,
            text(&found.buses[at].0)
        );
    }
    // Frames with candidates first.
    let has_any = |at: usize| {
        named
            .iter()
            .any(|(candidate, _)| frame_of(document, candidate) == Some(at))
    };
    let mut order: Vec<usize> = (0..found.identifiers.len())
        .filter(|at| found.identifiers[*at].n_frames > 0)
        .collect();
    order.sort_by_key(|at| !has_any(*at));
    for at in order.into_iter().take(MOST_FRAMES) {
        frame(document, &mut map, at, &named);
    }
    map
}

/// A text as a map may hold it.
fn text(foreign: &str) -> String {
    clean(foreign).replace('\\', "\\\\").replace('"', "\\\"")
}

fn frame_of(document: &Document, candidate: &Candidate) -> Option<usize> {
    match document.found.signals[candidate.signal].place {
        Place::Bits { identifier, .. } => Some(identifier),
        Place::Column { .. } => None,
    }
}

/// Each candidate with a channel of its own: one of the program's where one is left, else an own one.
fn channels(candidates: &[Candidate]) -> Vec<(&Candidate, String)> {
    let mut used: BTreeSet<String> = BTreeSet::new();
    let n_wheels = candidates
        .iter()
        .filter(|candidate| candidate.kind == Kind::WheelSpeed)
        .count();
    let mut n_wheel = 0;
    let wheels = match n_wheels {
        2 => [
            name::WHEEL_REAR_LEFT,
            name::WHEEL_REAR_RIGHT,
            name::WHEEL_FRONT_LEFT,
            name::WHEEL_FRONT_RIGHT,
        ],
        _ => [
            name::WHEEL_FRONT_LEFT,
            name::WHEEL_FRONT_RIGHT,
            name::WHEEL_REAR_LEFT,
            name::WHEEL_REAR_RIGHT,
        ],
    };
    let mut channel = |candidate: &Candidate| {
        let wanted = match candidate.kind {
            Kind::WheelSpeed => {
                n_wheel += 1;
                wheels.get(n_wheel - 1).copied()
            }
            Kind::RoadSpeed => Some(name::SPEED_VEHICLE),
            Kind::YawRate => Some(name::YAW_RATE),
            Kind::Steering => Some(name::STEERING_ANGLE),
            Kind::LateralAcceleration => Some(name::ACCELERATION_LATERAL),
            Kind::LongitudinalAcceleration => Some(name::ACCELERATION_LONGITUDINAL),
            Kind::Accelerator => Some(name::THROTTLE),
            Kind::Brake => Some(name::BRAKE_PRESSURE),
            Kind::EngineSpeed => Some(name::ENGINE_SPEED),
            Kind::Command => Some(name::CLUTCH_COMMAND),
            Kind::Follower => Some(name::CLUTCH_POSITION),
            Kind::WheelCopy | Kind::Turning | Kind::Slow => None,
        };
        let mut channel = match wanted {
            Some(wanted) => wanted.to_owned(),
            None => format!("own.{}", candidate.kind.word()),
        };
        let mut n = 1;
        while !used.insert(channel.clone()) {
            n += 1;
            channel = format!("own.{}-{n}", candidate.kind.word());
        }
        channel
    };
    candidates
        .iter()
        .map(|candidate| (candidate, channel(candidate)))
        .collect()
}

/// A step to begin with, in the unit of the channel; the second is whether it is known.
fn step(candidate: &Candidate) -> (String, bool) {
    if let Some(step) = candidate.km_per_h {
        return (format!("{} km/h", exact(step)), true);
    }
    let guess = match candidate.kind {
        Kind::WheelSpeed | Kind::WheelCopy | Kind::RoadSpeed => "0.01 km/h",
        Kind::YawRate => "0.01 deg/s",
        Kind::Steering => "0.1 deg",
        Kind::LateralAcceleration | Kind::LongitudinalAcceleration => "0.01 m/s2",
        Kind::Accelerator | Kind::Command | Kind::Follower => "0.5 %",
        Kind::Brake => "0.1 bar",
        Kind::EngineSpeed => "0.25 rpm",
        Kind::Turning | Kind::Slow => "1 none",
    };
    (guess.to_owned(), false)
}

/// Four figures, without an exponent.
fn exact(value: f64) -> String {
    let places = (3 - value.abs().log10().floor() as i32).clamp(0, 9) as usize;
    let written = format!("{value:.places$}");
    match written.contains('.') {
        true => written
            .trim_end_matches('0')
            .trim_end_matches('.')
            .to_owned(),
        false => written,
    }
}

/// A candidate as notes.
fn candidate_lines(
    map: &mut String,
    indent: &str,
    candidate: &Candidate,
    channel: &str,
    place: &str,
    is_signed: bool,
) {
    let sure = match candidate.kind {
        Kind::WheelSpeed => ", which wheel is not known",
        _ => "",
    };
    // Writing to a text cannot fail.
    let _ = writeln!(map, "{indent}# candidate: {}{sure}", candidate.kind.words());
    for words in &candidate.evidence {
        let _ = writeln!(map, "{indent}#   {}", clean(words));
    }
    let (step, is_known) = step(candidate);
    let _ = writeln!(map, "{indent}# {channel} in {place}");
    if is_signed {
        let _ = writeln!(map, "{indent}#   signed");
    }
    let note = if is_known {
        ""
    } else {
        "  # scale unknown, a guess"
    };
    let _ = writeln!(map, "{indent}#   step {step}{note}");
    if let Some(zero) = candidate.zero.filter(|zero| *zero != 0.0)
        && let Some((step, unit)) = step.split_once(' ')
        && let Ok(step) = step.parse::<f64>()
    {
        let _ = writeln!(
            map,
            "{indent}#   zero at {} {unit}  # so that code {zero:.0} is 0",
            exact(-zero.round() * step)
        );
    }
}

fn frame(document: &Document, map: &mut String, at: usize, named: &[(&Candidate, String)]) {
    let found = document.found;
    let identifier = &found.identifiers[at];
    let _ = writeln!(map, "\nframe {} on b{}", identifier.id, identifier.bus + 1);
    let unit = if identifier.length() == 1 {
        "byte"
    } else {
        "bytes"
    };
    match identifier.length() {
        0 => {
            let _ = writeln!(map, "  # it carries no bytes");
        }
        length => {
            let _ = writeln!(
                map,
                "  length {length} {}",
                if length == 1 { "bytes" } else { unit }
            );
        }
    }
    if let Some((period_s, _)) = identifier
        .period_s
        .filter(|(period_s, _)| *period_s >= 1e-3)
    {
        let _ = writeln!(
            map,
            "  every {} ms",
            exact((period_s * 1e3 * 10.0).round() / 10.0)
        );
    }
    checks(map, identifier);
    let own = || {
        named
            .iter()
            .filter(|(candidate, _)| frame_of(document, candidate) == Some(at))
    };
    let mut last_page = None;
    for (candidate, channel) in own() {
        let Place::Bits { page, field, .. } = document.found.signals[candidate.signal].place else {
            continue;
        };
        let mut indent = "  ";
        if let (Some(page), Some(pages)) = (page, &identifier.pages) {
            if last_page != Some(page) {
                let _ = writeln!(
                    map,
                    "  # page {} is {page}",
                    whole(pages.first_bit, pages.n_bits)
                );
                last_page = Some(page);
            }
            indent = "    ";
        }
        let bits = field.whole().words();
        candidate_lines(
            map,
            indent,
            candidate,
            channel,
            &bits,
            field.quality.is_signed,
        );
    }
}

/// Counter and checksum: as facts where the language has them, else as notes.
fn checks(map: &mut String, identifier: &Identifier) {
    for (n, counter) in identifier.counters.iter().enumerate() {
        let bits = whole(counter.first_bit, counter.n_bits);
        let is_full = usize::from(counter.highest) + 1 == 1 << counter.n_bits;
        let _ = match n == 0 && is_full {
            true => writeln!(map, "  counter {bits} steps by 1"),
            false => writeln!(map, "  # counter in {bits}, 0 to {}", counter.highest),
        };
    }
    if let Some(sum) = &identifier.checksum {
        let _ = match rule(sum) {
            Some(rule) => writeln!(map, "  checksum byte {} is {rule}", sum.byte),
            None => writeln!(
                map,
                "  # checksum in byte {}: {}, which maps do not know",
                sum.byte,
                sum.rule.words()
            ),
        };
    }
    if let Some(pages) = &identifier.pages {
        let _ = writeln!(
            map,
            "  # page number in {}",
            whole(pages.first_bit, pages.n_bits)
        );
    }
}

fn rule(sum: &Checksum) -> Option<String> {
    let (word, usual) = match (sum.rule, sum.end) {
        (Rule::Xor, _) => ("xor", 0),
        (Rule::Sum, _) => ("sum", 0),
        (
            Rule::Crc8 {
                polynomial: 0x1D,
                is_reflected: false,
            },
            0xFF,
        ) => ("crc-8-j1850", 0xFF),
        _ => return None,
    };
    let from = match sum.start == usual {
        true => String::new(),
        false => format!(" from 0x{:02X}", sum.start),
    };
    Some(format!(
        "{word} of bytes {} to {}{from}",
        sum.of.0, sum.of.1
    ))
}

fn column(reference: &ColumnRef) -> String {
    match reference {
        ColumnRef::Position(position) => format!("column {position}"),
        ColumnRef::Header(names) => {
            let names: Vec<String> = names
                .iter()
                .map(|name| format!("\"{}\"", text(name)))
                .collect();
            names.join(" or ")
        }
    }
}

fn sheet_lines(
    document: &Document,
    map: &mut String,
    spec: &SheetSpec,
    columns: &[String],
    named: &[(&Candidate, String)],
) {
    let _ = writeln!(map, "\nsheet \"{}\"", text(&spec.name));
    match spec.delimiter {
        Some('\t') => map.push_str("  columns parted by tab\n"),
        Some(mark) => {
            let _ = writeln!(map, "  columns parted by \"{mark}\"");
        }
        None => {}
    }
    for mark in &spec.missing_marks {
        let _ = writeln!(map, "  missing is \"{}\"", text(mark));
    }
    let base = |base: Base| match base {
        Base::Decimal => "decimal",
        Base::Hexadecimal => "hexadecimal",
    };
    if let SheetContent::Frames { .. } = spec.content {
        map.push_str("  rows are frames\n");
    }
    if let Some(time) = &spec.time_column {
        let kind = match spec.time_kind {
            TimeKind::ClockTime => "clock time",
            TimeKind::Iso8601 => "ISO 8601",
            TimeKind::Number { seconds_per_unit } if seconds_per_unit < 0.9e-3 => "us",
            TimeKind::Number { seconds_per_unit } if seconds_per_unit < 0.9 => "ms",
            TimeKind::Number { .. } | TimeKind::RowClock { .. } => "s",
        };
        let _ = writeln!(map, "  time in {} as {kind}", column(time));
    }
    match &spec.content {
        SheetContent::Frames {
            bus,
            id,
            id_base,
            payload,
            payload_base,
            length,
            ..
        } => {
            if let Some(bus) = bus {
                let _ = writeln!(map, "  bus in {}", column(bus));
            }
            let _ = writeln!(map, "  id in {} as {}", column(id), base(*id_base));
            for bytes in payload {
                let _ = writeln!(
                    map,
                    "  bytes in {} as {}",
                    column(bytes),
                    base(*payload_base)
                );
            }
            if let Some(length) = length {
                let _ = writeln!(map, "  length in {}", column(length));
            }
        }
        SheetContent::Channels(places) => {
            for (candidate, channel) in named {
                if let Place::Column { column: at } = document.found.signals[candidate.signal].place
                    && let Some(place) = places.get(at)
                {
                    let place = column(place);
                    candidate_lines(map, "  ", candidate, channel, &place, false);
                }
            }
            // A sheet gives at least one channel: a column as it is, until there is a better one.
            let is_number = |at: &usize| {
                let facts = document.found.columns.get(*at);
                facts.is_some_and(|facts| facts.n_numbers > 0)
            };
            let first = (0..places.len())
                .find(is_number)
                .or((!places.is_empty()).then_some(0));
            if let Some(at) = first {
                let _ = writeln!(
                    map,
                    "  own.first-column in {}  # to be replaced",
                    column(&places[at])
                );
                map.push_str("    unit none\n");
            }
            map.push_str("  # all columns\n");
            for (at, header) in columns.iter().enumerate() {
                let facts = document.found.columns.get(at);
                let span = facts
                    .and_then(|facts| facts.span)
                    .map_or(String::new(), |(low, high)| {
                        format!(", {} to {}", number(low), number(high))
                    });
                let place = places.get(at).map_or(String::new(), column);
                let kind = facts.map_or("", |facts| facts.kind);
                let _ = writeln!(map, "  #   {place}: \"{}\", {kind}{span}", text(header));
            }
        }
    }
}
