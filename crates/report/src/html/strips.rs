//! The drive from left to right: strips that share one time axis.
//!
//! A strip shows the lowest and highest value in each slot of time. Where a slot is
//! missing the strip stays empty and hatched; nothing is drawn across.

use super::axes;
use super::close_ups;
use super::marks::Marks;
use super::noted;
use super::plot::{self, Block, Drawing, Run};
use super::scale::Scale;
use super::second_line;
use crate::words::{clean, minutes, number, sentence, stretch, unit};
use halfshaft_health::{CloseUp, Event, EventKind, Finding, Results, Strip, StripSlot};
use halfshaft_model::{Span, Time};
use maud::{Markup, PreEscaped, html};

/// Slots further apart than this many usual steps have a gap between them. A channel
/// slower than the slots leaves every second one empty, and that is no gap.
const GAP_STEPS: f64 = 2.5;

/// A finding's stretch longer than this share of the drive is drawn in its own lane only:
/// shaded behind every strip it would point at nothing.
const MOST_SHADED: f64 = 0.25;

/// Id of the strip on the owner's side.
const OWNERS: &str = "owner-strip";

/// Gaps named one by one in a description.
const MAX_NAMED_GAPS: usize = 3;

pub(super) fn section(results: &Results) -> Markup {
    let until_s = results.until.seconds();
    let time = Scale::of_time(until_s);
    let is_event_lane = !results.events.is_empty() && until_s > 0.0;
    html! {
        section #drive {
            h2 { "Over the drive" }
            @if results.strips.is_empty() && !is_event_lane {
                p { "There is nothing to draw: no channel of this log has a value." }
            } @else {
                p.note {
                    "Each strip shows the lowest and highest value in each moment. "
                    span.swatch { (swatch()) }
                    " Hatched: no samples; nothing is drawn or counted across."
                    @if !results.findings.is_empty() { " Shaded from top to bottom: a stretch a finding points at." }
                    @if !results.close_ups.is_empty() {
                        " Looked at closely, the hottest events and what findings point at show every sample of the log: "
                        "their times in the tables lead there."
                    }
                }
                div.strips.shared data-until=(format!("{until_s:.3}")) {
                    @for (index, finding) in results.findings.iter().enumerate() {
                        @if !finding.evidence.is_empty() { (finding_lane(index + 1, finding, &time)) }
                    }
                    @for (index, strip) in results.strips.iter().enumerate() {
                        @if !second_line::is_second(strip, &results.strips) {
                            (strip_figure(&format!("strip-{index}"), strip, second_line::of(strip, &results.strips), &time, results, &Marks::of_notes(results)))
                        }
                    }
                    @if is_event_lane { (event_lane(&results.events, &results.findings, &time)) }
                    (time_axis(&time))
                }
            }
            (noted::part(results))
        }
    }
}

/// One strip with its own time axis, for the owner's side.
pub(super) fn alone(strip: &Strip, results: &Results) -> Markup {
    let time = Scale::of_time(results.until.seconds());
    let marks = match strip.unit {
        "°C" | "degC" => Marks::of_oil(results, ends(&finite(strip)).1),
        _ => Marks::of_notes(results),
    };
    html! {
        div.strips {
            (strip_figure(OWNERS, strip, None, &time, results, &marks))
            (time_axis(&time))
        }
    }
}

/// Stretches findings point at, s, those left out that cover much of the drive.
fn windows(findings: &[Finding], time: &Scale) -> Vec<(f64, f64)> {
    let least_s = least_drawn_s(time);
    findings
        .iter()
        .flat_map(|finding| &finding.evidence)
        .map(|window| (window.span.start.seconds(), window.span.end.seconds()))
        .map(|(start, end)| (start, end.max(start + least_s)))
        .filter(|(start, end)| end - start <= MOST_SHADED * (time.high - time.low))
        .collect()
}

/// A short event on a long drive would vanish: it is drawn at least this long.
fn least_drawn_s(time: &Scale) -> f64 {
    (time.high - time.low) / 400.0
}

