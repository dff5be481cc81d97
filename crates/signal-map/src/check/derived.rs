//! Channels worked out from others: which, and in what order.
//!
//! In: the `work out` lines. Out: channels, each after those it needs. A circle is a
//! mistake at the name that closes it. What a formula means is asked in `formulas`.

use super::Check;
use super::channels::is_wheel;
use crate::map::{Comparison, Derived, Formula};
use crate::mistakes::{MistakeCode, Span};
use crate::syntax::expression::{Expression, Part};
use crate::syntax::forms::FormName;
use crate::syntax::slots::Slot;
use crate::syntax::tree::Fact;
use halfshaft_model::{Behaviour, Dimension};
use std::collections::HashMap;

/// Channels by which the mechanism itself says where it is.
const STATES: [&str; 5] = [
    "clutch.position",
    "clutch.pressure",
    "clutch.force",
    "clutch.torque",
    "motor.current",
];

/// Most channels worked out.
const MOST: usize = 500;

#[derive(Clone, Copy, PartialEq, Eq)]
enum Mark {
    Open,
    Done,
}

struct Work<'t> {
    fact: &'t Fact,
    name: &'t str,
    name_span: Span,
    formula: &'t Expression,
}

impl<'t> Check<'t> {
    pub(super) fn derived(&mut self) {
        let mut works: Vec<Work<'t>> = Vec::new();
        let mut by_name: HashMap<&'t str, usize> = HashMap::new();
        for fact in self.top(FormName::WorkOut) {
            let [Slot::Name(name, span), Slot::Formula(formula)] = fact.slots.as_slice() else {
                continue;
            };
            self.worked_out.insert(name);
            if works.len() == MOST {
                self.gathered.mistake(
                    *span,
                    MistakeCode::TooLarge,
                    format!("a map works out at most {MOST} channels"),
                );
                break;
            }
            if by_name.contains_key(name.as_str()) {
                self.gathered.mistake(
                    *span,
                    MistakeCode::DoubleSource,
                    format!("`{name}` is worked out twice"),
                );
                continue;
            }
            if self.by_name.contains_key(name) {
                let message =
                    format!("`{name}` already comes from a log and cannot be worked out as well");
                self.gathered.mistake_with(
                    *span,
                    MistakeCode::DoubleSource,
                    message,
                    "give this one a name of its own, `own.…`",
                );
                continue;
            }
            by_name.insert(name, works.len());
            works.push(Work {
                fact,
                name,
                name_span: *span,
                formula,
            });
        }
        let mut marks: HashMap<usize, Mark> = HashMap::new();
        for index in 0..works.len() {
            self.visit(index, &works, &by_name, &mut marks);
        }
    }

