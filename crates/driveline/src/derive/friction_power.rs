//! Heat of the clutch pack from torque and slip, with the sign taken from the mean.
//!
//! In: pack torque, slip, and the sign of the slip's mean. Out: watts. A wheel-speed
//! signal carries noise; |slip| would rectify it into heat that never was. The product
//! with the *sign of the mean slip* lets noise average out, and where the mean itself
//! is within the noise floor the sign is 0 and so is the heat.

/// Power turned into heat in `n_packs` clutch packs, W: P = n·T·s·sign(s̄).
///
/// `pack_torque_nm` is what one pack can carry while it slips, `slip_rad_per_s` the
/// speed across it, `sign_of_mean` −1, 0 or 1. Single samples may come out negative
/// where noise exceeds the slip; sums over a tenth of a second and more do not. Zero
/// when stuck. An estimate when the torque comes from a table, not a reading.
pub fn friction_power(
    n_packs: f64,
    pack_torque_nm: f64,
    slip_rad_per_s: f64,
    sign_of_mean: f64,
) -> f64 {
    n_packs * pack_torque_nm * slip_rad_per_s * sign_of_mean
}

/// Heat per turned angle at freely rolling wheels, J/rad: ½·bias·track/r.
///
/// Derived: Δω = track·ψ̇/r and P = ½·bias·Δω, so speed and line drop out. Holds for
/// every layout, since heat = ½·bias·Δω does.
pub fn heat_per_radian(bias_nm: f64, track_m: f64, rolling_radius_m: f64) -> f64 {
    0.5 * bias_nm * track_m / rolling_radius_m
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::derive::axle_speed_difference::kinematic_difference;
    use proptest::prelude::*;

    #[track_caller]
    fn near(got: f64, wanted: f64, tolerance: f64) {
        assert!((got - wanted).abs() <= tolerance, "{got} is not {wanted}");
    }

    #[test]
    fn hand_calculated_case() {
        // 800 N·m at 15 rad/s (axle difference 30, pack to one side): 12 kW. Derived.
        near(friction_power(1.0, 800.0, 15.0, 1.0), 12_000.0, 1e-9);
        near(friction_power(1.0, 800.0, -15.0, -1.0), 12_000.0, 1e-9);
        // The missing half: 600 N·m at a difference of 4 rad/s is 1200 W, not 2400. Derived.
        near(friction_power(1.0, 600.0, 0.5 * 4.0, 1.0), 1200.0, 1e-9);
    }

    #[test]
    fn a_stuck_pack_makes_no_heat() {
        assert_eq!(friction_power(1.0, 1000.0, 0.0, 0.0), 0.0);
    }

    #[test]
    fn preload_in_a_bend_of_ninety_degrees() {
        // Derived: track 1.55 m, r 0.32 m: 0.0423 J per N·m and degree; 80 N·m over 90° is
        // 304 J, 150 N·m 571 J; R 20 m at 10 m/s: difference 2.42 rad/s, 97 W.
        let degree = 1.0_f64.to_radians();
        near(heat_per_radian(1.0, 1.55, 0.32) * degree, 0.0423, 5e-5);
        near(
            heat_per_radian(80.0, 1.55, 0.32) * 90.0 * degree,
            304.0,
            0.5,
        );
        near(
            heat_per_radian(150.0, 1.55, 0.32) * 90.0 * degree,
            571.0,
            0.5,
        );
        let difference = kinematic_difference(1.55, 10.0 / 20.0, 0.32);
        near(difference, 2.42, 0.005);
        near(friction_power(1.0, 80.0, 0.5 * difference, 1.0), 97.0, 0.2);
    }

    proptest! {
        #[test]
        fn more_torque_never_gives_less_heat(torque in 0.0..2e3_f64, more in 0.0..2e3_f64, slip in -50.0..50.0_f64) {
            let sign = slip.signum();
            prop_assert!(friction_power(1.0, torque + more, slip, sign) >= friction_power(1.0, torque, slip, sign));
        }
    }
}
