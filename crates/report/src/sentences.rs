//! The sentences a report opens with, shared by the terminal and the page.
//!
//! In: the results. Out: plain sentences. No verdict: what the drive did, not whether
//! that is good.

use crate::document::{ClockKind, Document};
use crate::words::{self, FigureText, clean, figure_text};
use halfshaft_health::FigureId;
use halfshaft_health::Results;
use halfshaft_health::trust::{Source, Verdict};

/// What of the log is not believed, one sentence for each source; none where all is.
pub fn not_believed(results: &Results) -> Vec<String> {
    let gate = &results.trust;
    Source::ALL
        .into_iter()
        .filter_map(|source| {
            let name = source_name(source);
            match (gate.verdict(source), gate.stretches(source)) {
                (Verdict::Withheld(why), _) => Some(format!("{name} not used: {why}")),
                (Verdict::Doubtful(doubt), _) if doubt.is_upper_bound => {
                    Some(format!("{name} an upper bound: {}", doubt.why))
                }
                // What lowers the grade of all stands with the grade of the log.
                (_, []) => None,
                (_, stretches) => {
                    let listed = stretches.iter().take(3).map(|stretch| {
                        let (start, end) = (stretch.span.start, stretch.span.end);
                        format!("{} to {}", words::drive_time(start), words::drive_time(end))
                    });
                    let more = match stretches.len() {
                        ..=3 => String::new(),
                        n => format!(" and {} more times", n - 3),
                    };
                    Some(format!(
                        "{name} not used from {}{more}: it stands still there",
                        listed.collect::<Vec<_>>().join(", ")
                    ))
                }
            }
        })
        .map(|text| words::sentence(&clean(&text)))
        .collect()
}

fn source_name(source: Source) -> &'static str {
    match source {
        Source::Wheels => "the rear wheel speeds are",
        Source::RoadSpeed => "the road speed is",
        Source::Slip => "the slip of the pack is",
        Source::Command => "the command is",
        Source::State => "the state of the clutch is",
        Source::Torque => "the torque of the pack is",
        Source::Turning => "what shows the bends is",
        Source::Sides => "left and right are",
        Source::Tyres => "the ratio of the tyres is",
        Source::Fit => "the map is",
        Source::Oil => "the oil temperature is",
        Source::Housing => "the housing temperature is",
        Source::Air => "the air temperature is",
    }
}

/// The name of the car and of its unit.
pub fn vehicle(document: &Document) -> String {
    let name = clean(document.map.vehicle.trim());
    let name = if name.is_empty() {
        "Unnamed vehicle".to_owned()
    } else {
        name
    };
    match &document.map.unit {
        Some(unit) if !unit.trim().is_empty() => format!("{name}, unit {}", clean(unit.trim())),
        _ => name,
    }
}

/// How long and how far the drive was, and when.
pub fn drive(document: &Document) -> String {
    let results = document.results;
    let length = match figure(results, FigureId::Duration) {
        Some(Ok(length)) => length.minutes.clone().unwrap_or_else(|| length.text()),
        _ => words::minutes(results.until.seconds()),
    };
    let distance = match figure(results, FigureId::Distance) {
        Some(Ok(distance)) => distance.text(),
        _ => "distance not known".to_owned(),
    };
    let unit = if length.contains(':') {
        if length.matches(':').count() == 2 {
            "\u{a0}h"
        } else {
            "\u{a0}min"
        }
    } else {
        ""
    };
    format!("{length}{unit}, {distance}, {}", when(document))
}

/// Limits that were not the usual ones, when there are any; the first few by name.
pub fn settings(results: &Results) -> Option<String> {
    const SHOWN: usize = 3;
    let changed = &results.settings_changed;
    let mut names: Vec<String> = changed
        .iter()
        .take(SHOWN)
        .map(|setting| {
            format!(
                "{} {} {} (usually {})",
                setting.key,
                words::limit(setting.value),
                setting.unit,
                words::limit(setting.default)
            )
        })
        .collect();
    if changed.len() > SHOWN {
        names.push(format!("and {} more", changed.len() - SHOWN));
    }
    (!names.is_empty()).then(|| format!("Settings changed: {}.", names.join(", ")))
}

/// When the drive began, by the log's clock.
pub fn when(document: &Document) -> String {
    let clock = &document.clock;
    match (clock.kind, clock.utc(clock.first_stamp)) {
        (ClockKind::Unix, Some(utc)) => format!("from {utc}"),
        _ => "date unknown".to_owned(),
    }
}

/// What the grade of the log comes from, when the results say so.
pub fn trust(results: &Results) -> Option<String> {
    let factor = clean(results.quality.worst_factor.trim());
    let factor = factor.trim_end_matches('.');
    let grade = results.quality.grade.letter();
    (!factor.is_empty()).then(|| format!("Log grade {grade}: {factor}."))
}

