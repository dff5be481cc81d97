//! Units as people write them, and what they mean in SI.
//!
//! Conversion happens once, where a value enters the program (`signal-map`) or leaves
//! it (`report`). Inside everything is SI, temperatures in °C. A unit is a factor and
//! an offset to SI and a dimension; the dimension is what formulas are checked by.

/// Exponents of metre, kilogram, second, ampere and kelvin. Angles and ratios have none,
/// so rad/s and 1/s are the same dimension, as in the SI.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct Dimension {
    /// Metre.
    pub metre: i8,
    /// Kilogram.
    pub kilogram: i8,
    /// Second.
    pub second: i8,
    /// Ampere.
    pub ampere: i8,
    /// Kelvin. Temperatures in °C and temperature differences share it.
    pub kelvin: i8,
}

const fn dimension(metre: i8, kilogram: i8, second: i8, ampere: i8, kelvin: i8) -> Dimension {
    Dimension {
        metre,
        kilogram,
        second,
        ampere,
        kelvin,
    }
}

impl Dimension {
    /// A ratio, an angle, a count.
    pub const NONE: Dimension = dimension(0, 0, 0, 0, 0);
    /// Length.
    pub const LENGTH: Dimension = dimension(1, 0, 0, 0, 0);
    /// Area.
    pub const AREA: Dimension = dimension(2, 0, 0, 0, 0);
    /// Volume.
    pub const VOLUME: Dimension = dimension(3, 0, 0, 0, 0);
    /// Time.
    pub const TIME: Dimension = dimension(0, 0, 1, 0, 0);
    /// Mass.
    pub const MASS: Dimension = dimension(0, 1, 0, 0, 0);
    /// Speed along the road.
    pub const SPEED: Dimension = dimension(1, 0, -1, 0, 0);
    /// Angular speed, rates, frequencies.
    pub const ANGULAR_SPEED: Dimension = dimension(0, 0, -1, 0, 0);
    /// Acceleration.
    pub const ACCELERATION: Dimension = dimension(1, 0, -2, 0, 0);
    /// Force.
    pub const FORCE: Dimension = dimension(1, 1, -2, 0, 0);
    /// Torque; energy has the same exponents.
    pub const TORQUE: Dimension = dimension(2, 1, -2, 0, 0);
    /// Power.
    pub const POWER: Dimension = dimension(2, 1, -3, 0, 0);
    /// Pressure.
    pub const PRESSURE: Dimension = dimension(-1, 1, -2, 0, 0);
    /// Temperature.
    pub const TEMPERATURE: Dimension = dimension(0, 0, 0, 0, 1);
    /// Voltage.
    pub const VOLTAGE: Dimension = dimension(2, 1, -3, -1, 0);
    /// Current.
    pub const CURRENT: Dimension = dimension(0, 0, 0, 1, 0);
    /// Resistance.
    pub const RESISTANCE: Dimension = dimension(2, 1, -3, -2, 0);

    /// The dimension of a product.
    pub fn times(self, other: Dimension) -> Dimension {
        dimension(
            self.metre.saturating_add(other.metre),
            self.kilogram.saturating_add(other.kilogram),
            self.second.saturating_add(other.second),
            self.ampere.saturating_add(other.ampere),
            self.kelvin.saturating_add(other.kelvin),
        )
    }

    /// The dimension of a quotient.
    pub fn over(self, other: Dimension) -> Dimension {
        self.times(dimension(
            other.metre.saturating_neg(),
            other.kilogram.saturating_neg(),
            other.second.saturating_neg(),
            other.ampere.saturating_neg(),
            other.kelvin.saturating_neg(),
        ))
    }

    /// The quantity in words where it has a common name, else its SI exponents.
    pub fn describe(self) -> String {
        const NAMES: &[(Dimension, &str)] = &[
            (Dimension::NONE, "a ratio or an angle"),
            (Dimension::LENGTH, "a length"),
            (Dimension::AREA, "an area"),
            (Dimension::VOLUME, "a volume"),
            (Dimension::TIME, "a time"),
            (Dimension::MASS, "a mass"),
            (Dimension::SPEED, "a speed"),
            (Dimension::ANGULAR_SPEED, "an angular speed or a rate"),
            (Dimension::ACCELERATION, "an acceleration"),
            (Dimension::FORCE, "a force"),
            (Dimension::TORQUE, "a torque"),
            (Dimension::POWER, "a power"),
            (Dimension::PRESSURE, "a pressure"),
            (Dimension::TEMPERATURE, "a temperature"),
            (Dimension::VOLTAGE, "a voltage"),
            (Dimension::CURRENT, "a current"),
            (Dimension::RESISTANCE, "a resistance"),
        ];
        if let Some((_, name)) = NAMES.iter().find(|(known, _)| *known == self) {
            return (*name).to_owned();
        }
        let exponents = [
            ("m", self.metre),
            ("kg", self.kilogram),
            ("s", self.second),
            ("A", self.ampere),
            ("K", self.kelvin),
        ];
        let parts: Vec<String> = exponents
            .iter()
            .filter(|(_, exponent)| *exponent != 0)
            .map(|(symbol, exponent)| format!("{symbol}^{exponent}"))
            .collect();
        parts.join(" ")
    }
}

