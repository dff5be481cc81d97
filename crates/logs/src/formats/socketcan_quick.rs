//! The shape most lines of a SocketCAN log share, read without looking at every character.
//!
//! In: a line, and the head of the one before. Out: the frame, when the line has the same
//! seconds, bus and places as that one and eight bytes of payload; else nothing, and the
//! whole parser decides. Nothing is taken here that the whole parser would refuse.

use halfshaft_model::{FrameId, Stamp};

/// Decimals of a second that this shape has.
const DECIMALS: usize = 6;

/// Longest head kept: parenthesis, seconds, decimals, blank, bus name, blank.
const LONGEST_HEAD: usize = 48;

/// Head of the line before: `(1436509052.249713) vcan0 `.
#[derive(Clone, Debug)]
pub(super) struct Head {
    text: [u8; LONGEST_HEAD],
    // Place of the decimal point, and of the identifier; 0 when there is no head yet.
    point: usize,
    id: usize,
    seconds_ns: i64,
    /// Index of the bus of that head.
    pub bus: u16,
}

impl Default for Head {
    fn default() -> Head {
        Head {
            text: [0; LONGEST_HEAD],
            point: 0,
            id: 0,
            seconds_ns: 0,
            bus: 0,
        }
    }
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
        self.text[..id].copy_from_slice(&line[..id]);
        (self.point, self.id, self.bus) = (point, id, bus);
        self.seconds_ns = stamp.0 - stamp.0.rem_euclid(1_000_000_000);
    }

    /// The stamp, the identifier and the payload's sixteen digits of a line of this shape.
    #[inline]
    pub fn read<'a>(&self, line: &'a [u8]) -> Option<(Stamp, FrameId, &'a [u8; 16])> {
        let (point, id) = (self.point, self.id);
        let after = point + 1 + DECIMALS;
        if id == 0
            || line.get(..=point)? != &self.text[..=point]
            || line.get(after..id)? != &self.text[after..id]
        {
            return None;
        }
        let microseconds = six_digits(line.get(point + 1..)?.first_chunk()?)?;
        let stamp = Stamp(self.seconds_ns + i64::from(microseconds) * 1000);
        let rest = line.get(id..)?;
        let (number, digits) = match rest.len() {
            20 if rest[3] == b'#' => (FrameId::standard(hex(&rest[..3])?)?, &rest[4..]),
            25 if rest[8] == b'#' => {
                let number = hex(&rest[..8])?;
                // An error report is for the whole parser.
                if number > 0x1FFF_FFFF {
                    return None;
                }
                (FrameId::extended(number)?, &rest[9..])
            }
            _ => return None,
        };
        Some((stamp, number, digits.first_chunk()?))
    }
}

/// Six decimal digits out of eight bytes, all six at a time.
#[inline]
fn six_digits(bytes: &[u8; 8]) -> Option<u32> {
    const ZEROS: u64 = 0x3030_3030_3030_3030;
    const HIGH_HALVES: u64 = 0xF0F0_F0F0_F0F0_F0F0;
    // Two zeros in front make eight digits of six.
    let text = u64::from_le_bytes(*bytes) << 16 | 0x3030;
    let are_digits = text & HIGH_HALVES == ZEROS
        && text.wrapping_add(0x0606_0606_0606_0606) & HIGH_HALVES == ZEROS;
    if !are_digits {
        return None;
    }
    // Pairs, then fours, then all: each step joins neighbours, the left one the higher.
    let digits = text & 0x0F0F_0F0F_0F0F_0F0F;
    let pairs = digits.wrapping_mul(10).wrapping_add(digits >> 8) & 0x00FF_00FF_00FF_00FF;
    let fours = pairs.wrapping_mul(100).wrapping_add(pairs >> 16) & 0x0000_FFFF_0000_FFFF;
    let all = fours.wrapping_mul(10_000).wrapping_add(fours >> 32);
    Some(all as u32)
}

#[inline]
fn hex(digits: &[u8]) -> Option<u32> {
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
    fn only_lines_of_the_same_shape_are_read() {
        let first = b"(1436509052.249713) vcan0 044#2A366C2BBA000102";
        let mut head = Head::default();
        assert_eq!(head.read(first), None);
        head.keep(first, Stamp(1_436_509_052_249_713_000), 3);
        let (stamp, id, digits) = head
            .read(b"(1436509052.249714) vcan0 7FF#2A366C2BBA000103")
            .unwrap();
        assert_eq!(stamp.0, 1_436_509_052_249_714_000);
        assert_eq!((id.number(), digits), (0x7FF, b"2A366C2BBA000103"));
        let (_, id, _) = head
            .read(b"(1436509052.249714) vcan0 18FEBF0B#2A366C2BBA000103")
            .unwrap();
        assert!(id.is_extended());
        for other in [
            &b"(1436509053.249713) vcan0 044#2A366C2BBA000102"[..],
            b"(1436509052.249713) vcan1 044#2A366C2BBA000102",
            b"(1436509052.2497134) vcan0 044#2A366C2BBA000102",
            b"(1436509052.249713) vcan0 844#2A366C2BBA000102",
            b"(1436509052.249713) vcan0 20000004#2A366C2BBA000102",
            b"(1436509052.249713) vcan0 044#2A366C2BBA0001",
            b"(1436509052.249713) vcan0 044#2A366C2BBA000102 R",
            b"(1436509052.249713) vcan0 044##12A366C2BBA00010",
        ] {
            assert_eq!(head.read(other), None, "{}", String::from_utf8_lossy(other));
        }
    }
}
