//! The sensors and the bus: the car's state to frames with noise, phases and jitter.
//!
//! In: the state at every step. Out: frames in the order of their stamps. A frame carries
//! what its sensors read at its nominal instant; its stamp is later by the jitter of the
//! bus and rounded to the logger's clock.

use crate::frames::{self, Payload};
use crate::random::Random;
use crate::scenario::Scenario;
use crate::wave::sine;
use halfshaft_model::constants::NS_PER_S;
use halfshaft_model::{FrameId, Stamp};

/// One frame as the logger saw it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct FrameOut {
    /// When.
    pub stamp: Stamp,
    /// Identifier.
    pub id: FrameId,
    /// Bytes.
    pub payload: Payload,
}

/// The car's state as its sensors could see it.
#[derive(Clone, Copy, Debug)]
pub struct Seen {
    /// Step since the start; one step is a millisecond.
    pub step: u64,
    /// Rear wheel speeds, rad/s.
    pub rear_rad_per_s: [f64; 2],
    /// Angles the rear wheels have turned since the start, rad.
    pub rear_turned_rad: [f64; 2],
    /// Front wheel speeds, rad/s.
    pub front_rad_per_s: [f64; 2],
    /// Command, a share.
    pub command: f64,
    /// Position, a share.
    pub position: f64,
    /// Yaw rate, rad/s.
    pub yaw_rad_per_s: f64,
    /// Acceleration to the left, m/s².
    pub lateral_m_per_s2: f64,
    /// Acceleration forward, m/s².
    pub longitudinal_m_per_s2: f64,
    /// Steering wheel angle, rad.
    pub steering_rad: f64,
    /// Accelerator, 0 to 1.
    pub throttle: f64,
    /// Brake, 0 to 1.
    pub brake: f64,
    /// Motor current, A.
    pub current_a: f64,
    /// Oil and housing temperature, °C.
    pub oil_c: f64,
    /// Housing temperature, °C.
    pub housing_c: f64,
    /// Engine speed, rad/s.
    pub engine_rad_per_s: f64,
    /// Engine torque, N·m.
    pub engine_torque_nm: f64,
    /// Gear, 0 for neutral.
    pub gear: i8,
    /// Torque of one pack as the car reports it, N·m.
    pub reported_torque_nm: f64,
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Sends {
    Rear,
    Front,
    Command,
    Position,
    Motion,
    Pedals,
    Steering,
    UnitElectric,
    UnitTemperatures,
    UnitOther,
    Other(usize),
    Engine,
    Torque,
}

#[derive(Clone, Copy, Debug)]
struct Slot {
    sends: Sends,
    period: u64,
    next: u64,
    counter: u8,
}

/// Brake pressure at full brake, bar.
const FULL_BRAKE_BAR: f64 = 90.0;
/// Brake from which the switch closes.
const BRAKE_SWITCH: f64 = 0.02;
/// The command's frame follows its tick by this many steps.
pub const COMMAND_PHASE: u64 = 2;

/// Collects frames until their turn.
pub struct Bus<'a> {
    scenario: &'a Scenario,
    random: Random,
    slots: Vec<Slot>,
    pending: Vec<FrameOut>,
    first: Option<Stamp>,
    last: Stamp,
    n_frames: u64,
    others: [u8; 8],
}

