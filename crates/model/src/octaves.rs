//! A cheap logarithm for sorting sizes into slots.

const MANTISSA_BITS: u32 = 52;

/// The binary logarithm made of straight pieces, exact at powers of two and at most 0.09
/// too low between: read from the bits of the number. It rises with the number, which is
/// all that slots need, and it costs a tenth of the true one. For positive numbers.
pub fn octaves(number: f64) -> f64 {
    const EXPONENT_OF_ONE: f64 = 1023.0;
    number.to_bits() as i64 as f64 / (1_u64 << MANTISSA_BITS) as f64 - EXPONENT_OF_ONE
}

/// How many whole steps, so many to a doubling, a positive number stands above `least`: what
/// [`octaves`] says of their quotient, without a number of steps between. 0 below `least`.
#[inline]
pub fn steps_above(number: f64, least: f64, steps_per_octave: u64) -> usize {
    // So many of the last bits are nobody's step; they make room for the product.
    const UNUSED_BITS: u32 = 8;
    let above = number.to_bits().saturating_sub(least.to_bits()) >> UNUSED_BITS;
    ((above * steps_per_octave) >> (MANTISSA_BITS - UNUSED_BITS)) as usize
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_follows_the_true_logarithm_and_rises() {
        let mut before = f64::NEG_INFINITY;
        for step in 1..4000 {
            let number = 1e-4 * 1.005_f64.powi(step);
            let got = octaves(number);
            let off = number.log2() - got;
            assert!((-1e-9..0.087).contains(&off), "{number}: {off}");
            assert!(got > before);
            before = got;
        }
        assert_eq!(octaves(8.0), 3.0);
    }

    #[test]
    fn steps_are_those_of_the_logarithm() {
        for step in 0..4000 {
            let number = 1e-4 * 1.005_f64.powi(step);
            let steps = (octaves(number) - octaves(1e-4)) * 6.0;
            // At an edge the last digit decides.
            if (steps - steps.round()).abs() > 1e-9 {
                assert_eq!(steps_above(number, 1e-4, 6), steps as usize, "{number}");
            }
        }
        assert_eq!(steps_above(0.0, 1e-4, 6), 0);
        assert_eq!(steps_above(f64::MAX, 1.0, 16), 1024 * 16 - 1);
    }
}
