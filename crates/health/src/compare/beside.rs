//! What else was not the same in the two sessions, and whose a difference may be.
//!
//! In: two sessions. Out: lap time, corner speed, oil at the start and supply of either, and how far the
//! driving changed. Heat goes with slip, and slip with how hard a corner is taken, by no law that holds
//! for every car: where the driving changed, heat is not put down to the car.

use super::Beside;
use super::bootstrap::drawn;
use super::session::{LapPart, Pass, Session};
use crate::limits::Compare;

/// Whose a difference that was seen may be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Whose {
    /// It was driven alike, or driving does not move it.
    Car,
    /// It was driven otherwise, which moves it too.
    Driving,
    /// How it was driven is not known in both.
    Unknown,
}

impl Whose {
    /// Stable word.
    pub fn word(self) -> &'static str {
        match self {
            Whose::Car => "car",
            Whose::Driving => "driving",
            Whose::Unknown => "unknown",
        }
    }
}

/// What the two sessions were driven and begun like.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Driven {
    /// What else changed, in order.
    pub beside: Vec<Beside>,
    /// Greatest share by which driving plainly was harder or gentler; `None` where it is not known.
    pub change: Option<f64>,
}

/// What else was not the same.
pub fn driven(before: &Session, after: &Session, matched: Option<&[(u32, u32)]>) -> Driven {
    let mut beside = Vec::new();
    let mut change = None;
    let laps = |of: fn(&LapPart) -> Option<f64>| {
        [before, after].map(|side| side.laps.iter().filter_map(of).collect::<Vec<f64>>())
    };
    if let Some(corners) = matched {
        let times = laps(|lap| (lap.time_s > 0.0).then_some(lap.time_s));
        let speeds = corner_speeds(before, after, corners);
        for (title, unit, values) in [
            ("Lap time", "s", &times),
            ("Lowest speed in corners", "m/s", &speeds),
        ] {
            let Some(one) = beside_of(title, unit, values) else {
                continue;
            };
            let share = match one.is_seen {
                Some(true) => (one.after / one.before - 1.0).abs(),
                _ => 0.0,
            };
            change = Some(f64::max(change.unwrap_or(0.0), share));
            beside.push(one);
        }
    }
    for (title, unit, values) in [
        (
            "Oil at the start of the first lap",
            "degC",
            laps(|lap| lap.oil_start_c).map(|all| all.into_iter().take(1).collect()),
        ),
        (
            "Supply voltage",
            "V",
            [before, after].map(|side| supplies(&side.passes)),
        ),
    ] {
        let [one, other]: [Option<f64>; 2] = values.map(|all| mean(&all));
        if let (Some(before), Some(after)) = (one, other) {
            beside.push(Beside {
                title,
                unit,
                before,
                after,
                is_seen: None,
            });
        }
    }
    Driven { beside, change }
}

/// Whose a difference of a figure that driving moves may be.
pub fn whose(driven: &Driven, limits: &Compare) -> Whose {
    match driven.change {
        None => Whose::Unknown,
        Some(change) if change > limits.same_driving_share => Whose::Driving,
        Some(_) => Whose::Car,
    }
}

// One line of it, with whether it differs by more than its laps scatter.
fn beside_of(
    title: &'static str,
    unit: &'static str,
    [before, after]: &[Vec<f64>; 2],
) -> Option<Beside> {
    let of = |values: &[f64], counts: &[f64]| {
        let n: f64 = counts.iter().sum();
        let sum: f64 = values
            .iter()
            .zip(counts)
            .map(|(value, count)| value * count)
            .sum();
        (n > 0.0).then(|| sum / n)
    };
    let found = drawn((before.len(), after.len()), 0.0, |ours, theirs| {
        Some(of(after, theirs)? - of(before, ours)?)
    })?;
    Some(Beside {
        title,
        unit,
        before: mean(before)?,
        after: mean(after)?,
        is_seen: Some(found.low > 0.0 || found.high < 0.0),
    })
}

// Mean over the corners that both have, lap by lap; laps with all of them only.
fn corner_speeds(before: &Session, after: &Session, corners: &[(u32, u32)]) -> [Vec<f64>; 2] {
    let of = |side: &Session, numbers: Vec<u32>| -> Vec<f64> {
        (0..side.laps.len())
            .filter_map(|lap| {
                let speeds: Vec<f64> = side
                    .passes
                    .iter()
                    .filter(|pass| pass.lap == lap && numbers.contains(&pass.corner))
                    .map(|pass| pass.least_speed_m_per_s)
                    .filter(|speed| speed.is_finite())
                    .collect();
                (speeds.len() == numbers.len()).then(|| mean(&speeds))?
            })
            .collect()
    };
    [
        of(before, corners.iter().map(|(one, _)| *one).collect()),
        of(after, corners.iter().map(|(_, other)| *other).collect()),
    ]
}

fn supplies(passes: &[Pass]) -> Vec<f64> {
    passes.iter().filter_map(|pass| pass.supply_v).collect()
}

fn mean(values: &[f64]) -> Option<f64> {
    (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
}

#[cfg(test)]
mod tests {
    use super::super::session::testing::session;
    use super::*;

    fn pair(faster: f64) -> Driven {
        let heat = |_, _| 1.0;
        let (before, mut after) = (session(6, 1, heat), session(6, 2, heat));
        for pass in &mut after.passes {
            pass.least_speed_m_per_s *= faster;
        }
        for lap in &mut after.laps {
            lap.time_s /= faster;
        }
        let corners: Vec<(u32, u32)> = (1..=6).map(|number| (number, number)).collect();
        driven(&before, &after, Some(&corners))
    }

    #[test]
    fn where_the_driving_changed_heat_is_not_the_cars() {
        let limits = Compare::default();
        let seen = |driven: &Driven| {
            driven.beside[..2]
                .iter()
                .any(|one| one.is_seen == Some(true))
        };
        let same = pair(1.0);
        assert!(!seen(&same));
        assert_eq!(whose(&same, &limits), Whose::Car);
        let faster = pair(1.05);
        assert!(seen(&faster));
        assert_eq!(whose(&faster, &limits), Whose::Driving);
        // Just below and above a hundredth.
        assert_eq!(whose(&pair(1.008), &limits), Whose::Car);
        assert_eq!(whose(&pair(1.012), &limits), Whose::Driving);
        let unknown = driven(&session(6, 1, |_, _| 1.0), &session(6, 2, |_, _| 1.0), None);
        assert_eq!(whose(&unknown, &limits), Whose::Unknown);
    }
}