/// The headline: slipping under load and heat, in one plain sentence.
pub fn headline(results: &Results) -> String {
    let time = figure(results, FigureId::PartialHeatMaking);
    let heat = figure(results, FigureId::HeatTotal);
    let time_known = time.as_ref().and_then(|outcome| outcome.as_ref().ok());
    let heat_known = heat.as_ref().and_then(|outcome| outcome.as_ref().ok());
    match (time_known, heat_known) {
        (Some(time), Some(heat)) => {
            let share = share(results);
            let comma = if share.is_empty() { "" } else { "," };
            format!(
                "{}{share}{comma} and took {} of heat{}.",
                partial(time),
                heat.text(),
                band(heat)
            )
        }
        (Some(time), None) => {
            format!(
                "{}{}; how much heat it took is not known: {}.",
                partial(time),
                share(results),
                reason(&heat)
            )
        }
        (None, Some(heat)) => format!(
            "The clutch pack took {} of heat{}; how long it slipped under load is not known: {}.",
            heat.text(),
            band(heat),
            reason(&time)
        ),
        (None, None) => {
            let (time, heat) = (reason(&time), reason(&heat));
            if time == heat {
                format!("Neither the time slipping under load nor heat is known: {time}.")
            } else {
                format!("Time slipping under load is not known: {time}. Nor is heat: {heat}.")
            }
        }
    }
}

/// What stands at the head of a report on a log that still goes on.
pub fn provisional(results: &Results) -> Option<String> {
    results.is_provisional.then(|| {
        format!(
            "Provisional: the log goes on. State at {}; figures that need the whole drive may still change.",
            words::drive_time(results.until)
        )
    })
}

/// The tier, and what the next channel would buy.
pub fn tier(results: &Results) -> String {
    let tier = &results.tier;
    let number = match tier.number {
        Some(number) => format!("Tier {number} of 5: {}.", tier.words),
        None => format!("No tier: {}.", tier.words),
    };
    match clean(tier.next_step.trim()) {
        next if next.is_empty() || tier.number == Some(5) => number,
        next => format!(
            "{number} What would buy most next: {}.",
            next.trim_end_matches('.')
        ),
    }
}

/// The learned noise floor.
pub fn noise(results: &Results) -> String {
    match &results.noise_floor {
        Some(floor) => format!(
            "Slip below {}\u{a0}rad/s is lost in the noise of the wheel speeds (one sample scatters by {}\u{a0}rad/s, learned from {}).",
            words::number(floor.smallest_slip),
            words::number(floor.slip_sd),
            words::counted(floor.n_samples, "sample", "samples"),
        ),
        None => "The noise of the wheel speeds could not be learned: too little straight driving."
            .to_owned(),
    }
}

/// What every reader is told.
pub const CAUTIONS: [&str; 4] = [
    "Figures are estimates. Low and high hold the truth nine times out of ten, provided the signal map states the car and its tolerances rightly. Two drives of one car compare better than either figure stands alone.",
    "This is not a decision on roadworthiness. A qualified person and the law of the place decide.",
    "Oil and housing may be hotter than 100 °C after a drive. Let them cool before opening anything, and dispose of oil by local rules.",
    "A drive log shows places, times, speeds and how somebody drives: personal data. Ask before storing or passing it on.",
];

/// Heat in the pack; nothing where it is not known.
pub fn heat(results: &Results) -> Option<FigureText> {
    figure(results, FigureId::HeatTotal)?.ok()
}

fn partial(time: &FigureText) -> String {
    if time.number == "0" && time.band.is_none() && !time.is_at_least {
        return "The clutch never slipped under load".to_owned();
    }
    let asides: Vec<String> = [
        time.band.clone(),
        time.minutes
            .as_ref()
            .map(|minutes| format!("{minutes}\u{a0}min")),
    ]
    .into_iter()
    .flatten()
    .collect();
    let asides = if asides.is_empty() {
        String::new()
    } else {
        format!(" ({})", asides.join("; "))
    };
    format!("The clutch slipped under load for {}{asides}", time.text())
}

/// `, 2.7 % of the moving time`, when both are known.
fn share(results: &Results) -> String {
    let value = |id| {
        let estimate = results.figure(id)?.outcome.as_ref().ok()?;
        estimate.value.is_finite().then_some(estimate.value)
    };
    match (
        value(FigureId::PartialHeatMaking),
        value(FigureId::MovingTime),
    ) {
        (Some(partial), Some(moving)) if partial > 0.0 && moving > 0.0 => {
            format!(
                ", {}\u{a0}% of the moving time",
                words::number(100.0 * partial / moving)
            )
        }
        _ => String::new(),
    }
}

fn band(shown: &FigureText) -> String {
    shown
        .band
        .as_ref()
        .map(|band| format!(" ({band})"))
        .unwrap_or_default()
}

fn reason(outcome: &Option<Result<FigureText, String>>) -> String {
    match outcome {
        Some(Err(why)) => why.trim().trim_end_matches('.').to_owned(),
        _ => "the figure was not worked out".to_owned(),
    }
}

fn figure(results: &Results, id: FigureId) -> Option<Result<FigureText, String>> {
    results.figure(id).map(figure_text)
}
