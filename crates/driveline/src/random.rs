//! Numbers that look drawn and are the same on every machine and every time.
//!
//! In: a seed. Out: whole numbers. Bootstraps draw by them, so that the same log gives the same
//! band, bit for bit. No secret is safe with them.

/// Numbers that are the same on every machine. Source: splitmix64, Steele, Lea and Flood,
/// "Fast splittable pseudorandom number generators".
#[derive(Clone, Debug)]
pub struct Random(u64);

impl Default for Random {
    fn default() -> Random {
        Random(0x7479_7265)
    }
}

impl Random {
    /// Numbers of another seed.
    pub fn new(seed: u64) -> Random {
        Random(seed)
    }

    /// Sixty-four bits.
    pub fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        mixed ^ (mixed >> 31)
    }

    /// A number in `0..n`; `n` is at least 1.
    pub fn below(&mut self, n: usize) -> usize {
        ((u128::from(self.bits()) * n as u128) >> 64) as usize
    }

    /// A normal number: the sum of twelve uniform ones less six.
    #[cfg(test)]
    pub fn normal(&mut self) -> f64 {
        (0..12).fold(-6.0, |sum, _| {
            sum + (self.bits() >> 11) as f64 / (1_u64 << 53) as f64
        })
    }
}
