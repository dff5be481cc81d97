//! From the bytes of a payload to an SI value, one signal at a time.
//!
//! In: a payload and a signal of the map. Out: a [`Reading`]. Nothing here
//! remembers anything: rates of change and pages are judged by the decoder.

use crate::map::{BitField, CodeRange, Condition, Number, Signal};

/// What the bytes of a signal stand for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Reading {
    /// A value, SI.
    Value(f64),
    /// The code for "not available", or a condition of validity that does not hold.
    Absent,
    /// The code for "faulty".
    Broken,
    /// A value outside the range the map believes, SI.
    BeyondBelief(f64),
    /// A floating-point number that is not finite.
    NotFinite,
    /// The payload ends before the signal does.
    BeyondEnd,
}

impl Reading {
    /// The value, when it counts.
    pub fn value(self) -> Option<f64> {
        match self {
            Reading::Value(value) => Some(value),
            _ => None,
        }
    }
}

/// The bits of a field, most significant first; `None` when the payload is too short.
pub fn extract(field: &BitField, payload: &[u8]) -> Option<u64> {
    let mut raw = 0u64;
    for run in &field.runs {
        let byte = *payload.get(usize::from(run.byte))?;
        let width = run_width(run.high, run.low);
        let bits = u64::from(byte) >> run.low.min(7) & mask(width);
        raw = raw << width | bits;
    }
    Some(raw)
}

/// The reading of a signal from a payload: validity, codes, scale and belief.
///
/// Whether the signal is on the page this frame carries is [`is_on_page`].
pub fn value(signal: &Signal, payload: &[u8]) -> Reading {
    reading(signal, extract(&signal.bits, payload), payload)
}

/// The same of a signal whose bits were taken out already.
pub(crate) fn reading(signal: &Signal, raw: Option<u64>, payload: &[u8]) -> Reading {
    let Some(raw) = raw else {
        return Reading::BeyondEnd;
    };
    if !signal
        .valid_when
        .iter()
        .all(|condition| holds(condition, payload))
        || is_in(&signal.absent, raw)
    {
        return Reading::Absent;
    }
    if is_in(&signal.broken, raw) {
        return Reading::Broken;
    }
    let number = number(signal.number, signal.bits.width(), raw);
    reading_of_si(
        scaled(number, signal.si_per_step, signal.si_at_zero),
        signal.believe,
    )
}

/// From a number to SI. The code that stands for 0 misses it by rounding where there is an offset
/// (6767 × 0.01 km/h − 67.67 km/h): a wheel at rest would creep at 1e-14 rad/s, some of them
/// backwards, so what rounding can make of 0 is 0.
#[inline]
pub(crate) fn scaled(number: f64, si_per_step: f64, si_at_zero: f64) -> f64 {
    scaled_above(
        number,
        si_per_step,
        si_at_zero,
        rounding_of_zero(si_at_zero),
    )
}

/// What rounding can make of 0 beside such an offset.
pub(crate) fn rounding_of_zero(si_at_zero: f64) -> f64 {
    1e-12 * si_at_zero.abs()
}

/// [`scaled`] where that is known already.
#[inline(always)]
pub(crate) fn scaled_above(
    number: f64,
    si_per_step: f64,
    si_at_zero: f64,
    rounding_of_zero: f64,
) -> f64 {
    let si = number * si_per_step + si_at_zero;
    if si.abs() <= rounding_of_zero {
        0.0
    } else {
        si
    }
}

/// Whether this frame carries the signal at all.
pub fn is_on_page(signal: &Signal, payload: &[u8]) -> bool {
    signal
        .on_pages
        .iter()
        .all(|condition| holds(condition, payload))
}

/// Whether a condition holds; one whose bits lie beyond the end does not.
pub fn holds(condition: &Condition, payload: &[u8]) -> bool {
    extract(&condition.bits, payload).is_some_and(|code| is_in(&condition.codes, code))
}

/// Whether a code lies in one of the ranges.
#[inline]
pub(crate) fn is_in(ranges: &[CodeRange], code: u64) -> bool {
    ranges
        .iter()
        .any(|range| (range.first..=range.last).contains(&code))
}

/// From a value in SI to its reading: it must be finite, and in the range the map believes.
#[inline]
pub(crate) fn reading_of_si(si: f64, believe: Option<(f64, f64)>) -> Reading {
    if !si.is_finite() {
        return Reading::NotFinite;
    }
    match believe {
        Some((low, high)) if !(low..=high).contains(&si) => Reading::BeyondBelief(si),
        _ => Reading::Value(si),
    }
}

