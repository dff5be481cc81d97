//! Bits, codes, identifiers and bytes.

use super::cursor::{Cursor, Fault, visible};
use super::{Slot, SlotKind, wrong};
use crate::map::{BitField, BitRun, CodeRange};
use crate::mistakes::MistakeCode;
use crate::syntax::lexer::{self, Kind};
use halfshaft_model::FrameId;

pub(super) fn bits(cursor: &mut Cursor) -> Result<Slot, Fault> {
    let from = cursor.here();
    let mut runs = Vec::new();
    let whole = |byte: u16| BitRun {
        byte,
        high: 7,
        low: 0,
    };
    if cursor.take("byte") {
        let byte = byte_number(cursor)?;
        cursor.say(&format!("byte {byte}"));
        runs.push(whole(byte));
    } else if cursor.take("bytes") {
        cursor.say("bytes");
        while runs.is_empty()
            || cursor
                .peek()
                .is_some_and(|token| token.kind == Kind::Number)
        {
            let byte = byte_number(cursor)?;
            cursor.say(&byte.to_string());
            runs.push(whole(byte));
        }
    } else {
        while let Some(run) = bit_run(cursor)? {
            runs.push(run);
        }
        if runs.is_empty() {
            return Err(cursor.wanted(SlotKind::Bits.wanted()));
        }
    }
    let span = from.to(cursor.behind());
    let mut n_bits = 0;
    let mut seen = [0_u8; 64];
    for run in &runs {
        n_bits += u32::from(run.high - run.low) + 1;
        let mask = run_mask(*run);
        let byte = &mut seen[usize::from(run.byte)];
        if *byte & mask != 0 {
            return Err(Fault {
                code: MistakeCode::BitField,
                ..wrong(
                    span,
                    &format!("a bit of byte {} stands here twice", run.byte),
                )
            });
        }
        *byte |= mask;
    }
    if n_bits > 64 {
        return Err(Fault {
            code: MistakeCode::BitField,
            ..wrong(
                span,
                &format!("these are {n_bits} bits, and 64 is the most"),
            )
        });
    }
    Ok(Slot::Bits(BitField { runs }, span))
}

/// The bits of a run as a mask of its byte.
pub fn run_mask(run: BitRun) -> u8 {
    let n = run.high - run.low + 1;
    ((0xFF_u16 >> (8 - n)) << run.low) as u8
}

fn byte_number(cursor: &mut Cursor) -> Result<u16, Fault> {
    let token = cursor.peek().filter(|token| token.kind == Kind::Number);
    let token = token.ok_or_else(|| cursor.wanted("the number of a byte, the first being 0"))?;
    let byte = token.text.parse::<u16>().ok().filter(|byte| *byte < 64);
    let Some(byte) = byte else {
        return Err(Fault {
            code: MistakeCode::BitField,
            ..wrong(
                token.span,
                &format!(
                    "there is no byte `{}`: the longest frame has bytes 0 to 63",
                    visible(token.text)
                ),
            )
        });
    };
    cursor.skip(1);
    Ok(byte)
}

fn bit_run(cursor: &mut Cursor) -> Result<Option<BitRun>, Fault> {
    let Some(token) = cursor.peek() else {
        return Ok(None);
    };
    let ends = match token.kind {
        Kind::Run => token
            .text
            .split_once("..")
            .and_then(|(high, low)| Some((lexer::dotted(high)?, lexer::dotted(low)?))),
        Kind::Number => lexer::dotted(token.text).map(|bit| (bit, bit)),
        _ => return Ok(None),
    };
    let fault = |message: String, suggestion: String| Fault {
        span: token.span,
        code: MistakeCode::BitField,
        message,
        suggestion,
    };
    let Some(((byte, high), (low_byte, low))) = ends else {
        return Err(fault(
            format!(
                "`{}` names no bits; a bit is written byte.bit, such as `0.7`",
                visible(token.text)
            ),
            format!("write {}", SlotKind::Bits.wanted()),
        ));
    };
    if byte > 63 || low_byte > 63 || high > 7 || low > 7 {
        return Err(fault(
            format!(
                "`{}`: bytes go from 0 to 63 and bits from 7 (most significant) to 0",
                visible(token.text)
            ),
            String::new(),
        ));
    }
    if byte != low_byte {
        let suggestion = format!(
            "write each byte's part for itself: `{byte}.{high}..{byte}.0 {low_byte}.7..{low_byte}.{low}`"
        );
        return Err(fault(
            format!(
                "`{}` runs from one byte into another, which hides the order of the bytes",
                token.text
            ),
            suggestion,
        ));
    }
    if high < low {
        return Err(fault(
            format!(
                "`{}` runs upwards; the most significant bit comes first",
                token.text
            ),
            format!("write `{byte}.{low}..{byte}.{high}`"),
        ));
    }
    cursor.skip(1);
    let spelling = if token.kind == Kind::Run {
        format!("{byte}.{high}..{byte}.{low}")
    } else {
        format!("{byte}.{high}")
    };
    cursor.say(&spelling);
    Ok(Some(BitRun {
        byte: byte as u16,
        high: high as u8,
        low: low as u8,
    }))
}

