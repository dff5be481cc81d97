//! Mistakes of a map and warnings about it: where, what is wrong, what to write instead.
//!
//! In: spans of the text with messages. Out: all of them in the order of the text, as
//! one line each or drawn with the text underlined. This file does not look for mistakes.

use annotate_snippets::renderer::DecorStyle;
use annotate_snippets::{AnnotationKind, Level, Renderer, Snippet};
use std::fmt::Write as _;

/// How many mistakes are printed; the rest is counted.
pub const MOST_PRINTED: usize = 100;

/// A stretch of the text, in bytes, end excluded.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct Span {
    /// First byte.
    pub start: usize,
    /// First byte after.
    pub end: usize,
}

impl From<std::ops::Range<usize>> for Span {
    fn from(bytes: std::ops::Range<usize>) -> Span {
        let std::ops::Range { start, end } = bytes;
        Span { start, end }
    }
}

impl Span {
    /// From the start of `self` to the end of `other`.
    pub fn to(self, other: Span) -> Span {
        Span {
            start: self.start,
            end: other.end.max(self.start),
        }
    }
}

halfshaft_model::codes! { "What kind of mistake or warning." MistakeCode {
    TooLarge "too-large" "The map, or a part of it, is larger than any map need be."
    LineTooLong "line-too-long" "A line is longer than 2000 bytes."
    NotText "not-text" "The file is not UTF-8 text."
    StrayCharacter "stray-character" "A character has no meaning here."
    OpenText "open-text" "A text in quotation marks does not end on its line."
    TabIndent "tab-indent" "A line is indented with a tab; how wide a tab is nobody can see."
    Indent "indent" "A line is indented under a line that takes no facts, or between two levels."
    UnknownWord "unknown-word" "A line begins with, or contains, a word the language does not know there."
    WrongPlace "wrong-place" "A fact stands under a line it does not belong to."
    Unfinished "unfinished" "A line ends where something more is expected."
    TooMuch "too-much" "A line goes on after its fact is complete."
    WrongForm "wrong-form" "Something else was expected here: a number, a text, bits, a unit."
    Twice "twice" "A fact that can hold only once is stated twice."
    MissingFact "missing-fact" "Something needs a fact that is not stated."
    UnknownUnit "unknown-unit" "A unit is not known."
    MissingUnit "missing-unit" "A number has no unit."
    UnitMisfit "unit-misfit" "A unit is of another kind than the quantity."
    UnknownChannel "unknown-channel" "A channel is neither one the program computes with nor named `own.…`."
    UnknownName "unknown-name" "A bus, table or channel is used that the map does not define."
    DoubleSource "double-source" "A channel comes from two places that can both be there."
    DoubleFrame "double-frame" "A frame is described twice, or two frames answer to one identifier."
    FrameIdentifier "frame-identifier" "An identifier is not three hexadecimal digits (11-bit) or eight (29-bit)."
    FrameLength "frame-length" "A frame has a length no frame can have."
    BitBeyondFrame "bit-beyond-frame" "Bits lie beyond the end of the frame."
    BitField "bit-field" "Bits are not written as runs inside one byte, are repeated, or are more than 64."
    BitOverlap "bit-overlap" "Two signals use the same bits at the same time."
    CodeTooLarge "code-too-large" "A code does not fit in its bits."
    NumberMisfit "number-misfit" "Bits cannot hold that kind of number."
    RangeEmpty "range-empty" "A range runs backwards or a value is out of the range it can have."
    TableNotRising "table-not-rising" "The points of a table do not rise."
    TableShape "table-shape" "A table has no points, or a row with too few or too many values."
    FormulaLoop "formula-loop" "Channels are worked out from one another in a circle."
    FormulaInputs "formula-inputs" "A function has the wrong number of inputs."
    FormulaDeep "formula-deep" "A formula or a block is nested too deep."
    MeaningMisfit "meaning-misfit" "What a clutch channel is said to mean does not go with its unit."
    ProofFailed "proof-failed" "A prove line does not give the values it promises."
    MeaningMissing "meaning-missing" "Warning: a torque is given and not what it is the torque of, so heat will be refused."
    LayoutDecidesHeat "layout-decides-heat" "Warning: heat comes from pack torque, so a wrong place of the clutch costs a factor of 2."
    FullMissing "full-missing" "Warning: it is not stated what counts as full, so the channel gives no share of engagement."
    WheelUnguarded "wheel-unguarded" "Warning: nothing in the map shows a bad wheel speed: no range, no code for absent, no checksum."
    NoHeat "no-heat" "Warning: something heat needs is not stated, so heat will be refused."
} }

