//! The rear axle: two wheels, the differential between them and the pack that brakes it.
//!
//! In: what happens to it in one step (drive torque, road speeds under the wheels, loads,
//! brake, pack capacity). Out: wheel speeds, tyre forces, axle bias, and the heat of the
//! pack. The pack is dry friction in the strict sense: it sticks, with a difference of
//! exactly 0, as long as the torque that holds it there is within its capacity.
//!
//! Derived. With the case at the mean of both wheels, the axle's equations part into
//!
//! ```text
//! (2 J + Jc)/2 · d(ωL + ωR)/dt = T − Σ(r F) − Σ(brake)
//!            J · d(ωR − ωL)/dt = −B − (rR FR − rL FL) − (brakeR − brakeL)
//! ```
//!
//! and the pack's heat is `B · (ωR − ωL) / 2` whatever its place. Both are stepped
//! implicitly, the tyre with the secant of its curve, which is stable at any speed.

/// Below this road speed the tyre's slip is referred to this speed, m/s: the usual
/// regularisation, as slip has no meaning at rest.
const SLIP_REFERENCE_M_PER_S: f64 = 1.5;

/// Brakes fade out below this wheel speed, rad/s, so that they hold and never push.
const BRAKE_FADE_RAD_PER_S: f64 = 0.3;

/// What never changes.
#[derive(Clone, Copy, Debug)]
pub struct AxleParameters {
    /// Rolling radius of the rear left and right tyre, m.
    pub radius_m: [f64; 2],
    /// Longitudinal stiffness of one tyre, N per unit slip.
    pub tyre_stiffness_n: f64,
    /// Inertia of one wheel with its shaft, kg·m².
    pub wheel_inertia_kg_m2: f64,
    /// Inertia of engine and gearbox seen at the case, kg·m².
    pub case_inertia_kg_m2: f64,
}

/// What acts on the axle during one step.
#[derive(Clone, Copy, Debug)]
pub struct AxleInput {
    /// Torque into the case, N·m.
    pub drive_torque_nm: f64,
    /// Road speed under each wheel, m/s, left and right.
    pub road_m_per_s: [f64; 2],
    /// Greatest longitudinal force each tyre can give now, N.
    pub grip_n: [f64; 2],
    /// Brake torque on each wheel, N·m.
    pub brake_torque_nm: f64,
    /// Greatest axle bias the pack can make now, N·m.
    pub bias_capacity_nm: f64,
}

/// The axle's state and what the last step did.
#[derive(Clone, Copy, Debug, Default)]
pub struct Axle {
    /// Wheel speeds, rad/s, left and right.
    pub wheel_rad_per_s: [f64; 2],
    /// Tyre forces, N, forward positive.
    pub force_n: [f64; 2],
    /// Torque of the left shaft less that of the right one, N·m.
    pub bias_nm: f64,
    /// Whether the pack sticks.
    pub is_stuck: bool,
    /// Power into the pack, W.
    pub heat_w: f64,
    /// Power through the case, W.
    pub drive_w: f64,
}

impl Axle {
    /// Right wheel speed less the left one, rad/s.
    pub fn difference(&self) -> f64 {
        self.wheel_rad_per_s[1] - self.wheel_rad_per_s[0]
    }

    /// Speed of the case, rad/s.
    pub fn case_speed(&self) -> f64 {
        0.5 * (self.wheel_rad_per_s[0] + self.wheel_rad_per_s[1])
    }

    /// Brings the axle to rest.
    pub fn park(&mut self) {
        *self = Axle {
            is_stuck: true,
            ..Axle::default()
        };
    }

