//! Torque capacity of a disc pack from its geometry, friction and clamp force.
//!
//! Source of the equations: Shigley, *Mechanical Engineering Design*, clutches chapter
//! (from memory; arithmetic verified). A pack that has run in wears evenly and follows
//! the uniform-wear radius; the uniform-pressure radius is that of a new, flat one. The
//! two differ by less than 4 % down to ri/ro = 0.5.

/// Mean friction radius at uniform pressure, m: ⅔·(ro³ − ri³)/(ro² − ri²).
///
/// Range: 0 ≤ inner < outer.
pub fn uniform_pressure_radius(outer_m: f64, inner_m: f64) -> f64 {
    2.0 / 3.0 * (outer_m.powi(3) - inner_m.powi(3)) / (outer_m.powi(2) - inner_m.powi(2))
}

/// Mean friction radius at uniform wear, m: (ro + ri)/2.
pub fn uniform_wear_radius(outer_m: f64, inner_m: f64) -> f64 {
    0.5 * (outer_m + inner_m)
}

/// Torque a pack can carry, N·m: T = µ·F·N·r.
pub fn pack_capacity(friction: f64, clamp_force_n: f64, n_faces: f64, radius_m: f64) -> f64 {
    friction * clamp_force_n * n_faces * radius_m
}

/// Clamp force at uniform wear for a permitted pressure, N: F = ½·π·p·d·(D − d), with
/// diameters; the pressure peaks at the inner edge.
pub fn uniform_wear_force(pressure_pa: f64, outer_m: f64, inner_m: f64) -> f64 {
    let (outer, inner) = (2.0 * outer_m, 2.0 * inner_m);
    0.5 * std::f64::consts::PI * pressure_pa * inner * (outer - inner)
}

/// Friction surfaces in a pack of `n_lined` lined and `n_steel` steel discs that
/// alternate: one fewer than there are discs.
pub fn n_faces(n_lined: u32, n_steel: u32) -> u32 {
    (n_lined + n_steel).saturating_sub(1)
}

/// Net lining area of all faces, m²: N·π·(ro² − ri²)·(1 − groove share).
pub fn net_area(n_faces: f64, outer_m: f64, inner_m: f64, groove_share: f64) -> f64 {
    n_faces * std::f64::consts::PI * (outer_m.powi(2) - inner_m.powi(2)) * (1.0 - groove_share)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn near(got: f64, wanted: f64, tolerance: f64) {
        assert!((got - wanted).abs() <= tolerance, "{got} is not {wanted}");
    }

    const LBF_N: f64 = 4.448_221_615_260_5;
    const INCH_M: f64 = 0.0254;
    const PSI_PA: f64 = LBF_N / (INCH_M * INCH_M);

    #[test]
    fn one_face_by_wear_and_by_pressure() {
        // Source, from memory: Shigley, clutches chapter, end problem. D/d 250/175 mm,
        // µ 0.30, F 4 kN: 127.5 N·m and 0.1940 MPa at uniform wear, 128.82 N·m and
        // 0.1598 MPa at uniform pressure.
        let (outer, inner) = (0.125, 0.0875);
        near(
            pack_capacity(0.30, 4e3, 1.0, uniform_wear_radius(outer, inner)),
            127.5,
            0.01,
        );
        near(
            pack_capacity(0.30, 4e3, 1.0, uniform_pressure_radius(outer, inner)),
            128.82,
            0.01,
        );
        let per_pascal = uniform_wear_force(1.0, outer, inner);
        near(4e3 / per_pascal, 0.1940e6, 50.0);
        near(4e3 / net_area(1.0, outer, inner, 0.0), 0.1598e6, 50.0);
    }

    #[test]
    fn six_planes_over_inner_diameter() {
        // Source, from memory: Shigley, multi-disc problem with six planes. D 6.5 in, µ 0.24,
        // 120 psi; d 4 in gives 1885 lbf and 7125 lbf·in, the sweep the others.
        let table = [
            (2.0, 1696.0, 5191.0),
            (3.0, 1979.0, 6769.0),
            (4.0, 1885.0, 7125.0),
            (5.0, 1414.0, 5853.0),
            (6.0, 565.0, 2545.0),
        ];
        for (inner_diameter, force_lbf, torque_lbf_in) in table {
            let (outer, inner) = (3.25 * INCH_M, inner_diameter / 2.0 * INCH_M);
            let force = uniform_wear_force(120.0 * PSI_PA, outer, inner);
            near(force / LBF_N, force_lbf, 1.0);
            let torque = pack_capacity(0.24, force, 6.0, uniform_wear_radius(outer, inner));
            near(torque / LBF_N / INCH_M, torque_lbf_in, 1.0);
        }
    }

    #[test]
    fn best_inner_diameter_at_a_permitted_pressure() {
        // Source, from memory: Shigley; d = D/√3 = 3.7528 in for D 6.5 in.
        let torque = |inner_diameter: f64| {
            let (outer, inner) = (3.25, inner_diameter / 2.0);
            uniform_wear_force(1.0, outer, inner) * uniform_wear_radius(outer, inner)
        };
        let best = 6.5 / 3.0_f64.sqrt();
        near(best, 3.7528, 1e-4);
        assert!(torque(best) > torque(best - 0.01) && torque(best) > torque(best + 0.01));
    }

    #[test]
    fn two_sided_plate_and_a_pack() {
        // Source: derived. 350/180 mm, µ 0.3, 2 kN, two faces: 159.0 and 164.45 N·m.
        near(
            pack_capacity(0.3, 2e3, 2.0, uniform_wear_radius(0.175, 0.090)),
            159.0,
            0.01,
        );
        near(
            pack_capacity(0.3, 2e3, 2.0, uniform_pressure_radius(0.175, 0.090)),
            164.45,
            0.01,
        );
        // µ 0.12, 20 kN, 16 faces, radii 60/40 mm: 1920.0 and 1945.6 N·m.
        near(
            pack_capacity(0.12, 20e3, 16.0, uniform_wear_radius(0.060, 0.040)),
            1920.0,
            0.05,
        );
        near(
            pack_capacity(0.12, 20e3, 16.0, uniform_pressure_radius(0.060, 0.040)),
            1945.6,
            0.05,
        );
        // Area of that pack 100 531 mm².
        near(net_area(16.0, 0.060, 0.040, 0.0) * 1e6, 100_531.0, 0.5);
        assert_eq!(n_faces(7, 8), 14);
    }

    #[test]
    fn pressure_over_wear_by_ratio_of_radii() {
        // Source: derived. ri/ro 0.5, 0.8, 0: 1.0370, 1.0041, 1.3333.
        for (inner, ratio) in [(0.5, 1.0370), (0.8, 1.0041), (0.0, 1.3333)] {
            near(
                uniform_pressure_radius(1.0, inner) / uniform_wear_radius(1.0, inner),
                ratio,
                5e-5,
            );
        }
    }
}
