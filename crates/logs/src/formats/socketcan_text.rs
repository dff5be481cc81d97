//! SocketCAN log text: one frame a line.
//!
//! ```text
//! (1436509052.249713) vcan0 044#2A366C2BBA
//! ```
//!
//! In: lines. Out: frames. Three digits are an 11-bit identifier, eight a 29-bit one or,
//! with bit 0x20000000, an error report; `##` and a digit of flags begin a CAN FD
//! payload; `#R` is a remote request with an optional length; `_` and a digit after eight
//! bytes give a raw length code, and a last `R` or `T` the direction: both are read over.
//! This is the hot path of the program: no allocation, no `str`, integers only.

use halfshaft_model::constants::{LONGEST_CAN_PAYLOAD, NS_PER_S};
use halfshaft_model::{Batch, Code, FrameFlags, FrameId, FrameKind, Stamp};

use super::socketcan_quick::Head;
use super::{BATCH, Beginning, Reader, Recognised};
use crate::context::{Context, LONGEST_BUS_NAME};
use crate::error::Error;
use crate::text::{Text, TextLine};

// Bits of an identifier. Source: Linux can.h, CAN_EFF_FLAG, CAN_RTR_FLAG, CAN_ERR_FLAG,
// CAN_SFF_MASK, CAN_EFF_MASK.
const EXTENDED: u32 = 0x8000_0000;
const REMOTE: u32 = 0x4000_0000;
const ERROR: u32 = 0x2000_0000;
const EXTENDED_MASK: u32 = 0x1FFF_FFFF;

// Flags of a CAN FD frame. Source: Linux can.h, CANFD_BRS, CANFD_ESI.
const BIT_RATE_SWITCH: u8 = 0x01;
const ERROR_STATE: u8 = 0x02;

/// Whether some line of the beginning is a frame.
pub(super) fn recognise(beginning: &Beginning) -> Result<Option<Recognised>, Error> {
    let mut payload = [0; LONGEST_CAN_PAYLOAD];
    let mut lines = beginning.lines.iter();
    let is_one = lines.any(|line| parse(line, &mut payload).is_some());
    Ok(is_one.then(|| Recognised {
        words: "SocketCAN log text".to_owned(),
        parts: "lines",
        entries: "frames",
        missing: Vec::new(),
        open: Box::new(|bytes| Ok(Box::new(SocketcanText::new(Text::new(bytes))))),
    }))
}

/// Reader of SocketCAN log text.
pub(super) struct SocketcanText {
    text: Text,
    head: Head,
    // The second of the log's clock in which the latest frame stands.
    second: Option<i64>,
    // The latest frame with its line, when it was passed over and not given on as such.
    unmentioned: Option<(Stamp, u64)>,
}

impl SocketcanText {
    fn new(text: Text) -> SocketcanText {
        SocketcanText {
            text,
            head: Head::default(),
            second: None,
            unmentioned: None,
        }
    }
}

impl Reader for SocketcanText {
    fn fill(&mut self, batch: &mut Batch, context: &mut Context) -> bool {
        let mut payload = [0; LONGEST_CAN_PAYLOAD];
        let mut is_more = true;
        // Bad lines count as well, so that noise cannot keep this call from returning.
        let mut n_left = BATCH;
        loop {
            n_left -= self.take_alike(n_left, batch, context);
            if n_left == 0 {
                break;
            }
            n_left -= 1;
            let line = match self.text.next(context) {
                TextLine::Line(line) => line,
                TextLine::Damaged => continue,
                TextLine::Pause => break,
                TextLine::End => {
                    is_more = false;
                    break;
                }
            };
            let Some(frame) = parse(line.bytes, &mut payload) else {
                if !line.bytes.trim_ascii().is_empty() {
                    let code = if line.is_ended {
                        Code::LineUnreadable
                    } else {
                        Code::LineTruncated
                    };
                    context.skip_line(code, line.number, line.bytes);
                }
                continue;
            };
            let bus = context.buses.index(frame.bus);
            context.entry(frame.stamp, true);
            self.head.keep(line.bytes, &frame, bus);
            let second = Some(frame.stamp.0.div_euclid(NS_PER_S));
            let is_first = std::mem::replace(&mut self.second, second) != second;
            batch.set_line(line.number);
            self.unmentioned = None;
            match frame.kind {
                FrameKind::Data if !context.wants(frame.id) => match is_first {
                    true => batch.push_passed_over(frame.stamp),
                    false => self.unmentioned = Some((frame.stamp, line.number)),
                },
                FrameKind::Remote => batch.push_remote(frame.stamp, bus, frame.id, frame.length),
                kind => {
                    let payload = &payload[..usize::from(frame.length)];
                    batch.push_frame(frame.stamp, bus, frame.id, kind, frame.flags, payload);
                }
            }
        }
        is_more &= self.text.take_stock(context);
        if !is_more && let Some((stamp, line)) = self.unmentioned.take() {
            batch.set_line(line);
            batch.push_passed_over(stamp);
        }
        is_more
    }
}

