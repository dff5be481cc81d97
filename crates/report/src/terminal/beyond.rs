//! A line each for actuator, pack and oil, where they are known.

use super::layout::{Mark, Page};
use crate::words::{band, clean, drive_time, number};
use halfshaft_health::Results;
use halfshaft_health::actuator::Actuator;
use halfshaft_health::limits::ActuatorLimits;
use halfshaft_health::oil_life::OilLife;
use halfshaft_health::response::pool::Pool;
use halfshaft_health::response::resolution::StatedTime;
use halfshaft_health::thermal::{Anchor, ThermalEstimate};
use halfshaft_model::Site;

pub(super) fn section(page: &mut Page, results: &Results) {
    let lines = [
        results.actuator.as_ref().ok().and_then(actuator),
        results.thermal.as_ref().ok().and_then(pack),
        oil(&results.oil_life),
    ];
    let lines: Vec<String> = lines.into_iter().flatten().collect();
    if !lines.is_empty() {
        page.blank();
    }
    for line in lines {
        page.paragraph("  ", &line, Mark::Plain);
    }
}

fn actuator(actuator: &Actuator) -> Option<String> {
    let closes = pace(&actuator.engage.transition_time).map(|pace| format!("closes in {pace}"));
    let opens = pace(&actuator.release.transition_time).map(|pace| format!("lets go in {pace}"));
    let told = match (closes, opens) {
        (Some(closes), Some(opens)) => format!("{closes} and {opens}"),
        (closes, opens) => closes.or(opens)?,
    };
    Some(format!("Actuator: {told} after the command."))
}

/// Nothing where too few moves tell it.
fn pace(pool: &Pool) -> Option<String> {
    let least = ActuatorLimits::default().least_steps as usize;
    match pool.stated {
        StatedTime::NoEvent => None,
        StatedTime::Singly(spread) if spread.n_events < least => None,
        StatedTime::Singly(spread) | StatedTime::Pooled { spread, .. } => {
            let is_known = spread.median.is_finite();
            is_known.then(|| format!("{} s", number(spread.median)))
        }
        StatedTime::BelowResolution { below_s } => Some(format!("less than {} s", number(below_s))),
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
            "Pack: hottest {:.0} °C at {}, estimated ({basis}).",
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
            "Oil: one km of this drive is {} km of ordinary driving ({}).",
            number(oil.factor.value),
            band(&oil.factor)
        ))
    })
}
