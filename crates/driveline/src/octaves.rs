//! A cheap logarithm for sorting sizes into slots.

/// The binary logarithm made of straight pieces, exact at powers of two and at most 0.09
/// too low between: read from the bits of the number. It rises with the number, which is
/// all that slots need, and it costs a tenth of the true one. For positive numbers.
pub fn octaves(number: f64) -> f64 {
    const MANTISSA_BITS: u32 = 52;
    const EXPONENT_OF_ONE: f64 = 1023.0;
    number.to_bits() as i64 as f64 / (1_u64 << MANTISSA_BITS) as f64 - EXPONENT_OF_ONE
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
}
