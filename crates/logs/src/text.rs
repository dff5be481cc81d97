//! Plain bytes to lines of UTF-8, for the formats that are text.
//!
//! In: the bytes of an input, UTF-8, UTF-16 or Latin-1. Out: lines, with everything counted
//! that concerns the input as a whole. How far it may expand without giving an entry is
//! watched by [`is_bomb`].

use std::borrow::Cow;
use std::io::{self, Read};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use encoding_rs::{Decoder, Encoding, UTF_16BE, UTF_16LE, WINDOWS_1252};
use halfshaft_model::Code;

use crate::context::Context;
use crate::intake::{Bytes, Compression, PIECE, RawCount};
use crate::lines::{Line, Lines, Next};

/// Compressed text may expand this many times without an entry in it: 200. Source:
/// none, engineering guess; repeated frames of a standing car reach about 60, and a
/// bomb in gzip about 1000. Together with [`BOMB_BYTES`]: both must be passed.
const BOMB_RATIO: u64 = 200;
/// Text without an entry that is read in any case: 1 GiB, about a second's work.
const BOMB_BYTES: u64 = 1 << 30;

/// So many bytes of the beginning decide on the encoding.
const SAMPLE: usize = 64 * 1024;

/// The beginning of an input as UTF-8, without a byte order mark, and what it was.
pub(crate) fn beginning(head: &[u8], is_all: bool) -> (Cow<'_, [u8]>, &'static str) {
    let found = detect(head);
    let behind_mark = &head[found.mark_length..];
    let Some(encoding) = found.encoding else {
        return (Cow::Borrowed(behind_mark), found.words);
    };
    let mut decoder = encoding.new_decoder_without_bom_handling();
    // Room for what any byte can become; more is never asked for.
    let longest = decoder.max_utf8_buffer_length(behind_mark.len());
    let mut text = vec![0; longest.unwrap_or(0)];
    let (_, _, n, _) = decoder.decode_to_utf8(behind_mark, &mut text, is_all);
    text.truncate(n);
    (Cow::Owned(text), found.words)
}

/// The text of an input, with everything its reader counts about it.
pub(crate) struct Text {
    lines: Lines,
    raw: RawCount,
    is_compressed: bool,
    encoding: &'static str,
    n_replaced: Arc<AtomicU64>,
    n_replaced_counted: u64,
    // Bytes of text when the last entry was found, and how many entries there were.
    n_bytes_at_entry: u64,
    n_entries: u64,
}

/// A line that a reader should look at.
pub(crate) enum TextLine<'a> {
    /// It.
    Line(Line<'a>),
    /// There was one that is damaged and has been counted.
    Damaged,
    /// In the middle of a line too long: time to take stock.
    Pause,
    /// Nothing more.
    End,
}

impl Text {
    /// The text that `bytes` are.
    pub fn new(mut bytes: Bytes) -> Text {
        let found = detect(bytes.head());
        bytes.pass(found.mark_length);
        let (raw, compression) = (bytes.raw.clone(), bytes.compression);
        let n_replaced = Arc::new(AtomicU64::new(0));
        let source: Box<dyn Read + Send> = match found.encoding {
            None => Box::new(bytes),
            Some(encoding) => Box::new(Transcoder {
                inner: bytes,
                decoder: encoding.new_decoder_without_bom_handling(),
                input: vec![0; PIECE],
                start: 0,
                end: 0,
                at_end: false,
                is_finished: false,
                n_replaced: Arc::clone(&n_replaced),
            }),
        };
        Text {
            lines: Lines::new(source, PIECE),
            raw,
            is_compressed: compression != Compression::Plain,
            encoding: found.words,
            n_replaced,
            n_replaced_counted: 0,
            n_bytes_at_entry: 0,
            n_entries: 0,
        }
    }