/// One mistake or warning.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mistake {
    /// Where, in bytes of the text.
    pub span: Span,
    /// Line, from 1.
    pub line: usize,
    /// Column in characters, from 1.
    pub column: usize,
    /// Length in characters, at least 1.
    pub length: usize,
    /// What kind.
    pub code: MistakeCode,
    /// What is wrong: found and expected.
    pub message: String,
    /// What to write instead, where there is one answer.
    pub suggestion: Option<String>,
    // Its line, as it is drawn.
    drawn: String,
}

/// All mistakes of a map, or all warnings about it, in the order of the text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mistakes {
    source_name: String,
    is_warnings: bool,
    items: Vec<Mistake>,
    n_hidden: usize,
}

impl Mistakes {
    /// How many there are, those that are not printed among them.
    pub fn len(&self) -> usize {
        self.items.len() + self.n_hidden
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.items.is_empty()
    }

    /// Those that are printed, in the order of the text.
    pub fn iter(&self) -> impl Iterator<Item = &Mistake> {
        self.items.iter()
    }

    /// Drawn with the text underlined, plain or coloured.
    pub fn render(&self, colour: bool) -> String {
        let renderer = match colour {
            true => Renderer::styled(),
            false => Renderer::plain(),
        };
        let renderer = renderer.decor_style(DecorStyle::Ascii);
        let level = if self.is_warnings {
            Level::WARNING
        } else {
            Level::ERROR.with_name("mistake")
        };
        let mut out = String::new();
        for item in &self.items {
            let line = &item.drawn;
            let start = byte_of_column(line, item.column);
            let end = byte_of_column(line, item.column + item.length).max(start);
            let label = item.suggestion.as_deref().unwrap_or("");
            let mut annotation = AnnotationKind::Primary.span(start..end);
            if !label.is_empty() {
                annotation = annotation.label(label);
            }
            let snippet = Snippet::source(line.as_str())
                .line_start(item.line)
                .path(self.source_name.as_str())
                .annotation(annotation);
            let group = level
                .clone()
                .primary_title(item.message.as_str())
                .id(item.code.word())
                .element(snippet);
            let _ = writeln!(out, "{}\n", renderer.render(&[group]));
        }
        out.push_str(&self.tally());
        out
    }

    fn tally(&self) -> String {
        let (n, source) = (self.len(), &self.source_name);
        let noun = ["mistake", "warning"][usize::from(self.is_warnings)];
        let plural = if n == 1 { "" } else { "s" };
        let hidden = match self.n_hidden {
            0 => String::new(),
            n => format!(", the first {MOST_PRINTED} shown, {n} more not"),
        };
        format!("{n} {noun}{plural} in {source}{hidden}\n")
    }
}

impl std::fmt::Display for Mistakes {
    /// One line each, `file:line:column: message`.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let source = &self.source_name;
        for item in &self.items {
            let (line, column, message) = (item.line, item.column, &item.message);
            write!(f, "{source}:{line}:{column}: {message}")?;
            match &item.suggestion {
                Some(suggestion) => writeln!(f, " ({suggestion})")?,
                None => writeln!(f)?,
            }
        }
        if self.n_hidden > 0 {
            writeln!(f, "{source}: {} more", self.n_hidden)?;
        }
        Ok(())
    }
}

