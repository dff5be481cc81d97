//! The car of the fleet on its way, millisecond by millisecond.
//!
//! In: a [`Car`]. Out: its true state after every step, to whoever watches: the bus and the
//! witness. Two rear wheels on tyres that give way, load that moves, a pack that sticks until
//! the torque that holds it is too much for it (`crate::axle`).

use super::actuator::{Actuator, STEP_S};
use super::car::Car;
use super::controller::{Controller, TICK_S};
use super::draw::Purpose;
use crate::axle::{Axle, AxleInput, AxleParameters};
use crate::controller::Sensed;
use crate::driver::{Driver, FULL_BRAKE_M_PER_S2, Feel};
use crate::road::Road;
use crate::thermal::{Temperatures, ThermalParameters};
use halfshaft_model::constants::STANDARD_GRAVITY;

/// The car answers the steering wheel with this lag, s.
const YAW_LAG_S: f64 = 0.08;
/// The engine answers the pedal with this lag, s.
const ENGINE_LAG_S: f64 = 0.08;
/// Loads follow accelerations with this lag, s.
const LOAD_LAG_S: f64 = 0.12;
/// A tyre that corners at its limit still gives this share of its grip lengthwise.
const LEAST_GRIP_SHARE: f64 = 0.3;
/// Share of the brakes on the rear wheels.
const REAR_BRAKE_SHARE: f64 = 0.3;
/// Ratios of the gears.
const GEAR_RATIOS: [f64; 5] = [3.6, 2.1, 1.4, 1.0, 0.8];
/// Idle of the engine, rad/s.
const IDLE_RAD_PER_S: f64 = 85.0;
/// Steps between two commands, and between two steps of the temperatures.
const TICK_STEPS: u64 = (TICK_S / STEP_S) as u64;
const THERMAL_STEPS: u64 = 20;
/// Time of a swing of a car that drifts, s.
const DRIFT_S: f64 = 1.7;

/// The true state after a step.
#[derive(Clone, Copy, Debug)]
pub struct State {
    /// Time from the start, s.
    pub time_s: f64,
    /// Road speed, forward positive, m/s.
    pub speed_m_per_s: f64,
    /// Yaw rate, rad/s.
    pub yaw_rad_per_s: f64,
    /// Curvature of the path, 1/m.
    pub curvature: f64,
    /// Accelerations, m/s²: to the left, forward.
    pub accelerations: [f64; 2],
    /// Wheels, forward positive, rad/s: front left and right, rear left and right.
    pub wheels: [f64; 4],
    /// Rear wheels' difference that the bend alone makes, rad/s.
    pub bend_rad_per_s: f64,
    /// ln(ωR/ωL) of the rear tyres when rolling straight.
    pub tyre_ratio: f64,
    /// Command, 0 to 1.
    pub command: f64,
    /// The controller saves the clutch.
    pub is_cut: bool,
    /// Position, 0 to 1.
    pub position: f64,
    /// What the table gives for the position, N·m of one pack.
    pub table_nm: f64,
    /// What one pack could carry, N·m.
    pub capacity_nm: f64,
    /// Heat of all packs, W.
    pub heat_w: f64,
    /// Temperatures.
    pub temperatures: Temperatures,
    /// Pedals: throttle, brake.
    pub pedals: [f64; 2],
    /// Steering wheel, rad.
    pub steering_rad: f64,
    /// Motor current, A.
    pub current_a: f64,
    /// Supply, V.
    pub supply_v: f64,
    /// Engine: rad/s, N·m.
    pub engine: [f64; 2],
    /// Gear, −1 in reverse.
    pub gear: f64,
}

