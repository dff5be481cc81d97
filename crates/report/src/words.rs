//! Numbers, times and foreign text as a reader wants them.
//!
//! In: values in the units of the results. Out: short text. Three significant digits
//! for an estimate; a number known exactly (its band has no width) keeps its whole
//! digits. A number and its unit are joined by a no-break space. Text that came from a log, a map or a command line passes [`clean`] before it
//! is shown anywhere.

use halfshaft_health::limits::LimitValue;
use halfshaft_health::{Estimate, Figure};
use halfshaft_model::{Span, Time};

/// Kilometres in a mile. Source: the international mile, exact.
pub const KM_PER_MILE: f64 = 1.609_344;

/// A length of time above which it is also given in minutes, s.
const ALSO_IN_MINUTES_S: f64 = 90.0;

/// The sentence where log and map were compared and nothing stood out.
pub const NOTHING_ODD: &str = "Log and map were compared: byte order, scale, period, stuck and doubled signals, left and right, signs. Nothing looks wrong.";

pub use halfshaft_model::personal::clean;

/// Three significant digits. A number that is not finite gives `–`.
pub fn number(value: f64) -> String {
    with_decimals(value, decimals(value))
}

/// Two significant digits, and never fewer whole ones: what a person uses.
pub fn rough(value: f64) -> String {
    with_decimals(value, (decimals(value) - 1).max(0))
}

/// All whole digits, no more than three significant ones behind them.
pub fn exact_number(value: f64) -> String {
    if value.fract() == 0.0 || value.abs() >= 100.0 {
        with_decimals(value, 0)
    } else {
        number(value)
    }
}

/// Decimals that show three significant digits; negative for places before the point.
fn decimals(value: f64) -> i32 {
    if value == 0.0 || !value.is_finite() {
        return 0;
    }
    // Printing rounds first, so that 9.996 counts as 10.0 and not as 9.996.
    let printed = format!("{:.2e}", value.abs());
    let exponent = printed
        .split('e')
        .nth(1)
        .and_then(|digits| digits.parse::<i32>().ok());
    2 - exponent.unwrap_or(0)
}

fn with_decimals(value: f64, decimals: i32) -> String {
    if !value.is_finite() {
        return "–".to_owned();
    }
    // 1e-5 and 1e9 in full would be mostly zeros.
    let magnitude = value.abs();
    if magnitude != 0.0 && (decimals > 6 || magnitude >= 1e9) {
        return format!("{value:.2e}").replace('-', "−");
    }
    let text = if decimals >= 0 {
        format!("{:.*}", decimals as usize, magnitude)
    } else {
        let step = 10_f64.powi(-decimals);
        format!("{:.0}", (magnitude / step).round() * step)
    };
    let is_zero = text.chars().all(|c| matches!(c, '0' | '.'));
    if value < 0.0 && !is_zero {
        format!("−{text}")
    } else {
        text
    }
}

/// Decimals a value is shown with: three significant digits, and more (six at most) when
/// its band is so narrow that both ends would read the same.
fn decimals_in_band(estimate: &Estimate) -> i32 {
    let least = decimals(estimate.value);
    let width = estimate.high - estimate.low;
    if estimate.value == 0.0 || !width.is_finite() || width <= 0.0 {
        return least;
    }
    let that_part_the_ends = (-width.log10()).ceil() as i32;
    that_part_the_ends.clamp(least, least + 3)
}

/// `low to high`, with no more decimals than the value between them has.
pub fn band(estimate: &Estimate) -> String {
    let of_value = decimals_in_band(estimate);
    let is_finer = of_value > decimals(estimate.value);
    let end = |value: f64| {
        let decimals = match () {
            () if is_finer => of_value,
            () if estimate.value == 0.0 => decimals(value),
            () => decimals(value).min(of_value),
        };
        with_decimals(value, decimals)
    };
    match (estimate.low.is_finite(), estimate.high.is_finite()) {
        (true, true) => format!("{} to {}", end(estimate.low), end(estimate.high)),
        (true, false) => format!("{} or more", end(estimate.low)),
        (false, true) => format!("up to {}", end(estimate.high)),
        (false, false) => "–".to_owned(),
    }
}

