//! The actuator: from command to position, with dead time, lag and a greatest speed.
//!
//! In: the command, a share of full. Out: the position, a share of full, and the motor's
//! current. The torque of a position is a table of the vehicle, not a matter of this file.

use crate::faults::ActuatorFaults;
use crate::random::Random;
use std::collections::VecDeque;

/// What one motor and its gear do.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ActuatorParameters {
    /// Time from command to first movement, s.
    pub dead_time_s: f64,
    /// Time constant of the movement, s.
    pub lag_s: f64,
    /// Greatest speed, full travels per second.
    pub fastest_per_s: f64,
    /// Current that holds full position, A.
    pub holding_current_a: f64,
    /// Current of friction while moving, A.
    pub friction_current_a: f64,
    /// Current per speed, A per full travel a second.
    pub moving_current_a_s: f64,
    /// Resistance of supply and wiring seen by the motor, ohm.
    pub supply_resistance_ohm: f64,
}

/// What the actuator finds around it.
#[derive(Clone, Copy, Debug)]
pub struct Surroundings {
    /// Time since the start, s.
    pub time_s: f64,
    /// Oil temperature, °C.
    pub oil_c: f64,
    /// Supply voltage without load, V.
    pub supply_v: f64,
}

/// The actuator with its memory.
#[derive(Clone, Debug)]
pub struct Actuator {
    parameters: ActuatorParameters,
    faults: ActuatorFaults,
    random: Random,
    pipeline: VecDeque<f64>,
    position: f64,
    speed_per_s: f64,
    was_asked: bool,
    // Nominal lag of the engagement going on, s, as drawn.
    drawn_lag_s: f64,
    lag_s: f64,
    motor_v: f64,
    is_unplugged: bool,
}

/// Voltage that the parameters hold for, V: with the engine running.
const NOMINAL_V: f64 = 13.5;
/// Lowest voltage a motor still answers to, V; keeps a sag from dividing by nothing.
const LEAST_V: f64 = 4.0;
/// The voltage at the motor follows its current with this lag, s.
const SAG_LAG_S: f64 = 5e-3;
/// Command from which something is asked, a share.
const ASKED: f64 = 0.05;
/// Temperature below which cold oil makes it slower, °C.
const COLD_BELOW_C: f64 = 20.0;

// Speed below which the motor counts as still, full travels per second.
const STILL_PER_S: f64 = 0.02;

impl Actuator {
    /// An actuator at rest in the open position, stepped every `step_s`.
    pub fn new(parameters: ActuatorParameters, step_s: f64) -> Actuator {
        let n_steps = (parameters.dead_time_s / step_s).round() as usize;
        Actuator {
            parameters,
            faults: ActuatorFaults::NONE,
            random: Random::new(0),
            pipeline: std::iter::repeat_n(0.0, n_steps).collect(),
            position: 0.0,
            speed_per_s: 0.0,
            was_asked: false,
            drawn_lag_s: parameters.lag_s,
            lag_s: parameters.lag_s,
            motor_v: NOMINAL_V,
            is_unplugged: false,
        }
    }

    /// The same with something wrong; `seed` is that of the drive.
    pub fn with_faults(self, faults: ActuatorFaults, seed: u64) -> Actuator {
        Actuator {
            faults,
            random: Random::new(seed ^ 0x6163_7475),
            ..self
        }
    }

    /// One step with the command of now.
    pub fn step(&mut self, command: f64, around: &Surroundings, step_s: f64) {
        self.pipeline.push_back(command);
        let asked = self.pipeline.pop_front().unwrap_or(command);
        self.is_unplugged = self
            .faults
            .unplugged_from_s
            .is_some_and(|from_s| around.time_s >= from_s);
        let asked = if self.is_unplugged { 0.0 } else { asked };
        let is_asked = asked >= ASKED;
        if is_asked && !self.was_asked && self.faults.lag_scatter > 0.0 {
            let scatter = self.faults.lag_scatter;
            self.drawn_lag_s =
                self.parameters.lag_s * self.random.between(1.0 - scatter, 1.0 + scatter);
        }
        self.was_asked = is_asked;
        let speed_share = self.speed_share(around, step_s);
        let cold_k = (COLD_BELOW_C - around.oil_c).max(0.0);
        let slower = (1.0 + self.faults.lag_per_k_below_20_c * cold_k) / speed_share;
        self.lag_s = self.drawn_lag_s * slower;
        let lag_s = match self.faults.release_lag_s {
            Some(release_s) if asked < self.position => release_s * slower,
            _ => self.lag_s,
        };
        let change = (asked - self.position) * step_s / (lag_s + step_s);
        let most = self.parameters.fastest_per_s * speed_share * step_s;
        let change = change.clamp(-most, most);
        self.position += change;
        self.speed_per_s = change / step_s;
    }

    // How fast the motor is as a share of what it would be at its nominal voltage.
    fn speed_share(&mut self, around: &Surroundings, step_s: f64) -> f64 {
        let sagged_v = around.supply_v - self.sag_v();
        self.motor_v += (sagged_v - self.motor_v) * step_s / (SAG_LAG_S + step_s);
        if self.faults.slows_with_voltage {
            self.motor_v.max(LEAST_V) / NOMINAL_V
        } else {
            1.0
        }
    }

    /// Voltage lost between supply and motor, V.
    pub fn sag_v(&self) -> f64 {
        self.parameters.supply_resistance_ohm * self.current_a().abs()
    }

    /// Whether the motor turns.
    pub fn is_moving(&self) -> bool {
        self.speed_per_s.abs() > STILL_PER_S
    }

    /// Time constant of engaging now, s.
    pub fn lag_s(&self) -> f64 {
        self.lag_s
    }

