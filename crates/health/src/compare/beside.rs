//! What else was not the same in the two sessions, and whose a difference may be.
//!
//! In: two sessions. Out: lap time, corner speed, throttle, oil at the start, air and supply of either, and how
//! far the driving changed. Heat goes with slip, and slip with how hard a corner is taken, by no law that holds
//! for every car: where the driving changed, heat is not put down to the car.

use super::session::{LapPart, Session};
use super::sides::changed;
use super::{Beside, Block};
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
    /// The car as before, driven once more, had moved as far by itself.
    Drift,
    /// The car as before, driven once more, does not show it again.
    Unconfirmed,
}

impl Whose {
    /// Stable word.
    pub fn word(self) -> &'static str {
        match self {
            Whose::Car => "car",
            Whose::Driving => "driving",
            Whose::Unknown => "unknown",
            Whose::Drift => "drift",
            Whose::Unconfirmed => "unconfirmed",
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
    /// Greatest share by which it may have been, without a plain difference: laps were few, or scattered.
    pub possible: f64,
}

/// What else was not the same.
pub fn driven(before: &Session, after: &Session, matched: Option<&[(u32, u32)]>) -> Driven {
    let mut found = Driven::default();
    if let Some(corners) = matched {
        let laps = |of: fn(&LapPart) -> Option<f64>| {
            [before, after].map(|side| {
                let laps = side.laps.iter();
                laps.filter_map(|lap| Some((of(lap)?, lap.drive)))
                    .collect::<Vec<Part>>()
            })
        };
        let speeds = [
            corner_speeds(before, corners.iter().map(|(one, _)| *one).collect()),
            corner_speeds(after, corners.iter().map(|(_, other)| *other).collect()),
        ];
        found.note(
            "Lap time",
            "s",
            &laps(|lap| (lap.time_s > 0.0).then_some(lap.time_s)),
        );
        found.note("Lowest speed in corners", "m/s", &speeds);
        found.note(THROTTLE, "%", &laps(|lap| Some(100.0 * lap.throttle?)));
    }
    let starts = [before, after].map(|side| {
        let mut laps = side.laps.clone();
        laps.dedup_by_key(|lap| lap.drive);
        laps.iter().filter_map(|lap| lap.oil_start_c).collect()
    });
    let air = [before, after].map(|side| side.air_c.iter().copied().flatten().collect());
    let supply = [before, after].map(|side| {
        let passes = side.passes.iter();
        passes
            .filter_map(|pass| pass.supply_v)
            .collect::<Vec<f64>>()
    });
    for (title, unit, values) in [
        ("Oil at the start of the first lap", "degC", starts),
        ("Air", "degC", air),
        ("Supply voltage", "V", supply),
    ] {
        let [before, after] = values.map(|all| mean(&all));
        if let (Some(before), Some(after)) = (before, after) {
            found.beside.push(Beside {
                title,
                unit,
                before,
                after,
                again: None,
                is_seen: None,
            });
        }
    }
    found
}

/// What it is called how far the throttle was open.
const THROTTLE: &str = "Throttle, mean of a lap";

/// A value of a lap, and its drive.
type Part = (f64, usize);

impl Driven {
    /// Notes what differs by more than its laps scatter, and by how much driving changed.
    fn note(&mut self, title: &'static str, unit: &'static str, sides: &[Vec<Part>; 2]) {
        let of = |parts: &[Part], counts: &[f64]| {
            let n: f64 = counts.iter().sum();
            let sum: f64 = parts
                .iter()
                .zip(counts)
                .map(|(part, count)| part.0 * count)
                .sum();
            (n > 0.0).then(|| sum / n)
        };
        let drives = sides
            .each_ref()
            .map(|parts| parts.iter().map(|part| part.1).collect());
        let found = changed(Block::Lap, &drives, |ours, theirs| {
            Some([of(&sides[0], ours)?, of(&sides[1], theirs)?])
        });
        let Some((found, _)) = found else {
            return;
        };
        // Of the throttle a hundredth of full counts as much as a hundredth of a lap's time.
        let share = match title {
            THROTTLE => (0.01 * found.difference).abs(),
            _ => (found.after / found.before - 1.0).abs(),
        };
        let plain = if found.is_seen() { share } else { 0.0 };
        self.change = Some(f64::max(self.change.unwrap_or(0.0), plain));
        self.possible = self.possible.max(share);
        self.beside.push(Beside {
            title,
            unit,
            before: found.before,
            after: found.after,
            again: None,
            is_seen: Some(found.is_seen()),
        });
    }
}

/// Whose a difference of a figure that driving moves may be.
pub fn whose(driven: &Driven, limits: &Compare) -> Whose {
    match driven.change {
        None => Whose::Unknown,
        Some(change) if change > limits.same_driving_share => Whose::Driving,
        // Too few laps to see it: nobody knows then.
        Some(_) if driven.possible > 2.0 * limits.same_driving_share => Whose::Unknown,
        Some(_) => Whose::Car,
    }
}

// Mean over the corners that both have, lap by lap; laps with all of them only.
fn corner_speeds(side: &Session, numbers: Vec<u32>) -> Vec<Part> {
    let of_lap = |lap: usize| {
        let passes = side.passes.iter();
        let speeds: Vec<f64> = passes
            .filter(|pass| pass.lap == lap && numbers.contains(&pass.corner))
            .map(|pass| pass.least_speed_m_per_s)
            .filter(|speed| speed.is_finite())
            .collect();
        let all = (speeds.len() == numbers.len()).then(|| mean(&speeds))?;
        Some((all?, side.laps[lap].drive))
    };
    (0..side.laps.len()).filter_map(of_lap).collect()
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
