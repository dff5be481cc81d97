//! What comes next if the load stays: when a limit is reached, where it levels off, how
//! long cooling takes.
//!
//! In: parameters, temperatures now, a load, a limit. Out: seconds or a level. The limits
//! come from the caller; none stands here.

use super::parameters::ThermalParameters;
use super::step::{Load, Temperatures};

/// Step of the forecast, s; crossings are interpolated within it.
const FORECAST_STEP_S: f64 = 1.0;

/// Longest forecast, s. Source: none; after four hours every unit has levelled off.
const LONGEST_FORECAST_S: f64 = 4.0 * 3600.0;

/// A place with a temperature.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Node {
    /// The friction pack.
    Pack,
    /// The oil.
    Oil,
}

impl Node {
    /// Its temperature, °C.
    pub fn of(self, temperatures: &Temperatures) -> f64 {
        match self {
            Node::Pack => temperatures.pack_c,
            Node::Oil => temperatures.oil_c,
        }
    }
}

/// When a limit is reached under a load that stays.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum TimeToLimit {
    /// It is reached already.
    Reached,
    /// It will be, in this many seconds.
    In {
        /// The time, s.
        seconds: f64,
    },
    /// It will not be: the temperature levels off lower.
    LevelsOff {
        /// Where, °C.
        at_c: f64,
    },
}

/// When pack or oil reach `limit_c` if `load` stays as it is.
pub fn time_to_limit(
    parameters: &ThermalParameters,
    now: &Temperatures,
    load: &Load,
    node: Node,
    limit_c: f64,
) -> TimeToLimit {
    if node.of(now) >= limit_c {
        return TimeToLimit::Reached;
    }
    match crossing(parameters, now, load, node, |celsius| celsius - limit_c) {
        Some(seconds) => TimeToLimit::In { seconds },
        None => TimeToLimit::LevelsOff {
            at_c: node.of(&Temperatures::level(parameters, load)),
        },
    }
}

/// How long the oil takes to fall to `target_c` under a load, s: 0 when it is there already,
/// `None` when it will not fall so far.
pub fn cool_down_s(
    parameters: &ThermalParameters,
    now: &Temperatures,
    load: &Load,
    target_c: f64,
) -> Option<f64> {
    if now.oil_c <= target_c {
        return Some(0.0);
    }
    crossing(parameters, now, load, Node::Oil, |celsius| {
        target_c - celsius
    })
}

/// First time at which `over` rises to 0, s.
fn crossing(
    parameters: &ThermalParameters,
    now: &Temperatures,
    load: &Load,
    node: Node,
    over: impl Fn(f64) -> f64,
) -> Option<f64> {
    let mut now = *now;
    let mut seconds = 0.0;
    let mut before = over(node.of(&now));
    while seconds < LONGEST_FORECAST_S {
        now.step(parameters, load, FORECAST_STEP_S);
        let after = over(node.of(&now));
        if after >= 0.0 {
            return Some(seconds + FORECAST_STEP_S * before / (before - after));
        }
        before = after;
        seconds += FORECAST_STEP_S;
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A unit of one lump that cools with a time constant of `minutes`.
    fn lump(minutes: f64) -> ThermalParameters {
        ThermalParameters {
            pack_j_per_k: 1e-3,
            pack_to_oil_w_per_k: 1e-3,
            oil_j_per_k: 30.0 * minutes * 60.0,
            oil_to_housing_w_per_k: 30.0,
            housing_j_per_k: 1e15,
            ..ThermalParameters::default()
        }
    }

    fn hot_oil(oil_c: f64) -> Temperatures {
        Temperatures {
            oil_c,
            ..Temperatures::all(20.0)
        }
    }

    const NO_HEAT: Load = Load {
        pack_w: 0.0,
        gear_w: 0.0,
        air_flow: 0.0,
        ambient_c: 20.0,
    };

    #[test]
    fn a_lump_cools_as_its_exponential() {
        // Derived: 120 to 90 °C in air of 20 °C: 6 min·ln(100/70) = 2.14 min, 22 min give 7.85.
        for (minutes, wanted) in [(6.0, 2.140), (22.0, 7.847)] {
            let seconds = cool_down_s(&lump(minutes), &hot_oil(120.0), &NO_HEAT, 90.0).unwrap();
            assert!((seconds / 60.0 - wanted).abs() < 2e-3, "{seconds}");
        }
        assert_eq!(
            cool_down_s(&lump(6.0), &hot_oil(80.0), &NO_HEAT, 90.0),
            Some(0.0)
        );
        assert_eq!(
            cool_down_s(&lump(6.0), &hot_oil(80.0), &NO_HEAT, 15.0),
            None
        );
    }

    #[test]
    fn a_limit_is_reached_or_the_level_is_told() {
        // Derived: one lump at 20 °C, 3 kW over 30 W/K levels off at 120 °C; with τ = 10 min
        // it is at 90 °C after 10·ln(100/30) = 12.04 min.
        let load = Load {
            gear_w: 3000.0,
            ..NO_HEAT
        };
        let of = |limit_c| time_to_limit(&lump(10.0), &hot_oil(20.0), &load, Node::Oil, limit_c);
        let TimeToLimit::In { seconds } = of(90.0) else {
            panic!("{:?}", of(90.0));
        };
        assert!((seconds / 60.0 - 12.040).abs() < 2e-3, "{seconds}");
        assert_eq!(of(20.0), TimeToLimit::Reached);
        // The housing of the lump stands at the air's temperature and never warms, while the
        // level counts its way to the air too: 3 kW over 30 W/K and over 8 W/K.
        let TimeToLimit::LevelsOff { at_c } = of(130.0) else {
            panic!("{:?}", of(130.0));
        };
        assert!((at_c - (20.0 + 3000.0 / 30.0 + 3000.0 / 8.0)).abs() < 1e-9);
    }

    #[test]
    fn a_passing_peak_counts_as_reaching() {
        // A hot pack lifts the oil for a while over what it levels off at.
        let parameters = ThermalParameters::default();
        let now = Temperatures {
            pack_c: 250.0,
            oil_c: 100.0,
            housing_c: 95.0,
        };
        let reached = time_to_limit(&parameters, &now, &NO_HEAT, Node::Oil, 110.0);
        assert!(matches!(reached, TimeToLimit::In { .. }), "{reached:?}");
        let later = time_to_limit(&parameters, &now, &NO_HEAT, Node::Oil, 145.0);
        assert_eq!(later, TimeToLimit::LevelsOff { at_c: 20.0 });
    }
}
