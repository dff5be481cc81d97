//! What a car of the fleet puts on its bus: which channels, in which unit and step, how often.
//!
//! In: a stream of random numbers. Out: [`Signals`], from which both the frames and the map's
//! text are made.

use super::draw::Draw;
use super::fault::Fault;
use halfshaft_model::channel::name;

/// Something that can be sent.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Quantity {
    /// Rear left wheel.
    RearLeft,
    /// Rear right wheel.
    RearRight,
    /// Front left wheel.
    FrontLeft,
    /// Front right wheel.
    FrontRight,
    /// Road speed.
    Speed,
    /// Yaw rate.
    Yaw,
    /// Steering wheel.
    Steering,
    /// Lateral acceleration.
    Lateral,
    /// Longitudinal acceleration.
    Longitudinal,
    /// Command of the clutch.
    Command,
    /// Position of the actuator.
    Position,
    /// Torque the car reports.
    Torque,
    /// Clamp force.
    Force,
    /// Motor current.
    Current,
    /// Supply voltage.
    Voltage,
    /// Oil temperature.
    Oil,
    /// Housing temperature.
    Housing,
    /// Air temperature.
    Ambient,
    /// Pedal.
    Throttle,
    /// Brake pedal pressed.
    Brake,
    /// Gear.
    Gear,
    /// Engine speed.
    EngineSpeed,
    /// Engine torque.
    EngineTorque,
}

impl Quantity {
    /// Channel of the map.
    pub fn channel(self) -> &'static str {
        match self {
            Quantity::RearLeft => name::WHEEL_REAR_LEFT,
            Quantity::RearRight => name::WHEEL_REAR_RIGHT,
            Quantity::FrontLeft => name::WHEEL_FRONT_LEFT,
            Quantity::FrontRight => name::WHEEL_FRONT_RIGHT,
            Quantity::Speed => name::SPEED_VEHICLE,
            Quantity::Yaw => name::YAW_RATE,
            Quantity::Steering => name::STEERING_ANGLE,
            Quantity::Lateral => name::ACCELERATION_LATERAL,
            Quantity::Longitudinal => name::ACCELERATION_LONGITUDINAL,
            Quantity::Command => name::CLUTCH_COMMAND,
            Quantity::Position => name::CLUTCH_POSITION,
            Quantity::Torque => name::CLUTCH_TORQUE,
            Quantity::Force => name::CLUTCH_FORCE,
            Quantity::Current => name::MOTOR_CURRENT,
            Quantity::Voltage => name::SUPPLY_VOLTAGE,
            Quantity::Oil => name::OIL_TEMPERATURE,
            Quantity::Housing => name::HOUSING_TEMPERATURE,
            Quantity::Ambient => name::AMBIENT_TEMPERATURE,
            Quantity::Throttle => name::THROTTLE,
            Quantity::Brake => name::BRAKE,
            Quantity::Gear => name::GEAR,
            Quantity::EngineSpeed => name::ENGINE_SPEED,
            Quantity::EngineTorque => name::ENGINE_TORQUE,
        }
    }

    /// Whether it is a wheel.
    pub fn is_wheel(self) -> bool {
        matches!(
            self,
            Quantity::RearLeft | Quantity::RearRight | Quantity::FrontLeft | Quantity::FrontRight
        )
    }
}

/// How wheels are sent.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum WheelForm {
    /// As a road speed, km/h.
    KmPerH,
    /// As rpm.
    Rpm,
    /// Teeth passed since the last frame, of so many a turn.
    Pulses(f64),
}

/// Where the owner's map takes the pack's torque from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TorqueFrom {
    /// A table of the position.
    Position,
    /// A table of the command.
    Command,
    /// The reported torque of the pack.
    Pack,
    /// The reported bias of the axle.
    Bias,
    /// Clamp force, friction and geometry.
    Clamp,
}

/// One signal of a frame: two bytes, high byte first, signed.
#[derive(Clone, Copy, Debug)]
pub struct Item {
    /// What it is.
    pub quantity: Quantity,
    /// Unit as in maps.
    pub unit: &'static str,
    /// What one step is worth in that unit.
    pub step: f64,
    /// What the number 0 means in that unit.
    pub zero: f64,
}

