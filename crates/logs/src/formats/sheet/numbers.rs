//! Cells to numbers, and which character is the decimal mark.
//!
//! `1,234` is 1.234 in one country and 1234 in another. The mark is what the map says,
//! or what the cells of the first lines leave no doubt of, or an error: a guess would be
//! wrong by a thousand.

/// The decimal mark of a sheet.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Decimal {
    /// Known.
    Mark(u8),
    /// No number with a mark was seen yet.
    Open,
}

/// What one cell says about the decimal mark.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Evidence {
    /// Nothing: no mark in it, or no number.
    None,
    /// The point is the decimal mark.
    Point,
    /// A point before three digits: a decimal point unless commas are.
    PointBeforeThree,
    /// The comma is the decimal mark.
    Comma,
    /// A comma before three digits: decimal or thousands.
    CommaBeforeThree,
}

/// What `cell` says about the decimal mark.
pub(crate) fn evidence(cell: &[u8]) -> Evidence {
    let cell = cell
        .strip_prefix(b"-")
        .or_else(|| cell.strip_prefix(b"+"))
        .unwrap_or(cell);
    let is_number = cell
        .first()
        .is_some_and(|byte| byte.is_ascii_digit() || matches!(byte, b'.' | b','))
        && cell
            .iter()
            .all(|byte| byte.is_ascii_digit() || b".,eE+-' ".contains(byte));
    if !is_number {
        return Evidence::None;
    }
    let count = |mark: u8| cell.iter().filter(|&&byte| byte == mark).count();
    let last = |mark: u8| cell.iter().rposition(|&byte| byte == mark);
    match (count(b'.'), count(b',')) {
        (0, 0) => Evidence::None,
        (1, 0) if is_before_three(cell, b'.') => Evidence::PointBeforeThree,
        (1, 0) => Evidence::Point,
        (0, 1) if is_before_three(cell, b',') => Evidence::CommaBeforeThree,
        (0, 1) => Evidence::Comma,
        // A mark that stands twice parts thousands, so the other one is decimal.
        (0, _) => Evidence::Point,
        (_, 0) => Evidence::Comma,
        (points, commas) => match (last(b'.') > last(b','), points, commas) {
            (true, 1, _) => Evidence::Point,
            (false, _, 1) => Evidence::Comma,
            _ => Evidence::None,
        },
    }
}

/// Whether the one mark of the cell could part thousands: 1 to 3 digits before it, not
/// a lone 0, and three after it.
fn is_before_three(cell: &[u8], mark: u8) -> bool {
    let Some(at) = cell.iter().position(|&byte| byte == mark) else {
        return false;
    };
    let (before, after) = (&cell[..at], &cell[at + 1..]);
    (1..=3).contains(&before.len())
        && before[0] != b'0'
        && before.iter().all(u8::is_ascii_digit)
        && after.len() == 3
        && after.iter().all(u8::is_ascii_digit)
}

/// The number in a cell; `None` when it is none, is not finite or parts thousands wrongly.
pub(crate) fn number(cell: &[u8], decimal: Decimal) -> Option<f64> {
    let mark = match decimal {
        Decimal::Mark(mark) => mark,
        Decimal::Open => match evidence(cell) {
            Evidence::None | Evidence::Point | Evidence::PointBeforeThree => b'.',
            Evidence::Comma => b',',
            Evidence::CommaBeforeThree => return None,
        },
    };
    let first = cell
        .strip_prefix(b"-")
        .or_else(|| cell.strip_prefix(b"+"))
        .unwrap_or(cell)
        .first();
    // Words such as `inf` and `nan` are no readings.
    if !first.is_some_and(|byte| byte.is_ascii_digit() || *byte == mark) {
        return None;
    }
    let plain = if mark == b'.' {
        fast_float2::parse::<f64, _>(cell).ok()
    } else {
        None
    };
    match plain {
        Some(number) => Some(number),
        None => rewritten(cell, mark),
    }
    .filter(|number| number.is_finite())
}

