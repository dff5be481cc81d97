//! A row of a sheet of frames to a frame.

use halfshaft_model::FrameId;
use halfshaft_model::constants::LONGEST_CAN_PAYLOAD;
use halfshaft_model::sheet::Base;

use super::columns::Content;
use super::order::Held;
use crate::context::{Buses, LONGEST_BUS_NAME};

/// Number bases of a sheet of frames.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Bases {
    pub id: Base,
    pub payload: Base,
}

/// The frame in a row, or `None` when its identifier, bus or payload cannot be read, or
/// the payload is shorter than the length stated: digits are missing then, and not
/// necessarily at its end.
pub(crate) fn frame<'a>(
    content: &Content,
    bases: Bases,
    cell: impl Fn(usize) -> &'a [u8],
    buses: &mut Buses,
) -> Option<Held> {
    let Content::Frames {
        bus,
        id,
        payload,
        length,
        extended,
    } = content
    else {
        return None;
    };
    let id = identifier(cell(*id), bases.id, extended.map(&cell))?;
    let mut bytes = Payload {
        bytes: [0; LONGEST_CAN_PAYLOAD],
        n: 0,
    };
    match payload.as_slice() {
        [one] => bytes.read(cell(*one), bases.payload)?,
        columns => {
            let mut has_ended = false;
            for &column in columns {
                let cell = cell(column);
                // Empty cells are allowed at the end only.
                if cell.is_empty() {
                    has_ended = true;
                } else if has_ended {
                    return None;
                } else {
                    bytes.push(number(cell, bases.payload, 0xFF)?)?;
                }
            }
        }
    }
    if let Some(stated) = length.map(&cell) {
        let stated = number(stated, Base::Decimal, LONGEST_CAN_PAYLOAD as u32)? as usize;
        if stated > bytes.n {
            return None;
        }
        bytes.n = stated;
    }
    let name = bus.map_or(&b""[..], &cell);
    if name.len() > LONGEST_BUS_NAME {
        return None;
    }
    Some(Held::Frame {
        bus: buses.index(name),
        id,
        payload: bytes.bytes,
        length: bytes.n as u8,
    })
}

fn identifier(cell: &[u8], base: Base, extended: Option<&[u8]>) -> Option<FrameId> {
    // Some loggers leave the flag of 29-bit identifiers in the number. Source: Linux can.h, CAN_EFF_FLAG.
    const EXTENDED: u32 = 0x8000_0000;
    let number = number(cell, base, u32::MAX)?;
    let is_extended = match extended {
        Some(mark) => [&b"1"[..], b"true", b"x", b"29"]
            .iter()
            .any(|yes| mark.eq_ignore_ascii_case(yes)),
        None => number > 0x7FF,
    };
    if is_extended {
        FrameId::extended(number & !EXTENDED)
    } else {
        FrameId::standard(number)
    }
}

struct Payload {
    bytes: [u8; LONGEST_CAN_PAYLOAD],
    n: usize,
}

impl Payload {
    fn push(&mut self, byte: u32) -> Option<()> {
        *self.bytes.get_mut(self.n)? = u8::try_from(byte).ok()?;
        self.n += 1;
        Some(())
    }

    fn read(&mut self, cell: &[u8], base: Base) -> Option<()> {
        let words = cell
            .split(u8::is_ascii_whitespace)
            .filter(|word| !word.is_empty());
        for word in words {
            match base {
                Base::Decimal => self.push(number(word, base, 0xFF)?)?,
                Base::Hexadecimal => {
                    let digits = without_0x(word);
                    if digits.len() == 1 {
                        self.push(number(digits, base, 0xFF)?)?;
                        continue;
                    }
                    if !digits.len().is_multiple_of(2) {
                        return None;
                    }
                    for pair in digits.chunks(2) {
                        self.push(number(pair, base, 0xFF)?)?;
                    }
                }
            }
        }
        Some(())
    }
}

