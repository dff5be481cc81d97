//! How long a frame occupies the bus: the least by which two signals of different frames
//! can lie apart, and what a bus can carry at the most.

/// Bits of a classic data frame at worst, stuff bits included: g + 8n + 13 + ⌊(g + 8n − 1)/4⌋,
/// with g = 34 for an 11-bit and 54 for a 29-bit identifier.
///
/// Source, from memory: Davis, Burns, Bril, Lukkien, "Controller Area Network (CAN)
/// schedulability analysis", Real-Time Systems 35 (2007).
pub fn worst_frame_bits(is_extended: bool, n_bytes: u32) -> u32 {
    let stuffable = if is_extended { 54 } else { 34 } + 8 * n_bytes;
    stuffable + 13 + (stuffable - 1) / 4
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn eight_bytes_at_worst() {
        // 135 and 160 bits: 270 and 320 µs at 500 kbit/s.
        for (is_extended, bits, microseconds) in [(false, 135, 270.0), (true, 160, 320.0)] {
            assert_eq!(worst_frame_bits(is_extended, 8), bits);
            assert!((f64::from(bits) / 500e3 * 1e6 - microseconds).abs() < 1e-9);
        }
    }
}
