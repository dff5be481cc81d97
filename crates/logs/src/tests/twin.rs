//! A second reader of SocketCAN log text, plain and slow, for comparison: it works on words
//! and has no short way. What the quick one gives must be the same, line by line, however
//! the text arrives and whichever frames are to be read.

use std::io::Read;

use crate::{Log, Options};
use halfshaft_model::{Batch, Entry, FrameId, FrameKind, IdFilter};
use proptest::prelude::*;

/// A frame, and all of it as text: stamp, bus, identifier, kind, flags, payload.
fn frame(line: &str) -> Option<(i64, FrameId, FrameKind, String)> {
    const BLANK: [char; 3] = [' ', '\t', '\r'];
    let (stamp, rest) = line
        .trim_start_matches(BLANK)
        .strip_prefix('(')?
        .split_once(')')?;
    let stamp = stamp.trim_start_matches(BLANK);
    let (seconds, decimals) = stamp.split_once('.').unwrap_or((stamp, ""));
    let are_digits = |text: &str| text.chars().all(|c| c.is_ascii_digit());
    if seconds.is_empty() || seconds.len() > 12 || !are_digits(seconds) || !are_digits(decimals) {
        return None;
    }
    let ns = format!("{seconds}{:0<9}", &decimals[..decimals.len().min(9)]);
    let ns: i64 = ns.parse().ok()?;

    let (bus, rest) = rest.trim_start_matches(BLANK).split_once(BLANK)?;
    if bus.is_empty() || bus.len() > 64 {
        return None;
    }
    // The direction may stand behind the frame, parted by blanks.
    let mut words = rest.split(BLANK).filter(|word| !word.is_empty());
    let (word, direction, end) = (words.next()?, words.next(), words.next());
    if !matches!(direction, None | Some("R" | "T")) || end.is_some() {
        return None;
    }

    let (id, data) = word.split_once('#')?;
    let number = u32::from_str_radix(id, 16)
        .ok()
        .filter(|_| !id.starts_with('+'))?;
    let (id, mut kind) = match id.len() {
        3 => (FrameId::standard(number)?, FrameKind::Data),
        8 if number & 0x2000_0000 != 0 => (masked(number)?, FrameKind::Error),
        8 if number & 0x4000_0000 != 0 => (masked(number)?, FrameKind::Remote),
        8 => (masked(number)?, FrameKind::Data),
        _ => return None,
    };
    let (data, code) = match data.split_once('_') {
        Some((data, code)) => (data, Some(code)),
        None => (data, None),
    };
    let digit = |text: &str| match text.len() {
        1 => u8::from_str_radix(text, 16).ok(),
        _ => None,
    };
    let mut text_of_it = String::new();
    let length = if let Some(asked) = data.strip_prefix(['R', 'r']) {
        kind = FrameKind::Remote;
        let asked = if asked.is_empty() { 0 } else { digit(asked)? };
        Some(asked).filter(|asked| *asked <= 8)?
    } else if let Some(data) = data.strip_prefix('#') {
        let flags = digit(data.get(..1)?)?;
        text_of_it = format!("fd {} {} ", flags & 1, flags >> 1 & 1);
        let bytes = bytes(&data[1..], 64)?;
        text_of_it += &bytes;
        bytes.len() as u8 / 2
    } else {
        text_of_it = bytes(data, 8)?;
        text_of_it.len() as u8 / 2
    };
    if let Some(code) = code
        && (digit(code)? < 9 || length != 8 || text_of_it.starts_with("fd"))
    {
        return None;
    }
    if kind == FrameKind::Remote {
        text_of_it = format!("asks {length}");
    }
    Some((
        ns,
        id,
        kind,
        format!("{ns} {bus} {id} {kind:?} {text_of_it}"),
    ))
}

fn masked(number: u32) -> Option<FrameId> {
    FrameId::extended(number & 0x1FFF_FFFF)
}