impl SocketcanText {
    /// Takes frames whose lines are alike the one before, so many at most; how many they were.
    #[inline]
    fn take_alike(&mut self, most: usize, batch: &mut Batch, context: &mut Context) -> usize {
        let (text, bus, n_before) = (self.text.rest(), self.head.bus, self.text.n_lines());
        let (mut n, mut length) = (0, 0);
        // All of these stand in the second of the line before, so none is the first in its own.
        let mut latest = None;
        while n < most
            && let Some(quick) = self.head.read(&text[length..])
        {
            length += quick.length;
            n += 1;
            let is_wanted = context.wants(quick.id);
            if is_wanted {
                let (stamp, (bytes, n_bytes)) = (self.head.stamp(&quick), quick.payload());
                batch.set_line(n_before + n as u64);
                batch.push_short_frame(stamp, bus, quick.id, bytes, n_bytes);
            }
            latest = Some((quick, is_wanted));
        }
        if let Some((quick, is_wanted)) = latest {
            let stamp = self.head.stamp(&quick);
            self.text.pass(n, length);
            self.unmentioned = (!is_wanted).then_some((stamp, self.text.n_lines()));
            context.more_entries(n, stamp);
        }
        n
    }
}

/// A line taken apart; its payload lies in the caller's array.
#[derive(Debug, PartialEq)]
pub(super) struct FrameLine<'a> {
    pub stamp: Stamp,
    // Where the stamp ends, behind its parenthesis, and where the identifier begins.
    pub stamp_end: usize,
    pub id_start: usize,
    bus: &'a [u8],
    pub id: FrameId,
    kind: FrameKind,
    flags: FrameFlags,
    length: u8,
}

const NO_DIGIT: u8 = 0xFF;

/// Value of a hexadecimal digit, by character.
pub(super) const HEX: [u8; 256] = {
    let mut table = [NO_DIGIT; 256];
    let mut n = 0;
    while n < 16 {
        let digit = b"0123456789abcdef"[n];
        table[digit as usize] = n as u8;
        table[digit.to_ascii_uppercase() as usize] = n as u8;
        n += 1;
    }
    table
};

fn hex(line: &[u8], at: usize) -> Option<u8> {
    match HEX[usize::from(*line.get(at)?)] {
        NO_DIGIT => None,
        digit => Some(digit),
    }
}

fn is_blank(byte: u8) -> bool {
    matches!(byte, b' ' | b'\t' | b'\r')
}

fn skip_blanks(line: &[u8], mut at: usize) -> usize {
    while line.get(at).is_some_and(|&byte| is_blank(byte)) {
        at += 1;
    }
    at
}

#[inline]
pub(super) fn parse<'a>(
    line: &'a [u8],
    payload: &mut [u8; LONGEST_CAN_PAYLOAD],
) -> Option<FrameLine<'a>> {
    let (stamp, stamp_end) = parse_stamp(line)?;

    let bus_start = skip_blanks(line, stamp_end);
    let mut at = bus_start;
    while !is_blank(*line.get(at)?) {
        at += 1;
    }
    let bus = &line[bus_start..at];
    if bus.is_empty() || bus.len() > LONGEST_BUS_NAME {
        return None;
    }
    at = skip_blanks(line, at);

    let id_start = at;
    let n_digits = if line.get(at + 3) == Some(&b'#') {
        3
    } else {
        8
    };
    let mut number = 0_u32;
    for digit in 0..n_digits {
        number = number << 4 | u32::from(hex(line, at + digit)?);
    }
    at += n_digits;
    if line.get(at) != Some(&b'#') {
        return None;
    }
    at += 1;
    let id = match n_digits {
        3 => FrameId::standard(number)?,
        _ => FrameId::extended(number & EXTENDED_MASK)?,
    };
    let mut kind = match n_digits {
        8 if number & ERROR != 0 => FrameKind::Error,
        8 if number & REMOTE != 0 => FrameKind::Remote,
        _ => FrameKind::Data,
    };
    debug_assert!(n_digits == 3 || number & !(EXTENDED | REMOTE | ERROR) == id.number());

    let mut flags = FrameFlags::default();
    let mut longest = 8;
    let mut length = 0_u8;
    match line.get(at) {
        Some(b'#') => {
            let digit = hex(line, at + 1)?;
            at += 2;
            flags = FrameFlags {
                fd: true,
                bit_rate_switch: digit & BIT_RATE_SWITCH != 0,
                error_state: digit & ERROR_STATE != 0,
            };
            longest = LONGEST_CAN_PAYLOAD;
        }
        Some(b'R' | b'r') => {
            kind = FrameKind::Remote;
            at += 1;
            if let Some(asked) = hex(line, at) {
                if asked > 8 {
                    return None;
                }
                length = asked;
                at += 1;
            }
            longest = 0;
        }
        _ => {}
    }
    let mut n = 0;
    while let Some(&first) = line.get(at) {
        let high = HEX[usize::from(first)];
        if high == NO_DIGIT {
            // A point may part the bytes.
            if first == b'.' && n > 0 {
                at += 1;
                continue;
            }
            break;
        }
        let low = hex(line, at + 1)?;
        if n == longest {
            return None;
        }
        payload[n] = high << 4 | low;
        n += 1;
        at += 2;
    }
    if longest > 0 {
        length = n as u8;
    }
    if line.get(at) == Some(&b'_') {
        let raw_length_code = hex(line, at + 1)?;
        if length != 8 || flags.fd || raw_length_code < 9 {
            return None;
        }
        at += 2;
    }
    if !ends_well(line, at) {
        return None;
    }
    Some(FrameLine {
        stamp,
        stamp_end,
        id_start,
        bus,
        id,
        kind,
        flags,
        length,
    })
}

