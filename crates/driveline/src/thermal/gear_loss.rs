//! Power through the axle, from which its gears take their loss.
//!
//! In: engine torque and speed, or mass, acceleration and road speed. Out: the power and
//! what it was made from, or `None`. It refuses to make a power out of a road speed alone:
//! [`ordinary_road_load_w`] is a stand-in whose users must say so, and under which nobody
//! may say that oil is hot *because of* the clutch.

use halfshaft_model::constants::STANDARD_GRAVITY;

/// Rolling resistance per weight. Source: from memory, car tyres on asphalt 0.010 to 0.015.
const ROLLING_COEFFICIENT: f64 = 0.012;

/// Half of air density times drag area, N per (m/s)²: ½·1.2 kg/m³·0.7 m². Source: from
/// memory, an ordinary saloon.
const DRAG_N_S2_PER_M2: f64 = 0.42;

/// Mass of an ordinary car with its driver, kg. Source: none, engineering guess.
const ORDINARY_MASS_KG: f64 = 1600.0;

/// What an axle power was made from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum AxlePowerSource {
    /// Engine torque times engine speed. Nothing is taken off for gearbox and front axle.
    Engine,
    /// Force to accelerate the stated mass and to overcome rolling and drag, times speed.
    Acceleration,
}

/// Samples of one instant that may tell the axle power. Missing is `None`.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct AxlePowerSample {
    /// Engine torque, N·m.
    pub engine_torque_nm: Option<f64>,
    /// Engine speed, rad/s.
    pub engine_speed_rad_per_s: Option<f64>,
    /// Mass of the car as its map states it, kg.
    pub mass_kg: Option<f64>,
    /// Acceleration along the road, m/s², positive when getting faster.
    pub acceleration_m_per_s2: Option<f64>,
    /// Road speed, m/s.
    pub road_speed_m_per_s: Option<f64>,
    /// The brakes are on.
    pub is_braking: bool,
}

/// Power through the axle, W, never negative: gears lose in drive and in overrun alike.
///
/// P = T_engine·ω_engine where both are there (assumes all of it goes to this axle, which
/// overstates it on a car of two driven axles and by the gearbox' few per cent); else
/// P = (m·a + c_r·m·g + ½ρ·c_w·A·v²)·v. With the brakes on the second form says nothing, since
/// they take the force at the wheels, and the power counts as 0. A slope that the
/// acceleration sensor feels is rightly part of the force, a differentiated speed misses it.
pub fn axle_power_w(sample: &AxlePowerSample) -> Option<(f64, AxlePowerSource)> {
    if let (Some(torque), Some(speed)) = (sample.engine_torque_nm, sample.engine_speed_rad_per_s) {
        return Some(((torque * speed).abs(), AxlePowerSource::Engine));
    }
    let (mass, acceleration, speed) = (
        sample.mass_kg?,
        sample.acceleration_m_per_s2?,
        sample.road_speed_m_per_s?.abs(),
    );
    if sample.is_braking {
        return Some((0.0, AxlePowerSource::Acceleration));
    }
    let force = mass * acceleration + resistance_n(mass, speed);
    Some(((force * speed).abs(), AxlePowerSource::Acceleration))
}

fn resistance_n(mass_kg: f64, speed: f64) -> f64 {
    let rolling = if speed > 0.0 {
        ROLLING_COEFFICIENT * mass_kg * STANDARD_GRAVITY
    } else {
        0.0
    };
    rolling + DRAG_N_S2_PER_M2 * speed * speed
}

/// Power an ordinary car needs to hold a road speed on the level, W. A stand-in where the
/// axle power is not known; true power may be many times it or nothing.
pub fn ordinary_road_load_w(road_speed_m_per_s: f64) -> f64 {
    let speed = road_speed_m_per_s.abs();
    resistance_n(ORDINARY_MASS_KG, speed) * speed
}

#[cfg(test)]
mod tests {
    use super::super::parameters::ThermalParameters;
    use super::*;

    #[test]
    fn forty_kilowatts_at_ninety_six_per_cent() {
        // Derived: 40 kW at 96 % lose 1600 W. 200 N·m at 200 rad/s are 40 kW.
        let sample = AxlePowerSample {
            engine_torque_nm: Some(-200.0),
            engine_speed_rad_per_s: Some(200.0),
            ..AxlePowerSample::default()
        };
        let (power, source) = axle_power_w(&sample).unwrap();
        assert_eq!((power, source), (40_000.0, AxlePowerSource::Engine));
        let parameters = ThermalParameters {
            gear_loss_share: 1.0 - 0.96,
            ..ThermalParameters::default()
        };
        assert!((parameters.gear_heat_w(power, 0.0) - 1600.0).abs() < 1e-9);
    }

    #[test]
    fn default_losses_lie_where_axles_were_measured() {
        // Published: loaded and warm axles keep 95 to 97 %. Published, TRL RR10: a van's
        // axle lost at least 6 % and up to 40 % at low power and thick oil. At 100 rad/s:
        let parameters = ThermalParameters::default();
        let share = |power: f64| parameters.gear_heat_w(power, 100.0_f64.powi(2)) / power;
        assert!((0.03..=0.05).contains(&parameters.gear_loss_share));
        assert!((0.03..=0.05).contains(&share(100_000.0)));
        assert!((share(10_000.0) - 0.06).abs() < 1e-9);
        assert!((0.35..0.45).contains(&share(560.0)), "{}", share(560.0));
    }

    #[test]
    fn power_from_acceleration() {
        // By hand: 1500 kg at 2 m/s² and 20 m/s: 3000 N + 176.5 N + 168 N, times 20 m/s.
        let sample = AxlePowerSample {
            mass_kg: Some(1500.0),
            acceleration_m_per_s2: Some(2.0),
            road_speed_m_per_s: Some(20.0),
            ..AxlePowerSample::default()
        };
        let (power, source) = axle_power_w(&sample).unwrap();
        assert_eq!(source, AxlePowerSource::Acceleration);
        assert!((power - 66_890.0).abs() < 5.0, "{power}");
        let braking = AxlePowerSample {
            is_braking: true,
            acceleration_m_per_s2: Some(-8.0),
            ..sample
        };
        assert_eq!(axle_power_w(&braking).unwrap().0, 0.0);
    }

    #[test]
    fn speed_alone_tells_no_power() {
        let sample = AxlePowerSample {
            road_speed_m_per_s: Some(30.0),
            engine_speed_rad_per_s: Some(300.0),
            ..AxlePowerSample::default()
        };
        assert_eq!(axle_power_w(&sample), None);
        // By hand: 188.3 N + 378 N at 30 m/s: 17 kW.
        assert!((ordinary_road_load_w(30.0) - 16_988.0).abs() < 10.0);
        assert_eq!(ordinary_road_load_w(0.0), 0.0);
    }
}
