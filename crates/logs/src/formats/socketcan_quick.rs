//! The shape most lines of a SocketCAN log share, read without looking for their end first.
//!
//! In: the text that is still to be read, and the head of a line before. Out: the frame and
//! how long its line is, when the line has the same seconds, bus and places as that one and
//! ends after at most eight bytes of payload; else nothing, and the whole parser decides.
//! Nothing is taken here that the whole parser would refuse. Many characters are looked at
//! at a time.

use bytemuck::must_cast;
use halfshaft_model::{FrameId, Stamp};
use wide::{i16x8, u8x16, u16x8};

/// Decimals of a second that this shape has.
const DECIMALS: usize = 6;

/// Longest head kept: parenthesis, seconds, decimals, blank, bus name, blank.
const LONGEST_HEAD: usize = 48;
const WORDS: usize = LONGEST_HEAD / 8;

/// A head, an identifier of eight digits with its `#`, sixteen digits and the end of the line
/// fit in this.
const LONGEST: usize = LONGEST_HEAD + 9 + 16 + 1;

/// One character in every byte.
const fn each(byte: u8) -> u64 {
    u64::from_le_bytes([byte; 8])
}

/// Head of a line before: `(1436509052.249713) vcan0 `.
#[derive(Clone, Debug, Default)]
pub(super) struct Head {
    text: [u64; WORDS],
    // Which bytes of the text must agree: all up to the identifier but the decimals.
    agree: [u64; WORDS],
    // Place of the decimal point, and of the identifier; 0 when there is no head yet.
    point: usize,
    id: usize,
    seconds_ns: i64,
    /// Index of the bus of that head.
    pub bus: u16,
}

/// A line of this shape.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Quick {
    pub stamp: Stamp,
    pub id: FrameId,
    /// Bytes of the payload, with anything behind them, and how many there are.
    pub bytes: [u8; 8],
    pub n_bytes: usize,
    /// Length of the line with its newline.
    pub length: usize,
}

impl Head {
    /// Keeps the head of a line that the whole parser has read, if it has this shape.
    pub fn keep(&mut self, line: &[u8], stamp: Stamp, bus: u16) {
        self.id = 0;
        let (Some(point), Some(hash)) = (
            line.iter().position(|&byte| byte == b'.'),
            line.iter().position(|&byte| byte == b'#'),
        ) else {
            return;
        };
        let n_digits = if hash >= 4 && line[hash - 4] == b' ' {
            3
        } else {
            8
        };
        let Some(id) = hash.checked_sub(n_digits) else {
            return;
        };
        let has_shape = id <= LONGEST_HEAD
            && id > point + DECIMALS + 2
            && line[point + 1 + DECIMALS] == b')'
            && line[id - 1] == b' ';
        if !has_shape {
            return;
        }
        let (mut text, mut agree) = ([0; LONGEST_HEAD], [0; LONGEST_HEAD]);
        text[..id].copy_from_slice(&line[..id]);
        agree[..id].fill(0xFF);
        agree[point + 1..][..DECIMALS].fill(0);
        let words = |bytes: &[u8; LONGEST_HEAD]| std::array::from_fn(|n| word(bytes, 8 * n));
        (self.text, self.agree) = (words(&text), words(&agree));
        (self.point, self.id, self.bus) = (point, id, bus);
        self.seconds_ns = stamp.0 - stamp.0.rem_euclid(1_000_000_000);
    }

    /// The line that `text` begins with, if it has this shape.
    #[inline]
    pub fn read(&self, text: &[u8]) -> Option<Quick> {
        let text: &[u8; LONGEST] = text.first_chunk()?;
        if self.id == 0 {
            return None;
        }
        let differs = (0..WORDS).fold(0, |differs, n| {
            differs | (word(text, 8 * n) ^ self.text[n]) & self.agree[n]
        });
        if differs != 0 {
            return None;
        }
        let microseconds = six_digits(text.get(self.point + 1..)?.first_chunk()?)?;
        let stamp = Stamp(self.seconds_ns + i64::from(microseconds) * 1000);
        let rest: &[u8; LONGEST - LONGEST_HEAD] = text.get(self.id..)?.first_chunk()?;
        let (id, at) = if rest[3] == b'#' {
            (FrameId::standard(number(&rest[..3])?)?, 4)
        } else if rest[8] == b'#' {
            // With a bit beyond 29 it is an error report, say, and for the whole parser.
            (FrameId::extended(number(&rest[..8])?)?, 9)
        } else {
            return None;
        };
        let (bytes, n_digits) = payload(rest.get(at..)?.first_chunk()?)?;
        Some(Quick {
            stamp,
            id,
            bytes,
            n_bytes: n_digits / 2,
            length: self.id + at + n_digits + 1,
        })
    }
}

