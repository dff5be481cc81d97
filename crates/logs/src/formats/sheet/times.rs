//! Time cells to stamps.
//!
//! Numbers in seconds, milliseconds, microseconds or nanoseconds are taken digit by
//! digit, because seconds since 1970 do not fit in a float to the microsecond. A clock
//! time that passes midnight gets a day more; a row out of order beside midnight does
//! not get a second one.

use halfshaft_model::Stamp;
use halfshaft_model::constants::NS_PER_S;
use halfshaft_model::sheet::TimeKind;

use super::numbers::{self, Decimal};
use super::order::WINDOW_NS;

const DAY_NS: i64 = 86_400 * NS_PER_S;

/// Reads the time of one row after the other.
pub(crate) struct Times {
    kind: TimeKind,
    // For clock times: nanoseconds of the midnights passed, and the time of day before.
    day_ns: i64,
    before_ns: Option<i64>,
    // For the row clock.
    n_rows: u64,
}

impl Times {
    pub fn new(kind: TimeKind) -> Times {
        Times {
            kind,
            day_ns: 0,
            before_ns: None,
            n_rows: 0,
        }
    }

    /// The time of the next row; `cell` is not looked at with a row clock.
    pub fn next(&mut self, cell: &[u8], decimal: Decimal) -> Option<Stamp> {
        match self.kind {
            TimeKind::Number { seconds_per_unit } => number(cell, decimal, seconds_per_unit),
            TimeKind::Iso8601 => iso_8601(cell),
            TimeKind::ClockTime => clock_time(cell).map(|time| self.with_day(time)),
            TimeKind::RowClock { period_s } => {
                let stamp = in_range(self.n_rows as f64 * period_s * NS_PER_S as f64);
                self.n_rows += 1;
                stamp
            }
        }
    }

    /// Undoes a row of the row clock: what was taken for a row was none.
    pub fn take_back(&mut self) {
        self.n_rows = self.n_rows.saturating_sub(1);
    }

    fn with_day(&mut self, time_ns: i64) -> Stamp {
        let step = time_ns - self.before_ns.unwrap_or(time_ns);
        if step > DAY_NS - WINDOW_NS {
            // A late row from before the midnight just passed.
            return Stamp(self.day_ns - DAY_NS + time_ns);
        }
        if step < -DAY_NS / 2 {
            self.day_ns = self.day_ns.saturating_add(DAY_NS);
        }
        self.before_ns = Some(time_ns);
        Stamp(self.day_ns.saturating_add(time_ns))
    }
}

/// Whether a cell reads as a time of that kind, whatever the decimal mark.
pub(crate) fn is_time(cell: &[u8], kind: TimeKind) -> bool {
    match kind {
        TimeKind::RowClock { .. } => true,
        _ => [Decimal::Mark(b'.'), Decimal::Mark(b',')]
            .iter()
            .any(|&decimal| Times::new(kind).next(cell, decimal).is_some()),
    }
}

fn in_range(ns: f64) -> Option<Stamp> {
    // Below 2^63, so that the conversion is exact about its range.
    if ns.abs() < 9.2e18 {
        Some(Stamp(ns.round() as i64))
    } else {
        None
    }
}

fn number(cell: &[u8], decimal: Decimal, seconds_per_unit: f64) -> Option<Stamp> {
    let ns_per_unit = seconds_per_unit * NS_PER_S as f64;
    let is_whole =
        (1.0..=1e15).contains(&ns_per_unit) && (ns_per_unit - ns_per_unit.round()).abs() < 1e-6;
    if is_whole && let Some(ns) = digits(cell, decimal, ns_per_unit.round() as i128) {
        return i64::try_from(ns).ok().map(Stamp);
    }
    in_range(numbers::number(cell, decimal)? * ns_per_unit)
}

/// Plain digits with at most one decimal mark, exact to the nanosecond; `None` for any
/// other form, which the caller reads as a float.
fn digits(cell: &[u8], decimal: Decimal, ns_per_unit: i128) -> Option<i128> {
    let mark = match decimal {
        Decimal::Mark(mark) => mark,
        Decimal::Open => b'.',
    };
    let (is_negative, cell) = match cell.strip_prefix(b"-") {
        Some(rest) => (true, rest),
        None => (false, cell),
    };
    if cell.is_empty() || cell.len() > 32 {
        return None;
    }
    let (whole, fraction) = match cell.iter().position(|&byte| byte == mark) {
        Some(at) => (&cell[..at], &cell[at + 1..]),
        None => (cell, &[][..]),
    };
    if whole.is_empty() || whole.len() > 19 {
        return None;
    }
    let mut ns = decimal_number(whole)?.checked_mul(ns_per_unit)?;
    // Eighteen decimals of any unit are far below a nanosecond.
    let kept = &fraction[..fraction.len().min(18)];
    if !fraction.iter().all(u8::is_ascii_digit) {
        return None;
    }
    if !kept.is_empty() {
        let scale = 10_i128.pow(kept.len() as u32);
        ns += (decimal_number(kept)?.checked_mul(ns_per_unit)? + scale / 2) / scale;
    }
    Some(if is_negative { -ns } else { ns })
}

