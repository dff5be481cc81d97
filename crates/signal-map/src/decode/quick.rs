//! The short way to the value of a signal like most: an integer in a row of bits.
//!
//! In: payloads. Out: the value where nothing is to be said of it, else nothing, and the
//! signal is read the long way. So this may refuse whatever it likes, and must never give
//! what the long way would not. It has no branch that goes one way for one signal and
//! another for the next: frames come in no order that a processor could foresee.

use super::bits;
use crate::map::{BitField, CodeRange, Number, Signal};

/// Widest field whose codes are kept here, bits.
const WIDEST: u32 = 32;

/// A signal's bits, scale and limits.
#[derive(Clone, Debug, Default)]
pub(crate) struct Quick {
    // The payload must have so many bytes, and these bits of its first eight must be these.
    n_bytes: u16,
    must_mask: u64,
    must_be: u64,
    // Shift that takes off what is left of the field, and the one that then takes off the rest.
    is_little_end: bool,
    is_signed: bool,
    left: u8,
    right: u8,
    // Codes from `special` on, so many after it, are left to the long way.
    special: u32,
    n_special: u32,
    si_per_step: f64,
    si_at_zero: f64,
    rounding_of_zero: f64,
    // What is believed; no number that is not finite lies between.
    low: f64,
    high: f64,
}

impl Quick {
    /// For a signal of the map.
    pub(crate) fn new(signal: &Signal) -> Quick {
        Quick::of(signal).unwrap_or(Quick {
            // No payload is as long.
            n_bytes: u16::MAX,
            ..Quick::default()
        })
    }

    fn of(signal: &Signal) -> Option<Quick> {
        let is_signed = match signal.number {
            Number::Unsigned => false,
            Number::Signed => true,
            Number::SignMagnitude | Number::Float => return None,
        };
        let width = signal.bits.width();
        if signal.rate_under.is_some() || !(1..=WIDEST).contains(&width) {
            return None;
        }
        let (is_little_end, shift) = in_head(&signal.bits)?;
        let mut n_bytes = signal.bits.n_bytes();
        let (mut must_mask, mut must_be) = (0, 0);
        for condition in signal.on_pages.iter().chain(&signal.valid_when) {
            let [CodeRange { first, last }] = condition.codes[..] else {
                return None;
            };
            let (is_little_end, shift) = in_head(&condition.bits)?;
            let mask = bits::mask(condition.bits.width());
            if first != last || first & !mask != 0 {
                return None;
            }
            let placed = |bits: u64| match is_little_end {
                true => (bits << shift).swap_bytes(),
                false => bits << shift,
            };
            // Two conditions on the same bits are for the long way.
            if must_mask & placed(mask) != 0 {
                return None;
            }
            must_mask |= placed(mask);
            must_be |= placed(first);
            n_bytes = n_bytes.max(condition.bits.n_bytes());
        }
        let special = || signal.absent.iter().chain(&signal.broken);
        let first = special().map(|codes| codes.first).min();
        let last = special().map(|codes| codes.last).max();
        let (first, last) = first.zip(last).unwrap_or((u64::MAX, u64::MAX));
        let code = |code: u64| u32::try_from(code).unwrap_or(u32::MAX);
        let (low, high) = signal.believe.unwrap_or((f64::MIN, f64::MAX));
        Some(Quick {
            n_bytes: u16::try_from(n_bytes).ok()?,
            must_mask,
            must_be,
            is_little_end,
            is_signed,
            left: u8::try_from(64 - shift - width).ok()?,
            right: u8::try_from(64 - width).ok()?,
            special: code(first),
            n_special: code(last) - code(first),
            si_per_step: signal.si_per_step,
            si_at_zero: signal.si_at_zero,
            rounding_of_zero: bits::rounding_of_zero(signal.si_at_zero),
            low: low.max(f64::MIN),
            high: high.min(f64::MAX),
        })
    }

