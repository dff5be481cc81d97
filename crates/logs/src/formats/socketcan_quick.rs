//! The shape most lines of a SocketCAN log share, read without looking for their end first.
//!
//! In: the text that is still to be read, and the head of a line before. Out: the frame and
//! how long its line is, when the line has the same seconds, bus and places as that one and
//! ends after at most eight bytes of payload; else nothing, and the whole parser decides.
//! Nothing is taken here that the whole parser would refuse. Many characters are looked at
//! at a time, and what a frame says is worked out only when asked for: most frames of a log
//! are in no map.

use bytemuck::must_cast;
use halfshaft_model::constants::NS_PER_S;
use halfshaft_model::{FrameId, Stamp};
use wide::{i16x8, u8x16, u16x8};

use super::socketcan_text::FrameLine;

/// Decimals of a second that this shape has.
const DECIMALS: usize = 6;

/// Longest head kept: parenthesis, seconds, decimals, blank, bus name, blank.
const LONGEST_HEAD: usize = 48;
const PARTS: usize = LONGEST_HEAD / 16;

/// A head, an identifier of eight digits with its `#`, sixteen digits and the end of the line
/// fit in this.
const LONGEST: usize = LONGEST_HEAD + 9 + 16 + 1;

/// Identifiers kept with their text: a bus has some hundred, most frames are of a few.
const N_KNOWN: usize = 64;

/// One character in every byte.
const fn each(byte: u8) -> u64 {
    u64::from_le_bytes([byte; 8])
}

/// Head of a line before: `(1436509052.249713) vcan0 `.
#[derive(Clone, Debug)]
pub(super) struct Head {
    text: [u8x16; PARTS],
    // Which bytes of the text must agree: all up to the identifier but the decimals.
    agree: [u8x16; PARTS],
    // Place of the decimal point, and of the identifier; 0 when there is no head yet.
    point: usize,
    id: usize,
    seconds_ns: i64,
    /// Index of the bus of that head.
    pub bus: u16,
    known: [Known; N_KNOWN],
}

/// An identifier, and its digits as they stand in the log: with their `#` where they are three.
#[derive(Clone, Copy, Debug, Default)]
struct Known {
    text: u64,
    id: Option<FrameId>,
}

/// A line of this shape.
#[derive(Clone, Copy, Debug)]
pub(super) struct Quick {
    // The decimals of its second and what follows, in characters.
    decimals: u64,
    pub id: FrameId,
    // Digits of the payload, with anything behind them, and how many they are.
    digits: Digits,
    n_digits: usize,
    /// Length of the line with its newline.
    pub length: usize,
}

impl Default for Head {
    fn default() -> Head {
        Head {
            text: [u8x16::ZERO; PARTS],
            agree: [u8x16::ZERO; PARTS],
            point: 0,
            id: 0,
            seconds_ns: 0,
            bus: 0,
            known: [Known::default(); N_KNOWN],
        }
    }
}

impl Head {
    /// Keeps the head of a line that the whole parser has read, if it has this shape.
    pub fn keep(&mut self, line: &[u8], frame: &FrameLine, bus: u16) {
        self.id = 0;
        // What the whole parser took for stamp and bus counts: a name may hold any sign.
        let (id, end) = (frame.id_start, frame.stamp_end);
        let Some(point) = end.checked_sub(DECIMALS + 2) else {
            return;
        };
        let has_shape = id <= LONGEST_HEAD && line[point] == b'.' && line[id - 1] == b' ';
        let second = frame.stamp.0 - frame.stamp.0.rem_euclid(NS_PER_S);
        // In the last second that a stamp can express not every decimal has one.
        if !has_shape || second.checked_add(NS_PER_S).is_none() {
            return;
        }
        let (mut text, mut agree) = ([0_u8; LONGEST_HEAD], [0_u8; LONGEST_HEAD]);
        text[..id].copy_from_slice(&line[..id]);
        agree[..id].fill(0xFF);
        agree[point + 1..][..DECIMALS].fill(0);
        (self.text, self.agree) = (must_cast(text), must_cast(agree));
        (self.point, self.id, self.bus) = (point, id, bus);
        self.seconds_ns = second;
    }