    /// One step of `step_s`.
    pub fn step(&mut self, parameters: &AxleParameters, input: &AxleInput, step_s: f64) {
        // Tyre i gives r F = grip·ω' − carry at the new speed ω'.
        let mut resist = [0.0; 2];
        let mut tyre = [0.0; 2];
        let mut carry = [0.0; 2];
        for i in 0..2 {
            let radius = parameters.radius_m[i];
            let road = input.road_m_per_s[i];
            let reference = road.abs().max(SLIP_REFERENCE_M_PER_S);
            let slip = (radius * self.wheel_rad_per_s[i] - road) / reference;
            let stiffness = secant_stiffness(parameters.tyre_stiffness_n, slip, input.grip_n[i]);
            tyre[i] = stiffness * radius * radius / reference;
            carry[i] = stiffness * radius * road / reference;
            let brake =
                input.brake_torque_nm / (self.wheel_rad_per_s[i].abs() + BRAKE_FADE_RAD_PER_S);
            resist[i] = tyre[i] + brake;
        }
        let [left, right] = self.wheel_rad_per_s;
        let a =
            (2.0 * parameters.wheel_inertia_kg_m2 + parameters.case_inertia_kg_m2) / (2.0 * step_s);
        let b = parameters.wheel_inertia_kg_m2 / step_s;
        let sum = a * (left + right) + input.drive_torque_nm + carry[0] + carry[1];
        let difference = b * (right - left) + carry[1] - carry[0];
        let m_left = a + b + 2.0 * resist[0];
        let m_right = a + b + 2.0 * resist[1];
        let cross = a - b;
        let determinant = m_left * m_right - cross * cross;
        let solve = |bias: f64| {
            let plus = sum + difference - bias;
            let minus = sum - difference + bias;
            [
                (m_right * minus - cross * plus) / determinant,
                (m_left * plus - cross * minus) / determinant,
            ]
        };
        let free = solve(0.0);
        let per_bias = (4.0 * a + 2.0 * (resist[0] + resist[1])) / determinant;
        let holding = (free[1] - free[0]) / per_bias;
        let capacity = input.bias_capacity_nm;
        self.is_stuck = holding.abs() <= capacity;
        self.bias_nm = holding.clamp(-capacity, capacity);
        self.wheel_rad_per_s = solve(self.bias_nm);
        if self.is_stuck {
            let both = 0.5 * (self.wheel_rad_per_s[0] + self.wheel_rad_per_s[1]);
            self.wheel_rad_per_s = [both, both];
        }
        for i in 0..2 {
            self.force_n[i] =
                (tyre[i] * self.wheel_rad_per_s[i] - carry[i]) / parameters.radius_m[i];
        }
        self.heat_w = 0.5 * self.bias_nm * self.difference();
        self.drive_w = input.drive_torque_nm * self.case_speed();
    }
}