/// A frame.
#[derive(Clone, Debug)]
pub struct FramePlan {
    /// Identifier, 11 bits.
    pub id: u32,
    /// Time between two, ms.
    pub period_ms: u64,
    /// When the first is sent, ms.
    pub phase_ms: u64,
    /// Signals in order of their bytes, at most four.
    pub items: Vec<Item>,
}

/// What is on the bus.
#[derive(Clone, Debug)]
pub struct Signals {
    /// Frames.
    pub frames: Vec<FramePlan>,
    /// How wheels are sent.
    pub wheels: WheelForm,
    /// Standard deviation of a wheel, km/h.
    pub wheel_noise_km_per_h: f64,
    /// Wheels read 0 below this, km/h.
    pub cut_off_km_per_h: f64,
    /// Whether the map states it.
    pub is_cut_off_stated: bool,
    /// Whether wheels turn negative in reverse.
    pub is_signed: bool,
    /// Bias of the yaw rate, deg/s.
    pub yaw_bias_deg_per_s: f64,
    /// Its noise, one standard deviation, deg/s.
    pub yaw_noise_deg_per_s: f64,
    /// Position when full, in its unit.
    pub position_full: f64,
    /// Where torque comes from.
    pub torque_from: TorqueFrom,
    /// Frames are late by up to this, s.
    pub jitter_s: f64,
}

/// Whether the fault needs a channel of this kind to be seen at all.
fn is_needed(fault: Fault, quantity: Quantity) -> bool {
    let actuator = matches!(
        fault,
        Fault::SlowActuator
            | Fault::DriftingLag
            | Fault::SlowRelease
            | Fault::StateFrozen
            | Fault::Swapped
    );
    match quantity {
        Quantity::Position => {
            actuator
                || matches!(
                    fault,
                    Fault::NoGrip | Fault::CommandFrozen | Fault::MotorCurrent
                )
        }
        Quantity::Oil => {
            actuator
                || matches!(
                    fault,
                    Fault::Fahrenheit
                        | Fault::OilFrozen
                        | Fault::OilLoss
                        | Fault::Overheating
                        | Fault::Protection
                )
        }
        Quantity::Yaw => matches!(
            fault,
            Fault::YawFrozen
                | Fault::Dragging
                | Fault::SidesSwapped
                | Fault::TyreMismatch
                | Fault::LosingPressure
                | Fault::NoGrip
                | Fault::Protection
        ),
        Quantity::FrontLeft => matches!(
            fault,
            Fault::WheelScale
                | Fault::StuckWheel
                | Fault::DropOuts
                | Fault::BadSamples
                | Fault::NoGrip
        ),
        Quantity::Current => fault == Fault::MotorCurrent,
        Quantity::Voltage => fault == Fault::LowVoltage,
        Quantity::Throttle => fault == Fault::Protection,
        _ => false,
    }
}

const fn item(quantity: Quantity, unit: &'static str, step: f64, zero: f64) -> Item {
    Item {
        quantity,
        unit,
        step,
        zero,
    }
}

