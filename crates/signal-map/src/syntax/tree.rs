//! The tree of facts.
//!
//! In: text. Out: a [`Tree`]; a line that is no sentence is a mistake and is left out,
//! and its parent is marked damaged so that nobody complains about what is then missing.

use super::forms::{FormName, Place};
use super::lines::{self, Line};
use super::sentence::{self, Reading};
use super::slots::{Slot, visible};
use crate::mistakes::{Gathered, MistakeCode, Span};
use std::collections::HashSet;

/// A line of the map, understood.
#[derive(Clone, Debug)]
pub struct Fact {
    /// Which sentence.
    pub form: FormName,
    /// Its slots, in the order of the pattern; of an option left out there are none.
    pub slots: Vec<Slot>,
    /// From its first to its last token.
    pub span: Span,
    /// Its first word.
    pub head: Span,
    /// Line, from 1.
    pub line: usize,
    /// The facts under it.
    pub facts: Vec<Fact>,
    /// Whether a line under it was not understood.
    pub is_damaged: bool,
}

impl Fact {
    /// The fact of that form under this one (the first; `tree` has complained about more).
    pub fn find(&self, form: FormName) -> Option<&Fact> {
        self.facts.iter().find(|fact| fact.form == form)
    }

    /// The slots of that fact.
    pub fn slots_of(&self, form: FormName) -> Option<&[Slot]> {
        self.find(form).map(|fact| fact.slots.as_slice())
    }
}

/// A line in standard form.
#[derive(Clone, Debug)]
pub struct Printed {
    /// Level.
    pub level: usize,
    /// The sentence; empty when the line is a note alone.
    pub sentence: String,
    /// The note.
    pub note: Option<String>,
    /// Whether an empty line stood above.
    pub after_blank: bool,
    /// Where it stands.
    pub span: Span,
}

/// A whole map, understood as far as it goes.
#[derive(Clone, Debug, Default)]
pub struct Tree {
    /// The facts at the left margin.
    pub facts: Vec<Fact>,
    /// Every line in standard form.
    pub printed: Vec<Printed>,
    /// First words of lines that were not understood: names that may be missed elsewhere.
    pub lost: HashSet<String>,
}

/// Reads a map.
pub fn read(text: &str, gathered: &mut Gathered) -> Tree {
    let mut tree = Tree::default();
    if text.len() > lines::LONGEST_TEXT {
        let message = format!(
            "the text has {} bytes, and a map has at most {}",
            text.len(),
            lines::LONGEST_TEXT
        );
        gathered.mistake(Span::default(), MistakeCode::TooLarge, message);
        return tree;
    }
    let all = lines::read(text, gathered);
    let mut builder = Builder {
        lines: &all,
        at: 0,
        gathered,
        tree: &mut tree,
    };
    let (facts, _) = builder.block(0, Some(Place::Top));
    tree.facts = facts;
    tree
}

struct Builder<'l, 'a, 'g> {
    lines: &'l [Line<'a>],
    at: usize,
    gathered: &'g mut Gathered,
    tree: &'g mut Tree,
}

impl Builder<'_, '_, '_> {
    /// The lines of `level` up to the next line further left. `place` is `None` under a
    /// line nobody understood: those lines are passed over in silence.
    fn block(&mut self, level: usize, place: Option<Place>) -> (Vec<Fact>, bool) {
        let mut facts: Vec<Fact> = Vec::new();
        let mut is_damaged = false;
        // Set by the line above for the lines under it.
        let mut inner: Option<Place> = None;
        while let Some(line) = self.lines.get(self.at) {
            if line.tokens.is_empty() {
                self.print(line, String::new());
                self.at += 1;
                continue;
            }
            if line.level < level {
                break;
            }
            if line.level > level {
                if inner == Some(Place::Nothing) {
                    let head = line
                        .tokens
                        .first()
                        .map_or(Span::default(), |token| token.span);
                    self.gathered.mistake_with(
                        head,
                        MistakeCode::Indent,
                        "the line is indented under one that takes no facts",
                        format!(
                            "move it left, to stand {}",
                            place.unwrap_or(Place::Top).describe()
                        ),
                    );
                    inner = None;
                    is_damaged = true;
                }
                let (under, damaged) = self.block(level + 1, inner);
                if let Some(above) = facts.last_mut().filter(|_| inner.is_some()) {
                    above.facts.extend(under);
                    above.is_damaged |= damaged;
                }
                continue;
            }
            self.at += 1;
            let Some(place) = place else {
                self.lose(line);
                continue;
            };
            match sentence::read(line, place) {
                Ok(Reading {
                    form,
                    slots,
                    standard,
                }) => {
                    self.print(line, standard);
                    let head = line
                        .tokens
                        .first()
                        .map_or(Span::default(), |token| token.span);
                    facts.push(Fact {
                        form: form.name,
                        slots,
                        span: line.span(),
                        head,
                        line: line.number,
                        facts: Vec::new(),
                        is_damaged: false,
                    });
                    inner = Some(form.opens);
                }
                Err(failure) => {
                    let failure = *failure;
                    self.gathered.mistake_with(
                        failure.fault.span,
                        failure.fault.code,
                        failure.fault.message,
                        failure.fault.suggestion,
                    );
                    self.lose(line);
                    is_damaged = true;
                    // Lines under a half-understood one are still looked at for mistakes,
                    // and hung to the fact above nobody asks for.
                    inner = None;
                    if let Some(opens) = failure.opens.filter(|opens| *opens != Place::Nothing) {
                        let (_, _) = self.block(level + 1, Some(opens));
                    }
                }
            }
        }
        (facts, is_damaged)
    }

    fn lose(&mut self, line: &Line) {
        self.print(line, String::new());
        // The word that names something: the first, or the one after `table`, `bus`.
        for token in line.tokens.iter().take(3) {
            self.tree.lost.insert(visible(token.text));
        }
    }

    fn print(&mut self, line: &Line, sentence: String) {
        let note = line.note.map(str::to_owned);
        self.tree.printed.push(Printed {
            level: line.level,
            sentence,
            note,
            after_blank: line.after_blank,
            span: line.span(),
        });
    }
}
