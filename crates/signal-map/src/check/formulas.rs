//! Formulas: names and units.
//!
//! In: a formula as written. Out: the same on SI values, and its dimension. A unit that
//! does not fit and an unknown name are mistakes at the part of the formula they concern.

use super::Check;
use super::tables::FUNCTIONS;
use crate::map::{Comparison, Formula};
use crate::mistakes::{MistakeCode, Span};
use crate::syntax::expression::{Expression, Operator, Part};
use crate::syntax::slots::did_you_mean;
use halfshaft_model::Dimension;

/// Longest delay or time constant, s.
const LONGEST_TIME_S: f64 = 600.0;

impl Check<'_> {
    pub(super) fn formula(&mut self, expression: &Expression) -> Option<(Formula, Dimension)> {
        match &expression.part {
            Part::Number(value, None) => Some((Formula::Number(*value), Dimension::NONE)),
            // A number here is a reading, so a temperature in °F is that temperature.
            Part::Number(value, Some(unit)) => {
                Some((Formula::Number(unit.to_si(*value)), unit.dimension))
            }
            Part::Name(name) => self.named(name, expression.span),
            Part::Negative(inner) => {
                let (inner, dimension) = self.formula(inner)?;
                Some((Formula::Negative(Box::new(inner)), dimension))
            }
            Part::Pair(operator, left, right) => self.pair(*operator, left, right, expression.span),
            Part::Call(name, inputs) => self.call(name, inputs, expression.span),
        }
    }

    fn named(&mut self, name: &str, span: Span) -> Option<(Formula, Dimension)> {
        if let Some(figure) = FIGURES.iter().find(|(known, _)| *known == name) {
            let vehicle = &self.map.vehicle;
            let value = match figure.0 {
                "rolling.radius" => vehicle.rolling_radius_m.map(|radius| radius.value),
                "track.rear" => vehicle.track_rear_m.map(|track| track.value),
                "track.front" => vehicle.track_front_m.map(|track| track.value),
                _ => vehicle.final_ratio,
            };
            if value.is_none() {
                self.gathered.mistake(
                    span,
                    MistakeCode::MissingFact,
                    format!("`{name}` is not stated under `vehicle`"),
                );
            }
            return Some((Formula::Number(value?), figure.1));
        }
        if let Some(index) = self.by_name.get(name) {
            return Some((
                Formula::Channel(*index),
                self.map.channels[*index].dimension,
            ));
        }
        if self.tables.contains_key(name) || FUNCTIONS.contains(&name) {
            self.gathered.mistake_with(
                span,
                MistakeCode::FormulaInputs,
                format!("`{name}` needs inputs"),
                format!("write `{name}(…)`"),
            );
            return None;
        }
        if self.tree.lost.contains(name) || self.worked_out.contains(name) {
            // It has a mistake of its own.
            return None;
        }
        let known = self
            .by_name
            .keys()
            .map(String::as_str)
            .chain(FIGURES.iter().map(|(name, _)| *name));
        let mut suggestion = did_you_mean(name, known);
        if suggestion.is_empty() && name.contains('-') {
            suggestion = "a minus has blanks around it".to_owned();
        }
        self.gathered.mistake_with(
            span,
            MistakeCode::UnknownName,
            format!("this map gives no channel `{name}`"),
            suggestion,
        );
        None
    }

    fn pair(
        &mut self,
        operator: Operator,
        left: &Expression,
        right: &Expression,
        span: Span,
    ) -> Option<(Formula, Dimension)> {
        let (l, r) = (self.formula(left), self.formula(right));
        let ((l, l_dimension), (r, r_dimension)) = (l?, r?);
        let (l, r) = (Box::new(l), Box::new(r));
        match operator {
            Operator::Times => Some((Formula::Product(l, r), l_dimension.times(r_dimension))),
            Operator::Over => Some((Formula::Quotient(l, r), l_dimension.over(r_dimension))),
            Operator::Plus | Operator::Minus => {
                self.same(l_dimension, r_dimension, right.span)?;
                let formula = if operator == Operator::Plus {
                    Formula::Sum(l, r)
                } else {
                    Formula::Difference(l, r)
                };
                Some((formula, l_dimension))
            }
            _ => {
                let message = format!(
                    "a comparison with `{}` stands only first inside `if(…)`",
                    operator.symbol()
                );
                self.gathered.mistake_with(
                    span,
                    MistakeCode::WrongForm,
                    message,
                    "write `if(a < b, then, else)`",
                );
                None
            }
        }
    }

    fn same(&mut self, a: Dimension, b: Dimension, span: Span) -> Option<()> {
        if a == b {
            return Some(());
        }
        let message = format!(
            "this is {}, but what it is put together with is {}",
            b.describe(),
            a.describe()
        );
        self.gathered.mistake_with(
            span,
            MistakeCode::UnitMisfit,
            message,
            "numbers carry their unit: `2 km/h`",
        );
        None
    }

    fn call(
        &mut self,
        name: &str,
        inputs: &[Expression],
        span: Span,
    ) -> Option<(Formula, Dimension)> {
        if name == "if" {
            return self.choice(inputs, span);
        }
        if self.tables.contains_key(name) {
            return self.table_call(name, inputs, span);
        }
        let n_wanted = match name {
            "abs" => 1..=1,
            "delay" | "low-pass" => 2..=2,
            "clamp" => 3..=3,
            "min" | "max" | "mean" => 1..=usize::MAX,
            _ => {
                if !self.tree.lost.contains(name) {
                    let known = self
                        .tables
                        .keys()
                        .map(String::as_str)
                        .chain(FUNCTIONS.iter().copied());
                    let mut suggestion = did_you_mean(name, known);
                    if suggestion.is_empty() {
                        suggestion = format!("if it is a table, describe it: `table {name}`");
                    }
                    self.gathered.mistake_with(
                        span,
                        MistakeCode::UnknownName,
                        format!("`{name}` is neither a function nor a table of this map"),
                        suggestion,
                    );
                }
                return None;
            }
        };
        if !n_wanted.contains(&inputs.len()) {
            let wanted = n_wanted.start();
            self.gathered.mistake(
                span,
                MistakeCode::FormulaInputs,
                format!("`{name}` takes {wanted} inputs and has {}", inputs.len()),
            );
            return None;
        }
        if matches!(name, "delay" | "low-pass") {
            let time_s = self.constant_time(&inputs[1], name);
            let (of, dimension) = self.formula(&inputs[0])?;
            let (of, time_s) = (Box::new(of), time_s?);
            let formula = if name == "delay" {
                Formula::Delay(of, time_s)
            } else {
                Formula::LowPass(of, time_s)
            };
            return Some((formula, dimension));
        }
        let read: Vec<Option<(Formula, Dimension)>> =
            inputs.iter().map(|input| self.formula(input)).collect();
        let read: Vec<(Formula, Dimension)> = read.into_iter().collect::<Option<_>>()?;
        let dimension = read[0].1;
        for ((_, other), input) in read.iter().zip(inputs) {
            self.same(dimension, *other, input.span)?;
        }
        let mut formulas: Vec<Formula> = read.into_iter().map(|(formula, _)| formula).collect();
        let formula = match name {
            "min" => Formula::Least(formulas),
            "max" => Formula::Greatest(formulas),
            "mean" => Formula::Mean(formulas),
            "clamp" => {
                let (high, low) = (formulas.pop()?, formulas.pop()?);
                Formula::Clamp(Box::new(formulas.pop()?), Box::new(low), Box::new(high))
            }
            _ => Formula::Absolute(Box::new(formulas.pop()?)),
        };
        Some((formula, dimension))
    }

    fn choice(&mut self, inputs: &[Expression], span: Span) -> Option<(Formula, Dimension)> {
        let [test, then, other] = inputs else {
            let message = format!(
                "`if` takes a comparison and two values and has {} inputs",
                inputs.len()
            );
            self.gathered.mistake_with(
                span,
                MistakeCode::FormulaInputs,
                message,
                "write `if(a < b, then, else)`",
            );
            return None;
        };
        let Part::Pair(operator, left, right) = &test.part else {
            self.gathered.mistake_with(
                test.span,
                MistakeCode::WrongForm,
                "`if` begins with a comparison",
                "write `if(a < b, then, else)`",
            );
            return None;
        };
        let (l, r) = (self.formula(left), self.formula(right));
        let ((l, l_dimension), (r, r_dimension)) = (l?, r?);
        self.same(l_dimension, r_dimension, right.span)?;
        let comparison = match operator {
            Operator::Less => Comparison::Less(l, r),
            Operator::LessOrEqual => Comparison::LessOrEqual(l, r),
            Operator::Greater => Comparison::Less(r, l),
            Operator::GreaterOrEqual => Comparison::LessOrEqual(r, l),
            Operator::Equal => Comparison::Equal(l, r),
            _ => {
                self.gathered.mistake_with(
                    test.span,
                    MistakeCode::WrongForm,
                    "`if` begins with a comparison",
                    "write `if(a < b, then, else)`",
                );
                return None;
            }
        };
        let (t, o) = (self.formula(then), self.formula(other));
        let ((t, t_dimension), (o, o_dimension)) = (t?, o?);
        self.same(t_dimension, o_dimension, other.span)?;
        Some((
            Formula::If(Box::new(comparison), Box::new(t), Box::new(o)),
            t_dimension,
        ))
    }

    fn table_call(
        &mut self,
        name: &str,
        inputs: &[Expression],
        span: Span,
    ) -> Option<(Formula, Dimension)> {
        let table = self.tables.get(name)?.clone();
        let index = table.index?;
        let wanted: Vec<Dimension> = std::iter::once(table.input).chain(table.second).collect();
        if inputs.len() != wanted.len() {
            let message = format!(
                "table `{name}` takes {} inputs and has {}",
                wanted.len(),
                inputs.len()
            );
            self.gathered
                .mistake(span, MistakeCode::FormulaInputs, message);
            return None;
        }
        let mut formulas = Vec::new();
        for (index, (input, dimension)) in inputs.iter().zip(wanted).enumerate() {
            let (formula, found) = self.formula(input)?;
            if let Formula::Channel(channel) = &formula
                && index == 0
            {
                self.angle_or_ratio(*channel, table.input_unit, name, input.span);
            }
            if found != dimension {
                let message = format!(
                    "this is {}, but table `{name}` is entered with {}",
                    found.describe(),
                    dimension.describe()
                );
                self.gathered
                    .mistake(input.span, MistakeCode::UnitMisfit, message);
                return None;
            }
            formulas.push(formula);
        }
        Some((Formula::Table(index, formulas), table.output))
    }

    fn constant_time(&mut self, input: &Expression, name: &str) -> Option<f64> {
        let time_s = match &input.part {
            Part::Number(value, Some(unit)) if unit.dimension == Dimension::TIME => {
                Some(unit.to_si(*value))
            }
            _ => None,
        };
        let sound = time_s.filter(|time_s| *time_s > 0.0 && *time_s <= LONGEST_TIME_S);
        if sound.is_none() {
            let message = format!(
                "the second input of `{name}` is a time above zero and up to {LONGEST_TIME_S} s, written out"
            );
            self.gathered.mistake_with(
                input.span,
                MistakeCode::FormulaInputs,
                message,
                format!("write `{name}(…, 20 ms)`"),
            );
        }
        sound
    }
}

/// Figures of the vehicle that formulas may use.
const FIGURES: &[(&str, Dimension)] = &[
    ("rolling.radius", Dimension::LENGTH),
    ("track.rear", Dimension::LENGTH),
    ("track.front", Dimension::LENGTH),
    ("final.ratio", Dimension::NONE),
];
