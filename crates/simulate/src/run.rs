//! The drive itself, millisecond by millisecond.
//!
//! In: a [`Scenario`]. Out: its frames, in time order, into the caller's sink, and its
//! [`Truth`].

use crate::actuator::{Actuator, Surroundings};
use crate::axle::{Axle, AxleInput, AxleParameters};
use crate::bus::{Bus, COMMAND_PHASE, FrameOut, Seen};
use crate::controller::{Controller, Sensed};
use crate::driver::{Driver, FULL_BRAKE_M_PER_S2, Feel};
use crate::faults::Faults;
use crate::moment::Moment;
use crate::road::Road;
use crate::scenario::Scenario;
use crate::thermal::Temperatures;
use crate::truth::{Truth, Witness};
use crate::unit_truth::{UnitMoment, UnitWitness};
use crate::vehicle::VehicleTrue;
use crate::wave::sine;
use halfshaft_model::Layout;
use halfshaft_model::constants::STANDARD_GRAVITY;

/// Length of a step, s.
const STEP_S: f64 = 1e-3;
/// Temperatures are stepped every so many steps.
const THERMAL_STEPS: u64 = 20;
/// The car answers the steering wheel with this lag, s.
const YAW_LAG_S: f64 = 0.08;
/// The engine answers the pedal with this lag, s.
const ENGINE_LAG_S: f64 = 0.07;
/// Loads follow accelerations with this lag, s.
const LOAD_LAG_S: f64 = 0.12;
/// A tyre that corners at its limit still gives this share of its grip lengthwise.
const LEAST_GRIP_SHARE: f64 = 0.3;
/// Share of the brakes that acts on the rear wheels.
const REAR_BRAKE_SHARE: f64 = 0.3;
/// Front brakes fade out below this speed, m/s.
const BRAKE_FADE_M_PER_S: f64 = 0.1;
/// Ratios of the gears, engine over the final drive's input.
const GEAR_RATIOS: [f64; 5] = [3.6, 2.1, 1.4, 1.0, 0.8];
/// Idle speed of the engine, rad/s.
const ENGINE_IDLE_RAD_PER_S: f64 = 85.0;
/// Below this speed of the case the engine drags and pushes in proportion, rad/s.
const IDLE_RAD_PER_S: f64 = 4.0;

struct Car<'a> {
    vehicle: &'a VehicleTrue,
    faults: &'a Faults,
    parameters: AxleParameters,
    axle: Axle,
    speed_m_per_s: f64,
    yaw_rad_per_s: f64,
    drive_torque_nm: f64,
    lateral_m_per_s2: f64,
    longitudinal_m_per_s2: f64,
    distance_m: f64,
    tyre_mismatch: f64,
    is_towed: bool,
    judder_turns: f64,
    // Axle speed difference that judder lays over the axle's own, rad/s.
    judder_rad_per_s: f64,
    rear_turned_rad: [f64; 2],
}

