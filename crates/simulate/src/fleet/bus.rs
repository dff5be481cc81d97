//! From the true state to frames, with what sensors, bus and faults of the bus make of it.
//!
//! In: the plant's states. Out: a [`Batch`] of frames in order of time.

use super::actuator::STEP_S;
use super::car::Car;
use super::draw::{Draw, Purpose};
use super::fault::{Fault, Form};
use super::plant::State;
use super::signals::{FramePlan, Item, Quantity, Signals, WheelForm};
use halfshaft_model::constants::NS_PER_S;
use halfshaft_model::{Batch, FrameId, Stamp};

/// Name of the bus in logs.
pub const BUS: &str = "can0";
/// Stamp of the start, s since 1970.
const START_S: i64 = 1_780_000_000;
/// The oil sensor follows with this lag, s.
const OIL_SENSOR_S: f64 = 2.0;

/// Sends frames.
pub struct Bus<'a> {
    car: &'a Car,
    batch: Batch,
    bus: u16,
    // When each frame is due, ms, and the latest stamp.
    due_ms: Vec<u64>,
    latest_ns: i64,
    noise: Draw,
    // Turned by each wheel, rad, and the teeth counted at its last frame.
    turned_rad: [f64; 4],
    teeth: [f64; 4],
    oil_c: Option<f64>,
    trouble: Trouble,
}

// What a fault of the bus does to one signal.
struct Trouble {
    // Stretches in which a quantity repeats its value, s, and the value.
    frozen: Option<(Quantity, Vec<[f64; 2]>)>,
    // Stretches in which a quantity reads 0.
    dropped: Option<(Quantity, Vec<[f64; 2]>)>,
    // Share of bad samples of a quantity.
    bad: Option<(Quantity, f64)>,
    draw: Draw,
    held: Option<i16>,
}

impl Trouble {
    fn of(car: &Car) -> Trouble {
        let mut draw = car.stream(Purpose::Fault);
        let wheel = draw.one(&[Quantity::RearLeft, Quantity::RearRight]);
        let duration_s = car.route.duration_s;
        let (mut frozen, mut dropped, mut bad) = (None, None, None);
        let long = |form: Form| {
            let from_s = 0.35 * duration_s;
            let until_s = match form {
                Form::Mild => from_s + 45.0,
                Form::Plain => f64::INFINITY,
            };
            vec![[from_s, until_s]]
        };
        match car.fault {
            Some((Fault::CommandFrozen, form)) => frozen = Some((Quantity::Command, long(form))),
            Some((Fault::StateFrozen, form)) => {
                frozen = Some((Quantity::Position, long(form)));
            }
            Some((Fault::YawFrozen, form)) => frozen = Some((Quantity::Yaw, long(form))),
            Some((Fault::OilFrozen, form)) => {
                let from_s = if form == Form::Mild {
                    duration_s / 3.0
                } else {
                    0.0
                };
                frozen = Some((Quantity::Oil, vec![[from_s, f64::INFINITY]]));
            }
            Some((Fault::StuckWheel, form)) => {
                let n = if form == Form::Mild { 1 } else { 4 };
                let spans = (0..n).map(|i| {
                    let share = (0.25 + 0.7 * f64::from(i)) / f64::from(n);
                    let from_s = duration_s * (share + draw.between(0.0, 0.15));
                    [from_s, from_s + 5.0]
                });
                frozen = Some((wheel, spans.collect()));
            }
            Some((Fault::DropOuts, form)) => {
                let every_s = if form == Form::Mild { 60.0 } else { 15.0 };
                let n = (duration_s / every_s) as u32;
                let spans = (0..n).map(|i| {
                    let from_s = every_s * (f64::from(i) + draw.between(0.1, 0.9));
                    [from_s, from_s + draw.between(0.1, 0.5)]
                });
                dropped = Some((wheel, spans.collect()));
            }
            Some((Fault::BadSamples, form)) => {
                bad = Some((wheel, if form == Form::Mild { 0.001 } else { 0.005 }));
            }
            _ => {}
        }
        Trouble {
            frozen,
            dropped,
            bad,
            draw,
            held: None,
        }
    }

    // What is sent in place of a raw value.
    fn replace(&mut self, quantity: Quantity, time_s: f64, raw: i16) -> i16 {
        let is_in = |spans: &[[f64; 2]]| {
            spans
                .iter()
                .any(|&[from, until]| from <= time_s && time_s < until)
        };
        if let Some((frozen, spans)) = &self.frozen
            && *frozen == quantity
        {
            if !is_in(spans) {
                self.held = None;
                return raw;
            }
            return *self.held.get_or_insert(raw);
        }
        if let Some((dropped, spans)) = &self.dropped
            && *dropped == quantity
            && is_in(spans)
        {
            return 0;
        }
        if let Some((bad, share)) = self.bad
            && bad == quantity
            && self.draw.chance(share)
        {
            let value = f64::from(raw);
            let wrong = match self.draw.below(4) {
                0 => 0.0,
                1 => value * self.draw.between(1.15, 2.0),
                2 => value * self.draw.between(0.3, 0.85),
                _ => self.draw.between(0.0, 32_000.0),
            };
            return wrong.clamp(0.0, 32_767.0) as i16;
        }
        raw
    }
}

