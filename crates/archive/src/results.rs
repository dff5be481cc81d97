//! The small tables: events, figures, gaps, findings, laps, corners.
//!
//! Columns carry the names and the units of the same keys in `report.json`. To add a
//! column, add its row; `docs/export.md` names every one, and a test holds it to that.

use std::io::Write;

use halfshaft_health::{
    Corner, Event, EventKind, EvidenceWindow, Figure, Finding, Gap, Lap, Laps, Quality,
};
use halfshaft_model::Span;

use crate::about::About;
use crate::table::{Cell, Column, Error, column, write};

/// A finding and one stretch that shows it: a finding seen in three stretches is three rows.
struct FindingRow<'a> {
    finding: &'a Finding,
    // A finding about the whole drive may have no stretch.
    span: Option<Span>,
    evidence: Option<String>,
}

const START: &str = "When it begins, since the first entry of the log.";
const END: &str = "When it ends, since the first entry of the log.";

const EVENTS: &[Column<Event>] = &[
    column(
        "kind",
        "",
        "command: the controller asked; slip-only: it slipped with no command.",
        Cell::Text(|event| match event.kind {
            EventKind::Command => "command",
            EventKind::SlipOnly => "slip-only",
        }),
    ),
    column(
        "start_ns",
        "ns",
        START,
        Cell::Whole(|event| event.span.start.0),
    ),
    column("end_ns", "ns", END, Cell::Whole(|event| event.span.end.0)),
    column(
        "duration_s",
        "s",
        "Its length.",
        Cell::Number(|event| Some(event.span.seconds())),
    ),
    column(
        "command_peak",
        "1",
        "Highest command, 0 to 1.",
        Cell::Number(|event| event.command_peak),
    ),
    column(
        "slip_peak_rad_per_s",
        "rad/s",
        "Highest slip speed of the pack.",
        Cell::Number(|event| event.slip_peak),
    ),
    column(
        "heat_kj",
        "kJ",
        "Heat in the pack.",
        Cell::Number(|event| event.heat_kj),
    ),
    column(
        "heat_peak_kw",
        "kW",
        "Highest heat rate, mean over 0.2 s.",
        Cell::Number(|event| event.heat_peak_kw),
    ),
    column(
        "heat_mean_kw",
        "kW",
        "Mean heat rate.",
        Cell::Number(|event| event.heat_mean_kw),
    ),
    column(
        "slip_distance_m",
        "m",
        "Way the linings slid at their mean radius.",
        Cell::Number(|event| event.slip_distance_m),
    ),
    column(
        "partial_heat_making_s",
        "s",
        "Time in heat-making partial engagement.",
        Cell::Number(|event| event.partial_heat_making_s),
    ),
    column(
        "speed_peak_m_per_s",
        "m/s",
        "Highest road speed.",
        Cell::Number(|event| event.speed_peak_m_per_s),
    ),
    column(
        "broken",
        "",
        "A gap lies in it or the log cuts it off: length, heat and times are lower bounds.",
        Cell::Truth(|event| event.is_broken),
    ),
];

const FIGURES: &[Column<Figure>] = &[
    column(
        "name",
        "",
        "Stable name, the key in report.json.",
        Cell::Text(|figure| figure.name),
    ),
    column(
        "title",
        "",
        "What it is called on a page.",
        Cell::Text(|figure| figure.title),
    ),
    column(
        "value",
        "",
        "The number, in the unit beside it; null when it is not known.",
        Cell::Number(|figure| figure.outcome.as_ref().ok().map(|known| known.value)),
    ),
    column(
        "unit",
        "",
        "Unit of value, low and high.",
        Cell::Text(|figure| figure.unit),
    ),
    column(
        "low",
        "",
        "Lower end of the 90 % interval.",
        Cell::Number(|figure| figure.outcome.as_ref().ok().map(|known| known.low)),
    ),
    column(
        "high",
        "",
        "Upper end of the 90 % interval.",
        Cell::Number(|figure| figure.outcome.as_ref().ok().map(|known| known.high)),
    ),
    column(
        "at_least",
        "",
        "A gap hid a part: the truth is this or more.",
        Cell::Truth(|figure| figure.outcome.as_ref().is_ok_and(|known| known.is_at_least)),
    ),
    column(
        "grade",
        "",
        "A to D; null without a number.",
        Cell::TextOrNull(|figure| figure.grade.map(|grade| grade.letter())),
    ),
    column(
        "method",
        "",
        "How it was made.",
        Cell::Text(|figure| &figure.method),
    ),
    column(
        "why_null",
        "",
        "Why there is no number.",
        Cell::WordsOrNull(|figure| figure.outcome.as_ref().err().map(ToString::to_string)),
    ),
];

