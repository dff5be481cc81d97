//! What one axle unit is thermally: capacities, conductances, losses, and how well each is known.
//!
//! In: nothing, or the oil quantity of the vehicle. Out: [`ThermalParameters`] and
//! [`Priors`]. Every default is a figure from memory, no claim about any real unit; its
//! tolerance says so, and a fit to a logged temperature may move it.

/// Number of parameters.
pub const N_PARAMETERS: usize = 9;

/// Road speed at which the airflow conductance is stated, m/s.
pub const AIR_STATED_AT_M_PER_S: f64 = 30.0;

/// How the conductance to moving air grows with its speed: v^0.7. Source: from memory; the
/// exponent of turbulent flow along a wall is 0.8, across a cylinder 0.6.
pub const AIR_EXPONENT: f64 = 0.7;

/// Heat capacity of gear oil by volume, J/(K·m³): 0.9 l hold 1.8 kJ/K. Source: from memory,
/// about 870 kg/m³ at 2.2 to 2.3 kJ/(kg·K).
const OIL_J_PER_K_M3: f64 = 2.0e6;

/// Tolerance of the oil's heat capacity when its quantity is known. Source: none,
/// engineering guess: density, specific heat, and oil thrown where it does not mix.
const KNOWN_OIL_RELATIVE_SD: f64 = 0.10;

/// What is stated of one parameter.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stated {
    /// What it is, in words.
    pub name: &'static str,
    /// Its unit.
    pub unit: &'static str,
    /// Its default.
    pub default: f64,
    /// One standard deviation, as a share of the value (of its logarithm).
    pub relative_sd: f64,
    /// Where the default comes from.
    pub source: &'static str,
}

const FROM_MEMORY: &str = "from memory, an editable default";

const fn stated(
    name: &'static str,
    unit: &'static str,
    default: f64,
    relative_sd: f64,
    source: &'static str,
) -> Stated {
    Stated {
        name,
        unit,
        default,
        relative_sd,
        source,
    }
}

/// Every parameter in the order of [`ThermalParameters::to_array`].
pub const STATED: [Stated; N_PARAMETERS] = [
    stated("heat capacity of the pack", "J/K", 700.0, 0.20, FROM_MEMORY),
    stated("heat capacity of the oil", "J/K", 1800.0, 0.20, FROM_MEMORY),
    stated(
        "heat capacity of the housing",
        "J/K",
        9000.0,
        0.20,
        FROM_MEMORY,
    ),
    stated(
        "conductance from pack to oil",
        "W/K",
        60.0,
        0.25,
        FROM_MEMORY,
    ),
    stated(
        "conductance from oil to housing",
        "W/K",
        80.0,
        0.25,
        FROM_MEMORY,
    ),
    stated(
        "conductance from housing to still air",
        "W/K",
        8.0,
        0.25,
        FROM_MEMORY,
    ),
    stated(
        "what 30 m/s of air adds to it",
        "W/K",
        22.0,
        0.25,
        FROM_MEMORY,
    ),
    stated(
        "share of axle power lost in gears",
        "",
        0.04,
        0.35,
        "published range of axle efficiency, 95 to 97 % loaded and warm; the tolerance is a guess: \
         98 % and more at full load, 92 % cold and hardly loaded",
    ),
    stated(
        "churning loss",
        "W/(rad/s)²",
        0.02,
        0.50,
        "none, engineering guess: 200 W at 100 rad/s",
    ),
];

/// Capacities, conductances and losses of one axle unit.
///
/// ```text
/// Cp dTp/dt = P_pack − Gpo (Tp − To)
/// Co dTo/dt = Gpo (Tp − To) + P_gear − Goh (To − Th)
/// Ch dTh/dt = Goh (To − Th) − (g0 + g1 (v / 30 m/s)^0.7) (Th − Ta)
/// P_gear    = share · |P_axle| + churn · ω²
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ThermalParameters {
    /// Cp, heat capacity of the pack, J/K.
    pub pack_j_per_k: f64,
    /// Co, heat capacity of the oil, J/K.
    pub oil_j_per_k: f64,
    /// Ch, heat capacity of the housing, J/K.
    pub housing_j_per_k: f64,
    /// Gpo, conductance from pack to oil, W/K.
    pub pack_to_oil_w_per_k: f64,
    /// Goh, conductance from oil to housing, W/K.
    pub oil_to_housing_w_per_k: f64,
    /// g0, conductance from housing to still air, W/K.
    pub still_air_w_per_k: f64,
    /// g1, what air at 30 m/s adds to it, W/K.
    pub moving_air_w_per_k: f64,
    /// Share of the power through the axle that its gears and bearings turn into heat.
    pub gear_loss_share: f64,
    /// Churning loss per square of the case speed, W/(rad/s)².
    pub churn_w_s2: f64,
}

impl ThermalParameters {
    /// The parameters in the order of [`STATED`].
    pub fn to_array(&self) -> [f64; N_PARAMETERS] {
        [
            self.pack_j_per_k,
            self.oil_j_per_k,
            self.housing_j_per_k,
            self.pack_to_oil_w_per_k,
            self.oil_to_housing_w_per_k,
            self.still_air_w_per_k,
            self.moving_air_w_per_k,
            self.gear_loss_share,
            self.churn_w_s2,
        ]
    }

