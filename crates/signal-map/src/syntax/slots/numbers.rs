//! Numbers, units, tolerances; bit rates and tyre sizes.

use super::cursor::{Cursor, did_you_mean, visible};
use super::{Quantity, Slot, SlotKind, Tolerance, wrong};
use crate::mistakes::{Fault, MistakeCode, Span};
use crate::suggest;
use crate::syntax::lexer::Kind;
use halfshaft_model::Unit;
use halfshaft_model::unit::UNITS;

pub(super) fn number(cursor: &mut Cursor) -> Result<f64, Fault> {
    let sign = cursor.peek().map_or("", |token| token.text);
    let offset = usize::from(matches!(sign, "-" | "+"));
    let token = cursor
        .peek_at(offset)
        .filter(|token| token.kind == Kind::Number);
    let parsed = token.and_then(|token| Some((token, token.text.parse::<f64>().ok()?)));
    let (token, value) = parsed.ok_or_else(|| cursor.expected(SlotKind::Number.expected()))?;
    if !value.is_finite() {
        return Err(wrong(token.span, "the number is too large"));
    }
    cursor.skip(offset + 1);
    if sign == "-" {
        cursor.spell(&format!("-{}", token.text));
        return Ok(-value);
    }
    cursor.spell(token.text);
    Ok(value)
}

/// How a unit is spelled in standard form: a pure number's is a word, which
/// cannot be taken for a number.
pub fn spelled(unit: &Unit) -> &'static str {
    if unit.symbol == "1" {
        "none"
    } else {
        unit.symbol
    }
}

/// The unit ahead: all tokens that touch.
pub(super) fn unit(cursor: &mut Cursor) -> Result<(&'static Unit, Span), Fault> {
    let is_possible = |kind| matches!(kind, Kind::Word | Kind::Number);
    let missing = || Fault {
        code: MistakeCode::MissingUnit,
        ..cursor.expected("a unit")
    };
    let (n, span) = cursor.touching();
    let (Some(span), Some(first)) = (span, cursor.peek()) else {
        return Err(missing());
    };
    let spelling = cursor.joined(n);
    let Some(unit) = Unit::find(&spelling) else {
        if !is_possible(first.kind) {
            return Err(missing());
        }
        return Err(unknown_unit(&spelling, span));
    };
    cursor.skip(n);
    cursor.spell(spelled(unit));
    Ok((unit, span))
}

fn unknown_unit(spelling: &str, span: Span) -> Fault {
    let mut known = UNITS.iter().map(spelled);
    // Short symbols are near to one another; only an equal but for case is a slip.
    let near = if spelling.chars().count() <= 2 {
        let same = known
            .clone()
            .find(|symbol| symbol.eq_ignore_ascii_case(spelling));
        same.or_else(|| known.find(|symbol| symbol.starts_with(spelling)))
    } else {
        suggest::nearest(spelling, known)
    };
    let message = format!("`{}` is not a unit this program knows", visible(spelling));
    let suggestion = near.map_or(String::new(), |near| format!("did you mean `{near}`?"));
    Fault::with(span, MistakeCode::UnknownUnit, message, suggestion)
}

pub(super) fn quantity(cursor: &mut Cursor) -> Result<Quantity, Fault> {
    let from = cursor.here();
    let value = number(cursor)?;
    let is_unit_next = cursor
        .peek()
        .is_some_and(|token| matches!(token.kind, Kind::Word | Kind::Number));
    if !is_unit_next {
        return Err(Fault::with(
            from.to(cursor.behind()),
            MistakeCode::MissingUnit,
            "the number has no unit",
            "write its unit after it; `none` for a pure number",
        ));
    }
    let (unit, unit_span) = unit(cursor)?;
    let span = from.to(unit_span);
    Ok(Quantity {
        value,
        unit,
        span,
        unit_span,
    })
}

pub(super) fn tolerance(cursor: &mut Cursor, with_unit: bool) -> Result<Option<Tolerance>, Fault> {
    if !cursor.take("+/-") && !cursor.take("±") {
        return Ok(None);
    }
    cursor.spell("+/-");
    if cursor.peek().is_some_and(|token| token.text == "-") {
        return Err(cursor.expected("a tolerance above zero"));
    }
    if !with_unit && cursor.peek_at(1).is_none() {
        return Ok(Some(Tolerance::Number(number(cursor)?)));
    }
    let quantity = quantity(cursor)?;
    Ok(Some(match quantity.unit.symbol {
        "%" => Tolerance::Share(quantity.unit.difference_to_si(quantity.value)),
        _ => Tolerance::Quantity(quantity),
    }))
}

/// Units of a bit rate, in bit/s.
const BIT_RATES: [(&str, f64); 3] = [("bit/s", 1.0), ("kbit/s", 1e3), ("Mbit/s", 1e6)];

pub(super) fn bit_rate(cursor: &mut Cursor) -> Result<Slot, Fault> {
    let value = number(cursor)?;
    let (n, span) = cursor.touching();
    let spelling = cursor.joined(n);
    let Some((_, factor)) = BIT_RATES.iter().find(|(symbol, _)| *symbol == spelling) else {
        let code = if n == 0 {
            MistakeCode::MissingUnit
        } else {
            MistakeCode::UnknownUnit
        };
        return Err(Fault::with(
            span.unwrap_or(cursor.here()),
            code,
            "a bit rate is given in `bit/s`, `kbit/s` or `Mbit/s`",
            did_you_mean(&spelling, BIT_RATES.map(|(symbol, _)| symbol)),
        ));
    };
    if value <= 0.0 {
        return Err(wrong(cursor.behind(), "a bit rate is above zero"));
    }
    cursor.skip(n);
    cursor.spell(&spelling);
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
    let from = cursor.here();
    let part = |n: usize| cursor.peek_at(n).map_or("", |token| token.text);
    let (width, slash, aspect, rim) = (part(0), part(1), part(2), part(3));
    let rim = rim
        .trim_start_matches(['Z', 'z'])
        .strip_prefix(['R', 'r'])
        .unwrap_or_default();
    let number = |text: &str, low: f64, high: f64| {
        text.parse::<f64>()
            .ok()
            .filter(|value| (low..=high).contains(value))
    };
    let size = (
        number(width, 100.0, 500.0),
        number(aspect, 20.0, 100.0),
        number(rim, 10.0, 30.0),
    );
    let ((Some(width_mm), Some(aspect_percent), Some(rim_in)), "/") = (size, slash) else {
        let wanted = SlotKind::Tyre.expected();
        return Err(Fault {
            span: Span::from(from.start..cursor.end.end.max(from.end)),
            message: format!("the tyre size is not understood; expected {wanted}"),
            ..cursor.expected(wanted)
        });
    };
    cursor.skip(4);
    cursor.spell(&format!("{width}/{aspect} R{rim}"));
    Ok(Slot::Tyre(rolling_radius_m(
        width_mm,
        aspect_percent,
        rim_in,
    )))
}