    /// The line that `text` begins with, if it has this shape.
    #[inline]
    pub fn read(&mut self, text: &[u8]) -> Option<Quick> {
        let text: &[u8; LONGEST] = text.first_chunk()?;
        if self.id == 0 {
            return None;
        }
        let head: [u8x16; PARTS] = must_cast(*text.first_chunk::<LONGEST_HEAD>()?);
        let differs = (0..PARTS).fold(u8x16::ZERO, |differs, part| {
            differs | (head[part] ^ self.text[part]) & self.agree[part]
        });
        if differs.simd_eq(u8x16::ZERO).to_bitmask() != 0xFFFF {
            return None;
        }
        let decimals = u64::from_le_bytes(*text.get(self.point + 1..)?.first_chunk()?);
        if !are_six_digits(decimals) {
            return None;
        }
        let rest: &[u8; LONGEST - LONGEST_HEAD] = text.get(self.id..)?.first_chunk()?;
        let (id, at) = if rest[3] == b'#' {
            (self.identify::<3>(rest.first_chunk()?)?, 4)
        } else if rest[8] == b'#' {
            // With a bit beyond 29 it is an error report, say, and for the whole parser.
            (self.identify::<8>(rest.first_chunk()?)?, 9)
        } else {
            return None;
        };
        let payload: &[u8; 17] = rest.get(at..)?.first_chunk()?;
        let digits = Digits::new(payload.first_chunk()?);
        let n_digits = digits.n();
        if n_digits % 2 == 1 || payload.get(n_digits) != Some(&b'\n') {
            return None;
        }
        Some(Quick {
            decimals,
            id,
            digits,
            n_digits,
            length: self.id + at + n_digits + 1,
        })
    }

    /// When a line of this head was stamped.
    #[inline]
    pub fn stamp(&self, quick: &Quick) -> Stamp {
        Stamp(self.seconds_ns + six_digits(quick.decimals) * 1000)
    }

    /// The identifier that `N` digits stand for, 3 with their `#` or 8.
    #[inline(always)]
    fn identify<const N: usize>(&mut self, digits: &[u8; 8]) -> Option<FrameId> {
        let all = u64::from_le_bytes(*digits);
        let text = if N == 3 { all & 0xFFFF_FFFF } else { all };
        // Multiplicative hashing by the golden ratio: any close bits part far in the upper ones.
        let place = (text.wrapping_mul(0x9E37_79B9_7F4A_7C15) >> 58) as usize % N_KNOWN;
        if self.known[place].text != text {
            let number = number(&digits[..N]);
            let id = number.and_then(|number| match N {
                3 => FrameId::standard(number),
                _ => FrameId::extended(number),
            });
            self.known[place] = Known { text, id };
        }
        self.known[place].id
    }
}

impl Quick {
    /// Bytes of the payload, with anything behind them, and how many they are.
    #[inline]
    pub fn payload(&self) -> ([u8; 8], usize) {
        (self.digits.bytes(), self.n_digits / 2)
    }
}

/// Whether the first six of eight characters are decimal digits.
#[inline]
fn are_six_digits(text: u64) -> bool {
    // Two zeros in front make eight digits of six.
    let text = text << 16 | 0x3030;
    let high_halves = each(0xF0);
    text & high_halves == each(b'0') && text.wrapping_add(each(0x06)) & high_halves == each(b'0')
}

/// The number of six decimal digits, the first of eight characters, all at a time.
#[inline]
fn six_digits(text: u64) -> i64 {
    // Pairs, then fours, then all: each step joins neighbours, the left one the higher.
    let digits = text << 16 & each(0x0F);
    let pairs = digits.wrapping_mul(10).wrapping_add(digits >> 8) & 0x00FF_00FF_00FF_00FF;
    let fours = pairs.wrapping_mul(100).wrapping_add(pairs >> 16) & 0x0000_FFFF_0000_FFFF;
    let all = fours.wrapping_mul(10_000).wrapping_add(fours >> 32);
    i64::from(all as u32)
}

/// Sixteen characters, looked at as hexadecimal digits all at a time.
#[derive(Clone, Copy, Debug)]
struct Digits {
    // What they are if they are decimal ones, and if they are letters: above 9 and above 5 of
    // those that are not.
    decimals: u8x16,
    letters: u8x16,
}

impl Digits {
    #[inline]
    fn new(text: &[u8; 16]) -> Digits {
        let text = u8x16::new(*text);
        Digits {
            decimals: text - u8x16::splat(b'0'),
            // A letter has its case in one bit.
            letters: (text | u8x16::splat(0x20)) - u8x16::splat(b'a'),
        }
    }

    #[inline]
    fn are_decimal(self) -> u8x16 {
        self.decimals.min(u8x16::splat(9)).simd_eq(self.decimals)
    }

    #[inline]
    fn are_letters(self) -> u8x16 {
        self.letters.min(u8x16::splat(5)).simd_eq(self.letters)
    }

    /// How many of them are digits, up to the first that is none.
    #[inline]
    fn n(self) -> usize {
        let are_digits = self.are_decimal() | self.are_letters();
        are_digits.to_bitmask().trailing_ones() as usize
    }

    /// Bytes of two digits each; behind the last digit anything may stand.
    #[inline]
    fn bytes(self) -> [u8; 8] {
        let letters = self.letters + u8x16::splat(10);
        let values = self.are_decimal() & self.decimals | self.are_letters() & letters;
        // The first digit of each pair is the higher.
        let pairs: u16x8 = must_cast(values);
        let bytes: i16x8 = must_cast((pairs << 4 | pairs >> 8) & u16x8::splat(0xFF));
        let [bytes, _]: [[u8; 8]; 2] = must_cast(u8x16::narrow_i16x8(bytes, bytes));
        bytes
    }
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
    use super::super::socketcan_text::parse;
    use super::*;
    use halfshaft_model::constants::LONGEST_CAN_PAYLOAD;

