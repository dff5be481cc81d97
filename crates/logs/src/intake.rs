//! An input to a stream of plain bytes: counts and hashes the raw ones, and undoes gzip or
//! zstd.
//!
//! The beginning is read at once, for the formats to recognise. Behind it all streams, so
//! memory does not depend on what the input claims to be: gzip needs 32 KiB, and zstd
//! refuses a window above 128 MiB. In a plain file a reader may also jump about, for
//! containers that keep their index at the end; a pipe or a packed file goes forward only.

use std::fs::File;
use std::io::{self, Cursor, Read, Seek, SeekFrom};
use std::sync::{Arc, Mutex, PoisonError};

use xxhash_rust::xxh3::Xxh3;

/// So much is looked at to recognise a format: some hundred lines of a wide sheet.
pub(crate) const HEAD: usize = 256 * 1024;
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

/// Raw bytes of an input, as the operating system gives them.
pub(crate) enum Raw {
    /// A file that has a size.
    File(File),
    /// A pipe, or whatever else can only be read on.
    Stream(Box<dyn Read + Send>),
}

/// Count and hash of the raw bytes, shared with the caller.
#[derive(Clone, Default)]
pub(crate) struct RawCount(Arc<Mutex<Counts>>);

#[derive(Default)]
struct Counts {
    n_bytes: u64,
    hash: Xxh3,
}

impl RawCount {
    /// Raw bytes counted so far: those from the first on without a hole.
    pub fn n_bytes(&self) -> u64 {
        self.0
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .n_bytes
    }

    /// xxh3-64 of the raw bytes counted so far, in hexadecimal.
    pub fn fingerprint(&self) -> String {
        let counts = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        format!("{:016x}", counts.hash.digest())
    }

    /// Counts and hashes bytes that stand at `at`, each once and in order: what lies behind
    /// bytes that were jumped over is not counted.
    pub fn add(&self, at: u64, bytes: &[u8]) {
        let mut counts = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let n_known = counts.n_bytes.checked_sub(at);
        if let Some(new) = n_known.and_then(|n_known| bytes.get(n_known as usize..)) {
            counts.n_bytes += new.len() as u64;
            counts.hash.update(new);
        }
    }
}

/// A reader whose bytes are counted and hashed as they pass.
struct Counted<R> {
    inner: R,
    at: u64,
    count: RawCount,
}

impl<R: Read> Read for Counted<R> {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        let n = self.inner.read(out)?;
        self.count.add(self.at, out.get(..n).unwrap_or(&[]));
        self.at += n as u64;
        Ok(n)
    }
}

/// Where plain bytes come from.
enum Body {
    File(Counted<File>),
    Stream(Box<dyn Read + Send>),
}

impl Read for Body {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        match self {
            Body::File(file) => file.read(out),
            Body::Stream(stream) => stream.read(out),
        }
    }
}

/// Plain bytes of an input, from the first on.
pub(crate) struct Bytes {
    /// Count and hash of the raw bytes.
    pub raw: RawCount,
    /// Compression found.
    pub compression: Compression,
    // The beginning, and how much of it was given on; empty when all of it was.
    head: Vec<u8>,
    n_given: usize,
    // Why nothing more could be had behind the head.
    failure: Option<io::Error>,
    body: Body,
}

impl Bytes {
    /// Opens an input. An error means that not even the beginning could be had.
    pub fn new(raw: Raw) -> io::Result<Bytes> {
        let count = RawCount::default();
        let mut body = match raw {
            Raw::File(file) => Body::File(counted(file, &count)),
            Raw::Stream(stream) => Body::Stream(Box::new(counted(stream, &count))),
        };
        let mut head = Vec::new();
        let mut failure = read_up_to(4, &mut body, &mut head)?;
        let compression = match head.as_slice() {
            [0x1F, 0x8B, ..] => Compression::Gzip,
            // A zstd file may begin with a frame to be skipped.
            [0x28, 0xB5, 0x2F, 0xFD] | [0x50..=0x5F, 0x2A, 0x4D, 0x18] => Compression::Zstd,
            _ => Compression::Plain,
        };
        if compression != Compression::Plain {
            let magic = Cursor::new(std::mem::take(&mut head));
            let whole = magic.chain(Failing(failure.take())).chain(body);
            body = Body::Stream(match compression {
                Compression::Zstd => Box::new(zstd::stream::read::Decoder::new(whole)?),
                _ => Box::new(flate2::bufread::MultiGzDecoder::new(
                    io::BufReader::with_capacity(PIECE, whole),
                )),
            });
        }
        // What a damaged archive gave before it failed is still read.
        if failure.is_none() {
            failure = read_up_to(HEAD, &mut body, &mut head)?;
        }
        Ok(Bytes {
            raw: count,
            compression,
            head,
            n_given: 0,
            failure,
            body,
        })
    }

    /// The beginning, before anything is read: [`HEAD`] bytes, or all there are.
    pub fn head(&self) -> &[u8] {
        &self.head
    }

    /// Passes over so many bytes of the beginning.
    pub fn pass(&mut self, n: usize) {
        self.n_given += n;
    }
}

impl Read for Bytes {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        if let Some(mut rest) = self.head.get(self.n_given..)
            && !rest.is_empty()
        {
            let n = rest.read(out)?;
            self.n_given += n;
            return Ok(n);
        }
        (self.head, self.n_given) = (Vec::new(), 0);
        match self.failure.take() {
            Some(failure) => Err(failure),
            None => self.body.read(out),
        }
    }
}

