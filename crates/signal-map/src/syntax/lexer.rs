//! One line of a map to tokens.
//!
//! In: a line without its indentation. Out: tokens with their places, and the note at
//! the end of the line. Whether the tokens make a sentence is decided in `sentence`.

use crate::mistakes::Span;
use nom::branch::alt;
use nom::bytes::complete::{tag, take_while, take_while1};
use nom::character::complete::{anychar, digit1, hex_digit1, one_of};
use nom::combinator::{opt, recognize, value};
use nom::multi::many0_count;
use nom::sequence::{delimited, pair, preceded};
use nom::{IResult, Parser};

/// What a token is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Letters, digits, `.`, `-`, `_` beginning with a letter; also `%` and the like.
    Word,
    /// A decimal number without sign.
    Number,
    /// `0x…`.
    Hex,
    /// Something with `..` in it: `7.3..7.0` or `7..0`.
    Run,
    /// A text in quotation marks.
    Text,
    /// A mark: `+/-`, a bracket, an operator.
    Mark,
    /// A text that does not end on its line.
    OpenText,
    /// A character without meaning.
    Stray,
}

/// A token.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Token<'a> {
    /// What it is.
    pub kind: Kind,
    /// As it is written.
    pub text: &'a str,
    /// Where.
    pub span: Span,
}

impl Token<'_> {
    /// Whether `next` follows without a blank.
    pub fn touches(&self, next: &Token) -> bool {
        self.span.end == next.span.start
    }
}

/// The tokens of a line that begins at byte `offset` of the text, and its note.
pub fn tokens(line: &str, offset: usize) -> (Vec<Token<'_>>, Option<&str>) {
    let mut found = Vec::new();
    let mut rest = line;
    loop {
        rest = rest.trim_start();
        if rest.is_empty() {
            return (found, None);
        }
        if let Some(note) = rest.strip_prefix('#') {
            return (found, Some(note));
        }
        let (after, kind) = token(rest).unwrap_or(("", Kind::Stray));
        let length = rest.len() - after.len();
        let start = offset + (line.len() - rest.len());
        found.push(Token {
            kind,
            text: &rest[..length],
            span: Span::from(start..start + length),
        });
        rest = after;
    }
}

fn token(input: &str) -> IResult<&str, Kind> {
    alt((
        value(Kind::Run, run),
        value(Kind::Hex, (tag("0x"), hex_digit1)),
        value(Kind::Number, number),
        value(Kind::Text, text),
        value(Kind::OpenText, (tag("\""), take_while(|_| true))),
        value(Kind::Word, word),
        value(Kind::Mark, mark),
        value(Kind::Stray, anychar),
    ))
    .parse(input)
}

fn run(input: &str) -> IResult<&str, &str> {
    let end = |input| recognize(pair(digit1, opt(pair(tag("."), digit1)))).parse(input);
    recognize((end, tag(".."), end)).parse(input)
}

/// A number; the `.` belongs to it only when digits follow.
pub fn number(input: &str) -> IResult<&str, &str> {
    let exponent = (one_of("eE"), opt(one_of("+-")), digit1);
    recognize((digit1, opt(preceded(tag("."), digit1)), opt(exponent))).parse(input)
}

fn text(input: &str) -> IResult<&str, &str> {
    let plain = value((), take_while1(|c| c != '"' && c != '\\'));
    let escaped = value((), preceded(tag("\\"), anychar));
    recognize(delimited(
        tag("\""),
        many0_count(alt((plain, escaped))),
        tag("\""),
    ))
    .parse(input)
}

fn word(input: &str) -> IResult<&str, &str> {
    let first = |c: char| c.is_alphabetic() || matches!(c, '_' | '°' | '%');
    let more = |c: char| c.is_alphanumeric() || matches!(c, '_' | '.' | '-' | '·' | '…');
    recognize(pair(take_while1(first), take_while(more))).parse(input)
}

fn mark(input: &str) -> IResult<&str, &str> {
    alt((
        tag("+/-"),
        tag("±"),
        tag("<="),
        tag(">="),
        recognize(one_of("()+-*/=<>,")),
    ))
    .parse(input)
}

/// A quoted text without its quotation marks and escapes.
pub fn unquote(quoted: &str) -> String {
    let inner = quoted
        .strip_prefix('"')
        .and_then(|rest| rest.strip_suffix('"'))
        .unwrap_or(quoted);
    let mut plain = String::with_capacity(inner.len());
    let mut chars = inner.chars();
    while let Some(c) = chars.next() {
        let next = if c == '\\' { chars.next() } else { Some(c) };
        match (c, next) {
            ('\\', Some('t')) => plain.push('\t'),
            (_, Some(next)) => plain.push(next),
            (_, None) => {}
        }
    }
    plain
}

/// A text as it is written in a map.
pub fn quote(plain: &str) -> String {
    let escaped = plain.replace('\\', "\\\\").replace('"', "\\\"");
    format!("\"{}\"", escaped.replace('\t', "\\t"))
}

/// Splits `7.3` into 7 and 3.
pub fn dotted(text: &str) -> Option<(u32, u32)> {
    let (whole, part) = text.split_once('.')?;
    Some((whole.parse().ok()?, part.parse().ok()?))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(line: &str, wanted: &str) {
        let (found, _) = tokens(line, 0);
        let listed: Vec<String> = found
            .iter()
            .map(|token| format!("{:?}:{}", token.kind, token.text))
            .collect();
        assert_eq!(listed.join(" "), wanted);
        for token in found {
            assert_eq!(&line[token.span.start..token.span.end], token.text);
        }
    }

    #[test]
    fn lines_fall_into_tokens() {
        check(
            "wheel.rear.left in 0.7..0.0",
            "Word:wheel.rear.left Word:in Run:0.7..0.0",
        );
        check(
            "step -0.01 km/h # note",
            "Word:step Mark:- Number:0.01 Word:km Mark:/ Word:h",
        );
        check(
            "prove 3E 0E FF",
            "Word:prove Number:3 Word:E Number:0 Word:E Word:FF",
        );
        check(
            "tyre 225/45 R17",
            "Word:tyre Number:225 Mark:/ Number:45 Word:R17",
        );
        check("a <= 5 %", "Word:a Mark:<= Number:5 Word:%");
        check("\"a \\\" b\" \"c", "Text:\"a \\\" b\" OpenText:\"c");
        check(
            "7..0 0x1F 1e3 5.",
            "Run:7..0 Hex:0x1F Number:1e3 Number:5 Stray:.",
        );
        check(
            "friction 0.1 +/- 0.02",
            "Word:friction Number:0.1 Mark:+/- Number:0.02",
        );
    }

    #[test]
    fn notes_are_kept_apart() {
        assert_eq!(tokens("faces 12 # count them", 0).1, Some(" count them"));
        assert_eq!(tokens("\"a # b\"", 0).1, None);
    }

    #[test]
    fn quoting_comes_back() {
        for plain in ["", "a", "a\"b", "\\", "\t;", "=HYPERLINK(1)"] {
            assert_eq!(unquote(&quote(plain)), plain);
        }
    }
}
