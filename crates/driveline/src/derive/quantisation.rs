//! What steps, skew and tolerances of the signals do to slip and heat.
//!
//! These say how small a slip a log can show at all, and what a careless sum would
//! invent. All derived; the tests check them by random draws.

/// Standard deviation of the difference of two independently quantised signals of step
/// `step`: q/√6 (each has q/√12).
pub fn difference_sd(step: f64) -> f64 {
    step / 6.0_f64.sqrt()
}

/// Mean of the rectified difference of two quantised signals: q/3. This is the slip
/// that plain |ωR − ωL| would invent, and why it is not used.
pub fn rectified_mean(step: f64) -> f64 {
    step / 3.0
}

/// Smallest slip that one step of a road-speed signal stands for, rad/s, with the pack
/// between case and one side gear (slip factor ½): k·q/r.
pub fn slip_step(step_m_per_s: f64, rolling_radius_m: f64, slip_factor: f64) -> f64 {
    slip_factor * step_m_per_s / rolling_radius_m
}

/// Slip invented by reading one wheel `skew_s` later than the other, rad/s.
pub fn skew_slip(
    acceleration_m_per_s2: f64,
    skew_s: f64,
    rolling_radius_m: f64,
    slip_factor: f64,
) -> f64 {
    slip_factor * acceleration_m_per_s2 * skew_s / rolling_radius_m
}

/// Frequency at which an oscillation shows when it is sampled too slowly, Hz.
pub fn alias(frequency_hz: f64, sampling_hz: f64) -> f64 {
    (frequency_hz - sampling_hz * (frequency_hz / sampling_hz).round()).abs()
}

/// Relative standard deviation of a product of independent factors, first order.
pub fn product_relative_sd(relative_sds: &[f64]) -> f64 {
    relative_sds.iter().map(|sd| sd * sd).sum::<f64>().sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::derive::friction_power::friction_power;

    #[track_caller]
    fn near(got: f64, wanted: f64, tolerance: f64) {
        assert!((got - wanted).abs() <= tolerance, "{got} is not {wanted}");
    }

    #[test]
    fn two_quantised_wheels() {
        // Derived, and by Monte Carlo with a plain linear congruence: .3333 and .4082.
        let mut state = 1_u64;
        let mut uniform = || {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            (state >> 11) as f64 / (1_u64 << 53) as f64
        };
        let n = 400_000;
        let (mut sum, mut square) = (0.0, 0.0);
        for _ in 0..n {
            let difference: f64 = uniform() - uniform();
            sum += difference.abs();
            square += difference * difference;
        }
        near(sum / f64::from(n), rectified_mean(1.0), 2e-3);
        near((square / f64::from(n)).sqrt(), difference_sd(1.0), 2e-3);
        near(rectified_mean(1.0), 0.3333, 1e-4);
        near(difference_sd(1.0), 0.4082, 1e-4);
    }

    #[test]
    fn false_heat_of_rectified_steps() {
        // Derived: 800 N·m, r 0.40 m, no slip at all, steps in km/h: watts.
        for (step, watts) in [
            (1.0 / 256.0, 0.36),
            (0.01, 0.93),
            (1.0 / 16.0, 5.79),
            (0.1, 9.26),
            (1.0, 92.6),
        ] {
            let slip = slip_step(rectified_mean(step / 3.6), 0.40, 0.5);
            near(
                friction_power(1.0, 800.0, slip, 1.0),
                watts,
                0.006 * watts + 0.005,
            );
        }
    }

    #[test]
    fn floors_skew_alias_and_tolerances() {
        // Derived: q/(2r) at 1/16 and 0.1 km/h: .0217 and .0347 rad/s.
        near(slip_step(1.0 / 16.0 / 3.6, 0.40, 0.5), 0.0217, 5e-5);
        near(slip_step(0.1 / 3.6, 0.40, 0.5), 0.0347, 5e-5);
        // Derived: 10 ms of skew at 3 m/s²: .0375 rad/s, 30 W at 800 N·m.
        near(skew_slip(3.0, 0.010, 0.40, 0.5), 0.0375, 1e-9);
        near(
            friction_power(1.0, 800.0, skew_slip(3.0, 0.010, 0.40, 0.5), 1.0),
            30.0,
            1e-9,
        );
        // Derived: 8 Hz judder sampled at 10 Hz shows as 2 Hz.
        near(alias(8.0, 10.0), 2.0, 1e-12);
        // Derived: torque ±25 %, slip ±10 %: heat ±26.9 %.
        near(product_relative_sd(&[0.25, 0.10]), 0.269, 5e-4);
    }
}