/// The number that `width` bits stand for; NaN for a float of any other width than 32 or 64.
#[inline]
pub(crate) fn number(kind: Number, width: u32, raw: u64) -> f64 {
    let sign = 1u64 << (width.clamp(1, 64) - 1);
    match kind {
        Number::Unsigned => raw as f64,
        Number::Signed => {
            let unused = 64 - width.clamp(1, 64);
            ((raw << unused) as i64 >> unused) as f64
        }
        Number::SignMagnitude if raw & sign != 0 => -((raw & (sign - 1)) as f64),
        Number::SignMagnitude => raw as f64,
        Number::Float if width == 32 => f64::from(f32::from_bits(raw as u32)),
        Number::Float if width == 64 => f64::from_bits(raw),
        Number::Float => f64::NAN,
    }
}

impl BitField {
    /// How many bits it has.
    pub fn width(&self) -> u32 {
        self.runs
            .iter()
            .map(|run| run_width(run.high, run.low))
            .sum()
    }

    /// How many bytes a payload must have to hold it.
    pub fn n_bytes(&self) -> usize {
        self.runs
            .iter()
            .map(|run| usize::from(run.byte) + 1)
            .max()
            .unwrap_or(0)
    }
}

fn run_width(high: u8, low: u8) -> u32 {
    u32::from(high.min(7).saturating_sub(low.min(7))) + 1
}

