//! The slots of a sentence: numbers with units, bits, codes, names, texts.
//!
//! In: tokens at a cursor. Out: the value, its place and its standard spelling, or what
//! was expected there. Nothing here depends on the sentence around it.

mod bits;
mod columns;
mod cursor;
mod numbers;

pub use bits::run_mask;
pub use cursor::{Cursor, did_you_mean, visible};
pub use numbers::{rolling_radius_m, spelled};

use super::expression::{self, Expression};
use super::lexer::{self, Kind};
use crate::map::{BitField, ChecksumRule, CodeRange};
use crate::mistakes::{Fault, MistakeCode, Span};
use halfshaft_model::channel::Meaning;
use halfshaft_model::sheet::{Base, ColumnRef, TimeKind};
use halfshaft_model::{FrameId, Unit};

use bits::{bits, bytes, code, codes, id, id_bits};
use columns::{column, columns, time_kind};
use numbers::{bit_rate, number, quantity, tolerance, tyre, unit};

/// A number with its unit, as written.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Quantity {
    /// The number.
    pub value: f64,
    /// Its unit.
    pub unit: &'static Unit,
    /// Where the whole stands.
    pub span: Span,
    /// Where the unit stands.
    pub unit_span: Span,
}

/// A tolerance, one standard deviation.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Tolerance {
    /// A share of the value.
    Share(f64),
    /// In the unit of the value or another.
    Quantity(Quantity),
    /// A bare number, of a ratio.
    Number(f64),
}

/// A filled slot.
#[derive(Clone, Debug, PartialEq)]
pub enum Slot {
    /// A text.
    Text(String, Span),
    /// A name.
    Name(String, Span),
    /// An identifier.
    Id(FrameId, Span),
    /// Bits.
    Bits(BitField, Span),
    /// Codes.
    Codes(Vec<CodeRange>, Span),
    /// A bare number.
    Number(f64, Span),
    /// Bare numbers.
    Numbers(Vec<f64>, Span),
    /// A whole number.
    Integer(u64, Span),
    /// A number with a unit.
    Quantity(Quantity),
    /// A number with a unit and perhaps a tolerance.
    Measure(Quantity, Option<Tolerance>),
    /// A bare number and perhaps a tolerance.
    Ratio(f64, Option<Tolerance>, Span),
    /// A unit.
    Unit(&'static Unit, Span),
    /// From, to, unit of both.
    Range(f64, Quantity),
    /// Bits per second.
    BitRate(f64),
    /// Rolling radius of that size, m.
    Tyre(f64),
    /// A column of a sheet.
    Column(ColumnRef, Span),
    /// Columns of a sheet.
    Columns(Vec<ColumnRef>, Span),
    /// Mask of identifier bits.
    IdBits(u32, Span),
    /// Bytes.
    Bytes(Vec<u8>, Span),
    /// A checksum rule.
    Rule(ChecksumRule),
    /// What a clutch channel means.
    Meaning(Meaning, Span),
    /// What parts columns.
    Delimiter(char, Span),
    /// How time is written.
    TimeKind(TimeKind, Span),
    /// Number base.
    Base(Base),
    /// A formula.
    Formula(Expression),
}

halfshaft_model::codes! { "Kinds of slots: the name in patterns, and what messages call it." SlotKind {
    Text "text" "a text in quotation marks"
    Name "name" "a name"
    Id "id" "an identifier: `0x` and three hexadecimal digits (11-bit) or eight (29-bit)"
    Bits "bits" "bits, most significant first: `0.7..0.0 1.7..1.0`, `bytes 0 1`, `byte 3` or `5.2`"
    Codes "codes" "raw codes: `0xFF`, `3`, `1 to 4`, `1 or 3`"
    Code "code" "a raw code such as `0x5A`"
    Number "number" "a number"
    Numbers "numbers" "numbers parted by blanks"
    Integer "integer" "a whole number"
    Quantity "quantity" "a number with a unit"
    Measure "measure" "a number with a unit, and perhaps `+/-` and a tolerance"
    Ratio "ratio" "a number without a unit, and perhaps `+/-` and a tolerance"
    Unit "unit" "a unit"
    Range "range" "a range such as `0 to 320 km/h`"
    BitRate "bitrate" "a bit rate such as `500 kbit/s`"
    Tyre "tyre" "a tyre size such as `225/45 R17`"
    Column "column" "a column: its header in quotation marks (others after `or`), or `column 3`"
    Columns "columns" "a column, or `columns 5 to 12`"
    IdBits "idbits" "identifier bits such as `7..0`"
    Bytes "bytes" "bytes such as `27 10 FF`"
    Rule "rule" "`xor`, `sum` or `crc-8-j1850`"
    Meaning "meaning" "`pack torque`, `axle bias`, `clamp force`, `position`, `pressure`, `current` or `share`"
    Delimiter "delimiter" "a character in quotation marks, or `tab`"
    TimeKind "timekind" "a unit of time, `clock time` or `ISO 8601`"
    Base "base" "`hexadecimal` or `decimal`"
    Formula "formula" "a formula"
} }

impl SlotKind {
    /// The kind of that name.
    pub fn find(word: &str) -> Option<SlotKind> {
        SlotKind::ALL
            .iter()
            .copied()
            .find(|kind| kind.word() == word)
    }

