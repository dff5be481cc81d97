//! Closed forms of ageing by temperature.
//!
//! In: temperatures, and the rise that doubles the rate. Out: rates. That ten kelvin double the
//! rate is a rule of thumb: published, and disputed; show it as a band.

/// How many times faster oil ages at a temperature than at a reference: 2^((T − T₀)/θ).
///
/// No unit, above 0, 1 at the reference. Assumes one reaction rules.
pub fn ageing_rate(oil_temp_c: f64, reference_c: f64, doubling_k: f64) -> f64 {
    ((oil_temp_c - reference_c) / doubling_k).exp2()
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
        near(5000.0 / ageing_rate(120.0, 80.0, 10.0), 312.5, 1e-9);
        near(ageing_rate(95.0, 80.0, 10.0), 2.828, 5e-4);
        near(ageing_rate(80.0, 80.0, 15.0), 1.0, 0.0);
    }
}