    /// The value, SI; `heads` are the first eight bytes of the payload, big and little end
    /// first.
    #[inline(always)]
    pub(crate) fn value(&self, payload: &[u8], heads: [u64; 2]) -> Option<f64> {
        let word = heads[usize::from(self.is_little_end)].wrapping_shl(u32::from(self.left));
        let right = u32::from(self.right);
        let code = word.wrapping_shr(right);
        let signed = (word as i64).wrapping_shr(right);
        let number = if self.is_signed { signed } else { code as i64 };
        let si = bits::scaled_above(
            number as f64,
            self.si_per_step,
            self.si_at_zero,
            self.rounding_of_zero,
        );
        let is_plain = (payload.len() >= usize::from(self.n_bytes))
            & (heads[0] & self.must_mask == self.must_be)
            & ((code as u32).wrapping_sub(self.special) > self.n_special)
            & (si >= self.low)
            & (si <= self.high);
        is_plain.then_some(si)
    }
}

/// The first eight bytes of a payload, big end first, zeros beyond its end: read once a frame.
#[inline]
pub(crate) fn head(payload: &[u8]) -> u64 {
    if let Some(bytes) = payload.first_chunk::<8>() {
        return u64::from_be_bytes(*bytes);
    }
    // Its first four bytes and its last four, which may be the same ones in part.
    if let (Some(first), Some(last)) = (payload.first_chunk::<4>(), payload.last_chunk::<4>()) {
        let last = u64::from(u32::from_be_bytes(*last)) << (8 * (8 - payload.len()));
        return u64::from(u32::from_be_bytes(*first)) << 32 | last;
    }
    let join = |word: u64, byte: &u8| word << 8 | u64::from(*byte);
    let all = payload.iter().fold(0, join);
    all.checked_shl(8 * (8 - payload.len() as u32)).unwrap_or(0)
}

/// Of a field that is a row of bits in the first eight bytes: whether the row runs little end
/// first, and by how much the [`head`], turned to that end, is shifted for it.
fn in_head(field: &BitField) -> Option<(bool, u32)> {
    if field.n_bytes() > 8 {
        return None;
    }
    [false, true].into_iter().find_map(|is_little_end| {
        // Places counted from the end of the head, where a shift starts counting.
        let places = field.runs.iter().flat_map(|run| {
            let byte = if is_little_end {
                run.byte
            } else {
                7 - run.byte
            };
            (run.low.min(7)..=run.high.min(7).max(run.low.min(7)))
                .rev()
                .map(move |bit| u32::from(byte) * 8 + u32::from(bit))
        });
        let places: Vec<u32> = places.collect();
        let is_row = places.windows(2).all(|pair| pair[0] == pair[1] + 1);
        places
            .last()
            .filter(|_| is_row)
            .map(|shift| (is_little_end, *shift))
    })
}

#[cfg(test)]
mod tests {
    use super::super::bits::{self, Reading, extract, is_on_page};
    use super::*;
    use crate::map::{BitRun, Condition};
    use proptest::prelude::*;

    fn any_field() -> impl Strategy<Value = BitField> {
        // Fields in a row, in both byte orders, and now and then one that is in none.
        (0u16..9, 0u8..8, 0u8..8, 0u16..4, any::<bool>()).prop_map(
            |(byte, high, low, n_more, rises)| {
                let (high, low) = (high.max(low), high.min(low));
                let step = |index: u16| {
                    if rises {
                        byte + index
                    } else {
                        byte.saturating_sub(index)
                    }
                };
                let runs = (0..=n_more).map(|index| BitRun {
                    byte: step(index),
                    high: if index == 0 { high } else { 7 },
                    low: if index == n_more { low.min(high) } else { 0 },
                });
                BitField {
                    runs: runs.collect(),
                }
            },
        )
    }

    fn any_codes() -> impl Strategy<Value = Vec<CodeRange>> {
        prop::collection::vec((0u64..70_000, 0u64..300), 0..3).prop_map(|pairs| {
            let range = |(first, more): (u64, u64)| CodeRange {
                first,
                last: first + more,
            };
            pairs.into_iter().map(range).collect()
        })
    }

    fn any_conditions() -> impl Strategy<Value = Vec<Condition>> {
        let codes = prop_oneof![
            (0u64..4).prop_map(|code| vec![CodeRange {
                first: code,
                last: code
            }]),
            any_codes()
        ];
        let condition = (any_field(), codes).prop_map(|(bits, codes)| Condition { bits, codes });
        prop::collection::vec(condition, 0..2)
    }

