//! A line of a sheet to its cells.
//!
//! In: bytes of a line and what parts the columns. Out: ranges of the cells, without
//! quotes and outer blanks. Quotes inside a quoted cell stay doubled; only header text
//! and marks are compared, and numbers never hold one.

use std::ops::Range;

use memchr::{memchr, memchr_iter};

/// What parts the columns.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Delimiter {
    /// One ASCII character; several in a row are several empty cells.
    Byte(u8),
    /// Blanks, any number of them.
    Blanks,
    /// Another character, in UTF-8.
    Text(Vec<u8>),
}

impl Delimiter {
    pub fn new(mark: char) -> Delimiter {
        match u8::try_from(mark) {
            Ok(b' ') => Delimiter::Blanks,
            Ok(byte) if byte.is_ascii() => Delimiter::Byte(byte),
            _ => Delimiter::Text(mark.to_string().into_bytes()),
        }
    }
}

impl std::fmt::Display for Delimiter {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Delimiter::Byte(b'\t') => f.write_str("tab"),
            Delimiter::Byte(byte) => write!(f, "`{}`", char::from(*byte)),
            Delimiter::Blanks => f.write_str("blanks"),
            Delimiter::Text(text) => write!(f, "`{}`", String::from_utf8_lossy(text)),
        }
    }
}

/// Puts the ranges of the cells of `line` into `cells`, which is cleared first.
pub(crate) fn split(line: &[u8], delimiter: &Delimiter, cells: &mut Vec<Range<usize>>) {
    cells.clear();
    let end = line.len() - usize::from(line.last() == Some(&b'\r'));
    let line = &line[..end];
    match delimiter {
        Delimiter::Byte(mark) if memchr(b'"', line).is_none() => {
            let mut start = 0;
            for at in memchr_iter(*mark, line) {
                cells.push(trimmed(line, start..at));
                start = at + 1;
            }
            cells.push(trimmed(line, start..line.len()));
        }
        _ => split_quoted(line, delimiter, cells),
    }
}

fn split_quoted(line: &[u8], delimiter: &Delimiter, cells: &mut Vec<Range<usize>>) {
    let mark_at = |at: usize| -> usize {
        match delimiter {
            Delimiter::Byte(mark) => usize::from(line[at] == *mark),
            Delimiter::Blanks => line[at..]
                .iter()
                .take_while(|byte| matches!(byte, b' ' | b'\t'))
                .count(),
            Delimiter::Text(mark) => {
                if line[at..].starts_with(mark) {
                    mark.len()
                } else {
                    0
                }
            }
        }
    };
    let mut at = 0;
    if *delimiter == Delimiter::Blanks && !line.is_empty() {
        at = mark_at(0);
    }
    let mut start = at;
    let mut is_quoted = false;
    while at < line.len() {
        if line[at] == b'"' {
            // A quote opens a cell only at its beginning; elsewhere it is an inch mark.
            let opens = line[start..at].trim_ascii().is_empty();
            is_quoted = !is_quoted && opens;
            at += 1;
            // A doubled quote inside a quoted cell stays in it.
            if !is_quoted && !opens && line.get(at) == Some(&b'"') {
                is_quoted = true;
                at += 1;
            }
            continue;
        }
        let length = if is_quoted { 0 } else { mark_at(at) };
        if length == 0 {
            at += 1;
            continue;
        }
        if *delimiter == Delimiter::Blanks && at + length == line.len() {
            cells.push(trimmed(line, start..at));
            return;
        }
        cells.push(trimmed(line, start..at));
        at += length;
        start = at;
    }
    cells.push(trimmed(line, start..line.len()));
}

/// The cell without outer blanks and without the quotes around it.
fn trimmed(line: &[u8], range: Range<usize>) -> Range<usize> {
    let range = without_blanks(line, range);
    let cell = &line[range.clone()];
    match cell.first() {
        Some(b'"') if cell.len() >= 2 && cell.last() == Some(&b'"') => {
            without_blanks(line, range.start + 1..range.end - 1)
        }
        // A quote that is never closed.
        Some(b'"') => without_blanks(line, range.start + 1..range.end),
        _ => range,
    }
}

fn without_blanks(line: &[u8], mut range: Range<usize>) -> Range<usize> {
    while range.start < range.end && line[range.start].is_ascii_whitespace() {
        range.start += 1;
    }
    while range.start < range.end && line[range.end - 1].is_ascii_whitespace() {
        range.end -= 1;
    }
    range
}

/// The cells of a line as text, for headers.
pub(crate) fn texts(line: &[u8], delimiter: &Delimiter) -> Vec<String> {
    let mut cells = Vec::new();
    split(line, delimiter, &mut cells);
    cells
        .into_iter()
        .map(|cell| String::from_utf8_lossy(&line[cell]).replace("\"\"", "\""))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(line: &str, mark: char, expected: &[&str]) {
        assert_eq!(
            texts(line.as_bytes(), &Delimiter::new(mark)),
            expected,
            "{line}"
        );
    }

    #[test]
    fn cells_are_parted() {
        check("", ',', &[""]);
        check("a,b,,c\r", ',', &["a", "b", "", "c"]);
        check(" a ; b;", ';', &["a", "b", ""]);
        check("a\t\tb", '\t', &["a", "", "b"]);
        check("  a   b ", ' ', &["a", "b"]);
        check("a§b§", '§', &["a", "b", ""]);
    }

    #[test]
    fn quotes_keep_a_cell_together() {
        check(r#""a,b",c"#, ',', &["a,b", "c"]);
        check(r#"1, "2,5" ,3"#, ',', &["1", "2,5", "3"]);
        check(r#""say ""x"", y",c"#, ',', &[r#"say "x", y"#, "c"]);
        check(r#"5" disc,"","#, ',', &[r#"5" disc"#, "", ""]);
        check(r#"a,"never closed,b"#, ',', &["a", "never closed,b"]);
        check(r#"""#, ',', &[""]);
        check(r#""a b" c"#, ' ', &["a b", "c"]);
    }
}
