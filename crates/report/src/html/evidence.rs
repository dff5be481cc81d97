//! What points to which failure path, what comes next, and whether state and slip follow.
//!
//! In: the settled results. Out: tables of sentences; no probability is made of them.

use super::held;
use super::table;
use super::two_by_two;
use crate::words::{clean, counted, number, sentence};
use halfshaft_health::FigureId;
use halfshaft_health::Reason;
use halfshaft_health::laps_to_limit::{LapsAhead, LapsToLimit};
use halfshaft_health::limits::{LimitValue, Limits};
use halfshaft_health::outlook::{Ahead, Outlook};
use halfshaft_health::score_card::PathEvidence;
use halfshaft_health::thermal::TimeToLimit;
use halfshaft_health::{FindingId, Results, Strip};
use maud::{Markup, html};

/// The strip of the oil as measured.
const OIL: &str = "oil_temperature";

pub(super) fn section(results: &Results) -> Markup {
    html! {
        section #evidence {
            h2 { "Evidence and outlook" }
            (two_by_two::part(&results.two_by_two))
            (held::part(&results.held_torque))
            h3 { "Failure paths" }
            p.note { "Evidence for and against each, and what this drive leaves open. Several can hold; none has a probability." }
            @for path in &results.score_card { (card(path, results)) }
            h3 { "If it goes on like the last minute" }
            @match &results.outlook {
                Ok(outlook) => (ahead(outlook)),
                Err(why) => p { "Not told: " (sentence(&clean(why))) },
            }
        }
    }
}

fn card(path: &PathEvidence, results: &Results) -> Markup {
    let rows = [
        ("For", &path.for_it),
        ("Against", &path.against),
        ("Cannot tell", &path.cannot_tell),
    ];
    html! {
        h4 { (path.title) }
        dl.card {
            @for (word, lines) in rows {
                @if !lines.is_empty() {
                    dt { (word) }
                    @for line in lines { dd { (sentence(&clean(line))) } }
                    // "Oil over its limit: not found" stands among these.
                    @if path.id == "lubrication" && word == "Against" {
                        @if let Some(text) = above_for_a_while(results) { dd { (text) } }
                    }
                }
            }
            dt { "Check next" }
            dd { (sentence(&clean(path.next_check))) }
        }
    }
}

fn ahead(outlook: &Outlook) -> Markup {
    let cool = &outlook.cool_down;
    html! {
        p.note { (sentence(&clean(&outlook.basis))) }
        (table("Table of what comes next", "ahead", &[
            ("", "Part"), ("number", "At the end"), ("number", "Limit"), ("number", "Room"),
            ("number", "Limit reached from here"), ("number", "Would level off at")
        ], html! {
            (node("Oil", &outlook.oil))
            (node("Pack, estimated", &outlook.pack))
        }))
        p {
            "Cooling to " (number(cool.to_c)) "\u{a0}°C: "
            (minutes(cool.standing_s)) " standing, " (minutes(cool.moving_s)) " on the move, by the model."
        }
        p { (laps(&outlook.laps)) }
    }
}

/// Laps until the oil is at its limit, with their band and what they rest on.
fn laps(outcome: &Result<LapsToLimit, Reason>) -> String {
    let found = match outcome {
        Ok(found) => found,
        Err(why) => return format!("Laps left: {}", sentence(&clean(why))),
    };
    let limit = celsius(found.limit_c);
    let basis = format!(
        "from the last {}, the last of them up to {}; scatter {}\u{a0}K",
        counted(found.n_laps as u64, "lap", "laps"),
        celsius(found.now_c),
        number(found.scatter_k)
    );
    // The search goes by tenths of a lap.
    let tenths = |laps: f64| format!("{laps:.1}");
    match found.ahead {
        LapsAhead::Reached => {
            format!("Laps left: none, {limit} was passed in the last lap ({basis}).")
        }
        LapsAhead::In { laps, low, high } => {
            let band = match high {
                Some(high) => format!("{} to {}", tenths(low), tenths(high)),
                None => format!("{} or more", tenths(low)),
            };
            let laps = tenths(laps);
            format!(
                "Laps after the last one until the oil is at {limit}: {laps} ({band}; {basis})."
            )
        }
        LapsAhead::LevelsOff { at_c, least_laps } => {
            let all_the_same = least_laps.map_or(String::new(), |laps| {
                format!(
                    " All the same it may be reached after {} laps or more.",
                    tenths(laps)
                )
            });
            format!(
                "Laps left: no end, the oil levels off at {}, below {limit} ({basis}).{all_the_same}",
                celsius(at_c)
            )
        }
    }
}

fn celsius(value: f64) -> String {
    format!("{}\u{a0}°C", number(value))
}