impl Bus<'_> {
    /// Nothing sent yet.
    pub fn new(car: &Car) -> Bus<'_> {
        let mut batch = Batch::default();
        let bus = batch.bus(BUS);
        Bus {
            car,
            batch,
            bus,
            due_ms: car
                .signals
                .frames
                .iter()
                .map(|frame| frame.phase_ms)
                .collect(),
            latest_ns: 0,
            noise: car.stream(Purpose::Noise),
            turned_rad: [0.0; 4],
            teeth: [0.0; 4],
            oil_c: None,
            trouble: Trouble::of(car),
        }
    }

    /// The state after a step, which takes a millisecond.
    pub fn see(&mut self, step: u64, state: &State) {
        for (turned, speed) in self.turned_rad.iter_mut().zip(state.wheels) {
            *turned += speed.abs() * STEP_S;
        }
        let now_c = state.temperatures.oil_c;
        let oil_c = self.oil_c.get_or_insert(now_c);
        *oil_c += (now_c - *oil_c) * STEP_S / OIL_SENSOR_S;
        let car = self.car;
        for (i, frame) in car.signals.frames.iter().enumerate() {
            if self.due_ms[i] == step {
                self.due_ms[i] += frame.period_ms;
                self.send(frame, state);
            }
        }
    }

    /// All frames.
    pub fn batch(self) -> Batch {
        self.batch
    }

    fn send(&mut self, frame: &FramePlan, state: &State) {
        let mut bytes = Vec::with_capacity(8);
        for item in &frame.items {
            let value = self.value(item, state);
            let raw = ((value - item.zero) / item.step)
                .round()
                .clamp(-32_767.0, 32_767.0) as i16;
            let raw = self.trouble.replace(item.quantity, state.time_s, raw);
            bytes.extend(raw.to_be_bytes());
        }
        let late_s = self.noise.between(0.0, self.car.signals.jitter_s);
        let at_ns = START_S * NS_PER_S + ((state.time_s + late_s) * 1e9) as i64;
        // Frames come one after the other.
        self.latest_ns = at_ns.max(self.latest_ns + 50_000);
        let id = FrameId::standard(frame.id).expect("identifiers are drawn from eleven bits");
        let mut padded = [0; 8];
        padded[..bytes.len()].copy_from_slice(&bytes);
        let stamp = Stamp(self.latest_ns);
        self.batch
            .push_short_frame(stamp, self.bus, id, padded, bytes.len());
    }

    // The value in the item's unit.
    fn value(&mut self, item: &Item, state: &State) -> f64 {
        let car = self.car;
        let signals = &car.signals;
        let noisy = |sd: f64, noise: &mut Draw| sd * noise.normal();
        match item.quantity {
            Quantity::FrontLeft => self.wheel(0, item, state),
            Quantity::FrontRight => self.wheel(1, item, state),
            Quantity::RearLeft => self.wheel(2, item, state),
            Quantity::RearRight => self.wheel(3, item, state),
            Quantity::Speed => state.speed_m_per_s.abs() * 3.6,
            Quantity::Yaw => {
                state.yaw_rad_per_s.to_degrees()
                    + signals.yaw_bias_deg_per_s
                    + noisy(signals.yaw_noise_deg_per_s, &mut self.noise)
            }
            Quantity::Steering => state.steering_rad.to_degrees(),
            Quantity::Lateral => state.accelerations[0] + noisy(0.05, &mut self.noise),
            Quantity::Longitudinal => state.accelerations[1] + noisy(0.05, &mut self.noise),
            Quantity::Command => state.command * 100.0,
            Quantity::Position => {
                let noise = noisy(0.0003, &mut self.noise);
                (state.position + noise) * signals.position_full
            }
            Quantity::Torque => match signals.torque_from {
                super::signals::TorqueFrom::Bias => state.table_nm * car.pack.place.bias(),
                _ => state.table_nm,
            },
            // The actuator's force: the springs of the preload press beside it.
            Quantity::Force => {
                (state.table_nm - car.pack.preload_nm) / car.pack.torque_per_force_m()
            }
            Quantity::Current => state.current_a + noisy(0.1, &mut self.noise),
            Quantity::Voltage => state.supply_v + noisy(0.05, &mut self.noise),
            Quantity::Oil => {
                let oil_c = self.oil_c.unwrap_or(state.temperatures.oil_c);
                let is_fahrenheit = matches!(car.fault, Some((Fault::Fahrenheit, _)));
                if is_fahrenheit {
                    oil_c * 1.8 + 32.0
                } else {
                    oil_c
                }
            }
            Quantity::Housing => state.temperatures.housing_c,
            Quantity::Ambient => car.route.ambient_c,
            Quantity::Throttle => state.pedals[0] * 100.0,
            Quantity::Brake => f64::from(u8::from(state.pedals[1] > 0.02)),
            Quantity::Gear => state.gear,
            Quantity::EngineSpeed => state.engine[0] * 30.0 / std::f64::consts::PI,
            Quantity::EngineTorque => state.engine[1],
        }
    }

    fn wheel(&mut self, wheel: usize, item: &Item, state: &State) -> f64 {
        let signals: &Signals = &self.car.signals;
        let to_km_per_h = self.car.body.radius_m * 3.6;
        if let WheelForm::Pulses(teeth) = signals.wheels {
            let passed = (self.turned_rad[wheel] * teeth / std::f64::consts::TAU).floor();
            let n = passed - std::mem::replace(&mut self.teeth[wheel], passed);
            return n * item.step;
        }
        let noise = signals.wheel_noise_km_per_h * self.noise.normal();
        let mut km_per_h = state.wheels[wheel] * to_km_per_h;
        if km_per_h.abs() < signals.cut_off_km_per_h.max(0.1) {
            km_per_h = 0.0;
        } else {
            km_per_h += noise;
        }
        if !signals.is_signed {
            km_per_h = km_per_h.abs();
        }
        match signals.wheels {
            WheelForm::Rpm => km_per_h / to_km_per_h * 30.0 / std::f64::consts::PI,
            _ => km_per_h,
        }
    }
}
