//! The limits that health judges by: value, unit, range, reason, source, sensitivity.
//!
//! In: nothing. Out: [`Limits`], with defaults, and [`GROUPS`], what each says of itself, so
//! that a settings file can be written, read and checked from it. A number that is a
//! judgement stands here and nowhere else. What is left as a constant beside an algorithm is
//! the algorithm's own: a numeric tolerance, a bound on memory, the width of a definition.
//!
//! One file a subject: to add a limit add it to its file; to add a subject add its file, and
//! its lines in [`Limits`] and [`GROUPS`].

#[macro_use]
mod registry;

mod actuator;
mod chatter;
mod compare;
mod cooling;
mod drag;
mod driving;
mod duty;
mod frozen;
mod grades;
mod grip;
mod heat;
mod hit;
mod holding;
mod judder;
mod laps;
mod laps_left;
mod launch;
mod life_line;
mod motor;
mod oil;
mod oil_distance;
mod past;
mod protection;
mod ripple;
mod sensor;
mod severity;
mod slip;
mod straight;
mod swapped;
mod torque_report;
mod trust;
mod tyres;
mod usage;
mod verdict;

pub use actuator::ActuatorLimits;
pub use chatter::Chatter;
pub use compare::Compare;
pub use cooling::Cooling;
pub use drag::Drag;
pub use driving::Driving;
pub use duty::DutyLimits;
pub use frozen::Frozen;
pub use grades::Grades;
pub use grip::Grip;
pub use heat::Heat;
pub use hit::Hit;
pub use holding::Holding;
pub use judder::JudderLimits;
pub use laps::LapLimits;
pub use laps_left::LapsLeft;
pub use launch::Launch;
pub use life_line::LifeLimits;
pub use motor::MotorLimits;
pub use oil::Oil;
pub use oil_distance::OilPolicy;
pub use past::PastLimits;
pub use protection::Protection;
pub use registry::{Group, LimitAbout, LimitValue};
pub use ripple::RippleLimits;
pub use sensor::SensorLimits;
pub use severity::SeverityRamps;
pub use slip::Slip;
pub use straight::Straight;
pub use swapped::Swapped;
pub use torque_report::TorqueReport;
pub use trust::Trust;
pub use tyres::Tyres;
pub use usage::Usage;
pub use verdict::VerdictLimits;

/// No judgement, and so no setting.
pub use halfshaft_driveline::normal::{MEDIAN_ERROR, SDS_OF_10_TO_90, SDS_OF_90};

/// Every limit, with its value.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Limits {
    /// When the car moves, bends and drives.
    pub driving: Driving,
    /// Slip, and what makes it slipping under load.
    pub slip: Slip,
    /// Whether the pack holds.
    pub holding: Holding,
    /// How far a log and its figures can be trusted.
    pub trust: Trust,
    /// How far a figure is trusted by how it was made.
    pub grades: Grades,
    /// Signals that stand still.
    pub frozen: Frozen,
    /// Command and response under each other's name.
    pub swapped: Swapped,
    /// Rear tyres.
    pub tyres: Tyres,
    /// Work of the pack on straight roads.
    pub straight: Straight,
    /// Oil temperature.
    pub oil: Oil,
    /// Heat of pack, oil and housing.
    pub heat: Heat,
    /// The car's own past.
    pub past: PastLimits,
    /// Single hard hits.
    pub hit: Hit,
    /// Launches.
    pub launch: Launch,
    /// Cooling at standstill.
    pub cooling: Cooling,
    /// A command that hunts.
    pub chatter: Chatter,
    /// Drag and preload in bends.
    pub drag: Drag,
    /// A pack that does not grip.
    pub grip: Grip,
    /// Stick and slip of the pack.
    pub judder: JudderLimits,
    /// A controller that saves the clutch.
    pub protection: Protection,
    /// Wheel speeds that ripple with the turns of their wheel.
    pub ripple: RippleLimits,
    /// Sensors that drop out.
    pub sensor: SensorLimits,
    /// Torque as the car reports it.
    pub torque_report: TorqueReport,
    /// How laps and corners are found.
    pub laps: LapLimits,
    /// Laps left until the oil is too hot.
    pub laps_left: LapsLeft,
    /// Verdict of a drive.
    pub verdict: VerdictLimits,
    /// Class of use.
    pub usage: Usage,
    /// Cycles of the pack.
    pub duty: DutyLimits,
    /// Severity of a drive.
    pub severity: SeverityRamps,
    /// Life line of the damage sum.
    pub life_line: LifeLimits,
    /// How the oil is used up.
    pub oil_distance: OilPolicy,
    /// Two sessions compared.
    pub compare: Compare,
    /// The actuator.
    pub actuator: ActuatorLimits,
    /// The actuator's motor.
    pub motor: MotorLimits,
}

