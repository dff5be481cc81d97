//! The channels the program computes with, each by its one name.
//!
//! A signal map gives its signals these names; anything else it wants to carry along
//! is named `own.…`. Code names a channel by its constant in [`name`], maps and
//! docs by the word. `docs/channels.md` is printed from [`ROLES`]. To add a channel, add its
//! row there.

use crate::unit::{Dimension, UNITS};

/// What a channel does between two samples.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Behaviour {
    /// A measured quantity: interpolated between fresh samples.
    Continuous,
    /// A command, a switch, a state: holds until the next sample says otherwise.
    Held,
}

/// A channel name the program knows, and what it means by it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Role {
    /// The name in maps, reports and exports.
    pub name: &'static str,
    /// Its unit inside the program and in exports.
    pub unit: &'static str,
    /// Dimensions a map may give it in; the first is the one of `unit`.
    pub dimensions: &'static [Dimension],
    /// What it does between two samples.
    pub behaviour: Behaviour,
    /// What it is and which way is positive.
    pub meaning: &'static str,
}

const ACTUATOR: &[Dimension] = &[
    Dimension::NONE,
    Dimension::TORQUE,
    Dimension::FORCE,
    Dimension::PRESSURE,
    Dimension::CURRENT,
    Dimension::LENGTH,
];
const WHEEL: &[Dimension] = &[Dimension::ANGULAR_SPEED, Dimension::SPEED];

/// Declares each channel once: its row in [`ROLES`] and the constant of its name.
macro_rules! roles {
    ($($constant:ident = $behaviour:ident($name:literal, $unit:literal, $dimensions:expr, $meaning:literal),)+) => {
        /// The names as constants: one that is misspelt does not compile.
        pub mod name {
            $(
                #[doc = $meaning]
                pub const $constant: &str = $name;
            )+
        }

        /// Every channel the program computes with.
        pub const ROLES: &[Role] = &[
            $(Role {
                name: name::$constant,
                unit: $unit,
                dimensions: $dimensions,
                behaviour: Behaviour::$behaviour,
                meaning: $meaning,
            },)+
        ];
    };
}