/// Eight characters, the first in the lowest byte.
#[inline]
fn word<const N: usize>(text: &[u8; N], at: usize) -> u64 {
    text[at..]
        .first_chunk()
        .map_or(0, |bytes| u64::from_le_bytes(*bytes))
}

/// Six decimal digits out of eight bytes, all six at a time.
#[inline]
fn six_digits(bytes: &[u8; 8]) -> Option<u32> {
    // Two zeros in front make eight digits of six.
    let text = u64::from_le_bytes(*bytes) << 16 | 0x3030;
    let high_halves = each(0xF0);
    let are_digits = text & high_halves == each(b'0')
        && text.wrapping_add(each(0x06)) & high_halves == each(b'0');
    if !are_digits {
        return None;
    }
    // Pairs, then fours, then all: each step joins neighbours, the left one the higher.
    let digits = text & each(0x0F);
    let pairs = digits.wrapping_mul(10).wrapping_add(digits >> 8) & 0x00FF_00FF_00FF_00FF;
    let fours = pairs.wrapping_mul(100).wrapping_add(pairs >> 16) & 0x0000_FFFF_0000_FFFF;
    let all = fours.wrapping_mul(10_000).wrapping_add(fours >> 32);
    Some(all as u32)
}

/// Bytes out of hexadecimal digits, sixteen at most and all at a time, that end in a newline;
/// and how many digits they were. Behind the last of these bytes anything may stand.
#[inline(always)]
fn payload(text: &[u8; 17]) -> Option<([u8; 8], usize)> {
    let all = u8x16::splat;
    let digits = u8x16::new(*text.first_chunk()?);
    let decimals = digits - all(b'0');
    let are_decimal = decimals.min(all(9)).simd_eq(decimals);
    // A letter has its case in one bit.
    let letters = (digits | all(0x20)) - all(b'a');
    let are_letters = letters.min(all(5)).simd_eq(letters);
    let n_digits = (are_decimal | are_letters).to_bitmask().trailing_ones() as usize;
    if n_digits % 2 == 1 || text.get(n_digits) != Some(&b'\n') {
        return None;
    }
    let values = are_decimal & decimals | are_letters & (letters + all(10));
    // The first digit of each pair is the higher.
    let pairs: u16x8 = must_cast(values);
    let bytes: i16x8 = must_cast((pairs << 4 | pairs >> 8) & u16x8::splat(0xFF));
    let bytes = u8x16::narrow_i16x8(bytes, bytes).to_array();
    Some((*bytes.first_chunk()?, n_digits))
}

