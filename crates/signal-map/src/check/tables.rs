//! Named tables: points in their units to SI, with their dimensions.

use super::Check;
use crate::map::NamedTable;
use crate::mistakes::{MistakeCode, Span};
use crate::syntax::forms::FormName;
use crate::syntax::slots::{Slot, spelled};
use crate::syntax::tree::Fact;
use halfshaft_model::{Beyond, Dimension, Table, Unit};

/// What formulas and torque sources must know of a table.
#[derive(Clone, Debug)]
pub(super) struct TableInfo {
    /// Index into `Map::tables`; `None` when the table has a mistake of its own.
    pub index: Option<usize>,
    /// Dimension of the first input.
    pub input: Dimension,
    /// Unit of the first input: an angle and a share have one dimension.
    pub input_unit: Option<&'static Unit>,
    /// Dimension of the second input, when there is one.
    pub second: Option<Dimension>,
    /// Dimension of the value.
    pub output: Dimension,
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
                self.gathered
                    .mistake(*span, MistakeCode::WrongForm, message);
            }
            if self.tables.contains_key(name) {
                self.gathered.mistake(
                    *span,
                    MistakeCode::Twice,
                    format!("table `{name}` stands twice"),
                );
            }
            let (index, units) = match self.table(fact) {
                Some((table, units)) => {
                    self.map.tables.push(NamedTable {
                        name: name.clone(),
                        table,
                    });
                    (Some(self.map.tables.len() - 1), Some(units))
                }
                None => (None, None),
            };
            let dimension = |pick: fn(&Units) -> &'static Unit| {
                units
                    .as_ref()
                    .map_or(Dimension::NONE, |units| pick(units).dimension)
            };
            let info = TableInfo {
                index,
                input: dimension(|units| units.input),
                input_unit: units.as_ref().map(|units| units.input),
                second: units
                    .as_ref()
                    .and_then(|units| units.second)
                    .map(|unit| unit.dimension),
                output: dimension(|units| units.output),
            };
            self.tables.insert(name.clone(), info);
        }
    }

    /// Complains when a table over an angle is entered with a share, or the other way.
    pub(super) fn angle_or_ratio(
        &mut self,
        channel: usize,
        input: Option<&'static Unit>,
        table: &str,
        span: Span,
    ) {
        let (Some(input), Some(given)) = (input, self.written_in[channel]) else {
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
            self.gathered.mistake_with(
                span,
                MistakeCode::UnitMisfit,
                message,
                "an angle is not a share of full",
            );
        }
    }

    fn table(&mut self, fact: &'t Fact) -> Option<(Table, Units)> {
        let unit = |form| match fact.slots_of(form) {
            Some([Slot::Unit(unit, _)]) => Some(*unit),
            _ => None,
        };
        let (input, output) = (unit(FormName::Input), unit(FormName::Output));
        let (second, second_at): (Option<&'static Unit>, &[f64]) =
            match fact.slots_of(FormName::SecondInput) {
                Some([Slot::Unit(unit, _), Slot::Numbers(at, span)]) => {
                    if !rises(at) {
                        self.gathered.mistake(
                            *span,
                            MistakeCode::TableNotRising,
                            "the points of the second input do not rise",
                        );
                        return None;
                    }
                    (Some(*unit), at)
                }
                _ => (None, &[]),
            };
        for (is_there, line) in [
            (input.is_some(), "input deg"),
            (output.is_some(), "output N.m"),
        ] {
            if !is_there {
                let word = line.split(' ').next().unwrap_or(line);
                self.missing(
                    fact,
                    format!("the table does not state the unit of its {word}"),
                    &format!("write `{line}`, or another unit"),
                );
            }
        }
        let beyond = match (fact.find(FormName::Hold), fact.find(FormName::Refuse)) {
            (Some(_), _) => Beyond::Hold,
            (None, Some(_)) => Beyond::Refuse,
            (None, None) => {
                self.missing(
                    fact,
                    "the table does not say what holds beyond its ends".to_owned(),
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
        let units = Units {
            input,
            second,
            output,
        };
        let table = match second {
            None => Table::one(si(input, &x), si(output, &rows.concat()), beyond),
            Some(second) => {
                // Written one row a first input; kept one row a second input.
                let turned: Vec<f64> = (0..second_at.len())
                    .flat_map(|j| rows.iter().map(move |row| row[j]))
                    .collect();
                Table::two(
                    si(input, &x),
                    si(second, second_at),
                    si(output, &turned),
                    beyond,
                )
            }
        };
        if table.is_none() {
            // Only numbers that SI cannot tell apart or hold come here.
            self.gathered.mistake(
                fact.head,
                MistakeCode::TableNotRising,
                "the points of the table are too near or too large",
            );
        }
        Some((table?, units))
    }

    fn points(&mut self, fact: &'t Fact, width: usize) -> Option<(Vec<f64>, Vec<Vec<f64>>)> {
        let mut x: Vec<f64> = Vec::new();
        let mut rows: Vec<Vec<f64>> = Vec::new();
        let mut is_sound = true;
        for row in fact.facts.iter().filter(|row| row.form == FormName::At) {
            let [
                Slot::Number(at, at_span),
                Slot::Numbers(values, values_span),
            ] = row.slots.as_slice()
            else {
                continue;
            };
            if let Some(before) = x.last().filter(|before| *before >= at) {
                let message = format!("the table does not rise: {at} stands after {before}");
                self.gathered.mistake_with(
                    *at_span,
                    MistakeCode::TableNotRising,
                    message,
                    "put its lines in rising order",
                );
                is_sound = false;
            }
            if values.len() != width {
                let message = format!("the line gives {} values, wanted {width}", values.len());
                let suggestion = if width == 1 {
                    "a table of two inputs needs `second input …`"
                } else {
                    "one for each point of the second input"
                };
                self.gathered.mistake_with(
                    *values_span,
                    MistakeCode::TableShape,
                    message,
                    suggestion,
                );
                is_sound = false;
            }
            x.push(*at);
            rows.push(values.clone());
        }
        if x.is_empty() {
            if !fact.is_damaged {
                self.gathered.mistake_with(
                    fact.head,
                    MistakeCode::TableShape,
                    "the table has no points",
                    "write lines such as `at 40 gives 180`",
                );
            }
            return None;
        }
        is_sound.then_some((x, rows))
    }
}

/// Whether a unit measures angles.
pub(super) fn is_angle(unit: &Unit) -> bool {
    matches!(unit.symbol, "deg" | "rad" | "rev")
}

struct Units {
    input: &'static Unit,
    second: Option<&'static Unit>,
    output: &'static Unit,
}

fn rises(points: &[f64]) -> bool {
    points.windows(2).all(|pair| pair[0] < pair[1])
}