roles! {
    WHEEL_REAR_LEFT = Continuous(
        "wheel.rear.left",
        "rad/s",
        WHEEL,
        "Speed of the rear left wheel, forward positive. A speed in km/h is divided by the rolling radius of the map."
    ),
    WHEEL_REAR_RIGHT = Continuous(
        "wheel.rear.right",
        "rad/s",
        WHEEL,
        "Speed of the rear right wheel, forward positive."
    ),
    WHEEL_FRONT_LEFT = Continuous(
        "wheel.front.left",
        "rad/s",
        WHEEL,
        "Speed of the front left wheel, forward positive."
    ),
    WHEEL_FRONT_RIGHT = Continuous(
        "wheel.front.right",
        "rad/s",
        WHEEL,
        "Speed of the front right wheel, forward positive."
    ),
    SPEED_VEHICLE = Continuous(
        "speed.vehicle",
        "m/s",
        &[Dimension::SPEED],
        "Speed of the car over the road, from a source other than the rear wheels where there is one."
    ),
    YAW_RATE = Continuous(
        "yaw.rate",
        "rad/s",
        &[Dimension::ANGULAR_SPEED],
        "Turning rate about the upward axis, positive to the left (ISO 8855)."
    ),
    STEERING_ANGLE = Continuous(
        "steering.angle",
        "rad",
        &[Dimension::NONE],
        "Angle of the steering wheel, positive to the left."
    ),
    ACCELERATION_LATERAL = Continuous(
        "acceleration.lateral",
        "m/s2",
        &[Dimension::ACCELERATION],
        "Acceleration to the left."
    ),
    ACCELERATION_LONGITUDINAL = Continuous(
        "acceleration.longitudinal",
        "m/s2",
        &[Dimension::ACCELERATION],
        "Acceleration forward."
    ),
    CLUTCH_COMMAND = Held(
        "clutch.command",
        "1",
        ACTUATOR,
        "What the controller asks of the clutch pack. The map says what kind of quantity it is and what counts as full."
    ),
    CLUTCH_POSITION = Continuous(
        "clutch.position",
        "1",
        ACTUATOR,
        "Where the actuator says it is: angle, travel or share of full."
    ),
    CLUTCH_PRESSURE = Continuous(
        "clutch.pressure",
        "Pa",
        &[Dimension::PRESSURE, Dimension::NONE],
        "Pressure on the pack's piston."
    ),
    CLUTCH_FORCE = Continuous(
        "clutch.force",
        "N",
        &[Dimension::FORCE],
        "Force that squeezes the pack."
    ),
    CLUTCH_TORQUE = Continuous(
        "clutch.torque",
        "N.m",
        &[Dimension::TORQUE],
        "Torque the car reports for the clutch. The map says whether it is pack torque or axle bias."
    ),
    MOTOR_CURRENT = Continuous(
        "motor.current",
        "A",
        &[Dimension::CURRENT],
        "Current of the actuator motor."
    ),
    MOTOR_VOLTAGE = Continuous(
        "motor.voltage",
        "V",
        &[Dimension::VOLTAGE],
        "Voltage at the actuator motor."
    ),
    SUPPLY_VOLTAGE = Continuous(
        "supply.voltage",
        "V",
        &[Dimension::VOLTAGE],
        "Supply voltage of the car."
    ),
    OIL_TEMPERATURE = Continuous(
        "oil.temperature",
        "degC",
        &[Dimension::TEMPERATURE],
        "Temperature of the axle oil. The map says where the sensor sits."
    ),
    HOUSING_TEMPERATURE = Continuous(
        "housing.temperature",
        "degC",
        &[Dimension::TEMPERATURE],
        "Temperature of the axle housing."
    ),
    AMBIENT_TEMPERATURE = Continuous(
        "ambient.temperature",
        "degC",
        &[Dimension::TEMPERATURE],
        "Temperature of the outside air."
    ),
    THROTTLE = Continuous(
        "throttle",
        "1",
        &[Dimension::NONE],
        "Position of the accelerator pedal, 0 to 1."
    ),
    ENGINE_SPEED = Continuous(
        "engine.speed",
        "rad/s",
        &[Dimension::ANGULAR_SPEED],
        "Speed of the engine."
    ),
    ENGINE_TORQUE = Continuous(
        "engine.torque",
        "N.m",
        &[Dimension::TORQUE],
        "Torque of the engine."
    ),
    BRAKE_PRESSURE = Continuous(
        "brake.pressure",
        "Pa",
        &[Dimension::PRESSURE],
        "Pressure in the brakes."
    ),
    BRAKE = Held(
        "brake",
        "1",
        &[Dimension::NONE],
        "Brake pedal pressed: 1, released: 0."
    ),
    ABS_ACTIVE = Held(
        "abs.active",
        "1",
        &[Dimension::NONE],
        "Anti-lock control at work: 1."
    ),
    STABILITY_ACTIVE = Held(
        "stability.active",
        "1",
        &[Dimension::NONE],
        "Stability or traction control at work: 1."
    ),
    GEAR = Held(
        "gear",
        "1",
        &[Dimension::NONE],
        "Gear engaged; negative for reverse, 0 for neutral."
    ),
    LAP_MARKER = Held(
        "lap.marker",
        "1",
        &[Dimension::NONE],
        "Changes at the start of a lap."
    ),
    POSITION_LATITUDE = Continuous(
        "position.latitude",
        "rad",
        &[Dimension::NONE],
        "Latitude, north positive. Personal: no report shows it, exports leave out the first and last 500 m."
    ),
    POSITION_LONGITUDE = Continuous(
        "position.longitude",
        "rad",
        &[Dimension::NONE],
        "Longitude, east positive. Personal like the latitude."
    ),
}

impl Role {
    /// The role of that name.
    pub fn find(name: &str) -> Option<&'static Role> {
        ROLES.iter().find(|role| role.name == name)
    }
}

/// What a clutch channel's number stands for; heat needs to know.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Meaning {
    /// Torque one clutch pack carries, in N·m.
    PackTorque,
    /// Torque difference between the two half shafts, in N·m.
    AxleBias,
    /// Force that clamps the pack, in N.
    ClampForce,
    /// Position of the actuator.
    Position,
    /// Pressure on the piston, in Pa.
    Pressure,
    /// Current of the actuator, in A.
    Current,
    /// A share of full, with no unit behind it.
    Percent,
}

