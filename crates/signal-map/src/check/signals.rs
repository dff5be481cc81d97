//! Signals: how bits make a number, and what the number is worth.

use super::Check;
use super::channels::As;
use super::frames::{PageState, n_bits};
use super::overlap::exclude;
use super::said_once;
use crate::map::{BitField, Condition, Number, Signal};
use crate::mistakes::{MistakeCode, Span};
use crate::syntax::forms::FormName;
use crate::syntax::slots::{Quantity, Slot, did_you_mean, spelled};
use crate::syntax::tree::Fact;
use halfshaft_model::Dimension;
use std::collections::HashSet;

/// Most codes of one kind of a signal.
const MOST_CODES: usize = 64;
/// Most facts of a signal.
const MOST_FACTS: usize = 100;
/// How many `same as` may follow one another.
const LONGEST_CHAIN: usize = 8;

/// What a number is worth, in the channel's SI unit.
pub(super) struct Scale {
    pub per_step: f64,
    pub at_zero: f64,
    /// Whether the step is one of a whole number and not just a unit.
    pub is_step: bool,
}

impl<'t> Check<'t> {
    /// Finds every signal and column by its channel, for `same as`.
    pub(super) fn index_signals(&mut self) {
        let tree = self.tree;
        let mut open: Vec<&'t Fact> = tree.facts.iter().collect();
        // The first of a name wins; popping from the end, so the list is turned round.
        open.reverse();
        while let Some(fact) = open.pop() {
            if let [Slot::Name(name, _), ..] = fact.slots.as_slice() {
                match fact.form {
                    FormName::Signal => drop(self.signals.entry(name).or_insert(fact)),
                    FormName::Column => drop(self.columns.entry(name).or_insert(fact)),
                    _ => {}
                }
            }
            if matches!(
                fact.form,
                FormName::Frame | FormName::Page | FormName::Sheet
            ) {
                open.extend(fact.facts.iter().rev());
            }
        }
    }

    /// The facts of a signal or column: its own, and those of the one it is the same as.
    pub(super) fn effective(&mut self, fact: &'t Fact) -> (Vec<&'t Fact>, bool) {
        let mut facts: Vec<&'t Fact> = Vec::new();
        let mut said: HashSet<FormName> = HashSet::new();
        let mut is_damaged = false;
        let mut current = fact;
        for _ in 0..LONGEST_CHAIN {
            is_damaged |= current.is_damaged;
            let mut said_here = Vec::new();
            for under in &current.facts {
                if facts.len() == MOST_FACTS {
                    let message = format!("a signal has at most {MOST_FACTS} facts");
                    self.gathered
                        .mistake(under.span, MistakeCode::TooLarge, message);
                    return (facts, true);
                }
                let kind = said_once(under.form).unwrap_or(under.form);
                let is_of_this_one_only = matches!(
                    under.form,
                    FormName::SameAs
                        | FormName::ValidWhen
                        | FormName::SharesBits
                        | FormName::AnotherSource
                );
                if said.contains(&kind) || (is_of_this_one_only && !std::ptr::eq(current, fact)) {
                    continue;
                }
                said_here.push(kind);
                facts.push(under);
            }
            said.extend(said_here);
            let Some([Slot::Name(name, span)]) = current.slots_of(FormName::SameAs) else {
                return (facts, is_damaged);
            };
            let among = if fact.form == FormName::Column {
                &self.columns
            } else {
                &self.signals
            };
            let Some(next) = among
                .get(name.as_str())
                .copied()
                .filter(|next| !std::ptr::eq(*next, current))
            else {
                if !self.tree.lost.contains(name) {
                    let suggestion = did_you_mean(name, among.keys().copied());
                    self.gathered.mistake_with(
                        *span,
                        MistakeCode::UnknownName,
                        format!("`{name}` stands nowhere else to be the same as"),
                        suggestion,
                    );
                }
                return (facts, true);
            };
            current = next;
        }
        if let Some(under) = fact.find(FormName::SameAs) {
            self.gathered.mistake(
                under.span,
                MistakeCode::FormulaLoop,
                "these signals are the same as one another in a circle, or over too many steps",
            );
        }
        (facts, true)
    }

