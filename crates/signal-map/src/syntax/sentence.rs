//! A line to the sentence it is.
//!
//! In: the tokens of a line and what it stands under. Out: the form, its slots and its
//! standard spelling; else the one mistake that stands furthest to the right, because
//! the form that fits longest is the one that was meant.

use super::forms::{FORMS, Form, Piece, Section};
use super::lexer::{Kind, Token};
use super::lines::Line;
use super::slots::{self, Cursor, Slot, did_you_mean, visible};
use crate::mistakes::{Fault, MistakeCode};
use crate::suggest;
use halfshaft_model::channel::ROLES;

/// A line, understood.
pub struct Reading {
    /// Which sentence.
    pub form: &'static Form,
    /// Its slots.
    pub slots: Vec<Slot>,
    /// Its standard spelling.
    pub standard: String,
}

/// A line, not understood.
#[derive(Debug)]
pub struct Failure {
    /// What is wrong.
    pub fault: Fault,
    /// What the lines under it stand under, when that is plain.
    pub opens: Option<Section>,
}

/// Finds the sentence a line is.
pub fn read(line: &Line, section: Section) -> Result<Reading, Box<Failure>> {
    let first = line.tokens.first().map_or("", |token| token.text);
    let by_word = forms_of(section).any(|form| form.first_word() == Some(first));
    let expected = by_word.then_some(first);
    let mut furthest: Vec<(Stop, &'static Form)> = Vec::new();
    let mut reached = 0;
    for form in forms_of(section).filter(|form| form.first_word() == expected) {
        let mut cursor = Cursor::new(&line.tokens);
        let mut slots = Vec::new();
        let followed = follow(&form.pieces, &mut cursor, &mut slots);
        let Err(stop) = followed.and_then(|()| nothing_more(&cursor)) else {
            return Ok(Reading {
                form,
                slots,
                standard: cursor.standard,
            });
        };
        if cursor.position() > reached {
            furthest.clear();
            reached = cursor.position();
        }
        if cursor.position() == reached {
            furthest.push((stop, form));
        }
    }
    // A line led by a name is known for a fact only when its second word fits.
    let is_unknown = !by_word && reached < 2 && !looks_like_a_channel(first);
    Err(Box::new(if is_unknown || furthest.is_empty() {
        unknown_first_word(line, section)
    } else {
        best_failure(line, furthest)
    }))
}

fn forms_of(section: Section) -> impl Iterator<Item = &'static Form> {
    FORMS
        .iter()
        .filter(move |form| form.sections.contains(&section))
}

