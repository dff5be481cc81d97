//! Recognises a sheet from its first lines: which sheet of the map it is, what parts its
//! columns, where its header stands, and its decimal mark.
//!
//! The sheet of the map that finds most of its columns, less those it misses, is the one.

use halfshaft_model::sheet::{Base, ColumnRef, SheetContent, TimeKind};
use halfshaft_model::{LogPlace, SheetSpec};

use super::cells::{self, Delimiter};
use super::columns::{self, Columns, Content, Match, match_columns};
use super::numbers::{self, Decimal, Evidence};
use super::times;
use crate::context::excerpt;
use crate::error::Error;

/// Lines looked at to recognise a sheet.
const LINES: usize = 200;

/// How a sheet is laid out.
#[derive(Clone, Debug)]
pub(crate) struct Layout {
    /// Index of the sheet in the map.
    pub sheet: u16,
    pub delimiter: Delimiter,
    pub decimal: Decimal,
    /// Line of the header from 1, or of the last line before the rows; 0 without any.
    pub header_line: u64,
    pub columns: Columns,
    /// Columns the map names and the sheet lacks.
    pub missing: Vec<String>,
}

impl Layout {
    /// The choices made, for the report.
    pub fn words(&self, sheets: &[SheetSpec], encoding: &str) -> String {
        let name = sheets
            .get(usize::from(self.sheet))
            .map_or("", |spec| spec.name.as_str());
        let decimal = match self.decimal {
            Decimal::Mark(b',') => "decimals by `,`",
            Decimal::Mark(_) => "decimals by `.`",
            Decimal::Open => "no decimals in the first lines",
        };
        format!(
            "sheet `{name}`: columns parted by {}, {decimal}, {encoding}",
            self.delimiter
        )
    }

    /// What its entries are called.
    pub fn entries(&self) -> &'static str {
        match self.columns.content {
            Content::Channels(_) => "rows",
            Content::Frames { .. } => "frames",
        }
    }
}

/// A way to read the first lines as one sheet of the map.
struct Candidate {
    // Whether headers matched, columns found less those missing, columns found, and rows
    // of that width.
    score: (bool, i64, usize, usize),
    sheet: usize,
    delimiter: Delimiter,
    header_line: usize,
    found: Match,
}

/// Finds the sheet of the map that fits; `None` when none does.
pub(crate) fn recognise(
    name: &str,
    lines: &[&[u8]],
    sheets: &[SheetSpec],
) -> Result<Option<Layout>, Error> {
    let lines = &lines[..lines.len().min(LINES)];
    let mut best: Option<Candidate> = None;
    for (sheet, spec) in sheets.iter().enumerate() {
        let delimiters = match spec.delimiter {
            Some(mark) => vec![Delimiter::new(mark)],
            None => [',', ';', '\t'].map(Delimiter::new).to_vec(),
        };
        for delimiter in delimiters {
            let Some(candidate) = fit(lines, sheet, spec, delimiter) else {
                continue;
            };
            if best
                .as_ref()
                .is_none_or(|best| candidate.score > best.score)
            {
                best = Some(candidate);
            }
        }
    }
    let Some(Candidate {
        sheet,
        delimiter,
        header_line,
        found,
        ..
    }) = best
    else {
        return Ok(None);
    };
    let place = |line: usize| LogPlace {
        source: name.to_owned(),
        line: line as u64,
    };
    if let Some(twice) = found.twice {
        return Err(Error::ColumnTwice {
            place: place(header_line),
            header: twice.header,
            first: twice.first,
            second: twice.second,
        });
    }
    let spec = &sheets[sheet];
    let decimal = match spec.decimal_mark.and_then(|mark| u8::try_from(mark).ok()) {
        Some(mark) => Decimal::Mark(mark),
        None => decide(lines, header_line, spec, &delimiter, &found.columns).map_err(
            |(line, cell, reason)| Error::DecimalsUndecided {
                place: place(line),
                cell,
                reason,
            },
        )?,
    };
    Ok(Some(Layout {
        sheet: u16::try_from(sheet).unwrap_or(u16::MAX),
        delimiter,
        decimal,
        header_line: header_line as u64,
        columns: found.columns,
        missing: found.missing,
    }))
}

