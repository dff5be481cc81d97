//! Sheets: delimited text whose rows are samples of channels or frames.
//!
//! In: lines, and the sheets of the map. Out: rows or frames in the order of time. What
//! the map leaves open (what parts the columns, the decimal mark) is found out from the
//! first lines. A cell is a number, a mark for missing, or just text: nothing in it is
//! ever evaluated.

mod cells;
mod columns;
mod frames;
mod layout;
mod numbers;
mod order;
mod spread;
mod times;

use std::ops::Range;

use halfshaft_model::sheet::{ColumnRef, SheetContent};
use halfshaft_model::{Batch, Code, SheetSpec, Stamp};

use super::{BATCH, Beginning, Reader, Recognised, is_full};
use crate::context::{Context, shape};
use crate::error::Error;
use crate::text::{Text, TextLine};
use columns::{Content, Match, match_columns};
use frames::Bases;
use layout::Layout;
pub(super) use layout::{header_of_any_sheet, wanted};
use numbers::{Decimal, Evidence};
use order::{Held, Item, Order};
use times::Times;

/// Reader of a sheet.
pub(super) struct Sheet {
    text: Text,
    rows: Rows,
}

/// Everything but the text, so that a line of it can be borrowed beside.
struct Rows {
    spec: SheetSpec,
    layout: Layout,
    bases: Option<Bases>,
    times: Times,
    order: Order,
    ranges: Vec<Range<usize>>,
    // The next row is the one of the units.
    expects_units: bool,
}

/// Whether the beginning is one of a sheet of the map.
pub(super) fn recognise(beginning: &Beginning) -> Result<Option<Recognised>, Error> {
    let sheets = beginning.sheets;
    let Some(mut layout) = layout::recognise(beginning.name, beginning.lines, sheets)? else {
        return Ok(None);
    };
    let spec = sheets[usize::from(layout.sheet)].clone();
    Ok(Some(Recognised {
        words: layout.words(sheets, beginning.encoding),
        parts: "lines",
        entries: layout.entries(),
        missing: std::mem::take(&mut layout.missing),
        open: Box::new(|bytes| Ok(Box::new(Sheet::new(Text::new(bytes), layout, spec)))),
    }))
}

impl Sheet {
    fn new(text: Text, layout: Layout, spec: SheetSpec) -> Sheet {
        let bases = match &spec.content {
            SheetContent::Channels(_) => None,
            SheetContent::Frames {
                id_base,
                payload_base,
                ..
            } => Some(Bases {
                id: *id_base,
                payload: *payload_base,
            }),
        };
        // Columns by position were found at the first row, which lies behind the units.
        let by_header =
            columns::references(&spec).any(|column| matches!(column, ColumnRef::Header(_)));
        let rows = Rows {
            expects_units: spec.unit_row && by_header,
            bases,
            times: Times::new(spec.time_kind),
            order: Order::new(layout.sheet),
            ranges: Vec::new(),
            spec,
            layout,
        };
        Sheet { text, rows }
    }
}

impl Reader for Sheet {
    fn fill(&mut self, batch: &mut Batch, context: &mut Context) -> bool {
        let mut is_more = true;
        for _ in 0..BATCH {
            if is_full(batch) {
                break;
            }
            match self.text.next(context) {
                TextLine::Line(line) => {
                    if line.number > self.rows.layout.header_line {
                        self.rows
                            .line(line.bytes, line.number, line.is_ended, batch, context);
                    }
                }
                TextLine::Damaged => {}
                TextLine::Pause => break,
                TextLine::End => {
                    is_more = false;
                    break;
                }
            }
        }
        is_more &= self.text.take_stock(context);
        if !is_more {
            self.rows.flush(batch, context);
        }
        is_more
    }
}

/// What a row came to.
enum Outcome {
    /// This, and whether the row has as many cells as the header.
    Held(Held, bool),
    /// The time cannot be read.
    NoTime,
    /// The frame cannot be read, or no cell of the row is there.
    Nothing,
}

impl Rows {
    fn line(
        &mut self,
        line: &[u8],
        number: u64,
        is_ended: bool,
        batch: &mut Batch,
        context: &mut Context,
    ) {
        let blank = line.trim_ascii();
        if blank.is_empty() || layout::is_comment(line, &self.spec) {
            return;
        }
        if std::mem::take(&mut self.expects_units) {
            let texts = cells::texts(line, &self.layout.delimiter);
            // A sheet without the units its map promises has its first row here.
            if !layout::is_row(&texts, &self.spec, &self.layout.columns) {
                return;
            }
        }
        if !line.is_ascii() && std::str::from_utf8(line).is_err() {
            context.count(Code::BytesUndecodable, number, line);
        }
        // Without a stated mark, what begins like a comment is one, unless it is the header.
        if self.spec.comment.is_none() && (blank.starts_with(b"#") || blank.starts_with(b"//")) {
            if self.is_header_again(line) {
                context.count(Code::HeaderRepeated, number, line);
            }
            return;
        }
        cells::split(line, &self.layout.delimiter, &mut self.ranges);
        let time = self.cell(line, self.layout.columns.time);
        let stamp = self.times.next(time, self.layout.decimal);
        let outcome = match stamp {
            None => Outcome::NoTime,
            Some(_) => self.content(line, number, context),
        };
        let code = match (stamp, outcome) {
            // The last cell of a row that was cut off may be half a number.
            (Some(_), Outcome::Held(..)) if !is_ended && self.is_short() => Code::LineTruncated,
            (Some(stamp), Outcome::Held(held, is_full_width)) => {
                if !is_full_width {
                    context.count(Code::RowWidth, number, line);
                }
                self.take(stamp, held, number, line, batch, context);
                return;
            }
            (_, Outcome::NoTime) if is_ended => Code::TimeUnreadable,
            _ => Code::LineUnreadable,
        };
        if self.is_header_again(line) {
            context.count(Code::HeaderRepeated, number, line);
            self.times.take_back();
            return;
        }
        context.skip_line(
            if is_ended { code } else { Code::LineTruncated },
            number,
            line,
        );
    }

