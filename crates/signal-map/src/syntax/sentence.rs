//! A line to the sentence it is.
//!
//! In: the tokens of a line and what it stands under. Out: the form, its slots and its
//! standard spelling; else the one mistake that stands furthest to the right, because
//! the form that fits longest is the one that was meant.

use super::forms::{FORMS, Form, Piece, Place};
use super::lexer::Kind;
use super::lines::Line;
use super::slots::{self, Cursor, Fault, Slot, did_you_mean, visible};
use crate::mistakes::{MistakeCode, Span};
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
    pub opens: Option<Place>,
}

/// Finds the sentence a line is.
pub fn read(line: &Line, place: Place) -> Result<Reading, Box<Failure>> {
    let here = || {
        FORMS
            .iter()
            .filter(move |form| form.places.contains(&place))
    };
    let first = line.tokens.first().map_or("", |token| token.text);
    let by_word = here().any(|form| form.first_word() == Some(first));
    let candidates: Vec<&'static Form> = here()
        .filter(|form| {
            if by_word {
                form.first_word() == Some(first)
            } else {
                form.first_word().is_none()
            }
        })
        .collect();
    let mut furthest: Vec<(usize, Stop, &'static Form)> = Vec::new();
    for form in candidates {
        let mut cursor = Cursor::new(&line.tokens);
        let mut slots = Vec::new();
        let stopped =
            follow(&form.pieces, &mut cursor, &mut slots).and_then(|()| nothing_more(&cursor));
        let Err(stop) = stopped else {
            return Ok(Reading {
                form,
                slots,
                standard: cursor.standard,
            });
        };
        let reached = cursor.position();
        if furthest.first().is_none_or(|(best, _, _)| reached > *best) {
            furthest.clear();
        }
        if furthest.first().is_none_or(|(best, _, _)| reached == *best) {
            furthest.push((reached, stop, form));
        }
    }
    let reached = furthest.first().map_or(0, |(reached, _, _)| *reached);
    // A line led by a name has said nothing of itself until its second word fits.
    if !by_word && reached < 2 && !looks_like_a_channel(first) {
        return Err(Box::new(unknown_first_word(line, place)));
    }
    if furthest.is_empty() {
        return Err(Box::new(unknown_first_word(line, place)));
    }
    Err(Box::new(best_failure(line, furthest)))
}

/// Why a form could not be followed to its end.
enum Stop {
    /// This word was wanted.
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
                if !cursor.take(word) {
                    return Err(Stop::Word(word, cursor.wanted(&format!("`{word}`"))));
                }
                cursor.say(word);
            }
            Piece::Slot(kind) => slots.push(slots::fill(*kind, cursor).map_err(Stop::Slot)?),
            Piece::Optional(group) => {
                let begins = matches!(group.first(), Some(Piece::Literal(word)) if cursor.peek().is_some_and(|token| token.text == *word));
                if begins {
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
    if token.kind == Kind::OpenText {
        return Err(Stop::More(cursor.wanted("the end of the line")));
    }
    let is_decimal_comma = token.text == ","
        && cursor
            .peek_at(1)
            .is_some_and(|next| next.kind == Kind::Number && token.touches(&next))
        && cursor.behind().end == token.span.start;
    let fault = if token.kind == Kind::Stray {
        Fault {
            suggestion: ONE_FACT.to_owned(),
            ..cursor.wanted("the end of the line")
        }
    } else {
        let suggestion = match token.text {
            "," if is_decimal_comma => "a number has a decimal point, and blanks part numbers",
            "," => "blanks part what belongs together, and one fact stands on a line",
            _ => ONE_FACT,
        };
        Fault {
            span: token.span,
            code: MistakeCode::TooMuch,
            message: format!("the fact is complete before `{}`", visible(token.text)),
            suggestion: suggestion.to_owned(),
        }
    };
    Err(Stop::More(fault))
}

const ONE_FACT: &str = "one fact a line; a note begins with `#`";

fn best_failure(line: &Line, furthest: Vec<(usize, Stop, &'static Form)>) -> Failure {
    let opens = match furthest.as_slice() {
        [(_, _, form)] => Some(form.opens),
        several => {
            let first = several[0].2.opens;
            several
                .iter()
                .all(|(_, _, form)| form.opens == first)
                .then_some(first)
        }
    };
    let words: Vec<&'static str> = furthest
        .iter()
        .filter_map(|(_, stop, _)| {
            if let Stop::Word(word, _) = stop {
                Some(*word)
            } else {
                None
            }
        })
        .collect();
    let n = furthest.len();
    let mut slot_fault = None;
    let mut more_fault = None;
    let mut word_fault = None;
    for (_, stop, _) in furthest {
        match stop {
            Stop::Slot(fault) => slot_fault = Some(fault),
            Stop::More(fault) => more_fault = Some(fault),
            Stop::Word(_, fault) => word_fault = Some(fault),
        }
    }
    if words.len() == n
        && let Some(mut fault) = word_fault
    {
        let token = line.tokens.iter().find(|token| token.span == fault.span);
        let wanted = suggest::list(words.iter().copied(), 12);
        match token {
            Some(token) => {
                fault.message = format!("found `{}`, wanted {wanted}", visible(token.text));
                if fault.code == MistakeCode::WrongForm && token.kind == Kind::Word {
                    fault.code = MistakeCode::UnknownWord;
                }
                fault.suggestion = did_you_mean(token.text, words.iter().copied());
                if let ([word], true) = (words.as_slice(), fault.suggestion.is_empty()) {
                    fault.suggestion = format!("write `{word}` here");
                }
            }
            None => fault.message = format!("the line ends here, wanted {wanted}"),
        }
        return Failure { fault, opens };
    }
    // Some forms wanted words here and others a slot: name both.
    if let (Some(fault), false) = (&mut slot_fault, words.is_empty())
        && let Some(token) = line
            .tokens
            .iter()
            .find(|token| token.span == fault.span && token.kind == Kind::Word)
        && fault.code == MistakeCode::WrongForm
    {
        fault.message = format!(
            "{}, or {}",
            fault.message,
            suggest::list(words.iter().copied(), 12)
        );
        fault.suggestion = did_you_mean(token.text, words.iter().copied());
        if !fault.suggestion.is_empty() {
            fault.code = MistakeCode::UnknownWord;
        }
    }
    let fault = slot_fault.or(more_fault).unwrap_or(Fault {
        span: line.span(),
        code: MistakeCode::WrongForm,
        message: "the line is not understood".to_owned(),
        suggestion: String::new(),
    });
    Failure { fault, opens }
}

fn looks_like_a_channel(word: &str) -> bool {
    word.contains('.') || ROLES.iter().any(|role| role.name == word)
}

fn unknown_first_word(line: &Line, place: Place) -> Failure {
    let first = line.tokens.first().copied();
    let word = first.map_or("", |token| token.text);
    let span = first.map_or(Span::default(), |token| token.span);
    let elsewhere = FORMS.iter().find(|form| form.first_word() == Some(word));
    if let Some(form) = elsewhere {
        let places: Vec<&str> = form.places.iter().map(|place| place.describe()).collect();
        let fault = Fault {
            span,
            code: MistakeCode::WrongPlace,
            message: format!("`{word}` does not stand {}", place.describe()),
            suggestion: format!("it stands {}", places.join(" or ")),
        };
        return Failure {
            fault,
            opens: Some(form.opens),
        };
    }
    if !matches!(first.map(|token| token.kind), Some(Kind::Word)) {
        let cursor = Cursor::new(&line.tokens);
        return Failure {
            fault: cursor.wanted("a word that begins a fact"),
            opens: None,
        };
    }
    let mut words: Vec<&'static str> = FORMS
        .iter()
        .filter(|form| form.places.contains(&place))
        .filter_map(Form::first_word)
        .collect();
    words.sort_unstable();
    words.dedup();
    let takes_channels = matches!(
        place,
        Place::Frame | Place::Page | Place::Sheet | Place::Proof
    );
    let channels = ROLES
        .iter()
        .map(|role| role.name)
        .filter(|_| takes_channels);
    // Another trade's word for a fact that stands here.
    let ours = suggest::our_word(word).filter(|ours| {
        let stands_here =
            |form: &&Form| form.places.contains(&place) && form.pattern.starts_with(ours);
        FORMS.iter().any(|form| stands_here(&form))
    });
    let mut suggestion = match ours {
        Some(ours) => format!("here this is written `{ours} …`"),
        None => did_you_mean(word, words.iter().copied().chain(channels)),
    };
    if suggestion.is_empty() {
        suggestion = format!("here stand {}", suggest::list(words, 30));
    }
    let fault = Fault {
        span,
        code: MistakeCode::UnknownWord,
        message: format!(
            "`{}` does not begin a fact {}",
            visible(word),
            place.describe()
        ),
        suggestion,
    };
    let opens = FORMS
        .iter()
        .filter(|form| form.places.contains(&place))
        .find(|form| suggest::nearest(word, form.first_word()).is_some())
        .map(|form| form.opens);
    Failure { fault, opens }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mistakes::Gathered;
    use crate::syntax::lines;

    #[track_caller]
    fn check(place: Place, text: &str, wanted: Result<&str, &str>) {
        let all = lines::read(text, &mut Gathered::default());
        let got = read(&all[0], place)
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
        check(Place::Frame, "every  10 milliseconds", Ok("every 10 ms"));
        check(Place::Frame, "own.x in 3.2", Ok("own.x in 3.2"));
        check(
            Place::Vehicle,
            "torque from table t of clutch.position and oil.temperature",
            Ok("torque from table t of clutch.position and oil.temperature"),
        );
        check(
            Place::Vehicle,
            "torque from clutch.torque",
            Ok("torque from clutch.torque"),
        );
        check(
            Place::Proof,
            "oil.temperature is missing",
            Ok("oil.temperature is missing"),
        );
        check(Place::Sheet, "bus in \"b\"", Ok("bus in \"b\""));
    }

    #[test]
    fn the_form_that_fits_longest_was_meant() {
        check(
            Place::Vehicle,
            "fricton 0.1",
            Err(
                "unknown-word: `fricton` does not begin a fact under `vehicle` did you mean `friction`?",
            ),
        );
        check(
            Place::Vehicle,
            "rear trak 1.5 m",
            Err("unknown-word: found `trak`, wanted `track` did you mean `track`?"),
        );
        check(
            Place::Frame,
            "faces 12",
            Err("wrong-place: `faces` does not stand under `frame` it stands under `vehicle`"),
        );
        check(
            Place::Frame,
            "every 10",
            Err(
                "missing-unit: the number has no unit write its unit after it; `none` for a pure number",
            ),
        );
        check(
            Place::Frame,
            "every 10 ms on can",
            Err(
                "too-much: the fact is complete before `on` one fact a line; a note begins with `#`",
            ),
        );
        check(
            Place::Frame,
            "wheel.rear.left takes 0.7..0.0",
            Err("unknown-word: found `takes`, wanted `in` write `in` here"),
        );
        check(
            Place::Vehicle,
            "oil wrn at 5 degC",
            Err(
                "unknown-word: found `wrn`, wanted a number, or `named`, `warn` or `limit` did you mean `warn`?",
            ),
        );
    }
}
