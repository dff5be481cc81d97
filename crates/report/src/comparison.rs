//! Before and after, to terminal and JSON.
//!
//! In: a [`ComparisonDocument`], the comparison and the records of the two drives. Out: text, and
//! one JSON object, [`SCHEMA`]; `docs/compare.md` explains both. Nothing here computes a
//! figure. Where no difference is seen it says so, and how small a one would have been.

use halfshaft_health::SettingChanged;
use halfshaft_health::compare::{Beside, Block, Change, Compared, Comparison, Whose};
use halfshaft_record::Record;
use halfshaft_record::findings::{Finding, Severity};
use halfshaft_record::run::Map;
use serde::Serialize;

use crate::terminal::layout::{Mark, Page};
use crate::words::{clean, counted, measured, sentence};
use halfshaft_record::value::known;

/// Name and version of the form.
pub const SCHEMA: &str = "halfshaft-comparison/1";

/// Everything a comparison says, in whichever form.
#[derive(Clone, Debug)]
pub struct ComparisonDocument<'a> {
    /// What changed.
    pub comparison: &'a Comparison,
    /// The drives before and after.
    pub records: [&'a Record; 2],
    /// Limits of this run that were not the usual ones.
    pub settings_changed: &'a [SettingChanged],
    /// Version of the program.
    pub program_version: &'a str,
    /// The command that makes this comparison again.
    pub command: String,
}

impl ComparisonDocument<'_> {
    /// What a reader must know, one sentence each: the maps first.
    fn notes(&self) -> Vec<String> {
        let [before, after] = self.records.map(|record| &record.map);
        let mut notes = Vec::new();
        if before.vehicle != after.vehicle || before.unit != after.unit {
            notes.push(format!(
                "The two are not of one unit: before {}, after {}.",
                unit_of(before),
                unit_of(after)
            ));
        }
        if before.fingerprint != after.fingerprint {
            notes.push(
                "The two were read through different maps: where the maps differ, a difference may be theirs."
                    .to_owned(),
            );
        }
        let [judged_before, judged_after] = self.judged_by();
        let settings = self.settings_changed();
        if judged_before != judged_after {
            let words = |limits: Vec<String>| match limits.is_empty() {
                true => "the usual ones".to_owned(),
                false => limits.join(", "),
            };
            notes.push(format!(
                "The two were judged by different limits: before {}, after {}.",
                words(judged_before),
                words(judged_after)
            ));
        } else if !settings.is_empty() {
            notes.push(format!(
                "Both were judged by other limits than the usual ones: {}.",
                settings.join(", ")
            ));
        }
        notes.extend(self.comparison.notes.iter().cloned());
        notes
    }

    /// Findings of either drive that want something done: a figure beside a fault compares the fault.
    fn findings(&self) -> Vec<String> {
        let [before, after] = self.records.map(|record| &record.findings);
        let lines = |findings: &[Finding], when: &str| -> Vec<String> {
            let grave = findings.iter().filter(|one| one.severity != Severity::Note);
            grave
                .map(|one| format!("{when}: {} ({})", one.title, severity(one.severity)))
                .collect()
        };
        let mut all = lines(before, "Before");
        all.extend(lines(after, "After"));
        all
    }

    /// What these figures cannot show, whatever they say.
    fn blind_spots(&self) -> Vec<String> {
        let comparison = self.comparison;
        let is_told = |name: &str| {
            let figure = comparison.figure(name);
            figure.is_some_and(|figure| figure.outcome.is_ok())
        };
        let mut spots = Vec::new();
        if is_told("heat_per_lap") || is_told("heat_per_degree_open") {
            spots.push(match is_told("held_torque") {
                true => "Heat is worked out from the torque that the map states, so linings that grip less, or a \
                         preload that has worn, do not show in it; the torque held by the tyres and the rise of \
                         the oil do."
                    .to_owned(),
                false => "Heat is worked out from the torque that the map states, so linings that grip less, or a \
                          preload that has worn, do not show in it; the torque held by the tyres would, and could \
                          not be compared."
                    .to_owned(),
            });
        }
        if !is_told("oil_rise_per_lap") {
            spots.push(
                "The oil was not compared, so neither was what cools the axle, nor how much oil is in it."
                    .to_owned(),
            );
        }
        spots
    }

    /// Limits that each drive was judged by and that were not the usual ones. Those of comparisons
    /// are of this run.
    fn judged_by(&self) -> [Vec<String>; 2] {
        self.records.map(|record| {
            let settings = record.settings_changed.iter();
            settings
                .filter(|setting| !is_of_comparison(&setting.key))
                .map(|setting| format!("{} {}", setting.key, setting.value))
                .collect()
        })
    }

    /// Every limit that was not the usual one, of either drive or of this run.
    fn settings_changed(&self) -> Vec<String> {
        let [mut all, after] = self.judged_by();
        for one in after {
            if !all.contains(&one) {
                all.push(one);
            }
        }
        let own = self.settings_changed.iter();
        let own = own.filter(|setting| is_of_comparison(&setting.key));
        all.extend(own.map(|setting| format!("{} {}", setting.key, setting.value)));
        all
    }
}

