//! Slip openness: how freely the axle lets its wheels differ in a bend.

/// Least kinematic difference at which openness means anything, rad/s: below it there
/// was nothing to differ by. Source: none, engineering guess; it is also the least
/// difference that counts as an opportunity to judge lock.
pub const LEAST_DIFFERENCE: f64 = 1.0;

/// Openness φ = road-referred difference over kinematic difference.
///
/// 1 rolls free, 0 turns like a solid axle, above 1.2 the outer wheel spins, below −0.2
/// the inner one does. `None` where the bend makes less than [`LEAST_DIFFERENCE`].
pub fn openness(road_referred_rad_per_s: f64, kinematic_rad_per_s: f64) -> Option<f64> {
    (kinematic_rad_per_s.abs() >= LEAST_DIFFERENCE)
        .then(|| road_referred_rad_per_s / kinematic_rad_per_s)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn free_solid_and_undefined() {
        assert_eq!(openness(2.0, 2.0), Some(1.0));
        assert_eq!(openness(0.0, -2.0), Some(0.0));
        assert_eq!(openness(1.0, 2.0), Some(0.5));
        assert_eq!(openness(-2.0, -2.0), Some(1.0));
        assert_eq!(openness(0.3, 0.99), None);
    }
}