/// Why an oil that was above its warning was not found too hot: it did not last.
fn above_for_a_while(results: &Results) -> Option<String> {
    let is_silent = |id: FindingId| {
        results.findings.iter().all(|finding| finding.id != id)
            && results.not_checked.iter().all(|open| open.id != id)
    };
    let value = |id| Some(results.figure(id)?.outcome.as_ref().ok()?.value);
    let (highest_c, room_k) = (value(FigureId::OilTempMax)?, value(FigureId::OilHeadroom)?);
    if room_k >= 0.0 || !is_silent(FindingId::OilTooHot) {
        return None;
    }
    let warn_c = highest_c + room_k;
    let rule_s = above_s(results);
    let strip = results.strips.iter().find(|strip| strip.name == OIL)?;
    // The rule saw each sample, so it is finer than the slots.
    let longest = match longest_above_s(strip, warn_c) {
        Some(seconds) if seconds < rule_s => {
            format!("the longest stretch was {}\u{a0}s", number(seconds))
        }
        _ => "no stretch was as long".to_owned(),
    };
    Some(format!(
        "The oil was above its warning of {} all the same, but that must last: “Oil over its limit” needs {}\u{a0}s \
         without a break, and {longest}.",
        celsius(warn_c),
        number(rule_s)
    ))
}

/// How long the oil must stay above, s.
fn above_s(results: &Results) -> f64 {
    let changed = results.settings_changed.iter();
    let mut changed = changed.filter(|setting| setting.key == "oil.above_s");
    match changed.next().map(|setting| setting.value) {
        Some(LimitValue::Number(seconds)) => seconds,
        _ => Limits::default().oil.above_s,
    }
}

/// Longest stretch above a value: from the slot it begins in to the next slot that is not
/// above; `None` where there is none.
fn longest_above_s(strip: &Strip, limit: f64) -> Option<f64> {
    let mut longest = None;
    let mut start = None;
    let ends = strip.slots.iter().skip(1).map(Some).chain([None]);
    for (slot, next) in strip.slots.iter().zip(ends) {
        if slot.high <= limit {
            start = None;
            continue;
        }
        let from = *start.get_or_insert(slot.span.start);
        let until = next.map_or(slot.span.end, |next| next.span.start);
        longest = Some(until.since(from).max(longest.unwrap_or(0.0)));
    }
    longest
}

fn node(name: &str, ahead: &Ahead) -> Markup {
    html! {
        tr {
            th scope="row" { (name) }
            td.number { (celsius(ahead.now_c)) @if let Some(band_k) = ahead.band_k { " ± " (number(band_k)) "\u{a0}K" } }
            td.number { (celsius(ahead.limit_c)) }
            td.number { (number(ahead.headroom_k)) "\u{a0}K" }
            td.number { (match ahead.reaches {
                TimeToLimit::Reached => "reached".to_owned(),
                TimeToLimit::In { seconds } => format!("in {}", minutes(Some(seconds))),
                TimeToLimit::LevelsOff { .. } => "never".to_owned(),
            }) }
            td.number { (celsius(ahead.levels_off_c)) }
        }
    }
}

fn minutes(seconds: Option<f64>) -> String {
    match seconds {
        None => "never".to_owned(),
        Some(seconds) if seconds < 60.0 => format!("{}\u{a0}s", number(seconds)),
        Some(seconds) => format!("{}\u{a0}min", number(seconds / 60.0)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use halfshaft_health::StripSlot;
    use halfshaft_model::{Span, Time};

    #[track_caller]
    fn check_laps(ahead: LapsAhead, wanted: &str) {
        let text = laps(&Ok(LapsToLimit {
            limit_c: 130.0,
            now_c: 132.0,
            n_laps: 4,
            scatter_k: 0.5,
            ahead,
        }));
        let text = text.replace('\u{a0}', " ");
        assert!(text.contains(wanted), "{text}");
        assert!(
            text.contains("from the last 4 laps, the last of them up to 132 °C; scatter 0.500 K"),
            "{text}"
        );
    }

    #[test]
    fn laps_left_have_a_band_and_what_they_rest_on() {
        let within = |high| LapsAhead::In {
            laps: 6.2,
            low: 4.1,
            high,
        };
        check_laps(within(Some(9.0)), "at 130 °C: 6.2 (4.1 to 9.0; ");
        check_laps(within(None), "6.2 (4.1 or more; ");
        check_laps(
            LapsAhead::Reached,
            "none, 130 °C was passed in the last lap",
        );
        let level = |least_laps| LapsAhead::LevelsOff {
            at_c: 122.0,
            least_laps,
        };
        check_laps(level(None), "levels off at 122 °C, below 130 °C (");
        check_laps(level(Some(2.0)), "may be reached after 2.0 laps or more");
        let why = html! { (laps(&Err("no <laps>".to_owned().into()))) }.into_string();
        assert_eq!(why, "Laps left: No &lt;laps&gt;.");
    }

    #[test]
    fn the_longest_stretch_above_ends_where_the_oil_is_not_above() {
        let slot = |(second, high): (f64, f64)| StripSlot {
            span: Span {
                start: Time::from_seconds(second),
                end: Time::from_seconds(second + 0.5),
            },
            low: high - 1.0,
            high,
        };
        let strip = |values: &[(f64, f64)]| Strip {
            name: OIL,
            title: "Oil",
            unit: "°C",
            slots: values.iter().copied().map(slot).collect(),
        };
        let hill = [
            (0.0, 129.0),
            (1.0, 131.0),
            (2.0, 131.0),
            (3.0, 130.0),
            (4.0, 131.0),
        ];
        // From 1 s to the sample at 3 s; the last one lasts as long as its slot.
        assert_eq!(longest_above_s(&strip(&hill), 130.0), Some(2.0));
        assert_eq!(longest_above_s(&strip(&hill), 131.0), None);
        assert_eq!(longest_above_s(&strip(&hill[3..]), 130.0), Some(0.5));
    }
}
