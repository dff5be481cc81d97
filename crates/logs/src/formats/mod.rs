//! The log formats, one file each, and which of them an input is in.
//!
//! To add a format: its file, with a [`Reader`] and a function that recognises its logs by
//! their first bytes, and its line in [`FORMATS`]. A file name never decides; content does.

#[cfg(test)]
mod indexed;
mod pcapng;
mod sheet;
mod socketcan_quick;
mod socketcan_text;

use halfshaft_model::{Batch, SheetSpec};

use crate::context::{Context, excerpt};
use crate::error::Error;
use crate::intake::{Bytes, HEAD};
use crate::lines::LONGEST_LINE;
use crate::text;

/// Finds out whether an input is of one format.
type Recognise = fn(&Beginning) -> Result<Option<Recognised>, Error>;

/// The formats, in the order in which they are asked. One that finds nothing of its own in
/// the beginning gives `None`.
const FORMATS: &[Recognise] = &[
    #[cfg(test)]
    indexed::recognise,
    pcapng::recognise,
    socketcan_text::recognise,
    sheet::recognise,
];

/// About how many entries a reader gives at a time: few enough that what is made of them is
/// still in the cache when the next stage takes it.
pub(crate) const BATCH: usize = 1024;

/// Cells of rows that are many enough, in the same sense: a sheet may have thousands of columns.
const MOST_CELLS: usize = 128 * 1024;

/// Whether a batch is to be given on.
pub(crate) fn is_full(batch: &Batch) -> bool {
    batch.entries.len() >= BATCH || batch.n_cells() >= MOST_CELLS
}

/// Something that yields the entries of one input.
pub(crate) trait Reader: Send {
    /// Adds some thousands of entries to `batch`, each with its line or byte set; `false`
    /// when there is nothing more. It may add none and still have more to give.
    fn fill(&mut self, batch: &mut Batch, context: &mut Context) -> bool;
}

/// The beginning of an input, by which a format recognises it.
pub(crate) struct Beginning<'a> {
    /// The input, as the user named it.
    pub name: &'a str,
    /// Its first bytes, for formats that are no text.
    pub bytes: &'a [u8],
    /// The same as lines of text; a last one that may be cut is left out.
    pub lines: &'a [&'a [u8]],
    /// What the text was encoded in.
    pub encoding: &'static str,
    /// Sheets of the map.
    pub sheets: &'a [SheetSpec],
}

/// An input whose format is known.
pub(crate) struct Recognised {
    /// The format, in words.
    pub words: String,
    /// What it is made of: `lines` or `blocks`.
    pub parts: &'static str,
    /// What its entries are called: `frames` or `rows`.
    pub entries: &'static str,
    /// Columns the map names and the sheet lacks.
    pub missing: Vec<String>,
    /// Makes the reader of its bytes, which are given from the first on.
    pub open: Opener,
}

/// Makes a reader of the bytes of an input.
pub(crate) type Opener = Box<dyn FnOnce(Bytes) -> Result<Box<dyn Reader>, Error>>;

/// Finds out the format of an input.
pub(crate) fn recognise(
    name: &str,
    bytes: &Bytes,
    sheets: &[SheetSpec],
) -> Result<Recognised, Error> {
    let head = bytes.head();
    let is_all = head.len() < HEAD;
    let (text, encoding) = text::beginning(head, is_all);
    if text.is_empty() {
        return Err(Error::Empty {
            name: name.to_owned(),
        });
    }
    let lines = head_lines(&text, is_all);
    let beginning = Beginning {
        name,
        bytes: head,
        lines: &lines,
        encoding,
        sheets,
    };
    for recognise in FORMATS {
        if let Some(recognised) = recognise(&beginning)? {
            return Ok(recognised);
        }
    }
    Err(unknown(&beginning, &text))
}

/// The lines of the beginning, without their newline; a last one that may be cut is left out.
fn head_lines(head: &[u8], is_all: bool) -> Vec<&[u8]> {
    let mut lines: Vec<&[u8]> = head.split(|&byte| byte == b'\n').collect();
    if !is_all || lines.last().is_some_and(|line| line.is_empty()) {
        lines.pop();
    }
    // A line beyond any entry is damage; it keeps its number and loses its content.
    for line in &mut lines {
        if line.len() > LONGEST_LINE {
            *line = &[];
        }
    }
    lines
}

fn looks_binary(head: &[u8]) -> bool {
    let sample = &head[..head.len().min(4096)];
    let n_odd = sample
        .iter()
        .filter(|&&byte| byte < 0x20 && !matches!(byte, b'\t' | b'\n' | b'\r' | 0x0C))
        .count();
    sample.contains(&0) || n_odd * 20 > sample.len()
}

fn unknown(beginning: &Beginning, text: &[u8]) -> Error {
    let Beginning { lines, sheets, .. } = *beginning;
    let name = beginning.name.to_owned();
    if looks_binary(text) {
        let found = "it is not text; expected SocketCAN log text, a sheet or pcapng".to_owned();
        return Error::Unknown { name, found };
    }
    let Some(header) = sheet::header_of_any_sheet(lines) else {
        let first = lines.iter().find(|line| !line.trim_ascii().is_empty());
        let first = first.map_or_else(String::new, |line| {
            format!(", it begins `{}`", excerpt(line))
        });
        let found = format!(
            "text in which no line is a frame like `(12.345678) can0 123#0011`, nor rows of one width{first}"
        );
        return Error::Unknown { name, found };
    };
    if sheets.is_empty() {
        return Error::Unknown {
            name,
            found: format!(
                "it looks like a sheet, and no map describes one; its header is {header}"
            ),
        };
    }
    let wanted: Vec<String> = sheets.iter().map(sheet::wanted).collect();
    Error::NoSheetFits {
        name,
        header,
        wanted: wanted.join("; "),
    }
}