/// So many ones, from the lowest bit on.
pub(crate) fn mask(width: u32) -> u64 {
    u64::MAX.checked_shr(64 - width.min(64)).unwrap_or(0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::map::BitRun;
    use proptest::prelude::*;

    /// `7.3..7.0 0.7..0.0` is a field of two runs, most significant first.
    pub(crate) fn field(text: &str) -> BitField {
        let run = |word: &str| {
            let (from, to) = word.split_once("..").unwrap();
            let number = |text: &str| {
                let (byte, bit) = text.split_once('.').unwrap();
                (byte.parse().unwrap(), bit.parse().unwrap())
            };
            let ((byte, high), (_, low)): ((u16, u8), (u16, u8)) = (number(from), number(to));
            BitRun { byte, high, low }
        };
        BitField {
            runs: text.split(' ').map(run).collect(),
        }
    }

    #[track_caller]
    fn check(text: &str, payload: &[u8], want: Option<u64>) {
        assert_eq!(extract(&field(text), payload), want, "{text}");
    }

    #[test]
    fn bits_in_every_order() {
        let payload = [0x12, 0x34, 0x56, 0x78, 0x9A, 0xBC, 0xDE, 0xF0];
        // Big end first, little end first.
        check("0.7..0.0 1.7..1.0", &payload, Some(0x1234));
        check("1.7..1.0 0.7..0.0", &payload, Some(0x3412));
        // Straddling: low two bits of byte 0, then byte 1; and twelve bits little end first.
        check("0.1..0.0 1.7..1.0", &payload, Some(0x234));
        check("2.3..2.0 1.7..1.0", &payload, Some(0x634));
        check("1.5..1.2", &payload, Some(0xD));
        check("7.0..7.0", &payload, Some(0));
        check(
            "0.7..0.0 1.7..1.0 2.7..2.0 3.7..3.0 4.7..4.0 5.7..5.0 6.7..6.0 7.7..7.0",
            &payload,
            Some(0x1234_5678_9ABC_DEF0),
        );
        // In no row at all: two nibbles of far bytes.
        check("7.7..7.4 0.3..0.0", &payload, Some(0xF2));
        // Too short.
        check("0.7..0.0 1.7..1.0", &payload[..1], None);
        check("7.0..7.0", &payload[..7], None);
        check("7.0..7.0", &[], None);
        // Beyond the eighth byte.
        let long: Vec<u8> = (0..64).collect();
        check("62.7..62.0 63.7..63.0", &long, Some(62 << 8 | 63));
        check(
            "20.7..20.0 19.7..19.0 18.3..18.0",
            &long,
            Some(0x1413 << 4 | 2),
        );
        check("3.7..3.0 40.7..40.0", &long, Some(3 << 8 | 40));
        assert_eq!(extract(&BitField::default(), &payload), Some(0));
    }

    #[track_caller]
    fn check_number(kind: Number, width: u32, raw: u64, want: f64) {
        assert_eq!(
            number(kind, width, raw),
            want,
            "{kind:?} of {width} bits, 0x{raw:X}"
        );
    }

    #[test]
    fn bits_to_numbers() {
        check_number(Number::Unsigned, 16, 0xFFFF, 65535.0);
        check_number(Number::Signed, 12, 0x7FF, 2047.0);
        check_number(Number::Signed, 12, 0x800, -2048.0);
        check_number(Number::Signed, 1, 1, -1.0);
        check_number(Number::Signed, 64, u64::MAX, -1.0);
        check_number(Number::SignMagnitude, 8, 0x85, -5.0);
        check_number(Number::SignMagnitude, 8, 0x05, 5.0);
        check_number(Number::SignMagnitude, 8, 0x80, 0.0);
        // Source: IEEE 754, 1.5 and −2.
        check_number(Number::Float, 32, 0x3FC0_0000, 1.5);
        check_number(Number::Float, 64, 0xC000_0000_0000_0000, -2.0);
        assert!(number(Number::Float, 16, 0x3C00).is_nan());
    }

    #[test]
    fn what_stands_for_0_is_0() {
        let mut n_off = 0;
        for step in 1..2000 {
            // A step of 0.01 km/h, a rolling radius of 0.29 m and more, 0 at any code.
            let per_step = 0.01 / 3.6 / (0.29 + 1e-5 * f64::from(step));
            let at_zero = -f64::from(step) * 0.01 / 3.6 * (1.0 / (0.29 + 1e-5 * f64::from(step)));
            n_off += i32::from(f64::from(step) * per_step + at_zero != 0.0);
            assert_eq!(scaled(f64::from(step), per_step, at_zero), 0.0);
            assert!(scaled(f64::from(step - 1), per_step, at_zero) < -0.9 * per_step);
        }
        assert!(n_off > 100, "{n_off}");
        // Without an offset a number of any size stands.
        assert_eq!(scaled(1e-300, 1.0, 0.0), 1e-300);
        assert!(scaled(f64::NAN, 1.0, 1.0).is_nan());
    }

    pub(crate) fn signal(bits: &str, number: Number, si_per_step: f64, si_at_zero: f64) -> Signal {
        Signal {
            channel: 0,
            bits: field(bits),
            number,
            si_per_step,
            si_at_zero,
            absent: Vec::new(),
            broken: Vec::new(),
            believe: None,
            rate_under: None,
            on_pages: Vec::new(),
            valid_when: Vec::new(),
            line: 1,
        }
    }

    fn codes(first: u64, last: u64) -> Vec<CodeRange> {
        vec![CodeRange { first, last }]
    }

    #[test]
    fn codes_beside_values_of_heavy_vehicle_axle_speeds() {
        // Source: published decodings of PGN 65215 (front axle speed 1/256 km/h; relative
        // speeds 1/16 km/h less 7.8125); ranges 0xFB to 0xFD reserved, 0xFE error, 0xFF not
        // available: SAE J1939-71, from memory. Here in km/h so that the table reads like it.
        let mut axle = signal("1.7..1.0 0.7..0.0", Number::Unsigned, 1.0 / 256.0, 0.0);
        axle.absent = codes(0xFF00, 0xFFFF);
        axle.broken = codes(0xFE00, 0xFEFF);
        let relative = |byte: u8| {
            let mut signal = signal(
                &format!("{byte}.7..{byte}.0"),
                Number::Unsigned,
                1.0 / 16.0,
                -7.8125,
            );
            signal.absent = codes(0xFF, 0xFF);
            signal.broken = codes(0xFE, 0xFE);
            signal
        };
        let decode = |payload: &[u8]| -> Vec<Option<f64>> {
            let relatives = (2..8).map(|byte| value(&relative(byte), payload).value());
            std::iter::once(value(&axle, payload).value())
                .chain(relatives)
                .collect()
        };
        assert_eq!(
            decode(&[0x00, 0x48, 0x7D, 0x7D, 0x85, 0x75, 0xFF, 0xFF]),
            [
                Some(72.0),
                Some(0.0),
                Some(0.0),
                Some(0.5),
                Some(-0.5),
                None,
                None
            ]
        );
        assert_eq!(
            decode(&[0x00, 0x00, 0x00, 0xFF, 0xFF, 0x0F, 0x7D, 0xFF]),
            [
                Some(0.0),
                Some(-7.8125),
                None,
                None,
                Some(-6.875),
                Some(0.0),
                None
            ]
        );
        assert_eq!(value(&axle, &[0x12, 0xFE]), Reading::Broken);
        assert_eq!(value(&axle, &[0xFF, 0xFF]), Reading::Absent);
        assert_eq!(value(&axle, &[0xFF]), Reading::BeyondEnd);
        // PGN 65134, wheel speeds 1/256 km/h.
        let wheel = |byte: u8, payload: &[u8]| {
            let bits = format!("{}.7..{}.0 {byte}.7..{byte}.0", byte + 1, byte + 1);
            value(&signal(&bits, Number::Unsigned, 1.0 / 256.0, 0.0), payload).value()
        };
        let payload = [0x00, 0x32, 0x00, 0x32, 0xA0, 0x31, 0x60, 0x32];
        let wheels: Vec<_> = [0, 2, 4, 6]
            .iter()
            .map(|&byte| wheel(byte, &payload))
            .collect();
        assert_eq!(wheels, [Some(50.0), Some(50.0), Some(49.625), Some(50.375)]);
    }

    #[test]
    fn belief_validity_and_floats() {
        let mut float = signal(
            "0.7..0.0 1.7..1.0 2.7..2.0 3.7..3.0",
            Number::Float,
            2.0,
            1.0,
        );
        assert_eq!(value(&float, &1.5f32.to_be_bytes()), Reading::Value(4.0));
        assert_eq!(value(&float, &f32::NAN.to_be_bytes()), Reading::NotFinite);
        assert_eq!(
            value(&float, &f32::INFINITY.to_be_bytes()),
            Reading::NotFinite
        );
        float.believe = Some((0.0, 3.0));
        assert_eq!(
            value(&float, &1.5f32.to_be_bytes()),
            Reading::BeyondBelief(4.0)
        );
        assert_eq!(value(&float, &1.0f32.to_be_bytes()), Reading::Value(3.0));
        let mut guarded = signal("0.7..0.0", Number::Unsigned, 1.0, 0.0);
        guarded.valid_when = vec![Condition {
            bits: field("1.0..1.0"),
            codes: codes(1, 1),
        }];
        assert_eq!(value(&guarded, &[9, 1]), Reading::Value(9.0));
        assert_eq!(value(&guarded, &[9, 0]), Reading::Absent);
        assert_eq!(value(&guarded, &[9]), Reading::Absent);
    }

    /// Bit by bit, as one would with a pencil.
    fn slowly(field: &BitField, payload: &[u8]) -> Option<u64> {
        let mut number = 0u128;
        for run in &field.runs {
            let mut bit = i32::from(run.high);
            while bit >= i32::from(run.low) {
                let byte = payload.get(usize::from(run.byte))?;
                number = number * 2 + u128::from(byte / 2u8.pow(bit as u32) % 2);
                bit -= 1;
            }
        }
        Some(number as u64)
    }

    fn any_run(n_bytes: u16) -> impl Strategy<Value = BitRun> {
        (0..n_bytes, 0..8u8, 0..8u8).prop_map(|(byte, a, b)| BitRun {
            byte,
            high: a.max(b),
            low: a.min(b),
        })
    }

    proptest! {
        #[test]
        fn extraction_agrees_with_bit_by_bit(
            runs in prop::collection::vec(any_run(12), 0..8),
            payload in prop::collection::vec(any::<u8>(), 0..16),
        ) {
            let field = BitField { runs };
            prop_assert_eq!(extract(&field, &payload), slowly(&field, &payload));
        }

        #[test]
        fn no_signal_and_no_payload_panics(
            runs in prop::collection::vec((any::<u16>(), any::<u8>(), any::<u8>()), 0..20),
            kind in 0..4usize,
            scale in any::<(f64, f64)>(),
            payload in prop::collection::vec(any::<u8>(), 0..80),
        ) {
            let kinds = [Number::Unsigned, Number::Signed, Number::SignMagnitude, Number::Float];
            let mut signal = signal("0.7..0.0", kinds[kind], scale.0, scale.1);
            signal.bits.runs = runs.into_iter().map(|(byte, high, low)| BitRun { byte, high, low }).collect();
            signal.believe = Some(scale);
            if let Reading::Value(value) | Reading::BeyondBelief(value) = value(&signal, &payload) {
                prop_assert!(value.is_finite());
            }
        }
    }
}
