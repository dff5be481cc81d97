//! Signals: how bits make a number, and what the number is worth.

use super::Check;
use super::channels::{As, is_wheel};
use super::frames::PageState;
use super::overlap::exclude;
use crate::map::{BitField, Condition, Number, Signal};
use crate::mistakes::MistakeCode::{
    DoubleSource, FormulaLoop, MissingFact, NumberMisfit, RangeEmpty, TooLarge, UnitMisfit,
};
use crate::mistakes::Span;
use crate::syntax::forms::FormName;
use crate::syntax::slots::{Quantity, Slot, spelled};
use crate::syntax::tree::Fact;
use halfshaft_model::{Dimension, MapUnit};
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
        let mut stated: HashSet<FormName> = HashSet::new();
        let mut is_damaged = false;
        let mut current = fact;
        for _ in 0..LONGEST_CHAIN {
            is_damaged |= current.is_damaged;
            let mut stated_here = Vec::new();
            for under in &current.facts {
                if facts.len() == MOST_FACTS {
                    let message = format!("a signal has at most {MOST_FACTS} facts");
                    self.mistake(under.span, TooLarge, message);
                    return (facts, true);
                }
                let kind = under.form.form().once.unwrap_or(under.form);
                let is_of_this_one_only = matches!(
                    under.form,
                    FormName::SameAs
                        | FormName::ValidWhen
                        | FormName::SharesBits
                        | FormName::AnotherSource
                );
                if stated.contains(&kind) || (is_of_this_one_only && !std::ptr::eq(current, fact)) {
                    continue;
                }
                stated_here.push(kind);
                facts.push(under);
            }
            stated.extend(stated_here);
            let Some([Slot::Name(name, span)]) = current.slots_of(FormName::SameAs) else {
                return (facts, is_damaged);
            };
            let among = match fact.form {
                FormName::Column => &self.columns,
                _ => &self.signals,
            };
            let next = among.get(name.as_str()).copied();
            let Some(next) = next.filter(|next| !std::ptr::eq(*next, current)) else {
                let message = format!("`{name}` stands nowhere else to be the same as");
                let known = among.keys().copied();
                let fault = self.tree.unknown_name(name, *span, message, known, "");
                self.gathered.mistakes(fault);
                return (facts, true);
            };
            current = next;
        }
        if let Some(under) = fact.find(FormName::SameAs) {
            let message =
                "these signals are the same as one another in a circle, or over too many steps";
            self.mistake(under.span, FormulaLoop, message);
        }
        (facts, true)
    }

    pub(super) fn signal(
        &mut self,
        fact: &'t Fact,
        (name, name_span): (&str, Span),
        (bits, bits_span): (&BitField, Span),
        state: &PageState,
    ) {
        let Some(channel) = self.channel(name, name_span, fact.line) else {
            return;
        };
        let (facts, is_damaged) = self.effective(fact);
        let number = self.number(&facts, bits, bits_span);
        let Some(scale) = self.scale(channel, fact, &facts, is_damaged) else {
            // Later lines may name it all the same.
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
                    let list = match under.form {
                        FormName::Absent => &mut signal.absent,
                        _ => &mut signal.broken,
                    };
                    if list.len() + codes.len() > MOST_CODES {
                        let message = format!(
                            "a signal has at most {MOST_CODES} codes of one kind; write ranges"
                        );
                        self.mistake(*span, TooLarge, message);
                        break;
                    }
                    list.extend_from_slice(codes);
                }
                (FormName::ValidWhen, [Slot::Bits(flag, span), Slot::Codes(codes, codes_span)]) => {
                    self.inside(flag, *span, state.frame, "the condition");
                    self.codes_fit(codes, flag, *codes_span);
                    let (bits, codes) = (flag.clone(), codes.clone());
                    signal.valid_when.push(Condition { bits, codes });
                }
                _ => {}
            }
        }
        self.channel_facts(channel, &facts);
        let is_stepped = number != Number::Float && (scale.is_step || bits.width() < 32);
        self.keep_coarsest_step(channel, is_stepped.then_some(scale.per_step.abs()));
        self.add_source(channel, fact, name_span, state);
        self.map.frames[state.frame].signals.push(signal);
    }

    fn add_source(&mut self, channel: usize, fact: &'t Fact, name_span: Span, state: &PageState) {
        let line = self.sources[channel].line;
        let known = &self.sources[channel].signals;
        let is_first = known.is_empty();
        let clash = known.iter().any(|(frame, conditions)| {
            *frame != state.frame || !exclude(conditions, &state.conditions)
        });
        if clash && !fact.states(FormName::AnotherSource) {
            let name = &self.map.channels[channel].name;
            let message = format!("`{name}` already comes from line {line}");
            let suggestion = "if a log has only one of them, write `another source` under this one";
            self.mistake_with(name_span, DoubleSource, message, suggestion);
        }
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

    /// Of the steps a channel comes in, the coarsest counts.
    pub(super) fn keep_coarsest_step(&mut self, channel: usize, step: Option<f64>) {
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
        match (number, bits.width()) {
            (Number::Float, 32 | 64) => {}
            (Number::Float, n) => {
                let message = format!("a float has 32 or 64 bits, and these are {n}");
                self.mistake(span, NumberMisfit, message);
            }
            (Number::Signed | Number::SignMagnitude, 0..2) => {
                self.mistake(
                    span,
                    NumberMisfit,
                    "a number with a sign has at least 2 bits",
                );
            }
            _ => {}
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
                (FormName::Unit, [Slot::Unit(unit, span)]) => {
                    let (span, unit_span) = (*span, *span);
                    Some((
                        Quantity {
                            value: 1.0,
                            unit,
                            span,
                            unit_span,
                        },
                        false,
                    ))
                }
                _ => None,
            });
        let Some((step, is_step)) = step else {
            if !is_damaged {
                self.step_missing(channel, fact);
            }
            return None;
        };
        if !self.set_dimension(channel, step) {
            return None;
        }
        if step.value == 0.0 {
            self.mistake(step.span, RangeEmpty, "a step of nothing makes no number");
            return None;
        }
        let per_step = self.in_channel(channel, step, As::Difference)?;
        let zero = facts.iter().find(|under| under.form == FormName::Zero);
        let zero = match zero.map(|under| under.slots.as_slice()) {
            Some([Slot::Quantity(quantity)]) => *quantity,
            _ => Quantity { value: 0.0, ..step },
        };
        let at_zero = self.in_channel(channel, zero, As::Reading)?;
        let of_unit = |value: f64| Quantity { value, ..step };
        let map_unit = MapUnit {
            symbol: step.unit.symbol,
            si_per_unit: self.in_channel(channel, of_unit(1.0), As::Difference)?,
            si_at_zero: self.in_channel(channel, of_unit(0.0), As::Reading)?,
        };
        let spec = &mut self.map.channels[channel];
        spec.through_radius |=
            step.unit.dimension == Dimension::SPEED && spec.role.is_some_and(is_wheel);
        spec.map_unit.get_or_insert(map_unit);
        Some(Scale {
            per_step,
            at_zero,
            is_step,
        })
    }

    fn step_missing(&mut self, channel: usize, fact: &'t Fact) {
        let spec = &self.map.channels[channel];
        let usual = match spec.role {
            Some(role) if is_wheel(role) => "km/h",
            Some(role) if role.unit == "1" => "%",
            Some(role) => role.unit,
            None => "none",
        };
        let name = &spec.name;
        let message = format!("`{name}` does not say what one step of its number is worth");
        let suggestion =
            format!("write `step 0.01 {usual}` under it, or `unit {usual}` when one step is one");
        self.mistake_with(fact.head, MissingFact, message, suggestion);
    }

    pub(super) fn believe(&mut self, channel: usize, facts: &[&'t Fact]) -> Option<(f64, f64)> {
        let fact = facts.iter().find(|fact| fact.form == FormName::Believe)?;
        let [Slot::Range(low, high)] = fact.slots.as_slice() else {
            return None;
        };
        let low = Quantity {
            value: *low,
            ..*high
        };
        let low = self.in_channel(channel, low, As::Reading)?;
        let top = self.in_channel(channel, *high, As::Reading)?;
        if low >= top {
            let message = "the range holds no value: its lower end comes first";
            self.mistake(high.span, RangeEmpty, message);
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
            let (symbol, found) = (spelled(per), per.dimension.describe());
            let message =
                format!("a rate of change is per unit of time, and `{symbol}` is {found}");
            self.mistake_with(*per_span, UnitMisfit, message, "write `per s`");
            return None;
        }
        let rate = self.in_channel(channel, *change, As::Difference)? / per.factor;
        if rate <= 0.0 {
            self.not_above_zero(change.span, "a greatest rate of change");
            return None;
        }
        Some(rate)
    }
}
