//! Bits, codes, identifiers and bytes.

use super::cursor::{Cursor, visible};
use super::{Slot, SlotKind, wrong};
use crate::map::{BitField, BitRun, CodeRange};
use crate::mistakes::{Fault, MistakeCode};
use crate::syntax::lexer::{self, Kind};
use halfshaft_model::FrameId;

pub(super) fn bits(cursor: &mut Cursor) -> Result<Slot, Fault> {
    let from = cursor.here();
    let mut runs = Vec::new();
    if cursor.accept("byte") {
        runs.push(whole_byte(cursor)?);
    } else if cursor.accept("bytes") {
        let goes_on = |cursor: &Cursor| cursor.peek().is_some_and(|next| next.kind == Kind::Number);
        while runs.is_empty() || goes_on(cursor) {
            runs.push(whole_byte(cursor)?);
        }
    } else {
        while let Some(run) = bit_run(cursor)? {
            runs.push(run);
        }
        if runs.is_empty() {
            return Err(cursor.expected(SlotKind::Bits.expected()));
        }
    }
    let span = from.to(cursor.behind());
    let fault = |message: String| Err(Fault::new(span, MistakeCode::BitField, message));
    let mut seen = [0_u8; 64];
    for run in &runs {
        let byte = &mut seen[usize::from(run.byte)];
        if *byte & run_mask(*run) != 0 {
            return fault(format!("a bit of byte {} stands here twice", run.byte));
        }
        *byte |= run_mask(*run);
    }
    let field = BitField { runs };
    match field.width() {
        n @ 65.. => fault(format!("these are {n} bits, and 64 is the most")),
        _ => Ok(Slot::Bits(field, span)),
    }
}

/// The bits of a run as a mask of its byte.
pub fn run_mask(run: BitRun) -> u8 {
    let n = run.high - run.low + 1;
    ((0xFF_u16 >> (8 - n)) << run.low) as u8
}

fn whole_byte(cursor: &mut Cursor) -> Result<BitRun, Fault> {
    let token = cursor.peek().filter(|token| token.kind == Kind::Number);
    let token = token.ok_or_else(|| cursor.expected("the number of a byte, the first being 0"))?;
    let byte = token.text.parse::<u16>().ok().filter(|byte| *byte < 64);
    let byte = byte.ok_or_else(|| {
        let text = visible(token.text);
        let message = format!("there is no byte `{text}`: the longest frame has bytes 0 to 63");
        Fault::new(token.span, MistakeCode::BitField, message)
    })?;
    cursor.skip(1);
    cursor.spell(&byte.to_string());
    Ok(BitRun {
        byte,
        high: 7,
        low: 0,
    })
}

fn bit_run(cursor: &mut Cursor) -> Result<Option<BitRun>, Fault> {
    let Some(token) = cursor
        .peek()
        .filter(|next| matches!(next.kind, Kind::Run | Kind::Number))
    else {
        return Ok(None);
    };
    let text = visible(token.text);
    let fault = |message: String, suggestion: String| {
        Err(Fault::with(
            token.span,
            MistakeCode::BitField,
            message,
            suggestion,
        ))
    };
    let (first, last) = token
        .text
        .split_once("..")
        .unwrap_or((token.text, token.text));
    let ends = lexer::dotted(first).zip(lexer::dotted(last));
    let Some(((byte, high), (low_byte, low))) = ends else {
        return fault(
            format!("`{text}` names no bits; a bit is written byte.bit, such as `0.7`"),
            format!("write {}", SlotKind::Bits.expected()),
        );
    };
    if byte > 63 || low_byte > 63 || high > 7 || low > 7 {
        let places = "bytes go from 0 to 63 and bits from 7 (most significant) to 0";
        return fault(format!("`{text}`: {places}"), String::new());
    }
    if byte != low_byte {
        return fault(
            format!("`{text}` runs from one byte into another, which hides the order of the bytes"),
            format!(
                "write each byte's part for itself: `{byte}.{high}..{byte}.0 {low_byte}.7..{low_byte}.{low}`"
            ),
        );
    }
    if high < low {
        return fault(
            format!("`{text}` runs upwards; the most significant bit comes first"),
            format!("write `{byte}.{low}..{byte}.{high}`"),
        );
    }
    cursor.skip(1);
    cursor.spell(&match token.kind {
        Kind::Run => format!("{byte}.{high}..{byte}.{low}"),
        _ => format!("{byte}.{high}"),
    });
    Ok(Some(BitRun {
        byte: byte as u16,
        high: high as u8,
        low: low as u8,
    }))
}

pub(super) fn id_bits(cursor: &mut Cursor) -> Result<Slot, Fault> {
    let token = cursor
        .peek()
        .filter(|next| matches!(next.kind, Kind::Run | Kind::Number));
    let ends = token.and_then(|token| {
        let (high, low) = token
            .text
            .split_once("..")
            .unwrap_or((token.text, token.text));
        Some((token, high.parse::<u32>().ok()?, low.parse::<u32>().ok()?))
    });
    let (token, high, low) = ends.ok_or_else(|| cursor.expected(SlotKind::IdBits.expected()))?;
    if high > 28 || low > high {
        let text = visible(token.text);
        let bits = "identifier bits go from 28 (most significant) to 0, the higher first";
        return Err(wrong(token.span, format!("`{text}`: {bits}")));
    }
    cursor.skip(1);
    cursor.spell(&match high == low {
        true => high.to_string(),
        false => format!("{high}..{low}"),
    });
    let mask = (u32::MAX >> (31 - (high - low))) << low;
    Ok(Slot::IdBits(mask, token.span))
}

