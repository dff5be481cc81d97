//! An input to a stream of plain UTF-8 text: counts and hashes the raw bytes, undoes
//! gzip or zstd, and turns UTF-16 and Latin-1 into UTF-8.
//!
//! All of it streams, so memory does not depend on what the input claims to be: gzip
//! needs 32 KiB, and zstd refuses a window above 128 MiB. How far text may expand
//! without giving an entry is watched by [`is_bomb`].

use std::io::{self, Cursor, Read};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

use encoding_rs::{Decoder, Encoding, UTF_16BE, UTF_16LE, WINDOWS_1252};
use xxhash_rust::xxh3::Xxh3;

/// Compressed text may expand this many times without an entry in it: 200. Source:
/// none, engineering guess; repeated frames of a standing car reach about 60, and a
/// bomb in gzip about 1000. Together with [`BOMB_BYTES`]: both must be passed.
const BOMB_RATIO: u64 = 200;
/// Text without an entry that is read in any case: 1 GiB, about a second's work.
const BOMB_BYTES: u64 = 1 << 30;

const PEEK: usize = 64 * 1024;
/// So much is read at a time at most: it is hashed and parsed while still in the cache, and
/// a decoder that fails loses no more than that of what it had written.
pub(crate) const PIECE: usize = 64 * 1024;

/// How an input was compressed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Compression {
    /// Not at all.
    Plain,
    /// Gzip (RFC 1952), one member or several.
    Gzip,
    /// Zstandard (RFC 8878), one frame or several.
    Zstd,
}

impl std::fmt::Display for Compression {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Compression::Plain => "plain",
            Compression::Gzip => "gzip",
            Compression::Zstd => "zstd",
        })
    }
}

/// Count and hash of the raw bytes, shared with whoever wants to know.
#[derive(Clone, Default)]
pub(crate) struct RawCount(Arc<Mutex<Raw>>);

#[derive(Default)]
struct Raw {
    n_bytes: u64,
    hash: Xxh3,
}

impl RawCount {
    /// Raw bytes read so far.
    pub fn n_bytes(&self) -> u64 {
        self.0
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .n_bytes
    }

    /// xxh3-64 of the raw bytes read so far, in hexadecimal.
    pub fn fingerprint(&self) -> String {
        let raw = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        format!("{:016x}", raw.hash.digest())
    }

    /// Counts and hashes some more.
    pub fn add(&self, bytes: &[u8]) {
        let mut raw = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        raw.n_bytes += bytes.len() as u64;
        raw.hash.update(bytes);
    }
}

/// A reader whose bytes are counted and hashed as they pass.
struct Counted<R> {
    inner: R,
    count: RawCount,
}

impl<R: Read> Read for Counted<R> {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        let n = self.inner.read(out)?;
        self.count.add(out.get(..n).unwrap_or(&[]));
        Ok(n)
    }
}

/// A stream of text, and what was undone to get it.
pub(crate) struct Intake {
    /// UTF-8 text (or bytes that pass for it), without a byte order mark.
    pub text: Box<dyn Read + Send>,
    /// Count and hash of the raw bytes.
    pub raw: RawCount,
    /// Compression found.
    pub compression: Compression,
    /// Encoding of the text, in words.
    pub encoding: &'static str,
    /// How often bytes had to be replaced because they are not text in that encoding.
    pub n_replaced: Arc<AtomicU64>,
}

impl Intake {
    /// Opens a raw stream. An error means that not even the beginning could be had.
    pub fn new(raw: Box<dyn Read + Send>) -> io::Result<Intake> {
        let count = RawCount::default();
        let mut counted = Counted {
            inner: raw,
            count: count.clone(),
        };
        let (magic, _) = peek(&mut counted, 4)?;
        let compression = match magic.as_slice() {
            [0x1F, 0x8B, ..] => Compression::Gzip,
            // A zstd file may begin with a frame to be skipped.
            [0x28, 0xB5, 0x2F, 0xFD] | [0x50..=0x5F, 0x2A, 0x4D, 0x18] => Compression::Zstd,
            _ => Compression::Plain,
        };
        let whole = Cursor::new(magic).chain(counted);
        let mut plain: Box<dyn Read + Send> = match compression {
            Compression::Plain => Box::new(whole),
            Compression::Gzip => Box::new(flate2::bufread::MultiGzDecoder::new(
                io::BufReader::with_capacity(PIECE, whole),
            )),
            Compression::Zstd => Box::new(zstd::stream::read::Decoder::new(whole)?),
        };
        // What a damaged archive gave before it failed is still read.
        let (head, failure) = peek(&mut plain, PEEK)?;
        let found = detect(&head);
        let after_mark = Cursor::new(head).chain(Failing(failure)).chain(plain);
        let mut after_mark: Box<dyn Read + Send> = Box::new(after_mark);
        let mut mark = [0; 3];
        after_mark.read_exact(&mut mark[..found.mark_length])?;
        let n_replaced = Arc::new(AtomicU64::new(0));
        let text = match found.encoding {
            None => after_mark,
            Some(encoding) => Box::new(Transcoder {
                inner: after_mark,
                decoder: encoding.new_decoder_without_bom_handling(),
                input: vec![0; PIECE],
                start: 0,
                end: 0,
                at_end: false,
                is_finished: false,
                n_replaced: Arc::clone(&n_replaced),
            }),
        };
        Ok(Intake {
            text,
            raw: count,
            compression,
            encoding: found.words,
            n_replaced,
        })
    }
}

