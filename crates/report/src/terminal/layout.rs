//! Lines of a given width: wrapping, columns, sparse colour.
//!
//! In: clean text. Out: lines no wider than asked. Widths are counted in characters.

/// Text being built, line by line.
pub(crate) struct Page {
    /// Columns a line may have.
    pub width: usize,
    colour: bool,
    out: String,
}

/// How a column stands.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(crate) enum Align {
    Left,
    Right,
}

/// How a stretch of text is marked, when colour is wanted.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(crate) enum Mark {
    Plain,
    Strong,
    Faint,
    Heat,
    Grave,
}

impl Page {
    pub fn new(width: usize, colour: bool) -> Page {
        Page {
            width: width.clamp(50, 120),
            colour,
            out: String::new(),
        }
    }

    pub fn finish(self) -> String {
        self.out
    }

    /// Text with its mark; padding belongs before this.
    pub fn marked(&self, text: &str, mark: Mark) -> String {
        let code = match mark {
            Mark::Plain => return text.to_owned(),
            Mark::Strong => "1",
            Mark::Faint => "2",
            Mark::Heat => "33",
            Mark::Grave => "1;31",
        };
        if self.colour && !text.is_empty() {
            format!("\u{1b}[{code}m{text}\u{1b}[0m")
        } else {
            text.to_owned()
        }
    }

    /// One finished line; blanks at its end go. No-break spaces have done their work when
    /// the text was wrapped: what is printed can be searched and copied.
    pub fn line(&mut self, text: &str) {
        self.out
            .push_str(text.trim_end().replace('\u{a0}', " ").as_str());
        self.out.push('\n');
    }

    pub fn blank(&mut self) {
        self.out.push('\n');
    }

    /// A section's heading, with a blank line before it.
    pub fn heading(&mut self, text: &str) {
        self.blank();
        for line in wrap(text, self.width) {
            let line = self.marked(&line, Mark::Strong);
            self.line(&line);
        }
    }

    /// Wrapped text, its first line behind `lead` and the others behind as many blanks.
    pub fn paragraph(&mut self, lead: &str, text: &str, mark: Mark) {
        let indent = lead.chars().count();
        let lines = wrap(text, self.width.saturating_sub(indent));
        for (index, line) in lines.iter().enumerate() {
            let head = if index == 0 {
                lead.to_owned()
            } else {
                " ".repeat(indent)
            };
            let line = format!("{head}{}", self.marked(line, mark));
            self.line(&line);
        }
    }

    /// `left` and `right` at the two ends of a line; below each other when they do not fit.
    pub fn ends(&mut self, left: &str, right: &str, mark: Mark) {
        let (n_left, n_right) = (left.chars().count(), right.chars().count());
        if n_left + n_right + 2 <= self.width {
            let gap = " ".repeat(self.width - n_left - n_right);
            let line = format!(
                "{}{gap}{}",
                self.marked(left, mark),
                self.marked(right, mark)
            );
            self.line(&line);
        } else {
            self.paragraph("", left, mark);
            self.paragraph("", right, mark);
        }
    }

    /// Rows of cells, aligned; two blanks between columns and before the first. Cells
    /// are never cut: the caller chooses columns that fit.
    pub fn columns(&mut self, rows: &[Vec<String>], aligns: &[Align], marks: &[Mark]) {
        let widths = column_widths(rows);
        for row in rows {
            let mut line = String::new();
            for (column, cell) in row.iter().enumerate() {
                let cell = pad(cell, widths[column], aligns[column]);
                line.push_str("  ");
                line.push_str(&self.marked(&cell, marks[column]));
            }
            self.line(&line);
        }
    }
}

/// The line [`Page::columns`] makes of rows.
pub(super) fn columns_width(rows: &[Vec<String>]) -> usize {
    column_widths(rows).iter().map(|width| 2 + width).sum()
}

fn column_widths(rows: &[Vec<String>]) -> Vec<usize> {
    let n_columns = rows.first().map_or(0, Vec::len);
    let widest = |column: usize| {
        rows.iter()
            .map(|row| row[column].chars().count())
            .max()
            .unwrap_or(0)
    };
    (0..n_columns).map(widest).collect()
}

/// Text filled up with blanks to `width` characters.
pub(super) fn pad(text: &str, width: usize, align: Align) -> String {
    let blanks = " ".repeat(width.saturating_sub(text.chars().count()));
    match align {
        Align::Left => format!("{text}{blanks}"),
        Align::Right => format!("{blanks}{text}"),
    }
}

/// Text broken at blanks into lines of at most `width` characters; a longer word is cut.
/// An empty text is one empty line.
pub(super) fn wrap(text: &str, width: usize) -> Vec<String> {
    let width = width.max(1);
    let mut lines = vec![String::new()];
    let mut used = 0;
    for word in text.split(' ').filter(|word| !word.is_empty()) {
        let mut letters: Vec<char> = word.chars().collect();
        if used > 0 && used + 1 + letters.len() <= width {
            push(&mut lines, ' ');
            used += 1;
        } else if used > 0 {
            lines.push(String::new());
            used = 0;
        }
        while letters.len() > width {
            letters
                .drain(..width)
                .for_each(|letter| push(&mut lines, letter));
            lines.push(String::new());
        }
        used += letters.len();
        letters
            .into_iter()
            .for_each(|letter| push(&mut lines, letter));
    }
    lines
}

fn push(lines: &mut [String], letter: char) {
    if let Some(line) = lines.last_mut() {
        line.push(letter);
    }
}

/// A bar of `share` (0 to 1) of `width` cells, in eighths of a cell. What is more than
/// nothing shows at least a sliver.
pub(super) fn bar(share: f64, width: usize) -> String {
    const EIGHTHS: [&str; 8] = ["", "▏", "▎", "▍", "▌", "▋", "▊", "▉"];
    if !share.is_finite() || share <= 0.0 {
        return String::new();
    }
    let eighths = ((share.min(1.0) * (width * 8) as f64).round() as usize).max(1);
    format!("{}{}", "█".repeat(eighths / 8), EIGHTHS[eighths % 8])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check_wrap(text: &str, width: usize, lines: &[&str]) {
        assert_eq!(wrap(text, width), lines, "{text:?} at {width}");
    }

    #[test]
    fn text_is_broken_at_blanks_and_long_words_are_cut() {
        check_wrap("one two three", 7, &["one two", "three"]);
        check_wrap("", 7, &[""]);
        check_wrap("abcdefghij kl", 4, &["abcd", "efgh", "ij", "kl"]);
        check_wrap("kl abcdefgh", 4, &["kl", "abcd", "efgh"]);
        check_wrap("  a   b ", 9, &["a b"]);
    }

    #[test]
    fn a_bar_is_as_long_as_its_share() {
        assert_eq!(bar(0.0, 10), "");
        assert_eq!(bar(f64::NAN, 10), "");
        assert_eq!(bar(1.0, 4), "████");
        assert_eq!(bar(0.5, 3), "█▌");
        assert_eq!(bar(1e-9, 3), "▏");
        assert_eq!(bar(7.0, 2), "██");
    }

    #[test]
    fn marks_cost_nothing_without_colour() {
        assert_eq!(Page::new(80, false).marked("x", Mark::Strong), "x");
        assert_eq!(
            Page::new(80, true).marked("x", Mark::Strong),
            "\u{1b}[1mx\u{1b}[0m"
        );
        assert_eq!(Page::new(5, true).width, 50);
        assert_eq!(Page::new(500, true).width, 120);
    }
}
