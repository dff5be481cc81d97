//! What can be wrong with the invented car, each a knob that is off at first.
//!
//! In: nothing. Out: [`Faults`], part of a [`crate::Scenario`]. With every knob off no
//! random number is drawn and no figure moves, so that a healthy drive is the same bytes
//! whether its car could be faulty or not. Faults that are a number of the car (a slow
//! actuator, a lossy gear) are set in [`crate::VehicleTrue`] and have no knob here.

/// Everything that can be wrong; [`Faults::NONE`] is nothing.
#[derive(Clone, Debug, PartialEq)]
pub struct Faults {
    /// Of the pack.
    pub pack: PackFaults,
    /// Of the actuator and its supply.
    pub actuator: ActuatorFaults,
    /// Of the controller.
    pub controller: ControllerFaults,
    /// Of wheels and tyres.
    pub wheels: WheelFaults,
    /// Torque the car reports as a share of the table's torque.
    pub reported_torque_share: f64,
}

/// What can be wrong with the pack.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PackFaults {
    /// Torque the pack really carries as a share of the table's.
    pub torque_share: f64,
    /// The pack carries this at least, whatever is asked, N·m.
    pub drag_torque_nm: f64,
    /// It does so from this moment on, s.
    pub drag_from_s: f64,
    /// Stick and slip.
    pub judder: Option<Judder>,
}

/// Stick and slip of the pack in slow loaded turns. The oscillation is laid over the wheel
/// speeds of the axle; its mean heat is the axle's.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Judder {
    /// How often, Hz.
    pub frequency_hz: f64,
    /// Amplitude of the slip of a pack between case and one side gear, rad/s.
    pub amplitude_rad_per_s: f64,
    /// Only while the pack carries more than this, N·m.
    pub from_torque_nm: f64,
    /// Only while the axle speed difference without it is above this, rad/s.
    pub from_difference_rad_per_s: f64,
    /// Only below this road speed, m/s.
    pub below_m_per_s: f64,
}

/// What can be wrong with the actuator beyond its plain parameters.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ActuatorFaults {
    /// Time constant of releasing, s; none: that of engaging.
    pub release_lag_s: Option<f64>,
    /// Each engagement draws its lag anew, uniform within this share about the nominal one.
    pub lag_scatter: f64,
    /// The lag grows by this share for each kelvin the oil is below 20 °C.
    pub lag_per_k_below_20_c: f64,
    /// Lag and greatest speed follow the voltage at the motor, in proportion, from 13.5 V.
    pub slows_with_voltage: bool,
    /// From this moment on no current flows and the spring opens the pack, s.
    pub unplugged_from_s: Option<f64>,
}

/// What can be wrong with the controller.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ControllerFaults {
    /// A pressed throttle is believed this late, s.
    pub throttle_on_delay_s: f64,
    /// A lifted throttle and a pressed brake are believed this late, s.
    pub lift_off_delay_s: f64,
    /// The command swings about what it should be while the controller works.
    pub chatter: Option<Chatter>,
    /// The command never falls below this while driving above 50 km/h without brake.
    pub cruise_command: f64,
    /// The controller releases to save the clutch.
    pub protection: Option<Protection>,
}

/// A command that hunts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Chatter {
    /// From lowest to highest, a share of full.
    pub swing: f64,
    /// Time of one swing forth and back, s.
    pub period_s: f64,
}

/// A controller that releases when the oil is hot.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Protection {
    /// Oil temperature above which it does, °C.
    pub above_oil_c: f64,
    /// Only from this throttle on; the excess slip must be above 1 rad/s too.
    pub from_throttle: f64,
    /// How long it releases, s.
    pub lasts_s: f64,
}

/// What can be wrong with wheels, tyres and their sensors.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WheelFaults {
    /// The front wheels turn faster than the rear ones by this share.
    pub front_faster: f64,
    /// The right rear tyre loses air.
    pub leak: Option<Leak>,
    /// A wheel speed that rises and falls within each turn of its wheel.
    pub ripple: Option<Ripple>,
}

/// Air lost on the way: the rear tyres' mismatch grows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Leak {
    /// Where it begins, m from the start.
    pub from_m: f64,
    /// Change of ln(ωR/ωL) in all.
    pub mismatch: f64,
    /// Distance over which it comes about, m; 0 for at once.
    pub over_m: f64,
}

/// A damaged tone ring.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ripple {
    /// Whether it is the right rear wheel; else it is the left one.
    pub is_right: bool,
    /// Amplitude as a share of the wheel's speed.
    pub share: f64,
    /// How often per turn of the wheel.
    pub per_turn: f64,
}

impl Faults {
    /// Nothing is wrong.
    pub const NONE: Faults = Faults {
        pack: PackFaults {
            torque_share: 1.0,
            drag_torque_nm: 0.0,
            drag_from_s: 0.0,
            judder: None,
        },
        actuator: ActuatorFaults::NONE,
        controller: ControllerFaults::NONE,
        wheels: WheelFaults {
            front_faster: 0.0,
            leak: None,
            ripple: None,
        },
        reported_torque_share: 1.0,
    };
}

impl ActuatorFaults {
    /// Nothing is wrong.
    pub const NONE: ActuatorFaults = ActuatorFaults {
        release_lag_s: None,
        lag_scatter: 0.0,
        lag_per_k_below_20_c: 0.0,
        slows_with_voltage: false,
        unplugged_from_s: None,
    };
}

impl ControllerFaults {
    /// Nothing is wrong.
    pub const NONE: ControllerFaults = ControllerFaults {
        throttle_on_delay_s: 0.0,
        lift_off_delay_s: 0.0,
        chatter: None,
        cruise_command: 0.0,
        protection: None,
    };
}

impl Leak {
    /// Change of ln(ωR/ωL) after `distance_m` of the drive.
    pub fn at(&self, distance_m: f64) -> f64 {
        let gone_m = distance_m - self.from_m;
        if gone_m < 0.0 {
            return 0.0;
        }
        let share = if self.over_m > 0.0 {
            (gone_m / self.over_m).min(1.0)
        } else {
            1.0
        };
        self.mismatch * share
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn air_is_lost_at_once_or_on_the_way() {
        let burst = Leak {
            from_m: 100.0,
            mismatch: 0.006,
            over_m: 0.0,
        };
        assert_eq!([burst.at(99.0), burst.at(100.0)], [0.0, 0.006]);
        let slow = Leak {
            over_m: 1000.0,
            ..burst
        };
        assert!((slow.at(600.0) - 0.003).abs() < 1e-12);
        assert_eq!(slow.at(5000.0), 0.006);
    }
}
