//! Universal constants. What belongs to one vehicle stands in its map; what is a
//! judgement lives in `health/src/limits/`.

/// Nanoseconds in a second.
pub const NS_PER_S: i64 = 1_000_000_000;

/// Metres per second in one kilometre per hour: 1/3.6, exact.
pub const M_PER_S_PER_KM_PER_H: f64 = 1.0 / 3.6;

/// Standard acceleration of gravity, m/s². Source: CGPM 1901, exact by definition.
pub const STANDARD_GRAVITY: f64 = 9.806_65;

/// 0 °C in kelvin. Source: SI definition of the Celsius temperature, exact.
pub const ZERO_CELSIUS_K: f64 = 273.15;

/// Longest payload of a CAN frame, bytes. Source: ISO 11898-1, CAN FD.
pub const LONGEST_CAN_PAYLOAD: usize = 64;

/// Longest payload of any entry, bytes: a diagnostic answer in several frames whose first
/// one gives the length in 12 bits. Source: ISO 15765-2.
pub const LONGEST_PAYLOAD: usize = 4095;