impl std::error::Error for Mistakes {}

/// The bytes as text, or the mistake that they are none.
pub fn as_text<'b>(source_name: &str, bytes: &'b [u8]) -> Result<&'b str, Mistakes> {
    std::str::from_utf8(bytes).map_err(|error| {
        let sound = bytes.get(..error.valid_up_to()).unwrap_or_default();
        let before = std::str::from_utf8(sound).unwrap_or_default();
        let mut gathered = Gathered::default();
        let found = bytes.get(before.len()).copied().unwrap_or_default();
        let message = format!("the file is not UTF-8 text: byte 0x{found:02X} here");
        let span = Span::from(before.len()..before.len() + 1);
        gathered.mistake(Fault::with(
            span,
            MistakeCode::NotText,
            message,
            "save it as UTF-8",
        ));
        gathered.into_mistakes(source_name, before)
    })
}

fn byte_of_column(line: &str, column: usize) -> usize {
    line.char_indices()
        .nth(column.saturating_sub(1))
        .map_or(line.len(), |(byte, _)| byte)
}

/// A mistake or a warning before its line and column are known.
#[derive(Clone, Debug)]
pub struct Fault {
    /// Where.
    pub span: Span,
    /// What kind.
    pub code: MistakeCode,
    /// What is wrong: found and expected.
    pub message: String,
    /// What to write instead; empty where there is no one answer.
    pub suggestion: String,
}

impl Fault {
    /// A fault without a suggestion.
    pub fn new(span: Span, code: MistakeCode, message: impl Into<String>) -> Fault {
        Fault::with(span, code, message, "")
    }

    /// A fault with what to write instead.
    pub fn with(
        span: Span,
        code: MistakeCode,
        message: impl Into<String>,
        suggestion: impl Into<String>,
    ) -> Fault {
        let (message, suggestion) = (message.into(), suggestion.into());
        Fault {
            span,
            code,
            message,
            suggestion,
        }
    }
}

/// Gathers mistakes and warnings while a map is read.
#[derive(Clone, Debug, Default)]
pub struct Gathered {
    mistakes: Vec<Fault>,
    warnings: Vec<Fault>,
    n_hidden: usize,
}

impl Gathered {
    /// Adds a mistake.
    pub fn mistake(&mut self, fault: Fault) {
        // More than ten times what is printed is only counted: the text may be noise.
        if self.is_swamped() {
            self.n_hidden += 1;
            return;
        }
        self.mistakes.push(fault);
    }

    /// Adds mistakes, or one where there is one.
    pub fn mistakes(&mut self, faults: impl IntoIterator<Item = Fault>) {
        faults.into_iter().for_each(|fault| self.mistake(fault));
    }

    /// Adds a warning.
    pub fn warning(&mut self, fault: Fault) {
        if self.warnings.len() < MOST_PRINTED {
            self.warnings.push(fault);
        }
    }

    /// Whether a warning of that kind was given.
    pub fn has_warning(&self, code: MistakeCode) -> bool {
        self.warnings.iter().any(|warning| warning.code == code)
    }

    /// Whether no mistake was found.
    pub fn is_clean(&self) -> bool {
        self.mistakes.is_empty()
    }

    /// Whether so many were found that looking for suggestions is a waste.
    pub fn is_swamped(&self) -> bool {
        self.mistakes.len() >= MOST_PRINTED * 10
    }

    /// The mistakes, placed in the text.
    pub fn into_mistakes(self, source_name: &str, text: &str) -> Mistakes {
        in_text(source_name, text, self.mistakes, self.n_hidden, false)
    }

    /// The warnings, placed in the text.
    pub fn into_warnings(self, source_name: &str, text: &str) -> Mistakes {
        in_text(source_name, text, self.warnings, 0, true)
    }
}