/// Runs the drive: `watch` sees the state after every millisecond.
pub fn run(car: &Car, watch: &mut dyn FnMut(u64, &State)) {
    let route = &car.route;
    let road = Road::lay(&route.pieces, &route.style, route.grip);
    let mut driver = Driver::new(route.style, car.stream(Purpose::Driver).below(u64::MAX));
    if car.body.is_automatic {
        driver = driver.with_automatic();
    }
    let mut controller = Controller::new(car.controller, car.knobs.cut, car.stream(Purpose::Fault));
    let mut actuator = Actuator::new(car.actuator, car.knobs);
    let mut on_road = OnRoad::new(car);
    let share = car.knobs.oil_share;
    let thermal = ThermalParameters {
        oil_j_per_k: car.thermal.oil_j_per_k * share,
        pack_to_oil_w_per_k: car.thermal.pack_to_oil_w_per_k * share,
        oil_to_housing_w_per_k: car.thermal.oil_to_housing_w_per_k * share,
        ..car.thermal
    };
    let mut temperatures = Temperatures::all(car.knobs.oil_start_c.unwrap_or(route.start_c));
    let mut command = 0.0;
    let (mut heat_j, mut gear_j) = (0.0, 0.0);
    let n_steps = (route.duration_s / STEP_S) as u64;
    for step in 0..n_steps {
        driver.step(&road, &on_road.feel(), STEP_S);
        if driver.has_arrived(&road) {
            break;
        }
        if step.is_multiple_of(TICK_STEPS) {
            command = controller.tick(&on_road.sensed(&driver, temperatures.oil_c));
        }
        actuator.step(command, temperatures.oil_c, step as f64 / n_steps as f64);
        let table_nm = car.pack.torque_nm(actuator.position());
        let capacity_nm =
            (table_nm * car.knobs.torque_share).max(car.knobs.drag_nm / car.pack.place.bias());
        let at_m = driver.at_m();
        on_road.step(&driver, &road, at_m, car.pack.place.bias() * capacity_nm);
        let axle = &on_road.axle;
        heat_j += axle.heat_w * STEP_S;
        let case = axle.case_speed();
        gear_j += (thermal.gear_loss_share * axle.drive_w.abs() + thermal.churn_w_s2 * case * case)
            * STEP_S;
        if step.is_multiple_of(THERMAL_STEPS) {
            let span_s = THERMAL_STEPS as f64 * STEP_S;
            temperatures.step(
                &thermal,
                heat_j / span_s,
                gear_j / span_s,
                on_road.speed,
                route.ambient_c,
                span_s,
            );
            (heat_j, gear_j) = (0.0, 0.0);
        }
        let mut state = on_road.state(&driver);
        state.time_s = step as f64 * STEP_S;
        state.command = command;
        state.is_cut = controller.cuts();
        state.position = actuator.position();
        state.table_nm = table_nm;
        state.capacity_nm = capacity_nm;
        state.temperatures = temperatures;
        let holding_a = match car.knobs.current {
            Some(times) => times * car.motor.rated_a,
            None => car.motor.holding_a,
        };
        let speed = actuator.speed_per_s;
        state.current_a = holding_a * state.position + car.motor.moving_a_s * speed;
        let sag_v = car.knobs.sag_v.unwrap_or(0.3);
        state.supply_v = car.motor.supply_v - sag_v * (speed.abs() / 1.5).min(1.0);
        watch(step, &state);
    }
}

// The car on its road.
struct OnRoad<'a> {
    car: &'a Car,
    axle: Axle,
    // Along the path, m/s.
    speed: f64,
    yaw: f64,
    curvature: f64,
    // Turns with the drift of the car, in turns.
    drift: f64,
    drive_nm: f64,
    lateral: f64,
    longitudinal: f64,
    distance_m: f64,
    tyre_ratio: f64,
    front: [f64; 2],
    is_reverse: bool,
}

fn lag(now: f64, aim: f64, lag_s: f64) -> f64 {
    now + (aim - now) * STEP_S / (lag_s + STEP_S)
}

