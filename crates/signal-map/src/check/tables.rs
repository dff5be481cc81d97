//! Named tables: points in their units to SI, with their dimensions.

use super::Check;
use crate::map::NamedTable;
use crate::mistakes::MistakeCode::{TableNotRising, TableShape, Twice, UnitMisfit, WrongForm};
use crate::mistakes::Span;
use crate::syntax::forms::FormName;
use crate::syntax::slots::{Slot, spelled};
use crate::syntax::tree::Fact;
use halfshaft_model::{Beyond, Table, Unit};

/// A sound table: what formulas and torque sources need of it.
#[derive(Clone, Copy, Debug)]
pub(super) struct KnownTable {
    /// Index into `Map::tables`.
    pub index: usize,
    /// Unit of the first input: an angle and a share have one dimension.
    pub input: &'static Unit,
    /// Unit of the second input, when there is one.
    pub second: Option<&'static Unit>,
    /// Unit of the value.
    pub output: &'static Unit,
}

/// Names a formula uses for its functions.
pub(super) const FUNCTIONS: &[&str] = &[
    "min", "max", "mean", "clamp", "abs", "delay", "low-pass", "if",
];

impl<'t> Check<'t> {
    pub(super) fn all_tables(&mut self) {
        for fact in self.top(FormName::Table) {
            let [Slot::Name(name, span)] = fact.slots.as_slice() else {
                continue;
            };
            if FUNCTIONS.contains(&name.as_str()) {
                let message = format!("`{name}` is a function of formulas and cannot be a table");
                self.mistake(*span, WrongForm, message);
            }
            if self.tables.contains_key(name) {
                self.mistake(*span, Twice, format!("table `{name}` stands twice"));
            }
            let known = self.table(fact).map(|(table, known)| {
                let name = name.clone();
                self.map.tables.push(NamedTable { name, table });
                known
            });
            self.tables.insert(name.clone(), known);
        }
    }

    /// Complains when a table over an angle is entered with a share, or the other way.
    pub(super) fn angle_or_ratio(
        &mut self,
        channel: usize,
        input: &'static Unit,
        table: &str,
        span: Span,
    ) {
        let Some(given) = self.written_in[channel] else {
            return;
        };
        let is_mixed =
            is_angle(input) && given.symbol == "%" || input.symbol == "%" && is_angle(given);
        if is_mixed {
            let name = &self.map.channels[channel].name;
            let (wanted, given) = (spelled(input), spelled(given));
            let message = format!(
                "table `{table}` is entered in `{wanted}`, but `{name}` is given in `{given}`"
            );
            self.mistake_with(span, UnitMisfit, message, "an angle is not a share of full");
        }
    }

    fn table(&mut self, fact: &'t Fact) -> Option<(Table, KnownTable)> {
        let unit = |form| match fact.slots_of(form) {
            Some([Slot::Unit(unit, _), ..]) => Some(*unit),
            _ => None,
        };
        let (input, output) = (unit(FormName::Input), unit(FormName::Output));
        let second = unit(FormName::SecondInput);
        let second_at: &[f64] = match fact.slots_of(FormName::SecondInput) {
            Some([_, Slot::Numbers(at, span)]) if !at.is_sorted_by(|a, b| a < b) => {
                let message = "the points of the second input do not rise";
                self.mistake(*span, TableNotRising, message);
                return None;
            }
            Some([_, Slot::Numbers(at, _)]) => at,
            _ => &[],
        };
        for (unit, word, line) in [
            (input, "input", "input deg"),
            (output, "output", "output N.m"),
        ] {
            if unit.is_none() {
                let message = format!("the table does not state the unit of its {word}");
                self.missing(fact, &message, &format!("write `{line}`, or another unit"));
            }
        }
        let beyond = match (fact.states(FormName::Hold), fact.states(FormName::Refuse)) {
            (true, _) => Beyond::Hold,
            (false, true) => Beyond::Refuse,
            (false, false) => {
                self.missing(
                    fact,
                    "the table does not say which value it has outside its ends",
                    "write `hold beyond its ends` (the last value) or `refuse beyond its ends` (no value)",
                );
                return None;
            }
        };
        let (x, rows) = self.points(fact, second_at.len().max(1))?;
        let (input, output) = (input?, output?);
        let si = |unit: &Unit, points: &[f64]| -> Vec<f64> {
            points.iter().map(|point| unit.to_si(*point)).collect()
        };
        let table = match second {
            None => Table::one(si(input, &x), si(output, &rows.concat()), beyond),
            Some(second) => {
                // Written one row a first input; kept one row a second input.
                let turned: Vec<f64> = (0..second_at.len())
                    .flat_map(|j| rows.iter().map(move |row| row[j]))
                    .collect();
                let values = si(output, &turned);
                Table::two(si(input, &x), si(second, second_at), values, beyond)
            }
        };
        if table.is_none() {
            // Only numbers that SI cannot tell apart or hold come here.
            let message = "the points of the table are too near or too large";
            self.mistake(fact.head, TableNotRising, message);
        }
        let known = KnownTable {
            index: self.map.tables.len(),
            input,
            second,
            output,
        };
        Some((table?, known))
    }

    fn points(&mut self, fact: &'t Fact, width: usize) -> Option<(Vec<f64>, Vec<Vec<f64>>)> {
        let mut x: Vec<f64> = Vec::new();
        let mut rows: Vec<Vec<f64>> = Vec::new();
        let mut is_sound = true;
        for row in fact.all(FormName::At) {
            let [
                Slot::Number(at, at_span),
                Slot::Numbers(values, values_span),
            ] = row.slots.as_slice()
            else {
                continue;
            };
            if let Some(before) = x.last().filter(|before| *before >= at) {
                let message = format!("the table does not rise: {at} stands after {before}");
                let suggestion = "put its lines in rising order";
                self.mistake_with(*at_span, TableNotRising, message, suggestion);
                is_sound = false;
            }
            if values.len() != width {
                let message = format!("the line gives {} values, expected {width}", values.len());
                let suggestion = match width {
                    1 => "a table of two inputs needs `second input …`",
                    _ => "one for each point of the second input",
                };
                self.mistake_with(*values_span, TableShape, message, suggestion);
                is_sound = false;
            }
            x.push(*at);
            rows.push(values.clone());
        }
        if x.is_empty() && !fact.is_damaged {
            let suggestion = "write lines such as `at 40 gives 180`";
            self.mistake_with(fact.head, TableShape, "the table has no points", suggestion);
        }
        (is_sound && !x.is_empty()).then_some((x, rows))
    }
}

/// Whether a unit measures angles.
pub(super) fn is_angle(unit: &Unit) -> bool {
    matches!(unit.symbol, "deg" | "rad" | "rev")
}
