//! The road speed in answers to a diagnostic tester, heard by the way: it has a known scale.
//!
//! Source: SAE J1979 / ISO 15031-5, service 01, parameter 0D: one byte, km/h; ISO 15765-4 for
//! the identifiers of the answers. Tools that sit on the bus while it is logged ask for it.

use halfshaft_model::FrameId;

use crate::curve::Together;
use crate::samples::Samples;

/// Least spread of speeds that scale anything, km/h.
const LEAST_RANGE_KM_PER_H: f64 = 15.0;
const LEAST_CORRELATION: f64 = 0.99;

/// Whether an identifier is one of answers to a tester.
pub fn is_answer(id: FrameId) -> bool {
    match id.is_extended() {
        false => (0x7E8..=0x7EF).contains(&id.number()),
        true => id.number() & 0xFFFF_FF00 == 0x18DA_F100,
    }
}

/// Road speeds in the answers: time, slot, km/h.
pub fn speeds(samples: &Samples) -> Vec<(f64, u32, f64)> {
    let is_speed = |sample: &usize| {
        let word = samples.word(*sample, 0);
        samples.lengths[*sample] >= 4 && word >> 40 & 0xFF_FFFF == 0x03_410D
    };
    let point = |sample: usize| {
        let km_per_h = samples.byte(sample, 3);
        (
            samples.times_s[sample],
            samples.slots[sample],
            f64::from(km_per_h),
        )
    };
    (0..samples.len()).filter(is_speed).map(point).collect()
}

/// What a step of a code is worth in km/h, and the code of 0, by speeds at the same instants.
pub fn scale(codes: &[f64], km_per_h: &[f32]) -> Option<(f64, f64, usize)> {
    let speeds = || km_per_h.iter().map(|value| f64::from(*value));
    let together = Together::of(speeds(), codes.iter().copied());
    let is_wide = together.var_a.sqrt() * 3.0 > LEAST_RANGE_KM_PER_H;
    if together.n < 40 || !is_wide || together.r() < LEAST_CORRELATION {
        return None;
    }
    let codes_per_km_per_h = together.slope();
    let both = speeds().zip(codes).filter(|(a, b)| !(a + *b).is_nan());
    let (n, sum_a, sum_b) = both.fold((0.0, 0.0, 0.0), |(n, a, b), (x, y)| (n + 1.0, a + x, b + y));
    let zero = sum_b / n - codes_per_km_per_h * sum_a / n;
    Some((1.0 / codes_per_km_per_h, zero, together.n))
}
