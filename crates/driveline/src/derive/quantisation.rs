//! What steps and tolerances of the signals do to slip and heat: how small a slip a log can
//! show at all, and how well a product of uncertain factors is known.

/// Slip that one step of a road-speed signal stands for, rad/s: k·q/r, with the slip factor k
/// (½ with the pack between case and one side gear). Smaller slip may be rounding.
pub fn slip_step(step_m_per_s: f64, rolling_radius_m: f64, slip_factor: f64) -> f64 {
    slip_factor * step_m_per_s / rolling_radius_m
}

/// Relative standard deviation of a product of independent factors, first order.
pub fn product_relative_sd(relative_sds: &[f64]) -> f64 {
    relative_sds.iter().map(|sd| sd * sd).sum::<f64>().sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn near(got: f64, wanted: f64, tolerance: f64) {
        assert!((got - wanted).abs() <= tolerance, "{got} is not {wanted}");
    }

    #[test]
    fn steps_and_tolerances() {
        // Derived: q/(2r) at 1/16 and 0.1 km/h: .0217 and .0347 rad/s.
        near(slip_step(1.0 / 16.0 / 3.6, 0.40, 0.5), 0.0217, 5e-5);
        near(slip_step(0.1 / 3.6, 0.40, 0.5), 0.0347, 5e-5);
        // Derived: torque ±25 %, slip ±10 %: heat ±26.9 %.
        near(product_relative_sd(&[0.25, 0.10]), 0.269, 5e-4);
    }
}