const GAPS: &[Column<Gap>] = &[
    column(
        "channel",
        "",
        "Name of the channel, or `whole log`.",
        Cell::Text(|gap| &gap.channel),
    ),
    column(
        "start_ns",
        "ns",
        "Last sample before it.",
        Cell::Whole(|gap| gap.span.start.0),
    ),
    column(
        "end_ns",
        "ns",
        "First sample after it.",
        Cell::Whole(|gap| gap.span.end.0),
    ),
    column(
        "duration_s",
        "s",
        "Its length.",
        Cell::Number(|gap| Some(gap.span.seconds())),
    ),
];

fn finding_columns<'a>() -> [Column<FindingRow<'a>>; 10] {
    [
        column(
            "id",
            "",
            "Stable word of the finding.",
            Cell::Text(|row| row.finding.id.word()),
        ),
        column(
            "title",
            "",
            "What it is called on a page.",
            Cell::Text(|row| row.finding.title),
        ),
        column(
            "severity",
            "",
            "note, look-soon, act or stop.",
            Cell::Text(|row| row.finding.severity.word()),
        ),
        column(
            "grade",
            "",
            "How far it can be trusted, A to D.",
            Cell::Text(|row| row.finding.grade.letter()),
        ),
        column(
            "start_ns",
            "ns",
            "When the stretch that shows it begins; null for the whole drive.",
            Cell::WholeOrNull(|row| row.span.map(|span| span.start.0)),
        ),
        column(
            "end_ns",
            "ns",
            "When the stretch ends; null for the whole drive.",
            Cell::WholeOrNull(|row| row.span.map(|span| span.end.0)),
        ),
        column(
            "evidence",
            "",
            "What was measured in the stretch, with units.",
            Cell::TextOrNull(|row| row.evidence.as_deref()),
        ),
        column(
            "text",
            "",
            "What was seen, against which limit.",
            Cell::Text(|row| &row.finding.summary),
        ),
        column(
            "could_also_be",
            "",
            "What else could look like this.",
            Cell::Text(|row| row.finding.could_also_be),
        ),
        column(
            "next_check",
            "",
            "What to check next, by hand.",
            Cell::Text(|row| row.finding.next_check),
        ),
    ]
}

const LAPS: &[Column<Lap>] = &[
    column(
        "lap",
        "",
        "Its number, from 1.",
        Cell::Whole(|lap| i64::from(lap.number)),
    ),
    column("start_ns", "ns", START, Cell::Whole(|lap| lap.span.start.0)),
    column("end_ns", "ns", END, Cell::Whole(|lap| lap.span.end.0)),
    column(
        "length_m",
        "m",
        "Its length.",
        Cell::Number(|lap| Some(lap.length_m)),
    ),
    column(
        "heat_kj",
        "kJ",
        "Heat in the pack.",
        Cell::Number(|lap| lap.heat_kj),
    ),
    column(
        "oil_max_c",
        "degC",
        "Highest oil temperature.",
        Cell::Number(|lap| lap.oil_max_c),
    ),
    column(
        "at_least",
        "",
        "A gap hides a part: the heat is this or more.",
        Cell::Truth(|lap| lap.is_at_least),
    ),
];

