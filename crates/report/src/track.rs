//! What a driver between two stints asks first: the oil and its warning, the laps left, where the
//! heat comes from, which corner costs most and what to change.
//!
//! In: the results of a drive with laps. Out: short lines, each with its label; none without laps.
//! Nothing is worked out anew: each line words what `health` found.

use halfshaft_health::laps_to_limit::LapsAhead;
use halfshaft_health::{FigureId, Lap, Results};

use crate::causes::CAUSES;
use crate::corners::{Bend, bends};
use crate::sentences;
use crate::words::{clean, percent, rough, sentence};

/// One line: what it is about, and the answer.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Line {
    /// What it is about, in a word or two.
    pub label: &'static str,
    /// The answer, a sentence.
    pub text: String,
    /// It is the one a driver acts on.
    pub is_urgent: bool,
}

/// The lines, the one to act on first.
pub fn lines(results: &Results) -> Vec<Line> {
    if results.laps.laps.is_empty() {
        return Vec::new();
    }
    let line = |label, text: Option<String>| {
        let is_urgent = false;
        text.map(|text| Line {
            label,
            text: sentence(&text),
            is_urgent,
        })
    };
    let left = line("Laps left", Some(laps_left(results))).map(|line| Line {
        is_urgent: is_over(results),
        ..line
    });
    [
        line("Oil", oil(results)),
        left,
        line("Heat", heat(results)),
        line("Costliest corner", corner(results)),
        line("What helps", what_helps(results)),
    ]
    .into_iter()
    .flatten()
    .collect()
}

fn value(results: &Results, id: FigureId) -> Option<f64> {
    let found = results.figure(id)?.outcome.as_ref().ok()?;
    found.value.is_finite().then_some(found.value)
}

/// Temperature at which the oil is warned of, °C.
pub fn warn_c(results: &Results) -> Option<f64> {
    let hottest = value(results, FigureId::OilTempMax)?;
    Some(hottest + value(results, FigureId::OilHeadroom)?)
}

/// The first lap in which the oil passed its warning.
fn warned(results: &Results) -> Option<&Lap> {
    let warn_c = warn_c(results)?;
    let mut laps = results.laps.laps.iter();
    laps.find(|lap| lap.oil_max_c.is_some_and(|hottest| hottest >= warn_c))
}

/// Whether the oil passed its warning in a lap.
pub fn is_over(results: &Results) -> bool {
    warned(results).is_some()
}

fn oil(results: &Results) -> Option<String> {
    let (warn_c, hottest) = (warn_c(results)?, value(results, FigureId::OilTempMax)?);
    let laps = results.laps.laps.iter();
    let by_lap = laps.filter_map(|lap| Some((lap.oil_max_c?, lap.number)));
    let hottest_lap = by_lap.max_by(|one, other| one.0.total_cmp(&other.0));
    let lap = hottest_lap.map_or(String::new(), |(_, number)| format!(" on lap {number}"));
    let margin = warn_c - hottest;
    let beside = match warned(results) {
        Some(first) => {
            let over = format!(
                "{:.0}\u{a0}K over the warning at {warn_c:.0}\u{a0}°C",
                -margin
            );
            match hottest_lap.is_some_and(|(_, number)| number == first.number) {
                true => over,
                false => format!("{over}, first passed on lap {}", first.number),
            }
        }
        None => format!("{margin:.0}\u{a0}K below the warning at {warn_c:.0}\u{a0}°C"),
    };
    Some(format!("at most {hottest:.0}\u{a0}°C{lap}: {beside}"))
}

/// Laps left, in words. Never a bare 0.
pub fn laps_left(results: &Results) -> String {
    let found = results
        .outlook
        .as_ref()
        .and_then(|outlook| outlook.laps.as_ref());
    match found.map(|laps| (&laps.ahead, laps.limit_c)) {
        Ok((LapsAhead::Reached, _)) => none_left(results),
        Ok((LapsAhead::In { laps, low, high }, limit_c)) => {
            let span = match high {
                Some(high) => format!("{} to {}", whole(*low), whole(*high)),
                None => format!("{} or more", whole(*low)),
            };
            let likely = match *laps {
                laps if laps < 1.0 => "less than one".to_owned(),
                laps => format!("about {}", whole(laps)),
            };
            format!("{likely} ({span}) at this pace until the oil is at {limit_c:.0}\u{a0}°C")
        }
        Ok((LapsAhead::LevelsOff { at_c, least_laps }, limit_c)) => {
            let but = least_laps.map_or(String::new(), |laps| {
                format!(
                    ", though {} laps on it may be there all the same",
                    whole(laps)
                )
            });
            format!(
                "no end in sight: at this pace the oil settles at {at_c:.0}\u{a0}°C, below the warning at {limit_c:.0}\u{a0}°C{but}"
            )
        }
        Err(why) => format!("not known. {}", sentence(&clean(why))),
    }
}

fn none_left(results: &Results) -> String {
    match warned(results) {
        Some(lap) => format!(
            "none: the oil passed its warning on lap {}. Let it cool",
            lap.number
        ),
        None => "none: the oil is at its warning. Let it cool".to_owned(),
    }
}

fn whole(laps: f64) -> String {
    format!("{:.0}", laps.floor())
}