impl<'a> Bus<'a> {
    /// A bus about to wake.
    pub fn new(scenario: &'a Scenario) -> Bus<'a> {
        let rates = &scenario.rates;
        let mut slots = Vec::new();
        let mut add = |sends: Sends, period_ms: Option<u32>, phase: u64| {
            if let Some(period) = period_ms {
                let period = u64::from(period.max(1));
                slots.push(Slot {
                    sends,
                    period,
                    next: phase,
                    counter: 0,
                });
            }
        };
        // Something unmapped is the very first frame, at 0 and without jitter, so that the
        // log's time and the simulated time agree.
        add(Sends::Other(0), Some(200), 0);
        add(Sends::Rear, Some(rates.rear_ms), 3);
        add(Sends::Front, rates.front_ms, 7);
        add(Sends::Command, Some(rates.command_ms), COMMAND_PHASE);
        add(Sends::Position, rates.position_ms, 5);
        add(Sends::Motion, rates.motion_ms, 9);
        add(Sends::Pedals, Some(rates.pedals_ms), 11);
        add(Sends::Steering, Some(rates.steering_ms), 14);
        add(Sends::UnitElectric, Some(rates.unit_ms), 17);
        add(Sends::UnitTemperatures, Some(1000), 27);
        add(Sends::UnitOther, Some(1000), 533);
        add(Sends::Other(1), rates.others.then_some(500), 21);
        add(Sends::Other(2), rates.others.then_some(1000), 33);
        add(Sends::Other(3), rates.others.then_some(250), 46);
        add(Sends::Other(4), rates.others.then_some(1000), 58);
        add(Sends::Engine, rates.more_ms, 12);
        add(Sends::Torque, rates.more_ms, 6);
        Bus {
            scenario,
            random: Random::new(scenario.seed ^ 0x6275_735F),
            slots,
            pending: Vec::new(),
            first: None,
            last: Stamp(0),
            n_frames: 0,
            others: [0; 8],
        }
    }

    /// Sends what is due at this step and delivers what has arrived.
    pub fn step(&mut self, seen: &Seen, sink: &mut dyn FnMut(FrameOut)) {
        for i in 0..self.slots.len() {
            let slot = self.slots[i];
            if seen.step < slot.next {
                continue;
            }
            self.slots[i].next += slot.period;
            self.slots[i].counter = slot.counter.wrapping_add(1);
            if self.is_lost(seen.step) {
                continue;
            }
            let (id, payload) = self.read(slot, seen);
            let stamp = self.stamp(seen.step);
            let at = self.pending.partition_point(|frame| frame.stamp <= stamp);
            self.pending.insert(at, FrameOut { stamp, id, payload });
        }
        // Later frames are stamped at their nominal instant or after it.
        let safe = Stamp(self.nominal(seen.step));
        let n_ready = self.pending.partition_point(|frame| frame.stamp <= safe);
        self.deliver(n_ready, sink);
    }

    /// Delivers what is left. Gives the time from the first frame to the last, s, and the
    /// number of frames.
    pub fn close(mut self, sink: &mut dyn FnMut(FrameOut)) -> (f64, u64) {
        self.deliver(self.pending.len(), sink);
        let first = self.first.unwrap_or_default();
        (
            (self.last.0 - first.0) as f64 / NS_PER_S as f64,
            self.n_frames,
        )
    }

    fn deliver(&mut self, n: usize, sink: &mut dyn FnMut(FrameOut)) {
        for frame in self.pending.drain(..n) {
            self.first.get_or_insert(frame.stamp);
            self.last = frame.stamp;
            self.n_frames += 1;
            sink(frame);
        }
    }

    // The first frame is never lost: it sets the clock.
    fn is_lost(&mut self, step: u64) -> bool {
        let sensors = &self.scenario.sensors;
        let time_s = step as f64 * 1e-3;
        let is_silent = self
            .scenario
            .silences_s
            .iter()
            .any(|&[start, end]| start <= time_s && time_s < end);
        let is_dropped = sensors.loss_share > 0.0 && self.random.uniform() < sensors.loss_share;
        step > 0 && (is_silent || is_dropped)
    }

    fn nominal(&self, step: u64) -> i64 {
        self.scenario.start_stamp_s * NS_PER_S + step as i64 * (NS_PER_S / 1000)
    }

    fn stamp(&mut self, step: u64) -> Stamp {
        let nominal = self.nominal(step);
        if step == 0 {
            return Stamp(nominal);
        }
        let sensors = &self.scenario.sensors;
        // The transmission itself takes a quarter of a millisecond, the rest is waiting.
        let late_s = sensors.jitter_s * (0.15 + 0.85 * self.random.uniform());
        let clock_ns = (sensors.stamp_step_s * NS_PER_S as f64).round().max(1.0) as i64;
        let late_ns = (late_s * NS_PER_S as f64) as i64;
        Stamp(nominal + (late_ns + clock_ns - 1) / clock_ns * clock_ns)
    }

    fn read(&mut self, slot: Slot, seen: &Seen) -> (FrameId, Payload) {
        let sensors = self.scenario.sensors;
        let time_s = seen.step as f64 * 1e-3;
        match slot.sends {
            Sends::Rear => {
                let [left, right] = self.rippled(seen).map(|speed| self.wheel(speed));
                // Slowly changing bits beside the wheels, which nobody mapped.
                let other = (seen.step / 400) as u16;
                (frames::REAR, frames::rear(left, right, other, slot.counter))
            }
            Sends::Front => {
                let [left, right] = seen.front_rad_per_s.map(|speed| self.wheel(speed));
                (frames::FRONT, frames::front(left, right, slot.counter))
            }
            Sends::Command => (frames::COMMAND, frames::command(seen.command, slot.counter)),
            Sends::Position => {
                let noise =
                    sensors.position_noise_deg / frames::POSITION_FULL_DEG * self.random.normal();
                let is_valid = time_s >= sensors.position_wakes_s;
                (
                    frames::POSITION,
                    frames::position(seen.position + noise, is_valid),
                )
            }
            Sends::Motion => {
                let yaw = seen.yaw_rad_per_s.to_degrees()
                    + sensors.yaw_bias_deg_per_s
                    + sensors.yaw_noise_deg_per_s * self.random.normal();
                let lateral = seen.lateral_m_per_s2 + 0.05 * self.random.normal();
                let longitudinal = seen.longitudinal_m_per_s2 + 0.05 * self.random.normal();
                (frames::MOTION, frames::motion(yaw, lateral, longitudinal))
            }
            Sends::Pedals => {
                let is_braking = seen.brake > BRAKE_SWITCH;
                (
                    frames::PEDALS,
                    frames::pedals(seen.throttle, is_braking, seen.brake * FULL_BRAKE_BAR),
                )
            }
            Sends::Steering => (
                frames::STEERING,
                frames::steering(seen.steering_rad.to_degrees()),
            ),
            Sends::UnitElectric => {
                let vehicle = &self.scenario.vehicle;
                let current = seen.current_a + 0.08 * self.random.normal();
                let sag = vehicle.actuator.supply_resistance_ohm * seen.current_a.abs();
                let supply = vehicle.supply_v - sag + 0.04 * self.random.normal();
                (frames::UNIT, frames::unit_electric(supply, current))
            }
            Sends::UnitTemperatures => {
                let oil = (time_s >= sensors.oil_wakes_s).then_some(seen.oil_c);
                let payload =
                    frames::unit_temperatures(oil, Some(seen.housing_c), self.scenario.ambient_c);
                (frames::UNIT, payload)
            }
            Sends::UnitOther => (frames::UNIT, frames::unit_other(self.random.bits())),
            Sends::Engine => (
                frames::ENGINE,
                frames::engine(seen.engine_rad_per_s, seen.engine_torque_nm, seen.gear),
            ),
            Sends::Torque => (frames::TORQUE, frames::torque(seen.reported_torque_nm)),
            Sends::Other(which) => {
                let i = which % 8;
                self.others[i] = self.others[i].wrapping_add((self.random.bits() & 3) as u8);
                (
                    frames::OTHERS[which],
                    Payload::new(self.others, 8 - 2 * (which as u8 % 3)),
                )
            }
        }
    }

    // A damaged tone ring makes the speed rise and fall within each turn.
    fn rippled(&self, seen: &Seen) -> [f64; 2] {
        let mut speeds = seen.rear_rad_per_s;
        if let Some(ripple) = self.scenario.faults.wheels.ripple {
            let side = usize::from(ripple.is_right);
            let turns = ripple.per_turn * seen.rear_turned_rad[side] / std::f64::consts::TAU;
            speeds[side] *= 1.0 + ripple.share * sine(turns);
        }
        speeds
    }

    fn wheel(&mut self, rad_per_s: f64) -> f64 {
        let sensors = &self.scenario.sensors;
        let km_per_h = rad_per_s * self.scenario.vehicle.radius_m * 3.6;
        let noise = sensors.wheel_noise_km_per_h * self.random.normal();
        if km_per_h < sensors.wheel_cutout_km_per_h {
            0.0
        } else {
            (km_per_h + noise).max(0.0)
        }
    }
}
