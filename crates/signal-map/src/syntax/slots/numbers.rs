//! Numbers, units, tolerances; bit rates and tyre sizes.

use super::cursor::{Cursor, Fault, did_you_mean, visible};
use super::{Quantity, Slot, SlotKind, Tolerance, wrong};
use crate::mistakes::{MistakeCode, Span};
use crate::suggest;
use crate::syntax::lexer::Kind;
use halfshaft_model::Unit;
use halfshaft_model::unit::UNITS;

pub(super) fn number(cursor: &mut Cursor) -> Result<f64, Fault> {
    let wanted = SlotKind::Number.wanted();
    let sign = cursor
        .peek()
        .filter(|token| matches!(token.text, "-" | "+"));
    let offset = usize::from(sign.is_some());
    let token = cursor
        .peek_at(offset)
        .filter(|token| token.kind == Kind::Number);
    let Some(token) = token else {
        return Err(cursor.wanted(wanted));
    };
    let value: f64 = token.text.parse().map_err(|_| cursor.wanted(wanted))?;
    if !value.is_finite() {
        return Err(wrong(token.span, "the number is too large"));
    }
    cursor.skip(offset + 1);
    let is_negative = sign.is_some_and(|token| token.text == "-");
    let spelling = if is_negative {
        format!("-{}", token.text)
    } else {
        token.text.to_owned()
    };
    cursor.say(&spelling);
    Ok(if is_negative { -value } else { value })
}

/// How a unit is spelled in standard form: a pure number's is a word, so that nobody
/// takes it for a number.
pub fn spelled(unit: &Unit) -> &'static str {
    if unit.symbol == "1" {
        "none"
    } else {
        unit.symbol
    }
}

/// The unit ahead: all tokens that touch.
pub(super) fn unit(cursor: &mut Cursor) -> Result<(&'static Unit, Span), Fault> {
    let (n, span) = cursor.touching();
    let (Some(span), Some(first)) = (span, cursor.peek()) else {
        return Err(Fault {
            code: MistakeCode::MissingUnit,
            ..cursor.wanted("a unit")
        });
    };
    let spelling = cursor.joined(n);
    let Some(unit) = Unit::find(&spelling) else {
        if !matches!(first.kind, Kind::Word | Kind::Number) {
            return Err(Fault {
                code: MistakeCode::MissingUnit,
                ..cursor.wanted("a unit")
            });
        }
        let known = UNITS.iter().map(spelled);
        let of_that_length = spelling.chars().count();
        // Short symbols are near to one another; only an equal but for case is a slip.
        let near = if of_that_length <= 2 {
            let same = known
                .clone()
                .find(|symbol| symbol.eq_ignore_ascii_case(&spelling));
            same.or_else(|| {
                known
                    .into_iter()
                    .find(|symbol| symbol.starts_with(&spelling))
            })
        } else {
            suggest::nearest(&spelling, known)
        };
        return Err(Fault {
            span,
            code: MistakeCode::UnknownUnit,
            message: format!("`{}` is not a unit this program knows", visible(&spelling)),
            suggestion: near.map_or(String::new(), |near| format!("did you mean `{near}`?")),
        });
    };
    cursor.skip(n);
    cursor.say(spelled(unit));
    Ok((unit, span))
}

pub(super) fn quantity(cursor: &mut Cursor) -> Result<Quantity, Fault> {
    let from = cursor.here();
    let value = number(cursor)?;
    let after = cursor.behind();
    let next_is_unit = cursor
        .peek()
        .is_some_and(|token| matches!(token.kind, Kind::Word | Kind::Number));
    if !next_is_unit {
        return Err(Fault {
            span: from.to(after),
            code: MistakeCode::MissingUnit,
            message: "the number has no unit".to_owned(),
            suggestion: "write its unit after it; `none` for a pure number".to_owned(),
        });
    }
    let (unit, unit_span) = unit(cursor)?;
    Ok(Quantity {
        value,
        unit,
        span: from.to(unit_span),
        unit_span,
    })
}