    fn any_signal() -> impl Strategy<Value = Signal> {
        let number = prop_oneof![
            Just(Number::Unsigned),
            Just(Number::Signed),
            Just(Number::SignMagnitude),
            Just(Number::Float)
        ];
        let believe = prop::option::of((-1e4..0.0f64, 0.0..1e6f64));
        let scale = (-2.0..2.0f64, -50.0..50.0f64);
        let lists = (any_codes(), any_codes(), any_conditions(), any_conditions());
        (any_field(), number, believe, scale, lists).prop_map(
            |(bits, number, believe, (si_per_step, si_at_zero), lists)| Signal {
                channel: 0,
                bits,
                number,
                si_per_step,
                si_at_zero,
                absent: lists.0,
                broken: lists.1,
                believe,
                rate_under: None,
                on_pages: lists.2,
                valid_when: lists.3,
                line: 1,
            },
        )
    }

    /// Bits in a row, as maps mostly have them: from a place, so many, either end first.
    fn in_a_row(n_bytes: usize) -> impl Strategy<Value = BitField> {
        let n_bits = n_bytes * 8;
        (0..n_bits, 1..=64usize, any::<bool>()).prop_map(move |(from, width, is_big)| {
            let places = from..(from + width).min(n_bits);
            let bit = |place: usize| {
                let bit = if is_big { 7 - place % 8 } else { place % 8 } as u8;
                BitRun {
                    byte: (place / 8) as u16,
                    high: bit,
                    low: bit,
                }
            };
            let mut runs: Vec<BitRun> = places.map(bit).collect();
            if !is_big {
                runs.reverse();
            }
            BitField { runs }
        })
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(4000))]

        #[test]
        fn the_short_way_gives_what_the_long_one_gives(
            signal in any_signal(),
            payload in prop::collection::vec(prop_oneof![Just(0u8), Just(0xFF), any::<u8>()], 0..12),
        ) {
            let head = head(&payload);
            if let Some(value) = Quick::new(&signal).value(&payload, [head, head.swap_bytes()]) {
                prop_assert!(is_on_page(&signal, &payload));
                prop_assert_eq!(bits::value(&signal, &payload), Reading::Value(value));
            }
        }

        #[test]
        fn bits_in_a_row_are_found_and_shifted_as_extracted(
            field in in_a_row(8),
            payload in prop::collection::vec(any::<u8>(), 8..=12),
        ) {
            let found = in_head(&field);
            prop_assert!(found.is_some(), "{:?}", field);
            if let Some((is_little_end, shift)) = found {
                let head = head(&payload);
                let word = if is_little_end { head.swap_bytes() } else { head };
                let bits = word >> shift & bits::mask(field.width());
                prop_assert_eq!(Some(bits), extract(&field, &payload));
            }
        }
    }

    /// A short way that always refused would pass as well.
    #[test]
    fn plain_signals_take_it() {
        let byte = |byte| BitRun {
            byte,
            high: 7,
            low: 0,
        };
        let signal = Signal {
            channel: 0,
            bits: BitField {
                runs: vec![byte(1), byte(0)],
            },
            number: Number::Signed,
            si_per_step: 0.5,
            si_at_zero: 1.0,
            absent: vec![CodeRange {
                first: 0x8000,
                last: 0x8000,
            }],
            broken: Vec::new(),
            believe: Some((-300.0, 300.0)),
            rate_under: None,
            on_pages: Vec::new(),
            valid_when: vec![Condition {
                bits: BitField {
                    runs: vec![BitRun {
                        byte: 2,
                        high: 0,
                        low: 0,
                    }],
                },
                codes: vec![CodeRange { first: 1, last: 1 }],
            }],
            line: 1,
        };
        let quick = Quick::new(&signal);
        let value = |payload: &[u8]| {
            let head = head(payload);
            quick.value(payload, [head, head.swap_bytes()])
        };
        assert_eq!(value(&[0x10, 0x00, 0x01]), Some(9.0));
        assert_eq!(value(&[0xFE, 0xFF, 0x01]), Some(0.0));
        // Not valid; absent; outside the believed range; too short.
        assert_eq!(value(&[0x10, 0x00, 0x00]), None);
        assert_eq!(value(&[0x00, 0x80, 0x01]), None);
        assert_eq!(value(&[0x00, 0x10, 0x01]), None);
        assert_eq!(value(&[0x10, 0x00]), None);
    }
}
