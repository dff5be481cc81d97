//! The actuator's motor: the temperature of its winding by its resistance.
//!
//! In: resistances, a temperature. Out: a closed form, in °C. It holds for a brushed
//! direct-current motor with a copper winding; brush drop and the resistance of cable and
//! plugs count as winding.

/// Temperature coefficient of the resistance of copper at [`COPPER_REFERENCE_C`], per K.
/// Published: annealed copper standard, 0.00393 per K at 20 °C.
const COPPER_PER_K: f64 = 0.00393;

/// Temperature the coefficient of copper is stated at, °C.
pub const COPPER_REFERENCE_C: f64 = 20.0;

/// Winding temperature from its resistance, °C, by R = R₀·(1 + α·(T − T₀)) with R₀ known at T₀;
/// `None` unless both resistances are positive.
///
/// Motor makers' common form. Exact for T₀ = 20 °C; a resistance stated at 25 °C comes out
/// 0.4 % high at 85 °C, since α itself is that of 20 °C.
pub fn winding_temperature(resistance_ohm: f64, known_ohm: f64, known_at_c: f64) -> Option<f64> {
    let is_known = resistance_ohm > 0.0 && known_ohm > 0.0;
    is_known.then(|| known_at_c + (resistance_ohm / known_ohm - 1.0) / COPPER_PER_K)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(resistance_ohm: f64, known_ohm: f64, known_at_c: f64, wanted_c: f64) {
        let got = winding_temperature(resistance_ohm, known_ohm, known_at_c).unwrap();
        assert!((got - wanted_c).abs() < 0.02, "{got} is not {wanted_c}");
    }

    #[test]
    fn resistance_rises_with_temperature() {
        // Derived: 0.62 Ω that was 0.50 Ω at 20 °C: 81.07 °C. Published coefficient of copper:
        // 0.50 Ω at 20 °C is 0.6572 Ω at 100 °C; 1.5 Ω, stated at 25 °C, 1.8537 Ω at 85 °C.
        check(0.62, 0.50, COPPER_REFERENCE_C, 81.07);
        check(0.6572, 0.50, COPPER_REFERENCE_C, 100.0);
        check(1.8537, 1.5, 25.0, 85.0);
        assert_eq!(winding_temperature(0.6, 0.0, 20.0), None);
    }
}