impl OnRoad<'_> {
    fn new(car: &Car) -> OnRoad<'_> {
        let mut axle = Axle::default();
        axle.park();
        OnRoad {
            car,
            axle,
            speed: 0.0,
            yaw: 0.0,
            curvature: 0.0,
            drift: 0.0,
            drive_nm: 0.0,
            lateral: 0.0,
            longitudinal: 0.0,
            distance_m: 0.0,
            tyre_ratio: 0.0,
            front: [0.0; 2],
            is_reverse: false,
        }
    }

    fn direction(&self) -> f64 {
        if self.is_reverse { -1.0 } else { 1.0 }
    }

    fn mass_kg(&self) -> f64 {
        self.car.body.mass_kg + self.car.route.trailer_kg
    }

    fn rear_radius_m(&self) -> f64 {
        self.car.body.radius_m * (1.0 + self.car.body.wear[2])
    }

    fn full_nm(&self) -> f64 {
        let [torque_nm, power_w] = self.car.body.drive;
        torque_nm.min(power_w / self.axle.case_speed().abs().max(1.0))
    }

    fn drag_nm(&self) -> f64 {
        self.car.body.engine_drag_nm * (self.axle.case_speed().abs() / 4.0).min(1.0)
    }

    fn resistance_n(&self) -> f64 {
        let rolling = 0.013 * self.mass_kg() * STANDARD_GRAVITY;
        rolling * (self.speed / 0.2).min(1.0) + self.car.body.air_drag * self.speed * self.speed
    }

    fn feel(&self) -> Feel {
        let [left, right] = self
            .axle
            .wheel_rad_per_s
            .map(|speed| speed * self.direction());
        let radius_m = self.rear_radius_m();
        Feel {
            speed_m_per_s: self.speed,
            spin_m_per_s: left.max(right) * radius_m
                - self.speed
                - 0.5 * self.yaw.abs() * self.car.body.track_m,
            resistance_n: self.resistance_n(),
            full_throttle_n: self.full_nm() / radius_m,
            engine_drag_n: self.drag_nm() / radius_m,
            cornering: self.lateral.abs() / (self.car.route.grip * STANDARD_GRAVITY),
            mass_kg: self.mass_kg(),
        }
    }

    fn sensed(&self, driver: &Driver, oil_c: f64) -> Sensed {
        Sensed {
            speed_m_per_s: self.speed,
            throttle: driver.throttle,
            is_braking: driver.brake > 0.02,
            excess_rad_per_s: self.axle.difference() - self.bend_rad_per_s(),
            oil_c,
        }
    }

    fn bend_rad_per_s(&self) -> f64 {
        self.car.body.track_m * self.yaw / self.rear_radius_m()
    }

    // Loads of the rear tyres, N: to the outside in a bend, to the rear under power.
    fn loads_n(&self) -> [f64; 2] {
        let body = &self.car.body;
        let pitch = body.mass_kg * self.longitudinal * body.gravity_height_m / body.wheelbase_m;
        // A trailer's tongue weighs a tenth of it.
        let axle_n = (body.rear_share * body.mass_kg + 0.1 * self.car.route.trailer_kg)
            * STANDARD_GRAVITY
            + pitch;
        let roll = body.rear_roll_share * body.mass_kg * self.lateral * body.gravity_height_m
            / body.track_m;
        [0.5 * axle_n - roll, 0.5 * axle_n + roll].map(|load| load.max(0.02 * axle_n))
    }

    fn step(&mut self, driver: &Driver, road: &Road, at_m: f64, bias_capacity_nm: f64) {
        let car = self.car;
        let body = &car.body;
        if driver.is_waiting() {
            self.axle.park();
            (self.speed, self.yaw, self.drive_nm) = (0.0, 0.0, 0.0);
            (self.lateral, self.longitudinal) = (0.0, 0.0);
            self.front = [0.0; 2];
            return;
        }
        self.is_reverse = car
            .route
            .reverse_m
            .iter()
            .any(|&[start, end]| start <= at_m && at_m < end);
        let direction = self.direction();
        self.curvature = road.curvature(at_m) + driver.lane_per_m();
        let mut aim = self.curvature * self.speed;
        if car.route.drift_yaw > 0.0 && self.curvature.abs() > 0.01 {
            self.drift += STEP_S / DRIFT_S;
            aim += car.route.drift_yaw * (std::f64::consts::TAU * self.drift).sin();
        }
        self.yaw = lag(self.yaw, aim, YAW_LAG_S);
        self.distance_m += self.speed * STEP_S;
        let lost = car.knobs.leak.map_or(0.0, |(share, over_m)| {
            share * ((self.distance_m - 1500.0) / over_m).clamp(0.0, 1.0)
        });
        self.tyre_ratio = body.tyre_ratio + car.knobs.tyre_ratio + lost;
        let loads = self.loads_n();
        let still = 0.5 * body.rear_share * body.mass_kg * STANDARD_GRAVITY;
        let squat = loads.map(|load| 1.0 - body.per_load * (load / still - 1.0));
        let half_ratio = 0.5 * (body.tyre_ratio + car.knobs.tyre_ratio);
        let radius_m = self.rear_radius_m();
        let parameters = AxleParameters {
            radius_m: [
                radius_m * (1.0 + half_ratio) * squat[0],
                radius_m * (1.0 - half_ratio - lost) * squat[1],
            ],
            tyre_stiffness_n: body.tyre_stiffness_n,
            wheel_inertia_kg_m2: body.wheel_inertia,
            case_inertia_kg_m2: body.case_inertia,
        };
        let ground = road.grip(at_m);
        let grip_n = [0, 1].map(|side| {
            let friction: f64 = car.route.grip * ground[side];
            let used = self.lateral / (friction * STANDARD_GRAVITY);
            let share = (1.0 - used * used)
                .max(LEAST_GRIP_SHARE * LEAST_GRIP_SHARE)
                .sqrt();
            friction * share * loads[side]
        });
        let asked = driver.throttle * self.full_nm() - (1.0 - driver.throttle) * self.drag_nm();
        self.drive_nm = lag(self.drive_nm, asked, ENGINE_LAG_S);
        let half_m_per_s = 0.5 * body.track_m * self.yaw;
        let forward = direction * self.speed;
        let brake_n = driver.brake * FULL_BRAKE_M_PER_S2 * self.mass_kg();
        self.axle.step(
            &parameters,
            &AxleInput {
                drive_torque_nm: direction * self.drive_nm,
                road_m_per_s: [forward - half_m_per_s, forward + half_m_per_s],
                grip_n,
                brake_torque_nm: 0.5 * REAR_BRAKE_SHARE * brake_n * radius_m,
                bias_capacity_nm,
            },
            STEP_S,
        );
        let rear_n = direction * (self.axle.force_n[0] + self.axle.force_n[1]);
        let limit_n = 0.6 * car.route.grip * self.mass_kg() * STANDARD_GRAVITY;
        let front_n =
            ((1.0 - REAR_BRAKE_SHARE) * brake_n).min(limit_n) * (self.speed / 0.1).min(1.0);
        let acceleration = (rear_n - front_n - self.resistance_n()) / self.mass_kg();
        self.speed = (self.speed + acceleration * STEP_S).max(0.0);
        self.longitudinal = lag(self.longitudinal, direction * acceleration, LOAD_LAG_S);
        self.lateral = lag(self.lateral, forward * self.yaw, LOAD_LAG_S);
        self.front = self.fronts(forward, half_m_per_s);
    }

    // The front wheels roll the way they are steered: each its own way on its own circle.
    fn fronts(&self, forward: f64, half_m_per_s: f64) -> [f64; 2] {
        let body = &self.car.body;
        let across = body.wheelbase_m * self.yaw;
        let half = half_m_per_s * body.front_track_m / body.track_m;
        [(-half, body.wear[0]), (half, body.wear[1])].map(|(side, wear)| {
            let along = forward + side;
            let speed = (along * along + across * across).sqrt();
            speed * along.signum() / (body.radius_m * (1.0 + wear))
        })
    }

    fn state(&self, driver: &Driver) -> State {
        let car = self.car;
        let direction = self.direction();
        let gear = driver.gear();
        let ratio = GEAR_RATIOS[(gear - 1).min(GEAR_RATIOS.len() - 1)] * car.body.final_ratio;
        let [left, right] = self.axle.wheel_rad_per_s;
        let road_wheel = (car.body.wheelbase_m * self.curvature).atan() * direction;
        State {
            time_s: 0.0,
            speed_m_per_s: direction * self.speed,
            yaw_rad_per_s: self.yaw,
            curvature: self.curvature,
            accelerations: [self.lateral, self.longitudinal],
            wheels: [self.front[0], self.front[1], left, right],
            bend_rad_per_s: self.bend_rad_per_s(),
            tyre_ratio: self.tyre_ratio,
            command: 0.0,
            is_cut: false,
            position: 0.0,
            table_nm: 0.0,
            capacity_nm: 0.0,
            heat_w: self.axle.heat_w,
            temperatures: Temperatures::all(0.0),
            pedals: [driver.throttle, driver.brake],
            steering_rad: car.body.steering_ratio * (road_wheel + 0.0025 * self.lateral),
            current_a: 0.0,
            supply_v: 0.0,
            engine: [
                (self.axle.case_speed().abs() * ratio).max(IDLE_RAD_PER_S),
                self.drive_nm / ratio,
            ],
            gear: if self.is_reverse { -1.0 } else { gear as f64 },
        }
    }
}
