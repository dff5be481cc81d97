//! Columns of sheets and how their time is written.

use super::cursor::Cursor;
use super::numbers::unit;
use super::{Slot, SlotKind, spelled, text};
use crate::mistakes::{Fault, MistakeCode};
use crate::syntax::lexer::Kind;
use halfshaft_model::Dimension;
use halfshaft_model::sheet::{ColumnRef, TimeKind};

fn column_number(cursor: &mut Cursor) -> Result<usize, Fault> {
    let token = cursor.peek().filter(|token| token.kind == Kind::Number);
    let number = token
        .and_then(|token| token.text.parse::<usize>().ok())
        .filter(|number| (1..=10_000).contains(number))
        .ok_or_else(|| cursor.expected("the number of a column, the first being 1"))?;
    cursor.skip(1);
    cursor.spell(&number.to_string());
    Ok(number)
}

pub(super) fn column(cursor: &mut Cursor) -> Result<ColumnRef, Fault> {
    if cursor.accept("column") {
        return Ok(ColumnRef::Position(column_number(cursor)?));
    }
    let mut headers = vec![text(cursor, SlotKind::Column.expected())?];
    while cursor.accept("or") {
        headers.push(text(cursor, SlotKind::Column.expected())?);
    }
    Ok(ColumnRef::Header(headers))
}

pub(super) fn columns(cursor: &mut Cursor) -> Result<Vec<ColumnRef>, Fault> {
    let from = cursor.here();
    if !cursor.accept("columns") {
        return Ok(vec![column(cursor)?]);
    }
    let first = column_number(cursor)?;
    if !cursor.accept("to") {
        return Err(cursor.expected("`to` and the last column"));
    }
    let last = column_number(cursor)?;
    if last < first || last - first >= 64 {
        return Err(Fault::new(
            from.to(cursor.behind()),
            MistakeCode::RangeEmpty,
            "bytes are in 1 to 64 columns, the first one first",
        ));
    }
    Ok((first..=last).map(ColumnRef::Position).collect())
}

pub(super) fn time_kind(cursor: &mut Cursor) -> Result<Slot, Fault> {
    let from = cursor.here();
    for (first, second, kind) in [
        ("clock", "time", TimeKind::ClockTime),
        ("ISO", "8601", TimeKind::Iso8601),
    ] {
        if cursor.accept(first) {
            if !cursor.accept(second) {
                return Err(cursor.expected(&format!("`{second}`")));
            }
            return Ok(Slot::TimeKind(kind, from.to(cursor.behind())));
        }
    }
    let (unit, span) = unit(cursor)?;
    if unit.dimension != Dimension::TIME {
        let (found, wanted) = (unit.dimension.describe(), SlotKind::TimeKind.expected());
        let message = format!("`{}` is {found}, expected {wanted}", spelled(unit));
        return Err(Fault::new(span, MistakeCode::UnitMisfit, message));
    }
    let seconds_per_unit = unit.factor;
    Ok(Slot::TimeKind(TimeKind::Number { seconds_per_unit }, span))
}
