//! How a sheet that no map describes may be read: the first guess from its first lines.
//!
//! In: a file. Out: a [`SheetSpec`] and the headers of its columns, for whoever wants to see what is
//! in it. A map says it for good.

use std::fs::File;
use std::path::Path;

use halfshaft_model::SheetSpec;
use halfshaft_model::sheet::{Base, ColumnRef, SheetContent, TimeKind};

use crate::intake::{Bytes, HEAD, Raw};
use crate::text;

/// Lines looked at.
const LINES: usize = 60;
/// Columns read at most.
const MOST_COLUMNS: usize = 2000;

/// A sheet as it may be read.
#[derive(Clone, Debug, PartialEq)]
pub struct Sketch {
    /// How to read it.
    pub spec: SheetSpec,
    /// Headers of the columns read, in the order of a row's cells; empty where rows are frames.
    pub columns: Vec<String>,
}

/// What a file may be as a sheet; `None` where it is none, or is read without a map.
pub fn sketch(path: &Path) -> Option<Sketch> {
    // A pipe can be read only once.
    if !path.is_file() {
        return None;
    }
    let bytes = Bytes::new(Raw::File(File::open(path).ok()?)).ok()?;
    let head = bytes.head();
    let (text, _) = text::beginning(head, head.len() < HEAD);
    let text = String::from_utf8_lossy(&text);
    let lines: Vec<&str> = text.lines().take(LINES).collect();
    of_lines(&lines)
}

fn of_lines(lines: &[&str]) -> Option<Sketch> {
    if lines
        .iter()
        .any(|line| line.starts_with('(') && line.contains('#'))
    {
        return None;
    }
    let (delimiter, header_at) = shape(lines)?;
    let cells = |line: &str| -> Vec<String> {
        let text = |cell: &str| cell.trim().trim_matches('"').trim().to_owned();
        line.split(delimiter).map(text).collect()
    };
    let header = cells(lines[header_at]);
    let rows: Vec<Vec<String>> = lines[header_at + 1..]
        .iter()
        .map(|line| cells(line))
        .collect();
    let rows: Vec<Vec<String>> = rows
        .into_iter()
        .filter(|row| row.len() == header.len())
        .collect();
    let low: Vec<String> = header.iter().map(|name| name.to_lowercase()).collect();
    let find = |words: &[&str]| {
        low.iter()
            .position(|name| words.iter().any(|word| name.contains(word)))
    };
    let time = find(&["time", "zeit", "stamp", "temps"]).unwrap_or(0);
    let at = |column: usize| ColumnRef::Position(column + 1);
    let time_kind = time_kind(&low[time], rows.iter().find_map(|row| row.get(time)));
    let (content, columns) = match frames(&low, &rows, time) {
        Some(content) => (content, Vec::new()),
        None => {
            let others = (0..header.len())
                .filter(|column| *column != time)
                .take(MOST_COLUMNS);
            let others: Vec<usize> = others.collect();
            let columns = others
                .iter()
                .map(|column| header[*column].clone())
                .collect();
            let places = others.into_iter().map(at).collect();
            (SheetContent::Channels(places), columns)
        }
    };
    Some(Sketch {
        spec: SheetSpec {
            name: "as it looks".to_owned(),
            delimiter: Some(delimiter),
            decimal_mark: None,
            time_column: Some(at(time)),
            time_kind,
            unit_row: false,
            has_header: true,
            comment: None,
            missing_marks: ["-", "NaN", "nan", "n/a"].map(str::to_owned).to_vec(),
            content,
        },
        columns,
    })
}

/// What parts the columns, and the line of the header: the last line of words above rows of numbers.
fn shape(lines: &[&str]) -> Option<(char, usize)> {
    [';', '\t', ','].into_iter().find_map(|delimiter| {
        let width = |line: &str| line.split(delimiter).count();
        let is_row = |line: &str| {
            let cells = line.split(delimiter);
            let numbers = cells.filter(|cell| {
                cell.trim()
                    .starts_with(|c: char| c.is_ascii_digit() || c == '-')
            });
            width(line) >= 2 && 3 * numbers.count() >= width(line)
        };
        let first = lines.iter().position(|line| is_row(line))?;
        let above = lines[..first]
            .iter()
            .rposition(|line| width(line) == width(lines[first]))?;
        let rows = lines[first..].iter().filter(|line| !line.trim().is_empty());
        let n_odd = rows
            .clone()
            .filter(|line| width(line) != width(lines[first]))
            .count();
        (4 * n_odd <= rows.count()).then_some((delimiter, above))
    })
}

