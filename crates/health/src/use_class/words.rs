//! The class in words: the owner's sentence, and what it would be without a few events.

use super::meter::{NEEDLES, class, readings};
use super::power_p99;
use crate::limits::Usage;
use crate::nouns::{Estimate, Event, EventKind, Meter, UseClass};

/// Events taken away at the most for the counterfactual.
const MOST_WITHOUT: usize = 10;

/// Share of the heat that the sentence says where it came from.
const MOST_OF_THE_HEAT: f64 = 0.75;

/// What the sentence is made from.
#[derive(Debug)]
pub struct ClassGrounds<'a> {
    /// The needles.
    pub meters: &'a [Meter],
    /// Distance, km.
    pub km: f64,
    /// Time slipping under load, s.
    pub partial_s: Option<Estimate>,
    /// Heat, kJ.
    pub heat_kj: Option<Estimate>,
    /// Events in order of time.
    pub events: &'a [Event],
    /// Lining area of all packs, mm².
    pub area_mm2: Option<f64>,
    /// The limits of the class.
    pub usage: &'a Usage,
}

/// Seconds as people say them.
fn time_words(seconds: f64) -> String {
    let whole = seconds.round() as u64;
    match (whole / 3600, whole / 60 % 60, whole % 60) {
        (0, 0, s) => format!("{s} s"),
        (0, min, 0) => format!("{min} min"),
        (0, min, s) => format!("{min} min {s} s"),
        (h, min, _) => format!("{h} h {min} min"),
    }
}

/// The owner's sentence.
pub fn sentence(
    grounds: &ClassGrounds,
    level: u8,
    alternative: Option<u8>,
    is_at_least: bool,
) -> String {
    let mut parts = Vec::new();
    let km = grounds.km;
    if let Some(partial) = grounds.partial_s {
        let gentle_s = (NEEDLES[0].edges)(grounds.usage)[1] * km / 100.0;
        parts.push(format!(
            "In {km:.0} km the clutch worked against slip for {} ({:.0} s per 100 km); gentle cars do under {} in that \
             distance.",
            time_words(partial.value),
            partial.value * 100.0 / km,
            time_words(gentle_s.max(1.0))
        ));
    } else if let Some(heat) = grounds.heat_kj {
        parts.push(format!(
            "In {km:.0} km the clutch made {:.0} kJ of heat ({:.1} kJ per km).",
            heat.value,
            heat.value / km
        ));
    } else {
        parts.push(format!("This was seen over {km:.0} km."));
    }
    parts.extend(where_the_heat_came_from(grounds));
    let class = UseClass::word(level);
    let called = match (is_at_least, alternative) {
        (true, _) => format!("at least {class}, as only two of the five gauges could be read"),
        (false, None) => class.to_owned(),
        (false, Some(other)) => format!("{class}, close to {}", UseClass::word(other)),
    };
    let because = match alarming(grounds) {
        needles if needles.is_empty() => "No gauge stands high:".to_owned(),
        needles => format!("Decided by {}:", needles.join(" and ")),
    };
    parts.push(format!(
        "{because} that is why this use is called {called}."
    ));
    parts.join(" ")
}

/// The two highest needles, with their readings.
fn alarming(grounds: &ClassGrounds) -> Vec<String> {
    let mut known: Vec<(u8, String)> = NEEDLES
        .iter()
        .zip(readings(grounds.meters))
        .filter_map(|(needle, reading)| {
            let reading = reading?;
            let digits = match reading.abs() {
                value if value >= 20.0 => 0,
                value if value >= 2.0 => 1,
                _ => 2,
            };
            let title = needle.title.split(',').next().unwrap_or(needle.title);
            let unit = needle.unit.replace("1/", "per ").replace("s/", "s per ");
            let text = format!("{} ({reading:.digits$} {unit})", title.to_lowercase());
            Some((needle.level(reading, grounds.usage), text))
        })
        .filter(|(level, _)| *level > 0)
        .collect();
    known.sort_by_key(|(level, _)| std::cmp::Reverse(*level));
    known.into_iter().take(2).map(|(_, text)| text).collect()
}

fn where_the_heat_came_from(grounds: &ClassGrounds) -> Option<String> {
    let total = grounds.heat_kj?.value;
    let hottest = hottest(grounds.events);
    let (mut heat, mut seconds, mut n) = (0.0, 0.0, 0);
    for event in &hottest {
        if total <= 0.0 || heat >= MOST_OF_THE_HEAT * total {
            break;
        }
        heat += event.heat_kj.unwrap_or(0.0);
        seconds += event.span.seconds();
        n += 1;
    }
    // Only when few events tell most of it.
    (n > 0 && 2 * n <= hottest.len() && heat >= 0.5 * total).then(|| {
        format!(
            "{:.0} % of the heat came in {} of {n} event{} out of {}.",
            (100.0 * heat / total).min(100.0),
            time_words(seconds),
            if n == 1 { "" } else { "s" },
            hottest.len()
        )
    })
}

/// Events with heat, hottest first.
fn hottest(events: &[Event]) -> Vec<&Event> {
    let mut hottest: Vec<&Event> = events
        .iter()
        .filter(|event| event.heat_kj.is_some())
        .collect();
    hottest.sort_by(|one, other| {
        let heat = |event: &Event| event.heat_kj.unwrap_or(0.0);
        heat(other).total_cmp(&heat(one))
    });
    hottest
}

/// "Without the 4 hottest events it would be brisk." The oil temperature stays as it was:
/// what it would have been is not known. Only as long as most events remain.
pub fn counterfactual(grounds: &ClassGrounds, level: u8) -> Option<String> {
    let hottest = hottest(grounds.events);
    let mut without = readings(grounds.meters);
    let most = MOST_WITHOUT.min(hottest.len().saturating_sub(1) / 2);
    for n in 1..=most {
        let event = hottest[n - 1];
        let less = |reading: &mut Option<f64>, by: f64| {
            if let Some(reading) = reading {
                *reading = (*reading - by).max(0.0);
            }
        };
        let per_100_km = 100.0 / grounds.km;
        let partial_s = event.partial_heat_making_s.unwrap_or(0.0);
        less(&mut without[0], partial_s * per_100_km);
        less(&mut without[1], event.heat_kj.unwrap_or(0.0) / grounds.km);
        if event.kind == EventKind::Command {
            less(&mut without[2], per_100_km);
        }
        if let (Some(_), Some(area_mm2)) = (without[4], grounds.area_mm2) {
            let rest: Vec<Event> = hottest[n..].iter().map(|event| (*event).clone()).collect();
            without[4] = power_p99(&rest, area_mm2);
        }
        match class(&without, grounds.usage) {
            Some(other) if other < level => {
                let events = match n {
                    1 => "hottest event".to_owned(),
                    n => format!("{n} hottest events"),
                };
                return Some(format!(
                    "Without the {events} it would be {}.",
                    UseClass::word(other)
                ));
            }
            _ => {}
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_as_people_say_them() {
        for (seconds, words) in [
            (0.4, "0 s"),
            (43.0, "43 s"),
            (120.0, "2 min"),
            (560.0, "9 min 20 s"),
            (3725.0, "1 h 2 min"),
        ] {
            assert_eq!(time_words(seconds), words);
        }
    }
}