fn is_of_comparison(key: &str) -> bool {
    key.starts_with("compare.")
}

fn unit_of(map: &Map) -> String {
    match &map.unit {
        Some(unit) => format!("{}, unit {unit}", map.vehicle),
        None => map.vehicle.clone(),
    }
}

/// The comparison for a terminal.
pub fn terminal(document: &ComparisonDocument, width: usize, colour: bool) -> String {
    let comparison = document.comparison;
    let mut page = Page::new(width, colour);
    let title = format!(
        "{}: before and after",
        clean(unit_of(&document.records[0].map))
    );
    page.paragraph("", &title, Mark::Strong);
    let [before, after] = document.records;
    for (when, record, n_laps) in [
        ("Before", before, comparison.n_laps.0),
        ("After", after, comparison.n_laps.1),
    ] {
        let logs = record.inputs.iter();
        let names: Vec<String> = logs.map(|log| clean(&log.name)).collect();
        let laps = counted(n_laps as u64, "lap", "laps");
        page.paragraph(
            "",
            &format!("{when}: {}, {laps}.", names.join(", ")),
            Mark::Plain,
        );
    }
    if let Ok(n) = comparison.matched {
        let corners = counted(n as u64, "corner", "corners");
        let text = format!("Laps of one circuit, {corners} of it found in both.");
        page.paragraph("", &text, Mark::Plain);
    }
    for (heading, lines) in [
        (
            "What the reports of the two find wrong",
            document.findings(),
        ),
        ("What cannot be seen here", document.blind_spots()),
        ("What else was not the same", beside(comparison)),
    ] {
        if !lines.is_empty() {
            page.heading(heading);
        }
        for line in &lines {
            page.paragraph("  ", &sentence(&clean(line)), Mark::Plain);
        }
    }
    page.heading("What changed");
    let seen = |figure: &&Compared| matches!(&figure.outcome, Ok(change) if change.is_seen());
    for figure in comparison.figures.iter().filter(seen) {
        page.paragraph("  ", &in_a_sentence(figure), Mark::Strong);
    }
    if !comparison.figures.iter().any(|figure| seen(&figure)) {
        page.paragraph("  ", "Nothing that could be seen.", Mark::Plain);
    }
    let rest = || {
        let figures = comparison.figures.iter();
        figures.filter(move |figure| figure.outcome.is_ok() && !seen(figure))
    };
    if rest().next().is_some() {
        page.heading("No difference detectable");
    }
    for figure in rest() {
        page.paragraph("  ", &in_a_sentence(figure), Mark::Plain);
    }
    let not_compared = not_compared(comparison);
    if !not_compared.is_empty() {
        page.heading("Not compared");
    }
    for line in &not_compared {
        page.paragraph("  ", line, Mark::Plain);
    }
    let notes = document.notes();
    if !notes.is_empty() {
        page.heading("To know");
    }
    for note in &notes {
        page.paragraph("  ", &sentence(&clean(note)), Mark::Plain);
    }
    page.blank();
    page.paragraph(
        "",
        "Bands hold the truth nine times out of ten, so of ten figures without any difference one will seem to show one. The smallest is what would have been seen eight times out of ten.",
        Mark::Faint,
    );
    page.finish()
}

