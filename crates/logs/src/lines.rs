//! Bytes to lines, through one buffer of fixed size.
//!
//! In: a stream of text. Out: lines with their number, without the newline. No line
//! costs an allocation, and a line longer than [`LONGEST_LINE`] is skipped to its end
//! without being kept. What the lines mean is none of this module's business.

use std::io::{self, Read};

use memchr::memchr;

use crate::intake::PIECE;

/// No entry of any text log comes near this; a longer line is damage.
pub(crate) const LONGEST_LINE: usize = 64 * 1024;

/// Room for a line, for a piece behind it, and to begin where a line of the cache does.
const BUFFER: usize = LONGEST_LINE + PIECE + CACHE_LINE;

/// Bytes of a line of the processor's cache.
const CACHE_LINE: usize = 64;

/// A line of the input.
pub(crate) struct Line<'a> {
    /// Its bytes, without the newline.
    pub bytes: &'a [u8],
    /// Its number, from 1.
    pub number: u64,
    /// Whether a newline ended it; only the last line may lack one.
    pub is_ended: bool,
    /// Whether reading broke off inside it, so that it cannot be whole.
    pub is_cut: bool,
}

/// What comes next.
pub(crate) enum Next<'a> {
    /// A line.
    Line(Line<'a>),
    /// A line longer than [`LONGEST_LINE`], by its number.
    TooLong(u64),
    /// A piece of such a line that is not its end: the caller may lose patience.
    StillTooLong,
    /// Nothing more.
    End,
}

/// Lines of a stream.
pub(crate) struct Lines {
    source: Box<dyn Read + Send>,
    longest_read: usize,
    buffer: Vec<u8>,
    start: usize,
    end: usize,
    n_lines: u64,
    n_bytes: u64,
    is_skipping: bool,
    at_end: bool,
    failure: Option<io::Error>,
}

impl Lines {
    /// Lines of `source`, which is read in pieces of at most `longest_read` bytes.
    pub fn new(source: Box<dyn Read + Send>, longest_read: usize) -> Lines {
        Lines {
            source,
            longest_read: longest_read.max(1),
            buffer: vec![0; BUFFER],
            start: 0,
            end: 0,
            n_lines: 0,
            n_bytes: 0,
            is_skipping: false,
            at_end: false,
            failure: None,
        }
    }