    pub(super) fn signal(
        &mut self,
        fact: &'t Fact,
        name: &str,
        name_span: Span,
        bits: &BitField,
        bits_span: Span,
        state: &PageState,
    ) {
        let Some(channel) = self.channel(name, name_span, fact.line) else {
            return;
        };
        let (facts, is_damaged) = self.effective(fact);
        let number = self.number(&facts, bits, bits_span);
        let Some(scale) = self.scale(channel, fact, &facts, is_damaged) else {
            // Later lines may speak of it all the same.
            self.add_source(channel, fact, name_span, state);
            return;
        };
        let mut signal = Signal {
            channel,
            bits: bits.clone(),
            number,
            si_per_step: scale.per_step,
            si_at_zero: scale.at_zero,
            absent: Vec::new(),
            broken: Vec::new(),
            believe: self.believe(channel, &facts),
            rate_under: self.rate_under(channel, &facts),
            on_pages: state.conditions.clone(),
            valid_when: Vec::new(),
            line: fact.line,
        };
        for under in &facts {
            match (under.form, under.slots.as_slice()) {
                (FormName::Absent | FormName::Broken, [Slot::Codes(codes, span)]) => {
                    self.codes_fit(codes, bits, *span);
                    let list = if under.form == FormName::Absent {
                        &mut signal.absent
                    } else {
                        &mut signal.broken
                    };
                    if list.len() + codes.len() > MOST_CODES {
                        let message = format!(
                            "a signal has at most {MOST_CODES} codes of one kind; write ranges"
                        );
                        self.gathered.mistake(*span, MistakeCode::TooLarge, message);
                        break;
                    }
                    list.extend_from_slice(codes);
                }
                (FormName::ValidWhen, [Slot::Bits(flag, span), Slot::Codes(codes, codes_span)]) => {
                    self.inside(flag, *span, state.frame, "the condition");
                    self.codes_fit(codes, flag, *codes_span);
                    signal.valid_when.push(Condition {
                        bits: flag.clone(),
                        codes: codes.clone(),
                    });
                }
                _ => {}
            }
        }
        self.channel_facts(channel, &facts);
        let is_stepped = number != Number::Float && (scale.is_step || n_bits(bits) < 32);
        self.note_step(channel, is_stepped.then_some(scale.per_step.abs()));
        self.add_source(channel, fact, name_span, state);
        self.map.frames[state.frame].signals.push(signal);
    }

    fn add_source(&mut self, channel: usize, fact: &'t Fact, name_span: Span, state: &PageState) {
        let name = self.map.channels[channel].name.clone();
        let line = self.sources[channel].line;
        let is_meant = fact.find(FormName::AnotherSource).is_some();
        let known = &self.sources[channel].signals;
        let clash = known.iter().any(|(frame, conditions)| {
            *frame != state.frame || !exclude(conditions, &state.conditions)
        });
        if clash && !is_meant {
            self.gathered.mistake_with(
                name_span,
                MistakeCode::DoubleSource,
                format!("`{name}` already comes from line {line}"),
                "if a log has only one of them, write `another source` under this one",
            );
        }
        let is_first = known.is_empty();
        self.sources[channel]
            .signals
            .push((state.frame, state.conditions.clone()));
        let spec = &mut self.map.channels[channel];
        // The slowest source sets how long a silence is ordinary.
        spec.period_s = match (spec.period_s, state.period_s) {
            (Some(known), Some(new)) => Some(known.max(new)),
            (None, new) if is_first => new,
            _ => None,
        };
    }

    /// Remembers the coarsest step a channel comes in.
    pub(super) fn note_step(&mut self, channel: usize, step: Option<f64>) {
        let spec = &mut self.map.channels[channel];
        spec.step = match (spec.step, step) {
            (Some(known), Some(new)) => Some(known.max(new)),
            (known, new) => known.or(new),
        };
    }