fn fit(lines: &[&[u8]], sheet: usize, spec: &SheetSpec, delimiter: Delimiter) -> Option<Candidate> {
    let by_header = columns::references(spec).any(|column| matches!(column, ColumnRef::Header(_)));
    let (header_line, found) = if by_header {
        header(lines, spec, &delimiter).filter(|_| spec.has_header)?
    } else {
        first_row(lines, spec, &delimiter)?
    };
    let width = found.columns.width;
    let n_of_width = lines
        .iter()
        .filter(|line| cells::texts(line, &delimiter).len() == width)
        .count();
    let score = (
        by_header,
        found.n_found as i64 - found.missing.len() as i64,
        found.n_found,
        n_of_width,
    );
    Some(Candidate {
        score,
        sheet,
        delimiter,
        header_line,
        found,
    })
}

/// The header: the line with most columns of the map before the first row. A header that
/// stands again further down must not hide the rows above it.
fn header(lines: &[&[u8]], spec: &SheetSpec, delimiter: &Delimiter) -> Option<(usize, Match)> {
    let mut best: Option<(usize, Match)> = None;
    for (index, line) in lines.iter().enumerate() {
        let texts = cells::texts(line, delimiter);
        if let Some((_, header)) = &best
            && is_row(&texts, spec, &header.columns)
        {
            break;
        }
        let Some(found) = match_columns(spec, &texts) else {
            continue;
        };
        if best
            .as_ref()
            .is_none_or(|(_, best)| found.n_found > best.n_found)
        {
            best = Some((index + 1, found));
        }
    }
    best
}

/// For a sheet whose columns all go by position: its first row, as the line before it.
/// Without a header nothing stands before the rows but what is damaged.
fn first_row(lines: &[&[u8]], spec: &SheetSpec, delimiter: &Delimiter) -> Option<(usize, Match)> {
    lines.iter().enumerate().find_map(|(index, line)| {
        if is_comment(line, spec) {
            return None;
        }
        let texts = cells::texts(line, delimiter);
        let found = match_columns(spec, &texts)?;
        let line = if spec.has_header { index } else { 0 };
        is_row(&texts, spec, &found.columns).then_some((line, found))
    })
}

/// Whether cells read as a row: a time, and a number or an identifier.
pub(crate) fn is_row(texts: &[String], spec: &SheetSpec, columns: &Columns) -> bool {
    let reads = |column: usize, read: &dyn Fn(&[u8]) -> bool| {
        texts.get(column).is_some_and(|text| read(text.as_bytes()))
    };
    let is_number = |cell: &[u8]| {
        [b'.', b',']
            .iter()
            .any(|&mark| numbers::number(cell, Decimal::Mark(mark)).is_some())
    };
    let is_hexadecimal = |cell: &[u8]| {
        let is_digit = |byte: &u8| byte.is_ascii_hexdigit() || b"xX".contains(byte);
        cell.iter().any(u8::is_ascii_digit) && cell.iter().all(is_digit)
    };
    let is_timed = |time| reads(time, &|cell| times::is_time(cell, spec.time_kind));
    let is_filled = match (&columns.content, &spec.content) {
        (Content::Channels(columns), _) => columns
            .iter()
            .flatten()
            .any(|&column| reads(column, &is_number)),
        (
            Content::Frames { id, .. },
            SheetContent::Frames {
                id_base: Base::Decimal,
                ..
            },
        ) => reads(*id, &is_number),
        (Content::Frames { id, .. }, _) => reads(*id, &is_hexadecimal),
    };
    columns.time.is_none_or(is_timed) && is_filled
}

/// Whether a line is a comment of that sheet.
pub(crate) fn is_comment(line: &[u8], spec: &SheetSpec) -> bool {
    spec.comment.as_ref().is_some_and(|mark| {
        !mark.is_empty() && line.trim_ascii_start().starts_with(mark.as_bytes())
    })
}

