//! One input: opened, recognised, read in pieces, and what is known of it afterwards.

use std::fs::File;
use std::io::{self, Read};
use std::path::{Path, PathBuf};

use halfshaft_model::personal::base_name;
use halfshaft_model::{Batch, Code, Entry, IdFilter, LogPlace, Notices, SheetSpec, Stamp};

use crate::context::{Buses, Context, Tally};
use crate::error::Error;
use crate::folder;
use crate::formats::{self, Reader};
use crate::intake::{Bytes, Compression, Raw, RawCount};

/// What is known of one input; complete after [`crate::Log::next`] gave `false`.
#[derive(Clone, Debug, PartialEq)]
pub struct Input {
    /// Its name, as the user gave it.
    pub name: String,
    /// The format found, in words; empty when none was.
    pub format: String,
    /// How it is compressed.
    pub compression: Compression,
    /// Raw bytes: of the file where that is known, else those read so far.
    pub size_bytes: u64,
    /// xxh3-64 of all raw bytes in hexadecimal; `None` until they have been read.
    pub fingerprint: Option<String>,
    /// Entries read.
    pub n_entries: u64,
    /// Lines skipped because they could not be used.
    pub n_lines_skipped: u64,
    /// Stamp of the first entry.
    pub first: Option<Stamp>,
    /// Stamp of the last entry.
    pub last: Option<Stamp>,
    /// Columns that the map names and the sheet lacks.
    pub columns_missing: Vec<String>,
    /// Why it could not be read, or not to its end.
    pub trouble: Option<String>,
}

/// One input, whether it is open or not.
pub(crate) struct Slot {
    /// Figures of what was read.
    pub tally: Tally,
    /// Size of the file, when it is one that has a size.
    pub size_bytes: Option<u64>,
    raw: RawCount,
    /// The reader, while there is something to read.
    pub opened: Option<Opened>,
    from: From,
    words: String,
    parts: &'static str,
    entries: &'static str,
    missing: Vec<String>,
    compression: Compression,
    fingerprint: Option<String>,
}

/// Where the bytes come from.
enum From {
    /// A file, which can be opened again.
    File(PathBuf),
    /// A drive: a folder, and its segments, which follow on each other as one file does.
    Drive(PathBuf, Vec<PathBuf>),
    /// A stream, until it is opened.
    Stream(Option<Box<dyn Read + Send>>),
}

/// An input while it is being read.
pub(crate) struct Opened {
    /// Yields the entries.
    reader: Box<dyn Reader>,
    index: u32,
    /// Whether the reader may yield more.
    pub has_more: bool,
    /// Entries read and not yet given on, from `at` on.
    pub pending: Batch,
    /// The next of them.
    pub at: usize,
}

impl Slot {
    /// A file, not yet opened.
    pub fn file(path: PathBuf) -> Slot {
        Slot::new(path.display().to_string(), From::File(path))
    }

    /// A stream of that name.
    pub fn stream(name: String, stream: Box<dyn Read + Send>) -> Slot {
        Slot::new(name, From::Stream(Some(stream)))
    }

    fn new(name: String, from: From) -> Slot {
        Slot {
            tally: Tally {
                name,
                ..Tally::default()
            },
            from,
            size_bytes: None,
            opened: None,
            words: String::new(),
            parts: "lines",
            entries: "entries",
            missing: Vec::new(),
            compression: Compression::Plain,
            raw: RawCount::default(),
            fingerprint: None,
        }
    }

    /// Opens the input, which is the `index`th of the log, and reads up to its first entries;
    /// gives the first stamp.
    pub fn open(
        &mut self,
        index: u32,
        sheets: &[SheetSpec],
        notices: &mut Notices,
        buses: &mut Buses,
        only: Option<&IdFilter>,
    ) -> Result<Stamp, Error> {
        let name = self.tally.name.clone();
        let unreadable = |cause: io::Error| Error::Unreadable {
            name: name.clone(),
            cause,
        };
        if let From::File(path) = &self.from
            && path.is_dir()
        {
            self.from = From::Drive(path.clone(), folder::segments(path)?);
        }
        let raw = match &mut self.from {
            From::Drive(drive, segments) => {
                for (path, n_bytes) in folder::torn(drive).map_err(unreadable)? {
                    notices.count_many(Code::SegmentTorn, n_bytes, || {
                        let source = base_name(&path.display().to_string()).to_owned();
                        (LogPlace { source, line: 0 }, format!("{n_bytes} bytes"))
                    });
                }
                let (chain, size_bytes) = Chain::open(segments).map_err(unreadable)?;
                self.size_bytes = Some(size_bytes);
                Raw::Stream(Box::new(chain))
            }
            From::File(path) => {
                let (raw, size_bytes) = open_file(path).map_err(unreadable)?;
                self.size_bytes = size_bytes;
                raw
            }
            From::Stream(stream) => match stream.take() {
                Some(stream) => Raw::Stream(stream),
                None => return Err(unreadable(io::Error::other("it can be read only once"))),
            },
        };
        let bytes = Bytes::new(raw).map_err(unreadable)?;
        self.raw = bytes.raw.clone();
        self.compression = bytes.compression;
        let recognised = formats::recognise(&self.tally.name, &bytes, sheets)?;
        self.words = recognised.words;
        self.parts = recognised.parts;
        self.entries = recognised.entries;
        self.missing = recognised.missing;
        let mut opened = Opened {
            reader: (recognised.open)(bytes)?,
            index,
            has_more: true,
            pending: Batch::default(),
            at: 0,
        };
        let mut context = Context {
            notices,
            buses,
            tally: &mut self.tally,
            only,
        };
        match opened.read_ahead(&mut context) {
            Some(first) => {
                self.opened = Some(opened);
                Ok(first)
            }
            None => {
                self.finish();
                Err(self.nothing_usable())
            }
        }
    }

