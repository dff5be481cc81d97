//! Whether a frame's checksum fits it.

use super::bits::{extract, mask};
use crate::map::{Checksum, ChecksumRule};

/// Polynomial of the CRC-8 of SAE J1850, without its highest term.
const J1850_POLYNOMIAL: u8 = 0x1D;

/// Whether the checksum fits; `None` when the payload is too short to tell.
pub fn fits(checksum: &Checksum, payload: &[u8]) -> Option<bool> {
    let stated = extract(&checksum.bits, payload)?;
    // One of fewer than eight bits is the low end of the computed one.
    Some(stated == u64::from(of(checksum, payload)?) & mask(checksum.bits.width()))
}

/// The checksum of the bytes that it covers; `None` when the payload is too short.
fn of(checksum: &Checksum, payload: &[u8]) -> Option<u8> {
    let covered = usize::from(checksum.first_byte)..usize::from(checksum.last_byte) + 1;
    let bytes = payload.get(covered)?;
    Some(compute(checksum.rule, checksum.start, bytes))
}

/// The checksum of some bytes.
pub fn compute(rule: ChecksumRule, start: Option<u8>, bytes: &[u8]) -> u8 {
    match rule {
        ChecksumRule::Xor => bytes
            .iter()
            .fold(start.unwrap_or(0), |sum, byte| sum ^ byte),
        ChecksumRule::Sum => bytes
            .iter()
            .fold(start.unwrap_or(0), |sum, byte| sum.wrapping_add(*byte)),
        ChecksumRule::Crc8J1850 => {
            let pieces = bytes.chunks(N_AT_ONCE);
            pieces.fold(start.unwrap_or(0xFF), crc_at_once) ^ 0xFF
        }
    }
}

/// The sum after a few bytes, each on its own: what it leaves in it after those behind it.
/// The sum is linear, so these add up, and none waits for the one before.
fn crc_at_once(start: u8, bytes: &[u8]) -> u8 {
    let Some((first, others)) = bytes.split_first() else {
        return start;
    };
    let leaves = |n_behind: usize, byte: u8| J1850_TABLES[n_behind][usize::from(byte)];
    let others_leave = others.iter().rev().enumerate();
    others_leave.fold(
        leaves(others.len(), start ^ first),
        |crc, (behind, byte)| crc ^ leaves(behind, *byte),
    )
}

/// Bytes of a classic frame.
const N_AT_ONCE: usize = 8;

/// What a byte leaves with so many bytes of zero behind it.
static J1850_TABLES: [[u8; 256]; N_AT_ONCE] = {
    let mut tables = [[0u8; 256]; N_AT_ONCE];
    let mut index = 0;
    while index < 256 {
        let mut crc = index as u8;
        let mut n_bits = 0;
        while n_bits < 8 * N_AT_ONCE {
            crc = if crc & 0x80 != 0 {
                crc << 1 ^ J1850_POLYNOMIAL
            } else {
                crc << 1
            };
            n_bits += 1;
            if n_bits % 8 == 0 {
                tables[n_bits / 8 - 1][index] = crc;
            }
        }
        index += 1;
    }
    tables
};

#[cfg(test)]
mod tests {
    use super::*;
    use crate::map::{BitField, BitRun};

    #[test]
    fn crc_gives_its_published_check_value() {
        // Source: catalogue of parametrised CRC algorithms, CRC-8/SAE-J1850, check 0x4B; from memory.
        assert_eq!(compute(ChecksumRule::Crc8J1850, None, b"123456789"), 0x4B);
        // No bytes: start and final exclusive or cancel.
        assert_eq!(compute(ChecksumRule::Crc8J1850, None, &[]), 0x00);
    }

    #[test]
    fn few_bytes_at_once_give_what_they_give_one_by_one() {
        let bytes: Vec<u8> = (0..64).map(|n: u32| (n * n * 37 + 11) as u8).collect();
        for length in 0..=N_AT_ONCE {
            for window in bytes.windows(length.max(1)) {
                let (window, start) = (&window[..length], window[0]);
                let one_by_one = window
                    .iter()
                    .fold(start, |crc, byte| J1850_TABLES[0][usize::from(crc ^ byte)]);
                assert_eq!(crc_at_once(start, window), one_by_one, "{window:?}");
            }
        }
    }

    #[track_caller]
    fn check(rule: ChecksumRule, start: Option<u8>, width: u8, payload: &[u8], want: Option<bool>) {
        let bits = BitField {
            runs: vec![BitRun {
                byte: 3,
                high: width - 1,
                low: 0,
            }],
        };
        let checksum = Checksum {
            bits,
            rule,
            first_byte: 0,
            last_byte: 2,
            start,
        };
        assert_eq!(fits(&checksum, payload), want);
    }

    #[test]
    fn rules_starts_and_short_frames() {
        // Derived: 0x5A ^ 1 ^ 2 ^ 4 = 0x5D; 1 + 2 + 0xFF = 0x102.
        check(
            ChecksumRule::Xor,
            Some(0x5A),
            8,
            &[1, 2, 4, 0x5D],
            Some(true),
        );
        check(ChecksumRule::Xor, None, 8, &[1, 2, 4, 0x07], Some(true));
        check(ChecksumRule::Xor, None, 8, &[1, 2, 4, 0x06], Some(false));
        check(ChecksumRule::Sum, None, 8, &[1, 2, 0xFF, 0x02], Some(true));
        check(
            ChecksumRule::Sum,
            Some(0x10),
            8,
            &[1, 2, 0xFF, 0x12],
            Some(true),
        );
        check(ChecksumRule::Sum, None, 4, &[1, 2, 0x13, 0xA6], Some(true));
        check(ChecksumRule::Sum, None, 8, &[1, 2, 0xFF], None);
    }
}