    #[test]
    fn six_digits_at_a_time() {
        let word = |text: &str| u64::from_le_bytes(text.as_bytes().try_into().unwrap());
        for number in [0, 1, 9, 10, 249_713, 999_999, 123_456, 100_000] {
            let text = word(&format!("{number:06}) "));
            assert!(are_six_digits(text), "{number}");
            assert_eq!(six_digits(text), number);
        }
        for text in ["12345x) ", "/23456) ", "1:3456) ", "      ) "] {
            assert!(!are_six_digits(word(text)), "{text}");
        }
    }

    #[test]
    fn every_hexadecimal_digit_and_no_other_character() {
        for byte in 0..=u8::MAX {
            for place in 0..16 {
                let mut text = *b"89abCDEF70fF1A2c";
                text[place] = byte;
                let digits = Digits::new(&text);
                let Some(digit) = char::from(byte).to_digit(16) else {
                    assert_eq!(digits.n(), place, "{text:?}");
                    continue;
                };
                let shift = 60 - 4 * place;
                let others = 0x89AB_CDEF_70FF_1A2C & !(0xF << shift);
                let wanted = others | u64::from(digit) << shift;
                assert_eq!(digits.n(), 16);
                assert_eq!(digits.bytes(), wanted.to_be_bytes(), "{text:?}");
            }
        }
    }

    #[test]
    fn identifiers_that_share_a_place_are_told_apart() {
        let mut head = Head::default();
        for _ in 0..2 {
            for number in 0..0x900_u32 {
                let text = format!("{number:03X}#0000");
                let digits = text.as_bytes().first_chunk().unwrap();
                assert_eq!(head.identify::<3>(digits), FrameId::standard(number));
                let text = format!("{:08X}", number << 18);
                let digits = text.as_bytes().first_chunk().unwrap();
                assert_eq!(head.identify::<8>(digits), FrameId::extended(number << 18));
            }
            // Also what an empty place is kept with.
            for digits in [[0; 8], *b"+12#0000", *b"12G#0000"] {
                assert_eq!(head.identify::<3>(&digits), None);
                assert_eq!(head.identify::<8>(&digits), None);
            }
        }
    }

    /// Keeps the head of a line as the reader does.
    fn keep(head: &mut Head, line: &str) {
        let mut payload = [0; LONGEST_CAN_PAYLOAD];
        let frame = parse(line.as_bytes(), &mut payload).unwrap();
        head.keep(line.as_bytes(), &frame, 3);
    }

    /// What is read of a line, with text behind it.
    fn read(head: &mut Head, line: &str) -> Option<(Stamp, FrameId, Vec<u8>)> {
        let text = format!("{line}\n{}", "(1436509052.249713) vcan0 044#2A\n".repeat(4));
        let quick = head.read(text.as_bytes())?;
        assert_eq!(quick.length, line.len() + 1, "{line}");
        let (bytes, n_bytes) = quick.payload();
        Some((head.stamp(&quick), quick.id, bytes[..n_bytes].to_vec()))
    }

    #[test]
    fn a_payload_ends_at_its_newline_and_nowhere_else() {
        let first = "(1436509052.249713) vcan0 044#";
        let mut head = Head::default();
        keep(&mut head, first);
        for n_digits in 0..=17 {
            let line = format!("{first}{}", &"89abCDEF70fF1A2c0"[..n_digits]);
            let is_whole = n_digits % 2 == 0;
            assert_eq!(read(&mut head, &line).is_some(), is_whole, "{line}");
            for behind in ["\r", " ", "g", "#", "."] {
                assert_eq!(read(&mut head, &format!("{line}{behind}")), None);
            }
        }
    }

    #[test]
    fn only_lines_of_the_same_shape_are_read() {
        let first = "(1436509052.249713) vcan0 044#2A366C2BBA000102";
        let mut head = Head::default();
        assert_eq!(read(&mut head, first), None);
        keep(&mut head, first);
        for n_bytes in 0..=8 {
            let digits = &"2A366c2BBA000103"[..2 * n_bytes];
            let line = format!("(1436509052.249714) vcan0 7FF#{digits}");
            let (stamp, id, payload) = read(&mut head, &line).unwrap();
            assert_eq!(stamp.0, 1_436_509_052_249_714_000);
            assert_eq!(id, FrameId::standard(0x7FF).unwrap());
            assert_eq!(payload, [0x2A, 0x36, 0x6C, 0x2B, 0xBA, 0, 1, 3][..n_bytes]);
        }
        let line = "(1436509052.249714) vcan0 18FEBF0B#2A366C2BBA000103";
        let (_, id, _) = read(&mut head, line).unwrap();
        assert_eq!(Some(id), FrameId::extended(0x18FE_BF0B));
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
            assert_eq!(read(&mut head, other), None, "{other}");
        }
        // The end of the text may be the middle of a line.
        assert!(head.read(first.as_bytes()).is_none());
    }
}