/// A unit as it is printed: `°C` for `degC`, `N·m` for `N.m`, nothing for a bare number.
pub fn unit(symbol: &str) -> &str {
    match symbol {
        "1" | "count" | "ratio" => "",
        "deg" => "°",
        "degC" => "°C",
        "N.m" => "N·m",
        "m/s2" => "m/s²",
        "W/mm2" => "W/mm²",
        "J/mm2" => "J/mm²",
        "0 to 100" => "of 100",
        other => other,
    }
}

/// A figure as it is shown.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FigureText {
    /// The number alone.
    pub number: String,
    /// Its printed unit.
    pub unit: String,
    /// A long time again, as `27:14`.
    pub minutes: Option<String>,
    /// `low to high`; `None` when the number is known exactly.
    pub band: Option<String>,
    /// The truth is this or more.
    pub is_at_least: bool,
}

impl FigureText {
    /// `at least 312 kJ`.
    pub fn text(&self) -> String {
        let lead = if self.is_at_least { "at least " } else { "" };
        let gap = if self.unit.is_empty() || self.unit == "°" {
            ""
        } else {
            "\u{a0}"
        };
        format!("{lead}{}{gap}{}", self.number, self.unit)
    }
}

impl FigureText {
    /// Whether it is `< so much`: then it has no share of anything.
    pub fn is_bound(&self) -> bool {
        self.number.starts_with('<')
    }
}

/// A figure as it is shown, or why there is none.
pub fn figure_text(figure: &Figure) -> Result<FigureText, String> {
    let estimate = figure.outcome.as_ref().map_err(clean)?;
    if !estimate.value.is_finite() {
        return Err(NOT_FINITE.to_owned());
    }
    let is_exact = estimate.low == estimate.value && estimate.high == estimate.value;
    let is_long = figure.unit == "s" && estimate.value > ALSO_IN_MINUTES_S;
    // A value that the band cannot tell from nothing is an upper bound and no number.
    if estimate.low == 0.0 && estimate.value < 0.05 * estimate.high && estimate.high.is_finite() {
        return Ok(FigureText {
            number: format!("< {}", number(estimate.high)),
            unit: unit(figure.unit).to_owned(),
            minutes: None,
            band: None,
            is_at_least: false,
        });
    }
    Ok(FigureText {
        number: if is_exact {
            exact_number(estimate.value)
        } else {
            with_decimals(estimate.value, decimals_in_band(estimate))
        },
        unit: unit(figure.unit).to_owned(),
        minutes: is_long.then(|| minutes(estimate.value)),
        band: (!is_exact).then(|| band(estimate)),
        is_at_least: estimate.is_at_least,
    })
}

pub use halfshaft_record::value::NOT_FINITE;

/// A measured number with its unit: `1.31 J/mm²`; a ratio with four decimals, since what
/// counts is how far it is from 1.
pub fn measured(value: f64, symbol: &str) -> String {
    let number = if symbol == "ratio" && value.is_finite() {
        format!("{value:.4}")
    } else {
        exact_number(value)
    };
    with_unit(&number, symbol)
}

/// A number as it is printed, with its unit.
pub fn with_unit(number: &str, symbol: &str) -> String {
    match unit(symbol) {
        "" => number.to_owned(),
        "°" => format!("{number}°"),
        unit => format!("{number}\u{a0}{unit}"),
    }
}

/// A length of time: `4.20 s`, and above 90 s also `634 s (10:34)`.
pub fn duration(seconds: f64) -> String {
    if seconds.is_finite() && seconds > ALSO_IN_MINUTES_S {
        format!("{}\u{a0}s ({})", exact_number(seconds), minutes(seconds))
    } else {
        format!("{}\u{a0}s", number(seconds))
    }
}

/// Seconds as `m:ss` or `h:mm:ss`, to the nearest second.
pub fn minutes(seconds: f64) -> String {
    if !seconds.is_finite() {
        return "–".to_owned();
    }
    let sign = if seconds <= -0.5 { "−" } else { "" };
    let whole = seconds.abs().round() as u64;
    let (hours, minutes, seconds) = (whole / 3600, whole / 60 % 60, whole % 60);
    if hours > 0 {
        format!("{sign}{hours}:{minutes:02}:{seconds:02}")
    } else {
        format!("{sign}{minutes}:{seconds:02}")
    }
}