    /// What is expected there, as messages call it.
    pub fn expected(self) -> &'static str {
        self.meaning()
    }
}

/// Fills a slot of that kind.
pub fn fill(kind: SlotKind, cursor: &mut Cursor) -> Result<Slot, Fault> {
    let from = cursor.here();
    let slot = match kind {
        SlotKind::Text => Slot::Text(text(cursor, kind.expected())?, from),
        SlotKind::Name => {
            let token = cursor
                .take_kind(Kind::Word)
                .ok_or_else(|| cursor.expected(kind.expected()))?;
            cursor.spell(token.text);
            Slot::Name(token.text.to_owned(), token.span)
        }
        SlotKind::Id => id(cursor)?,
        SlotKind::Bits => bits(cursor)?,
        SlotKind::Codes => codes(cursor)?,
        SlotKind::Code => Slot::Integer(code(cursor)?, from),
        SlotKind::Number => Slot::Number(number(cursor)?, from.to(cursor.behind())),
        SlotKind::Numbers => {
            let mut numbers = vec![number(cursor)?];
            while cursor.peek().is_some() {
                numbers.push(number(cursor)?);
            }
            Slot::Numbers(numbers, from.to(cursor.behind()))
        }
        SlotKind::Integer => {
            let token = cursor.peek().filter(|token| token.kind == Kind::Number);
            let value = token.and_then(|token| token.text.parse::<u64>().ok());
            let value = value.ok_or_else(|| cursor.expected(kind.expected()))?;
            cursor.skip(1);
            cursor.spell(&value.to_string());
            Slot::Integer(value, from)
        }
        SlotKind::Quantity => Slot::Quantity(quantity(cursor)?),
        SlotKind::Measure => Slot::Measure(quantity(cursor)?, tolerance(cursor, true)?),
        SlotKind::Ratio => {
            let (value, tolerance) = (number(cursor)?, tolerance(cursor, false)?);
            Slot::Ratio(value, tolerance, from.to(cursor.behind()))
        }
        SlotKind::Unit => {
            let (unit, span) = unit(cursor)?;
            Slot::Unit(unit, span)
        }
        SlotKind::Range => {
            let low = number(cursor)?;
            if !cursor.accept("to") {
                return Err(cursor.expected("`to` and the upper end of the range"));
            }
            let mut high = quantity(cursor)?;
            high.span = from.to(high.span);
            Slot::Range(low, high)
        }
        SlotKind::BitRate => bit_rate(cursor)?,
        SlotKind::Tyre => tyre(cursor)?,
        SlotKind::Column => Slot::Column(column(cursor)?, from.to(cursor.behind())),
        SlotKind::Columns => Slot::Columns(columns(cursor)?, from.to(cursor.behind())),
        SlotKind::IdBits => id_bits(cursor)?,
        SlotKind::Bytes => bytes(cursor)?,
        SlotKind::Rule => Slot::Rule(choice(cursor, kind, RULES)?),
        SlotKind::Meaning => {
            Slot::Meaning(choice(cursor, kind, MEANINGS)?, from.to(cursor.behind()))
        }
        SlotKind::Delimiter if cursor.accept("tab") => Slot::Delimiter('\t', from),
        SlotKind::Delimiter => {
            let text = text(cursor, kind.expected())?;
            let mut characters = text.chars();
            match (characters.next(), characters.next()) {
                (Some(one), None) => Slot::Delimiter(one, from),
                _ => return Err(wrong(from, "columns are parted by one character")),
            }
        }
        SlotKind::TimeKind => time_kind(cursor)?,
        SlotKind::Base => Slot::Base(choice(cursor, kind, BASES)?),
        SlotKind::Formula => Slot::Formula(expression::parse(cursor)?),
    };
    Ok(slot)
}

const RULES: &[(&str, ChecksumRule)] = &[
    ("xor", ChecksumRule::Xor),
    ("sum", ChecksumRule::Sum),
    ("crc-8-j1850", ChecksumRule::Crc8J1850),
];

/// What a clutch channel can mean, in words.
pub const MEANINGS: &[(&str, Meaning)] = &[
    ("pack torque", Meaning::PackTorque),
    ("axle bias", Meaning::AxleBias),
    ("clamp force", Meaning::ClampForce),
    ("position", Meaning::Position),
    ("pressure", Meaning::Pressure),
    ("current", Meaning::Current),
    ("share", Meaning::Percent),
];

const BASES: &[(&str, Base)] = &[
    ("hexadecimal", Base::Hexadecimal),
    ("decimal", Base::Decimal),
];

fn wrong(span: Span, message: impl Into<String>) -> Fault {
    Fault::new(span, MistakeCode::WrongForm, message)
}

