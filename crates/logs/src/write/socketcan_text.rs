//! Writes SocketCAN log text, the form `halfshaft` itself reads first.
//!
//! In: one frame. Out: one line. Time goes out in microseconds where it is a whole
//! number of them, in nanoseconds otherwise, so that nothing is lost on the way.

use std::io::{self, Write};

use halfshaft_model::{FrameFlags, FrameId, FrameKind, Stamp};

use crate::context::LONGEST_BUS_NAME;

/// Longest line: stamp, bus name, identifier, 64 bytes of payload and what parts them.
const LONGEST: usize = 32 + LONGEST_BUS_NAME + 16 + 2 * 64 + 8;

/// Writes one frame as a line of SocketCAN log text.
///
/// The class of an error report goes out as an identifier of 29 bits, whatever `id` is.
/// A remote frame asks for as many bytes as `payload` is long; the bytes themselves do
/// not matter. Fails with [`io::ErrorKind::InvalidInput`], and writes nothing, when the
/// form cannot express the frame: a time before zero, a bus name that is empty, longer
/// than 64 bytes or holds blanks, a payload longer than its kind of frame allows.
pub fn write_frame(
    out: &mut impl Write,
    stamp: Stamp,
    bus_name: &str,
    id: FrameId,
    kind: FrameKind,
    flags: FrameFlags,
    payload: &[u8],
) -> io::Result<()> {
    let longest = if flags.fd && kind == FrameKind::Data {
        64
    } else {
        8
    };
    if payload.len() > longest {
        return Err(invalid(format!(
            "a payload of {} bytes; at most {longest} fit",
            payload.len()
        )));
    }
    let is_word = !bus_name.is_empty() && !bus_name.bytes().any(|byte| byte.is_ascii_whitespace());
    if !is_word || bus_name.len() > LONGEST_BUS_NAME {
        return Err(invalid(format!(
            "the bus name `{bus_name}`; expected one word of at most 64 bytes"
        )));
    }
    let ns = u64::try_from(stamp.0)
        .map_err(|_| invalid(format!("the time {} ns before zero", stamp.0)))?;

    let mut line = Line {
        bytes: [0; LONGEST],
        length: 0,
    };
    line.text(b"(");
    line.decimal(ns / 1_000_000_000, 1);
    line.text(b".");
    let fraction = ns % 1_000_000_000;
    if fraction % 1000 == 0 {
        line.decimal(fraction / 1000, 6);
    } else {
        line.decimal(fraction, 9);
    }
    line.text(b") ");
    line.text(bus_name.as_bytes());
    line.text(b" ");
    match (kind, id.is_extended()) {
        // Bit 0x20000000 marks an error report. Source: Linux can.h, CAN_ERR_FLAG.
        (FrameKind::Error, _) => line.hex(id.number() | 0x2000_0000, 8),
        (_, true) => line.hex(id.number(), 8),
        (_, false) => line.hex(id.number(), 3),
    }
    line.text(b"#");
    match kind {
        FrameKind::Remote => {
            line.text(b"R");
            if !payload.is_empty() {
                line.hex(payload.len() as u32, 1);
            }
        }
        FrameKind::Data | FrameKind::Error => {
            if flags.fd && kind == FrameKind::Data {
                line.text(b"#");
                line.hex(
                    u32::from(flags.bit_rate_switch) | u32::from(flags.error_state) << 1,
                    1,
                );
            }
            for &byte in payload {
                line.hex(u32::from(byte), 2);
            }
        }
    }
    line.text(b"\n");
    out.write_all(&line.bytes[..line.length])
}

fn invalid(found: String) -> io::Error {
    io::Error::new(
        io::ErrorKind::InvalidInput,
        format!("SocketCAN log text cannot express {found}"),
    )
}

struct Line {
    bytes: [u8; LONGEST],
    length: usize,
}

impl Line {
    fn text(&mut self, text: &[u8]) {
        self.bytes[self.length..self.length + text.len()].copy_from_slice(text);
        self.length += text.len();
    }

    fn decimal(&mut self, mut number: u64, at_least: usize) {
        let mut digits = [b'0'; 20];
        let mut first = digits.len();
        while number > 0 || digits.len() - first < at_least {
            first -= 1;
            digits[first] = b'0' + (number % 10) as u8;
            number /= 10;
        }
        self.text(&digits[first..]);
    }

    fn hex(&mut self, number: u32, n_digits: u32) {
        for digit in (0..n_digits).rev() {
            let value = number >> (4 * digit) & 0xF;
            self.text(&[b"0123456789ABCDEF"[value as usize]]);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(
        kind: FrameKind,
        flags: FrameFlags,
        id: FrameId,
        ns: i64,
        payload: &[u8],
        expected: &str,
    ) {
        let mut out = Vec::new();
        write_frame(&mut out, Stamp(ns), "vcan0", id, kind, flags, payload).unwrap();
        assert_eq!(String::from_utf8(out).unwrap(), expected);
    }

    // Check value row 63. Source: Linux can-utils log form, kernel documentation can.rst.
    #[test]
    fn lines_have_the_known_form() {
        let classic = FrameFlags::default();
        let fast = FrameFlags {
            fd: true,
            bit_rate_switch: true,
            error_state: false,
        };
        let short = FrameId::standard(0x44).unwrap();
        let long = FrameId::extended(0x44).unwrap();
        let bytes = [0x2A, 0x36, 0x6C, 0x2B, 0xBA];
        let ns = 1_436_509_052_249_713_000;
        check(
            FrameKind::Data,
            classic,
            short,
            ns,
            &bytes,
            "(1436509052.249713) vcan0 044#2A366C2BBA\n",
        );
        check(
            FrameKind::Data,
            classic,
            long,
            ns + 7,
            &[],
            "(1436509052.249713007) vcan0 00000044#\n",
        );
        check(
            FrameKind::Data,
            fast,
            short,
            0,
            &[0x11],
            "(0.000000) vcan0 044##111\n",
        );
        check(
            FrameKind::Remote,
            classic,
            short,
            5_000,
            &[0; 4],
            "(0.000005) vcan0 044#R4\n",
        );
        check(
            FrameKind::Error,
            classic,
            long,
            1,
            &[0; 2],
            "(0.000000001) vcan0 20000044#0000\n",
        );
    }

    #[test]
    fn what_the_form_cannot_express_is_refused() {
        let id = FrameId::standard(1).unwrap();
        let classic = FrameFlags::default();
        let fd = FrameFlags {
            fd: true,
            ..classic
        };
        let refused = |ns, bus: &str, kind, flags, length| {
            let mut out = Vec::new();
            let result = write_frame(&mut out, Stamp(ns), bus, id, kind, flags, &vec![0; length]);
            assert!(out.is_empty() || result.is_ok());
            result.is_err()
        };
        assert!(!refused(0, "can0", FrameKind::Data, fd, 64));
        assert!(refused(-1, "can0", FrameKind::Data, classic, 0));
        assert!(refused(0, "", FrameKind::Data, classic, 0));
        assert!(refused(0, "a b", FrameKind::Data, classic, 0));
        assert!(refused(0, &"b".repeat(65), FrameKind::Data, classic, 0));
        assert!(refused(0, "can0", FrameKind::Data, classic, 9));
        assert!(refused(0, "can0", FrameKind::Data, fd, 65));
        assert!(refused(0, "can0", FrameKind::Remote, fd, 9));
    }
}