/// The decimal mark by the cells of the first lines, or the cell that leaves it open.
fn decide(
    lines: &[&[u8]],
    header_line: usize,
    spec: &SheetSpec,
    delimiter: &Delimiter,
    columns: &Columns,
) -> Result<Decimal, (usize, String, String)> {
    let time = columns
        .time
        .filter(|_| matches!(spec.time_kind, TimeKind::Number { .. }));
    let content: &[Option<usize>] = match &columns.content {
        Content::Channels(found) => found,
        Content::Frames { .. } => &[],
    };
    let mut first: [Option<(usize, &[u8])>; 4] = [None; 4];
    let mut ranges = Vec::new();
    for (index, line) in lines.iter().enumerate().skip(header_line) {
        if is_comment(line, spec) {
            continue;
        }
        cells::split(line, delimiter, &mut ranges);
        for column in time.iter().chain(content.iter().flatten()) {
            let Some(range) = ranges.get(*column) else {
                continue;
            };
            let cell = &line[range.clone()];
            let kind = match numbers::evidence(cell) {
                Evidence::None => continue,
                Evidence::Point => 0,
                Evidence::PointBeforeThree => 1,
                Evidence::Comma => 2,
                Evidence::CommaBeforeThree => 3,
            };
            first[kind].get_or_insert((index + 1, cell));
        }
    }
    let [point, point_before_three, comma, comma_before_three] = first;
    match (point, comma, comma_before_three) {
        (Some((_, other)), Some((line, cell)), _) => {
            let reason = format!(
                "elsewhere the decimal mark is a point, as in `{}`",
                excerpt(other)
            );
            Err((line, excerpt(cell), reason))
        }
        (Some(_), None, _) => Ok(Decimal::Mark(b'.')),
        (None, Some(_), _) => Ok(Decimal::Mark(b',')),
        (None, None, Some((line, cell))) => {
            let cell = excerpt(cell);
            let reason = format!("{} or {}", cell.replace(',', "."), cell.replace(',', ""));
            Err((line, cell, reason))
        }
        (None, None, None) if point_before_three.is_some() => Ok(Decimal::Mark(b'.')),
        (None, None, None) => Ok(Decimal::Open),
    }
}

/// The header of what looks like a sheet of any kind, for messages: rows of one width.
pub(crate) fn header_of_any_sheet(lines: &[&[u8]]) -> Option<String> {
    let lines = &lines[..lines.len().min(LINES)];
    let mut best: Option<(usize, usize)> = None;
    let mut header = None;
    for delimiter in [',', ';', '\t'].map(Delimiter::new) {
        let rows: Vec<Vec<String>> = lines
            .iter()
            .filter(|line| !line.trim_ascii().is_empty())
            .map(|line| cells::texts(line, &delimiter))
            .collect();
        let Some(width) = rows.iter().map(Vec::len).max_by_key(|&width| {
            let n = rows.iter().filter(|row| row.len() == width).count();
            if width > 1 { n } else { 0 }
        }) else {
            continue;
        };
        let n = rows.iter().filter(|row| row.len() == width).count();
        if width < 2 || n < 2 || n * 2 <= rows.len() || best.is_some_and(|best| best >= (n, width))
        {
            continue;
        }
        best = Some((n, width));
        header = rows.iter().find(|row| row.len() == width).map(|row| {
            const MOST: usize = 30;
            let mut names: Vec<String> = row
                .iter()
                .take(MOST)
                .map(|cell| format!("`{}`", excerpt(cell.as_bytes())))
                .collect();
            if row.len() > MOST {
                names.push(format!("… {} columns in all", row.len()));
            }
            names.join(", ")
        });
    }
    header
}