/// Whether nothing stands after the frame but blanks and perhaps its direction.
#[inline]
fn ends_well(line: &[u8], at: usize) -> bool {
    let mut rest = skip_blanks(line, at);
    if rest > at && matches!(line.get(rest), Some(b'R' | b'T')) {
        rest = skip_blanks(line, rest + 1);
    }
    rest == line.len()
}

/// The time in parentheses, and where it ends. Digits beyond nanoseconds are cut off.
#[inline]
fn parse_stamp(line: &[u8]) -> Option<(Stamp, usize)> {
    let mut at = skip_blanks(line, 0);
    if line.get(at) != Some(&b'(') {
        return None;
    }
    at += 1;
    // Log writers pad the seconds with blanks or zeros.
    at = skip_blanks(line, at);
    let start = at;
    let mut seconds = 0_i64;
    while let Some(digit) = decimal(line, at) {
        // Twelve digits do not fit in nanoseconds of 64 bits, and more would overflow here.
        if at - start == 12 {
            return None;
        }
        seconds = seconds * 10 + i64::from(digit);
        at += 1;
    }
    if at == start {
        return None;
    }
    let mut ns = 0_u32;
    if line.get(at) == Some(&b'.') {
        at += 1;
        let mut unit = 100_000_000;
        while let Some(digit) = decimal(line, at) {
            ns += u32::from(digit) * unit;
            unit /= 10;
            at += 1;
        }
    }
    if line.get(at) != Some(&b')') {
        return None;
    }
    let stamp = seconds
        .checked_mul(1_000_000_000)?
        .checked_add(i64::from(ns))?;
    Some((Stamp(stamp), at + 1))
}

