//! What the number of a sentence may be, and where it goes.
//!
//! Here are the rules alone; the rows that have them stand in `forms`, and `check` applies
//! them.

use halfshaft_model::{Dimension, Toleranced, Unit, Vehicle};

/// What a sentence of the vehicle fills in.
#[derive(Clone, Debug)]
pub enum Fill {
    /// A number with a unit.
    Figure(Figure),
    /// A text.
    Text(fn(&mut Vehicle, String)),
    /// Nothing but that it was written.
    Plain(fn(&mut Vehicle)),
}

/// A number with a unit.
#[derive(Clone, Debug)]
pub struct Figure {
    /// As messages call it; what stands in brackets is left out where a value follows.
    pub what: &'static str,
    /// What it is a number of.
    pub dimension: Dimension,
    /// What it must be.
    pub rule: Rule,
    /// What is believed.
    pub believed: Option<Believed>,
    /// Tolerance, as a share, when none is stated.
    pub share: f64,
    /// Where it goes.
    pub fill: fn(&mut Vehicle, Toleranced),
    /// In the reference.
    pub help: &'static str,
}

/// Lowest and highest believed value, SI, and the unit messages state them in.
pub type Believed = (f64, f64, &'static str);

/// What a figure must be, in SI.
#[derive(Clone, Copy, Debug)]
pub enum Rule {
    /// Above zero.
    AboveZero,
    /// Zero or more.
    NotBelowZero,
    /// Anything.
    Any,
    /// What satisfies this, else the text is the mistake.
    Only(fn(f64) -> bool, &'static str),
}

/// A figure of the vehicle: above zero, and exact unless its tolerance is stated.
pub fn figure(
    what: &'static str,
    dimension: Dimension,
    fill: fn(&mut Vehicle, Toleranced),
) -> Figure {
    Figure {
        what,
        dimension,
        rule: Rule::AboveZero,
        believed: None,
        share: 0.0,
        fill,
        help: "",
    }
}

/// A number above zero that `check` takes itself.
pub fn value(what: &'static str, dimension: Dimension) -> Figure {
    figure(what, dimension, |_, _| {})
}

impl From<Figure> for Fill {
    fn from(figure: Figure) -> Fill {
        Fill::Figure(figure)
    }
}

impl Figure {
    /// It must satisfy this rule.
    pub fn rule(self, rule: Rule) -> Figure {
        Figure { rule, ..self }
    }

    /// Outside this range, SI, it is refused.
    pub fn believed(self, low: f64, high: f64, unit: &'static str) -> Figure {
        Figure {
            believed: Some((low, high, unit)),
            ..self
        }
    }

    /// Its tolerance, as a share, when none is stated.
    pub fn tolerance(self, share: f64) -> Figure {
        Figure { share, ..self }
    }

    /// Its line in the reference.
    pub fn help(self, help: &'static str) -> Figure {
        Figure { help, ..self }
    }
}

/// A believed range as messages and the reference have it.
pub fn range_in_words((low, high, unit): Believed) -> String {
    let Some(unit) = Unit::find(unit) else {
        return String::new();
    };
    let rounded = |si: f64| (unit.from_si(si) * 1e6).round() / 1e6;
    format!("{} to {} {}", rounded(low), rounded(high), unit.symbol)
}

/// A value times a factor, its tolerance with it.
pub fn scaled(value: Toleranced, factor: f64) -> Toleranced {
    Toleranced {
        value: value.value * factor,
        sd: (value.sd * factor).abs(),
    }
}