/// What every limit says of itself, by subject, in the order of the settings file.
pub const GROUPS: &[Group] = &[
    driving::GROUP,
    slip::GROUP,
    holding::GROUP,
    trust::GROUP,
    grades::GROUP,
    frozen::GROUP,
    swapped::GROUP,
    tyres::GROUP,
    straight::GROUP,
    oil::GROUP,
    heat::GROUP,
    past::GROUP,
    hit::GROUP,
    launch::GROUP,
    cooling::GROUP,
    chatter::GROUP,
    drag::GROUP,
    grip::GROUP,
    judder::GROUP,
    protection::GROUP,
    ripple::GROUP,
    sensor::GROUP,
    torque_report::GROUP,
    laps::GROUP,
    laps_left::GROUP,
    verdict::GROUP,
    usage::GROUP,
    duty::GROUP,
    severity::GROUP,
    life_line::GROUP,
    oil_distance::GROUP,
    compare::GROUP,
    actuator::GROUP,
    motor::GROUP,
];

/// Pairs of which the first must be below the second.
pub const RISING: &[[&str; 2]] = &[
    ["slip.event_below_rad_per_s", "slip.event_from_rad_per_s"],
    ["trust.right_geometry_from", "trust.right_geometry_to"],
    ["tyres.mismatch_note", "tyres.mismatch_act"],
    ["oil.warn_c", "oil.limit_c"],
    ["laps.shortest_m", "laps.longest_m"],
    ["laps.closing_deg", "laps.closing_most_deg"],
    ["laps_left.least_laps", "laps_left.most_laps"],
    ["motor.open_below", "motor.closed_from"],
    [
        "severity.power_quiet_w_per_mm2",
        "severity.power_limit_w_per_mm2",
    ],
    [
        "severity.heat_quiet_kj_per_km",
        "severity.heat_limit_kj_per_km",
    ],
    ["severity.oil_quiet_c", "severity.oil_limit_c"],
    [
        "severity.partial_quiet_percent",
        "severity.partial_limit_percent",
    ],
    ["oil_distance.doubling_least_k", "oil_distance.doubling_k"],
    ["oil_distance.doubling_k", "oil_distance.doubling_most_k"],
    ["verdict.act_days", "verdict.look_soon_days"],
    ["verdict.act_km", "verdict.look_soon_km"],
    ["launch.least_s", "driving.not_driving_s"],
    ["actuator.dead_usual_s", "actuator.dead_s"],
    ["actuator.rise_usual_s", "actuator.lazy_rise_s"],
    ["actuator.rise_usual_s", "actuator.release_s"],
    ["actuator.scatter_usual", "actuator.scatter"],
    ["actuator.position_usual", "actuator.position_error"],
];

/// A limit in a sentence: with that many decimals, and more where it needs them.
pub fn rounded(value: f64, decimals: usize) -> String {
    (decimals..6)
        .map(|decimals| format!("{value:.decimals$}"))
        .find(|text| {
            let read: f64 = text.parse().unwrap_or(f64::NAN);
            (read - value).abs() <= 1e-9 * value.abs()
        })
        .unwrap_or_else(|| format!("{value:.6}"))
}

/// Every limit, in the order of the settings file, with its group.
pub fn all() -> impl Iterator<Item = (&'static Group, &'static LimitAbout)> {
    GROUPS
        .iter()
        .flat_map(|group| group.limits.iter().map(move |about| (group, about)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_default_lies_in_its_range_and_says_where_it_comes_from() {
        let defaults = Limits::default();
        for (group, about) in all() {
            let name = about.name();
            assert!(name.starts_with(group.table), "{name}");
            let is_snake = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_';
            assert!(about.key.chars().all(is_snake), "{name}");
            assert!(about.allows((about.get)(&defaults)), "{name}");
            assert!(about.meaning.ends_with('.'), "{name}: {}", about.meaning);
            assert!(!about.source.is_empty() && !about.unit.is_empty(), "{name}");
        }
        for pair in RISING {
            let [low, high] = pair.map(|name| {
                let found = all().find(|(_, about)| about.name() == name);
                let (_, about) = found.unwrap_or_else(|| panic!("there is no {name}"));
                (about.get)(&defaults).number().expect("a number")
            });
            assert!(low < high, "{pair:?}");
        }
    }

    #[test]
    fn a_limit_has_the_decimals_it_needs() {
        for (value, decimals, text) in [
            (10.0, 0, "10"),
            (1.0, 1, "1.0"),
            (100.0 * 0.0045, 1, "0.45"),
            (3.6 * (5.0 / 3.6), 0, "5"),
            (2.0 / 3.0, 1, "0.666667"),
        ] {
            assert_eq!(rounded(value, decimals), text);
        }
    }

    #[test]
    fn keys_are_there_once_and_reach_their_own_field() {
        let mut seen = std::collections::BTreeSet::new();
        let defaults = Limits::default();
        for (_, about) in all() {
            assert!(seen.insert(about.name()), "{} twice", about.name());
            let mut changed = defaults;
            let other = match (about.get)(&defaults) {
                LimitValue::Number(value) => LimitValue::Number(value + 1.0),
                LimitValue::Count(value) => LimitValue::Count(value + 1),
                LimitValue::Edges(edges) => LimitValue::Edges(edges.map(|edge| edge + 1.0)),
            };
            assert!((about.set)(&mut changed, other));
            let differs: Vec<String> = all()
                .filter(|(_, other)| (other.get)(&changed) != (other.get)(&defaults))
                .map(|(_, other)| other.name())
                .collect();
            assert_eq!(differs, [about.name()]);
        }
    }
}
