//! The text to lines, each with its level.
//!
//! In: text. Out: lines with tokens, note and level, and mistakes in indentation. The
//! level of a line follows from the lines above it; how many spaces make a level is free.

use super::lexer::{self, Token};
use crate::mistakes::{Fault, Gathered, MistakeCode, Span};

/// Longest line, bytes.
pub const LONGEST_LINE: usize = 2000;
/// Most lines, empty ones aside.
pub const MOST_LINES: usize = 50_000;
/// Longest text, bytes.
pub const LONGEST_TEXT: usize = 4 << 20;
/// Deepest level.
const DEEPEST: usize = 16;
/// Columns a tab is taken for, after the complaint about it.
const TAB: usize = 4;

/// A line that is not empty.
#[derive(Clone, Debug)]
pub struct Line<'a> {
    /// Number, from 1.
    pub number: usize,
    /// Level: 0 at the left margin. Of a line with a note alone, the level it is drawn at.
    pub level: usize,
    /// Its tokens; none when it is a note alone.
    pub tokens: Vec<Token<'a>>,
    /// The note, without `#`.
    pub note: Option<&'a str>,
    /// Whether the line above is empty.
    pub after_blank: bool,
    column: usize,
}

impl Line<'_> {
    /// Its first token.
    pub fn head(&self) -> Span {
        self.tokens
            .first()
            .map_or(Span::default(), |token| token.span)
    }

    /// From its first to its last token.
    pub fn span(&self) -> Span {
        match (self.tokens.first(), self.tokens.last()) {
            (Some(first), Some(last)) => first.span.to(last.span),
            _ => Span::default(),
        }
    }
}

/// All lines that are not empty.
pub fn read<'a>(text: &'a str, gathered: &mut Gathered) -> Vec<Line<'a>> {
    let mut lines = Vec::new();
    let mut offset = 0;
    let mut after_blank = false;
    let mut tabs_seen = false;
    for (index, whole) in text.split_inclusive('\n').enumerate() {
        let start = offset;
        offset += whole.len();
        let content = whole.trim_end_matches(['\n', '\r']);
        // A byte order mark means nothing in UTF-8.
        let bare = if index == 0 {
            content.trim_start_matches('\u{feff}')
        } else {
            content
        };
        let start = start + (content.len() - bare.len());
        if bare.trim().is_empty() {
            after_blank = true;
            continue;
        }
        if lines.len() >= MOST_LINES {
            let message = format!("a map has at most {MOST_LINES} lines; the rest was not read");
            let span = Span::from(start..start + bare.len());
            gathered.mistake(Fault::new(span, MistakeCode::TooLarge, message));
            break;
        }
        if bare.len() > LONGEST_LINE {
            let n = bare.len();
            let message = format!("the line has {n} bytes, and {LONGEST_LINE} is the most");
            let span = Span::from(start..start + 1);
            gathered.mistake(Fault::new(span, MistakeCode::LineTooLong, message));
            continue;
        }
        let inner = bare.trim_start_matches([' ', '\t']);
        let indent = &bare[..bare.len() - inner.len()];
        if let Some(at) = indent.find('\t').filter(|_| !tabs_seen) {
            tabs_seen = true;
            gathered.mistake(Fault::with(
                Span::from(start + at..start + at + 1),
                MistakeCode::TabIndent,
                "lines are indented with blanks; this one (and perhaps others) with a tab",
                "write two blanks a level",
            ));
        }
        let column = indent
            .chars()
            .map(|c| if c == '\t' { TAB } else { 1 })
            .sum();
        let (tokens, note) = lexer::tokens(inner, start + indent.len());
        lines.push(Line {
            number: index + 1,
            level: 0,
            tokens,
            note: note.map(str::trim_end),
            after_blank,
            column,
        });
        after_blank = false;
    }
    set_levels(&mut lines, gathered);
    lines
}

fn set_levels(lines: &mut [Line], gathered: &mut Gathered) {
    // Columns of the levels that are open.
    let mut open: Vec<usize> = Vec::new();
    for index in 0..lines.len() {
        let column = lines[index].column;
        if lines[index].tokens.is_empty() {
            let next = lines[index..]
                .iter()
                .find(|line| !line.tokens.is_empty())
                .map(|line| line.column);
            lines[index].level = note_level(&open, next, column);
            continue;
        }
        let span = lines[index].span();
        if open.is_empty() {
            if column > 0 {
                let message = "the first line is indented, and there is nothing above it";
                gathered.mistake(Fault::new(span, MistakeCode::Indent, message));
            }
            open.push(column);
            continue;
        }
        // The margin is where the leftmost line is.
        if open.first().is_some_and(|margin| column < *margin) {
            open.clear();
            open.push(column);
            continue;
        }
        if open.last().is_some_and(|top| column > *top) {
            open.push(column);
        } else {
            while open.len() > 1 && open.last().is_some_and(|top| *top > column) {
                open.pop();
            }
            if open.last() != Some(&column) {
                gathered.mistake(Fault::with(
                    span,
                    MistakeCode::Indent,
                    "the line stands between two levels",
                    "line it up with the lines it belongs to",
                ));
                // Taken for one of the lines it is nearest under.
                open.push(column);
            }
        }
        if open.len() > DEEPEST {
            let message = format!("the lines are nested deeper than {DEEPEST} levels");
            gathered.mistake(Fault::new(span, MistakeCode::FormulaDeep, message));
            open.truncate(DEEPEST);
        }
        lines[index].level = open.len() - 1;
    }
}

/// The deepest level, of those open here and the one the next line opens, that begins
/// no further right than the note.
fn note_level(open: &[usize], next: Option<usize>, column: usize) -> usize {
    let mut columns = open.to_vec();
    if let Some(next) = next.filter(|next| columns.last().is_none_or(|top| next > top)) {
        columns.push(next);
    }
    columns
        .iter()
        .rposition(|start| *start <= column)
        .unwrap_or(0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(text: &str, wanted: &[usize], n_mistakes: usize) {
        let mut gathered = Gathered::default();
        let levels: Vec<usize> = read(text, &mut gathered)
            .iter()
            .map(|line| line.level)
            .collect();
        assert_eq!(levels, wanted);
        assert_eq!(
            gathered.into_mistakes("a.map", text).len(),
            n_mistakes,
            "{text}"
        );
    }

    #[test]
    fn levels_follow_from_the_lines_above() {
        check("a\n  b\n     c\n  d\ne\n", &[0, 1, 2, 1, 0], 0);
        check("a\n   b\n  c\n", &[0, 1, 1], 1);
        check("  a\nb\n", &[0, 0], 1);
        check("a\n\tb\n\tc\n", &[0, 1, 1], 1);
        check("\u{feff}a\r\n  b\r\n", &[0, 1], 0);
    }

    #[test]
    fn notes_stand_where_they_are_drawn() {
        check(
            "# top\na\n  # under a\n  b\n  # still a\n# top\nc",
            &[0, 0, 1, 1, 1, 0, 0],
            0,
        );
        check("a\n  b\n      # deep\nc", &[0, 1, 1, 0], 0);
    }
}