/// A unit: `si = value * factor + offset`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Unit {
    /// The standard spelling.
    pub symbol: &'static str,
    /// Other spellings that are understood, parted by spaces.
    pub aliases: &'static str,
    /// SI units in one of these.
    pub factor: f64,
    /// What to add after the factor; only temperatures have one.
    pub offset: f64,
    /// What kind of quantity.
    pub dimension: Dimension,
}

const fn unit(
    symbol: &'static str,
    aliases: &'static str,
    factor: f64,
    dimension: Dimension,
) -> Unit {
    Unit {
        symbol,
        aliases,
        factor,
        offset: 0.0,
        dimension,
    }
}

/// Newtons in one pound-force: 0.453 592 37 kg × 9.806 65 m/s². Source: international pound, exact.
const LBF: f64 = 4.448_221_615_260_5;
/// Metres in one inch, exact.
const INCH: f64 = 0.0254;
const TURN: f64 = std::f64::consts::TAU;

/// Every unit the map language knows. Factors are exact by definition of the unit.
pub const UNITS: &[Unit] = &[
    unit("1", "none", 1.0, Dimension::NONE),
    unit("%", "percent pct", 0.01, Dimension::NONE),
    unit("rad", "", 1.0, Dimension::NONE),
    unit("deg", "° degree degrees", TURN / 360.0, Dimension::NONE),
    unit("rev", "turn turns", TURN, Dimension::NONE),
    unit("m", "metre metres", 1.0, Dimension::LENGTH),
    unit("km", "", 1e3, Dimension::LENGTH),
    unit("cm", "", 1e-2, Dimension::LENGTH),
    unit("mm", "", 1e-3, Dimension::LENGTH),
    unit("in", "inch inches", INCH, Dimension::LENGTH),
    unit("ft", "", 12.0 * INCH, Dimension::LENGTH),
    unit("mi", "mile miles", 1_609.344, Dimension::LENGTH),
    unit("mm2", "mm²", 1e-6, Dimension::AREA),
    unit("l", "L litre litres", 1e-3, Dimension::VOLUME),
    unit("ml", "mL", 1e-6, Dimension::VOLUME),
    unit("s", "sec seconds", 1.0, Dimension::TIME),
    unit("ms", "milliseconds", 1e-3, Dimension::TIME),
    unit("us", "µs microseconds", 1e-6, Dimension::TIME),
    unit("min", "minutes", 60.0, Dimension::TIME),
    unit("h", "hours", 3600.0, Dimension::TIME),
    unit("kg", "", 1.0, Dimension::MASS),
    unit("m/s", "", 1.0, Dimension::SPEED),
    unit("km/h", "kph kmh", 1.0 / 3.6, Dimension::SPEED),
    unit("mph", "", 1_609.344 / 3600.0, Dimension::SPEED),
    unit("rad/s", "", 1.0, Dimension::ANGULAR_SPEED),
    unit("deg/s", "°/s", TURN / 360.0, Dimension::ANGULAR_SPEED),
    unit("rev/s", "", TURN, Dimension::ANGULAR_SPEED),
    unit(
        "rpm",
        "rev/min 1/min",
        TURN / 60.0,
        Dimension::ANGULAR_SPEED,
    ),
    unit("1/s", "per_second", 1.0, Dimension::ANGULAR_SPEED),
    unit("m/s2", "m/s²", 1.0, Dimension::ACCELERATION),
    unit(
        "gn",
        "",
        crate::constants::STANDARD_GRAVITY,
        Dimension::ACCELERATION,
    ),
    unit("N", "", 1.0, Dimension::FORCE),
    unit("kN", "", 1e3, Dimension::FORCE),
    unit("lbf", "", LBF, Dimension::FORCE),
    unit("N.m", "N·m Nm", 1.0, Dimension::TORQUE),
    unit("lbf.ft", "lbf·ft", LBF * 12.0 * INCH, Dimension::TORQUE),
    unit("lbf.in", "lbf·in", LBF * INCH, Dimension::TORQUE),
    unit("J", "", 1.0, Dimension::TORQUE),
    unit("kJ", "", 1e3, Dimension::TORQUE),
    unit("W", "", 1.0, Dimension::POWER),
    unit("kW", "", 1e3, Dimension::POWER),
    unit("Pa", "", 1.0, Dimension::PRESSURE),
    unit("kPa", "", 1e3, Dimension::PRESSURE),
    unit("MPa", "", 1e6, Dimension::PRESSURE),
    unit("bar", "", 1e5, Dimension::PRESSURE),
    unit("psi", "", LBF / (INCH * INCH), Dimension::PRESSURE),
    unit("degC", "°C C", 1.0, Dimension::TEMPERATURE),
    Unit {
        symbol: "degF",
        aliases: "°F F",
        factor: 5.0 / 9.0,
        offset: -160.0 / 9.0,
        dimension: Dimension::TEMPERATURE,
    },
    // The program keeps temperatures in °C, so a kelvin reading is shifted; a
    // difference in kelvin uses `Unit::difference_to_si`, which has no offset.
    Unit {
        symbol: "K",
        aliases: "kelvin",
        factor: 1.0,
        offset: -crate::constants::ZERO_CELSIUS_K,
        dimension: Dimension::TEMPERATURE,
    },
    unit("V", "volt volts", 1.0, Dimension::VOLTAGE),
    unit("mV", "", 1e-3, Dimension::VOLTAGE),
    unit("A", "ampere amperes", 1.0, Dimension::CURRENT),
    unit("mA", "", 1e-3, Dimension::CURRENT),
    unit("ohm", "Ω", 1.0, Dimension::RESISTANCE),
];

