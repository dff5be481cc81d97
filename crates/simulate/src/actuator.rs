//! The actuator: from command to position, with dead time, lag and a greatest speed.
//!
//! In: the command, a share of full. Out: the position, a share of full, and the motor's
//! current. The torque of a position is a table of the vehicle, not a matter of this file.

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

/// The actuator with its memory.
#[derive(Clone, Debug)]
pub struct Actuator {
    parameters: ActuatorParameters,
    pipeline: VecDeque<f64>,
    position: f64,
    speed_per_s: f64,
}

// Speed below which the motor counts as still, full travels per second.
const STILL_PER_S: f64 = 0.02;

impl Actuator {
    /// An actuator at rest in the open position, stepped every `step_s`.
    pub fn new(parameters: ActuatorParameters, step_s: f64) -> Actuator {
        let n_steps = (parameters.dead_time_s / step_s).round() as usize;
        Actuator {
            parameters,
            pipeline: std::iter::repeat_n(0.0, n_steps).collect(),
            position: 0.0,
            speed_per_s: 0.0,
        }
    }

    /// One step with the command of now.
    pub fn step(&mut self, command: f64, step_s: f64) {
        self.pipeline.push_back(command);
        let asked = self.pipeline.pop_front().unwrap_or(command);
        let change = (asked - self.position) * step_s / (self.parameters.lag_s + step_s);
        let most = self.parameters.fastest_per_s * step_s;
        let change = change.clamp(-most, most);
        self.position += change;
        self.speed_per_s = change / step_s;
    }

    /// Position, a share of full.
    pub fn position(&self) -> f64 {
        self.position
    }

    /// Motor current, A; positive drives towards closed.
    pub fn current_a(&self) -> f64 {
        let parameters = &self.parameters;
        let friction = if self.speed_per_s.abs() > STILL_PER_S {
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
                actuator.step(1.0, 1e-3);
                actuator.position()
            })
            .collect();
        // Check value row 32 (from memory: Smith 1972): 28.3 and 63.2 % of a first-order
        // lag of .20 s after .08 s stand at .146536 and .279934 s.
        assert!((crossing(0.283, &trace) - 0.1465).abs() < 2e-3);
        assert!((crossing(0.632, &trace) - 0.2799).abs() < 2e-3);
        assert!((actuator.current_a() - 4.0).abs() < 0.01);
    }
}