    /// The next line. Lines too long and a last line cut by damage are counted here.
    #[inline]
    pub fn next(&mut self, context: &mut Context) -> TextLine<'_> {
        match self.lines.next() {
            Next::Line(line) if !line.is_cut => TextLine::Line(line),
            Next::Line(line) => {
                context.skip_line(Code::LineTruncated, line.number, line.bytes);
                TextLine::Damaged
            }
            Next::TooLong(number) => {
                let example = "more than 65536 bytes";
                context.count_with(Code::LineTooLong, number, || example.to_owned());
                context.skipped(number, example.as_bytes());
                TextLine::Damaged
            }
            Next::StillTooLong => TextLine::Pause,
            Next::End => TextLine::End,
        }
    }

    /// Text that is there already, from the start of a line on; empty where that is not so.
    #[inline]
    pub fn rest(&self) -> &[u8] {
        self.lines.rest()
    }

    /// Lines taken so far.
    #[inline]
    pub fn n_lines(&self) -> u64 {
        self.lines.n_lines()
    }

    /// Passes over `n` lines of the [`Text::rest`], `length` bytes with their newlines.
    #[inline]
    pub fn pass(&mut self, n: usize, length: usize) {
        self.lines.pass(n, length);
    }

    /// Counts what concerns the input as a whole. To be called now and then, and at the
    /// end. `false` when the input was given up.
    pub fn take_stock(&mut self, context: &mut Context) -> bool {
        let n_lines = self.lines.n_lines();
        context.tally.n_lines = n_lines;
        if context.tally.n_entries > self.n_entries {
            self.n_entries = context.tally.n_entries;
            self.n_bytes_at_entry = self.lines.n_bytes();
        }
        let n_barren = self.lines.n_bytes() - self.n_bytes_at_entry;
        if self.is_compressed && is_bomb(n_barren, self.raw.n_bytes()) {
            self.lines.stop(io::Error::other(format!(
                "{} raw bytes expand to {} bytes of which the last {n_barren} hold no entry; the rest was not read",
                self.raw.n_bytes(),
                self.lines.n_bytes(),
            )));
        }
        let n_replaced = self.n_replaced.load(Ordering::Relaxed);
        for _ in self.n_replaced_counted..n_replaced {
            context.count_with(Code::BytesUndecodable, n_lines, || self.encoding.to_owned());
        }
        self.n_replaced_counted = n_replaced;
        match self.lines.take_failure() {
            None => true,
            Some(failure) => {
                context.reading_stopped(&failure, self.is_compressed, ("line", n_lines));
                false
            }
        }
    }
}

/// Whether an input of which `n_text` plain bytes gave no entry came out of so few raw bytes that
/// reading on is pointless.
pub(crate) fn is_bomb(n_text: u64, n_raw: u64) -> bool {
    n_text > BOMB_BYTES && n_text / n_raw.max(1) > BOMB_RATIO
}

struct Found {
    encoding: Option<&'static Encoding>,
    words: &'static str,
    mark_length: usize,
}

fn detect(head: &[u8]) -> Found {
    let head = &head[..head.len().min(SAMPLE)];
    let found = |encoding, words, mark_length| Found {
        encoding,
        words,
        mark_length,
    };
    match head {
        [0xEF, 0xBB, 0xBF, ..] => return found(None, "UTF-8 with byte order mark", 3),
        [0xFF, 0xFE, ..] => return found(Some(UTF_16LE), "UTF-16, little end first", 2),
        [0xFE, 0xFF, ..] => return found(Some(UTF_16BE), "UTF-16, big end first", 2),
        _ => {}
    }
    // ASCII in UTF-16 without a mark: every second byte is zero.
    let sample = &head[..head.len().min(1024) & !1];
    let zeros = |offset: usize| {
        sample
            .iter()
            .skip(offset)
            .step_by(2)
            .filter(|&&byte| byte == 0)
            .count()
    };
    let (even, odd, half) = (zeros(0), zeros(1), sample.len() / 2);
    if half >= 8 && odd * 10 > half * 7 && even * 10 < half {
        return found(Some(UTF_16LE), "UTF-16, little end first", 0);
    }
    if half >= 8 && even * 10 > half * 7 && odd * 10 < half {
        return found(Some(UTF_16BE), "UTF-16, big end first", 0);
    }
    match std::str::from_utf8(head) {
        Ok(_) => found(None, "UTF-8", 0),
        // A character cut by the end of the sample is no sign of another encoding.
        Err(error) if error.error_len().is_none() => found(None, "UTF-8", 0),
        Err(_) if head.contains(&0) => found(None, "UTF-8", 0),
        Err(_) => found(Some(WINDOWS_1252), "Latin-1", 0),
    }
}