fn without_0x(word: &[u8]) -> &[u8] {
    word.strip_prefix(b"0x")
        .or_else(|| word.strip_prefix(b"0X"))
        .unwrap_or(word)
}

/// A whole number without sign, at most `most`.
fn number(cell: &[u8], base: Base, most: u32) -> Option<u32> {
    let (radix, digits) = match base {
        Base::Decimal => (10, cell),
        Base::Hexadecimal => (16, without_0x(cell)),
    };
    if digits.is_empty() || digits.len() > 16 {
        return None;
    }
    let number = digits.iter().try_fold(0_u64, |number, &byte| {
        let digit = char::from(byte).to_digit(radix)?;
        Some((number.checked_mul(u64::from(radix))?) + u64::from(digit))
    })?;
    u32::try_from(number).ok().filter(|&number| number <= most)
}

#[cfg(test)]
mod tests {
    use super::*;

    const DECIMAL: Bases = Bases {
        id: Base::Decimal,
        payload: Base::Decimal,
    };
    const HEX: Bases = Bases {
        id: Base::Hexadecimal,
        payload: Base::Hexadecimal,
    };

    /// Columns: id, length, extended, payload…; `-` leaves a column out of the map.
    #[track_caller]
    fn check(bases: Bases, row: &str, expected: &str) {
        let cells: Vec<&[u8]> = row.split(',').map(str::as_bytes).collect();
        let present = |index: usize| {
            if cells[index] == b"-" {
                None
            } else {
                Some(index)
            }
        };
        let content = Content::Frames {
            bus: None,
            id: 0,
            payload: (3..cells.len()).collect(),
            length: present(1),
            extended: present(2),
        };
        let found = match frame(&content, bases, |index| cells[index], &mut Buses::default()) {
            Some(Held::Frame {
                id,
                payload,
                length,
                ..
            }) => {
                let bytes: Vec<String> = payload[..usize::from(length)]
                    .iter()
                    .map(|byte| format!("{byte:02x}"))
                    .collect();
                format!("{id} {}", bytes.concat())
            }
            _ => "-".to_owned(),
        };
        assert_eq!(found, expected, "{row}");
    }

    #[test]
    fn payload_in_one_column() {
        check(HEX, "2A1,-,-,00012cfe", "0x2A1 00012cfe");
        check(HEX, "0x2a1,-,-,0x00 1 FE", "0x2A1 0001fe");
        check(HEX, "2a1,2,-,00012cfe", "0x2A1 0001");
        check(HEX, "2a1,-,-,", "0x2A1 ");
        check(DECIMAL, "705,-,-,0 44 255", "0x2C1 002cff");
        check(HEX, "2a1,-,-,001", "-");
        check(HEX, "2a1,4,-,0001", "-");
        check(HEX, "2a1,-,-,zz", "-");
        check(HEX, &format!("2a1,-,-,{}", "00".repeat(65)), "-");
        check(DECIMAL, "705,-,-,256", "-");
        check(HEX, "2a1,999999999999,-,00", "-");
    }

    #[test]
    fn one_column_per_byte() {
        check(HEX, "2a1,-,-,0,1,ff,", "0x2A1 0001ff");
        check(DECIMAL, "705,2,-,1,2,0,0", "0x2C1 0102");
        check(HEX, "2a1,-,-,0,,1", "-");
        check(HEX, "2a1,-,-,0,100", "-");
    }

    #[test]
    fn identifiers_of_29_bits() {
        check(DECIMAL, "2047,-,-,", "0x7FF ");
        check(DECIMAL, "2048,-,-,", "0x00000800 ");
        check(HEX, "98FEBF0B,-,-,", "0x18FEBF0B ");
        check(HEX, "123,-,X,", "0x00000123 ");
        check(HEX, "123,-,29,", "0x00000123 ");
        check(HEX, "123,-,0,", "0x123 ");
        check(HEX, "800,-,0,", "-");
        check(HEX, "20000000,-,-,", "-");
        check(HEX, ",-,-,", "-");
        check(HEX, "-1,-,-,", "-");
    }
}
