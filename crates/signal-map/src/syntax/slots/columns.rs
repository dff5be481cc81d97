//! Columns of sheets and how their time is written.

use super::cursor::{Cursor, Fault};
use super::numbers::unit;
use super::{Slot, SlotKind, spelled, text, wrong};
use crate::mistakes::MistakeCode;
use crate::syntax::lexer::Kind;
use halfshaft_model::sheet::{ColumnRef, TimeKind};

fn column_number(cursor: &mut Cursor) -> Result<usize, Fault> {
    let token = cursor.peek().filter(|token| token.kind == Kind::Number);
    let number = token
        .and_then(|token| token.text.parse::<usize>().ok())
        .filter(|number| (1..=10_000).contains(number));
    let number =
        number.ok_or_else(|| cursor.wanted("the number of a column, the first being 1"))?;
    cursor.skip(1);
    cursor.say(&number.to_string());
    Ok(number)
}

pub(super) fn column(cursor: &mut Cursor) -> Result<ColumnRef, Fault> {
    if cursor.take("column") {
        cursor.say("column");
        return Ok(ColumnRef::Position(column_number(cursor)?));
    }
    let mut headers = vec![text(cursor, SlotKind::Column.wanted())?];
    while cursor.take("or") {
        cursor.say("or");
        headers.push(text(cursor, SlotKind::Column.wanted())?);
    }
    Ok(ColumnRef::Header(headers))
}

pub(super) fn columns(cursor: &mut Cursor) -> Result<Slot, Fault> {
    let from = cursor.here();
    if !cursor.take("columns") {
        let one = column(cursor)?;
        return Ok(Slot::Columns(vec![one], from.to(cursor.behind())));
    }
    cursor.say("columns");
    let first = column_number(cursor)?;
    if !cursor.take("to") {
        return Err(cursor.wanted("`to` and the last column"));
    }
    cursor.say("to");
    let last = column_number(cursor)?;
    if last < first || last - first >= 64 {
        return Err(Fault {
            code: MistakeCode::RangeEmpty,
            ..wrong(
                from.to(cursor.behind()),
                "bytes are in 1 to 64 columns, the first one first",
            )
        });
    }
    Ok(Slot::Columns(
        (first..=last).map(ColumnRef::Position).collect(),
        from.to(cursor.behind()),
    ))
}

pub(super) fn time_kind(cursor: &mut Cursor) -> Result<Slot, Fault> {
    let from = cursor.here();
    if cursor.take("clock") {
        if !cursor.take("time") {
            return Err(cursor.wanted("`time`"));
        }
        cursor.say("clock time");
        return Ok(Slot::TimeKind(
            TimeKind::ClockTime,
            from.to(cursor.behind()),
        ));
    }
    if cursor.take("ISO") {
        if !cursor.take("8601") {
            return Err(cursor.wanted("`8601`"));
        }
        cursor.say("ISO 8601");
        return Ok(Slot::TimeKind(TimeKind::Iso8601, from.to(cursor.behind())));
    }
    let (unit, span) = unit(cursor)?;
    if unit.dimension != halfshaft_model::Dimension::TIME {
        return Err(Fault {
            span,
            code: MistakeCode::UnitMisfit,
            message: format!(
                "`{}` is {}, wanted {}",
                spelled(unit),
                unit.dimension.describe(),
                SlotKind::TimeKind.wanted()
            ),
            suggestion: String::new(),
        });
    }
    Ok(Slot::TimeKind(
        TimeKind::Number {
            seconds_per_unit: unit.factor,
        },
        span,
    ))
}