    /// Position, a share of full.
    pub fn position(&self) -> f64 {
        self.position
    }

    /// Motor current, A; positive drives towards closed.
    pub fn current_a(&self) -> f64 {
        if self.is_unplugged {
            return 0.0;
        }
        let parameters = &self.parameters;
        let friction = if self.is_moving() {
            parameters.friction_current_a * self.speed_per_s.signum()
        } else {
            0.0
        };
        parameters.holding_current_a * self.position
            + friction
            + parameters.moving_current_a_s * self.speed_per_s
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const WARM: Surroundings = Surroundings {
        time_s: 0.0,
        oil_c: 60.0,
        supply_v: 13.5,
    };

    #[test]
    fn a_step_answers_after_the_dead_time_with_the_lag() {
        let parameters = ActuatorParameters {
            dead_time_s: 0.08,
            lag_s: 0.20,
            fastest_per_s: 100.0,
            holding_current_a: 4.0,
            friction_current_a: 1.0,
            moving_current_a_s: 0.5,
            supply_resistance_ohm: 0.1,
        };
        let mut actuator = Actuator::new(parameters, 1e-3);
        let crossing = |share: f64, trace: &[f64]| {
            trace.iter().position(|&p| p >= share).unwrap() as f64 * 1e-3
        };
        let trace: Vec<f64> = (0..2000)
            .map(|_| {
                actuator.step(1.0, &WARM, 1e-3);
                actuator.position()
            })
            .collect();
        // Check value row 32 (from memory: Smith 1972): 28.3 and 63.2 % of a first-order
        // lag of .20 s after .08 s stand at .146536 and .279934 s.
        assert!((crossing(0.283, &trace) - 0.1465).abs() < 2e-3);
        assert!((crossing(0.632, &trace) - 0.2799).abs() < 2e-3);
        assert!((actuator.current_a() - 4.0).abs() < 0.01);
    }

    const PLAIN: ActuatorParameters = ActuatorParameters {
        dead_time_s: 0.03,
        lag_s: 0.06,
        fastest_per_s: 100.0,
        holding_current_a: 5.0,
        friction_current_a: 1.0,
        moving_current_a_s: 0.5,
        supply_resistance_ohm: 0.4,
    };

    // Time from a full step until 63.2 %, less the dead time, s, again and again; and the time
    // from its end until 36.8 % are left.
    fn lags(faults: ActuatorFaults, around: Surroundings, n: usize) -> Vec<[f64; 2]> {
        let mut actuator = Actuator::new(PLAIN, 1e-3).with_faults(faults, 7);
        let mut until = |command: f64, reached: &dyn Fn(f64) -> bool| {
            let steps = (0..4000).map(|_| {
                actuator.step(command, &around, 1e-3);
                actuator.position()
            });
            let positions: Vec<f64> = steps.collect();
            positions.iter().position(|&p| reached(p)).unwrap() as f64 * 1e-3 - 0.03
        };
        (0..n)
            .map(|_| [until(1.0, &|p| p >= 0.632), until(0.0, &|p| p <= 0.368)])
            .collect()
    }

    #[test]
    fn each_fault_moves_the_lag_it_should_and_no_other() {
        let near = |got: f64, wanted: f64| assert!((got - wanted).abs() < 3e-3, "{got} {wanted}");
        let [healthy, release] = lags(ActuatorFaults::NONE, WARM, 1)[0];
        near(healthy, 0.06);
        near(release, 0.06);
        let slow = ActuatorFaults {
            release_lag_s: Some(0.5),
            ..ActuatorFaults::NONE
        };
        let [engage, release] = lags(slow, WARM, 1)[0];
        near(engage, 0.06);
        near(release, 0.5);
        let stiff = ActuatorFaults {
            lag_per_k_below_20_c: 0.05,
            ..ActuatorFaults::NONE
        };
        let cold = Surroundings { oil_c: 0.0, ..WARM };
        // Derived: 20 K below 20 °C at 5 % each doubles it.
        near(lags(stiff, cold, 1)[0][0], 0.12);
        near(lags(stiff, WARM, 1)[0][0], 0.06);
        let weak = ActuatorFaults {
            slows_with_voltage: true,
            ..ActuatorFaults::NONE
        };
        assert!(lags(weak, WARM, 1)[0][0] > 0.07);
    }

    #[test]
    fn scatter_is_drawn_for_each_engagement() {
        let scattered = ActuatorFaults {
            lag_scatter: 0.8,
            ..ActuatorFaults::NONE
        };
        let drawn: Vec<f64> = lags(scattered, WARM, 200)
            .iter()
            .map(|both| both[0])
            .collect();
        let mean = drawn.iter().sum::<f64>() / 200.0;
        let variance = drawn.iter().map(|x| (x - mean) * (x - mean)).sum::<f64>() / 199.0;
        // Derived: uniform within ±0.8 has a coefficient of variation of 0.8/√3 = 0.462.
        let variation = variance.sqrt() / mean;
        assert!((variation - 0.462).abs() < 0.05, "{variation}");
    }

    #[test]
    fn unplugged_it_opens_and_draws_nothing() {
        let unplugged = ActuatorFaults {
            unplugged_from_s: Some(1.0),
            ..ActuatorFaults::NONE
        };
        let mut actuator = Actuator::new(PLAIN, 1e-3).with_faults(unplugged, 7);
        let mut at = |time_s: f64| {
            for _ in 0..900 {
                actuator.step(0.8, &Surroundings { time_s, ..WARM }, 1e-3);
            }
            (actuator.position(), actuator.current_a())
        };
        assert!((at(0.9).0 - 0.8).abs() < 1e-3);
        let (position, current) = at(1.0);
        assert!(position < 1e-3 && current == 0.0, "{position} {current}");
    }
}
