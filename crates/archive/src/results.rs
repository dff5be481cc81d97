//! The small tables: events, figures, gaps, findings, laps, corners, answers of the actuator, the
//! bench cycle.
//!
//! A row is a part of the record, or a row beside it in [`halfshaft_record::rows`]: names, units and
//! meanings of the columns are those of its fields. To add a column, add its field.

use std::io::Write;

use halfshaft_health::actuator::Actuator;
use halfshaft_health::duty::BenchCycle;
use halfshaft_health::{Event, Figure, Finding, Laps, Quality, Reason};
use halfshaft_record::rows::{BenchRow, FigureRow, FindingRow, ResponseRow};
use halfshaft_record::schema::{Column, columns};
use halfshaft_record::{figures, laps, quality};

use crate::about::About;
use crate::table::{Error, write};

/// The columns of a table.
pub type Columns = fn() -> Vec<Column>;

/// Every table with its columns, for its page.
pub const TABLES: &[(&str, Columns)] = &[
    ("events", columns::<figures::Event>),
    ("figures", columns::<FigureRow>),
    ("findings", columns::<FindingRow>),
    ("laps", lap_columns),
    ("corners", columns::<laps::Corner>),
    ("bench_cycle", columns::<BenchRow>),
    ("responses", columns::<ResponseRow>),
    ("gaps", columns::<quality::Gap>),
];

/// The number of a lap has the name it has beside a corner.
fn lap_columns() -> Vec<Column> {
    let mut columns = columns::<laps::Lap>();
    for column in &mut columns {
        if column.name == "number" {
            column.name = "lap".to_owned();
        }
    }
    columns
}

/// Writes the engagement events, one a row.
pub fn write_events<W: Write + Send>(out: W, events: &[Event], about: &About) -> Result<(), Error> {
    let rows = events.iter().map(figures::Event::of);
    let columns = columns::<figures::Event>();
    write(out, "halfshaft-events/1", &columns, rows, about, &[])
}

/// Writes the figures, one a row.
pub fn write_figures<W: Write + Send>(
    out: W,
    figures: &[Figure],
    about: &About,
) -> Result<(), Error> {
    let rows = figures.iter().map(FigureRow::of);
    let columns = columns::<FigureRow>();
    write(out, "halfshaft-figures/1", &columns, rows, about, &[])
}

/// Writes the longest gaps, one a row; how many there are in all is in the metadata.
pub fn write_gaps<W: Write + Send>(out: W, quality: &Quality, about: &About) -> Result<(), Error> {
    let more = [("gaps", quality.n_gaps.to_string())];
    let rows = quality.gaps.iter().map(quality::Gap::of);
    let columns = columns::<quality::Gap>();
    write(out, "halfshaft-gaps/1", &columns, rows, about, &more)
}

/// Writes the findings, one stretch of evidence a row; a finding about the whole drive is a row
/// without a stretch.
pub fn write_findings<W: Write + Send>(
    out: W,
    findings: &[Finding],
    about: &About,
) -> Result<(), Error> {
    let rows = findings.iter().flat_map(|finding| {
        let whole = finding
            .evidence
            .is_empty()
            .then(|| FindingRow::of((finding, None)));
        let windows = finding.evidence.iter();
        whole
            .into_iter()
            .chain(windows.map(move |window| FindingRow::of((finding, Some(window)))))
    });
    let columns = columns::<FindingRow>();
    write(out, "halfshaft-findings/1", &columns, rows, about, &[])
}

/// Writes the laps, one a row; how they were found is in the metadata.
pub fn write_laps<W: Write + Send>(out: W, laps: &Laps, about: &About) -> Result<(), Error> {
    let method = match &laps.method {
        Ok(method) => (*method).to_owned(),
        Err(reason) => format!("no laps: {reason}"),
    };
    let more = [("laps", method)];
    let rows = laps.laps.iter().map(laps::Lap::of);
    write(out, "halfshaft-laps/1", &lap_columns(), rows, about, &more)
}