pub(super) fn bytes(cursor: &mut Cursor) -> Result<Slot, Fault> {
    let from = cursor.here();
    let mut found = Vec::new();
    while cursor.peek().is_some() {
        let (n, span) = cursor.touching();
        let digits = cursor.joined(n);
        let Some(parsed) = hex_pairs(&digits) else {
            let text = visible(&digits);
            let message = format!("`{text}` is no byte; a byte is two hexadecimal digits");
            return Err(wrong(span.unwrap_or(from), message));
        };
        found.extend(parsed);
        cursor.skip(n);
    }
    if found.is_empty() {
        return Err(cursor.expected(SlotKind::Bytes.expected()));
    }
    let span = from.to(cursor.behind());
    if found.len() > 64 {
        let n = found.len();
        return Err(wrong(
            span,
            format!("these are {n} bytes, and the longest frame has 64"),
        ));
    }
    for byte in &found {
        cursor.spell(&format!("{byte:02X}"));
    }
    Ok(Slot::Bytes(found, span))
}

fn hex_pairs(digits: &str) -> Option<Vec<u8>> {
    if !digits.len().is_multiple_of(2) || !digits.bytes().all(|b| b.is_ascii_hexdigit()) {
        return None;
    }
    let pairs = (0..digits.len()).step_by(2).map(|at| &digits[at..at + 2]);
    pairs
        .map(|pair| u8::from_str_radix(pair, 16).ok())
        .collect()
}

/// A code, spelled as codes are: small ones as numbers, others in hexadecimal.
pub(super) fn code(cursor: &mut Cursor) -> Result<u64, Fault> {
    let code = cursor.peek().and_then(|token| match token.kind {
        Kind::Hex => u64::from_str_radix(&token.text[2..], 16).ok(),
        Kind::Number => token.text.parse().ok(),
        _ => None,
    });
    let code = code.ok_or_else(|| cursor.expected(SlotKind::Codes.expected()))?;
    cursor.skip(1);
    cursor.spell(&match code {
        0..10 => code.to_string(),
        _ => format!("0x{code:02X}"),
    });
    Ok(code)
}

/// Most codes in one list.
const MOST_CODES: usize = 32;

pub(super) fn codes(cursor: &mut Cursor) -> Result<Slot, Fault> {
    let from = cursor.here();
    let mut ranges = Vec::new();
    loop {
        let start = cursor.here();
        let first = code(cursor)?;
        let last = if cursor.accept("to") {
            code(cursor)?
        } else {
            first
        };
        if last < first {
            let span = start.to(cursor.behind());
            let message = "the range of codes runs backwards";
            return Err(Fault::new(span, MistakeCode::RangeEmpty, message));
        }
        let span = from.to(cursor.behind());
        if ranges.len() == MOST_CODES {
            let message = format!("a line lists at most {MOST_CODES} codes; write ranges");
            return Err(Fault::new(span, MistakeCode::TooLarge, message));
        }
        ranges.push(CodeRange { first, last });
        if !cursor.accept("or") {
            return Ok(Slot::Codes(ranges, span));
        }
    }
}

pub(super) fn id(cursor: &mut Cursor) -> Result<Slot, Fault> {
    let wanted = SlotKind::Id.expected();
    let Some(token) = cursor.peek().filter(|token| token.kind == Kind::Hex) else {
        let fault = cursor.expected(wanted);
        let (n, span) = cursor.touching();
        let bare = cursor.joined(n);
        let is_hex = bare.len() <= 8 && bare.bytes().all(|b| b.is_ascii_hexdigit());
        let Some(span) = span.filter(|_| is_hex) else {
            return Err(fault);
        };
        let message = format!("found `{bare}`, expected {wanted}");
        let suggestion = format!("write `0x{bare}`, if that is hexadecimal");
        return Err(Fault::with(span, fault.code, message, suggestion));
    };
    let digits = &token.text[2..];
    let number = u32::from_str_radix(digits, 16).ok();
    let found = match (number, digits.len()) {
        (Some(number), 1..=3) => FrameId::standard(number),
        (Some(number), 8) => FrameId::extended(number),
        _ => None,
    };
    let found = found.ok_or_else(|| {
        let suggestion = match number {
            Some(number @ ..=0x7FF) => format!(
                "write `0x{number:03X}` for an 11-bit or `0x{number:08X}` for a 29-bit identifier"
            ),
            Some(number @ ..=0x1FFF_FFFF) => {
                format!("write `0x{number:08X}`, a 29-bit identifier")
            }
            _ => "the largest are 0x7FF and 0x1FFFFFFF".to_owned(),
        };
        let message = format!(
            "`{}` is no frame identifier: three hexadecimal digits are 11-bit, eight are 29-bit",
            visible(token.text)
        );
        Fault::with(
            token.span,
            MistakeCode::FrameIdentifier,
            message,
            suggestion,
        )
    })?;
    cursor.skip(1);
    cursor.spell(&found.to_string());
    Ok(Slot::Id(found, token.span))
}
