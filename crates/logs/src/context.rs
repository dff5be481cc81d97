//! What a reader is handed while it reads: where to count and how buses are named.

use std::collections::HashMap;
use std::io;

use halfshaft_model::personal::base_name;
use halfshaft_model::{Code, FrameId, IdFilter, LogPlace, Notices, Stamp};

/// Longest name a bus may have, in bytes; Linux allows 15.
pub(crate) const LONGEST_BUS_NAME: usize = 64;

/// Names of the buses of the whole log, each with its index.
#[derive(Debug, Default)]
pub(crate) struct Buses {
    /// Names by index.
    pub names: Vec<String>,
    by_name: HashMap<Vec<u8>, u16>,
    // The first short names, each packed into one number: ordinary logs need no others.
    short: Vec<(u64, u16)>,
}

/// Short names kept for a quick search.
const MOST_SHORT: usize = 8;

/// A name of at most seven bytes as one number.
#[inline]
fn packed(name: &[u8]) -> Option<u64> {
    if name.len() > 7 {
        return None;
    }
    let number = name
        .iter()
        .fold(0, |number, &byte| number << 8 | u64::from(byte));
    Some(number << 8 | name.len() as u64)
}

impl Buses {
    /// The index of a name, new or known.
    #[inline]
    pub fn index(&mut self, name: &[u8]) -> u16 {
        let packed = packed(name);
        if let Some(packed) = packed {
            for &(known, index) in &self.short {
                if known == packed {
                    return index;
                }
            }
        }
        self.look_up(name, packed)
    }

    /// Brings the names that a batch knows up to date. They only ever become more: a batch that
    /// has been here before lacks the last of them, and a log of noise has thousands.
    pub fn name_in(&self, known: &mut Vec<String>) {
        let n = known.len();
        if n == 0 || self.names.get(n - 1) != known.last() {
            known.clone_from(&self.names);
        } else {
            known.extend_from_slice(&self.names[n..]);
        }
    }

    fn look_up(&mut self, name: &[u8], packed: Option<u64>) -> u16 {
        if let Some(&index) = self.by_name.get(name) {
            return index;
        }
        // A log with 65 535 buses is noise; the last index then serves for the rest.
        if self.names.len() >= usize::from(u16::MAX) {
            return u16::MAX - 1;
        }
        let index = self.names.len() as u16;
        self.names.push(String::from_utf8_lossy(name).into_owned());
        self.by_name.insert(name.to_vec(), index);
        if let Some(packed) = packed
            && self.short.len() < MOST_SHORT
        {
            self.short.push((packed, index));
        }
        index
    }
}

/// What has been read of one input so far.
#[derive(Clone, Debug, Default)]
pub(crate) struct Tally {
    /// The input, as the user named it.
    pub name: String,
    /// Entries yielded.
    pub n_entries: u64,
    /// Entries that carry at least one byte or number.
    pub n_usable: u64,
    /// Lines read, good and bad; blocks of a binary log.
    pub n_lines: u64,
    /// Lines skipped because they could not be used.
    pub n_skipped: u64,
    /// Stamp of the first entry.
    pub first: Option<Stamp>,
    /// Stamp of the last entry.
    pub last: Option<Stamp>,
    /// The first line that was skipped: its number and what stood there.
    pub first_bad: Option<(u64, String)>,
    /// Why the input cannot be used, or was left before its end.
    pub trouble: Option<String>,
}

/// Where a reader counts.
pub(crate) struct Context<'a> {
    /// Damage, by code.
    pub notices: &'a mut Notices,
    /// Bus names of the whole log.
    pub buses: &'a mut Buses,
    /// Figures of the input being read.
    pub tally: &'a mut Tally,
    /// Identifiers the map names; `None` for all.
    pub only: Option<&'a IdFilter>,
}

