//! What a bend asks of wheels that only roll: steering angles and turns per distance.
//!
//! A steering angle gives the bend where no yaw rate is logged, and turns per mile are how
//! tyre makers state a rolling radius; both judge the geometry a map states.

/// Steering angles of the outer and the inner front wheel, rad, for a bend of radius
/// `radius_m` at the middle of the rear axle: cot δo − cot δi = track/wheelbase.
///
/// Source: Ackermann's condition, from memory.
pub fn ackermann_angles(wheelbase_m: f64, track_m: f64, radius_m: f64) -> (f64, f64) {
    let angle = |at_m: f64| (wheelbase_m / at_m).atan();
    (
        angle(radius_m + 0.5 * track_m),
        angle(radius_m - 0.5 * track_m),
    )
}

/// Turns of a wheel in a mile, for its rolling circumference in metres: 1609.344/U.
pub fn turns_per_mile(circumference_m: f64) -> f64 {
    1_609.344 / circumference_m
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_bend_of_ten_metres() {
        // Source, from memory: Ackermann. Wheelbase 2.8, track 1.6, R 10 m: the inner wheel
        // runs on 9.2 m, atan(2.8/9.2) = 16.928°, the outer on 10.8 m, 14.534°.
        let (outer, inner) = ackermann_angles(2.8, 1.6, 10.0);
        assert!((inner.to_degrees() - 16.928).abs() < 1e-3);
        assert!((outer.to_degrees() - 14.534).abs() < 1e-3);
        assert!((1.0 / outer.tan() - 1.0 / inner.tan() - 1.6 / 2.8).abs() < 1e-12);
    }

    #[test]
    fn turns_per_mile_of_a_published_radius() {
        // Published: circumference 2π·11.929 in: 845.34 turns in a mile.
        let circumference_m = std::f64::consts::TAU * 11.929 * 0.0254;
        assert!((turns_per_mile(circumference_m) - 845.34).abs() < 0.01);
    }
}
