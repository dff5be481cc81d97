//! Words for what was found, for all ways to show it.

use halfshaft_look::checks::{Checksum, Counter, Pages};
use halfshaft_look::{Candidate, Found, Identifier, Kind, Motion, Place};

use crate::words::{clean, counted, number};

/// Whether it is a log of a moving car, in a sentence.
pub(crate) fn headline(found: &Found) -> String {
    let n_wheels = found
        .candidates
        .iter()
        .filter(|candidate| candidate.kind == Kind::WheelSpeed)
        .count();
    match found.motion {
        Motion::Moved => format!(
            "A log of a moving car: {} run as wheel speeds do.",
            counted(n_wheels as u64, "field", "fields")
        ),
        Motion::NotSeen => {
            "No field runs as wheel speeds do: the car hardly moved, or its wheel speeds are \
                            not in this log."
                .to_owned()
        }
    }
}

/// Where a signal stands: `0x0AA bytes 0 1`, with bus and page where there are several.
pub(crate) fn place(found: &Found, place: &Place) -> String {
    match place {
        Place::Bits {
            identifier,
            page,
            field,
        } => {
            let identifier = &found.identifiers[*identifier];
            let bus = match found.buses.len() {
                0 | 1 => String::new(),
                _ => format!("{} ", bus(found, identifier.bus)),
            };
            let page = page.map_or(String::new(), |page| format!(" page {page}"));
            let sign = if field.quality.is_signed {
                ", signed"
            } else {
                ""
            };
            format!(
                "{bus}{}{page} {}{sign}",
                identifier.id,
                field.whole().words()
            )
        }
        Place::Column { column } => {
            let name = found
                .columns
                .get(*column)
                .map_or("", |column| column.name.as_str());
            format!("column \"{}\"", clean(name))
        }
    }
}

/// The name of a bus as it may be shown.
pub(crate) fn bus(found: &Found, bus: usize) -> String {
    let name = found.buses.get(bus).map_or("", |(name, _)| name.as_str());
    match clean(name) {
        name if name.is_empty() => "bus without a name".to_owned(),
        name => name,
    }
}

/// What a candidate may be, with axle and side.
pub(crate) fn kind(candidate: &Candidate) -> String {
    match candidate.corner {
        Some((axle, side)) => {
            let axle = ["A", "B"][axle.min(1)];
            format!("{}, axle {axle} side {}", candidate.kind.words(), side + 1)
        }
        None => candidate.kind.words().to_owned(),
    }
}

/// Counter, checksum and page number of an identifier.
pub(crate) fn checks(identifier: &Identifier) -> Vec<String> {
    let counters = identifier.counters.iter().map(counter);
    let sums = identifier.checksum.iter().map(checksum);
    let pages = identifier.pages.iter().map(pages);
    counters.chain(sums).chain(pages).collect()
}

fn counter(counter: &Counter) -> String {
    format!(
        "counter in {}, 0 to {}",
        whole(counter.first_bit, counter.n_bits),
        counter.highest
    )
}

/// A nibble or byte as maps write it.
pub(crate) fn whole(first_bit: usize, n_bits: usize) -> String {
    let (byte, high) = (first_bit / 8, 7 - first_bit % 8);
    match n_bits {
        8 => format!("byte {byte}"),
        _ => format!("{byte}.{high}..{byte}.{}", high + 1 - n_bits),
    }
}

fn checksum(sum: &Checksum) -> String {
    let ends = match (sum.start, sum.end) {
        (0, 0) => String::new(),
        (start, 0) => format!(" from 0x{start:02X}"),
        (start, end) => format!(" from 0x{start:02X}, final exclusive or 0x{end:02X}"),
    };
    format!(
        "checksum in byte {}: {} of bytes {} to {}{ends}",
        sum.byte,
        sum.rule.words(),
        sum.of.0,
        sum.of.1
    )
}

fn pages(pages: &Pages) -> String {
    let values: Vec<String> = pages.values.iter().map(u8::to_string).collect();
    format!(
        "page number in {}: {}",
        whole(pages.first_bit, pages.n_bits),
        values.join(", ")
    )
}

/// A time in ms or s.
pub(crate) fn seconds(seconds: f64) -> String {
    match seconds < 1.0 {
        true => format!("{} ms", number(seconds * 1e3)),
        false => format!("{} s", number(seconds)),
    }
}
