//! Formulas: names and units.
//!
//! In: a formula as written. Out: the same on SI values, and its dimension. A unit that
//! does not fit and an unknown name are mistakes at the part of the formula they concern.

use super::Check;
use super::tables::FUNCTIONS;
use crate::map::{Comparison, Formula};
use crate::mistakes::MistakeCode::{FormulaInputs, MissingFact, UnitMisfit, WrongForm};
use crate::mistakes::Span;
use crate::syntax::expression::{Expression, Operator, Part};
use halfshaft_model::{Dimension, Unit, Vehicle};

/// Longest delay or time constant, s.
const LONGEST_TIME_S: f64 = 600.0;

/// Where a comparison may stand.
const WRITE_IF: &str = "write `if(a < b, then, else)`";

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
        if let Some((_, dimension, of_vehicle)) = FIGURES.iter().find(|(known, ..)| *known == name)
        {
            let value = of_vehicle(&self.map.vehicle);
            if value.is_none() {
                let message = format!("`{name}` is not stated under `vehicle`");
                self.mistake(span, MissingFact, message);
            }
            return Some((Formula::Number(value?), *dimension));
        }
        if let Some(index) = self.by_name.get(name).copied() {
            self.inputs.push(index);
            return Some((Formula::Channel(index), self.map.channels[index].dimension));
        }
        if self.tables.contains_key(name) || FUNCTIONS.contains(&name) {
            let suggestion = format!("write `{name}(…)`");
            self.mistake_with(
                span,
                FormulaInputs,
                format!("`{name}` needs inputs"),
                suggestion,
            );
            return None;
        }
        // A channel that is worked out has a mistake of its own.
        if !self.worked_out.contains(name) {
            let figures = FIGURES.iter().map(|(name, ..)| *name);
            let known = self.by_name.keys().map(String::as_str).chain(figures);
            let minus = if name.contains('-') {
                "a minus has blanks around it"
            } else {
                ""
            };
            let message = format!("this map gives no channel `{name}`");
            let fault = self.tree.unknown_name(name, span, message, known, minus);
            self.gathered.mistakes(fault);
        }
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
        let formula = match operator {
            Operator::Times => {
                return Some((Formula::Product(l, r), l_dimension.times(r_dimension)));
            }
            Operator::Over => {
                return Some((Formula::Quotient(l, r), l_dimension.over(r_dimension)));
            }
            Operator::Plus => Formula::Sum(l, r),
            Operator::Minus => Formula::Difference(l, r),
            _ => {
                let symbol = operator.word();
                let message =
                    format!("a comparison with `{symbol}` stands only first inside `if(…)`");
                self.mistake_with(span, WrongForm, message, WRITE_IF);
                return None;
            }
        };
        self.same(l_dimension, r_dimension, right.span)?;
        Some((formula, l_dimension))
    }

    fn same(&mut self, a: Dimension, b: Dimension, span: Span) -> Option<()> {
        if a == b {
            return Some(());
        }
        let (a, b) = (a.describe(), b.describe());
        let message = format!("this is {b}, but what it is put together with is {a}");
        self.mistake_with(
            span,
            UnitMisfit,
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
                let message = format!("`{name}` is neither a function nor a table of this map");
                let tables = self.tables.keys().map(String::as_str);
                let known = tables.chain(FUNCTIONS.iter().copied());
                let suggestion = format!("if it is a table, describe it: `table {name}`");
                let fault = self
                    .tree
                    .unknown_name(name, span, message, known, &suggestion);
                self.gathered.mistakes(fault);
                return None;
            }
        };
        if !n_wanted.contains(&inputs.len()) {
            let (wanted, n) = (n_wanted.start(), inputs.len());
            let message = format!("`{name}` takes {wanted} inputs and has {n}");
            self.mistake(span, FormulaInputs, message);
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
            let n = inputs.len();
            let message = format!("`if` takes a comparison and two values and has {n} inputs");
            self.mistake_with(span, FormulaInputs, message, WRITE_IF);
            return None;
        };
        let comparison = self.comparison(test)?;
        let (t, o) = (self.formula(then), self.formula(other));
        let ((t, t_dimension), (o, o_dimension)) = (t?, o?);
        self.same(t_dimension, o_dimension, other.span)?;
        let formula = Formula::If(Box::new(comparison), Box::new(t), Box::new(o));
        Some((formula, t_dimension))
    }

    fn comparison(&mut self, test: &Expression) -> Option<Comparison> {
        if let Part::Pair(operator, left, right) = &test.part {
            let (l, r) = (self.formula(left), self.formula(right));
            let ((l, l_dimension), (r, r_dimension)) = (l?, r?);
            self.same(l_dimension, r_dimension, right.span)?;
            match operator {
                Operator::Less => return Some(Comparison::Less(l, r)),
                Operator::LessOrEqual => return Some(Comparison::LessOrEqual(l, r)),
                Operator::Greater => return Some(Comparison::Less(r, l)),
                Operator::GreaterOrEqual => return Some(Comparison::LessOrEqual(r, l)),
                Operator::Equal => return Some(Comparison::Equal(l, r)),
                _ => {}
            }
        }
        self.mistake_with(
            test.span,
            WrongForm,
            "`if` begins with a comparison",
            WRITE_IF,
        );
        None
    }

    fn table_call(
        &mut self,
        name: &str,
        inputs: &[Expression],
        span: Span,
    ) -> Option<(Formula, Dimension)> {
        let table = self.tables.get(name).copied()??;
        let units: Vec<&Unit> = std::iter::once(table.input).chain(table.second).collect();
        if inputs.len() != units.len() {
            let (n_wanted, n) = (units.len(), inputs.len());
            let message = format!("table `{name}` takes {n_wanted} inputs and has {n}");
            self.mistake(span, FormulaInputs, message);
            return None;
        }
        let mut formulas = Vec::new();
        for (input, unit) in inputs.iter().zip(units) {
            let (formula, found) = self.formula(input)?;
            if let Formula::Channel(channel) = &formula
                && formulas.is_empty()
            {
                self.angle_or_ratio(*channel, table.input, name, input.span);
            }
            if found != unit.dimension {
                let (found, wanted) = (found.describe(), unit.dimension.describe());
                let message =
                    format!("this is {found}, but table `{name}` is entered with {wanted}");
                self.mistake(input.span, UnitMisfit, message);
                return None;
            }
            formulas.push(formula);
        }
        Some((
            Formula::Table(table.index, formulas),
            table.output.dimension,
        ))
    }

    fn constant_time(&mut self, input: &Expression, name: &str) -> Option<f64> {
        if let Part::Number(value, Some(unit)) = &input.part
            && unit.dimension == Dimension::TIME
        {
            let time_s = unit.to_si(*value);
            if time_s > 0.0 && time_s <= LONGEST_TIME_S {
                return Some(time_s);
            }
        }
        let message = format!(
            "the second input of `{name}` is a time above zero and up to {LONGEST_TIME_S} s, written out"
        );
        let suggestion = format!("write `{name}(…, 20 ms)`");
        self.mistake_with(input.span, FormulaInputs, message, suggestion);
        None
    }
}

/// A figure of the vehicle that formulas may use: its name, and its value in SI.
type Figure = (&'static str, Dimension, fn(&Vehicle) -> Option<f64>);

const FIGURES: &[Figure] = &[
    ("rolling.radius", Dimension::LENGTH, |v| {
        v.rolling_radius_m.map(|radius| radius.value)
    }),
    ("track.rear", Dimension::LENGTH, |v| {
        v.track_rear_m.map(|track| track.value)
    }),
    ("track.front", Dimension::LENGTH, |v| {
        v.track_front_m.map(|track| track.value)
    }),
    ("final.ratio", Dimension::NONE, |v| v.final_ratio),
];