/// Hexadecimal digits in pairs; between pairs, and behind the last, points may stand.
fn bytes(text: &str, most: usize) -> Option<String> {
    let parts: Vec<&str> = text.split('.').collect();
    let is_even = |part: &&str| part.len().is_multiple_of(2);
    let starts_well = parts.len() == 1 || !parts[0].is_empty();
    let digits = parts.concat();
    let is_right = starts_well
        && parts.iter().all(is_even)
        && digits.chars().all(|c| c.is_ascii_hexdigit())
        && digits.len() <= 2 * most;
    is_right.then(|| digits.to_uppercase())
}

/// All entries of a text, one word each, with their lines.
fn slowly(text: &str, only: Option<&IdFilter>) -> Vec<String> {
    let mut entries = Vec::new();
    let (mut second, mut last_passed_over) = (None, None);
    for (n, line) in text.lines().enumerate() {
        let Some((ns, id, kind, text_of_it)) = frame(line) else {
            continue;
        };
        let is_new_second = second.replace(ns.div_euclid(1_000_000_000)) != second;
        let is_wanted = kind != FrameKind::Data || only.is_none_or(|only| only.wants(id));
        let passed_over = format!("{}: {ns} passed over", n + 1);
        last_passed_over = (!is_wanted && !is_new_second).then(|| passed_over.clone());
        if is_wanted {
            entries.push(format!("{}: {text_of_it}", n + 1));
        } else if is_new_second {
            entries.push(passed_over);
        }
    }
    entries.extend(last_passed_over);
    entries
}

/// Gives so many bytes at a time.
struct Pieces {
    text: Vec<u8>,
    at: usize,
    sizes: Vec<usize>,
    n_reads: usize,
}

impl Read for Pieces {
    fn read(&mut self, out: &mut [u8]) -> std::io::Result<usize> {
        let size = self.sizes[self.n_reads % self.sizes.len()].min(out.len());
        self.n_reads += 1;
        let rest = &self.text[self.at..];
        let n = size.min(rest.len());
        out[..n].copy_from_slice(&rest[..n]);
        self.at += n;
        Ok(n)
    }
}

/// The same as the program reads it.
fn quickly(text: &str, only: Option<&IdFilter>, sizes: Vec<usize>) -> Vec<String> {
    let pieces = Pieces {
        text: text.as_bytes().to_vec(),
        at: 0,
        sizes,
        n_reads: 0,
    };
    let inputs = vec![("a".to_owned(), Box::new(pieces) as Box<dyn Read + Send>)];
    let Ok(mut log) = Log::from_readers(inputs, &Options { sheets: &[], only }) else {
        return Vec::new();
    };
    let (mut batch, mut found) = (Batch::default(), Vec::new());
    while log.next(&mut batch).is_ok_and(|is_more| is_more) {
        for (index, entry) in batch.entries.iter().enumerate() {
            let line = batch.place(index).unwrap().line;
            let text_of_it = match entry {
                Entry::PassedOver(stamp) => format!("{} passed over", stamp.0),
                Entry::Row(_) => unreachable!("no map describes a sheet"),
                Entry::Lost(_) | Entry::Mark(_) => unreachable!("text has neither"),
                Entry::Frame(frame) => {
                    let payload = batch.payload(frame).iter();
                    let payload: String = payload.map(|byte| format!("{byte:02X}")).collect();
                    let flags = frame.flags;
                    let (switch, state) = (flags.bit_rate_switch, flags.error_state);
                    let fd = format!("fd {} {} ", u8::from(switch), u8::from(state));
                    let what = match frame.kind {
                        FrameKind::Remote => format!("asks {}", frame.length),
                        _ if flags.fd => fd + &payload,
                        _ => payload,
                    };
                    let bus = &batch.buses[usize::from(frame.bus)];
                    format!(
                        "{} {bus} {} {:?} {what}",
                        frame.stamp.0, frame.id, frame.kind
                    )
                }
            };
            found.push(format!("{line}: {text_of_it}"));
        }
    }
    found
}