fn decimal_number(digits: &[u8]) -> Option<i128> {
    digits.iter().try_fold(0_i128, |number, byte| {
        byte.is_ascii_digit()
            .then(|| number * 10 + i128::from(byte - b'0'))
    })
}

/// `hh:mm:ss` with decimals after a point or a comma, as nanoseconds of the day.
fn clock_time(cell: &[u8]) -> Option<i64> {
    let mut parts = cell.splitn(3, |&byte| byte == b':');
    let (hours, minutes, seconds) = (parts.next()?, parts.next()?, parts.next()?);
    let two = |digits: &[u8], below: i128| {
        let is_short = (1..=2).contains(&digits.len());
        if is_short {
            decimal_number(digits).filter(|&number| number < below)
        } else {
            None
        }
    };
    let mark = if seconds.contains(&b',') { b',' } else { b'.' };
    let whole = seconds.split(|&byte| byte == mark).next()?;
    // A leap second is a second.
    two(whole, 61)?;
    let ns = (two(hours, 24)? * 60 + two(minutes, 60)?) * 60 * i128::from(NS_PER_S)
        + digits(seconds, Decimal::Mark(mark), i128::from(NS_PER_S))?;
    i64::try_from(ns).ok()
}

/// Date and time by ISO 8601; without an offset it is taken as UTC.
fn iso_8601(cell: &[u8]) -> Option<Stamp> {
    let text = std::str::from_utf8(cell)
        .ok()
        .filter(|text| text.len() <= 64)?;
    let instant = match text.parse::<jiff::Timestamp>() {
        Ok(instant) => instant,
        Err(_) => text
            .parse::<jiff::civil::DateTime>()
            .ok()?
            .to_zoned(jiff::tz::TimeZone::UTC)
            .ok()?
            .timestamp(),
    };
    i64::try_from(instant.as_nanosecond()).ok().map(Stamp)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(kind: TimeKind, cells: &str, expected: &[Option<i64>]) {
        let mut times = Times::new(kind);
        let found: Vec<Option<i64>> = cells
            .split('|')
            .map(|cell| {
                times
                    .next(cell.as_bytes(), Decimal::Mark(b'.'))
                    .map(|stamp| stamp.0)
            })
            .collect();
        assert_eq!(found, expected, "{cells}");
    }

    #[test]
    fn numbers_are_exact_to_the_nanosecond() {
        let seconds = TimeKind::Number {
            seconds_per_unit: 1.0,
        };
        check(
            seconds,
            "1580765471.675426|1580765471.6766222|0|-1.5|x||1e3|1580765471.1234567891",
            &[
                Some(1_580_765_471_675_426_000),
                Some(1_580_765_471_676_622_200),
                Some(0),
                Some(-1_500_000_000),
                None,
                None,
                Some(1_000_000_000_000),
                Some(1_580_765_471_123_456_789),
            ],
        );
        check(
            TimeKind::Number {
                seconds_per_unit: 0.001,
            },
            "12.5|7",
            &[Some(12_500_000), Some(7_000_000)],
        );
        check(
            TimeKind::Number {
                seconds_per_unit: 1e-9,
            },
            "12|1e30",
            &[Some(12), None],
        );
        check(
            TimeKind::Number {
                seconds_per_unit: 1e-10,
            },
            "25",
            &[Some(3)],
        );
        check(seconds, "0.0000000015|-0.0000000016", &[Some(2), Some(-2)]);
        check(seconds, "99999999999999999999|9300000000.0", &[None, None]);
    }

    #[test]
    fn clock_time_passes_midnight_once() {
        let s = NS_PER_S;
        check(
            TimeKind::ClockTime,
            "23:59:59.5|00:00:00,5|23:59:59.8|0:0:1|01:00:00|00:59:59.9",
            &[
                Some(86_399 * s + s / 2),
                Some(86_400 * s + s / 2),
                Some(86_399 * s + s / 10 * 8),
                Some(86_401 * s),
                Some(90_000 * s),
                Some(90_000 * s - s / 10),
            ],
        );
        check(
            TimeKind::ClockTime,
            "24:00:00|1:60:00|1:2|a:b:c|1:2:3:4|:::|001:00:00",
            &[None; 7],
        );
        // A pause of 13 hours is no step back over midnight.
        check(
            TimeKind::ClockTime,
            "08:00:00|21:00:00",
            &[Some(28_800 * s), Some(75_600 * s)],
        );
    }

    #[test]
    fn iso_8601_with_and_without_offset() {
        let t = 1_580_765_471_000_000_000;
        check(
            TimeKind::Iso8601,
            "2020-02-03T21:31:11Z|2020-02-03 21:31:11|2020-02-03 21:31:11,25|2020-02-03T22:31:11.25+01:00|2020-02-30T00:00:00|x",
            &[
                Some(t),
                Some(t),
                Some(t + 250_000_000),
                Some(t + 250_000_000),
                None,
                None,
            ],
        );
    }

    #[test]
    fn the_row_clock_counts_rows() {
        check(
            TimeKind::RowClock { period_s: 0.02 },
            "a|b|c",
            &[Some(0), Some(20_000_000), Some(40_000_000)],
        );
        check(TimeKind::RowClock { period_s: f64::NAN }, "a", &[None]);
    }
}
