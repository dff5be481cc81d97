//! One step of the three temperatures, and where they level off.
//!
//! In: parameters, a load that is constant over the step, its length. Out: the
//! temperatures after it and their mean over it.
//!
//! The step is the (2,2) Padé approximant of the matrix exponential (the two-stage Gauss
//! rule): fourth order, stable at any length, and its mean obeys the heat balance to the
//! last bits. Steps longer than [`LONGEST_RATIO`] of the quickest time constant are cut,
//! so that one step is off by less than 1e-4 of what decays in it.

use super::parameters::ThermalParameters;

/// Longest step as a share of the shortest time constant that a row of the matrix shows.
/// Derived: the quickest mode decays at up to twice that rate, and the local error
/// (h·λ)⁵/720 is then 4e-5 of it.
const LONGEST_RATIO: f64 = 0.25;

/// The three temperatures, °C.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Temperatures {
    /// Friction pack, as one lump: its faces are hotter for the first tenths of a second.
    pub pack_c: f64,
    /// Oil.
    pub oil_c: f64,
    /// Housing.
    pub housing_c: f64,
}

/// What acts on the three, constant over a step.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Load {
    /// Heat of the pack, W.
    pub pack_w: f64,
    /// Heat of gears, bearings and churning, given to the oil, W.
    pub gear_w: f64,
    /// Strength of the air, as [`super::parameters::air_flow`] gives it.
    pub air_flow: f64,
    /// Temperature of the air, °C.
    pub ambient_c: f64,
}

type Vector = [f64; 3];
type Matrix = [[f64; 3]; 3];

impl Temperatures {
    /// Everything at one temperature.
    pub fn all(celsius: f64) -> Temperatures {
        Temperatures {
            pack_c: celsius,
            oil_c: celsius,
            housing_c: celsius,
        }
    }

    /// Advances by `seconds` under a constant load.
    ///
    /// Solves dT/dt = A·T + b. With D = I − hA/2 + h²A²/12 the change is δ = h·D⁻¹(A·T + b).
    /// Derived.
    pub fn step(&mut self, parameters: &ThermalParameters, load: &Load, seconds: f64) {
        self.advance(parameters, load, seconds, |_, _, _, _| {});
    }

    /// The same; `each` sees matrix, length, temperatures before and change of every part.
    fn advance(
        &mut self,
        parameters: &ThermalParameters,
        load: &Load,
        seconds: f64,
        mut each: impl FnMut(&Matrix, f64, &Vector, &Vector),
    ) {
        let air = parameters.air_w_per_k(load.air_flow);
        let (to_oil, to_housing) = (
            parameters.pack_to_oil_w_per_k,
            parameters.oil_to_housing_w_per_k,
        );
        let pack = 1.0 / parameters.pack_j_per_k;
        let oil = 1.0 / parameters.oil_j_per_k;
        let housing = 1.0 / parameters.housing_j_per_k;
        let a: Matrix = [
            [-to_oil * pack, to_oil * pack, 0.0],
            [to_oil * oil, -(to_oil + to_housing) * oil, to_housing * oil],
            [0.0, to_housing * housing, -(to_housing + air) * housing],
        ];
        let b: Vector = [
            load.pack_w * pack,
            load.gear_w * oil,
            air * load.ambient_c * housing,
        ];
        let rate = -a[0][0].min(a[1][1]).min(a[2][2]);
        let n_steps = (seconds * rate / LONGEST_RATIO).ceil().max(1.0);
        let h = seconds / n_steps;
        let inverse = invert(&denominator(&a, h));
        let mut now: Vector = [self.pack_c, self.oil_c, self.housing_c];
        for _ in 0..n_steps as u64 {
            let pull = add(&times(&a, &now), &b);
            let change = times(&inverse, &pull).map(|rise| h * rise);
            each(&a, h, &now, &change);
            now = add(&now, &change);
        }
        [self.pack_c, self.oil_c, self.housing_c] = now;
    }