fn severity(severity: Severity) -> &'static str {
    match severity {
        Severity::Note => "note",
        Severity::LookSoon => "look soon",
        Severity::Act => "act",
        Severity::Stop => "stop",
    }
}

/// What else was not the same, a line each.
fn beside(comparison: &Comparison) -> Vec<String> {
    let line = |one: &Beside| {
        let same = match one.is_seen {
            Some(false) => ", within its scatter",
            Some(true) | None => "",
        };
        let (before, after) = (
            measured(one.before, one.unit),
            measured(one.after, one.unit),
        );
        format!("{}: {before} before, {after} after{same}", one.title)
    };
    comparison.beside.iter().map(line).collect()
}

/// Whose a difference may be, in words.
fn whose_words(whose: Whose) -> &'static str {
    match whose {
        Whose::Car => "driving does not explain it",
        Whose::Driving => {
            "the driving changed, which moves this too: it is not put down to the car"
        }
        Whose::Unknown => "how it was driven is not known in both: it is not put down to the car",
    }
}

/// What could not be compared, each reason once.
fn not_compared(comparison: &Comparison) -> Vec<String> {
    let mut of_reasons: Vec<(String, Vec<&str>)> = Vec::new();
    for figure in &comparison.figures {
        let Err(reason) = &figure.outcome else {
            continue;
        };
        let reason = reason.to_string();
        match of_reasons.iter_mut().find(|(known, _)| *known == reason) {
            Some((_, titles)) => titles.push(figure.title),
            None => of_reasons.push((reason, vec![figure.title])),
        }
    }
    of_reasons
        .into_iter()
        .map(|(reason, titles)| sentence(&clean(format!("{}: {reason}", titles.join("; ")))))
        .collect()
}

/// A figure that is compared, in a sentence.
fn in_a_sentence(figure: &Compared) -> String {
    let Ok(change) = &figure.outcome else {
        return String::new();
    };
    let value = |value: f64| measured(value, figure.unit);
    let share = match change.before {
        before if before > 0.0 && figure.unit != "%" => {
            format!(", {:+.0} %", 100.0 * change.difference / before)
        }
        _ => String::new(),
    };
    let values = format!(
        "{} before, {} after, difference {} ({} to {}{share})",
        value(change.before),
        value(change.after),
        value(change.difference),
        value(change.low),
        value(change.high),
    );
    let basis = basis(change);
    match change.is_seen() {
        true => {
            let way = if change.difference > 0.0 {
                "more"
            } else {
                "less"
            };
            let whose = figure
                .whose
                .map_or(String::new(), |whose| format!("; {}", whose_words(whose)));
            format!("{}: {way}. {values}; {basis}{whose}.", figure.title)
        }
        false => format!(
            "{}: no difference detectable; smallest we could have seen: {}. {values}; {basis}.",
            figure.title,
            value(change.smallest)
        ),
    }
}

fn basis(change: &Change) -> String {
    let blocks = match change.block {
        Block::Lap => "laps",
        Block::Stretch => "stretches",
        Block::Events => "blocks of events",
        Block::Drive => return "one value of either drive".to_owned(),
    };
    let (before, after) = change.n_blocks;
    let pairs = change.n_pairs.map_or(String::new(), |n| {
        format!(", {}", counted(n as u64, "pair", "pairs"))
    });
    format!("{before} and {after} {blocks}{pairs}")
}