/// The faults in the order of the text, each with its line and column.
fn in_text(
    source_name: &str,
    text: &str,
    mut faults: Vec<Fault>,
    n_hidden: usize,
    is_warnings: bool,
) -> Mistakes {
    faults.sort_by_key(|item| (item.span.start, item.span.end));
    // A line that several others are the same as is wrong once.
    faults.dedup_by(|a, b| a.span == b.span && a.code == b.code && a.message == b.message);
    let n_hidden = n_hidden + faults.len().saturating_sub(MOST_PRINTED);
    faults.truncate(MOST_PRINTED);
    let mut mistakes = Mistakes {
        source_name: source_name.to_owned(),
        is_warnings,
        items: Vec::new(),
        n_hidden,
    };
    let (mut line_number, mut counted_to) = (1, 0);
    for item in faults {
        let start = text.floor_char_boundary(item.span.start);
        line_number += text[counted_to..start].matches('\n').count();
        counted_to = start;
        let line_start = text[..start].rfind('\n').map_or(0, |at| at + 1);
        let line_end = text[start..].find('\n').map_or(text.len(), |at| start + at);
        let line = text[line_start..line_end].trim_end_matches('\r');
        let end = text.floor_char_boundary(item.span.end.min(line_start + line.len()));
        let (start, end) = (start.min(line_start + line.len()), end.max(start));
        let column = text[line_start..start].chars().count() + 1;
        let length = text[start..end].chars().count().max(1);
        mistakes.items.push(Mistake {
            span: item.span,
            line: line_number,
            column,
            length,
            code: item.code,
            message: item.message,
            suggestion: Some(item.suggestion).filter(|text| !text.is_empty()),
            drawn: line_as_drawn(line, column + length),
        });
    }
    mistakes
}

/// The line as it is drawn: tabs and other invisible characters as blanks, so that the
/// underline stands where it should, and no longer than it need be.
fn line_as_drawn(line: &str, at_least: usize) -> String {
    let most = at_least.clamp(200, 4000);
    line.chars()
        .take(most)
        .map(|c| if is_invisible(c) { ' ' } else { c })
        .collect()
}

/// Characters that show nothing, or turn the text around them about.
pub fn is_invisible(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2060}'..='\u{206f}' | '\u{feff}')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_count_lines_and_characters_from_one() {
        let text = "mäp \"x\"\r\n  fäces 12\n";
        let at = text.find("12").unwrap();
        let mut gathered = Gathered::default();
        let span = Span::from(at..at + 2);
        gathered.mistake(Fault::with(
            span,
            MistakeCode::WrongForm,
            "twelve",
            "write 13",
        ));
        let mistakes = gathered.into_mistakes("a.map", text);
        let first = mistakes.iter().next().unwrap();
        assert_eq!((first.line, first.column, first.length), (2, 9, 2));
        assert_eq!(mistakes.to_string(), "a.map:2:9: twelve (write 13)\n");
        let drawn = mistakes.render(false);
        assert!(drawn.contains("--> a.map:2:9"), "{drawn}");
        assert!(drawn.contains("^^ write 13"), "{drawn}");
    }

    #[test]
    fn more_than_a_hundred_are_counted() {
        let mut gathered = Gathered::default();
        for n in 0..2500 {
            let message = format!("x{n}");
            gathered.mistake(Fault::new(Span::default(), MistakeCode::WrongForm, message));
        }
        let mistakes = gathered.into_mistakes("a.map", "");
        assert_eq!(
            (mistakes.len(), mistakes.iter().count()),
            (2500, MOST_PRINTED)
        );
        assert!(
            mistakes
                .render(false)
                .ends_with("2500 mistakes in a.map, the first 100 shown, 2400 more not\n")
        );
    }

    #[test]
    fn code_words_are_unique_and_kebab_case() {
        let mut words: Vec<_> = MistakeCode::ALL.iter().map(|code| code.word()).collect();
        assert!(
            words
                .iter()
                .all(|word| word.chars().all(|c| c.is_ascii_lowercase() || c == '-'))
        );
        words.sort_unstable();
        words.dedup();
        assert_eq!(words.len(), MistakeCode::ALL.len());
    }
}