fn line() -> impl Strategy<Value = String> {
    let of = |words: &'static [&'static str]| prop::sample::select(words);
    // Few seconds, so that lines share one; and the last ones a stamp can express.
    let second = of(&["1", "1", "1", "2", "40", "4611686019", "9223372036", " 7"]);
    let decimals = of(&[
        "000000",
        "999999",
        "123456",
        "854775",
        "854776",
        "5",
        "1234567890",
    ]);
    let bus = of(&[
        "can0",
        "can0",
        "can0",
        "b",
        "a#b",
        "123#x",
        "x.123456)",
        "18FEBF0B#",
    ]);
    let id = of(&[
        "123", "123", "7FF", "18FEBF0B", "20000004", "40000123", "12G", "8FF",
    ]);
    let data = of(&[
        "#",
        "#00",
        "#0011223344556677",
        "#DEADBEEF",
        "#dEaD",
        "#R",
        "#R4",
        "##1AABB",
        "#11.22",
        "#1122334455667788_A",
        "#00 R",
        "#0",
    ]);
    let written =
        (second, decimals, bus, id, data).prop_map(|(second, decimals, bus, id, data)| {
            format!("({second}.{decimals}) {bus} {id}{data}")
        });
    // A character put in the place of another, put between, or taken away.
    let sign = prop::sample::select("0123456789aAfFgG#.R_T() \t\r".chars().collect::<Vec<_>>());
    let change = (any::<prop::sample::Index>(), sign, 0..3_u8);
    (written, prop::collection::vec(change, 0..6)).prop_map(|(line, changes)| {
        let mut line: Vec<char> = line.chars().collect();
        // Most lines stay as they are.
        for (place, sign, how) in changes.into_iter().skip(4) {
            let at = place.index(line.len());
            match how {
                0 => line[at] = sign,
                1 => line.insert(at, sign),
                _ => drop(line.remove(at)),
            }
        }
        line.into_iter().collect()
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(1500))]

    #[test]
    fn quick_and_slow_read_the_same(
        lines in prop::collection::vec(line(), 1..40),
        repeats in prop::collection::vec(0..40_usize, 0..40),
        wanted in prop::option::of(prop::sample::subsequence(vec!["123", "7FF", "18FEBF0B"], 0..3)),
        sizes in prop::collection::vec(prop_oneof![1..9_usize, 1..300_usize], 1..9),
    ) {
        let mut text = String::new();
        for line in lines.iter().chain(repeats.iter().map(|n| &lines[n % lines.len()])) {
            text += line;
            text += "\n";
        }
        let ids = |wanted: Vec<&str>| {
            let number = |id: &str| u32::from_str_radix(id, 16).unwrap();
            let ids = wanted.into_iter().map(|id| match id.len() {
                3 => FrameId::standard(number(id)).unwrap(),
                _ => FrameId::extended(number(id)).unwrap(),
            });
            IdFilter::new(ids.map(|id| (id, 0)))
        };
        let only = wanted.map(ids);
        let slow = slowly(&text, only.as_ref());
        prop_assert_eq!(&quickly(&text, only.as_ref(), sizes), &slow);
        prop_assert_eq!(&quickly(&text, only.as_ref(), vec![1 << 20]), &slow);
    }
}

/// Lines which a short way may easily take for others.
#[test]
fn names_and_stamps_at_the_edge() {
    for text in [
        // A name with the look of an identifier, then a line without a name.
        "(1.000000) 123#x 456#00\n(1.000000) 456#0011\n",
        // Decimals that stand in the name.
        "(1) x.123456) 123#00\n(1) x.999999) 123#00\n",
        // The last second that a stamp can express, and beyond its end.
        "(9223372036.000001) can0 123#00\n(9223372036.854775) can0 123#01\n(9223372036.854776) can0 123#02\n",
        "(4611686018.999999) can0 123#00\n(4611686019.000001) can0 456#01\n(1.0) can0 456#01\n",
    ] {
        let text = text.to_owned() + &"(1.000000) can0 123#0011223344556677\n".repeat(3);
        let only = IdFilter::new([(FrameId::standard(0x123).unwrap(), 0)]);
        for only in [None, Some(&only)] {
            assert_eq!(
                quickly(&text, only, vec![1 << 20]),
                slowly(&text, only),
                "{text}"
            );
        }
    }
}