#[derive(Serialize)]
struct ComparisonJson<'a> {
    schema: &'static str,
    tool_version: &'a str,
    before: SideJson<'a>,
    after: SideJson<'a>,
    matched_corners: Option<usize>,
    why_not_matched: Option<String>,
    findings: Vec<String>,
    blind_spots: Vec<String>,
    beside: Vec<BesideJson>,
    figures: Vec<FigureJson>,
    notes: Vec<String>,
    settings_changed: Vec<String>,
    command: String,
}

#[derive(Serialize)]
struct SideJson<'a> {
    logs: Vec<LogJson<'a>>,
    vehicle: String,
    unit: Option<String>,
    map_fingerprint: &'a str,
    laps: usize,
}

#[derive(Serialize)]
struct LogJson<'a> {
    name: String,
    fingerprint: &'a str,
}

#[derive(Serialize)]
struct BesideJson {
    title: &'static str,
    unit: &'static str,
    before: Option<f64>,
    after: Option<f64>,
    seen: Option<bool>,
}

#[derive(Serialize)]
struct FigureJson {
    name: &'static str,
    title: &'static str,
    unit: &'static str,
    before: Option<f64>,
    after: Option<f64>,
    difference: Option<f64>,
    low: Option<f64>,
    high: Option<f64>,
    smallest: Option<f64>,
    seen: Option<bool>,
    whose: Option<&'static str>,
    block: Option<&'static str>,
    blocks_before: Option<usize>,
    blocks_after: Option<usize>,
    pairs: Option<usize>,
    method: &'static str,
    why_null: Option<String>,
}

/// The comparison for another program.
pub fn json<'a>(document: &'a ComparisonDocument<'a>) -> String {
    let comparison = document.comparison;
    let side = |record: &'a Record, laps: usize| SideJson {
        logs: record
            .inputs
            .iter()
            .map(|log| LogJson {
                name: clean(&log.name),
                fingerprint: &log.fingerprint,
            })
            .collect(),
        vehicle: clean(&record.map.vehicle),
        unit: record.map.unit.as_deref().map(clean),
        map_fingerprint: &record.map.fingerprint,
        laps,
    };
    let object = ComparisonJson {
        schema: SCHEMA,
        tool_version: document.program_version,
        before: side(document.records[0], comparison.n_laps.0),
        after: side(document.records[1], comparison.n_laps.1),
        matched_corners: comparison.matched.as_ref().ok().copied(),
        why_not_matched: comparison.matched.as_ref().err().map(ToString::to_string),
        findings: document.findings().iter().map(clean).collect(),
        blind_spots: document.blind_spots(),
        beside: comparison
            .beside
            .iter()
            .map(|one| BesideJson {
                title: one.title,
                unit: one.unit,
                before: known(one.before),
                after: known(one.after),
                seen: one.is_seen,
            })
            .collect(),
        figures: comparison.figures.iter().map(figure).collect(),
        notes: document.notes().iter().map(clean).collect(),
        settings_changed: document.settings_changed(),
        command: clean(&document.command),
    };
    let mut text = serde_json::to_string_pretty(&object).expect(
        "the records hold only numbers, text, lists and objects with text keys, written to memory",
    );
    text.push('\n');
    text
}

fn figure(figure: &Compared) -> FigureJson {
    let change = figure.outcome.as_ref().ok();
    let number = |of: fn(&Change) -> f64| change.and_then(|change| known(of(change)));
    FigureJson {
        name: figure.name,
        title: figure.title,
        unit: figure.unit,
        before: number(|change| change.before),
        after: number(|change| change.after),
        difference: number(|change| change.difference),
        low: number(|change| change.low),
        high: number(|change| change.high),
        smallest: number(|change| change.smallest),
        seen: change.map(Change::is_seen),
        whose: figure.whose.map(Whose::word),
        block: change.map(|change| change.block.word()),
        blocks_before: change.map(|change| change.n_blocks.0),
        blocks_after: change.map(|change| change.n_blocks.1),
        pairs: change.and_then(|change| change.n_pairs),
        method: figure.method,
        why_null: figure.outcome.as_ref().err().map(ToString::to_string),
    }
}