fn decimal(line: &[u8], at: usize) -> Option<u8> {
    let digit = line.get(at)?.wrapping_sub(b'0');
    if digit < 10 { Some(digit) } else { None }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// One line as `ns bus id kind flags payload`, or `-` when it is no frame.
    fn show(line: &str) -> String {
        let mut payload = [0; LONGEST_CAN_PAYLOAD];
        let Some(frame) = parse(line.as_bytes(), &mut payload) else {
            return "-".to_owned();
        };
        let mut flags = String::new();
        for (is_set, letter) in [
            (frame.flags.fd, 'F'),
            (frame.flags.bit_rate_switch, 'B'),
            (frame.flags.error_state, 'E'),
        ] {
            flags.extend(is_set.then_some(letter));
        }
        let bytes = match frame.kind {
            FrameKind::Remote => format!("asks {}", frame.length),
            _ => payload[..usize::from(frame.length)]
                .iter()
                .map(|byte| format!("{byte:02X}"))
                .collect(),
        };
        let bus = String::from_utf8_lossy(frame.bus);
        format!(
            "{} {bus} {} {:?} {flags} {bytes}",
            frame.stamp.0, frame.id, frame.kind
        )
    }

    #[track_caller]
    fn check(line: &str, expected: &str) {
        assert_eq!(show(line), expected, "{line}");
        assert_eq!(show(&format!("{line}\r")), expected, "{line} with CR");
    }

    // Check value row 63. Source: Linux can-utils log form, kernel documentation can.rst.
    #[test]
    fn classic_frames() {
        check(
            "(1436509052.249713) vcan0 044#2A366C2BBA",
            "1436509052249713000 vcan0 0x044 Data  2A366C2BBA",
        );
        check("(0.5) c 7ff#", "500000000 c 0x7FF Data  ");
        check("(1) can0 123#00", "1000000000 can0 0x123 Data  00");
        check(
            "(1.123456789) can0 123#ab",
            "1123456789 can0 0x123 Data  AB",
        );
        check(
            "(1.1234567899) can0 123#ab",
            "1123456789 can0 0x123 Data  AB",
        );
        check(
            "(0000000012.000001) can0 123#01",
            "12000001000 can0 0x123 Data  01",
        );
        check(
            "(1.0) can0 123#11.22.33",
            "1000000000 can0 0x123 Data  112233",
        );
        check(
            "(1.0)  can0\t123#1122334455667788  T ",
            "1000000000 can0 0x123 Data  1122334455667788",
        );
        check("(1.0) can0 123#1122 R", "1000000000 can0 0x123 Data  1122");
        check(
            "(1.0) can0 123#1122334455667788_E",
            "1000000000 can0 0x123 Data  1122334455667788",
        );
        check(
            "(1.0) can0 123#1122334455667788_F T",
            "1000000000 can0 0x123 Data  1122334455667788",
        );
    }

    // Check value row 62. Source: Linux can.h: EFF 8…, RTR 4…, ERR 2…; masks 7FF and 1FFFFFFF.
    #[test]
    fn identifiers() {
        check(
            "(1.0) can0 00000123#00",
            "1000000000 can0 0x00000123 Data  00",
        );
        check(
            "(1.0) can0 18FEBF0B#00487D7D8575FFFF",
            "1000000000 can0 0x18FEBF0B Data  00487D7D8575FFFF",
        );
        check(
            "(1.0) can0 98FEBF0B#00",
            "1000000000 can0 0x18FEBF0B Data  00",
        );
        check(
            "(1.0) can0 20000004#0008000000000000",
            "1000000000 can0 0x00000004 Error  0008000000000000",
        );
        check(
            "(1.0) can0 40000123#",
            "1000000000 can0 0x00000123 Remote  asks 0",
        );
        check("(1.0) can0 800#00", "-");
        check("(1.0) can0 1234#00", "-");
        check("(1.0) can0 12#00", "-");
    }

    // Check value row 63. FD flags: BRS 1, ESI 2, FDF 4. Source: Linux can.h.
    #[test]
    fn fd_and_remote_frames() {
        check(
            "(1.0) can0 123##1112233",
            "1000000000 can0 0x123 Data FB 112233",
        );
        check("(1.0) can0 123##2", "1000000000 can0 0x123 Data FE ");
        check("(1.0) can0 123##4AA", "1000000000 can0 0x123 Data F AA");
        check("(1.0) can0 123##7AA R", "1000000000 can0 0x123 Data FBE AA");
        let long = "5A".repeat(64);
        check(
            &format!("(1.0) can0 123##0{long}"),
            &format!("1000000000 can0 0x123 Data F {long}"),
        );
        check(&format!("(1.0) can0 123##0{long}5A"), "-");
        check("(1.0) can0 123#R", "1000000000 can0 0x123 Remote  asks 0");
        check("(1.0) can0 123#R4", "1000000000 can0 0x123 Remote  asks 4");
        check(
            "(1.0) can0 123#R8_C R",
            "1000000000 can0 0x123 Remote  asks 8",
        );
        check("(1.0) can0 123#R9", "-");
        check("(1.0) can0 123#R44", "-");
    }

    #[test]
    fn damaged_lines_are_no_frames() {
        for line in [
            "",
            "(",
            "()",
            "(1.0)",
            "(1.0) can0",
            "(1.0) can0 123",
            "(1.0) can0 123#1",
            "(1.0) can0 123#112",
            "(1.0) can0 123#11xx",
            "(1.0) can0 123#112233445566778899",
            "(1.0) can0 123#11_E",
            "(1.0) can0 123#1122334455667788_8",
            "(1.0) can0 123#11 X",
            "(1.0) can0 123#11R",
            "(1.0) can0 123##",
            "(1.0 can0 123#11",
            "(-1.0) can0 123#11",
            "(1.x) can0 123#11",
            "(99999999999.0) can0 123#11",
            "(9999999999999999999999.0) can0 123#11",
            "(1.0) 123#11",
            "(1.0) can0 123#.",
        ] {
            check(line, "-");
        }
        check(&format!("(1.0) {} 123#11", "b".repeat(65)), "-");
    }
}
