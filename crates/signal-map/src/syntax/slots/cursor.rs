//! A place in a line of tokens, and faults found there.

use crate::mistakes::{Fault, MistakeCode, Span, is_invisible};
use crate::suggest;
use crate::syntax::lexer::{Kind, Token};

/// A place in a line of tokens, and the standard form of what is behind it.
pub struct Cursor<'t, 'a> {
    tokens: &'t [Token<'a>],
    at: usize,
    /// Just after the last token.
    pub(super) end: Span,
    /// The standard form so far.
    pub standard: String,
}

impl<'t, 'a> Cursor<'t, 'a> {
    /// At the start of a line.
    pub fn new(tokens: &'t [Token<'a>]) -> Cursor<'t, 'a> {
        let end = tokens.last().map_or(0, |token| token.span.end);
        Cursor {
            tokens,
            at: 0,
            end: Span::from(end..end),
            standard: String::new(),
        }
    }

    /// How many tokens are behind it.
    pub fn position(&self) -> usize {
        self.at
    }

    /// The token ahead.
    pub fn peek(&self) -> Option<Token<'a>> {
        self.tokens.get(self.at).copied()
    }

    /// The token `n` further ahead.
    pub fn peek_at(&self, n: usize) -> Option<Token<'a>> {
        self.tokens.get(self.at + n).copied()
    }

    /// Steps over `n` tokens.
    pub fn skip(&mut self, n: usize) {
        self.at += n;
    }

    /// The place of the token ahead, or the end of the line.
    pub fn here(&self) -> Span {
        self.peek().map_or(self.end, |token| token.span)
    }

    /// The place of the token behind.
    pub fn behind(&self) -> Span {
        self.at
            .checked_sub(1)
            .and_then(|at| self.tokens.get(at))
            .map_or(self.here(), |token| token.span)
    }

    /// Whether the token ahead is this word or mark; if so, steps over it.
    pub fn take(&mut self, literal: &str) -> bool {
        let is_it = self
            .peek()
            .is_some_and(|token| token.text == literal && token.kind != Kind::Text);
        self.at += usize::from(is_it);
        is_it
    }

    /// Like [`Cursor::take`], and adds the word to the standard form.
    pub fn accept(&mut self, literal: &str) -> bool {
        let is_it = self.take(literal);
        if is_it {
            self.spell(literal);
        }
        is_it
    }

    /// Adds a word to the standard form.
    pub fn spell(&mut self, word: &str) {
        if !self.standard.is_empty() {
            self.standard.push(' ');
        }
        self.standard.push_str(word);
    }

    /// The fault that something else was expected here.
    pub fn expected(&self, wanted: &str) -> Fault {
        let Some(token) = self.peek() else {
            let message = format!("the line ends here, expected {wanted}");
            return Fault::new(self.end, MistakeCode::Unfinished, message);
        };
        let text = visible(token.text);
        let begins_number = || {
            self.peek_at(1)
                .is_some_and(|next| next.kind == Kind::Number)
        };
        let (code, message, suggestion) = match token.kind {
            Kind::OpenText => (
                MistakeCode::OpenText,
                "the text does not end on its line".to_owned(),
                "close it with `\"`",
            ),
            Kind::Stray if !(token.text == "." && begins_number()) => (
                MistakeCode::StrayCharacter,
                format!("`{text}` has no meaning here; expected {wanted}"),
                "",
            ),
            kind => (
                MistakeCode::WrongForm,
                format!("found `{text}`, expected {wanted}"),
                if kind == Kind::Stray {
                    "a number begins with a digit: `0.5`"
                } else {
                    ""
                },
            ),
        };
        Fault::with(token.span, code, message, suggestion)
    }

    /// Steps over the token ahead when it is of that kind.
    pub(super) fn take_kind(&mut self, kind: Kind) -> Option<Token<'a>> {
        let token = self.peek().filter(|token| token.kind == kind)?;
        self.at += 1;
        Some(token)
    }

    /// How many tokens ahead touch one another, and their place.
    pub(super) fn touching(&self) -> (usize, Option<Span>) {
        let mut n = 0;
        let mut span: Option<Span> = None;
        while let Some(token) = self.peek_at(n) {
            // Of the marks only the stroke belongs to what it touches: `km/h`.
            let parts = token.kind == Kind::Mark && token.text != "/";
            if span.is_some_and(|span| parts || span.end != token.span.start) {
                break;
            }
            span = Some(span.map_or(token.span, |span| span.to(token.span)));
            n += 1;
        }
        (n, span)
    }

    /// The text of the next `n` tokens.
    pub(super) fn joined(&self, n: usize) -> String {
        (0..n)
            .filter_map(|i| self.peek_at(i))
            .map(|token| token.text)
            .collect()
    }
}

/// A text fit for a message: short, no invisible characters.
pub fn visible(text: &str) -> String {
    let mut short: String = text
        .chars()
        .take(60)
        .map(|c| if is_invisible(c) { '?' } else { c })
        .collect();
    if text.chars().count() > 60 {
        short.push('…');
    }
    short
}

/// "did you mean `…`?", or nothing.
pub fn did_you_mean<'c>(word: &str, choices: impl IntoIterator<Item = &'c str>) -> String {
    suggest::nearest(word, choices).map_or(String::new(), |near| format!("did you mean `{near}`?"))
}