/// Why a form could not be followed to its end.
enum Stop {
    /// This word was expected.
    Word(&'static str, Fault),
    /// A slot was not filled.
    Slot(Fault),
    /// The line goes on.
    More(Fault),
}

fn follow(pieces: &[Piece], cursor: &mut Cursor, slots: &mut Vec<Slot>) -> Result<(), Stop> {
    for piece in pieces {
        match piece {
            Piece::Literal(word) => {
                if !cursor.accept(word) {
                    return Err(Stop::Word(word, cursor.expected(&format!("`{word}`"))));
                }
            }
            Piece::Slot(kind) => slots.push(slots::fill(*kind, cursor).map_err(Stop::Slot)?),
            Piece::Optional(group) => {
                let next = cursor.peek().map(|token| token.text);
                if matches!(group.first(), Some(Piece::Literal(word)) if next == Some(*word)) {
                    follow(group, cursor, slots)?;
                }
            }
        }
    }
    Ok(())
}

fn nothing_more(cursor: &Cursor) -> Result<(), Stop> {
    let Some(token) = cursor.peek() else {
        return Ok(());
    };
    let is_decimal_comma = || {
        let next = cursor.peek_at(1);
        next.is_some_and(|next| next.kind == Kind::Number && token.touches(&next))
            && cursor.behind().end == token.span.start
    };
    let suggestion = match token.text {
        "," if is_decimal_comma() => "a number has a decimal point, and blanks part numbers",
        "," => "blanks part what belongs together, and one fact stands on a line",
        _ => "one fact a line; a note begins with `#`",
    };
    Err(Stop::More(match token.kind {
        Kind::OpenText => cursor.expected("the end of the line"),
        Kind::Stray => Fault {
            suggestion: suggestion.to_owned(),
            ..cursor.expected("the end of the line")
        },
        _ => {
            let message = format!("the fact is complete before `{}`", visible(token.text));
            Fault::with(token.span, MistakeCode::TooMuch, message, suggestion)
        }
    }))
}

/// The fault of the forms that fit equally far, and what they open where they agree.
fn best_failure(line: &Line, furthest: Vec<(Stop, &'static Form)>) -> Failure {
    let n = furthest.len();
    let first = furthest.first().map(|(_, form)| form.opens);
    let opens = first.filter(|first| furthest.iter().all(|(_, form)| form.opens == *first));
    let mut words: Vec<&'static str> = Vec::new();
    let (mut slot_fault, mut more_fault, mut word_fault) = (None, None, None);
    for (stop, _) in furthest {
        match stop {
            Stop::Slot(fault) => slot_fault = Some(fault),
            Stop::More(fault) => more_fault = Some(fault),
            Stop::Word(word, fault) => {
                words.push(word);
                word_fault = Some(fault);
            }
        }
    }
    let token_at = |fault: &Fault| line.tokens.iter().find(|token| token.span == fault.span);
    let listed = suggest::list(words.iter().copied(), 12);
    let fault = match (slot_fault, word_fault) {
        (_, Some(fault)) if words.len() == n => {
            let token = token_at(&fault);
            wrong_word(fault, token, &words, &listed)
        }
        // Some forms expect words here and others a slot: name both.
        (Some(mut fault), _) if !words.is_empty() && fault.code == MistakeCode::WrongForm => {
            if let Some(token) = token_at(&fault).filter(|token| token.kind == Kind::Word) {
                fault.message = format!("{}, or {listed}", fault.message);
                fault.suggestion = did_you_mean(token.text, words.iter().copied());
                if !fault.suggestion.is_empty() {
                    fault.code = MistakeCode::UnknownWord;
                }
            }
            fault
        }
        (slot_fault, _) => slot_fault.or(more_fault).unwrap_or_else(|| {
            Fault::new(
                line.span(),
                MistakeCode::WrongForm,
                "the line is not understood",
            )
        }),
    };
    Failure { fault, opens }
}

/// The fault where every form expects a word.
fn wrong_word(mut fault: Fault, token: Option<&Token>, words: &[&str], listed: &str) -> Fault {
    let Some(token) = token else {
        fault.message = format!("the line ends here, expected {listed}");
        return fault;
    };
    fault.message = format!("found `{}`, expected {listed}", visible(token.text));
    if fault.code == MistakeCode::WrongForm && token.kind == Kind::Word {
        fault.code = MistakeCode::UnknownWord;
    }
    fault.suggestion = did_you_mean(token.text, words.iter().copied());
    if let ([word], true) = (words, fault.suggestion.is_empty()) {
        fault.suggestion = format!("write `{word}` here");
    }
    fault
}

fn looks_like_a_channel(word: &str) -> bool {
    word.contains('.') || ROLES.iter().any(|role| role.name == word)
}

fn unknown_first_word(line: &Line, section: Section) -> Failure {
    let word = line.tokens.first().map_or("", |token| token.text);
    let span = line.head();
    let here = section.meaning();
    if let Some(form) = FORMS.iter().find(|form| form.first_word() == Some(word)) {
        let sections: Vec<&str> = form
            .sections
            .iter()
            .map(|section| section.meaning())
            .collect();
        let message = format!("`{word}` does not stand {here}");
        let suggestion = format!("it stands {}", sections.join(" or "));
        let fault = Fault::with(span, MistakeCode::WrongPlace, message, suggestion);
        return Failure {
            fault,
            opens: Some(form.opens),
        };
    }
    if line
        .tokens
        .first()
        .is_none_or(|token| token.kind != Kind::Word)
    {
        let fault = Cursor::new(&line.tokens).expected("a word that begins a fact");
        return Failure { fault, opens: None };
    }
    let mut words: Vec<&'static str> = forms_of(section).filter_map(Form::first_word).collect();
    words.sort_unstable();
    words.dedup();
    let takes_channels = matches!(
        section,
        Section::Frame | Section::Page | Section::Sheet | Section::Proof
    );
    let channels = ROLES
        .iter()
        .map(|role| role.name)
        .filter(|_| takes_channels);
    // Another trade's word for a fact that stands here.
    let ours = suggest::our_word(word)
        .filter(|ours| forms_of(section).any(|form| form.pattern.starts_with(ours)));
    let mut suggestion = match ours {
        Some(ours) => format!("here this is written `{ours} …`"),
        None => did_you_mean(word, words.iter().copied().chain(channels)),
    };
    if suggestion.is_empty() {
        suggestion = format!("here stand {}", suggest::list(words, 30));
    }
    let message = format!("`{}` does not begin a fact {here}", visible(word));
    let fault = Fault::with(span, MistakeCode::UnknownWord, message, suggestion);
    let is_near = |form: &&Form| suggest::nearest(word, form.first_word()).is_some();
    Failure {
        fault,
        opens: forms_of(section).find(is_near).map(|form| form.opens),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mistakes::Gathered;
    use crate::syntax::lines;

    #[track_caller]
    fn check(section: Section, text: &str, wanted: Result<&str, &str>) {
        let all = lines::read(text, &mut Gathered::default());
        let got = read(&all[0], section)
            .map(|reading| reading.standard)
            .map_err(|failure| {
                format!(
                    "{}: {} {}",
                    failure.fault.code.word(),
                    failure.fault.message,
                    failure.fault.suggestion
                )
            });
        assert_eq!(got.as_deref().map_err(|e| e.trim_end()), wanted);
    }

    #[test]
    fn lines_become_sentences() {
        check(Section::Frame, "every  10 milliseconds", Ok("every 10 ms"));
        check(Section::Frame, "own.x in 3.2", Ok("own.x in 3.2"));
        check(
            Section::Vehicle,
            "torque from table t of clutch.position and oil.temperature",
            Ok("torque from table t of clutch.position and oil.temperature"),
        );
        check(
            Section::Vehicle,
            "torque from clutch.torque",
            Ok("torque from clutch.torque"),
        );
        check(
            Section::Proof,
            "oil.temperature is missing",
            Ok("oil.temperature is missing"),
        );
        check(Section::Sheet, "bus in \"b\"", Ok("bus in \"b\""));
    }

    #[test]
    fn the_form_that_fits_longest_was_meant() {
        check(
            Section::Vehicle,
            "fricton 0.1",
            Err(
                "unknown-word: `fricton` does not begin a fact under `vehicle` did you mean `friction`?",
            ),
        );
        check(
            Section::Vehicle,
            "rear trak 1.5 m",
            Err("unknown-word: found `trak`, expected `track` did you mean `track`?"),
        );
        check(
            Section::Frame,
            "faces 12",
            Err("wrong-place: `faces` does not stand under `frame` it stands under `vehicle`"),
        );
        check(
            Section::Frame,
            "every 10",
            Err(
                "missing-unit: the number has no unit write its unit after it; `none` for a pure number",
            ),
        );
        check(
            Section::Frame,
            "every 10 ms on can",
            Err(
                "too-much: the fact is complete before `on` one fact a line; a note begins with `#`",
            ),
        );
        check(
            Section::Frame,
            "wheel.rear.left takes 0.7..0.0",
            Err("unknown-word: found `takes`, expected `in` write `in` here"),
        );
        check(
            Section::Vehicle,
            "oil wrn at 5 degC",
            Err(
                "unknown-word: found `wrn`, expected a number, or `named`, `warn` or `limit` did you mean `warn`?",
            ),
        );
    }
}
