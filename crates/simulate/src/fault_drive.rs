//! What a fault drive is: a row of data, and the scenario it makes.
//!
//! The rows stand in `fault_drives.rs`, the pieces of road in `fault_roads.rs`.

use crate::channels::Rates;
use crate::controller::{Gains, Strategy};
use crate::fault_roads::STEPS;
use crate::fault_roads::Stretch::{self, Sides};
use crate::faults::Faults;
use crate::road::Style;
use crate::scenario::{Scenario, Sensors};
use crate::vehicle::VehicleTrue;

/// A drive: what is wrong, where it is driven and by whom, and what must be found in it.
#[derive(Clone, Copy, Debug)]
pub struct FaultDrive {
    /// Its name: that of the fault.
    pub name: &'static str,
    /// What it shows, in a line.
    pub title: &'static str,
    /// Findings it must raise; a sound car raises none.
    pub raises: &'static [&'static str],
    /// Findings it may raise besides.
    pub may_raise: &'static [&'static str],
    pub(crate) road: &'static [Stretch],
    pub(crate) style: Style,
    pub(crate) gains: Gains,
    pub(crate) sensors: Sensors,
    pub(crate) ambient_c: f64,
    pub(crate) start_c: f64,
    pub(crate) longest_s: f64,
    // What is unlike the sound car: numbers of the car itself, and faults it does not have.
    pub(crate) car: fn(&mut VehicleTrue),
    pub(crate) fault: fn(&mut Faults),
}

/// A driver who is firm with the pedals: how hard in bends and off the line, m/s², and the
/// wheelspin at which he lifts, m/s.
pub(crate) const fn firm(lateral: f64, accelerate: f64, spin_tolerance: f64) -> Style {
    Style {
        lateral_m_per_s2: lateral,
        accelerate_m_per_s2: accelerate,
        brake_m_per_s2: 4.0,
        power_from: 0.4,
        pedal_per_s: 5.0,
        squeeze: 0.3,
        spin_tolerance_m_per_s: spin_tolerance,
        speed_wander: 0.015,
        lane_wander_per_m: 1.2e-4,
    }
}

/// A controller's command per throttle and per excess, s/rad, and what it holds ready.
pub(crate) const fn gains(per_throttle: f64, per_excess_s_per_rad: f64, ready: f64) -> Gains {
    Gains {
        per_throttle,
        per_excess_s_per_rad,
        ready,
    }
}

pub(crate) const SENSORS: Sensors = Sensors {
    oil_wakes_s: 3.0,
    ..Sensors::USUAL
};

/// Sound car, warm, on the road of steps; drives change what they need.
pub(crate) const SOUND: FaultDrive = FaultDrive {
    name: "",
    title: "",
    raises: &[],
    may_raise: &[],
    road: &[Sides(36, STEPS)],
    style: firm(2.6, 5.0, 3.0),
    // It closes the pack when the throttle is pressed.
    gains: gains(0.95, 0.10, 0.0),
    sensors: SENSORS,
    ambient_c: 16.0,
    start_c: 48.0,
    longest_s: 760.0,
    car: |_| {},
    fault: |_| {},
};

impl FaultDrive {
    /// Whether nothing is wrong.
    pub fn is_healthy(&self) -> bool {
        self.raises.is_empty()
    }

    /// What is driven.
    pub(crate) fn scenario(&self, seed: u64) -> Scenario {
        let mut vehicle = VehicleTrue::brindlecote_30();
        vehicle.is_automatic = true;
        vehicle.strategy = Strategy::Road(self.gains);
        (self.car)(&mut vehicle);
        let mut faults = Faults::NONE;
        (self.fault)(&mut faults);
        Scenario {
            name: self.name.to_owned(),
            title: self.title.to_owned(),
            story: format!("A made-up drive for tests: {}.", self.title),
            seed,
            vehicle,
            pieces: self.road.iter().flat_map(|part| part.pieces()).collect(),
            style: self.style,
            sensors: self.sensors,
            rates: Rates {
                unit_ms: 20,
                more_ms: Some(20),
                others: false,
                ..Rates::QUICK
            },
            ambient_c: self.ambient_c,
            start_c: self.start_c,
            start_stamp_s: 1_762_000_000,
            silences_s: Vec::new(),
            longest_s: self.longest_s,
            faults,
            tells_unit: true,
        }
    }
}