    fn is_short(&self) -> bool {
        self.ranges.len() < self.layout.columns.width
    }

    fn cell<'a>(&self, line: &'a [u8], column: Option<usize>) -> &'a [u8] {
        let range = column.and_then(|column| self.ranges.get(column));
        range
            .and_then(|range| line.get(range.clone()))
            .unwrap_or(&[])
    }

    fn content(&mut self, line: &[u8], number: u64, context: &mut Context) -> Outcome {
        let width = self.layout.columns.width;
        // Empty cells beyond the header come from a mark at the end of each row.
        let is_full_width = !self.is_short() && self.ranges[width..].iter().all(Range::is_empty);
        if let Some(bases) = self.bases {
            let cell = |column: usize| self.cell(line, Some(column));
            return match frames::frame(&self.layout.columns.content, bases, cell, context.buses) {
                Some(held) => Outcome::Held(held, is_full_width),
                None => Outcome::Nothing,
            };
        }
        let mut values = self.order.cells();
        let Content::Channels(columns) = &self.layout.columns.content else {
            return Outcome::Nothing;
        };
        let mut decimal = self.layout.decimal;
        let mut has_text = false;
        for &column in columns {
            let cell = self.cell(line, column);
            let is_missing = self.is_missing(cell);
            let value = match is_missing {
                true => None,
                false => numbers::number(cell, decimal),
            };
            has_text |= value.is_none() && !is_missing;
            if decimal == Decimal::Open && value.is_some() {
                decimal = match numbers::evidence(cell) {
                    Evidence::Point => Decimal::Mark(b'.'),
                    Evidence::Comma => Decimal::Mark(b','),
                    _ => Decimal::Open,
                };
            }
            values.push(value.unwrap_or(f64::NAN));
        }
        if has_text {
            // With a row clock a repeated header shows only by its cells.
            if values.iter().all(|value| value.is_nan()) && self.matches_again(line).is_some() {
                return Outcome::Nothing;
            }
            for &column in columns {
                self.count_text(self.cell(line, column), number, context);
            }
        }
        self.layout.decimal = decimal;
        Outcome::Held(Held::Cells(values), is_full_width)
    }

    fn is_missing(&self, cell: &[u8]) -> bool {
        let marks = &self.spec.missing_marks;
        cell.is_empty() || marks.iter().any(|mark| mark.as_bytes() == cell)
    }

    /// Counts a cell that is neither a number nor missing.
    fn count_text(&self, cell: &[u8], number: u64, context: &mut Context) {
        if self.is_missing(cell) || numbers::number(cell, self.layout.decimal).is_some() {
            return;
        }
        let is_open = self.layout.decimal == Decimal::Open;
        if is_open && numbers::evidence(cell) == Evidence::CommaBeforeThree {
            context.count_with(Code::CellUnreadable, number, || {
                format!("{} (state `decimal mark` in the map)", shape(cell))
            });
        } else {
            context.count(Code::CellUnreadable, number, cell);
        }
    }

    fn take(
        &mut self,
        stamp: Stamp,
        held: Held,
        number: u64,
        line: &[u8],
        batch: &mut Batch,
        context: &mut Context,
    ) {
        let sheet = self.order.sheet();
        let mut out = |item: &Item| give(item, sheet, batch, context);
        if self.order.take(stamp, number, held, &mut out) {
            context.count(Code::RowOutOfOrder, number, line);
        }
    }

    fn flush(&mut self, batch: &mut Batch, context: &mut Context) {
        let sheet = self.order.sheet();
        self.order
            .flush(&mut |item| give(item, sheet, batch, context));
    }

    fn matches_again(&self, line: &[u8]) -> Option<Match> {
        let headers = cells::texts(line, &self.layout.delimiter);
        let found = match_columns(&self.spec, &headers)?;
        let is_header = found.n_by_header > 0 && found.twice.is_none();
        is_header.then_some(found)
    }

    /// Whether the header stands again; the columns are then matched anew.
    fn is_header_again(&mut self, line: &[u8]) -> bool {
        let Some(found) = self.matches_again(line) else {
            return false;
        };
        self.layout.columns = found.columns;
        self.expects_units = self.spec.unit_row;
        true
    }
}

fn give(item: &Item, sheet: u16, batch: &mut Batch, context: &mut Context) {
    if item.moment > 0 {
        context.count_with(Code::TimeShared, item.key.1, || {
            format!("{:.3} s from here on", item.stamp().seconds())
        });
    }
    context.entry(item.stamp(), is_usable(&item.held));
    item.write(sheet, batch);
}

fn is_usable(held: &Held) -> bool {
    match held {
        Held::Cells(cells) => cells.iter().any(|cell| !cell.is_nan()),
        Held::Frame { .. } => true,
    }
}