    /// The parameters from the order of [`STATED`].
    pub fn from_array(values: [f64; N_PARAMETERS]) -> ThermalParameters {
        let [
            pack_j_per_k,
            oil_j_per_k,
            housing_j_per_k,
            pack_to_oil_w_per_k,
            oil_to_housing_w_per_k,
            still_air_w_per_k,
            moving_air_w_per_k,
            gear_loss_share,
            churn_w_s2,
        ] = values;
        ThermalParameters {
            pack_j_per_k,
            oil_j_per_k,
            housing_j_per_k,
            pack_to_oil_w_per_k,
            oil_to_housing_w_per_k,
            still_air_w_per_k,
            moving_air_w_per_k,
            gear_loss_share,
            churn_w_s2,
        }
    }

    /// Conductance from housing to air, W/K, at an airflow as [`air_flow`] gives it.
    pub fn air_w_per_k(&self, air_flow: f64) -> f64 {
        self.still_air_w_per_k + self.moving_air_w_per_k * air_flow
    }

    /// Heat of gears, bearings and churning, W: share·|P_axle| + churn·ω². Never negative.
    pub fn gear_heat_w(&self, axle_power_w: f64, case_speed_squared: f64) -> f64 {
        self.gear_loss_share * axle_power_w.abs() + self.churn_w_s2 * case_speed_squared
    }

    /// Time constant of the pack over oil that holds its temperature, s: Cp/Gpo.
    pub fn pack_time_s(&self) -> f64 {
        self.pack_j_per_k / self.pack_to_oil_w_per_k
    }

    /// Time constant with which pack and oil come to one temperature, s:
    /// Cp·Co/(Cp + Co)/Gpo. Derived for the two alone. Less oil shortens it by the
    /// capacity and lengthens it by the conductance, which the level governs more.
    pub fn equalisation_s(&self) -> f64 {
        self.pack_j_per_k * self.oil_j_per_k
            / (self.pack_j_per_k + self.oil_j_per_k)
            / self.pack_to_oil_w_per_k
    }
}

impl Default for ThermalParameters {
    fn default() -> ThermalParameters {
        ThermalParameters::from_array(STATED.map(|stated| stated.default))
    }
}

/// What a change of the unit does to its parameters.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct UnitFactors {
    /// On the heat capacity of the pack.
    pub pack: f64,
    /// On that of the oil.
    pub oil: f64,
    /// On the conductance from pack to oil.
    pub pack_to_oil: f64,
    /// On the conductance from oil to housing.
    pub oil_to_housing: f64,
    /// On the conductance from housing to air, still and moving.
    pub cooling: f64,
}

impl UnitFactors {
    /// The factors in the order of [`STATED`]; what is not named stays.
    pub fn to_array(self) -> [f64; N_PARAMETERS] {
        let cooling = self.cooling;
        let (to_oil, to_housing) = (self.pack_to_oil, self.oil_to_housing);
        [
            self.pack, self.oil, 1.0, to_oil, to_housing, cooling, cooling, 1.0, 1.0,
        ]
    }
}

/// Strength of the air past the housing, 0 standing and 1 at 30 m/s: (v/30)^0.7.
pub fn air_flow(road_speed_m_per_s: f64) -> f64 {
    (road_speed_m_per_s.abs() / AIR_STATED_AT_M_PER_S).powf(AIR_EXPONENT)
}

/// What is known of the parameters before the drive is looked at.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Priors {
    /// The values.
    pub values: ThermalParameters,
    /// One standard deviation of each, as a share, in the order of [`STATED`].
    pub relative_sds: [f64; N_PARAMETERS],
}

impl Default for Priors {
    fn default() -> Priors {
        Priors {
            values: ThermalParameters::default(),
            relative_sds: STATED.map(|stated| stated.relative_sd),
        }
    }
}

impl Priors {
    /// The defaults with the oil's heat capacity from its quantity.
    pub fn with_oil_volume(mut self, volume_m3: f64) -> Priors {
        self.values.oil_j_per_k = OIL_J_PER_K_M3 * volume_m3;
        self.relative_sds[1] = KNOWN_OIL_RELATIVE_SD;
        self
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_housing_cools_in_six_minutes_moving_and_twenty_two_standing() {
        // Derived: all three capacities 11.5 kJ/K over 30 W/K are 6.4 min, over 8 W/K 24 min;
        // the housing alone 5.0 and 18.8 min. The rule of 6 and 22 min lies between.
        let defaults = ThermalParameters::default();
        let all = defaults.pack_j_per_k + defaults.oil_j_per_k + defaults.housing_j_per_k;
        for (speed, minutes) in [(30.0, 6.0), (0.0, 22.0)] {
            let air = defaults.air_w_per_k(air_flow(speed));
            let bounds = defaults.housing_j_per_k / air / 60.0..all / air / 60.0;
            assert!(bounds.contains(&minutes), "{bounds:?}");
        }
    }

    #[test]
    fn arrays_go_there_and_back() {
        let odd = ThermalParameters::from_array(std::array::from_fn(|index| index as f64 + 0.5));
        assert_eq!(ThermalParameters::from_array(odd.to_array()), odd);
        assert_eq!(odd.to_array()[3], 3.5);
        assert_eq!(odd.pack_to_oil_w_per_k, 3.5);
    }

    #[test]
    fn the_default_oil_is_nine_tenths_of_a_litre() {
        let priors = Priors::default().with_oil_volume(0.9e-3);
        assert!((priors.values.oil_j_per_k - STATED[1].default).abs() < 1e-9);
        assert!(priors.relative_sds[1] < STATED[1].relative_sd);
    }

    #[test]
    fn pack_and_oil_equalise() {
        // Derived: 0.7·1.8/2.5 kJ/K over 60 W/K: 8.4 s; the pack alone 11.67 s.
        let defaults = ThermalParameters::default();
        assert!((defaults.equalisation_s() - 8.4).abs() < 1e-9);
        assert!((defaults.pack_time_s() - 11.667).abs() < 1e-3);
    }
}