    /// The next line.
    pub fn next(&mut self) -> Next<'_> {
        loop {
            let rest = &self.buffer[self.start..self.end];
            let ending = memchr(b'\n', rest);
            let length = ending.unwrap_or(rest.len());
            if ending.is_some() || self.at_end {
                if ending.is_none() && length == 0 && !self.is_skipping {
                    return Next::End;
                }
                let start = self.start;
                self.start += length + usize::from(ending.is_some());
                self.n_lines += 1;
                if self.is_skipping || length > LONGEST_LINE {
                    self.is_skipping = false;
                    return Next::TooLong(self.n_lines);
                }
                return Next::Line(Line {
                    bytes: &self.buffer[start..start + length],
                    number: self.n_lines,
                    is_ended: ending.is_some(),
                    is_cut: ending.is_none() && self.failure.is_some(),
                });
            }
            if self.is_skipping || length > LONGEST_LINE {
                self.is_skipping = true;
                self.start = self.end;
                self.refill();
                return Next::StillTooLong;
            }
            self.refill();
        }
    }

    /// Text in the buffer, from the start of a line on; empty inside a line that is skipped.
    #[inline]
    pub fn rest(&self) -> &[u8] {
        match self.is_skipping {
            true => &[],
            false => &self.buffer[self.start..self.end],
        }
    }

    /// Passes over `n` lines of the [`Lines::rest`], `length` bytes with their newlines.
    #[inline]
    pub fn pass(&mut self, n: usize, length: usize) {
        self.start += length;
        self.n_lines += n as u64;
    }

    /// Lines taken so far.
    pub fn n_lines(&self) -> u64 {
        self.n_lines
    }

    /// Bytes of text read so far.
    pub fn n_bytes(&self) -> u64 {
        self.n_bytes
    }

    /// Why reading stopped before the end, if it did.
    pub fn take_failure(&mut self) -> Option<io::Error> {
        self.failure.take()
    }

    /// Gives up on the rest of the input.
    pub fn stop(&mut self, failure: io::Error) {
        self.at_end = true;
        self.start = self.end;
        self.is_skipping = false;
        self.failure = Some(failure);
    }

    fn refill(&mut self) {
        // What is left of a line goes to the front, but so that the read behind it begins at
        // a line of the cache: the kernel copies whole pages, and to a place a few bytes
        // behind that of the page's own it copies at a third of the speed.
        let length = self.end - self.start;
        let beyond = self.buffer[length..].as_ptr().align_offset(CACHE_LINE) % CACHE_LINE;
        self.buffer.copy_within(self.start..self.end, beyond);
        (self.start, self.end) = (beyond, beyond + length);
        self.read_once();
    }

    fn read_once(&mut self) {
        let end = self.buffer.len().min(self.end + self.longest_read);
        match self.source.read(&mut self.buffer[self.end..end]) {
            Ok(0) => self.at_end = true,
            Ok(n) => {
                let n = n.min(end - self.end);
                self.end += n;
                self.n_bytes += n as u64;
            }
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            Err(error) => {
                self.failure = Some(error);
                self.at_end = true;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lines_of(bytes: Vec<u8>, longest_read: usize) -> Vec<String> {
        let mut lines = Lines::new(Box::new(io::Cursor::new(bytes)), longest_read);
        let mut found = Vec::new();
        loop {
            match lines.next() {
                Next::Line(line) => {
                    let end = if line.is_ended { "" } else { "…" };
                    found.push(format!(
                        "{}:{}{end}",
                        line.number,
                        String::from_utf8_lossy(line.bytes)
                    ));
                }
                Next::TooLong(number) => found.push(format!("{number}: too long")),
                Next::StillTooLong => {}
                Next::End => return found,
            }
        }
    }

    #[track_caller]
    fn check(bytes: &[u8], expected: &[&str]) {
        for longest_read in [1, 3, 64 * 1024, usize::MAX / 2] {
            assert_eq!(
                lines_of(bytes.to_vec(), longest_read),
                expected,
                "reads of {longest_read}"
            );
        }
    }

    #[test]
    fn lines_do_not_depend_on_how_the_bytes_arrive() {
        check(b"", &[]);
        check(b"a\nbc\n", &["1:a", "2:bc"]);
        check(b"\n\nx", &["1:", "2:", "3:x…"]);
    }

    #[test]
    fn a_long_line_is_skipped_and_costs_no_memory() {
        let mut bytes = b"a\n".to_vec();
        bytes.resize(10_000_000, b'x');
        bytes.extend_from_slice(b"\nb\n");
        let mut lines = Lines::new(Box::new(io::Cursor::new(bytes)), usize::MAX / 2);
        let mut n_long = 0;
        let mut n_lines = 0;
        loop {
            match lines.next() {
                Next::Line(line) => n_lines += usize::from(matches!(line.bytes, b"a" | b"b")),
                Next::TooLong(number) => n_long += number,
                Next::StillTooLong => {}
                Next::End => break,
            }
        }
        assert_eq!((n_lines, n_long), (2, 2));
        assert_eq!(lines.buffer.len(), BUFFER);
        // One byte beyond the limit counts as too long wherever the buffer ends.
        let mut bytes = vec![b'y'; LONGEST_LINE + 1];
        bytes.extend_from_slice(b"\nz");
        assert_eq!(lines_of(bytes, 1000), ["1: too long", "2:z…"]);
        let bytes = vec![b'y'; LONGEST_LINE];
        assert_eq!(lines_of(bytes, 1000).len(), 1);
    }
}