/// A lane with the stretches of one finding.
fn finding_lane(number: usize, finding: &Finding, time: &Scale) -> Markup {
    let values = Scale::bare();
    let least_s = least_drawn_s(time);
    let blocks: Vec<Block> = finding
        .evidence
        .iter()
        .map(|window| {
            let (start_s, end_s) = (window.span.start.seconds(), window.span.end.seconds());
            Block {
                start_s,
                end_s: end_s.max(start_s + least_s),
                low: 0.15,
                high: 0.85,
                is_hollow: false,
            }
        })
        .collect();
    let drawing = Drawing {
        time,
        values: &values,
        runs: &[],
        blocks: &blocks,
        gaps: &[],
        windows: &[],
    };
    let title = format!("{number}. {}", clean(finding.title));
    let stretches: Vec<String> = finding
        .evidence
        .iter()
        .map(|window| stretch(window.span))
        .collect();
    html! {
        figure.strip.strip-finding {
            figcaption { a href=(format!("#finding-{number}")) { (title) } ", " (finding.severity.words()) }
            (frame(&format!("lane-{number}"), &title, &format!("At {}.", stretches.join(", ")), &values, &plot::draw(&drawing), None, html! {}))
        }
    }
}

fn strip_figure(
    id: &str,
    strip: &Strip,
    second: Option<&Strip>,
    time: &Scale,
    results: &Results,
    marks: &Marks,
) -> Markup {
    let until = results.until;
    // The owner's side is to be read at a glance.
    let (findings, close): (&[Finding], &[CloseUp]) = match id == OWNERS {
        true => (&[], &[]),
        false => (&results.findings, &results.close_ups),
    };
    let slots = finite(strip);
    let unit = unit(strip.unit);
    let caption = html! {
        figcaption {
            strong { (strip.title) }
            @if !unit.is_empty() { ", " (unit) }
            @if second.is_some() { (second_line::key()) }
            @if id == OWNERS { ", over the drive; hatched: not recorded" }
        }
    };
    if slots.is_empty() {
        return html! { figure.strip { (caption) p.none { "No value in this log." } } };
    }
    let (runs, gaps) = runs_and_gaps(&slots, until);
    let (low, high) = ends(&slots);
    let modelled = second.map(finite).filter(|slots| !slots.is_empty());
    let modelled_ends = modelled.as_deref().map(ends);
    let (lowest, highest) =
        modelled_ends.map_or((low, high), |(from, to)| (low.min(from), high.max(to)));
    let highest = marks.highest().map_or(highest, |level| highest.max(level));
    let values = value_scale(strip, lowest, highest);
    let spans: Vec<(f64, f64)> = gaps
        .iter()
        .map(|gap| (gap.start.seconds(), gap.end.seconds()))
        .collect();
    let drawing = Drawing {
        time,
        values: &values,
        runs: &runs,
        blocks: &[],
        gaps: &spans,
        windows: &windows(findings, time),
    };
    let mut drawn = plot::draw(&drawing);
    if let Some(modelled) = &modelled {
        let (runs, _) = runs_and_gaps(modelled, until);
        drawn.push_str(&second_line::path(&runs, time, &values).into_string());
    }
    drawn.push_str(&close_ups::drawn(strip.name, close, time, &values).into_string());
    drawn.push_str(&marks.drawn(time, &values).into_string());
    let by_model = modelled_ends.map_or(String::new(), |(from, to)| {
        format!(
            " By the model from {} to {} {unit}.",
            number(from),
            number(to)
        )
    });
    let about = format!(
        "From {} to {} {unit} over the drive; {}.{}{by_model}",
        number(low),
        number(high),
        gaps_in_words(&gaps),
        sentence(&marks.words())
    );
    html! {
        figure.strip.paired[second.is_some()].{ "strip-" (strip.name) } {
            (caption)
            (frame(id, strip.title, &about, &values, &drawn, Some(unit), marks.labels(time, &values)))
        }
    }
}

fn finite(strip: &Strip) -> Vec<&StripSlot> {
    let is_finite = |slot: &&StripSlot| slot.low.is_finite() && slot.high.is_finite();
    strip.slots.iter().filter(is_finite).collect()
}

