//! Counts, for each of 64 bits, how often it was set in many words.
//!
//! The counts stand in planes, bit by bit of the number, so that a word costs two or three
//! operations and not 64.

const PLANES: usize = 8;

/// Counts of set bits, one for each bit of a word; bit 0 is the lowest one.
#[derive(Clone, Debug)]
pub struct Tally {
    planes: [u64; PLANES],
    n_in_planes: u32,
    counts: Vec<u32>,
}

impl Default for Tally {
    fn default() -> Tally {
        Tally {
            planes: [0; PLANES],
            n_in_planes: 0,
            counts: vec![0; 64],
        }
    }
}

impl Tally {
    /// Counts the bits of one more word.
    #[inline]
    pub fn add(&mut self, word: u64) {
        let mut carry = word;
        for plane in &mut self.planes {
            let next = *plane & carry;
            *plane ^= carry;
            carry = next;
            if carry == 0 {
                break;
            }
        }
        self.n_in_planes += 1;
        if self.n_in_planes == (1 << PLANES) - 1 {
            self.empty_planes();
        }
    }

    fn empty_planes(&mut self) {
        for (place, plane) in self.planes.iter_mut().enumerate() {
            let mut left = std::mem::take(plane);
            while left != 0 {
                let bit = left.trailing_zeros() as usize;
                self.counts[bit] = self.counts[bit].saturating_add(1 << place);
                left &= left - 1;
            }
        }
        self.n_in_planes = 0;
    }

    /// The counts, the lowest bit first.
    pub fn counts(&mut self) -> &[u32] {
        self.empty_planes();
        &self.counts
    }
}

/// A bit for each nibble (its highest) that is one more than before, round 15 to 0.
#[inline]
pub fn nibbles_up_by_one(before: u64, now: u64) -> u64 {
    const LOW: u64 = 0x7777_7777_7777_7777;
    let wanted = ((before & LOW) + 0x1111_1111_1111_1111) ^ (before & !LOW);
    let differs = now ^ wanted;
    !(((differs & LOW) + LOW) | differs) & !LOW
}

/// A bit for each byte (its highest) that is one more than before, round 255 to 0.
#[inline]
pub fn bytes_up_by_one(before: u64, now: u64) -> u64 {
    const LOW: u64 = 0x7F7F_7F7F_7F7F_7F7F;
    let wanted = ((before & LOW) + 0x0101_0101_0101_0101) ^ (before & !LOW);
    let differs = now ^ wanted;
    !(((differs & LOW) + LOW) | differs) & !LOW
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn counts_are_those_of_a_slow_count() {
        let mut tally = Tally::default();
        let mut slow = [0_u32; 64];
        let mut word = 1_u64;
        for _ in 0..1000 {
            word = word.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(7);
            tally.add(word);
            for (bit, count) in slow.iter_mut().enumerate() {
                *count += (word >> bit & 1) as u32;
            }
        }
        assert_eq!(tally.counts(), slow);
    }

    #[test]
    fn steps_are_found_in_their_nibble_and_byte() {
        let before = 0x12F0_00FF_0000_0007;
        let now = 0x1300_0100_0000_0008;
        // Nibbles: 2 to 3, F to 0; 0 to 1 in the third byte; and 7 to 8 at the end.
        let nibbles = nibbles_up_by_one(before, now);
        assert_eq!(nibbles, 0x0880_0888_0000_0008);
        assert_eq!(bytes_up_by_one(before, now), 0x8000_8080_0000_0080);
    }
}