fn time_kind(header: &str, first: Option<&String>) -> TimeKind {
    let first = first.map_or("", String::as_str);
    if first.contains(':') {
        return match first.contains('-') && first.len() > 12 {
            true => TimeKind::Iso8601,
            false => TimeKind::ClockTime,
        };
    }
    let unit = |mark: &str| {
        [
            format!("[{mark}]"),
            format!("({mark})"),
            format!("_{mark}"),
            format!(" {mark}"),
            format!("/{mark}"),
        ]
        .iter()
        .any(|form| header.ends_with(form.as_str()))
    };
    let seconds_per_unit = match () {
        () if unit("ms") => 1e-3,
        () if unit("us") || unit("µs") => 1e-6,
        () if unit("ns") => 1e-9,
        () => 1.0,
    };
    TimeKind::Number { seconds_per_unit }
}

/// Rows that are frames: a column of identifiers and one of bytes.
fn frames(header: &[String], rows: &[Vec<String>], time: usize) -> Option<SheetContent> {
    let is_id = |name: &String| {
        let bare: String = name.chars().filter(|c| c.is_alphanumeric()).collect();
        [
            "id",
            "canid",
            "messageid",
            "identifier",
            "arbitrationid",
            "arbid",
            "msgid",
        ]
        .contains(&bare.as_str())
    };
    let id = header.iter().position(is_id)?;
    let column = |column: usize| -> Vec<&str> {
        rows.iter()
            .filter_map(|row| row.get(column))
            .map(String::as_str)
            .collect()
    };
    let is_bytes = |at: usize| {
        let cells = column(at);
        let bare = |cell: &str| cell.replace([' ', '-'], "");
        let is_hex = |cell: &&str| {
            let bare = bare(cell);
            bare.len() >= 2 && bare.len() % 2 == 0 && bare.chars().all(|c| c.is_ascii_hexdigit())
        };
        at != id
            && at != time
            && !cells.is_empty()
            && cells.iter().all(is_hex)
            && cells.iter().any(|cell| bare(cell).len() > 4)
    };
    let payload = (0..header.len()).find(|at| is_bytes(*at))?;
    let ids = column(id);
    let has_letter = |cell: &&str| cell.chars().any(|c| c.is_ascii_alphabetic());
    let is_padded =
        ids.iter().all(|cell| cell.len() == 3) && ids.iter().any(|cell| cell.starts_with('0'));
    let id_base = match ids.iter().any(has_letter) || is_padded {
        true => Base::Hexadecimal,
        false => Base::Decimal,
    };
    let named = |words: &[&str]| {
        let found = header
            .iter()
            .position(|name| words.contains(&name.as_str()));
        found.map(|at| ColumnRef::Position(at + 1))
    };
    Some(SheetContent::Frames {
        bus: named(&["bus", "channel", "interface"]),
        id: ColumnRef::Position(id + 1),
        id_base,
        payload: vec![ColumnRef::Position(payload + 1)],
        payload_base: Base::Hexadecimal,
        length: named(&["length", "dlc", "len", "messagelength"]),
        extended: None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sheet_of_channels_is_seen() {
        let sketch = of_lines(&[
            "# made by hand",
            "Zeit [ms];Rad HL;Rad HR",
            "0;1,5;1,6",
            "10;1,5;1,7",
        ]);
        let sketch = sketch.expect("it is a sheet");
        assert_eq!(sketch.columns, ["Rad HL", "Rad HR"]);
        assert_eq!(sketch.spec.delimiter, Some(';'));
        assert_eq!(
            sketch.spec.time_kind,
            TimeKind::Number {
                seconds_per_unit: 1e-3
            }
        );
    }

    #[test]
    fn rows_of_frames_are_seen_with_their_bases() {
        let sketch = of_lines(&[
            "Time,Bus,MessageID,Message,MessageLength",
            "1.5,0,705,00012cfe0bb20fc2,8",
        ]);
        let SheetContent::Frames {
            id_base, length, ..
        } = sketch.expect("it is a sheet").spec.content
        else {
            panic!("rows are frames");
        };
        assert_eq!(
            (id_base, length),
            (Base::Decimal, Some(ColumnRef::Position(5)))
        );
    }

    #[test]
    fn frames_as_text_are_no_sheet() {
        assert_eq!(
            of_lines(&["(1.0) can0 123#00,11", "(1.1) can0 123#00,11"]),
            None
        );
        assert_eq!(of_lines(&["just words", "and more"]), None);
    }
}