/// Simulates a drive: calls `sink` with every frame in time order and gives the truth.
pub fn run(scenario: &Scenario, sink: &mut dyn FnMut(FrameOut)) -> Truth {
    let vehicle = &scenario.vehicle;
    let road = Road::lay(&scenario.pieces, &scenario.style, vehicle.grip);
    let torque_table = vehicle.torque_table();
    let (slip_factor, bias_factor) = match vehicle.layout {
        Layout::CaseToOneSide | Layout::Geared { .. } => (0.5, 1.0),
        Layout::CaseToBothSides => (0.5, 2.0),
        Layout::ShaftToShaft => (1.0, 2.0),
    };
    let tick = u64::from(scenario.rates.command_ms.max(1));
    let faults = &scenario.faults;
    let mut driver = Driver::new(scenario.style, scenario.seed);
    if vehicle.is_automatic {
        driver = driver.with_automatic();
    }
    let mut controller = Controller::new(vehicle.strategy).with_faults(faults.controller);
    let mut actuator =
        Actuator::new(vehicle.actuator, STEP_S).with_faults(faults.actuator, scenario.seed);
    let mut car = Car::new(vehicle, faults);
    let mut temperatures = Temperatures::all(scenario.start_c);
    let mut witness = Witness::new(vehicle, faults, STEP_S);
    let mut unit_witness = scenario
        .tells_unit
        .then(|| UnitWitness::new(scenario, STEP_S));
    let mut bus = Bus::new(scenario);
    let mut command = 0.0;
    let (mut pack_heat_j, mut gear_heat_j) = (0.0, 0.0);
    let n_steps = (scenario.longest_s / STEP_S) as u64;

    for step in 0..n_steps {
        let time_s = step as f64 * STEP_S;
        driver.step(&road, &car.feel(), STEP_S);
        if driver.has_arrived(&road) {
            break;
        }
        if step % tick == COMMAND_PHASE % tick {
            let sensed = car.sensed(&driver, temperatures.oil_c);
            command = controller.tick(&sensed, tick as f64 * STEP_S);
            witness.command(time_s, command);
        }
        let around = Surroundings {
            time_s,
            oil_c: temperatures.oil_c,
            supply_v: vehicle.supply_v,
        };
        actuator.step(command, &around, STEP_S);
        let table_nm = torque_table.at(actuator.position(), None).unwrap_or(0.0);
        let pack = &faults.pack;
        let drag_nm = if time_s >= pack.drag_from_s {
            pack.drag_torque_nm
        } else {
            0.0
        };
        let capacity_nm = (table_nm * pack.torque_share).max(drag_nm);
        let curvature = road.curvature(driver.at_m()) + driver.lane_per_m();
        car.is_towed = road.is_towed(driver.at_m());
        car.step(
            &driver,
            curvature,
            road.grip(driver.at_m()),
            bias_factor * capacity_nm,
        );
        car.judder(capacity_nm, slip_factor);

        let heat_w = car.axle.heat_w;
        pack_heat_j += heat_w * STEP_S;
        gear_heat_j += car.gear_heat_w() * STEP_S;
        if step % THERMAL_STEPS == 0 {
            let span_s = THERMAL_STEPS as f64 * STEP_S;
            temperatures.step(
                &vehicle.thermal,
                pack_heat_j / span_s,
                gear_heat_j / span_s,
                car.speed_m_per_s,
                scenario.ambient_c,
                span_s,
            );
            (pack_heat_j, gear_heat_j) = (0.0, 0.0);
        }
        let [left, right] = car.rear_rad_per_s();
        let moment = Moment {
            time_s,
            speed_m_per_s: car.speed_m_per_s,
            yaw_rad_per_s: car.yaw_rad_per_s,
            wheel_rad_per_s: [left, right],
            slip_rad_per_s: slip_factor * (right - left),
            capacity_nm,
            is_stuck: car.axle.is_stuck,
            heat_w,
            command,
            oil_c: temperatures.oil_c,
            pack_c: temperatures.pack_c,
            tyre_mismatch: car.tyre_mismatch,
        };
        witness.step(&moment);
        if let Some(unit_witness) = &mut unit_witness {
            unit_witness.step(&UnitMoment {
                moment,
                throttle: car.throttle(&driver),
                position: actuator.position(),
                lag_s: actuator.lag_s(),
                sag_v: if actuator.is_moving() {
                    actuator.sag_v()
                } else {
                    0.0
                },
                axle_power_w: car.axle.drive_w,
                gear_heat_w: car.gear_heat_w(),
                is_juddering: car.judder_rad_per_s != 0.0,
            });
        }
        let mut seen = car.seen(step, &driver, &actuator, command, curvature, &temperatures);
        seen.reported_torque_nm = table_nm * faults.reported_torque_share;
        bus.step(&seen, sink);
    }
    let (duration_s, n_frames) = bus.close(sink);
    let mut truth = witness.truth(scenario, duration_s, n_frames);
    truth.unit = unit_witness.map(|unit_witness| unit_witness.truth(scenario, &truth.events));
    truth
}

