//! A car of the fleet: body, tyres, axle, pack, temperatures, as they truly are.
//!
//! In: streams of random numbers. Out: [`Car`], with everything that was drawn for it.

use super::actuator;
use super::controller;
use super::draw::{Draw, Purpose};
use super::fault::{Fault, Form, Knobs};
use super::route::{KINDS, Kind, Route};
use super::signals::Signals;
use crate::thermal::ThermalParameters;

/// Where the pack sits.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Place {
    /// Between case and one side gear.
    OneSide,
    /// Two packs, between case and both side gears.
    BothSides,
    /// Between the shafts.
    Shafts,
    /// Geared: slip per axle speed difference. Torque twists the axle by twice as much, so that
    /// what goes in comes out or becomes heat.
    Geared {
        /// Slip of the pack per axle speed difference.
        slip: f64,
        /// Whether the owner knows it.
        is_stated: bool,
    },
}

impl Place {
    /// In a word.
    pub fn word(self) -> &'static str {
        match self {
            Place::OneSide => "one side",
            Place::BothSides => "both sides",
            Place::Shafts => "shafts",
            Place::Geared {
                is_stated: true, ..
            } => "geared",
            Place::Geared { .. } => "geared, not stated",
        }
    }

    /// Slip of a pack per axle speed difference.
    pub fn slip(self) -> f64 {
        match self {
            Place::OneSide | Place::BothSides => 0.5,
            Place::Shafts => 1.0,
            Place::Geared { slip, .. } => slip,
        }
    }

    /// Axle bias per torque of one pack.
    pub fn bias(self) -> f64 {
        match self {
            Place::OneSide => 1.0,
            Place::BothSides | Place::Shafts => 2.0,
            Place::Geared { slip, .. } => 2.0 * slip,
        }
    }

    /// Number of packs.
    pub fn n_packs(self) -> f64 {
        if self == Place::BothSides { 2.0 } else { 1.0 }
    }
}

/// Body and tyres.
#[derive(Clone, Copy, Debug)]
pub struct Body {
    /// Mass, kg.
    pub mass_kg: f64,
    /// Distance between the axles, m.
    pub wheelbase_m: f64,
    /// Share of the weight on the rear axle.
    pub rear_share: f64,
    /// Height of the centre of gravity, m.
    pub gravity_height_m: f64,
    /// Share of the lateral load transfer that the rear axle takes.
    pub rear_roll_share: f64,
    /// Rear track, m.
    pub track_m: f64,
    /// Front track, m.
    pub front_track_m: f64,
    /// Radius the car divides by, m.
    pub radius_m: f64,
    /// True radius of new and worn tyres as a share of it: front left and right, rear.
    pub wear: [f64; 3],
    /// ln(ωR/ωL) of the rear tyres.
    pub tyre_ratio: f64,
    /// Radius lost, as a share, when the load of a tyre doubles.
    pub per_load: f64,
    /// Stiffness of a tyre, N per unit slip.
    pub tyre_stiffness_n: f64,
    /// Inertia of a wheel, kg·m².
    pub wheel_inertia: f64,
    /// Inertia at the case, kg·m².
    pub case_inertia: f64,
    /// Greatest torque at the case, N·m, and power, W.
    pub drive: [f64; 2],
    /// Drag of the engine at the case, N·m.
    pub engine_drag_nm: f64,
    /// Air drag, N·s²/m².
    pub air_drag: f64,
    /// Final drive.
    pub final_ratio: f64,
    /// Steering wheel per road wheel.
    pub steering_ratio: f64,
    /// A gearbox that shifts without a lift.
    pub is_automatic: bool,
}

/// The pack.
#[derive(Clone, Copy, Debug)]
pub struct Pack {
    /// Place.
    pub place: Place,
    /// Torque at rest, N·m.
    pub preload_nm: f64,
    /// Torque of one pack when full, N·m.
    pub full_nm: f64,
    /// Torque above preload goes with this power of the position: 1 or 2.
    pub is_curved: bool,
    /// Friction faces.
    pub n_faces: f64,
    /// Radii of the lining, m.
    pub radii_m: [f64; 2],
    /// Share of grooves.
    pub groove_share: f64,
    /// Friction.
    pub friction: f64,
}

impl Pack {
    /// Torque of one pack at a position, N·m.
    pub fn torque_nm(&self, position: f64) -> f64 {
        let share = position.clamp(0.0, 1.0);
        let share = if self.is_curved {
            0.35 * share + 0.65 * share * share
        } else {
            share
        };
        self.preload_nm + (self.full_nm - self.preload_nm) * share
    }

