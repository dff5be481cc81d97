//! Torque capacity of a disc pack from its geometry, friction and clamp force.
//!
//! Source of the equations: Shigley, *Mechanical Engineering Design*, clutches chapter
//! (from memory; arithmetic verified). The uniform-pressure radius is that of a new, flat
//! pack; one that has run in follows the mean of both radii, less than 4 % below it down to
//! ri/ro = 0.5.

/// Mean friction radius at uniform pressure, m: ⅔·(ro³ − ri³)/(ro² − ri²).
///
/// Range: 0 ≤ inner < outer.
pub fn uniform_pressure_radius(outer_m: f64, inner_m: f64) -> f64 {
    2.0 / 3.0 * (outer_m.powi(3) - inner_m.powi(3)) / (outer_m.powi(2) - inner_m.powi(2))
}

/// Torque a pack can carry, N·m: T = µ·F·N·r.
pub fn pack_capacity(friction: f64, clamp_force_n: f64, n_faces: f64, radius_m: f64) -> f64 {
    friction * clamp_force_n * n_faces * radius_m
}

/// Net lining area of all faces, m²: N·π·(ro² − ri²)·(1 − groove share).
pub fn net_area(n_faces: f64, outer_m: f64, inner_m: f64, groove_share: f64) -> f64 {
    n_faces * std::f64::consts::PI * (outer_m.powi(2) - inner_m.powi(2)) * (1.0 - groove_share)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(
        (friction, force_n, n_faces): (f64, f64, f64),
        (outer_m, inner_m): (f64, f64),
        torque_nm: f64,
    ) {
        let radius_m = uniform_pressure_radius(outer_m, inner_m);
        let got = pack_capacity(friction, force_n, n_faces, radius_m);
        assert!((got - torque_nm).abs() < 0.05, "{got} is not {torque_nm}");
    }

    #[test]
    fn packs_of_known_torque() {
        // Source, from memory: Shigley, clutches chapter, end problem: D/d 250/175 mm, one face.
        check((0.30, 4e3, 1.0), (0.125, 0.0875), 128.82);
        // Source: derived. A plate of two faces, 350/180 mm; a pack of 16, radii 60/40 mm.
        check((0.3, 2e3, 2.0), (0.175, 0.090), 164.45);
        check((0.12, 20e3, 16.0), (0.060, 0.040), 1945.6);
    }

    #[test]
    fn area_of_known_packs() {
        // Source, from memory: Shigley, the same: 4 kN make 0.1598 MPa; the pack of 16 faces,
        // derived: 100 531 mm².
        assert!((4e3 / net_area(1.0, 0.125, 0.0875, 0.0) - 0.1598e6).abs() < 50.0);
        assert!((net_area(16.0, 0.060, 0.040, 0.0) * 1e6 - 100_531.0).abs() < 0.5);
    }

    #[test]
    fn pressure_over_wear_by_ratio_of_radii() {
        // Source: derived; uniform wear has the mean radius. ri/ro 0.5, 0.8, 0.
        for (inner, ratio) in [(0.5, 1.0370), (0.8, 1.0041), (0.0, 1.3333)] {
            let got = uniform_pressure_radius(1.0, inner) / (0.5 * (1.0 + inner));
            assert!((got - ratio).abs() < 5e-5, "{got}");
        }
    }
}
