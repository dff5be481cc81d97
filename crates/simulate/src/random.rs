//! Random numbers that are the same on every machine.
//!
//! In: a seed. Out: a stream of numbers. Only integer arithmetic, additions and
//! multiplications are used, so that a seed gives the same log bit for bit everywhere;
//! this is why the normal numbers are a sum and not a logarithm.

/// A stream of random numbers: xoshiro256++, seeded by splitmix64.
///
/// Source: Blackman and Vigna, "Scrambled linear pseudorandom number generators".
#[derive(Clone, Debug)]
pub struct Random {
    state: [u64; 4],
}

impl Random {
    /// The stream of a seed.
    pub fn new(seed: u64) -> Random {
        let mut counter = seed;
        let mut next = || {
            counter = counter.wrapping_add(0x9E37_79B9_7F4A_7C15);
            let mut mixed = counter;
            mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
            mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
            mixed ^ (mixed >> 31)
        };
        Random {
            state: [next(), next(), next(), next()],
        }
    }

    /// 64 random bits.
    pub fn bits(&mut self) -> u64 {
        let [a, b, c, d] = self.state;
        let out = a.wrapping_add(d).rotate_left(23).wrapping_add(a);
        let shifted = b << 17;
        let c = c ^ a;
        let d = d ^ b;
        self.state = [a ^ d, b ^ c, c ^ shifted, d.rotate_left(45)];
        out
    }

    /// Uniform in `0..1`.
    pub fn uniform(&mut self) -> f64 {
        (self.bits() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Uniform in `low..high`.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.uniform()
    }

    /// A whole number in `0..n`; 0 when `n` is 0.
    pub fn below(&mut self, n: u64) -> u64 {
        ((u128::from(self.bits()) * u128::from(n)) >> 64) as u64
    }

    /// Normal with mean 0 and standard deviation 1: the sum of twelve uniform numbers
    /// less 6, so never beyond ±6.
    pub fn normal(&mut self) -> f64 {
        let mut sum = 0u64;
        for _ in 0..3 {
            let bits = self.bits();
            sum += (bits & 0xFFFF) + (bits >> 16 & 0xFFFF) + (bits >> 32 & 0xFFFF) + (bits >> 48);
        }
        // Each 16-bit part stands for the middle of its step.
        (sum as f64 + 6.0) / 65_536.0 - 6.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn seeds_repeat_and_differ() {
        let take = |seed| {
            let mut random = Random::new(seed);
            (0..8).map(|_| random.bits()).collect::<Vec<_>>()
        };
        assert_eq!(take(1), take(1));
        assert_ne!(take(1), take(2));
    }

    #[test]
    fn normal_has_mean_zero_and_deviation_one() {
        let mut random = Random::new(7);
        let n = 100_000;
        let (mut sum, mut squares, mut beyond) = (0.0, 0.0, 0);
        for _ in 0..n {
            let number = random.normal();
            sum += number;
            squares += number * number;
            beyond += u32::from(number.abs() > 1.645);
        }
        let count = f64::from(n);
        // Tolerance: five standard errors of each estimate.
        assert!((sum / count).abs() < 5.0 / count.sqrt());
        assert!((squares / count - 1.0).abs() < 5.0 * (2.0 / count).sqrt());
        assert!((f64::from(beyond) / count - 0.10).abs() < 0.005);
    }

    #[test]
    fn below_stays_below_and_reaches_all() {
        let mut random = Random::new(3);
        let mut seen = [false; 5];
        for _ in 0..200 {
            seen[random.below(5) as usize] = true;
        }
        assert_eq!(seen, [true; 5]);
        assert_eq!(random.below(0), 0);
    }
}