impl Signals {
    /// Draws them; what a fault needs to be seen is there.
    pub fn draw(draw: &mut Draw, fault: Option<Fault>) -> Signals {
        // Every draw is made whatever it decides, so that none shifts the next.
        let base_ms = draw.one(&[10, 10, 20, 20, 20, 40, 50, 100, 200, 250]);
        let more = if fault.is_some() { 0.15 } else { 0.0 };
        let mut has = |quantity: Quantity, share: f64| {
            let is_drawn = draw.chance(share + more);
            is_drawn || fault.is_some_and(|fault| is_needed(fault, quantity))
        };
        let has_fronts = has(Quantity::FrontLeft, 0.75);
        let has_yaw = has(Quantity::Yaw, 0.75);
        let has_position = has(Quantity::Position, 0.65);
        let has_torque = has(Quantity::Torque, 0.25);
        let has_force = has(Quantity::Force, 0.12);
        let has_oil = has(Quantity::Oil, 0.75);
        let has_air = has(Quantity::Ambient, 0.6);
        let has_housing = has(Quantity::Housing, 0.15);
        let has_throttle = has(Quantity::Throttle, 0.8);
        let has_brake = has(Quantity::Brake, 0.7);
        let has_steering = has(Quantity::Steering, 0.5);
        let has_voltage = has(Quantity::Voltage, 0.5);
        let has_current = has(Quantity::Current, 0.4);
        let has_speed = has(Quantity::Speed, 0.3);
        let has_accelerations = has(Quantity::Lateral, 0.5);
        let has_engine = has(Quantity::EngineSpeed, 0.4);
        let wheels = match draw.below(4) {
            0 => WheelForm::Rpm,
            1 => WheelForm::Pulses(draw.one(&[44.0, 48.0, 86.0, 96.0])),
            _ => WheelForm::KmPerH,
        };
        // Teeth counted over less than this say nothing.
        let shortest_ms = match wheels {
            WheelForm::Pulses(_) => 50,
            _ => 0,
        };
        let wheel = match wheels {
            WheelForm::KmPerH => ("km/h", draw.one(&[0.01, 0.01, 0.03125, 0.05625, 0.1])),
            WheelForm::Rpm => ("rpm", draw.one(&[0.1, 0.25, 0.5])),
            WheelForm::Pulses(_) => ("rad/s", 0.0),
        };
        let is_share = draw.chance(0.4) || fault == Some(Fault::Swapped);
        let position_full = if is_share {
            100.0
        } else {
            draw.between(60.0, 400.0).round()
        };
        let position_unit = if is_share { "%" } else { "deg" };
        let position_step = draw.one(&[0.02, 0.05, 0.1, 0.4]);
        let command_step = draw.one(&[0.1, 0.1, 0.4, 0.5, 1.0]);
        let torque_step = draw.one(&[0.1, 0.5, 1.0]);
        let yaw_step = draw.one(&[0.01, 0.02, 0.05, 0.1]);
        let choice = draw.chance(0.7);
        let is_bias = draw.chance(0.4);
        let torque_from = match (has_position, has_torque, has_force) {
            (true, _, _) if choice => TorqueFrom::Position,
            (_, true, _) if is_bias => TorqueFrom::Bias,
            (_, true, _) => TorqueFrom::Pack,
            (_, _, true) => TorqueFrom::Clamp,
            (true, _, _) => TorqueFrom::Position,
            _ => TorqueFrom::Command,
        };
        let is_joint = draw.chance(0.3);

        let mut plans: Vec<(Vec<Item>, Option<u64>)> = Vec::new();
        let wheel_item = |quantity| item(quantity, wheel.0, wheel.1, 0.0);
        plans.push((
            vec![
                wheel_item(Quantity::RearLeft),
                wheel_item(Quantity::RearRight),
            ],
            Some(base_ms),
        ));
        if has_fronts {
            plans.push((
                vec![
                    wheel_item(Quantity::FrontLeft),
                    wheel_item(Quantity::FrontRight),
                ],
                None,
            ));
        }
        let mut state = Vec::new();
        if has_position {
            state.push(item(Quantity::Position, position_unit, position_step, 0.0));
        }
        if has_torque {
            state.push(item(Quantity::Torque, "N.m", torque_step, 0.0));
        }
        if has_force {
            state.push(item(Quantity::Force, "N", 5.0, 0.0));
        }
        let mut command = vec![item(Quantity::Command, "%", command_step, 0.0)];
        if is_joint {
            command.append(&mut state);
        }
        plans.push((command, None));
        plans.push((state, None));
        let mut motion = Vec::new();
        if has_yaw {
            motion.push(item(Quantity::Yaw, "deg/s", yaw_step, 0.0));
        }
        if has_accelerations {
            motion.push(item(Quantity::Lateral, "m/s2", 0.01, 0.0));
            motion.push(item(Quantity::Longitudinal, "m/s2", 0.01, 0.0));
        }
        plans.push((motion, None));
        let mut pedals = Vec::new();
        if has_throttle {
            pedals.push(item(Quantity::Throttle, "%", 0.4, 0.0));
        }
        if has_brake {
            pedals.push(item(Quantity::Brake, "none", 1.0, 0.0));
        }
        if has_speed {
            pedals.push(item(Quantity::Speed, "km/h", 0.05, 0.0));
        }
        plans.push((pedals, None));
        if has_steering {
            plans.push((vec![item(Quantity::Steering, "deg", 0.1, 0.0)], None));
        }
        if has_engine {
            plans.push((
                vec![
                    item(Quantity::EngineSpeed, "rpm", 0.5, 0.0),
                    item(Quantity::EngineTorque, "N.m", 0.5, 0.0),
                    item(Quantity::Gear, "none", 1.0, 0.0),
                ],
                None,
            ));
        }
        let mut electric = Vec::new();
        if has_voltage {
            electric.push(item(Quantity::Voltage, "V", 0.1, 0.0));
        }
        if has_current {
            electric.push(item(Quantity::Current, "A", 0.05, 0.0));
        }
        plans.push((electric, None));
        let mut temperatures = Vec::new();
        if has_oil {
            temperatures.push(item(Quantity::Oil, "degC", 1.0, -40.0));
        }
        if has_housing {
            temperatures.push(item(Quantity::Housing, "degC", 1.0, -40.0));
        }
        if has_air {
            temperatures.push(item(Quantity::Ambient, "degC", 0.5, -40.0));
        }
        let slow_ms = draw.one(&[200, 500, 1000]);
        plans.push((temperatures, Some(slow_ms)));

        let mut frames = Vec::new();
        for (number, (mut items, period_ms)) in (0u32..).zip(plans) {
            let own_ms = draw.one(&[10, 20, 40, 50, 100, 200, 250]);
            let drawn_ms = if draw.chance(0.7) { base_ms } else { own_ms };
            let phase = draw.between(0.0, 1.0);
            let id = 0x100 + 0x40 * number + draw.below(0x40) as u32;
            let mut period_ms = period_ms.unwrap_or(drawn_ms);
            if items.iter().any(|item| item.quantity.is_wheel()) {
                period_ms = period_ms.max(shortest_ms);
            }
            if let WheelForm::Pulses(teeth) = wheels {
                for item in items.iter_mut().filter(|item| item.quantity.is_wheel()) {
                    // One tooth in a period.
                    item.step = std::f64::consts::TAU / teeth / (period_ms as f64 * 1e-3);
                }
            }
            if !items.is_empty() {
                frames.push(FramePlan {
                    id,
                    period_ms,
                    phase_ms: (phase * period_ms as f64) as u64,
                    items,
                });
            }
        }
        let noise = draw.between(0.0, 1.0);
        Signals {
            frames,
            wheels,
            wheel_noise_km_per_h: 0.2 * noise * noise,
            cut_off_km_per_h: draw.one(&[0.0, 0.5, 1.0, 2.0, 3.0]),
            is_cut_off_stated: draw.chance(0.5),
            is_signed: draw.chance(0.3),
            yaw_bias_deg_per_s: draw.between(-1.0, 1.0),
            yaw_noise_deg_per_s: draw.between(0.0, 0.2),
            position_full,
            torque_from,
            jitter_s: draw.between(0.0, 2e-3),
        }
    }

    /// Whether something is sent.
    pub fn has(&self, quantity: Quantity) -> bool {
        self.period_ms(quantity).is_some()
    }

    /// How often something is sent, ms.
    pub fn period_ms(&self, quantity: Quantity) -> Option<u64> {
        let has = |frame: &&FramePlan| frame.items.iter().any(|item| item.quantity == quantity);
        self.frames.iter().find(has).map(|frame| frame.period_ms)
    }

    /// What was drawn, in a line.
    pub fn in_words(&self) -> String {
        let mut words = format!(
            "wheels {:?} noise {:.3} cut-off {} km/h, torque from {:?}, yaw bias {:.2} deg/s;",
            self.wheels,
            self.wheel_noise_km_per_h,
            self.cut_off_km_per_h,
            self.torque_from,
            self.yaw_bias_deg_per_s
        );
        for frame in &self.frames {
            let names: Vec<String> = frame
                .items
                .iter()
                .map(|item| format!("{:?}", item.quantity))
                .collect();
            words += &format!(" {} {} ms", names.join(" "), frame.period_ms);
        }
        words
    }
}