    /// Works out what a formula needs, then the formula; `MOST` bounds the depth.
    fn visit(
        &mut self,
        index: usize,
        works: &[Work<'t>],
        by_name: &HashMap<&str, usize>,
        marks: &mut HashMap<usize, Mark>,
    ) {
        if marks.contains_key(&index) {
            return;
        }
        marks.insert(index, Mark::Open);
        let Some(work) = works.get(index) else { return };
        let mut names = Vec::new();
        collect_names(work.formula, &mut names);
        let mut is_sound = true;
        for (name, span) in names {
            let Some(needed) = by_name.get(name).copied() else {
                continue;
            };
            if marks.get(&needed) == Some(&Mark::Open) {
                let message = if needed == index {
                    format!("`{name}` is worked out from itself")
                } else {
                    format!(
                        "`{}` needs `{name}`, and `{name}` is worked out from it",
                        work.name
                    )
                };
                self.gathered.mistake_with(
                    span,
                    MistakeCode::FormulaLoop,
                    message,
                    "`delay(…)` does not open a circle; take a measured channel",
                );
                is_sound = false;
                continue;
            }
            self.visit(needed, works, by_name, marks);
        }
        marks.insert(index, Mark::Done);
        if is_sound {
            self.work_out(work);
        }
    }

    fn work_out(&mut self, work: &Work<'t>) {
        let Some((formula, dimension)) = self.formula(work.formula) else {
            return;
        };
        let Some(channel) = self.channel(work.name, work.name_span, work.fact.line) else {
            return;
        };
        let mut formula = formula;
        let mut kept = dimension;
        if let Some(role) = self.map.channels[channel].role {
            if !role.dimensions.contains(&dimension) {
                let wanted: Vec<String> = role
                    .dimensions
                    .iter()
                    .map(|dimension| dimension.describe())
                    .collect();
                let message = format!(
                    "the formula gives {}, but `{}` is {}",
                    dimension.describe(),
                    work.name,
                    wanted.join(", or ")
                );
                self.gathered
                    .mistake(work.formula.span, MistakeCode::UnitMisfit, message);
                return;
            }
            if is_wheel(role) && dimension == Dimension::SPEED {
                let Some(radius) = self.radius(work.name, work.formula.span) else {
                    return;
                };
                formula = Formula::Quotient(Box::new(formula), Box::new(Formula::Number(radius)));
                kept = Dimension::ANGULAR_SPEED;
                self.map.channels[channel].through_radius = true;
            }
        }
        self.map.channels[channel].dimension = kept;
        self.sources[channel].is_derived = true;
        let mut inputs = Vec::new();
        collect_channels(&formula, &mut inputs);
        // The formula speaks when its slowest input does.
        let periods: Option<Vec<f64>> = inputs
            .iter()
            .map(|input| self.map.channels[*input].period_s)
            .collect();
        self.map.channels[channel].period_s =
            periods.and_then(|periods| periods.into_iter().reduce(f64::max));
        let any = |test: fn(&halfshaft_model::ChannelSpec) -> bool, map: &crate::map::Map| {
            inputs.iter().any(|input| test(&map.channels[*input]))
        };
        if self.map.channels[channel].role.is_some_and(is_wheel) {
            let through = any(|spec| spec.through_radius, &self.map);
            let corrected = any(|spec| spec.tyre_corrected, &self.map);
            self.map.channels[channel].through_radius |= through;
            self.map.channels[channel].tyre_corrected |= corrected;
        }
        // What follows from the command alone says what was asked, whatever it is called.
        let follows = any(
            |spec| spec.name == "clutch.command" || spec.follows_command,
            &self.map,
        );
        let reports = any(
            |spec| STATES.contains(&spec.name.as_str()) && !spec.follows_command,
            &self.map,
        );
        self.map.channels[channel].follows_command = follows && !reports;
        // What follows from held values alone steps with them.
        let measured = any(|spec| spec.behaviour == Behaviour::Continuous, &self.map);
        if !inputs.is_empty() && !measured {
            self.map.channels[channel].behaviour = Behaviour::Held;
        }
        let facts: Vec<&'t Fact> = work.fact.facts.iter().collect();
        self.channel_facts(channel, &facts);
        self.map.derived.push(Derived { channel, formula });
    }
}

fn collect_names<'e>(expression: &'e Expression, names: &mut Vec<(&'e str, Span)>) {
    match &expression.part {
        Part::Number(..) => {}
        Part::Name(name) => names.push((name, expression.span)),
        Part::Negative(inner) => collect_names(inner, names),
        Part::Pair(_, left, right) => {
            collect_names(left, names);
            collect_names(right, names);
        }
        Part::Call(_, inputs) => inputs.iter().for_each(|input| collect_names(input, names)),
    }
}

fn collect_channels(formula: &Formula, found: &mut Vec<usize>) {
    match formula {
        Formula::Number(_) => {}
        Formula::Channel(index) => found.push(*index),
        Formula::Negative(a)
        | Formula::Absolute(a)
        | Formula::Delay(a, _)
        | Formula::LowPass(a, _) => collect_channels(a, found),
        Formula::Sum(a, b)
        | Formula::Difference(a, b)
        | Formula::Product(a, b)
        | Formula::Quotient(a, b) => {
            collect_channels(a, found);
            collect_channels(b, found);
        }
        Formula::Least(all)
        | Formula::Greatest(all)
        | Formula::Mean(all)
        | Formula::Table(_, all) => {
            all.iter().for_each(|a| collect_channels(a, found));
        }
        Formula::Clamp(a, b, c) => [a, b, c]
            .into_iter()
            .for_each(|part| collect_channels(part, found)),
        Formula::If(comparison, a, b) => {
            match comparison.as_ref() {
                Comparison::Less(l, r)
                | Comparison::LessOrEqual(l, r)
                | Comparison::Equal(l, r) => {
                    collect_channels(l, found);
                    collect_channels(r, found);
                }
            }
            collect_channels(a, found);
            collect_channels(b, found);
        }
    }
}