const CORNERS: &[Column<Corner>] = &[
    column(
        "lap",
        "",
        "Lap it belongs to, from 1; null outside laps.",
        Cell::WholeOrNull(|corner| corner.lap.map(i64::from)),
    ),
    column(
        "number",
        "",
        "Its number within the lap, the same in every lap; outside laps in order of driving.",
        Cell::Whole(|corner| i64::from(corner.number)),
    ),
    column(
        "start_ns",
        "ns",
        START,
        Cell::Whole(|corner| corner.span.start.0),
    ),
    column("end_ns", "ns", END, Cell::Whole(|corner| corner.span.end.0)),
    column(
        "start_m",
        "m",
        "Where it begins, from the start of the lap, or of the drive outside laps.",
        Cell::Number(|corner| Some(corner.start_m)),
    ),
    column(
        "length_m",
        "m",
        "Its length.",
        Cell::Number(|corner| Some(corner.length_m)),
    ),
    column(
        "turned_deg",
        "deg",
        "Change of heading, positive to the left.",
        Cell::Number(|corner| Some(corner.turned_deg)),
    ),
    column(
        "entry_speed_m_per_s",
        "m/s",
        "Road speed where it begins.",
        Cell::Number(|corner| Some(corner.entry_speed_m_per_s)),
    ),
    column(
        "least_speed_m_per_s",
        "m/s",
        "Lowest road speed in it.",
        Cell::Number(|corner| Some(corner.least_speed_m_per_s)),
    ),
    column(
        "heat_kj",
        "kJ",
        "Heat in the pack.",
        Cell::Number(|corner| corner.heat_kj),
    ),
    column(
        "at_least",
        "",
        "A gap hides a part: the heat is this or more.",
        Cell::Truth(|corner| corner.is_at_least),
    ),
];

/// Writes the engagement events, one a row.
pub fn write_events<W: Write + Send>(out: W, events: &[Event], about: &About) -> Result<(), Error> {
    write(out, "halfshaft-events/1", EVENTS, events, about, &[])
}

/// Writes the figures, one a row.
pub fn write_figures<W: Write + Send>(
    out: W,
    figures: &[Figure],
    about: &About,
) -> Result<(), Error> {
    write(out, "halfshaft-figures/1", FIGURES, figures, about, &[])
}

/// Writes the longest gaps, one a row; how many there are in all is in the metadata.
pub fn write_gaps<W: Write + Send>(out: W, quality: &Quality, about: &About) -> Result<(), Error> {
    let more = [("gaps", quality.n_gaps.to_string())];
    write(out, "halfshaft-gaps/1", GAPS, &quality.gaps, about, &more)
}

/// Writes the findings, one stretch of evidence a row.
pub fn write_findings<W: Write + Send>(
    out: W,
    findings: &[Finding],
    about: &About,
) -> Result<(), Error> {
    let mut rows = Vec::new();
    for finding in findings {
        if finding.evidence.is_empty() {
            rows.push(FindingRow {
                finding,
                span: None,
                evidence: None,
            });
        }
        rows.extend(finding.evidence.iter().map(|window| FindingRow {
            finding,
            span: Some(window.span),
            evidence: Some(in_words(window)),
        }));
    }
    write(
        out,
        "halfshaft-findings/1",
        &finding_columns(),
        &rows,
        about,
        &[],
    )
}

fn in_words(window: &EvidenceWindow) -> String {
    let values = window.values.iter();
    let words: Vec<String> = values
        .map(|value| {
            let text = format!("{} {} {}", value.name, value.value, value.unit);
            text.trim_end().to_owned()
        })
        .collect();
    words.join("; ")
}

/// Writes the laps, one a row; how they were found is in the metadata.
pub fn write_laps<W: Write + Send>(out: W, laps: &Laps, about: &About) -> Result<(), Error> {
    let method = match &laps.method {
        Ok(method) => (*method).to_owned(),
        Err(reason) => format!("no laps: {reason}"),
    };
    let more = [("laps", method)];
    write(out, "halfshaft-laps/1", LAPS, &laps.laps, about, &more)
}

