//! Numbers with units: whether the unit fits, and the rules in the row of the sentence.

use super::Check;
use crate::mistakes::MistakeCode::{RangeEmpty, UnitMisfit};
use crate::mistakes::Span;
use crate::suggest;
use crate::syntax::figure::{Believed, Fill, Rule, range_in_words};
use crate::syntax::slots::{Quantity, Slot, Tolerance, spelled};
use crate::syntax::tree::Fact;
use halfshaft_model::unit::UNITS;
use halfshaft_model::{Dimension, Toleranced};

impl Check<'_> {
    /// The number of a fact in SI and its tolerance, as its row has them; else a mistake.
    pub(super) fn figure(&mut self, fact: &Fact) -> Option<Toleranced> {
        let Some(Fill::Figure(figure)) = &fact.form.form().fill else {
            return None;
        };
        let (quantity, tolerance) = match fact.slots.as_slice() {
            [Slot::Quantity(quantity)] => (*quantity, None),
            [Slot::Measure(quantity, tolerance)] => (*quantity, *tolerance),
            _ => return None,
        };
        let si = self.si(quantity, &[figure.dimension], figure.what)?;
        let is_sound = match figure.rule {
            Rule::AboveZero => si > 0.0,
            Rule::NotBelowZero => si >= 0.0,
            Rule::Any => true,
            Rule::Only(is_sound, message) => {
                if !is_sound(si) {
                    self.mistake(quantity.span, RangeEmpty, message);
                }
                true
            }
        };
        if !is_sound {
            self.not_above_zero(quantity.span, figure.what);
            return None;
        }
        if let Some(believed) = figure.believed {
            let what = figure.what.split(" (").next().unwrap_or_default();
            self.believed(quantity, what, believed);
        }
        let sd = self.tolerance(tolerance, si, figure.share, figure.dimension)?;
        Some(Toleranced { value: si, sd })
    }

    /// One standard deviation of a value, SI; `share` of it when none is stated.
    pub(super) fn tolerance(
        &mut self,
        stated: Option<Tolerance>,
        value: f64,
        share: f64,
        dimension: Dimension,
    ) -> Option<f64> {
        match stated {
            None => Some(value * share),
            Some(Tolerance::Share(share)) => Some(value * share),
            Some(Tolerance::Number(number)) => Some(number),
            Some(Tolerance::Quantity(q)) => self
                .fits(q, &[dimension], "the tolerance")
                .then(|| q.unit.difference_to_si(q.value)),
        }
    }

    pub(super) fn not_above_zero(&mut self, span: Span, what: &str) {
        self.mistake(span, RangeEmpty, format!("{what} must be above zero"));
    }

    /// A mistake where the value is not believed; at or below zero has its own mistake.
    pub(super) fn believed(&mut self, quantity: Quantity, what: &str, believed: Believed) {
        let si = quantity.unit.to_si(quantity.value);
        if si > 0.0 && !(believed.0..=believed.1).contains(&si) {
            let (value, unit, range) = (
                quantity.value,
                quantity.unit.symbol,
                range_in_words(believed),
            );
            let message = format!(
                "{what} of {value} {unit}, expected {range}: another unit, or a digit too many?"
            );
            self.mistake(quantity.span, RangeEmpty, message);
        }
    }

    /// The quantity in SI, when its unit is one of a `wanted` dimension.
    pub(super) fn si(
        &mut self,
        quantity: Quantity,
        wanted: &[Dimension],
        what: &str,
    ) -> Option<f64> {
        self.fits(quantity, wanted, what)
            .then(|| quantity.unit.to_si(quantity.value))
    }

    /// Whether the unit is one of a `wanted` dimension; else a mistake.
    pub(super) fn fits(&mut self, quantity: Quantity, wanted: &[Dimension], what: &str) -> bool {
        if wanted.contains(&quantity.unit.dimension) {
            return true;
        }
        let symbol = spelled(quantity.unit);
        let (found, kinds) = (quantity.unit.dimension.describe(), alternatives(wanted));
        let message = format!("`{symbol}` is {found}, but {what} is {kinds}");
        let fitting = UNITS.iter().filter(|unit| wanted.contains(&unit.dimension));
        let suggestion = match suggest::list(fitting.map(spelled), 6) {
            none if none.is_empty() => none,
            listed => format!("units that fit: {listed}"),
        };
        self.mistake_with(quantity.unit_span, UnitMisfit, message, suggestion);
        false
    }
}

/// "a speed, or an angular speed".
pub(super) fn alternatives(dimensions: &[Dimension]) -> String {
    let kinds: Vec<String> = dimensions
        .iter()
        .map(|dimension| dimension.describe())
        .collect();
    kinds.join(", or ")
}