impl Car<'_> {
    fn new<'a>(vehicle: &'a VehicleTrue, faults: &'a Faults) -> Car<'a> {
        let parameters = AxleParameters {
            radius_m: vehicle.rear_radius_m(),
            tyre_stiffness_n: vehicle.tyre_stiffness_n,
            wheel_inertia_kg_m2: vehicle.wheel_inertia_kg_m2,
            case_inertia_kg_m2: vehicle.case_inertia_kg_m2,
        };
        let mut axle = Axle::default();
        axle.park();
        Car {
            vehicle,
            faults,
            parameters,
            axle,
            speed_m_per_s: 0.0,
            yaw_rad_per_s: 0.0,
            drive_torque_nm: 0.0,
            lateral_m_per_s2: 0.0,
            longitudinal_m_per_s2: 0.0,
            distance_m: 0.0,
            tyre_mismatch: vehicle.tyre_mismatch,
            is_towed: false,
            judder_turns: 0.0,
            judder_rad_per_s: 0.0,
            rear_turned_rad: [0.0; 2],
        }
    }

    // Wheel speeds with what judder lays over them.
    fn rear_rad_per_s(&self) -> [f64; 2] {
        let [left, right] = self.axle.wheel_rad_per_s;
        let half = 0.5 * self.judder_rad_per_s;
        [left - half, right + half]
    }

    fn throttle(&self, driver: &Driver) -> f64 {
        if self.is_towed { 0.0 } else { driver.throttle }
    }

    fn judder(&mut self, capacity_nm: f64, slip_factor: f64) {
        self.judder_rad_per_s = 0.0;
        let Some(judder) = self.faults.pack.judder else {
            return;
        };
        let is_on = capacity_nm > judder.from_torque_nm
            && self.axle.difference().abs() > judder.from_difference_rad_per_s
            && self.speed_m_per_s < judder.below_m_per_s;
        if !is_on {
            self.judder_turns = 0.0;
            return;
        }
        self.judder_turns += judder.frequency_hz * STEP_S;
        let slip_rad_per_s = judder.amplitude_rad_per_s * sine(self.judder_turns);
        self.judder_rad_per_s = slip_rad_per_s / slip_factor;
    }

    fn full_torque_nm(&self) -> f64 {
        let case = self.axle.case_speed().max(1.0);
        self.vehicle
            .drive_torque_nm
            .min(self.vehicle.drive_power_w / case)
    }

    fn drag_torque_nm(&self) -> f64 {
        self.vehicle.engine_drag_nm * (self.axle.case_speed() / IDLE_RAD_PER_S).clamp(0.0, 1.0)
    }

    fn resistance_n(&self) -> f64 {
        let rolling = self.vehicle.rolling_resistance * self.vehicle.mass_kg * STANDARD_GRAVITY;
        let air = self.vehicle.air_drag_n_s2_per_m2 * self.speed_m_per_s * self.speed_m_per_s;
        rolling * (self.speed_m_per_s / 0.2).min(1.0) + air
    }

    fn feel(&self) -> Feel {
        let [left, right] = self.axle.wheel_rad_per_s;
        Feel {
            speed_m_per_s: self.speed_m_per_s,
            spin_m_per_s: left.max(right) * self.vehicle.radius_m - self.speed_m_per_s,
            resistance_n: self.resistance_n(),
            full_throttle_n: self.full_torque_nm() / self.vehicle.radius_m,
            engine_drag_n: self.drag_torque_nm() / self.vehicle.radius_m,
            cornering: self.lateral_m_per_s2.abs() / (self.vehicle.grip * STANDARD_GRAVITY),
            mass_kg: self.vehicle.mass_kg,
        }
    }

    fn sensed(&self, driver: &Driver, oil_c: f64) -> Sensed {
        let own = self.vehicle.track_rear_m * self.yaw_rad_per_s / self.vehicle.radius_m;
        Sensed {
            speed_m_per_s: self.speed_m_per_s,
            throttle: self.throttle(driver),
            is_braking: driver.brake > 0.02,
            excess_rad_per_s: self.axle.difference() - own,
            oil_c,
        }
    }

    fn gear_heat_w(&self) -> f64 {
        let thermal = &self.vehicle.thermal;
        let case = self.axle.case_speed();
        thermal.gear_loss_share * self.axle.drive_w.abs() + thermal.churn_w_s2 * case * case
    }

    // Greatest lengthwise force of the rear tyres: load moves to the outside in a bend and
    // to the rear under power, and cornering takes its part of the grip.
    fn grip_n(&self, ground: [f64; 2]) -> [f64; 2] {
        let vehicle = self.vehicle;
        let pitch = vehicle.mass_kg * self.longitudinal_m_per_s2 * vehicle.gravity_height_m
            / vehicle.wheelbase_m;
        let axle_n = vehicle.rear_share * vehicle.mass_kg * STANDARD_GRAVITY + pitch;
        let roll = vehicle.rear_roll_share
            * vehicle.mass_kg
            * self.lateral_m_per_s2
            * vehicle.gravity_height_m
            / vehicle.track_rear_m;
        // Turning left, the right wheel is the loaded one.
        let load = [0.5 * axle_n - roll, 0.5 * axle_n + roll];
        let mut grip = [0.0; 2];
        for side in 0..2 {
            let friction = vehicle.grip * ground[side];
            let used = self.lateral_m_per_s2 / (friction * STANDARD_GRAVITY);
            let share = (1.0 - used * used)
                .max(LEAST_GRIP_SHARE * LEAST_GRIP_SHARE)
                .sqrt();
            grip[side] = friction * share * load[side].max(0.02 * axle_n);
        }
        grip
    }

    fn step(&mut self, driver: &Driver, curvature: f64, ground: [f64; 2], bias_capacity_nm: f64) {
        let vehicle = self.vehicle;
        if driver.is_waiting() {
            self.park();
            return;
        }
        let lag = |now: f64, aim: f64, lag_s: f64| now + (aim - now) * STEP_S / (lag_s + STEP_S);
        self.yaw_rad_per_s = lag(
            self.yaw_rad_per_s,
            curvature * self.speed_m_per_s,
            YAW_LAG_S,
        );
        self.distance_m += self.speed_m_per_s * STEP_S;
        if let Some(leak) = &self.faults.wheels.leak {
            self.tyre_mismatch = vehicle.tyre_mismatch + leak.at(self.distance_m);
            let half = 0.5 * self.tyre_mismatch;
            self.parameters.radius_m =
                [1.0 + half, 1.0 - half].map(|share| vehicle.radius_m * share);
        }
        if self.is_towed {
            self.tow(driver, bias_capacity_nm);
            return;
        }
        let asked = driver.throttle * self.full_torque_nm()
            - (1.0 - driver.throttle) * self.drag_torque_nm();
        self.drive_torque_nm = lag(self.drive_torque_nm, asked, ENGINE_LAG_S);

        let half_track = 0.5 * vehicle.track_rear_m * self.yaw_rad_per_s;
        let brake_n = driver.brake * FULL_BRAKE_M_PER_S2 * vehicle.mass_kg;
        let input = AxleInput {
            drive_torque_nm: self.drive_torque_nm,
            road_m_per_s: [
                self.speed_m_per_s - half_track,
                self.speed_m_per_s + half_track,
            ],
            grip_n: self.grip_n(ground),
            brake_torque_nm: 0.5 * REAR_BRAKE_SHARE * brake_n * vehicle.radius_m,
            bias_capacity_nm,
        };
        self.axle.step(&self.parameters, &input, STEP_S);

        let front_brake_n = (1.0 - REAR_BRAKE_SHARE) * brake_n * self.speed_m_per_s
            / (self.speed_m_per_s + BRAKE_FADE_M_PER_S);
        let force =
            self.axle.force_n[0] + self.axle.force_n[1] - front_brake_n - self.resistance_n();
        let acceleration = force / vehicle.mass_kg;
        self.speed_m_per_s = (self.speed_m_per_s + acceleration * STEP_S).max(0.0);
        self.longitudinal_m_per_s2 = lag(self.longitudinal_m_per_s2, acceleration, LOAD_LAG_S);
        let lateral = self.speed_m_per_s * self.yaw_rad_per_s;
        self.lateral_m_per_s2 = lag(self.lateral_m_per_s2, lateral, LOAD_LAG_S);
    }

    // The car ahead pulls and brakes as the driver would; the left rear wheel stands on the
    // dolly and the right one rolls.
    fn tow(&mut self, driver: &Driver, bias_capacity_nm: f64) {
        let mass_kg = self.vehicle.mass_kg;
        let pull = driver.throttle * self.full_torque_nm() / self.vehicle.radius_m
            - driver.brake * FULL_BRAKE_M_PER_S2 * mass_kg;
        let acceleration = (pull - self.resistance_n()) / mass_kg;
        self.speed_m_per_s = (self.speed_m_per_s + acceleration * STEP_S).max(0.0);
        let half_track = 0.5 * self.vehicle.track_rear_m * self.yaw_rad_per_s;
        let rolls = (self.speed_m_per_s + half_track) / self.parameters.radius_m[1];
        self.axle.park();
        self.axle.is_stuck = rolls == 0.0;
        self.axle.wheel_rad_per_s = [0.0, rolls];
        self.axle.bias_nm = bias_capacity_nm;
        self.axle.heat_w = 0.5 * bias_capacity_nm * rolls.abs();
        self.drive_torque_nm = 0.0;
        self.lateral_m_per_s2 = self.speed_m_per_s * self.yaw_rad_per_s;
        self.longitudinal_m_per_s2 = acceleration;
    }

    fn park(&mut self) {
        self.axle.park();
        self.speed_m_per_s = 0.0;
        self.yaw_rad_per_s = 0.0;
        self.drive_torque_nm = 0.0;
        self.lateral_m_per_s2 = 0.0;
        self.longitudinal_m_per_s2 = 0.0;
    }

    // Speed and torque of the engine, rad/s and N·m, and the gear.
    fn engine(&self, driver: &Driver) -> (f64, f64, i8) {
        if self.is_towed {
            return (0.0, 0.0, 0);
        }
        let gear = driver.gear();
        let ratio = GEAR_RATIOS[(gear - 1).min(GEAR_RATIOS.len() - 1)] * self.vehicle.final_ratio;
        let speed = (self.axle.case_speed() * ratio).max(ENGINE_IDLE_RAD_PER_S);
        (speed, self.drive_torque_nm / ratio, gear as i8)
    }

    fn seen(
        &mut self,
        step: u64,
        driver: &Driver,
        actuator: &Actuator,
        command: f64,
        curvature: f64,
        temperatures: &Temperatures,
    ) -> Seen {
        let vehicle = self.vehicle;
        let rear_rad_per_s = self.rear_rad_per_s();
        for (turned, speed) in self.rear_turned_rad.iter_mut().zip(rear_rad_per_s) {
            *turned += speed * STEP_S;
        }
        let (engine_rad_per_s, engine_torque_nm, gear) = self.engine(driver);
        let front_share = 1.0 + self.faults.wheels.front_faster;
        let half_front = 0.5 * vehicle.track_front_m * self.yaw_rad_per_s;
        let road_wheel = vehicle.wheelbase_m * curvature
            + vehicle.understeer_rad_s2_per_m * self.lateral_m_per_s2;
        Seen {
            step,
            rear_rad_per_s,
            rear_turned_rad: self.rear_turned_rad,
            front_rad_per_s: [
                (self.speed_m_per_s - half_front) / vehicle.radius_m * front_share,
                (self.speed_m_per_s + half_front) / vehicle.radius_m * front_share,
            ],
            command,
            position: actuator.position(),
            yaw_rad_per_s: self.yaw_rad_per_s,
            lateral_m_per_s2: self.lateral_m_per_s2,
            longitudinal_m_per_s2: self.longitudinal_m_per_s2,
            steering_rad: vehicle.steering_ratio * road_wheel,
            throttle: self.throttle(driver),
            brake: if self.is_towed { 0.0 } else { driver.brake },
            current_a: actuator.current_a(),
            oil_c: temperatures.oil_c,
            housing_c: temperatures.housing_c,
            engine_rad_per_s,
            engine_torque_nm,
            gear,
            reported_torque_nm: 0.0,
        }
    }
}