pub(super) fn tolerance(cursor: &mut Cursor, with_unit: bool) -> Result<Option<Tolerance>, Fault> {
    if !cursor.take("+/-") && !cursor.take("±") {
        return Ok(None);
    }
    cursor.say("+/-");
    let is_negative = cursor.peek().is_some_and(|token| token.text == "-");
    if is_negative {
        return Err(cursor.wanted("a tolerance above zero"));
    }
    if !with_unit && cursor.peek_at(1).is_none() {
        return Ok(Some(Tolerance::Number(number(cursor)?)));
    }
    let quantity = quantity(cursor)?;
    if quantity.unit.symbol == "%" {
        return Ok(Some(Tolerance::Share(
            quantity.unit.difference_to_si(quantity.value),
        )));
    }
    Ok(Some(Tolerance::Quantity(quantity)))
}

pub(super) fn bit_rate(cursor: &mut Cursor) -> Result<Slot, Fault> {
    let value = number(cursor)?;
    let (n, span) = cursor.touching();
    let spelling = cursor.joined(n);
    let factor = match spelling.as_str() {
        "bit/s" => 1.0,
        "kbit/s" => 1e3,
        "Mbit/s" => 1e6,
        _ => {
            return Err(Fault {
                span: span.unwrap_or(cursor.here()),
                code: if n == 0 {
                    MistakeCode::MissingUnit
                } else {
                    MistakeCode::UnknownUnit
                },
                message: "a bit rate is given in `bit/s`, `kbit/s` or `Mbit/s`".to_owned(),
                suggestion: did_you_mean(&spelling, ["bit/s", "kbit/s", "Mbit/s"]),
            });
        }
    };
    if value <= 0.0 {
        return Err(wrong(cursor.behind(), "a bit rate is above zero"));
    }
    cursor.skip(n);
    cursor.say(&spelling);
    Ok(Slot::BitRate(value * factor))
}

/// Rolling circumference per outer diameter. Source: ETRTO standard, from memory.
const ROLLING_PER_DIAMETER: f64 = 3.05;
/// Millimetres in an inch.
const MM_PER_INCH: f64 = 25.4;

/// Rolling radius of a tyre size, m: the outer diameter is the rim and two side walls,
/// D = 25.4 · rim + 2 · width · aspect / 100 (mm), the rolling circumference 3.05 · D.
pub fn rolling_radius_m(width_mm: f64, aspect_percent: f64, rim_in: f64) -> f64 {
    let diameter_mm = rim_in * MM_PER_INCH + 2.0 * width_mm * aspect_percent / 100.0;
    ROLLING_PER_DIAMETER * diameter_mm / 1000.0 / std::f64::consts::TAU
}

pub(super) fn tyre(cursor: &mut Cursor) -> Result<Slot, Fault> {
    let mut from = cursor.here();
    let part = |n: usize| cursor.peek_at(n).map_or("", |token| token.text);
    let (width, slash, aspect, rim) = (part(0), part(1), part(2), part(3));
    let rim_digits = rim.trim_start_matches(['Z', 'z']).strip_prefix(['R', 'r']);
    let number = |text: &str, low: f64, high: f64| {
        text.parse::<f64>()
            .ok()
            .filter(|value| (low..=high).contains(value))
    };
    let size = (
        number(width, 100.0, 500.0),
        number(aspect, 20.0, 100.0),
        rim_digits.and_then(|digits| number(digits, 10.0, 30.0)),
    );
    let ((Some(width_mm), Some(aspect), Some(rim_in)), "/") = (size, slash) else {
        let fault = cursor.wanted(SlotKind::Tyre.wanted());
        from.end = cursor.end.end.max(from.end);
        return Err(Fault {
            span: from,
            message: format!(
                "the tyre size is not understood; wanted {}",
                SlotKind::Tyre.wanted()
            ),
            ..fault
        });
    };
    cursor.skip(4);
    cursor.say(&format!(
        "{width}/{aspect} R{}",
        rim_digits.unwrap_or_default()
    ));
    Ok(Slot::Tyre(rolling_radius_m(width_mm, aspect, rim_in)))
}