/// What the clutch took, lap by lap, of what cause, and what of the axle's heat that was.
fn heat(results: &Results) -> Option<String> {
    let all = sentences::heat(results)?;
    let heats = || {
        let laps = results.laps.laps.iter();
        laps.filter_map(|lap| {
            lap.heat_kj
                .filter(|heat| heat.is_finite() && !lap.is_at_least)
        })
    };
    let (low, high) = (
        heats().fold(f64::INFINITY, f64::min),
        heats().fold(0.0, f64::max),
    );
    let by_lap = match heats().count() {
        0 => String::new(),
        _ if rough(low) == rough(high) => format!(", {}\u{a0}kJ a lap", rough(low)),
        _ => format!(", {} to {}\u{a0}kJ a lap", rough(low), rough(high)),
    };
    let by_cause = by_cause(results).map_or(String::new(), |causes| format!(": {causes}"));
    let of_axle = match results.thermal.as_ref().map(|thermal| &thermal.pack_share) {
        Ok(Ok(share)) => format!(
            ". Of all heat in the axle the clutch made {} ({} to {}), the gears the rest",
            percent(share.value),
            (100.0 * share.low).round(),
            percent(share.high)
        ),
        _ => String::new(),
    };
    Some(format!(
        "{} in the clutch{by_lap}{by_cause}{of_axle}",
        all.text()
    ))
}

/// Causes with a smaller share than this are not named.
const LEAST_NAMED: f64 = 0.05;

/// The causes worth naming with their shares, `85 % wheelspin, 15 % preload`.
pub fn by_cause(results: &Results) -> Option<String> {
    let causes = causes(results).into_iter();
    let named: Vec<String> = causes
        .filter(|(_, _, share)| *share >= LEAST_NAMED)
        .map(|(_, word, share)| format!("{} {word}", percent(share)))
        .collect();
    (!named.is_empty()).then(|| named.join(", "))
}

/// Causes with their shares of what is known of them, greatest first.
fn causes(results: &Results) -> Vec<(FigureId, &'static str, f64)> {
    let known = CAUSES
        .iter()
        .filter_map(|&(id, word, _)| Some((id, word, value(results, id)?)));
    let mut known: Vec<_> = known.collect();
    let sum: f64 = known.iter().map(|(_, _, joules)| joules).sum();
    if sum <= 0.0 {
        return Vec::new();
    }
    known.iter_mut().for_each(|(_, _, part)| *part /= sum);
    known.sort_by(|one, other| other.2.total_cmp(&one.2));
    known
}

/// The bend with most heat, with its share of a lap.
fn corner(results: &Results) -> Option<String> {
    let (bend, heat_kj) = costliest(results)?;
    let turned = bend.mean(|corner| Some(corner.turned_deg))?;
    let side = if turned < 0.0 { "right" } else { "left" };
    let at_m = bend.mean(|corner| Some(corner.start_m))?;
    let laps = results.laps.laps.iter();
    let heats: Vec<f64> = laps.filter_map(|lap| lap.heat_kj).collect();
    let lap_kj = heats.iter().sum::<f64>() / heats.len() as f64;
    let share = match lap_kj.is_finite() && lap_kj > 0.0 {
        true => format!(", {} of a lap", percent((heat_kj / lap_kj).min(1.0))),
        false => String::new(),
    };
    Some(format!(
        "number {}, {:.0}° {side}, {at_m:.0}\u{a0}m after the line: {}\u{a0}kJ{share}",
        bend.number,
        turned.abs(),
        rough(heat_kj)
    ))
}

/// The bend with most heat, and its mean heat, kJ.
pub fn costliest<'a>(results: &'a Results) -> Option<(Bend<'a>, f64)> {
    let with_heat = |bend: Bend<'a>| {
        let heat_kj = bend.mean(|corner| corner.heat_kj)?;
        (heat_kj > 0.0).then_some((bend, heat_kj))
    };
    let bends = bends(&results.laps).into_iter().filter_map(with_heat);
    bends.max_by(|one, other| one.1.total_cmp(&other.1))
}

/// What takes most heat away, from the greatest cause.
fn what_helps(results: &Results) -> Option<String> {
    let (cause, _, share) = causes(results).into_iter().next()?;
    let of_axle = results
        .thermal
        .as_ref()
        .ok()
        .and_then(|thermal| thermal.pack_share.as_ref().ok());
    if of_axle.is_some_and(|share| share.high < 0.5) {
        return Some("a slower pace, shorter stints or more cooling: the gears make most of the heat, and no setting of the clutch changes that".to_owned());
    }
    // Nothing stands out.
    if share < 0.5 {
        return None;
    }
    let out_of = costliest(results).map_or("the bends".to_owned(), |(bend, _)| {
        format!("corner {}", bend.number)
    });
    Some(match cause {
        FigureId::HeatSpin => format!(
            "less throttle out of {out_of}, or a calibration that closes the clutch before the inner wheel spins"
        ),
        FigureId::HeatCommanded => {
            "less command in the bends, where the wheels must turn unequally, or full command where it is needed: between the two the plates rub".to_owned()
        }
        FigureId::HeatMismatch => "two rear tyres that roll alike".to_owned(),
        _ => "less preload; the line and the speed through the bends change little of it".to_owned(),
    })
}