/// Lowest and highest value.
fn ends(slots: &[&StripSlot]) -> (f64, f64) {
    let low = slots.iter().map(|slot| slot.low);
    let high = slots.iter().map(|slot| slot.high);
    (
        low.fold(f64::INFINITY, f64::min),
        high.fold(f64::NEG_INFINITY, f64::max),
    )
}

/// A lane with one block an event, as tall as its kind.
fn event_lane(events: &[Event], findings: &[Finding], time: &Scale) -> Markup {
    let values = Scale::bare();
    let least_s = least_drawn_s(time);
    let blocks: Vec<Block> = events
        .iter()
        .map(|event| {
            let (start_s, end_s) = (event.span.start.seconds(), event.span.end.seconds());
            let high = if event.kind == EventKind::Command {
                0.9
            } else {
                0.45
            };
            Block {
                start_s,
                end_s: end_s.max(start_s + least_s),
                low: 0.05,
                high,
                is_hollow: event.is_broken,
            }
        })
        .collect();
    let drawing = Drawing {
        time,
        values: &values,
        runs: &[],
        blocks: &blocks,
        gaps: &[],
        windows: &windows(findings, time),
    };
    let about = format!(
        "{} along the drive; the table of events lists them.",
        events.len()
    );
    html! {
        figure.strip.strip-events {
            figcaption { strong { "Engagement events" } ", low: slip only, hollow: not whole" }
            (frame("strip-events", "Engagement events", &about, &values, &plot::draw(&drawing), None, html! {}))
        }
    }
}

fn frame(
    id: &str,
    title: &str,
    about: &str,
    values: &Scale,
    drawn: &str,
    unit: Option<&str>,
    labels: Markup,
) -> Markup {
    // A lane has no values and no unit.
    let is_tall = unit.is_some();
    let (title_id, about_id) = (format!("{id}-title"), format!("{id}-about"));
    html! {
        div.frame.low[!is_tall] {
            (axes::ticks(values, |tick| values.label(tick)))
            svg.plot viewBox=(plot::VIEW_BOX) preserveAspectRatio="none" role="img"
                data-low=[is_tall.then_some(values.low)] data-high=[is_tall.then_some(values.high)]
                data-unit=[unit]
                aria-labelledby=(format!("{title_id} {about_id}")) {
                title id=(title_id) { (title) }
                desc id=(about_id) { (about) }
                (PreEscaped(drawn))
            }
            (labels)
        }
    }
}

fn time_axis(time: &Scale) -> Markup {
    let form = if time.high >= 3600.0 {
        "h:mm:ss"
    } else {
        "m:ss"
    };
    axes::ruler(time, minutes, &format!("Time in the drive, {form}"))
}

fn swatch() -> Markup {
    html! {
        svg viewBox="0 0 24 12" aria-hidden="true" {
            rect.gap width="24" height="12" {}
            path.hatch d="M0 12 L6 0 M6 12 L12 0 M12 12 L18 0 M18 12 L24 0" {}
        }
    }
}

/// A share has its whole range; a temperature its own; the rest stands on zero.
fn value_scale(strip: &Strip, low: f64, high: f64) -> Scale {
    match (strip.name, strip.unit) {
        // A sensor that reads a little below nothing does not need room for it.
        ("command" | "state", "%") if low >= -2.0 && high <= 102.0 => Scale::percent(),
        ("command" | "state", "1") if low >= 0.0 && high <= 1.0 => Scale {
            low: 0.0,
            high: 1.0,
            ticks: vec![0.0, 0.5, 1.0],
            decimals: 1,
        },
        (_, "degC" | "°C") => Scale::around(low, high),
        _ => Scale::around(low.min(0.0), high.max(0.0)),
    }
}