/// The number after thousands marks are taken out and the decimal mark made a point.
fn rewritten(cell: &[u8], mark: u8) -> Option<f64> {
    let mut plain = [0_u8; 64];
    let mut n = 0;
    let mut put = |byte: u8| {
        let place = plain.get_mut(n)?;
        *place = byte;
        n += 1;
        Some(())
    };
    let mut rest = cell;
    let mut thousands = None;
    // Digits since the last thousands mark, or since the beginning.
    let mut n_digits = 0;
    let mut is_fraction = false;
    while let Some((&byte, after)) = rest.split_first() {
        rest = after;
        let is_group_end = thousands.is_none() || n_digits == 3;
        match byte {
            b'0'..=b'9' => {
                n_digits += 1;
                put(byte)?;
            }
            _ if byte == mark && !is_fraction => {
                if !is_group_end {
                    return None;
                }
                is_fraction = true;
                thousands = None;
                put(b'.')?;
            }
            b'.' | b',' | b'\'' | b' ' | 0xC2 if !is_fraction => {
                // A no-break space is two bytes of UTF-8.
                if byte == 0xC2 {
                    rest = rest.strip_prefix(b"\xA0")?;
                }
                let is_first = thousands.is_none() && (1..=3).contains(&n_digits);
                let is_next = thousands == Some(byte) && n_digits == 3;
                if !is_first && !is_next {
                    return None;
                }
                thousands = Some(byte);
                n_digits = 0;
            }
            b'e' | b'E' | b'+' | b'-' => {
                if !is_group_end {
                    return None;
                }
                // What follows an exponent holds no marks; the parser below sees to its form.
                is_fraction |= matches!(byte, b'e' | b'E');
                thousands = None;
                put(byte)?;
            }
            _ => return None,
        }
    }
    if thousands.is_some() && n_digits != 3 {
        return None;
    }
    fast_float2::parse::<f64, _>(plain.get(..n)?).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(cell: &str, point: Option<f64>, comma: Option<f64>) {
        let both = [b'.', b','].map(|mark| number(cell.as_bytes(), Decimal::Mark(mark)));
        assert_eq!(both, [point, comma], "{cell}");
    }

    #[test]
    fn numbers_follow_the_decimal_mark() {
        check("12", Some(12.0), Some(12.0));
        check("-0.5", Some(-0.5), None);
        check("+3,25", None, Some(3.25));
        check("1e3", Some(1000.0), Some(1000.0));
        check("-1,5E-2", None, Some(-0.015));
        check(",5", None, Some(0.5));
        check("1,234", Some(1234.0), Some(1.234));
        check("1.234", Some(1.234), Some(1234.0));
        check("1.234.567,5", None, Some(1_234_567.5));
        check("-12,345,678.25", Some(-12_345_678.25), None);
        check("1 234.5", Some(1234.5), None);
        check("1\u{a0}234,5", None, Some(1234.5));
        check("12'345", Some(12345.0), Some(12345.0));
        check("-1,234", Some(-1234.0), Some(-1.234));
    }

    #[test]
    fn text_is_no_number() {
        for cell in [
            "",
            "-",
            "abc",
            "nan",
            "inf",
            "-inf",
            "=1+1",
            "<b>1</b>",
            "1 2",
            "1,2,3",
            "1..2",
            "1.2.3",
            "0x10",
            "1e999",
            "12 34",
            "1,23,456",
            "1,2345,678",
            "--1",
            "1-",
            "1e",
            "1,234,",
            ".",
        ] {
            check(cell, None, None);
        }
        check(&"1".repeat(400), None, None);
    }

    #[track_caller]
    fn says(cell: &str, expected: Evidence) {
        assert_eq!(evidence(cell.as_bytes()), expected, "{cell}");
    }

    #[test]
    fn only_a_comma_before_three_digits_is_in_doubt() {
        says("1234", Evidence::None);
        says("word,word", Evidence::None);
        says("1.5", Evidence::Point);
        says("1.234", Evidence::PointBeforeThree);
        says("1,5", Evidence::Comma);
        says("0,234", Evidence::Comma);
        says("1234,567", Evidence::Comma);
        says("-1,234", Evidence::CommaBeforeThree);
        says("1,234,567", Evidence::Point);
        says("1.234.567", Evidence::Comma);
        says("1,234.5", Evidence::Point);
        says("1.234,5", Evidence::Comma);
        assert_eq!(number(b"1,234", Decimal::Open), None);
        assert_eq!(number(b"1,5", Decimal::Open), Some(1.5));
    }
}