// Force over slip of a tyre that begins with `stiffness` and saturates at `grip`:
// F = C s / (1 + (C s / grip)^4)^(1/4).
fn secant_stiffness(stiffness_n: f64, slip: f64, grip_n: f64) -> f64 {
    let x = stiffness_n * slip / grip_n.max(1.0);
    let square = x * x;
    stiffness_n / (1.0 + square * square).sqrt().sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    const STEP_S: f64 = 1e-3;

    fn parameters() -> AxleParameters {
        AxleParameters {
            radius_m: [0.32, 0.32],
            tyre_stiffness_n: 80e3,
            wheel_inertia_kg_m2: 1.3,
            case_inertia_kg_m2: 4.0,
        }
    }

    fn rolling(speed: f64, yaw: f64, capacity: f64) -> AxleInput {
        let half = 0.5 * 1.55 * yaw;
        AxleInput {
            drive_torque_nm: 0.0,
            road_m_per_s: [speed - half, speed + half],
            grip_n: [3500.0, 3500.0],
            brake_torque_nm: 0.0,
            bias_capacity_nm: capacity,
        }
    }

    fn settled(parameters: &AxleParameters, input: &AxleInput) -> Axle {
        let mut axle = Axle::default();
        for i in 0..2 {
            axle.wheel_rad_per_s[i] = input.road_m_per_s[i] / parameters.radius_m[i];
        }
        for _ in 0..4000 {
            axle.step(parameters, input, STEP_S);
        }
        axle
    }

    #[test]
    fn preload_in_a_bend_makes_the_closed_form_heat() {
        // Golden number K2, derived: R 20 m at 10 m/s, 80 N·m: Δω 2.42 rad/s, 97 W. The
        // tyres are made stiff, as the closed form has free-rolling wheels.
        let stiff = AxleParameters {
            tyre_stiffness_n: 80e6,
            ..parameters()
        };
        let axle = settled(&stiff, &rolling(10.0, 0.5, 80.0));
        assert!(
            (axle.difference() - 1.55 * 0.5 / 0.32).abs() < 0.005,
            "{}",
            axle.difference()
        );
        assert!((axle.heat_w - 96.9).abs() < 0.3, "{}", axle.heat_w);
        // K1: a quarter turn takes π/2 / 0.5 s, so 304 J.
        let energy_j = axle.heat_w * std::f64::consts::FRAC_PI_2 / 0.5;
        assert!((energy_j - 304.3).abs() < 1.5, "{energy_j}");
        // Reversed (K6) the heat is the same.
        let back = settled(&stiff, &rolling(-10.0, 0.5, 80.0));
        assert!((back.heat_w - axle.heat_w).abs() < 0.5, "{}", back.heat_w);
    }

    #[test]
    fn tyres_take_part_of_the_difference() {
        // Derived: the bias needs a slip difference of B/(C r) from the tyres, so
        // Δω = (W ψ̇ − v B/(C r)) / r to first order.
        let axle = settled(&parameters(), &rolling(10.0, 0.5, 80.0));
        let expected = (1.55 * 0.5 - 10.0 * 80.0 / (80e3 * 0.32)) / 0.32;
        assert!(
            (axle.difference() - expected).abs() < 0.01,
            "{} {expected}",
            axle.difference()
        );
    }

    #[test]
    fn small_mismatch_sticks_and_large_slips() {
        // Derived: at equal wheel speeds each tyre slips by half of ε, so the bias that holds
        // the difference at 0 is C·ε·r: 256 N·m at 1 %.
        let mismatched = |epsilon: f64, capacity: f64| {
            let parameters = AxleParameters {
                radius_m: [0.32 * (1.0 + epsilon / 2.0), 0.32 * (1.0 - epsilon / 2.0)],
                ..parameters()
            };
            settled(&parameters, &rolling(100.0 / 3.6, 0.0, capacity))
        };
        let stuck = mismatched(0.01, 300.0);
        assert!(stuck.is_stuck);
        assert_eq!((stuck.difference(), stuck.heat_w), (0.0, 0.0));
        assert!((stuck.bias_nm - 256.0).abs() < 3.0, "{}", stuck.bias_nm);
        let slipping = mismatched(0.01, 100.0);
        assert!(!slipping.is_stuck);
        // Golden number K3, derived: 43 W less what the tyres take, 100 of 256 N·m.
        let expected = 0.5 * 100.0 * (100.0 / 3.6) * (0.01 - 100.0 / (80e3 * 0.32)) / 0.32;
        assert!(
            (slipping.heat_w - expected).abs() < 0.3,
            "{} {expected}",
            slipping.heat_w
        );
        assert_eq!(mismatched(0.002, 75.0).heat_w, 0.0);
    }

    #[test]
    fn the_unloaded_wheel_spins_under_power_and_the_pack_carries_torque_over() {
        let mut input = rolling(12.0, 0.5, 60.0);
        input.grip_n = [1000.0, 5000.0];
        input.drive_torque_nm = 1200.0;
        let mut axle = settled(&parameters(), &rolling(12.0, 0.5, 60.0));
        for _ in 0..300 {
            axle.step(&parameters(), &input, STEP_S);
        }
        assert!(
            axle.difference() < -5.0,
            "the inside wheel is the faster one"
        );
        assert!(axle.bias_nm < 0.0 && axle.force_n[1] > axle.force_n[0] - 1.0);
        input.bias_capacity_nm = 900.0;
        for _ in 0..1500 {
            axle.step(&parameters(), &input, STEP_S);
        }
        assert!(axle.difference().abs() < 1.0, "{}", axle.difference());
    }

    #[test]
    fn what_goes_in_comes_out_or_becomes_heat() {
        // Check value row 18 (derived): input power less output power is the pack's heat.
        // Here over time: work of the drive torque = work on the tyres + kinetic energy of
        // wheels and case + heat; the implicit step loses ½ J (Δω)² a step, counted too.
        let parameters = parameters();
        let mut axle = settled(&parameters, &rolling(8.0, 0.4, 75.0));
        let inertia = |axle: &Axle| {
            let wheels: f64 = axle.wheel_rad_per_s.iter().map(|w| w * w).sum();
            0.5 * parameters.wheel_inertia_kg_m2 * wheels
                + 0.5 * parameters.case_inertia_kg_m2 * axle.case_speed() * axle.case_speed()
        };
        let (start, mut work, mut tyres, mut heat, mut lost) = (inertia(&axle), 0.0, 0.0, 0.0, 0.0);
        for i in 0..3000 {
            let mut input = rolling(8.0, 0.4, if i > 1000 { 700.0 } else { 75.0 });
            input.grip_n = [900.0, 4500.0];
            input.drive_torque_nm = 1000.0;
            let before = axle;
            axle.step(&parameters, &input, STEP_S);
            let jump = Axle {
                wheel_rad_per_s: [
                    axle.wheel_rad_per_s[0] - before.wheel_rad_per_s[0],
                    axle.wheel_rad_per_s[1] - before.wheel_rad_per_s[1],
                ],
                ..Axle::default()
            };
            work += axle.drive_w * STEP_S;
            heat += axle.heat_w * STEP_S;
            lost += inertia(&jump);
            for side in 0..2 {
                tyres += axle.force_n[side]
                    * parameters.radius_m[side]
                    * axle.wheel_rad_per_s[side]
                    * STEP_S;
            }
        }
        let balance = work - tyres - (inertia(&axle) - start) - lost;
        assert!(heat > 100.0);
        assert!(
            (balance - heat).abs() < 1e-6 * work.abs(),
            "{balance} {heat}"
        );
    }
}