/// At most `n` characters of a text, the cut marked.
pub fn shorten(text: &str, n: usize) -> String {
    match text.char_indices().nth(n) {
        Some((cut, _)) => format!("{}…", &text[..cut]),
        None => text.to_owned(),
    }
}

/// A place in the drive: `3:12`, the second it lies in.
pub fn drive_time(time: Time) -> String {
    minutes(time.seconds().floor())
}

/// A stretch of the drive: `3:12 to 3:16`, or one time when both are the same second.
pub fn stretch(span: Span) -> String {
    let (start, end) = (drive_time(span.start), drive_time(span.end));
    if start == end {
        start
    } else {
        format!("{start} to {end}")
    }
}

/// A count with its noun: `1 gap`, `3 gaps`.
pub fn counted(n: u64, one: &str, many: &str) -> String {
    if n == 1 {
        format!("1 {one}")
    } else {
        format!("{n} {many}")
    }
}

/// Bytes: `812 B`, `1.93 MB`.
pub fn bytes(n: u64) -> String {
    match n {
        0..1_000 => format!("{n}\u{a0}B"),
        1_000..1_000_000 => format!("{}\u{a0}kB", number(n as f64 / 1e3)),
        1_000_000..1_000_000_000 => format!("{}\u{a0}MB", number(n as f64 / 1e6)),
        _ => format!("{}\u{a0}GB", number(n as f64 / 1e9)),
    }
}

/// A share as a percentage: `83 %`; what is not quite all never reads `100 %`, and what
/// is not quite nothing reads `< 1 %`.
pub fn percent(share: f64) -> String {
    if !share.is_finite() {
        return "–".to_owned();
    }
    let rounded = (share * 100.0).round();
    if share > 0.0 && rounded < 1.0 {
        "<\u{a0}1\u{a0}%".to_owned()
    } else if share < 1.0 && rounded >= 100.0 {
        ">\u{a0}99\u{a0}%".to_owned()
    } else {
        format!("{rounded:.0}\u{a0}%")
    }
}

/// A region's short name on a page.
pub fn region(region: halfshaft_health::Region) -> &'static str {
    use halfshaft_health::Region;
    match region {
        Region::Free => "free",
        Region::PreloadDrag => "preload drag",
        Region::WorkingSlip => "slipping under load",
        Region::Held => "held",
        Region::AskedNotHolding => "commanded, not holding",
        Region::HoldingUnasked => "holding without command",
        Region::NotObservable => "not observable",
    }
}

/// First letter upper case, and a full stop: a fragment made a sentence.
pub fn sentence(fragment: &str) -> String {
    let fragment = fragment.trim();
    let mut chars = fragment.chars();
    let Some(first) = chars.next() else {
        return String::new();
    };
    // A channel name or a symbol at the head keeps its case.
    let head = fragment.split([' ', ':', ',']).next().unwrap_or_default();
    let is_plain_word = head
        .chars()
        .all(|c| c.is_alphabetic() || c == ',' || c == '-');
    let mut text: String = if is_plain_word {
        first.to_uppercase().collect()
    } else {
        first.to_string()
    };
    text.push_str(chars.as_str());
    if !text.ends_with(['.', '?', '!', ':']) {
        text.push('.');
    }
    text
}