/// Text of another encoding, as UTF-8.
struct Transcoder {
    inner: Bytes,
    decoder: Decoder,
    input: Vec<u8>,
    start: usize,
    end: usize,
    at_end: bool,
    is_finished: bool,
    n_replaced: Arc<AtomicU64>,
}

impl Read for Transcoder {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        while !self.is_finished {
            if self.start == self.end && !self.at_end {
                self.end = self.inner.read(&mut self.input)?;
                self.start = 0;
                self.at_end = self.end == 0;
            }
            let input = &self.input[self.start..self.end];
            let (result, n_read, n_written, had_errors) =
                self.decoder.decode_to_utf8(input, out, self.at_end);
            self.start += n_read;
            if had_errors {
                self.n_replaced.fetch_add(1, Ordering::Relaxed);
            }
            self.is_finished = self.at_end && result == encoding_rs::CoderResult::InputEmpty;
            if n_written > 0 {
                return Ok(n_written);
            }
            // Room for not even one character: the caller would wait for ever.
            if n_read == 0 && result == encoding_rs::CoderResult::OutputFull {
                return Err(io::Error::other("too little room to decode a character"));
            }
        }
        Ok(0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::intake::Raw;

    #[track_caller]
    fn check(raw: &[u8], encoding: &str, text: &str) {
        let bytes = Bytes::new(Raw::Stream(Box::new(io::Cursor::new(raw.to_vec())))).unwrap();
        let (begins, words) = beginning(bytes.head(), true);
        assert_eq!((&*begins, words), (text.as_bytes(), encoding));
        let mut lines = Text::new(bytes).lines;
        let mut found = String::new();
        while let Next::Line(line) = lines.next() {
            found += std::str::from_utf8(line.bytes).unwrap();
            found += if line.is_ended { "\n" } else { "" };
        }
        assert_eq!(found, text);
    }

    fn utf16(text: &str, order: fn(u16) -> [u8; 2]) -> Vec<u8> {
        text.encode_utf16().flat_map(order).collect()
    }

    #[test]
    fn text_comes_out_as_utf_8() {
        check("Öl °C\n1".as_bytes(), "UTF-8", "Öl °C\n1");
        check(b"", "UTF-8", "");
        check(b"\xEF\xBB\xBFa;b", "UTF-8 with byte order mark", "a;b");
        check(b"\xD6l \xB0C", "Latin-1", "Öl °C");
        let text = "Zeit;Öl °C\r\n1;2\r\n";
        let marked = format!("\u{FEFF}{text}");
        for (order, words) in [
            (
                u16::to_le_bytes as fn(u16) -> [u8; 2],
                "UTF-16, little end first",
            ),
            (u16::to_be_bytes, "UTF-16, big end first"),
        ] {
            check(&utf16(&marked, order), words, text);
            check(&utf16(text, order), words, text);
        }
    }

    #[test]
    fn only_text_that_expands_wildly_is_a_bomb() {
        assert!(is_bomb(2 << 30, 1 << 20));
        assert!(!is_bomb(2 << 30, 1 << 30));
        assert!(!is_bomb(1 << 20, 1));
    }
}