/// What a sheet of the map needs in a header.
pub(crate) fn wanted(spec: &SheetSpec) -> String {
    let columns: Vec<String> = columns::references(spec).map(columns::words).collect();
    format!("`{}` wants {}", spec.name, columns.join(", "))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::channels;

    fn lines(text: &str) -> Vec<&[u8]> {
        text.lines().map(str::as_bytes).collect()
    }

    /// `sheet delimiter decimal header-line`, or the error.
    #[track_caller]
    fn check(sheets: &[SheetSpec], text: &str, expected: &str) {
        let found = match recognise("a.csv", &lines(text), sheets) {
            Ok(None) => "none".to_owned(),
            Ok(Some(layout)) => {
                let decimal = match layout.decimal {
                    Decimal::Mark(mark) => char::from(mark),
                    Decimal::Open => '?',
                };
                format!(
                    "{} {} {decimal} {}",
                    layout.sheet, layout.delimiter, layout.header_line
                )
            }
            Err(error) => error.to_string(),
        };
        assert_eq!(found, expected, "{text}");
    }

    #[test]
    fn the_sheet_that_fits_best_is_chosen() {
        let sheets = [
            channels("t", &["a"]),
            channels("t", &["a", "b", "c"]),
            channels("zeit", &["a", "q", "r"]),
        ];
        check(&sheets, "t,a\n1,2", "0 `,` ? 1");
        check(&sheets, "t,a,b\n1,2,3", "1 `,` ? 1");
        check(&sheets, "A logger\n\nt;a;b;c\n1,5;2;3;4", "1 `;` , 3");
        check(&sheets, "zeit\ta\tq\n1\t2\t3.25", "2 tab . 1");
        check(&sheets, "t,a\n1,2\nt,a,b\n1,2,3", "0 `,` ? 1");
        check(&sheets, "t,a of the logger\nt,a,b,c\n1,2,3,4", "1 `,` ? 2");
        check(&sheets, "x,y\n1,2", "none");
        check(&sheets, "", "none");
        check(&[], "t,a\n1,2", "none");
    }

    #[test]
    fn an_undecidable_decimal_mark_is_an_error() {
        let sheets = [channels("t", &["a"])];
        check(&sheets, "t;a\n1;1,234\n2;12,5", "0 `;` , 1");
        check(&sheets, "t;a\n1.5;1,234", "0 `;` . 1");
        check(&sheets, "t;a\n1;1.234", "0 `;` . 1");
        check(
            &sheets,
            "t;a\n1;1,234\n2;2,345",
            "a.csv:2: `1,234` can be read in two ways (1.234 or 1234); state `decimal mark` for this sheet in the map",
        );
        check(
            &sheets,
            "t;a\n1.5;2,3",
            "a.csv:2: `2,3` can be read in two ways (elsewhere the decimal mark is a point, as in `1.5`); state `decimal mark` for this sheet in the map",
        );
        let mut stated = channels("t", &["a"]);
        stated.decimal_mark = Some(',');
        check(&[stated], "t;a\n1;1,234", "0 `;` , 1");
    }

    #[test]
    fn a_column_that_stands_twice_is_an_error_if_the_map_names_it() {
        let sheets = [channels("t", &["a"])];
        check(
            &sheets,
            "t,a,a\n1,2,3",
            "a.csv:1: the header `a` stands over columns 2 and 3; name the column by its position in the map",
        );
        check(&sheets, "t,a,b,b\n1,2,3,4", "0 `,` ? 1");
    }

    #[test]
    fn columns_by_position_begin_at_the_first_row() {
        let mut sheet = channels("#1", &["#3"]);
        check(
            &[sheet.clone()],
            "time,x,speed\ns,-,km/h\n1.5,2,3",
            "0 `,` . 2",
        );
        sheet.has_header = false;
        check(&[sheet.clone()], "1;2;3\n2;3;4", "0 `;` ? 0");
        check(&[sheet], "damaged\n1;2;3\n2;3;4", "0 `;` ? 0");
    }

    #[test]
    fn any_sheet_shows_its_header() {
        assert_eq!(
            header_of_any_sheet(&lines("a;b\n1;2\n3;4")).as_deref(),
            Some("`a`, `b`")
        );
        assert_eq!(header_of_any_sheet(&lines("just\nwords")), None);
        assert_eq!(header_of_any_sheet(&[]), None);
    }
}