    /// Where the temperatures level off under a load that stays: all heat leaves through
    /// the housing, so Th = Ta + (P_pack + P_gear)/air, To = Th + (P_pack + P_gear)/Goh,
    /// Tp = To + P_pack/Gpo. Derived. Not finite where no air cools.
    pub fn level(parameters: &ThermalParameters, load: &Load) -> Temperatures {
        let all_w = load.pack_w + load.gear_w;
        let housing_c = load.ambient_c + all_w / parameters.air_w_per_k(load.air_flow);
        let oil_c = housing_c + all_w / parameters.oil_to_housing_w_per_k;
        Temperatures {
            pack_c: oil_c + load.pack_w / parameters.pack_to_oil_w_per_k,
            oil_c,
            housing_c,
        }
    }
}

/// I − hA/2 + h²A²/12.
fn denominator(a: &Matrix, h: f64) -> Matrix {
    let mut square = [[0.0; 3]; 3];
    for (row, of_a) in square.iter_mut().zip(a) {
        for (column, cell) in row.iter_mut().enumerate() {
            *cell = of_a[0] * a[0][column] + of_a[1] * a[1][column] + of_a[2] * a[2][column];
        }
    }
    std::array::from_fn(|row| {
        std::array::from_fn(|column| {
            let unit = if row == column { 1.0 } else { 0.0 };
            unit - 0.5 * h * a[row][column] + h * h / 12.0 * square[row][column]
        })
    })
}

/// Inverse by cofactors; the matrix is that of [`denominator`] and never singular, since all
/// eigenvalues of A are negative or zero.
fn invert(m: &Matrix) -> Matrix {
    let minor =
        |r0: usize, r1: usize, c0: usize, c1: usize| m[r0][c0] * m[r1][c1] - m[r0][c1] * m[r1][c0];
    let cofactors = [
        [minor(1, 2, 1, 2), -minor(0, 2, 1, 2), minor(0, 1, 1, 2)],
        [-minor(1, 2, 0, 2), minor(0, 2, 0, 2), -minor(0, 1, 0, 2)],
        [minor(1, 2, 0, 1), -minor(0, 2, 0, 1), minor(0, 1, 0, 1)],
    ];
    let determinant =
        m[0][0] * cofactors[0][0] + m[0][1] * cofactors[1][0] + m[0][2] * cofactors[2][0];
    cofactors.map(|row| row.map(|cell| cell / determinant))
}

fn times(m: &Matrix, v: &Vector) -> Vector {
    std::array::from_fn(|row| m[row][0] * v[0] + m[row][1] * v[1] + m[row][2] * v[2])
}

