//! Three temperatures: pack, oil, housing.
//!
//! In: heat of the pack, losses of gears and oil churning, road speed. Out: temperatures.
//!
//! ```text
//! Cp dTp = P_pack − Gpo (Tp − To)
//! Co dTo = Gpo (Tp − To) + P_gear − Goh (To − Th)
//! Ch dTh = Goh (To − Th) − (g0 + g1 v^0.7) (Th − Ta)
//! ```

/// Capacities and conductances of one axle.
///
/// The defaults are engineering guesses for a unit with 0.9 l of oil: the housing then
/// cools with about 6 minutes moving and 22 standing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ThermalParameters {
    /// Heat capacity of the pack, J/K.
    pub pack_j_per_k: f64,
    /// Heat capacity of the oil, J/K.
    pub oil_j_per_k: f64,
    /// Heat capacity of the housing, J/K.
    pub housing_j_per_k: f64,
    /// Conductance from pack to oil, W/K.
    pub pack_to_oil_w_per_k: f64,
    /// Conductance from oil to housing, W/K.
    pub oil_to_housing_w_per_k: f64,
    /// Conductance from housing to still air, W/K.
    pub still_air_w_per_k: f64,
    /// What 30 m/s of air adds to it, W/K.
    pub air_at_30_m_per_s_w_per_k: f64,
    /// Share of the power through the axle that its gears lose; axles keep 95 to 97 %.
    pub gear_loss_share: f64,
    /// Churning loss, W per (rad/s)² of the case.
    pub churn_w_s2: f64,
}

impl Default for ThermalParameters {
    fn default() -> ThermalParameters {
        ThermalParameters {
            pack_j_per_k: 700.0,
            oil_j_per_k: 1800.0,
            housing_j_per_k: 9000.0,
            pack_to_oil_w_per_k: 60.0,
            oil_to_housing_w_per_k: 80.0,
            still_air_w_per_k: 8.0,
            air_at_30_m_per_s_w_per_k: 22.0,
            gear_loss_share: 0.03,
            churn_w_s2: 0.02,
        }
    }
}

/// The three temperatures, °C.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Temperatures {
    /// Friction pack.
    pub pack_c: f64,
    /// Oil.
    pub oil_c: f64,
    /// Housing.
    pub housing_c: f64,
}

impl Temperatures {
    /// Everything at one temperature.
    pub fn all(temperature_c: f64) -> Temperatures {
        Temperatures {
            pack_c: temperature_c,
            oil_c: temperature_c,
            housing_c: temperature_c,
        }
    }

    /// One step; the shortest time constant is some seconds, so 20 ms is short enough.
    pub fn step(
        &mut self,
        parameters: &ThermalParameters,
        pack_heat_w: f64,
        gear_heat_w: f64,
        speed_m_per_s: f64,
        ambient_c: f64,
        step_s: f64,
    ) {
        let to_oil = parameters.pack_to_oil_w_per_k * (self.pack_c - self.oil_c);
        let to_housing = parameters.oil_to_housing_w_per_k * (self.oil_c - self.housing_c);
        let air = parameters.still_air_w_per_k
            + parameters.air_at_30_m_per_s_w_per_k * power_seven_tenths(speed_m_per_s.abs() / 30.0);
        let to_air = air * (self.housing_c - ambient_c);
        self.pack_c += (pack_heat_w - to_oil) / parameters.pack_j_per_k * step_s;
        self.oil_c += (to_oil + gear_heat_w - to_housing) / parameters.oil_j_per_k * step_s;
        self.housing_c += (to_housing - to_air) / parameters.housing_j_per_k * step_s;
    }
}

// x^0.7 by Newton's rule for the tenth root: library powers may differ in the last bit
// between machines, and the truth must not.
fn power_seven_tenths(x: f64) -> f64 {
    if x <= 0.0 {
        return 0.0;
    }
    let target = x.sqrt();
    let mut root = 0.5 * (1.0 + target.min(2.0));
    for _ in 0..24 {
        let fourth = root * root * root * root;
        root -= (fourth * root - target) / (5.0 * fourth);
    }
    let square = root * root;
    square * square * square * root
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn seven_tenths_power_agrees_with_the_library() {
        for x in [1e-3f64, 0.1, 0.5, 1.0, 1.7, 2.5] {
            let got = power_seven_tenths(x);
            assert!((got / x.powf(0.7) - 1.0).abs() < 1e-9, "{x}: {got}");
        }
        assert_eq!(power_seven_tenths(0.0), 0.0);
    }

    #[test]
    fn heat_is_kept_until_the_air_takes_it() {
        let parameters = ThermalParameters {
            still_air_w_per_k: 0.0,
            air_at_30_m_per_s_w_per_k: 0.0,
            ..ThermalParameters::default()
        };
        let mut now = Temperatures::all(20.0);
        for i in 0..60_000 {
            let heat = if i < 1000 { 2000.0 } else { 0.0 };
            now.step(&parameters, heat, 0.0, 0.0, 20.0, 0.02);
        }
        // Derived: 2 kW for 20 s into 0.7 + 1.8 + 9 kJ/K is 3.478 K everywhere.
        for temperature in [now.pack_c, now.oil_c, now.housing_c] {
            assert!((temperature - 23.478).abs() < 0.01, "{temperature}");
        }
    }

    #[test]
    fn housing_cools_in_minutes_moving_and_in_many_standing() {
        // Time for the excess to fall to 1/e, from the middle of the decay.
        let constant = |speed: f64| {
            let parameters = ThermalParameters::default();
            let mut now = Temperatures::all(100.0);
            let mut minutes = 0.0;
            while now.housing_c > 20.0 + 80.0 / std::f64::consts::E {
                now.step(&parameters, 0.0, 0.0, speed, 20.0, 0.1);
                minutes += 0.1 / 60.0;
            }
            minutes
        };
        assert!((5.5..7.5).contains(&constant(30.0)), "{}", constant(30.0));
        assert!((20.0..26.0).contains(&constant(0.0)), "{}", constant(0.0));
    }
}