/// Where a temperature sits. Sites are never mixed in one trend.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Site {
    /// A sensor in the oil.
    Oil,
    /// A sensor on or in the housing.
    Housing,
    /// No sensor: the car's controller computes it.
    ModelledByCar,
}

/// One channel of a checked map, and what downstream needs to know of its source.
#[derive(Clone, Debug, PartialEq)]
pub struct ChannelSpec {
    /// Its name: a role's, or `own.…`.
    pub name: String,
    /// The role, when the program computes with it.
    pub role: Option<&'static Role>,
    /// Dimension of the samples, which are in SI (°C for temperatures).
    pub dimension: Dimension,
    /// Between two samples.
    pub behaviour: Behaviour,
    /// Time between samples as the map states it, s.
    pub period_s: Option<f64>,
    /// Smallest step of the number on the bus, in SI.
    pub step: Option<f64>,
    /// What counts as full (command 1, state 1), in SI.
    pub full_scale: Option<f64>,
    /// What a clutch channel's number stands for.
    pub meaning: Option<Meaning>,
    /// It is worked out from what was asked of the clutch and not from what the clutch
    /// reports: a torque made from it is the one commanded.
    pub follows_command: bool,
    /// Where a temperature sits.
    pub site: Option<Site>,
    /// The value is older than its frame by this much, s; the decoder has already
    /// shifted the sample times.
    pub late_by_s: f64,
    /// A wheel speed that came as a road speed and was divided by the rolling radius,
    /// so that the radius' tolerance is in it.
    pub through_radius: bool,
    /// A wheel speed the car has already corrected for tyre size: no basis for heat.
    pub tyre_corrected: bool,
    /// A wheel speed that can be believed down to this road speed, m/s.
    pub believable_from_m_per_s: Option<f64>,
    /// The unit in which the map gives it; `None` of a channel that is worked out.
    pub map_unit: Option<MapUnit>,
}

/// The unit in which a map gives a channel, for whoever compares with the map.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MapUnit {
    /// Its symbol.
    pub symbol: &'static str,
    /// SI units in one of these; of a wheel given as a road speed, rad/s.
    pub si_per_unit: f64,
    /// SI value at zero.
    pub si_at_zero: f64,
}

impl MapUnit {
    /// A value in this unit.
    pub fn of_si(&self, si: f64) -> f64 {
        (si - self.si_at_zero) / self.si_per_unit
    }
}

impl ChannelSpec {
    /// A channel of that name with nothing else known.
    pub fn new(name: &str) -> ChannelSpec {
        let role = Role::find(name);
        ChannelSpec {
            name: name.to_owned(),
            role,
            dimension: role.map_or(Dimension::NONE, |role| role.dimensions[0]),
            behaviour: role.map_or(Behaviour::Continuous, |role| role.behaviour),
            period_s: None,
            step: None,
            full_scale: None,
            meaning: None,
            follows_command: false,
            site: None,
            late_by_s: 0.0,
            through_radius: false,
            tyre_corrected: false,
            believable_from_m_per_s: None,
            map_unit: None,
        }
    }

    /// The unit in which the map gives it, or that of the samples.
    pub fn shown_unit(&self) -> MapUnit {
        self.map_unit.unwrap_or(MapUnit {
            symbol: self.si_unit(),
            si_per_unit: 1.0,
            si_at_zero: 0.0,
        })
    }

    /// The unit of the samples: the role's, or the SI unit of the dimension.
    pub fn si_unit(&self) -> &'static str {
        let of_dimension = || {
            UNITS
                .iter()
                .find(|unit| unit.dimension == self.dimension && unit.factor == 1.0)
        };
        match self.role {
            Some(role) if self.dimension == role.dimensions[0] => role.unit,
            _ => of_dimension().map_or("SI", |unit| unit.symbol),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::unit::Unit;

    #[test]
    fn every_role_has_a_known_unit_of_its_first_dimension() {
        for role in ROLES {
            let unit = Unit::find(role.unit)
                .unwrap_or_else(|| panic!("{}: unit {}", role.name, role.unit));
            assert_eq!(unit.dimension, role.dimensions[0], "{}", role.name);
        }
    }
}
