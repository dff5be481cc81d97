//! Closed forms of ageing by temperature.
//!
//! In: temperatures, and the rise that doubles the rate. Out: rates, lives and the
//! activation energy that such a doubling stands for. That ten kelvin double the rate is
//! a rule of thumb: published, and disputed; show it as a band.

use halfshaft_model::constants::ZERO_CELSIUS_K;

/// Molar gas constant, J/(mol·K). Source: SI, exact by definition since 2019.
const GAS_CONSTANT_J_PER_MOL_K: f64 = 8.314_462_618;

/// How many times faster oil ages at a temperature than at a reference: 2^((T − T₀)/θ).
///
/// No unit, above 0, 1 at the reference. Assumes one reaction rules.
pub fn ageing_rate(oil_temp_c: f64, reference_c: f64, doubling_k: f64) -> f64 {
    ((oil_temp_c - reference_c) / doubling_k).exp2()
}

/// The steady temperature that ages oil at a rate, °C: T₀ + θ·log₂(rate). Of a mean rate
/// this is the effective temperature, which lies above the mean temperature.
pub fn effective_temperature(rate: f64, reference_c: f64, doubling_k: f64) -> f64 {
    reference_c + doubling_k * rate.log2()
}

/// Life at a temperature when it is known at another, in the same unit: L₀·2^((T₀ − T)/θ).
pub fn life(known_life: f64, known_c: f64, oil_temp_c: f64, doubling_k: f64) -> f64 {
    known_life / ageing_rate(oil_temp_c, known_c, doubling_k)
}

/// Activation energy after Arrhenius with which the rate doubles from one temperature to
/// one `doubling_k` higher, J/mol: E = R·ln 2·T₁·T₂/(T₂ − T₁), T in kelvin.
///
/// It grows with the temperature: one energy does not give one doubling everywhere.
pub fn activation_energy(from_c: f64, doubling_k: f64) -> f64 {
    let from_k = from_c + ZERO_CELSIUS_K;
    let to_k = from_k + doubling_k;
    GAS_CONSTANT_J_PER_MOL_K * std::f64::consts::LN_2 * from_k * to_k / doubling_k
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn near(got: f64, wanted: f64, tolerance: f64) {
        assert!((got - wanted).abs() <= tolerance, "{got} is not {wanted}");
    }

    #[test]
    fn ten_kelvin_halve_the_life() {
        // Source: the published rule of ten kelvin, disputed in the literature. 5000 h at
        // 80 °C are 312.5 h at 120 °C; at 95 °C oil ages 2.828 times as fast as at 80 °C.
        near(life(5000.0, 80.0, 120.0, 10.0), 312.5, 1e-9);
        near(ageing_rate(95.0, 80.0, 10.0), 2.828, 5e-4);
        near(ageing_rate(80.0, 80.0, 15.0), 1.0, 0.0);
    }

    #[test]
    fn effective_temperature_undoes_the_rate() {
        near(
            effective_temperature(ageing_rate(107.0, 80.0, 12.0), 80.0, 12.0),
            107.0,
            1e-9,
        );
    }

    #[test]
    fn activation_energies_of_a_doubling_in_ten_kelvin() {
        // Derived: 60, 80, 100, 120, 140 °C.
        for (from_c, kj_per_mol) in [
            (60.0, 65.9),
            (80.0, 73.9),
            (100.0, 82.4),
            (120.0, 91.3),
            (140.0, 100.8),
        ] {
            near(activation_energy(from_c, 10.0) * 1e-3, kj_per_mol, 0.05);
        }
    }
}