impl Context<'_> {
    /// Counts damage found in `bytes` of line `number`; of those only the [`shape`] is kept.
    pub fn count(&mut self, code: Code, number: u64, bytes: &[u8]) {
        self.count_with(code, number, || shape(bytes));
    }

    /// The same with an example in words of this program.
    pub fn count_with(&mut self, code: Code, number: u64, example: impl FnOnce() -> String) {
        self.count_many(code, 1, number, example);
    }

    /// Counts so many at one place.
    pub fn count_many(
        &mut self,
        code: Code,
        n: u64,
        number: u64,
        example: impl FnOnce() -> String,
    ) {
        let name = &self.tally.name;
        self.notices.count_many(code, n, || {
            let source = base_name(name).to_owned();
            let line = number;
            (LogPlace { source, line }, example())
        });
    }

    /// Takes note that an input could not be read to its end: after which line or byte, why.
    pub fn reading_stopped(
        &mut self,
        failure: &io::Error,
        is_compressed: bool,
        (part, number): (&str, u64),
    ) {
        let text = match is_compressed {
            true => format!("the compressed data is damaged or ends early ({failure})"),
            false => failure.to_string(),
        };
        self.count_with(Code::InputTruncated, number, || text.clone());
        let name = &self.tally.name;
        let trouble = format!("{name}: reading stopped after {part} {number}: {text}");
        self.tally.trouble = Some(trouble);
    }

    /// Counts damage that costs a line.
    #[cold]
    pub fn skip_line(&mut self, code: Code, number: u64, bytes: &[u8]) {
        self.count(code, number, bytes);
        self.skipped(number, bytes);
    }

    /// Takes note of a line that could not be used and has been counted.
    pub fn skipped(&mut self, number: u64, bytes: &[u8]) {
        self.tally.n_skipped += 1;
        if self.tally.first_bad.is_none() {
            self.tally.first_bad = Some((number, excerpt(bytes)));
        }
    }

    /// Whether the frames of this identifier are to be read.
    #[inline]
    pub fn wants(&self, id: FrameId) -> bool {
        self.only.is_none_or(|only| only.wants(id))
    }

    /// Takes note of an entry.
    #[inline]
    pub fn entry(&mut self, stamp: Stamp, is_usable: bool) {
        self.tally.n_entries += 1;
        self.tally.n_usable += u64::from(is_usable);
        self.tally.first.get_or_insert(stamp);
        self.tally.last = Some(stamp);
    }

    /// Takes note of `n` usable entries that follow on others, up to one at `stamp`.
    #[inline]
    pub fn more_entries(&mut self, n: usize, stamp: Stamp) {
        self.tally.n_entries += n as u64;
        self.tally.n_usable += n as u64;
        self.tally.last = Some(stamp);
    }
}

/// An excerpt of which only the form is left: each letter reads `a`, each digit `0`. A report is
/// passed on, and a bad line may hold a vehicle number, a number plate or a comment.
pub(crate) fn shape(bytes: &[u8]) -> String {
    let of = |c: char| match c {
        c if c.is_numeric() => '0',
        c if c.is_alphanumeric() => 'a',
        c => c,
    };
    excerpt(bytes).chars().map(of).collect()
}

/// The beginning of some bytes of the input, short and without control characters. For errors,
/// which only the owner of the log reads.
pub(crate) fn excerpt(bytes: &[u8]) -> String {
    const LONGEST: usize = 60;
    // Four bytes a character at most; the rest is not looked at.
    let beginning = &bytes[..bytes.len().min(4 * LONGEST)];
    let text = String::from_utf8_lossy(beginning);
    let text = text.trim();
    let mut short: String = text
        .chars()
        .take(LONGEST)
        .map(|c| if c.is_control() { '\u{FFFD}' } else { c })
        .collect();
    if text.chars().nth(LONGEST).is_some() || bytes.len() > beginning.len() {
        short.push('…');
    }
    short
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn buses_keep_their_index_and_never_run_out() {
        let mut buses = Buses::default();
        assert_eq!(buses.index(b""), 0);
        assert_eq!(buses.index(b"can0"), 1);
        assert_eq!(buses.index(b""), 0);
        for n in 0..70_000_u32 {
            buses.index(format!("bus{n}").as_bytes());
        }
        assert_eq!(buses.index(b"can0"), 1);
        assert_eq!(buses.names.len(), 65_535);
        assert_eq!(buses.index(b"one too many"), 65_534);
    }

    #[test]
    fn an_example_names_nobody() {
        assert_eq!(
            shape("# AB-123 É, 50.123456;7.1\u{1b}".as_bytes()),
            "# aa-000 a, 00.000000;0.0\u{FFFD}"
        );
    }

    #[test]
    fn an_excerpt_is_short_and_harmless() {
        assert_eq!(excerpt(b" a\x1b[31m\0 "), "a\u{FFFD}[31m\u{FFFD}");
        assert!(excerpt(&[b'x'; 100_000]).chars().count() <= 61);
        assert!(excerpt(&[0xFF; 100_000]).chars().count() <= 61);
    }
}