/// Whether text of which `n_text` bytes gave no entry came out of so few raw bytes that
/// reading on is pointless.
pub(crate) fn is_bomb(n_text: u64, n_raw: u64) -> bool {
    n_text > BOMB_BYTES && n_text / n_raw.max(1) > BOMB_RATIO
}

/// Up to `wanted` bytes from the beginning, and why there are no more.
fn peek(source: &mut impl Read, wanted: usize) -> io::Result<(Vec<u8>, Option<io::Error>)> {
    let mut head = vec![0; wanted];
    let mut n = 0;
    while n < wanted {
        match source.read(&mut head[n..]) {
            Ok(0) => break,
            Ok(more) => n += more,
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            Err(error) if n == 0 => return Err(error),
            Err(error) => {
                head.truncate(n);
                return Ok((head, Some(error)));
            }
        }
    }
    head.truncate(n);
    Ok((head, None))
}

/// A stream that hands out one error, or nothing.
struct Failing(Option<io::Error>);

impl Read for Failing {
    fn read(&mut self, _: &mut [u8]) -> io::Result<usize> {
        self.0.take().map_or(Ok(0), Err)
    }
}

struct Found {
    encoding: Option<&'static Encoding>,
    words: &'static str,
    mark_length: usize,
}

fn detect(head: &[u8]) -> Found {
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
    inner: Box<dyn Read + Send>,
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

    #[track_caller]
    fn check(raw: &[u8], compression: Compression, encoding: &str, text: &str) {
        let mut intake = Intake::new(Box::new(Cursor::new(raw.to_vec()))).unwrap();
        let mut out = String::new();
        intake.text.read_to_string(&mut out).unwrap();
        assert_eq!(
            (intake.compression, intake.encoding, out.as_str()),
            (compression, encoding, text)
        );
        assert_eq!(intake.raw.n_bytes(), raw.len() as u64);
        assert_eq!(
            intake.raw.fingerprint(),
            format!("{:016x}", xxhash_rust::xxh3::xxh3_64(raw))
        );
    }

    fn utf16(text: &str, order: fn(u16) -> [u8; 2]) -> Vec<u8> {
        text.encode_utf16().flat_map(order).collect()
    }

    #[test]
    fn text_comes_out_as_utf_8() {
        use Compression::Plain;
        check("Öl °C\n1".as_bytes(), Plain, "UTF-8", "Öl °C\n1");
        check(b"", Plain, "UTF-8", "");
        check(
            b"\xEF\xBB\xBFa;b",
            Plain,
            "UTF-8 with byte order mark",
            "a;b",
        );
        check(b"\xD6l \xB0C", Plain, "Latin-1", "Öl °C");
        let text = "Zeit;Öl °C\r\n1;2\r\n";
        check(
            &utf16(&format!("\u{FEFF}{text}"), u16::to_le_bytes),
            Plain,
            "UTF-16, little end first",
            text,
        );
        check(
            &utf16(&format!("\u{FEFF}{text}"), u16::to_be_bytes),
            Plain,
            "UTF-16, big end first",
            text,
        );
        check(
            &utf16(text, u16::to_le_bytes),
            Plain,
            "UTF-16, little end first",
            text,
        );
        check(
            &utf16(text, u16::to_be_bytes),
            Plain,
            "UTF-16, big end first",
            text,
        );
    }

    #[test]
    fn compressed_text_is_undone() {
        let text = "(1.0) can0 123#00\n".repeat(20_000);
        check(
            &crate::testing::gzip(text.as_bytes()),
            Compression::Gzip,
            "UTF-8",
            &text,
        );
        check(
            &crate::testing::zstd(text.as_bytes()),
            Compression::Zstd,
            "UTF-8",
            &text,
        );
        let twice = [crate::testing::gzip(b"a\n"), crate::testing::gzip(b"b\n")].concat();
        check(&twice, Compression::Gzip, "UTF-8", "a\nb\n");
    }

    #[test]
    fn only_text_that_expands_wildly_is_a_bomb() {
        assert!(is_bomb(2 << 30, 1 << 20));
        assert!(!is_bomb(2 << 30, 1 << 30));
        assert!(!is_bomb(1 << 20, 1));
    }
}