pub(super) fn id_bits(cursor: &mut Cursor) -> Result<Slot, Fault> {
    let token = cursor
        .peek()
        .filter(|token| matches!(token.kind, Kind::Run | Kind::Number));
    let ends = token.and_then(|token| {
        let (high, low) = token
            .text
            .split_once("..")
            .unwrap_or((token.text, token.text));
        Some((high.parse::<u32>().ok()?, low.parse::<u32>().ok()?))
    });
    let (Some(token), Some((high, low))) = (token, ends) else {
        return Err(cursor.wanted(SlotKind::IdBits.wanted()));
    };
    if high > 28 || low > high {
        return Err(wrong(
            token.span,
            &format!(
                "`{}`: identifier bits go from 28 (most significant) to 0, the higher first",
                visible(token.text)
            ),
        ));
    }
    cursor.skip(1);
    cursor.say(&if high == low {
        high.to_string()
    } else {
        format!("{high}..{low}")
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
        let span = span.unwrap_or(from);
        let pairs = digits.as_bytes().chunks(2).map(|pair| {
            let text = std::str::from_utf8(pair)
                .ok()
                .filter(|text| text.len() == 2 && text.bytes().all(|b| b.is_ascii_hexdigit()))?;
            u8::from_str_radix(text, 16).ok()
        });
        let Some(parsed) = pairs.collect::<Option<Vec<u8>>>() else {
            return Err(wrong(
                span,
                &format!(
                    "`{}` is no byte; a byte is two hexadecimal digits",
                    visible(&digits)
                ),
            ));
        };
        found.extend(parsed);
        cursor.skip(n);
    }
    if found.is_empty() {
        return Err(cursor.wanted(SlotKind::Bytes.wanted()));
    }
    if found.len() > 64 {
        return Err(wrong(
            from.to(cursor.behind()),
            &format!(
                "these are {} bytes, and the longest frame has 64",
                found.len()
            ),
        ));
    }
    for byte in &found {
        cursor.say(&format!("{byte:02X}"));
    }
    Ok(Slot::Bytes(found, from.to(cursor.behind())))
}

pub(super) fn code(cursor: &mut Cursor) -> Result<u64, Fault> {
    let token = cursor
        .peek()
        .ok_or_else(|| cursor.wanted(SlotKind::Codes.wanted()))?;
    let value = match token.kind {
        Kind::Hex => u64::from_str_radix(&token.text[2..], 16).ok(),
        Kind::Number => token.text.parse().ok(),
        _ => None,
    };
    let value = value.ok_or_else(|| cursor.wanted(SlotKind::Codes.wanted()))?;
    cursor.skip(1);
    Ok(value)
}

/// How a code is written: small ones as numbers, others in hexadecimal.
pub(super) fn hex(code: u64) -> String {
    if code < 10 {
        code.to_string()
    } else {
        format!("0x{code:02X}")
    }
}

/// Most codes in one list.
const MOST_CODES: usize = 32;

pub(super) fn codes(cursor: &mut Cursor) -> Result<Slot, Fault> {
    let from = cursor.here();
    let mut ranges = Vec::new();
    loop {
        let start = cursor.here();
        let first = code(cursor)?;
        cursor.say(&hex(first));
        let mut last = first;
        if cursor.take("to") {
            last = code(cursor)?;
            cursor.say("to");
            cursor.say(&hex(last));
        }
        if last < first {
            return Err(Fault {
                code: MistakeCode::RangeEmpty,
                ..wrong(
                    start.to(cursor.behind()),
                    "the range of codes runs backwards",
                )
            });
        }
        if ranges.len() == MOST_CODES {
            return Err(Fault {
                code: MistakeCode::TooLarge,
                ..wrong(
                    from.to(cursor.behind()),
                    &format!("a line lists at most {MOST_CODES} codes; write ranges"),
                )
            });
        }
        ranges.push(CodeRange { first, last });
        if !cursor.take("or") {
            return Ok(Slot::Codes(ranges, from.to(cursor.behind())));
        }
        cursor.say("or");
    }
}

pub(super) fn id(cursor: &mut Cursor) -> Result<Slot, Fault> {
    let Some(token) = cursor.peek().filter(|token| token.kind == Kind::Hex) else {
        let mut fault = cursor.wanted(SlotKind::Id.wanted());
        let (n, span) = cursor.touching();
        let bare = cursor.joined(n);
        if let Some(span) =
            span.filter(|_| bare.len() <= 8 && bare.bytes().all(|b| b.is_ascii_hexdigit()))
        {
            fault.span = span;
            fault.message = format!("found `{bare}`, wanted {}", SlotKind::Id.wanted());
            fault.suggestion = format!("write `0x{bare}`, if that is hexadecimal");
        }
        return Err(fault);
    };
    let digits = &token.text[2..];
    let number = u32::from_str_radix(digits, 16).ok();
    let found = match (number, digits.len()) {
        (Some(number), 1..=3) => FrameId::standard(number),
        (Some(number), 8) => FrameId::extended(number),
        _ => None,
    };
    let Some(found) = found else {
        let suggestion = match number {
            Some(number) if number <= 0x7FF => format!(
                "write `0x{number:03X}` for an 11-bit or `0x{number:08X}` for a 29-bit identifier"
            ),
            Some(number) if number <= 0x1FFF_FFFF => {
                format!("write `0x{number:08X}`, a 29-bit identifier")
            }
            _ => "the largest are 0x7FF and 0x1FFFFFFF".to_owned(),
        };
        return Err(Fault {
            span: token.span,
            code: MistakeCode::FrameIdentifier,
            message: format!(
                "`{}` is no frame identifier: three hexadecimal digits are 11-bit, eight are 29-bit",
                visible(token.text)
            ),
            suggestion,
        });
    };
    cursor.skip(1);
    cursor.say(&found.to_string());
    Ok(Slot::Id(found, token.span))
}