    /// Net lining area of a pack, mm².
    pub fn area_mm2(&self) -> f64 {
        let [outer, inner] = self.radii_m.map(|radius_m| radius_m * 1e3);
        let ring = std::f64::consts::PI * (outer * outer - inner * inner);
        self.n_faces * ring * (1.0 - self.groove_share)
    }

    /// Torque per clamp force, m: friction, faces and mean radius at even pressure.
    pub fn torque_per_force_m(&self) -> f64 {
        let [outer, inner] = self.radii_m;
        let mean = 2.0 / 3.0 * (outer.powi(3) - inner.powi(3)) / (outer.powi(2) - inner.powi(2));
        self.friction * self.n_faces * mean
    }
}

/// The motor and its supply.
#[derive(Clone, Copy, Debug)]
pub struct Motor {
    /// Current that holds full, A.
    pub holding_a: f64,
    /// Current per speed, A·s.
    pub moving_a_s: f64,
    /// Supply, V.
    pub supply_v: f64,
    /// Rated current, A.
    pub rated_a: f64,
}

/// Everything of one car and drive.
#[derive(Clone, Debug)]
pub struct Car {
    /// Seed of the fleet.
    pub seed: u64,
    /// Number in the fleet.
    pub number: u64,
    /// Which of its drives: 0, or an earlier one.
    pub drive: u64,
    /// What is wrong, if anything.
    pub fault: Option<(Fault, Form)>,
    /// What that does to the plant.
    pub knobs: Knobs,
    /// Body.
    pub body: Body,
    /// Pack.
    pub pack: Pack,
    /// Motor.
    pub motor: Motor,
    /// Actuator.
    pub actuator: actuator::Build,
    /// Controller.
    pub controller: controller::Build,
    /// Temperatures.
    pub thermal: ThermalParameters,
    /// Road.
    pub route: Route,
    /// What is on the bus.
    pub signals: Signals,
}

impl Car {
    /// A healthy car on a road that is drawn as well.
    pub fn healthy(seed: u64, number: u64) -> Car {
        Car::draw(seed, number, None, None)
    }

    /// A healthy car on a road of this kind.
    pub fn healthy_on(seed: u64, number: u64, kind: Kind) -> Car {
        Car::draw(seed, number, None, Some(kind))
    }

    /// A car with a fault, in town or on the track.
    pub fn ill(seed: u64, number: u64, fault: Fault, form: Form, is_track: bool) -> Car {
        let kind = if is_track { Kind::Track } else { Kind::Town };
        Car::draw(seed, number, Some((fault, form)), Some(kind))
    }

    /// The same car and drive without its fault.
    pub fn without_fault(&self) -> Car {
        Car {
            fault: None,
            knobs: Knobs::NONE,
            ..self.clone()
        }
    }

    /// An earlier drive of the same car, before its fault, on a road of the same kind.
    pub fn earlier(&self, drive: u64) -> Car {
        let mut car = Car {
            drive,
            ..self.without_fault()
        };
        let mut route = Route::draw(&mut car.stream(Purpose::Road), self.route.kind);
        route.duration_s = route.duration_s.max(420.0);
        car.route = route;
        car
    }

    fn draw(seed: u64, number: u64, fault: Option<(Fault, Form)>, kind: Option<Kind>) -> Car {
        let stream = |purpose| Draw::new(seed, number, purpose);
        let mut road = stream(Purpose::Road);
        let drawn = road.one(&KINDS);
        let mut route = Route::draw(&mut road, kind.unwrap_or(drawn));
        if fault.is_some() {
            // Long enough for a fault to show.
            route.duration_s = route.duration_s.max(420.0);
        }
        let mut body_draw = stream(Purpose::Body);
        let body = body(&mut body_draw);
        let pack = pack(&mut body_draw);
        let thermal = thermal(&mut body_draw);
        let mut actuator_draw = stream(Purpose::Actuator);
        let actuator = actuator::Build::draw(&mut actuator_draw);
        let motor = motor(&mut actuator_draw);
        let controller = controller::Build::draw(&mut stream(Purpose::Controller), fault.is_some());
        let signals = Signals::draw(&mut stream(Purpose::Bus), fault.map(|(fault, _)| fault));
        let knobs = fault.map_or(Knobs::NONE, |(fault, form)| Knobs::of(fault, form));
        Car {
            seed,
            number,
            drive: 0,
            fault,
            knobs,
            body,
            pack,
            motor,
            actuator,
            controller,
            thermal,
            route,
            signals,
        }
    }

    /// A stream of random numbers of this drive.
    pub fn stream(&self, purpose: Purpose) -> Draw {
        Draw::new(self.seed, self.number + (self.drive << 32), purpose)
    }