impl Unit {
    /// The unit of that spelling.
    pub fn find(spelling: &str) -> Option<&'static Unit> {
        UNITS.iter().find(|unit| {
            unit.symbol == spelling
                || unit
                    .aliases
                    .split(' ')
                    .any(|alias| alias == spelling && !alias.is_empty())
        })
    }

    /// A value in this unit, in SI (°C for temperatures).
    pub fn to_si(&self, value: f64) -> f64 {
        value * self.factor + self.offset
    }

    /// A difference, tolerance or rate in this unit, in SI: the offset does not apply.
    pub fn difference_to_si(&self, value: f64) -> f64 {
        value * self.factor
    }

    /// An SI value in this unit.
    pub fn from_si(&self, si: f64) -> f64 {
        (si - self.offset) / self.factor
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(value: f64, spelling: &str, si: f64) {
        let unit = Unit::find(spelling).unwrap();
        let got = unit.to_si(value);
        assert!(
            (got - si).abs() <= 1e-9 * si.abs().max(1.0),
            "{value} {spelling} = {got}, not {si}"
        );
        assert!((unit.from_si(got) - value).abs() < 1e-9 * value.abs().max(1.0));
    }

    #[test]
    fn conversions_agree_with_definitions() {
        check(36.0, "km/h", 10.0);
        check(60.0, "rpm", std::f64::consts::TAU);
        // 1 rad/s is 9.549 rpm, and 1 mph is 1.609 km/h: the unit traps of the check values.
        check(9.549_296_585_513_72, "rpm", 1.0);
        check(1.0, "mph", 0.447_04);
        check(250.0, "degF", 121.111_111_111_111);
        check(373.15, "K", 100.0);
        check(1.0, "psi", 6_894.757_293_168_36);
        check(1.0, "lbf.ft", 1.355_817_948_331_4);
        check(180.0, "deg", std::f64::consts::PI);
    }

    #[test]
    fn spellings_are_unique() {
        let mut all: Vec<&str> = UNITS
            .iter()
            .flat_map(|unit| std::iter::once(unit.symbol).chain(unit.aliases.split(' ')))
            .filter(|word| !word.is_empty())
            .collect();
        let n = all.len();
        all.sort_unstable();
        all.dedup();
        assert_eq!(all.len(), n);
    }

    #[test]
    fn torque_times_speed_is_power() {
        assert_eq!(
            Dimension::TORQUE.times(Dimension::ANGULAR_SPEED),
            Dimension::POWER
        );
        assert_eq!(
            Dimension::SPEED.over(Dimension::LENGTH),
            Dimension::ANGULAR_SPEED
        );
        assert_eq!(
            Dimension::POWER.over(Dimension::TORQUE).describe(),
            "an angular speed or a rate"
        );
    }
}
