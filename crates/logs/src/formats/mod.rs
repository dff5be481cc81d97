//! The log formats, one file each, and which of them an input is in.
//!
//! To add a format: its file with a `recognise` function, and its line in
//! [`recognise`]. A file name never decides; content does.

mod sheet;
mod socketcan_quick;
mod socketcan_text;

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use halfshaft_model::{Batch, Code, SheetSpec};

use crate::context::{Context, excerpt};
use crate::error::Error;
use crate::intake::{Intake, PIECE, RawCount, is_bomb};
use crate::lines::{LONGEST_LINE, Line, Lines, Next};

/// About how many entries a reader gives at a time: few enough that what is made of them is
/// still in the cache when the next stage takes it.
pub(crate) const BATCH: usize = 1024;

/// Lines looked at to recognise a sheet.
const SHEET_LINES: usize = 200;

/// Something that yields the entries of one input.
pub(crate) trait Reader: Send {
    /// Adds some thousands of entries to `batch`; `false` when there is nothing more.
    /// It may add none and still have more to give.
    fn fill(&mut self, batch: &mut Batch, context: &mut Context) -> bool;
}

/// A recognised input.
pub(crate) struct Recognised {
    /// Yields its entries.
    pub reader: Box<dyn Reader>,
    /// The format, in words.
    pub words: String,
    /// What its entries are called: `frames` or `rows`.
    pub entries: &'static str,
    /// Columns the map names and the sheet lacks.
    pub missing: Vec<String>,
}

/// Finds out the format of an input and opens its reader.
pub(crate) fn recognise(
    name: &str,
    intake: Intake,
    sheets: &[SheetSpec],
) -> Result<Recognised, Error> {
    let mut text = Text::new(intake);
    let is_all = text.is_all_in_head();
    let head = text.lines.head();
    if head.is_empty() {
        return Err(match text.lines.take_failure() {
            Some(cause) => Error::Unreadable {
                name: name.to_owned(),
                cause,
            },
            None => Error::Empty {
                name: name.to_owned(),
            },
        });
    }
    let lines = head_lines(head, is_all);
    if socketcan_text::recognise(&lines) {
        return Ok(Recognised {
            words: socketcan_text::WORDS.to_owned(),
            entries: "frames",
            missing: Vec::new(),
            reader: Box::new(socketcan_text::SocketcanText::new(text)),
        });
    }
    let lines = &lines[..lines.len().min(SHEET_LINES)];
    match sheet::recognise(name, lines, sheets)? {
        Some(layout) => {
            let words = layout.words(sheets, text.encoding);
            let missing = layout.missing.clone();
            let entries = layout.entries();
            let reader = sheet::Sheet::new(text, layout, sheets);
            Ok(Recognised {
                reader: Box::new(reader),
                words,
                entries,
                missing,
            })
        }
        None => Err(unknown(name, head, lines, sheets)),
    }
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

fn unknown(name: &str, head: &[u8], lines: &[&[u8]], sheets: &[SheetSpec]) -> Error {
    let name = name.to_owned();
    if looks_binary(head) {
        let found = "it is not text; wanted SocketCAN log text or a sheet".to_owned();
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

/// The text of an input, with everything its reader counts about it.
pub(crate) struct Text {
    lines: Lines,
    raw: RawCount,
    is_compressed: bool,
    encoding: &'static str,
    n_replaced: Arc<AtomicU64>,
    n_replaced_counted: u64,
    // Bytes of text when the last entry was found.
    n_bytes_at_entry: u64,
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
    fn new(intake: Intake) -> Text {
        Text {
            lines: Lines::new(intake.text, PIECE),
            raw: intake.raw,
            is_compressed: intake.compression != crate::intake::Compression::Plain,
            encoding: intake.encoding,
            n_replaced: intake.n_replaced,
            n_replaced_counted: 0,
            n_bytes_at_entry: 0,
        }
    }

    fn is_all_in_head(&mut self) -> bool {
        self.lines.head();
        self.lines.is_all_in_head()
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
                context.skip_line(Code::LineTooLong, number, b"more than 65536 bytes");
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

    /// Passes over `n` lines of the [`Text::rest`], `length` bytes with their newlines.
    #[inline]
    pub fn pass(&mut self, n: usize, length: usize) {
        self.lines.pass(n, length);
    }

    /// Counts what concerns the input as a whole. To be called now and then, and at the
    /// end; `n_new` is how many entries were found since the last call. `false` when the
    /// input was given up.
    pub fn take_stock(&mut self, n_new: usize, context: &mut Context) -> bool {
        let n_lines = self.lines.n_lines();
        context.tally.n_lines = n_lines;
        if n_new > 0 {
            self.n_bytes_at_entry = self.lines.n_bytes();
        }
        let n_barren = self.lines.n_bytes() - self.n_bytes_at_entry;
        if self.is_compressed && is_bomb(n_barren, self.raw.n_bytes()) {
            self.lines.stop(std::io::Error::other(format!(
                "{} raw bytes expand to {} bytes of which the last {n_barren} hold no entry; the rest was not read",
                self.raw.n_bytes(),
                self.lines.n_bytes(),
            )));
        }
        let n_replaced = self.n_replaced.load(Ordering::Relaxed);
        for _ in self.n_replaced_counted..n_replaced {
            context.count(Code::BytesUndecodable, n_lines, self.encoding.as_bytes());
        }
        self.n_replaced_counted = n_replaced;
        match self.lines.take_failure() {
            None => true,
            Some(failure) => {
                let text = match self.is_compressed {
                    true => format!("the compressed data is damaged or ends early ({failure})"),
                    false => failure.to_string(),
                };
                context.count(Code::InputTruncated, n_lines, text.as_bytes());
                let name = &context.tally.name;
                context.tally.trouble = Some(format!(
                    "{name}: reading stopped after line {n_lines}: {text}"
                ));
                false
            }
        }
    }
}