    /// Whether the input can be closed and opened again.
    pub fn can_open_again(&self) -> bool {
        // A pipe has a path too, and gives its bytes only once.
        match &self.from {
            From::File(path) => path.is_file(),
            From::Drive(..) => true,
            From::Stream(_) => false,
        }
    }

    /// Closes the input and forgets what was read, to start anew later.
    pub fn close_for_now(&mut self) {
        self.opened = None;
        self.raw = RawCount::default();
        self.tally = Tally {
            name: std::mem::take(&mut self.tally.name),
            ..Tally::default()
        };
    }

    /// Closes the input, read to its end or left for good.
    pub fn finish(&mut self) {
        self.opened = None;
        // What was left unread still belongs to the fingerprint.
        let is_all = self
            .size_bytes
            .is_none_or(|size| self.raw.n_bytes() >= size);
        let hashed = match &self.from {
            _ if is_all => None,
            From::File(path) => Some(File::open(path).and_then(hash_all)),
            From::Drive(_, segments) => {
                Some(Chain::open(segments).and_then(|(chain, _)| hash_all(chain)))
            }
            From::Stream(_) => None,
        };
        match hashed {
            None => {}
            Some(Ok(raw)) => self.raw = raw,
            Some(Err(_)) => return,
        }
        self.fingerprint = Some(self.raw.fingerprint());
    }

    /// The error that nothing in it can be used.
    pub fn nothing_usable(&self) -> Error {
        let mut first_bad = String::new();
        if let Some((number, text)) = &self.tally.first_bad {
            first_bad = format!("; the first bad line is {number}: `{text}`");
        }
        if let Some(trouble) = &self.tally.trouble {
            let trouble = trouble
                .strip_prefix(&format!("{}: ", self.tally.name))
                .unwrap_or(trouble);
            first_bad.push_str(&format!("; {trouble}"));
        }
        Error::NothingUsable {
            name: self.tally.name.clone(),
            n_parts: self.tally.n_lines,
            parts: self.parts,
            entries: self.entries,
            first_bad,
        }
    }

    /// Raw bytes read; all of them when the input is done with.
    pub fn read_bytes(&self) -> u64 {
        let is_given_up = self.opened.is_none() && self.tally.trouble.is_some();
        match self.size_bytes {
            Some(size_bytes) if is_given_up => size_bytes,
            _ => self.raw.n_bytes(),
        }
    }

    /// What is known of it.
    pub fn input(&self) -> Input {
        let is_useless = self.fingerprint.is_some() && self.tally.n_usable == 0;
        let useless = is_useless.then(|| self.nothing_usable().to_string());
        Input {
            name: self.tally.name.clone(),
            format: self.words.clone(),
            compression: self.compression,
            size_bytes: self.size_bytes.unwrap_or_else(|| self.raw.n_bytes()),
            fingerprint: self.fingerprint.clone(),
            n_entries: self.tally.n_entries,
            n_lines_skipped: self.tally.n_skipped,
            first: self.tally.first,
            last: self.tally.last,
            columns_missing: self.missing.clone(),
            trouble: self.tally.trouble.clone().or(useless),
        }
    }
}

impl Opened {
    /// Reads the next entries, all given on before; gives the stamp of the first.
    pub fn read_ahead(&mut self, context: &mut Context) -> Option<Stamp> {
        let mut pending = std::mem::take(&mut self.pending);
        pending.clear();
        self.at = 0;
        while self.has_more && pending.entries.is_empty() {
            self.fill(&mut pending, context);
        }
        self.pending = pending;
        self.pending.entries.first().map(Entry::stamp)
    }

    /// Adds the next entries to `batch`, past those read ahead.
    pub fn fill(&mut self, batch: &mut Batch, context: &mut Context) {
        batch.set_input(self.index);
        self.has_more = self.reader.fill(batch, context);
    }
}

/// A file and its size, when it is one that has a size.
fn open_file(path: &Path) -> io::Result<(Raw, Option<u64>)> {
    let file = File::open(path)?;
    let about = file.metadata()?;
    // A pipe may have a path, too.
    Ok(match about.is_file() {
        true => (Raw::File(file), Some(about.len())),
        false => (Raw::Stream(Box::new(file)), None),
    })
}

/// Segments one after another.
struct Chain {
    rest: std::vec::IntoIter<PathBuf>,
    current: Option<File>,
}

impl Chain {
    /// The segments, and how many bytes they have.
    fn open(segments: &[PathBuf]) -> io::Result<(Chain, u64)> {
        let mut n_bytes = 0;
        for path in segments {
            n_bytes += path.metadata()?.len();
        }
        let rest = segments.to_vec().into_iter();
        let current = None;
        Ok((Chain { rest, current }, n_bytes))
    }
}

impl Read for Chain {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        loop {
            if let Some(file) = &mut self.current {
                let n = file.read(out)?;
                if n > 0 {
                    return Ok(n);
                }
            }
            match self.rest.next() {
                Some(path) => self.current = Some(File::open(path)?),
                None => return Ok(0),
            }
        }
    }
}

fn hash_all(mut source: impl Read) -> io::Result<RawCount> {
    let raw = RawCount::default();
    let mut piece = vec![0; 1 << 16];
    loop {
        match source.read(&mut piece) {
            Ok(0) => return Ok(raw),
            Ok(n) => raw.add(raw.n_bytes(), &piece[..n]),
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            Err(error) => return Err(error),
        }
    }
}
