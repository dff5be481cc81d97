//! Channels worked out from others: which, and in what order.
//!
//! In: the `work out` lines. Out: channels, each after those it needs. A circle is a
//! mistake at the name that closes it. What a formula means is worked out in `formulas`.

use super::Check;
use super::channels::is_wheel;
use super::figures::alternatives;
use crate::map::{Derived, Formula};
use crate::mistakes::MistakeCode::{DoubleSource, FormulaLoop, TooLarge, UnitMisfit};
use crate::mistakes::Span;
use crate::syntax::expression::{Expression, Part};
use crate::syntax::forms::FormName;
use crate::syntax::slots::Slot;
use crate::syntax::tree::Fact;
use halfshaft_model::channel::name;
use halfshaft_model::{Behaviour, ChannelSpec, Dimension};
use std::collections::HashMap;

/// Channels by which the mechanism itself reports where it is.
const STATES: [&str; 5] = [
    name::CLUTCH_POSITION,
    name::CLUTCH_PRESSURE,
    name::CLUTCH_FORCE,
    name::CLUTCH_TORQUE,
    name::MOTOR_CURRENT,
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
                let message = format!("a map works out at most {MOST} channels");
                self.mistake(*span, TooLarge, message);
                break;
            }
            if by_name.contains_key(name.as_str()) {
                self.mistake(*span, DoubleSource, format!("`{name}` is worked out twice"));
                continue;
            }
            if self.by_name.contains_key(name) {
                let message =
                    format!("`{name}` already comes from a log and cannot be worked out as well");
                let suggestion = "give this one a name of its own, `own.…`";
                self.mistake_with(*span, DoubleSource, message, suggestion);
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
                    let whole = work.name;
                    format!("`{whole}` needs `{name}`, and `{name}` is worked out from it")
                };
                let suggestion = "`delay(…)` does not open a circle; take a measured channel";
                self.mistake_with(span, FormulaLoop, message, suggestion);
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
        self.inputs.clear();
        let Some((mut formula, dimension)) = self.formula(work.formula) else {
            return;
        };
        let inputs = std::mem::take(&mut self.inputs);
        let Some(channel) = self.channel(work.name, work.name_span, work.fact.line) else {
            return;
        };
        let role = self.map.channels[channel].role;
        if let Some(role) = role.filter(|role| !role.dimensions.contains(&dimension)) {
            let (name, found) = (work.name, dimension.describe());
            let wanted = alternatives(role.dimensions);
            let message = format!("the formula gives {found}, but `{name}` is {wanted}");
            return self.mistake(work.formula.span, UnitMisfit, message);
        }
        let is_wheel = role.is_some_and(is_wheel);
        let is_road_speed = is_wheel && dimension == Dimension::SPEED;
        if is_road_speed {
            let Some(radius) = self.radius(work.name, work.formula.span) else {
                return;
            };
            formula = Formula::Quotient(Box::new(formula), Box::new(Formula::Number(radius)));
        }
        self.sources[channel].is_derived = true;
        let specs = &self.map.channels;
        let any = |test: fn(&ChannelSpec) -> bool| inputs.iter().any(|input| test(&specs[*input]));
        // A new value comes when the slowest input has one.
        let periods: Option<Vec<f64>> = inputs.iter().map(|input| specs[*input].period_s).collect();
        let period_s = periods.and_then(|periods| periods.into_iter().reduce(f64::max));
        let through_radius = is_road_speed || is_wheel && any(|spec| spec.through_radius);
        let tyre_corrected = is_wheel && any(|spec| spec.tyre_corrected);
        // What follows from the command alone is a command, whatever it is called.
        let follows = any(|spec| spec.name == name::CLUTCH_COMMAND || spec.follows_command);
        let reports = any(|spec| STATES.contains(&spec.name.as_str()) && !spec.follows_command);
        // What follows from held values alone steps with them.
        let is_held = !inputs.is_empty() && !any(|spec| spec.behaviour == Behaviour::Continuous);
        let spec = &mut self.map.channels[channel];
        spec.dimension = if is_road_speed {
            Dimension::ANGULAR_SPEED
        } else {
            dimension
        };
        spec.period_s = period_s;
        spec.through_radius |= through_radius;
        spec.tyre_corrected |= tyre_corrected;
        spec.follows_command = follows && !reports;
        if is_held {
            spec.behaviour = Behaviour::Held;
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
