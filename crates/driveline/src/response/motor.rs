//! The actuator's motor: winding resistance, what it draws when stuck, how fast it turns.
//!
//! In: voltage, current, resistance, temperature. Out: closed forms, SI and °C. They speak
//! of a brushed direct-current motor with a copper winding; brush drop and the resistance
//! of cable and plugs count as winding.

/// Temperature coefficient of the resistance of copper at [`COPPER_REFERENCE_C`], per K.
/// Published: annealed copper standard, 0.00393 per K at 20 °C.
pub const COPPER_PER_K: f64 = 0.00393;

/// Temperature the coefficient of copper is stated at, °C.
pub const COPPER_REFERENCE_C: f64 = 20.0;

/// Winding resistance at a temperature, Ω: R = R₀·(1 + α·(T − T₀)), with R₀ known at T₀.
///
/// Motor makers' common form. Exact for T₀ = 20 °C; for a resistance stated at 25 °C it
/// comes out 0.4 % high at 85 °C, since α itself is that of 20 °C.
pub fn winding_resistance(known_ohm: f64, known_at_c: f64, winding_c: f64) -> f64 {
    known_ohm * (1.0 + COPPER_PER_K * (winding_c - known_at_c))
}

/// Winding temperature from its resistance, °C: the inverse of [`winding_resistance`].
/// `None` unless both resistances are positive.
pub fn winding_temperature(resistance_ohm: f64, known_ohm: f64, known_at_c: f64) -> Option<f64> {
    let is_known = resistance_ohm > 0.0 && known_ohm > 0.0;
    is_known.then(|| known_at_c + (resistance_ohm / known_ohm - 1.0) / COPPER_PER_K)
}

/// Current of a motor that does not turn, A: I = V/R. `None` unless R is positive.
pub fn stall_current(motor_v: f64, resistance_ohm: f64) -> Option<f64> {
    (resistance_ohm > 0.0).then(|| motor_v / resistance_ohm)
}

/// Speed of the motor from its back-EMF, rad/s: ω = (V − I·R)/Ke, with Ke in V·s/rad; has
/// the sign of V − I·R. Source, from memory: equations of the direct-current motor. `None`
/// unless Ke is positive.
pub fn back_emf_speed(
    motor_v: f64,
    current_a: f64,
    resistance_ohm: f64,
    back_emf_v_s_per_rad: f64,
) -> Option<f64> {
    (back_emf_v_s_per_rad > 0.0)
        .then(|| (motor_v - current_a * resistance_ohm) / back_emf_v_s_per_rad)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn near(got: f64, wanted: f64, tolerance: f64) {
        assert!((got - wanted).abs() <= tolerance, "{got} is not {wanted}");
    }

    #[test]
    fn resistance_rises_with_temperature() {
        // Published coefficient of copper, 0.00393 per K: 0.50 Ω at 20 °C becomes 0.6572 Ω at
        // 100 °C and the stall current at 12 V falls from 24.0 to 18.26 A; 1.5 Ω, stated at
        // 25 °C, is 1.854 Ω at 85 °C.
        near(
            winding_resistance(0.50, COPPER_REFERENCE_C, 100.0),
            0.6572,
            1e-9,
        );
        near(winding_resistance(1.5, 25.0, 85.0), 1.854, 5e-4);
        near(stall_current(12.0, 0.50).unwrap(), 24.0, 1e-12);
        near(stall_current(12.0, 0.6572).unwrap(), 18.26, 5e-3);
        assert_eq!(stall_current(12.0, 0.0), None);
    }

    #[test]
    fn speed_and_temperature() {
        // Source, from memory: 12 V, 4 A, 0.5 Ω, 0.02 V·s/rad: 500 rad/s = 4774.6 rpm.
        let speed = back_emf_speed(12.0, 4.0, 0.5, 0.02).unwrap();
        near(speed, 500.0, 1e-9);
        near(speed * 60.0 / std::f64::consts::TAU, 4774.6, 0.05);
        // Derived: 0.62 Ω that was 0.50 Ω at 20 °C: 81.07 °C.
        near(winding_temperature(0.62, 0.50, 20.0).unwrap(), 81.07, 5e-3);
        near(
            winding_temperature(winding_resistance(0.5, 20.0, 63.0), 0.5, 20.0).unwrap(),
            63.0,
            1e-9,
        );
        let hot_ohm = winding_resistance(1.5, 25.0, 85.0);
        near(winding_temperature(hot_ohm, 1.5, 25.0).unwrap(), 85.0, 1e-9);
        assert_eq!(winding_temperature(0.6, 0.0, 20.0), None);
    }
}