fn add(left: &Vector, right: &Vector) -> Vector {
    std::array::from_fn(|row| left[row] + right[row])
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::thermal::parameters::air_flow;

    /// A capacity that holds its temperature.
    const NEVER_WARMS: f64 = 1e15;

    fn load(pack_w: f64, gear_w: f64, road_speed_m_per_s: f64, ambient_c: f64) -> Load {
        Load {
            pack_w,
            gear_w,
            air_flow: air_flow(road_speed_m_per_s),
            ambient_c,
        }
    }

    #[track_caller]
    fn near(got: f64, wanted: f64, tolerance: f64) {
        assert!((got - wanted).abs() <= tolerance, "{got} is not {wanted}");
    }

    fn run(
        parameters: &ThermalParameters,
        start: Temperatures,
        load: &Load,
        seconds: f64,
        step_s: f64,
    ) -> Temperatures {
        let mut now = start;
        for _ in 0..(seconds / step_s).round() as usize {
            now.step(parameters, load, step_s);
        }
        now
    }

    #[test]
    fn one_node_follows_its_exponential() {
        // Derived: 60 kg at 460 and 2.5 kg at 2000 J/(kg·K), 1200 W, 30 W/K: 32 600 J/K,
        // time constant 1086.7 s, 40 K in the end, 16.97 K after 600 s, 32.37 K after 1800 s.
        let parameters = ThermalParameters {
            oil_j_per_k: 60.0 * 460.0 + 2.5 * 2000.0,
            housing_j_per_k: NEVER_WARMS,
            pack_to_oil_w_per_k: 0.0,
            oil_to_housing_w_per_k: 30.0,
            ..ThermalParameters::default()
        };
        let load = load(0.0, 1200.0, 0.0, 0.0);
        for step_s in [0.5, 50.0] {
            let after = |seconds| run(&parameters, Temperatures::all(0.0), &load, seconds, step_s);
            near(after(600.0).oil_c, 16.97, 0.005);
            near(after(1800.0).oil_c, 32.37, 0.005);
            near(after(30_000.0).oil_c, 40.0, 0.005);
        }
        near(parameters.oil_j_per_k / 30.0, 1086.7, 0.05);
    }

    #[test]
    fn two_nodes_peak_where_they_should() {
        // Derived: 3 and 30 kJ/K, 60 W/K between, 25 W/K to the air, 2 kW for 20 s: pack
        // peak 11.018 K at 20 s, oil peak 1.0715 K at about 169 s.
        let parameters = ThermalParameters {
            pack_j_per_k: 3000.0,
            oil_j_per_k: 30_000.0,
            housing_j_per_k: NEVER_WARMS,
            pack_to_oil_w_per_k: 60.0,
            oil_to_housing_w_per_k: 25.0,
            ..ThermalParameters::default()
        };
        let (mut now, mut pack, mut oil) = (Temperatures::all(0.0), (0.0, 0.0), (0.0, 0.0));
        for index in 1..=800 {
            let pack_w = if index <= 40 { 2000.0 } else { 0.0 };
            now.step(&parameters, &load(pack_w, 0.0, 0.0, 0.0), 0.5);
            let time = 0.5 * f64::from(index);
            if now.pack_c > pack.0 {
                pack = (now.pack_c, time);
            }
            if now.oil_c > oil.0 {
                oil = (now.oil_c, time);
            }
        }
        near(pack.0, 11.018, 0.0005);
        near(pack.1, 20.0, 0.01);
        near(oil.0, 1.0715, 0.00005);
        near(oil.1, 169.0, 1.5);
    }

    #[test]
    fn a_lump_warms_by_its_energy() {
        // Source, from memory: Shigley, "Temperature Rise". 2000 J, 1.2 kg, 500 J/(kg·K): 3.333 K.
        // Source, from memory: Shigley, caliper example: 10.61 Btu into 5.980 lbm at
        // 0.108 Btu/(lbm·°F): 16.43 °F, here with 1055.06 J to the Btu.
        let btu_j = 1055.06;
        for (energy_j, capacity, rise_k) in [
            (2000.0, 1.2 * 500.0, 3.333),
            (10.61 * btu_j, 5.980 * 0.108 * btu_j * 1.8, 16.43 / 1.8),
        ] {
            let parameters = ThermalParameters {
                pack_j_per_k: capacity,
                pack_to_oil_w_per_k: 0.0,
                ..ThermalParameters::default()
            };
            let load = load(energy_j / 0.5, 0.0, 0.0, 0.0);
            let now = run(&parameters, Temperatures::all(0.0), &load, 0.5, 0.5);
            near(now.pack_c, rise_k, 0.002);
            near(now.pack_c, energy_j / capacity, 1e-9);
        }
    }

    #[test]
    fn repeated_engagements_settle() {
        // Source, from memory: 12 K every 60 s at a time constant of 600 s settle at
        // 126.10 K over ambient, valley 114.10 K.
        let parameters = ThermalParameters {
            pack_j_per_k: 600.0,
            oil_j_per_k: NEVER_WARMS,
            pack_to_oil_w_per_k: 1.0,
            oil_to_housing_w_per_k: 0.0,
            ..ThermalParameters::default()
        };
        let (mut now, mut valley) = (Temperatures::all(0.0), 0.0);
        for _ in 0..200 {
            now.step(&parameters, &load(0.0, 0.0, 0.0, 0.0), 60.0);
            valley = now.pack_c;
            // An engagement much shorter than the time constant.
            let heat = load(12.0 * 600.0 / 1e-5, 0.0, 0.0, 0.0);
            now.step(&parameters, &heat, 1e-5);
        }
        near(now.pack_c, 126.10, 0.01);
        near(valley, 114.10, 0.01);
        // Derived: ΔT/(1 − e^(−60/600)), the sum of what is left of each one before.
        near(now.pack_c, 12.0 / -(-60.0_f64 / 600.0).exp_m1(), 0.001);
    }

    #[test]
    fn long_steps_agree_with_short_ones() {
        let parameters = ThermalParameters::default();
        let load = load(3000.0, 800.0, 20.0, 25.0);
        let start = Temperatures {
            pack_c: 90.0,
            oil_c: 60.0,
            housing_c: 40.0,
        };
        let short = run(&parameters, start, &load, 64.0, 0.01);
        for step_s in [0.5, 2.0, 8.0, 64.0] {
            let long = run(&parameters, start, &load, 64.0, step_s);
            near(long.pack_c, short.pack_c, 5e-4);
            near(long.oil_c, short.oil_c, 5e-4);
            near(long.housing_c, short.housing_c, 5e-4);
        }
    }

    #[test]
    fn it_levels_off_where_the_closed_form_says() {
        let parameters = ThermalParameters::default();
        let load = load(500.0, 400.0, 30.0, 20.0);
        // Derived: 900 W over 30 W/K, 80 W/K, and 500 W over 60 W/K.
        let level = Temperatures::level(&parameters, &load);
        near(level.housing_c, 50.0, 1e-9);
        near(level.oil_c, 61.25, 1e-9);
        near(level.pack_c, 61.25 + 500.0 / 60.0, 1e-9);
        let late = run(&parameters, Temperatures::all(20.0), &load, 20_000.0, 10.0);
        near(late.pack_c, level.pack_c, 1e-6);
        near(late.oil_c, level.oil_c, 1e-6);
        near(late.housing_c, level.housing_c, 1e-6);
    }

    /// Heat stored above 0 °C, J.
    fn stored_j(now: &Temperatures, parameters: &ThermalParameters) -> f64 {
        parameters.pack_j_per_k * now.pack_c
            + parameters.oil_j_per_k * now.oil_c
            + parameters.housing_j_per_k * now.housing_c
    }

    /// Mean of the housing over a step: of each part T + δ/2 − hAδ/12. Derived.
    fn stepped_housing_c(
        now: &mut Temperatures,
        parameters: &ThermalParameters,
        load: &Load,
        seconds: f64,
    ) -> f64 {
        let (mut sum, mut n) = (0.0, 0.0);
        now.advance(parameters, load, seconds, |a, h, before, change| {
            sum += before[2] + 0.5 * change[2] - h / 12.0 * times(a, change)[2];
            n += 1.0;
        });
        sum / n
    }

    proptest! {
        #[test]
        fn heat_in_is_stored_or_given_to_the_air(
            pack_w in 0.0..2e4_f64,
            gear_w in 0.0..5e3_f64,
            speed in 0.0..60.0_f64,
            step_s in 0.1..30.0_f64,
            pack_c in 20.0..250.0_f64,
        ) {
            let parameters = ThermalParameters::default();
            let load = load(pack_w, gear_w, speed, 10.0);
            let mut now = Temperatures { pack_c, ..Temperatures::all(40.0) };
            let before = stored_j(&now, &parameters);
            let (mut given, mut taken) = (0.0, 0.0);
            for _ in 0..50 {
                let housing_c = stepped_housing_c(&mut now, &parameters, &load, step_s);
                given += (pack_w + gear_w) * step_s;
                taken += parameters.air_w_per_k(load.air_flow) * (housing_c - 10.0) * step_s;
            }
            let stored = stored_j(&now, &parameters) - before;
            let scale = given + stored.abs() + taken.abs() + 1.0;
            prop_assert!((given - stored - taken).abs() < 1e-9 * scale, "{given} {stored} {taken}");
        }
    }
}