/// Stretches of slots that follow each other, and what lies between them.
fn runs_and_gaps(slots: &[&StripSlot], until: Time) -> (Vec<Run>, Vec<Span>) {
    let limit_s = GAP_STEPS * usual_step_s(slots);
    let mut runs = Vec::new();
    let mut gaps = Vec::new();
    let mut from = 0;
    let mut gap_between = |start: Time, end: Time| {
        let is_gap = end.since(start) > limit_s;
        if is_gap {
            gaps.push(Span { start, end });
        }
        is_gap
    };
    if let Some(first) = slots.first() {
        gap_between(Time(0), first.span.start);
    }
    for next in 1..=slots.len() {
        let here = slots[next - 1].span.end;
        let there = slots.get(next).map_or(until, |slot| slot.span.start);
        if gap_between(here, there) || next == slots.len() {
            runs.push(run(&slots[from..next]));
            from = next;
        }
    }
    (runs, gaps)
}

/// The envelope through the middles of slots, drawn out to both ends.
fn run(slots: &[&StripSlot]) -> Run {
    let middle = |slot: &StripSlot| (slot.span.start.seconds() + slot.span.end.seconds()) / 2.0;
    let mut run: Run = Vec::with_capacity(slots.len() + 2);
    if let (Some(first), Some(last)) = (slots.first(), slots.last()) {
        run.push((first.span.start.seconds(), first.low, first.high));
        run.extend(slots.iter().map(|slot| (middle(slot), slot.low, slot.high)));
        run.push((last.span.end.seconds(), last.low, last.high));
    }
    run
}

/// Median time from one slot to the next, s.
fn usual_step_s(slots: &[&StripSlot]) -> f64 {
    let mut steps: Vec<i64> = slots
        .windows(2)
        .map(|pair| pair[1].span.start.0.saturating_sub(pair[0].span.start.0))
        .collect();
    steps.sort_unstable();
    let lone = slots.first().map_or(0.0, |slot| slot.span.seconds());
    steps
        .get(steps.len() / 2)
        .map_or(lone, |&step| Time(step).seconds())
}

fn gaps_in_words(gaps: &[Span]) -> String {
    let named: Vec<String> = gaps
        .iter()
        .take(MAX_NAMED_GAPS)
        .map(|&gap| stretch(gap))
        .collect();
    match (gaps.len(), gaps.len().saturating_sub(MAX_NAMED_GAPS)) {
        (0, _) => "no gap".to_owned(),
        (_, 0) => format!("no samples at {}", named.join(", ")),
        (_, more) => format!(
            "no samples at {} and in {more} more stretches",
            named.join(", ")
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::words::drive_time;

    fn slots(starts_s: &[f64], length_s: f64) -> Vec<StripSlot> {
        let slot = |&start: &f64| StripSlot {
            span: Span {
                start: Time::from_seconds(start),
                end: Time::from_seconds(start + length_s),
            },
            low: 0.0,
            high: 1.0,
        };
        starts_s.iter().map(slot).collect()
    }

    #[track_caller]
    fn check(starts_s: &[f64], until_s: f64, n_runs: usize, gaps: &[&str]) {
        let slots = slots(starts_s, 1.0);
        let (runs, found) = runs_and_gaps(
            &slots.iter().collect::<Vec<_>>(),
            Time::from_seconds(until_s),
        );
        let found: Vec<String> = found
            .iter()
            .map(|gap| format!("{}-{}", drive_time(gap.start), drive_time(gap.end)))
            .collect();
        assert_eq!(found, gaps);
        assert_eq!(runs.len(), n_runs);
        assert!(runs.iter().all(|run| run.len() >= 3));
    }

    #[test]
    fn a_missing_stretch_is_a_gap_and_a_slow_channel_is_not() {
        check(&[0.0, 1.0, 2.0, 3.0], 4.0, 1, &[]);
        check(&[0.0, 1.0, 2.0, 10.0, 11.0], 12.0, 2, &["0:03-0:10"]);
        check(&[0.0, 2.0, 4.0, 6.0], 8.0, 1, &[]);
        check(&[5.0, 6.0, 7.0], 20.0, 1, &["0:00-0:05", "0:08-0:20"]);
        check(&[5.0], 6.0, 1, &["0:00-0:05"]);
    }
}