/// A limit as people write it.
pub fn limit(value: LimitValue) -> String {
    match value {
        LimitValue::Number(value) => value.to_string(),
        LimitValue::Count(value) => value.to_string(),
        LimitValue::Edges(edges) => edges.map(|edge| edge.to_string()).join(", "),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_have_three_significant_digits() {
        let cases = [
            (0.0, "0"),
            (-0.0, "0"),
            (3.0, "3.00"),
            (12.345, "12.3"),
            (9.996, "10.0"),
            (99.96, "100"),
            (312.4, "312"),
            (1634.4, "1630"),
            (999_600.0, "1000000"),
            (0.042_31, "0.0423"),
            (0.000_123_4, "0.000123"),
            (0.000_001_234, "1.23e−6"),
            (-12.34, "−12.3"),
            (2.5e12, "2.50e12"),
            (f64::NAN, "–"),
            (f64::INFINITY, "–"),
        ];
        for (value, text) in cases {
            assert_eq!(number(value), text, "{value}");
        }
        assert_eq!(measured(49.0, "count"), "49");
        assert_eq!(measured(1.0124, "ratio"), "1.0124");
        assert_eq!(measured(1.312, "J/mm2"), "1.31\u{a0}J/mm²");
        assert_eq!(exact_number(1634.4), "1634");
        assert_eq!(exact_number(23.0), "23");
        assert_eq!(exact_number(41.237), "41.2");
    }

    #[track_caller]
    fn check_band(value: f64, low: f64, high: f64, text: &str) {
        let estimate = Estimate {
            value,
            low,
            high,
            is_at_least: false,
        };
        assert_eq!(band(&estimate), text);
    }

    #[test]
    fn a_band_is_no_finer_than_its_value() {
        check_band(312.0, 268.3, 356.2, "268 to 356");
        check_band(1.234, 0.981, 10.42, "0.98 to 10.4");
        check_band(1.234, 0.0001, 2.0, "0.00 to 2.00");
        check_band(1634.0, 990.0, 2100.0, "990 to 2100");
        check_band(0.0, 0.0, 0.212, "0 to 0.212");
        check_band(41.0, 38.0, f64::INFINITY, "38.0 or more");
        check_band(41.0, f64::NAN, 43.0, "up to 43.0");
        check_band(1502.4, 1501.9, 1502.9, "1502 to 1503");
        check_band(24.312, 24.302, 24.322, "24.30 to 24.32");
        check_band(1.0, 1.0 - 1e-12, 1.0 + 1e-12, "1.00000 to 1.00000");
        check_band(-5.0, -8.0, -2.0, "−8.00 to −2.00");
    }

    #[test]
    fn long_times_are_given_in_minutes_too() {
        for (seconds, text) in [
            (0.0, "0 s"),
            (4.2, "4.20 s"),
            (90.0, "90.0 s"),
            (90.4, "90.4 s (1:30)"),
            (634.4, "634 s (10:34)"),
            (7384.0, "7384 s (2:03:04)"),
        ] {
            assert_eq!(duration(seconds).replace('\u{a0}', " "), text);
        }
        assert_eq!(drive_time(Time(192_999_000_000)), "3:12");
        let span = Span {
            start: Time(192_000_000_000),
            end: Time(196_400_000_000),
        };
        assert_eq!(stretch(span), "3:12 to 3:16");
    }

    #[test]
    fn shares_next_to_all_and_next_to_nothing_say_so() {
        for (share, text) in [
            (0.0, "0 %"),
            (0.001, "< 1 %"),
            (0.834, "83 %"),
            (0.999, "> 99 %"),
            (1.0, "100 %"),
        ] {
            assert_eq!(percent(share).replace('\u{a0}', " "), text);
        }
        assert_eq!(bytes(999), "999\u{a0}B");
        assert_eq!(bytes(1_934_000), "1.93\u{a0}MB");
    }

    #[test]
    fn foreign_text_cannot_steer_a_terminal() {
        assert_eq!(
            clean("a\u{1b}[2Jb\r\n\u{9b}c\u{202e}d"),
            "a\\u{1b}[2Jb\\u{d}\\u{a}\\u{9b}c\\u{202e}d"
        );
        assert_eq!(clean("Grüße <b>=1+1</b> ../x"), "Grüße <b>=1+1</b> ../x");
    }

    #[test]
    fn fragments_become_sentences() {
        assert_eq!(sentence("no torque is known"), "No torque is known.");
        assert_eq!(
            sentence("clutch.command was never seen"),
            "clutch.command was never seen."
        );
        assert_eq!(sentence("Log it at 20 Hz."), "Log it at 20 Hz.");
        assert_eq!(sentence(""), "");
    }
}