/// Writes the corners, one a row; how many there are in all is in the metadata.
pub fn write_corners<W: Write + Send>(out: W, laps: &Laps, about: &About) -> Result<(), Error> {
    let more = [("corners", laps.n_corners.to_string())];
    write(
        out,
        "halfshaft-corners/1",
        CORNERS,
        &laps.corners,
        about,
        &more,
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::{Opened, about, open};
    use halfshaft_health::{Estimate, EvidenceValue, FindingId, Grade, Severity};
    use halfshaft_model::Time;

    fn span(start: i64, end: i64) -> Span {
        Span {
            start: Time(start),
            end: Time(end),
        }
    }

    #[track_caller]
    fn written(write: impl FnOnce(&mut Vec<u8>) -> Result<(), Error>) -> Opened {
        let mut bytes = Vec::new();
        write(&mut bytes).expect("memory does not fail");
        open(bytes)
    }

    fn text(text: &str) -> Option<String> {
        Some(text.to_owned())
    }

    #[test]
    fn events_keep_what_is_unknown_as_null() {
        let whole = Event {
            kind: EventKind::Command,
            span: span(1, 2_000_000_001),
            command_peak: Some(0.5),
            slip_peak: Some(3.0),
            heat_kj: Some(1.25),
            heat_peak_kw: Some(2.0),
            heat_mean_kw: Some(0.625),
            slip_distance_m: None,
            partial_heat_making_s: Some(1.5),
            speed_peak_m_per_s: Some(20.0),
            is_broken: false,
        };
        let blind = Event {
            kind: EventKind::SlipOnly,
            command_peak: None,
            heat_kj: None,
            is_broken: true,
            ..whole.clone()
        };
        let table = written(|out| write_events(out, &[whole, blind], &about()));
        assert_eq!(table.texts("kind"), [text("command"), text("slip-only")]);
        assert_eq!(table.whole("end_ns"), [Some(2_000_000_001); 2]);
        assert_eq!(table.numbers("duration_s"), [Some(2.0); 2]);
        assert_eq!(table.numbers("command_peak"), [Some(0.5), None]);
        assert_eq!(table.numbers("heat_kj"), [Some(1.25), None]);
        assert_eq!(table.numbers("heat_mean_kw"), [Some(0.625); 2]);
        assert_eq!(table.truths("broken"), [Some(false), Some(true)]);
        assert_eq!(table.note("heat_kj", "unit"), "kJ");
        assert_eq!(table.key("halfshaft.inputs"), "aa bb");
        assert_eq!(table.key("halfshaft.settings.changed"), "oil.warn_c=120.0");
        assert_eq!(
            table.key("halfshaft.baseline"),
            "rise_time_s=0.12 of 2 drives"
        );
    }

    #[test]
    fn a_figure_has_a_number_or_a_reason() {
        let known = Figure {
            name: "heat_total",
            title: "Heat",
            unit: "kJ",
            outcome: Ok(Estimate {
                value: 2.0,
                low: 1.0,
                high: 3.0,
                is_at_least: true,
            }),
            grade: Some(Grade::C),
            method: "summed".to_owned(),
        };
        let unknown = Figure {
            outcome: Err("no torque".to_owned().into()),
            grade: None,
            ..known.clone()
        };
        let table = written(|out| write_figures(out, &[known, unknown], &about()));
        assert_eq!(table.numbers("value"), [Some(2.0), None]);
        assert_eq!(table.numbers("low"), [Some(1.0), None]);
        assert_eq!(table.numbers("high"), [Some(3.0), None]);
        assert_eq!(table.texts("why_null"), [None, text("no torque")]);
        assert_eq!(table.texts("grade"), [text("C"), None]);
        assert_eq!(table.truths("at_least"), [Some(true), Some(false)]);
    }

    #[test]
    fn a_finding_is_a_row_for_each_stretch_that_shows_it() {
        let window = |start, value| EvidenceWindow {
            span: span(start, start + 10),
            values: vec![EvidenceValue {
                name: "rise time",
                value,
                unit: "s",
            }],
        };
        let finding = Finding {
            id: FindingId::LazyActuator,
            title: "Slow motor",
            severity: Severity::LookSoon,
            grade: Grade::B,
            summary: "0.4 s against 0.2 s".to_owned(),
            evidence: vec![window(5, 0.5), window(50, 0.25)],
            could_also_be: "cold oil",
            next_check: "measure the winding",
            withdrawn_if: "it is quick when warm",
        };
        let general = Finding {
            evidence: Vec::new(),
            ..finding.clone()
        };
        let table = written(|out| write_findings(out, &[finding, general], &about()));
        assert_eq!(table.whole("start_ns"), [Some(5), Some(50), None]);
        assert_eq!(table.whole("end_ns"), [Some(15), Some(60), None]);
        let evidence = [text("rise time 0.5 s"), text("rise time 0.25 s"), None];
        assert_eq!(table.texts("evidence"), evidence);
        assert_eq!(table.texts("severity"), vec![text("look-soon"); 3]);
        assert_eq!(table.texts("text")[2], text("0.4 s against 0.2 s"));
    }

    #[test]
    fn laps_and_corners() {
        let corner = Corner {
            span: span(7, 9),
            lap: Some(2),
            number: 3,
            start_m: 100.0,
            length_m: 50.0,
            turned_deg: -90.0,
            entry_speed_m_per_s: 20.0,
            least_speed_m_per_s: 15.0,
            heat_kj: None,
            is_at_least: true,
        };
        let outside = Corner {
            lap: None,
            heat_kj: Some(0.5),
            ..corner.clone()
        };
        let lap = Lap {
            number: 2,
            span: span(1, 99),
            length_m: 3000.0,
            heat_kj: Some(4.0),
            oil_max_c: None,
            is_at_least: false,
        };
        let laps = Laps {
            method: Ok("by the repeated path"),
            laps: vec![lap],
            corners: vec![corner, outside],
            n_corners: 12,
        };
        let table = written(|out| write_corners(out, &laps, &about()));
        assert_eq!(table.whole("lap"), [Some(2), None]);
        assert_eq!(table.whole("number"), [Some(3); 2]);
        assert_eq!(table.numbers("turned_deg"), [Some(-90.0); 2]);
        assert_eq!(table.numbers("heat_kj"), [None, Some(0.5)]);
        assert_eq!(table.key("halfshaft.corners"), "12");
        let table = written(|out| write_laps(out, &laps, &about()));
        assert_eq!(table.numbers("oil_max_c"), [None]);
        assert_eq!(table.whole("end_ns"), [Some(99)]);
        assert_eq!(table.key("halfshaft.laps"), "by the repeated path");
    }

    #[test]
    fn the_page_names_every_column_with_its_unit_and_every_derived_channel() {
        let page = include_str!("../../../docs/export.md");
        let row = |name: &str, unit: &str| {
            let wanted = format!("| `{name}` | {unit} |").replace("|  |", "| |");
            assert!(page.contains(&wanted), "no row `{wanted}`");
        };
        fn rows<T>(columns: &[Column<T>], row: &dyn Fn(&str, &str)) {
            for column in columns {
                row(column.name, column.unit);
            }
        }
        rows(EVENTS, &row);
        rows(FIGURES, &row);
        rows(GAPS, &row);
        rows(&finding_columns(), &row);
        rows(LAPS, &row);
        rows(CORNERS, &row);
        for channel in &crate::channels::DERIVED {
            row(channel.name, channel.unit);
        }
        for (key, _) in about().pairs("") {
            assert!(page.contains(&format!("`{key}`")), "{key}");
        }
    }
}