    fn number(&mut self, facts: &[&'t Fact], bits: &BitField, span: Span) -> Number {
        let number = facts.iter().find_map(|fact| match fact.form {
            FormName::Signed => Some(Number::Signed),
            FormName::SignMagnitude => Some(Number::SignMagnitude),
            FormName::Float => Some(Number::Float),
            _ => None,
        });
        let number = number.unwrap_or(Number::Unsigned);
        let n = n_bits(bits);
        let trouble = match number {
            Number::Float if n != 32 && n != 64 => {
                Some(format!("a float has 32 or 64 bits, and these are {n}"))
            }
            Number::Signed | Number::SignMagnitude if n < 2 => {
                Some("a number with a sign has at least 2 bits".to_owned())
            }
            _ => None,
        };
        if let Some(message) = trouble {
            self.gathered
                .mistake(span, MistakeCode::NumberMisfit, message);
        }
        number
    }

    /// What one step and zero are worth.
    pub(super) fn scale(
        &mut self,
        channel: usize,
        fact: &'t Fact,
        facts: &[&'t Fact],
        is_damaged: bool,
    ) -> Option<Scale> {
        let step = facts
            .iter()
            .find_map(|under| match (under.form, under.slots.as_slice()) {
                (FormName::Step, [Slot::Quantity(quantity)]) => Some((*quantity, true)),
                (FormName::Unit, [Slot::Unit(unit, span)]) => Some((
                    Quantity {
                        value: 1.0,
                        unit,
                        span: *span,
                        unit_span: *span,
                    },
                    false,
                )),
                _ => None,
            });
        let Some((step, is_step)) = step else {
            if !is_damaged {
                let name = self.map.channels[channel].name.clone();
                let usual = match self.map.channels[channel].role {
                    Some(role) if super::channels::is_wheel(role) => "km/h",
                    Some(role) if role.unit == "1" => "%",
                    Some(role) => role.unit,
                    None => "none",
                };
                self.gathered.mistake_with(
                    fact.head,
                    MistakeCode::MissingFact,
                    format!("`{name}` does not say what one step of its number is worth"),
                    format!(
                        "write `step 0.01 {usual}` under it, or `unit {usual}` when one step is one"
                    ),
                );
            }
            return None;
        };
        if !self.set_dimension(channel, step) {
            return None;
        }
        if step.value == 0.0 {
            self.gathered.mistake(
                step.span,
                MistakeCode::RangeEmpty,
                "a step of nothing makes no number",
            );
            return None;
        }
        let per_step = self.in_channel(channel, step, As::Difference)?;
        let zero = facts
            .iter()
            .find_map(|under| match (under.form, under.slots.as_slice()) {
                (FormName::Zero, [Slot::Quantity(quantity)]) => Some(*quantity),
                _ => None,
            });
        let at_zero = self.in_channel(
            channel,
            zero.unwrap_or(Quantity { value: 0.0, ..step }),
            As::Reading,
        )?;
        if step.unit.dimension == Dimension::SPEED
            && self.map.channels[channel]
                .role
                .is_some_and(super::channels::is_wheel)
        {
            self.map.channels[channel].through_radius = true;
        }
        Some(Scale {
            per_step,
            at_zero,
            is_step,
        })
    }

    pub(super) fn believe(&mut self, channel: usize, facts: &[&'t Fact]) -> Option<(f64, f64)> {
        let fact = facts.iter().find(|fact| fact.form == FormName::Believe)?;
        let [Slot::Range(low, high)] = fact.slots.as_slice() else {
            return None;
        };
        let low = self.in_channel(
            channel,
            Quantity {
                value: *low,
                ..*high
            },
            As::Reading,
        )?;
        let top = self.in_channel(channel, *high, As::Reading)?;
        if low >= top {
            self.gathered.mistake(
                high.span,
                MistakeCode::RangeEmpty,
                "the range holds no value: its lower end comes first",
            );
            return None;
        }
        Some((low, top))
    }

    pub(super) fn rate_under(&mut self, channel: usize, facts: &[&'t Fact]) -> Option<f64> {
        let fact = facts.iter().find(|fact| fact.form == FormName::Changes)?;
        let [Slot::Quantity(change), Slot::Unit(per, per_span)] = fact.slots.as_slice() else {
            return None;
        };
        if per.dimension != Dimension::TIME {
            let message = format!(
                "a rate of change is per unit of time, and `{}` is {}",
                spelled(per),
                per.dimension.describe()
            );
            self.gathered.mistake_with(
                *per_span,
                MistakeCode::UnitMisfit,
                message,
                "write `per s`",
            );
            return None;
        }
        let rate = self.in_channel(channel, *change, As::Difference)? / per.factor;
        if rate <= 0.0 {
            self.gathered.mistake(
                change.span,
                MistakeCode::RangeEmpty,
                "a greatest rate of change must be above zero",
            );
            return None;
        }
        Some(rate)
    }
}