/// Value of hexadecimal digits, eight at most.
#[inline(always)]
fn number(digits: &[u8]) -> Option<u32> {
    digits.iter().try_fold(0, |number, &digit| {
        let value = super::socketcan_text::HEX[usize::from(digit)];
        (value < 16).then(|| number << 4 | u32::from(value))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn six_digits_at_a_time() {
        for number in [0, 1, 9, 10, 249_713, 999_999, 123_456, 100_000] {
            let text = format!("{number:06}) ");
            let bytes: &[u8; 8] = text.as_bytes().first_chunk().unwrap();
            assert_eq!(six_digits(bytes), Some(number), "{number}");
        }
        for text in ["12345x) ", "/23456) ", "1:3456) ", "      ) "] {
            let bytes: &[u8; 8] = text.as_bytes().first_chunk().unwrap();
            assert_eq!(six_digits(bytes), None, "{text}");
        }
    }

    #[test]
    fn every_hexadecimal_digit_and_no_other_character() {
        for byte in 0..=u8::MAX {
            let wanted = char::from(byte).to_digit(16);
            for place in 0..16 {
                let mut text = *b"89abCDEF70fF1A2c\n";
                text[place] = byte;
                let shift = 60 - 4 * place;
                let wanted = wanted.map(|digit| {
                    let others = 0x89AB_CDEF_70FF_1A2C & !(0xF << shift);
                    ((others | u64::from(digit) << shift).to_be_bytes(), 16)
                });
                if byte != b'\n' {
                    assert_eq!(payload(&text), wanted, "{text:?}");
                }
            }
        }
    }

    #[test]
    fn a_payload_ends_at_its_newline_and_nowhere_else() {
        for n_digits in 0..=16 {
            for behind in *b"\n\r g#0" {
                let mut text = *b"89abCDEF70fF1A2c\n";
                text[n_digits] = behind;
                let read = payload(&text).map(|(bytes, n)| (bytes[..n / 2].to_vec(), n));
                let is_whole = n_digits % 2 == 0 && behind == b'\n';
                let bytes = 0x89AB_CDEF_70FF_1A2C_u64.to_be_bytes()[..n_digits / 2].to_vec();
                // A digit there makes the payload one digit longer, or two, or all sixteen.
                if behind != b'0' {
                    assert_eq!(read, is_whole.then_some((bytes, n_digits)), "{text:?}");
                }
            }
        }
    }

    /// What is read of a line, with text behind it.
    fn read(head: &Head, line: &str) -> Option<Quick> {
        let text = format!("{line}\n{}", "(1436509052.249713) vcan0 044#2A\n".repeat(4));
        let quick = head.read(text.as_bytes());
        if let Some(quick) = quick {
            assert_eq!(quick.length, line.len() + 1, "{line}");
        }
        quick
    }

    #[test]
    fn only_lines_of_the_same_shape_are_read() {
        let first = "(1436509052.249713) vcan0 044#2A366C2BBA000102";
        let mut head = Head::default();
        assert_eq!(read(&head, first), None);
        head.keep(first.as_bytes(), Stamp(1_436_509_052_249_713_000), 3);
        for n_bytes in 0..=8 {
            let digits = &"2A366c2BBA000103"[..2 * n_bytes];
            let quick = read(&head, &format!("(1436509052.249714) vcan0 7FF#{digits}")).unwrap();
            assert_eq!(quick.stamp.0, 1_436_509_052_249_714_000);
            assert_eq!((quick.id.number(), quick.n_bytes), (0x7FF, n_bytes));
            let bytes = [0x2A, 0x36, 0x6C, 0x2B, 0xBA, 0, 1, 3];
            assert_eq!(quick.bytes[..n_bytes], bytes[..n_bytes]);
        }
        let quick = read(&head, "(1436509052.249714) vcan0 18FEBF0B#2A366C2BBA000103").unwrap();
        assert_eq!(
            (quick.id.is_extended(), quick.id.number()),
            (true, 0x18FE_BF0B)
        );
        for other in [
            "(1436509053.249713) vcan0 044#2A366C2BBA000102",
            "(1436509052.249713) vcan1 044#2A366C2BBA000102",
            "(1436509052.2497134) vcan0 044#2A366C2BBA000102",
            "(1436509052.249713) vcan0 844#2A366C2BBA000102",
            "(1436509052.249713) vcan0 20000004#2A366C2BBA000102",
            "(1436509052.249713) vcan0 044#2A366C2BBA00010",
            "(1436509052.249713) vcan0 044#2A366C2BBA0001022",
            "(1436509052.249713) vcan0 044#2A366C2BBA00010203",
            "(1436509052.249713) vcan0 044#2A366C2BBA000102 R",
            "(1436509052.249713) vcan0 044#2A366C2BBA000102\r",
            "(1436509052.249713) vcan0 044#2A 66C2BBA000102",
            "(1436509052.249713) vcan0 044##12A366C2BBA00010",
            "(1436509052.249713) vcan0 044#R",
            "(1436509052.249713) vcan0 044",
            "",
        ] {
            assert_eq!(read(&head, other), None, "{other}");
        }
        // The end of the text may be the middle of a line.
        assert_eq!(head.read(first.as_bytes()), None);
    }
}
