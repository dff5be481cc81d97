//! Figures that a finding takes the ground from.
//!
//! In: the figures and what was found. Out: the same figures, those that rest on a signal or a
//! torque which the finding shows to be wrong withheld with its reason, or told as an upper
//! bound of the lowest grade.

use crate::findings::FindingId;
use crate::result::{Figure, Finding, Grade};

/// Figures made of slip times the torque of the pack.
const OF_TORQUE: &[&str] = &[
    "heat_total",
    "heat_peak",
    "heat_per_km",
    "heat_preload",
    "heat_commanded",
    "heat_mismatch",
    "heat_spin",
    "heat_per_degree",
    "specific_energy_max",
    "specific_power_max",
    "pack_temp_max",
    "severity",
];

/// Figures of what was asked of the clutch.
const OF_COMMAND: &[&str] = &[
    "partial_commanded",
    "partial_by_command",
    "partial_heat_making",
    "engagements",
    "throttle_on_delay",
    "lift_off_delay",
    "holding_index",
];

/// How the mechanism answered.
const OF_STATE: &[&str] = &[
    "dead_time",
    "rise_time",
    "transition_time",
    "release_time",
    "actuator_health",
];

/// Figures of bends.
const OF_YAW: &[&str] = &[
    "turn_total",
    "heat_per_degree",
    "heat_preload",
    "heat_commanded",
    "heat_mismatch",
    "heat_spin",
    "tyre_ratio",
    "holding_index",
];

/// What is of one car and one drive, besides.
const OF_ONE_CAR: &[&str] = &[
    "slip_peak",
    "oil_temp_max",
    "oil_headroom",
    "oil_distance_factor",
    "laps_to_limit",
];

/// What a finding does to figures.
enum Doubt {
    /// They are not told.
    Withheld,
    /// The truth is lower.
    UpperBound,
}

/// Finding, lists of figures, what it does to them, and why.
type Rule = (
    FindingId,
    &'static [&'static [&'static str]],
    Doubt,
    &'static str,
);

const RULES: &[Rule] = &[
    (
        FindingId::TwoCars,
        &[OF_TORQUE, OF_COMMAND, OF_STATE, OF_YAW, OF_ONE_CAR],
        Doubt::Withheld,
        "the log seems to hold two cars: read them apart",
    ),
    (
        FindingId::DoesNotGrip,
        &[OF_TORQUE],
        Doubt::UpperBound,
        "the pack does not grip when asked, so it carries less torque than the map says",
    ),
    (
        FindingId::CommandExchanged,
        &[OF_TORQUE],
        Doubt::Withheld,
        "command and state look exchanged, and the torque is read from one of them",
    ),
    (
        FindingId::CommandExchanged,
        &[OF_STATE],
        Doubt::Withheld,
        "command and state look exchanged",
    ),
    (
        FindingId::StateFrozen,
        &[OF_TORQUE],
        Doubt::Withheld,
        "the state of the clutch stands still while the command moves, and the torque is read from it",
    ),
    (
        FindingId::StateFrozen,
        &[OF_STATE],
        Doubt::Withheld,
        "the state of the clutch stands still while the command moves",
    ),
    (
        FindingId::CommandFrozen,
        &[OF_COMMAND, OF_STATE],
        Doubt::Withheld,
        "the command stands still while the state of the clutch moves",
    ),
    (
        FindingId::YawFrozen,
        &[OF_YAW],
        Doubt::Withheld,
        "yaw.rate stands still while the wheels go through bends",
    ),
];

/// Takes back what findings make doubtful.
pub(crate) fn doubt(figures: &mut [Figure], findings: &[Finding]) {
    let fired = |id: FindingId| findings.iter().any(|finding| finding.id == id);
    for (_, lists, doubt, why) in RULES.iter().filter(|(id, ..)| fired(*id)) {
        for figure in figures
            .iter_mut()
            .filter(|figure| lists.iter().any(|names| names.contains(&figure.name)))
        {
            let Ok(estimate) = &mut figure.outcome else {
                continue;
            };
            match doubt {
                Doubt::Withheld => {
                    figure.outcome = Err((*why).to_owned());
                    figure.grade = None;
                }
                Doubt::UpperBound => {
                    estimate.low = estimate.low.min(0.0);
                    figure.grade = Some(Grade::D);
                    figure.method.push_str("; an upper bound: ");
                    figure.method.push_str(why);
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::findings::testing::figure;
    use crate::result::Severity;

    fn doubted(id: FindingId, name: &'static str) -> Figure {
        let mut figures = [figure(name, Ok(50.0))];
        let finding = Finding {
            id,
            title: "A title",
            severity: Severity::Act,
            grade: Grade::B,
            summary: String::new(),
            evidence: Vec::new(),
            could_also_be: "",
            next_check: "",
            withdrawn_if: "",
        };
        doubt(&mut figures, &[finding]);
        let [figure] = figures;
        figure
    }

    #[test]
    fn what_rests_on_a_wrong_signal_is_withheld_and_the_rest_stands() {
        for (id, name) in [
            (FindingId::TwoCars, "heat_total"),
            (FindingId::TwoCars, "tyre_ratio"),
            (FindingId::StateFrozen, "rise_time"),
            (FindingId::CommandFrozen, "engagements"),
            (FindingId::YawFrozen, "turn_total"),
        ] {
            let figure = doubted(id, name);
            assert!(
                figure.outcome.is_err() && figure.grade.is_none(),
                "{id}: {name}"
            );
        }
        for (id, name) in [
            (FindingId::YawFrozen, "heat_total"),
            (FindingId::LazyActuator, "rise_time"),
        ] {
            let figure = doubted(id, name);
            assert!(
                figure.outcome.is_ok() && figure.grade == Some(Grade::A),
                "{id}: {name}"
            );
        }
    }

    #[test]
    fn a_pack_that_does_not_grip_makes_heat_an_upper_bound() {
        let heat = doubted(FindingId::DoesNotGrip, "heat_total");
        let estimate = heat.outcome.unwrap();
        assert_eq!((estimate.value, estimate.low), (50.0, 0.0));
        assert_eq!(heat.grade, Some(Grade::D));
        assert!(heat.method.contains("an upper bound"), "{}", heat.method);
    }
}
