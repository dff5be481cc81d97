//! The tree of facts.
//!
//! In: text. Out: a [`Tree`]; a line that is no sentence is a mistake and is left out,
//! and its parent is marked damaged, so that what is then missing is no second mistake.

use super::forms::{FormName, Section};
use super::lines::{self, Line};
use super::sentence::{self, Reading};
use super::slots::{Quantity, Slot, did_you_mean, visible};
use crate::mistakes::{Fault, Gathered, MistakeCode, Span};
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
    /// The fact of that form under this one: the first, as `check` refuses a second one.
    pub fn find(&self, form: FormName) -> Option<&Fact> {
        self.facts.iter().find(|fact| fact.form == form)
    }

    /// The slots of that fact.
    pub fn slots_of(&self, form: FormName) -> Option<&[Slot]> {
        self.find(form).map(|fact| fact.slots.as_slice())
    }

    /// Whether a fact of that form stands under this one.
    pub fn states(&self, form: FormName) -> bool {
        self.find(form).is_some()
    }

    /// The facts of that form under this one.
    pub fn all(&self, form: FormName) -> impl Iterator<Item = &Fact> {
        self.facts.iter().filter(move |fact| fact.form == form)
    }

    /// The quantity in the fact of that form.
    pub fn quantity(&self, form: FormName) -> Option<Quantity> {
        match self.slots_of(form)? {
            [Slot::Quantity(quantity), ..] => Some(*quantity),
            _ => None,
        }
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

impl Tree {
    /// The mistake that a name is nowhere in the map; none where a line that may have
    /// given it was not understood.
    pub fn unknown_name<'c>(
        &self,
        name: &str,
        span: Span,
        message: String,
        known: impl IntoIterator<Item = &'c str>,
        else_suggest: &str,
    ) -> Option<Fault> {
        if self.lost.contains(name) {
            return None;
        }
        let near = did_you_mean(name, known);
        let suggestion = if near.is_empty() { else_suggest } else { &near };
        Some(Fault::with(
            span,
            MistakeCode::UnknownName,
            message,
            suggestion,
        ))
    }
}

/// Reads a map.
pub fn read(text: &str, gathered: &mut Gathered) -> Tree {
    let mut tree = Tree::default();
    if text.len() > lines::LONGEST_TEXT {
        let (n, most) = (text.len(), lines::LONGEST_TEXT);
        let message = format!("the text has {n} bytes, and a map has at most {most}");
        gathered.mistake(Fault::new(Span::default(), MistakeCode::TooLarge, message));
        return tree;
    }
    let all = lines::read(text, gathered);
    let mut builder = Builder {
        lines: &all,
        at: 0,
        gathered,
        tree: &mut tree,
    };
    let (facts, _) = builder.block(0, Some(Section::Top));
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
    /// The lines of `level` up to the next line further left. `section` is `None` under a
    /// line that was not understood: those lines are passed over in silence.
    fn block(&mut self, level: usize, section: Option<Section>) -> (Vec<Fact>, bool) {
        let mut facts: Vec<Fact> = Vec::new();
        let mut is_damaged = false;
        // Set by the line above for the lines under it.
        let mut inner: Option<Section> = None;
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
                if inner == Some(Section::Nothing) {
                    let here = section.unwrap_or(Section::Top).meaning();
                    self.gathered.mistake(Fault::with(
                        line.head(),
                        MistakeCode::Indent,
                        "the line is indented under one that takes no facts",
                        format!("move it left, to stand {here}"),
                    ));
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
            let Some(section) = section else {
                self.lose(line);
                continue;
            };
            match sentence::read(line, section) {
                Ok(Reading {
                    form,
                    slots,
                    standard,
                }) => {
                    self.print(line, standard);
                    facts.push(Fact {
                        form: form.name,
                        slots,
                        span: line.span(),
                        head: line.head(),
                        line: line.number,
                        facts: Vec::new(),
                        is_damaged: false,
                    });
                    inner = Some(form.opens);
                }
                Err(failure) => {
                    self.gathered.mistake(failure.fault);
                    self.lose(line);
                    is_damaged = true;
                    // Lines under a half-understood one are still looked at for mistakes, and
                    // then dropped: the fact they belong to is not there.
                    inner = None;
                    if let Some(opens) = failure.opens.filter(|opens| *opens != Section::Nothing) {
                        self.block(level + 1, Some(opens));
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