/// Only in a plain file; anywhere else every jump is an error.
impl Seek for Bytes {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        let Body::File(file) = &mut self.body else {
            let why = "a pipe or packed file can only be read from its beginning to its end";
            return Err(io::Error::new(io::ErrorKind::Unsupported, why));
        };
        // The file itself stands behind the head.
        let n_ahead = self.head.len().saturating_sub(self.n_given) as i64;
        let to = match to {
            SeekFrom::Current(by) => SeekFrom::Current(by.saturating_sub(n_ahead)),
            other => other,
        };
        file.at = file.inner.seek(to)?;
        (self.head, self.n_given, self.failure) = (Vec::new(), 0, None);
        Ok(file.at)
    }
}

fn counted<R>(inner: R, count: &RawCount) -> Counted<R> {
    Counted {
        inner,
        at: 0,
        count: count.clone(),
    }
}

/// Reads on until `head` has so many bytes; gives why there are no more. An error when there
/// is not one.
fn read_up_to(
    wanted: usize,
    source: &mut impl Read,
    head: &mut Vec<u8>,
) -> io::Result<Option<io::Error>> {
    let mut n = head.len();
    head.resize(wanted, 0);
    let mut failure = None;
    while n < wanted && failure.is_none() {
        match source.read(&mut head[n..]) {
            Ok(0) => break,
            Ok(more) => n += more,
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            Err(error) => failure = Some(error),
        }
    }
    head.truncate(n);
    match failure {
        Some(failure) if n == 0 => Err(failure),
        failure => Ok(failure),
    }
}

/// A stream that hands out one error, or nothing.
struct Failing(Option<io::Error>);

impl Read for Failing {
    fn read(&mut self, _: &mut [u8]) -> io::Result<usize> {
        self.0.take().map_or(Ok(0), Err)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::{gzip, zstd};
    use std::io::Write;

    fn stream(bytes: Vec<u8>) -> Raw {
        Raw::Stream(Box::new(Cursor::new(bytes)))
    }

    #[track_caller]
    fn check(raw: &[u8], compression: Compression, plain: &[u8]) {
        let mut bytes = Bytes::new(stream(raw.to_vec())).unwrap();
        assert_eq!(bytes.head(), &plain[..plain.len().min(HEAD)]);
        let mut out = Vec::new();
        bytes.read_to_end(&mut out).unwrap();
        assert!(bytes.compression == compression && out == plain);
        assert_eq!(bytes.raw.n_bytes(), raw.len() as u64);
        let fingerprint = format!("{:016x}", xxhash_rust::xxh3::xxh3_64(raw));
        assert_eq!(bytes.raw.fingerprint(), fingerprint);
    }

    #[test]
    fn packed_bytes_are_undone_and_raw_ones_counted() {
        let plain = b"(1.0) can0 123#00\n".repeat(20_000);
        check(b"", Compression::Plain, b"");
        check(&plain, Compression::Plain, &plain);
        check(&gzip(&plain), Compression::Gzip, &plain);
        check(&zstd(&plain), Compression::Zstd, &plain);
        let twice = [gzip(b"a\n"), gzip(b"b\n")].concat();
        check(&twice, Compression::Gzip, b"a\nb\n");
    }

    #[test]
    fn a_plain_file_can_be_jumped_about_in_and_each_byte_counts_once() {
        let all: Vec<u8> = (0..HEAD + 10_000).map(|n| (n / 7) as u8).collect();
        let mut file = tempfile::tempfile().unwrap();
        file.write_all(&all).unwrap();
        file.rewind().unwrap();
        let mut bytes = Bytes::new(Raw::File(file)).unwrap();
        let mut read = |from: SeekFrom, wanted: usize| {
            let at = bytes.seek(from).unwrap();
            assert_eq!(at, wanted as u64);
            let mut some = [0; 1000];
            bytes.read_exact(&mut some).unwrap();
            assert_eq!(some, all[wanted..wanted + 1000]);
            bytes.raw.n_bytes() as usize
        };
        assert_eq!(read(SeekFrom::Current(30), 30), HEAD);
        assert_eq!(read(SeekFrom::Current(-1000), 30), HEAD);
        // Behind a hole nothing counts, and what fills the hole counts once.
        assert_eq!(read(SeekFrom::End(-1000), all.len() - 1000), HEAD);
        assert_eq!(
            read(SeekFrom::Start(HEAD as u64 - 10), HEAD - 10),
            HEAD + 990
        );
        assert_eq!(read(SeekFrom::Start(HEAD as u64), HEAD), HEAD + 1000);
        let mut rest = Vec::new();
        bytes.read_to_end(&mut rest).unwrap();
        let fingerprint = format!("{:016x}", xxhash_rust::xxh3::xxh3_64(&all));
        assert_eq!(bytes.raw.fingerprint(), fingerprint);
    }

    #[test]
    fn a_pipe_and_a_packed_file_go_forward_only() {
        for raw in [b"abc".to_vec(), gzip(b"abc")] {
            let mut bytes = Bytes::new(stream(raw)).unwrap();
            let error = bytes.seek(SeekFrom::Start(0)).unwrap_err();
            assert_eq!(error.kind(), io::ErrorKind::Unsupported);
        }
    }
}
