//! The two wheel-speed differences, which are never mixed.
//!
//! *Raw* is what the shafts and the pack really do: slip and heat come from it.
//! *Road-referred* takes the tyre mismatch out: cornering, wheelspin and openness come
//! from it. Correcting the tyres away before the heat sum would delete exactly the heat
//! that mismatched tyres make.

/// Raw axle speed difference, right minus left, rad/s: positive when the right wheel is
/// the faster one.
pub fn raw_difference(left_rad_per_s: f64, right_rad_per_s: f64) -> f64 {
    right_rad_per_s - left_rad_per_s
}

/// Speed of the differential case, rad/s: the mean of both shafts. Derived: a bevel
/// differential turns its case at the mean of its side gears.
pub fn case_speed(left_rad_per_s: f64, right_rad_per_s: f64) -> f64 {
    0.5 * (left_rad_per_s + right_rad_per_s)
}

/// Road-referred difference, rad/s: what is left when a tyre mismatch of
/// `ratio_log` = ln(ωR/ωL), learned running straight, is taken out.
pub fn road_referred_difference(left_rad_per_s: f64, right_rad_per_s: f64, ratio_log: f64) -> f64 {
    right_rad_per_s * (1.0 - 0.5 * ratio_log) - left_rad_per_s * (1.0 + 0.5 * ratio_log)
}

/// Difference that the bend alone makes between freely rolling wheels, rad/s.
///
/// Δω = track·ψ̇/r; a left turn (yaw positive, ISO 8855) makes the right wheel faster.
pub fn kinematic_difference(track_m: f64, yaw_rate_rad_per_s: f64, rolling_radius_m: f64) -> f64 {
    track_m * yaw_rate_rad_per_s / rolling_radius_m
}

/// Yaw rate from the speeds of two freely rolling wheels of one axle, rad/s: the inverse
/// of [`kinematic_difference`].
pub fn yaw_rate_from_wheels(
    left_rad_per_s: f64,
    right_rad_per_s: f64,
    track_m: f64,
    rolling_radius_m: f64,
) -> f64 {
    raw_difference(left_rad_per_s, right_rad_per_s) * rolling_radius_m / track_m
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(got: f64, wanted: f64, tolerance: f64) {
        assert!((got - wanted).abs() <= tolerance, "{got} is not {wanted}");
    }

    #[test]
    fn case_turns_at_the_mean() {
        // Source: derived. 80 and 84 rad/s: case 82, pack slip half the difference, 2.0.
        near(case_speed(80.0, 84.0), 82.0, 1e-12);
        near(0.5 * raw_difference(80.0, 84.0), 2.0, 1e-12);
    }

    #[test]
    fn a_left_turn_speeds_the_right_wheel() {
        // Source of the sign: ISO 8855 as quoted by ASAM OpenDRIVE. Track 1.6 m, 0.4 rad/s,
        // r 0.40 m: 0.64 m/s, 1.6 rad/s, slip 0.8 rad/s.
        let difference = kinematic_difference(1.6, 0.4, 0.40);
        near(difference, 1.6, 1e-12);
        near(difference * 0.40, 0.64, 1e-12);
        near(0.5 * difference, 0.8, 1e-12);
        near(yaw_rate_from_wheels(23.0, 27.0, 1.6, 0.40), 1.0, 1e-12);
    }

    #[test]
    fn wheels_in_a_bend_of_ten_metres() {
        // Source: derived. R 10 m, 10 m/s, track 1.6, r 0.40: inner 23, outer 27 rad/s.
        let yaw = 10.0 / 10.0;
        let mean = 10.0 / 0.40;
        let difference = kinematic_difference(1.6, yaw, 0.40);
        near(mean - 0.5 * difference, 23.0, 1e-12);
        near(mean + 0.5 * difference, 27.0, 1e-12);
    }

    #[test]
    fn three_millimetres_of_radius_at_motorway_speed() {
        // Source: derived. Radii 0.400 and 0.397 m at 100 km/h, 500 N·m, pack to one side:
        // difference 0.5248, slip 0.2624 rad/s, 131.2 W, 472 kJ in an hour.
        let speed = 100.0 / 3.6;
        let difference = raw_difference(speed / 0.400, speed / 0.397);
        near(difference, 0.5248, 1e-4);
        let power = 500.0 * 0.5 * difference;
        near(power, 131.2, 0.05);
        near(power * 3.6, 472.0, 0.5);
    }

    #[test]
    fn road_referring_takes_the_mismatch_out_and_the_raw_one_keeps_it() {
        let (left, right) = (80.0, 80.0 * 1.01);
        near(
            road_referred_difference(left, right, 1.01_f64.ln()),
            0.0,
            1e-3,
        );
        near(raw_difference(left, right), 0.8, 1e-12);
    }
}