fn choice<T: Copy>(
    cursor: &mut Cursor,
    kind: SlotKind,
    choices: &[(&'static str, T)],
) -> Result<T, Fault> {
    for (words, value) in choices {
        let mut ahead = words.split(' ').enumerate();
        if ahead.all(|(i, word)| cursor.peek_at(i).is_some_and(|token| token.text == word)) {
            cursor.skip(words.split(' ').count());
            cursor.spell(words);
            return Ok(*value);
        }
    }
    let mut fault = cursor.expected(kind.expected());
    if let Some(token) = cursor.peek() {
        fault.suggestion = did_you_mean(token.text, choices.iter().map(|(words, _)| *words));
    }
    Err(fault)
}

fn text(cursor: &mut Cursor, wanted: &str) -> Result<String, Fault> {
    let token = cursor
        .take_kind(Kind::Text)
        .ok_or_else(|| cursor.expected(wanted))?;
    let plain = lexer::unquote(token.text);
    cursor.spell(&lexer::quote(&plain));
    Ok(plain)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(kind: SlotKind, line: &str, standard: &str) -> Slot {
        let (tokens, _) = lexer::tokens(line, 0);
        let mut cursor = Cursor::new(&tokens);
        let slot =
            fill(kind, &mut cursor).unwrap_or_else(|fault| panic!("{line}: {}", fault.message));
        assert_eq!(cursor.standard, standard);
        assert!(cursor.peek().is_none(), "{line} was not read to its end");
        slot
    }

    #[track_caller]
    fn check_fault(kind: SlotKind, line: &str, code: MistakeCode) {
        let (tokens, _) = lexer::tokens(line, 0);
        let fault = fill(kind, &mut Cursor::new(&tokens)).expect_err(line);
        assert_eq!(fault.code, code, "{line}: {}", fault.message);
    }

    #[test]
    fn slots_are_read_and_put_in_standard_form() {
        check(SlotKind::Quantity, "-0.5  kph", "-0.5 km/h");
        check(SlotKind::Measure, "1.55 metres ± 5mm", "1.55 m +/- 5 mm");
        check(SlotKind::Ratio, "0.115 +/- 15%", "0.115 +/- 15 %");
        check(SlotKind::Bits, "bytes 1 0", "bytes 1 0");
        check(SlotKind::Bits, "0.7..0.0 1.7..1.4", "0.7..0.0 1.7..1.4");
        check(SlotKind::Codes, "0xff or 0x1 to 3", "0xFF or 1 to 3");
        check(SlotKind::Bytes, "27 1e 3E0f", "27 1E 3E 0F");
        check(SlotKind::Id, "0x1b4", "0x1B4");
        check(SlotKind::Id, "0x0cf00400", "0x0CF00400");
        assert_eq!(
            check(SlotKind::IdBits, "7..0", "7..0"),
            Slot::IdBits(0xFF, Span { start: 0, end: 4 })
        );
        assert_eq!(
            check(SlotKind::IdBits, "28..0", "28..0"),
            Slot::IdBits(0x1FFF_FFFF, Span { start: 0, end: 5 })
        );
        check(SlotKind::Range, "-40 to 150 C", "-40 to 150 degC");
        check(SlotKind::Column, "\"a\" or \"b\"", "\"a\" or \"b\"");
        check(SlotKind::Unit, "1/min", "rpm");
    }

    #[test]
    fn faults_have_their_code() {
        check_fault(SlotKind::Quantity, "5", MistakeCode::MissingUnit);
        check_fault(SlotKind::Quantity, "5 kmh/h", MistakeCode::UnknownUnit);
        check_fault(SlotKind::Bits, "0.7..1.0", MistakeCode::BitField);
        check_fault(SlotKind::Bits, "0.0..0.7", MistakeCode::BitField);
        check_fault(SlotKind::Bits, "0.8", MistakeCode::BitField);
        check_fault(SlotKind::Bits, "bytes 0 1 0", MistakeCode::BitField);
        check_fault(
            SlotKind::Bits,
            "bytes 0 1 2 3 4 5 6 7 8",
            MistakeCode::BitField,
        );
        check_fault(SlotKind::Id, "0x0123", MistakeCode::FrameIdentifier);
        check_fault(SlotKind::Id, "0x800", MistakeCode::FrameIdentifier);
        check_fault(SlotKind::Codes, "5 to 3", MistakeCode::RangeEmpty);
        check_fault(SlotKind::Text, "\"a", MistakeCode::OpenText);
        check_fault(SlotKind::Number, "1e999", MistakeCode::WrongForm);
    }

    #[test]
    fn tyre_size_gives_the_rolling_radius() {
        // Source: ETRTO, from memory: outer diameter 634.3 mm, rolling circumference 1934.6 mm.
        let Slot::Tyre(radius) = check(SlotKind::Tyre, "225/45R17", "225/45 R17") else {
            panic!("a tyre")
        };
        assert!((radius - 0.307_90).abs() < 5e-6, "{radius}");
        assert!((radius * std::f64::consts::TAU - 1.934_615).abs() < 1e-6);
    }
}