/// Writes the corners, one a row; how many there are in all is in the metadata.
pub fn write_corners<W: Write + Send>(out: W, laps: &Laps, about: &About) -> Result<(), Error> {
    let more = [("corners", laps.n_corners.to_string())];
    let rows = laps.corners.iter().map(laps::Corner::of);
    let columns = columns::<laps::Corner>();
    write(out, "halfshaft-corners/1", &columns, rows, about, &more)
}

/// Writes the answers of the actuator to edges of the command, one a row; the channel that
/// answered, or why there are no answers, is in the metadata.
pub fn write_responses<W: Write + Send>(
    out: W,
    actuator: &Result<Actuator, Reason>,
    about: &About,
) -> Result<(), Error> {
    let (responses, source) = match actuator {
        Ok(actuator) => (
            actuator.responses.as_slice(),
            actuator.signal.clone().unwrap_or_default(),
        ),
        Err(why) => (&[][..], format!("no answers: {why}")),
    };
    let more = [("responses", source)];
    let rows = responses.iter().map(ResponseRow::of);
    let columns = columns::<ResponseRow>();
    write(out, "halfshaft-responses/1", &columns, rows, about, &more)
}

/// Writes the steps of the bench cycle, one a row; which share of the heat they hold, and of
/// how many the heat is a lower bound, is in the metadata.
pub fn write_bench_cycle<W: Write + Send>(
    out: W,
    cycle: &BenchCycle,
    about: &About,
) -> Result<(), Error> {
    let share = cycle
        .heat_share
        .map_or_else(|| "not known".to_owned(), |share| share.to_string());
    let more = [
        ("bench.heat_share", share),
        ("bench.at_least", cycle.n_at_least.to_string()),
    ];
    let rows = (1..).zip(&cycle.steps).map(BenchRow::of);
    let columns = columns::<BenchRow>();
    write(out, "halfshaft-bench-cycle/1", &columns, rows, about, &more)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::{Opened, about, open};
    use halfshaft_health::FigureId;
    use halfshaft_health::actuator::Motor;
    use halfshaft_health::duty::BenchStep;
    use halfshaft_health::response::{Direction, Edge, Response, Unusable};
    use halfshaft_health::{
        Corner, Estimate, EventKind, EvidenceValue, EvidenceWindow, FindingId, Grade, Lap, Severity,
    };
    use halfshaft_model::{Span, Time};

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
            id: FigureId::HeatTotal,
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
            owner_sees: "Something is not as it should be.",
            owner_does: "Have a workshop look at it.",
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
            oil_c: Some(91.0),
            supply_v: None,
            is_at_least: true,
        };
        let outside = Corner {
            lap: None,
            heat_kj: Some(0.5),
            ..corner.clone()
        };
        let lap = Lap {
            number: 2,
            stint: Some(1),
            span: span(1, 99),
            length_m: 3000.0,
            heat_kj: Some(4.0),
            oil_max_c: None,
            oil_rise_k: Some(1.5),
            throttle: None,
            is_at_least: false,
        };
        let laps = Laps {
            method: Ok("by the repeated path"),
            laps: vec![lap],
            corners: vec![corner, outside],
            n_corners: 12,
            course: None,
            going_on: None,
        };
        let table = written(|out| write_corners(out, &laps, &about()));
        assert_eq!(table.whole("lap"), [Some(2), None]);
        assert_eq!(table.whole("number"), [Some(3); 2]);
        assert_eq!(table.numbers("turned_deg"), [Some(-90.0); 2]);
        assert_eq!(table.numbers("heat_kj"), [None, Some(0.5)]);
        assert_eq!(table.numbers("oil_c"), [Some(91.0); 2]);
        assert_eq!(table.key("halfshaft.corners"), "12");
        let table = written(|out| write_laps(out, &laps, &about()));
        assert_eq!(table.numbers("oil_max_c"), [None]);
        assert_eq!(table.numbers("oil_rise_k"), [Some(1.5)]);
        assert_eq!(table.whole("end_ns"), [Some(99)]);
        assert_eq!(table.key("halfshaft.laps"), "by the repeated path");
    }

    #[test]
    fn a_step_keeps_what_is_unknown_as_null() {
        let step = BenchStep {
            slip_rad_per_s: Some(4.0),
            torque_nm: None,
            duration_s: 1.5,
            energy_j: 900.0,
            power_w_per_mm2: Some(0.25),
            peak_w_per_mm2: None,
            count: 7,
            pause_s: None,
            oil_temp_c: Some(80.0),
        };
        let cycle = BenchCycle {
            steps: vec![step.clone(), BenchStep { count: 8, ..step }],
            heat_share: Some(0.875),
            n_at_least: 1,
        };
        let mut bytes = Vec::new();
        write_bench_cycle(&mut bytes, &cycle, &about()).expect("memory does not fail");
        let table = open(bytes);
        assert_eq!(table.whole("step"), [Some(1), Some(2)]);
        assert_eq!(table.whole("count"), [Some(7), Some(8)]);
        assert_eq!(table.numbers("slip_rad_per_s"), [Some(4.0); 2]);
        assert_eq!(table.numbers("torque_nm"), [None; 2]);
        assert_eq!(table.numbers("energy_j"), [Some(900.0); 2]);
        assert_eq!(table.numbers("pause_s"), [None; 2]);
        assert_eq!(table.note("power_w_per_mm2", "unit"), "W/mm2");
        assert_eq!(table.key("halfshaft.bench.heat_share"), "0.875");
        assert_eq!(table.key("halfshaft.bench.at_least"), "1");
    }

    fn refused(direction: Direction) -> Response {
        Response {
            edge: Edge {
                direction,
                began: Time(5),
                half: Time(7),
                ended: Time(9),
                first_new: Time(6),
                from: 0.25,
                to: 0.75,
                quickest: 0.5,
                run: 0,
            },
            signal: Some(3),
            resolution: None,
            phase: None,
            gone_before: None,
            fit: Err(Unusable::BrokenOff),
            crossings: Err(Unusable::BrokenOff),
            steady_error: None,
            oil_c: Some(60.0),
            supply_v: None,
        }
    }

    #[test]
    fn an_answer_without_a_fit_has_its_reason_and_no_times() {
        let responses = vec![refused(Direction::Engage), refused(Direction::Release)];
        let signal = Some("clutch.position".to_owned());
        let actuator = Actuator::of(responses, None, signal, Motor::default());
        let mut bytes = Vec::new();
        write_responses(&mut bytes, &Ok(actuator), &about()).expect("memory does not fail");
        let table = open(bytes);
        let text = |text: &str| Some(text.to_owned());
        assert_eq!(table.whole("time_ns"), [Some(7); 2]);
        assert_eq!(table.texts("direction"), [text("engage"), text("release")]);
        assert_eq!(table.numbers("to"), [Some(0.75); 2]);
        assert_eq!(table.numbers("dead_time_s"), [None; 2]);
        assert_eq!(table.numbers("oil_c"), [Some(60.0); 2]);
        assert_eq!(table.numbers("supply_v"), [None; 2]);
        let reason = Unusable::BrokenOff.text();
        assert_eq!(table.texts("reason"), [text(reason), text(reason)]);
        assert_eq!(table.key("halfshaft.responses"), "clutch.position");
    }

    #[test]
    fn without_answers_the_reason_is_in_the_metadata() {
        let mut bytes = Vec::new();
        let none = Err("no channel".to_owned().into());
        write_responses(&mut bytes, &none, &about()).expect("memory does not fail");
        let table = open(bytes);
        assert!(table.whole("time_ns").is_empty());
        assert_eq!(table.key("halfshaft.responses"), "no answers: no channel");
    }
}
