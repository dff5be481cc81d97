//! The answers in short lines, each behind its label: oil and laps first where there are laps.

use super::layout::{Align, Mark, Page, pad};
use crate::document::Document;
use crate::verdict::{class_words, plain_use};
use crate::words::{band, clean, counted, drive_time, number, sentence};
use crate::{sentences, track};
use halfshaft_health::Results;
use halfshaft_health::actuator::{Actuator, Pace, whole_way_s};
use halfshaft_health::limits::ActuatorLimits;
use halfshaft_health::oil_life::OilLife;
use halfshaft_health::response::pool::Pool;
use halfshaft_health::thermal::{Anchor, ThermalEstimate};
use halfshaft_model::Site;

/// Columns of the labels.
const LABEL: usize = 17;

pub(super) fn section(page: &mut Page, document: &Document) {
    let results = document.results;
    let track = track::lines(results);
    let is_track = !track.is_empty();
    for line in &track {
        let mark = if line.is_urgent {
            Mark::Heat
        } else {
            Mark::Plain
        };
        say(page, line.label, &line.text, mark);
    }
    let by_cause = track::by_cause(results).map(|causes| format!("{causes}."));
    let lines = [
        ("Heat", (!is_track).then(|| sentences::headline(results))),
        ("By cause", by_cause.filter(|_| !is_track)),
        ("Clutch", results.actuator.as_ref().ok().and_then(actuator)),
        ("Pack", results.thermal.as_ref().ok().and_then(pack)),
        ("Oil change", oil(&results.oil_life)),
        ("Use", usage(results)),
        ("Checks", Some(checks(results))),
        ("Settings", sentences::settings(results)),
        ("Past", document.compared_with.as_ref().map(clean)),
        ("Damage", damage(document)),
    ];
    for (label, text) in lines {
        if let Some(text) = text {
            say(page, label, &text, Mark::Plain);
        }
    }
}

fn say(page: &mut Page, label: &str, text: &str, mark: Mark) {
    page.paragraph(&pad(label, LABEL, Align::Left), text, mark);
}

fn usage(results: &Results) -> Option<String> {
    match &results.class {
        // A drive without gauges has nothing to say on its use.
        Err(_) if results.meters.is_empty() => None,
        Err(why) => Some(match plain_use(results) {
            Some(plain) => format!("{plain} {}", sentence(&clean(why))),
            None => sentence(&clean(why)),
        }),
        Ok(class) => {
            let other = class.counterfactual.as_deref().unwrap_or_default();
            let text = format!("{} {}", sentence(&class_words(class)), clean(other));
            Some(text.trim_end().to_owned())
        }
    }
}

/// What could not be read, in one line; the rest stands with the notices.
fn damage(document: &Document) -> Option<String> {
    let n_kinds = document.notices.iter().count() as u64;
    let n_skipped: u64 = document
        .inputs
        .iter()
        .map(|input| input.n_lines_skipped)
        .sum();
    let skipped = match n_skipped {
        0 => String::new(),
        n => format!(", {} not read", counted(n, "line", "lines")),
    };
    let broken: Vec<String> = document
        .inputs
        .iter()
        .filter_map(|input| {
            Some(format!(
                " {}: {}",
                clean(&input.name),
                sentence(&clean(input.trouble.as_ref()?))
            ))
        })
        .collect();
    (n_kinds > 0 || !broken.is_empty()).then(|| {
        let kinds = counted(n_kinds, "kind of damage", "kinds of damage");
        format!(
            "{kinds} left out and counted{skipped}; --full lists them.{}",
            broken.join("")
        )
    })
}

fn checks(results: &Results) -> String {
    let verdict = &results.verdict;
    format!(
        "{} of {} made; --full says what the others take.",
        verdict.n_made, verdict.n_checks
    )
}

fn actuator(actuator: &Actuator) -> Option<String> {
    let least = ActuatorLimits::default().least_steps as usize;
    let by_parts = || {
        let seconds = whole_way_s(&actuator.engage, least)?;
        Some(format!("{} s", number(seconds)))
    };
    let closes = pace(&actuator.engage.transition_time).or_else(by_parts);
    let closes = closes.map(|pace| format!("closes in {pace}"));
    let opens = pace(&actuator.release.transition_time).map(|pace| format!("releases in {pace}"));
    let both = match (closes, opens) {
        (Some(closes), Some(opens)) => format!("{closes} and {opens}"),
        (closes, opens) => closes.or(opens)?,
    };
    Some(sentence(&format!("{both} after the command")))
}

/// Nothing where there were too few moves.
fn pace(pool: &Pool) -> Option<String> {
    let least = ActuatorLimits::default().least_steps as usize;
    match Pace::of(pool, least) {
        Pace::Median(seconds) if seconds.is_finite() => Some(format!("{} s", number(seconds))),
        Pace::Below(below_s) => Some(format!("less than {} s", number(below_s))),
        Pace::Median(_) | Pace::Few(_) => None,
    }
}

fn pack(thermal: &ThermalEstimate) -> Option<String> {
    let peak = &thermal.pack_max;
    let basis = match &thermal.anchor {
        Anchor::Fitted(Site::Oil) => "fitted to the oil",
        Anchor::Fitted(Site::Housing) => "fitted to the housing",
        Anchor::Fitted(Site::ModelledByCar) | Anchor::Open(_) => "model, unanchored",
    };
    peak.celsius.value.is_finite().then(|| {
        format!(
            "Hottest {:.0} °C at {}, estimated ({basis}).",
            peak.celsius.value,
            drive_time(peak.time)
        )
    })
}

/// Nothing where a part of the factor is guessed.
fn oil(oil: &OilLife) -> Option<String> {
    let is_guessed = oil.temperature.why_guessed.is_some() || oil.work.why_guessed.is_some();
    (!is_guessed && oil.factor.value.is_finite()).then(|| {
        clean(format!(
            "One km of this drive uses the oil like {} km of ordinary driving ({}).",
            number(oil.factor.value),
            band(&oil.factor)
        ))
    })
}