    /// What was drawn, in a line.
    pub fn in_words(&self) -> String {
        let kind = self.route.kind;
        let fault = match self.fault {
            Some((fault, form)) => format!("{} {form:?}, ", fault.word()),
            None => String::new(),
        };
        format!(
            "{fault}{kind:?} {:.0} s {:.0} degC grip {:.2}, {:?} x{:.1}, {} preload {:.0} full {:.0} N.m, \
             dead {:.0} ms lags {:.0}+{:.0} ms release x{:.1} cold {:.3}, Cx {:.0} kN, {}",
            self.route.duration_s,
            self.route.ambient_c,
            self.route.grip,
            self.controller.idea,
            self.controller.per_pedal,
            self.pack.place.word(),
            self.pack.preload_nm,
            self.pack.full_nm,
            self.actuator.dead_s * 1e3,
            self.actuator.lags_s[0] * 1e3,
            self.actuator.lags_s[1] * 1e3,
            self.actuator.release,
            self.actuator.per_k_cold,
            self.body.tyre_stiffness_n / 1e3,
            self.signals.in_words(),
        )
        .to_lowercase()
    }
}

fn body(draw: &mut Draw) -> Body {
    let mass_kg = draw.between(1000.0, 2300.0);
    let track_m = draw.between(1.42, 1.68);
    let power_w = draw.between(80e3, 330e3);
    let wear = draw.between(-0.01, 0.004);
    let front = wear - draw.between(0.0, 0.008);
    let left_right = 0.0015 * draw.normal();
    Body {
        mass_kg,
        wheelbase_m: draw.between(2.4, 3.0),
        rear_share: draw.between(0.44, 0.55),
        gravity_height_m: draw.between(0.45, 0.65),
        rear_roll_share: draw.between(0.4, 0.55),
        track_m,
        front_track_m: track_m + draw.between(-0.03, 0.02),
        radius_m: draw.between(0.29, 0.37),
        wear: [front + left_right, front - left_right, wear],
        tyre_ratio: (0.0013 * draw.normal()).clamp(-0.003, 0.003),
        per_load: draw.between(0.001, 0.008),
        tyre_stiffness_n: draw.between(50e3, 130e3),
        wheel_inertia: draw.between(0.9, 1.8),
        case_inertia: draw.between(2.0, 6.0),
        drive: [power_w / 75.0, power_w],
        engine_drag_nm: draw.between(100.0, 250.0),
        air_drag: draw.between(0.3, 0.5),
        final_ratio: draw.between(2.8, 4.1),
        steering_ratio: draw.between(12.0, 17.0),
        is_automatic: draw.chance(0.5),
    }
}

fn pack(draw: &mut Draw) -> Pack {
    let place = match draw.below(8) {
        0 | 1 => Place::BothSides,
        2 | 3 => Place::Shafts,
        4 => Place::Geared {
            slip: draw.between(0.6, 1.2),
            is_stated: draw.chance(0.6),
        },
        _ => Place::OneSide,
    };
    // A pack is dimensioned by the bias it is to give.
    let full_nm = draw.between(700.0, 2200.0) / place.bias();
    let outer_m = draw.between(0.052, 0.068);
    Pack {
        place,
        preload_nm: draw.between(20.0, 220.0) / place.bias(),
        full_nm,
        is_curved: draw.chance(0.5),
        n_faces: draw.one(&[10.0, 12.0, 14.0, 16.0, 20.0]),
        radii_m: [outer_m, outer_m - draw.between(0.012, 0.018)],
        groove_share: draw.between(0.1, 0.3),
        friction: draw.between(0.09, 0.14),
    }
}

fn motor(draw: &mut Draw) -> Motor {
    let holding_a = draw.between(4.0, 12.0);
    Motor {
        holding_a,
        moving_a_s: draw.between(0.3, 1.0),
        supply_v: draw.between(13.0, 14.6),
        rated_a: holding_a * draw.between(1.1, 1.8),
    }
}

fn thermal(draw: &mut Draw) -> ThermalParameters {
    let usual = ThermalParameters::default();
    let mut scaled = |value: f64| value * draw.between(0.75, 1.3);
    ThermalParameters {
        pack_j_per_k: scaled(usual.pack_j_per_k),
        oil_j_per_k: scaled(usual.oil_j_per_k),
        housing_j_per_k: scaled(usual.housing_j_per_k),
        pack_to_oil_w_per_k: scaled(usual.pack_to_oil_w_per_k),
        oil_to_housing_w_per_k: scaled(usual.oil_to_housing_w_per_k),
        still_air_w_per_k: scaled(usual.still_air_w_per_k),
        air_at_30_m_per_s_w_per_k: scaled(usual.air_at_30_m_per_s_w_per_k),
        // Of a good axle: a healthy one does not cook on gears alone.
        gear_loss_share: scaled(0.4 * usual.gear_loss_share),
        churn_w_s2: scaled(usual.churn_w_s2),
    }
}
