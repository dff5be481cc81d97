//! What the sentences and the page say in particular cases.

use crate::sample;
use halfshaft_health::FigureId;
use halfshaft_health::{Estimate, Finding, FindingId, Grade, Results, Severity};
use halfshaft_model::Notices;
use halfshaft_report::{html, sentences, terminal};

fn set(results: &mut Results, id: FigureId, outcome: Result<(f64, f64, f64, bool), &str>) {
    let figure = results
        .figures
        .iter_mut()
        .find(|figure| figure.id == id)
        .unwrap();
    figure.outcome = match outcome {
        Ok((value, low, high, is_at_least)) => Ok(Estimate {
            value,
            low,
            high,
            is_at_least,
        }),
        Err(why) => Err(why.to_owned().into()),
    };
}

#[track_caller]
fn check_headline(spoil: impl Fn(&mut Results), text: &str) {
    let mut results = sample::track_day();
    spoil(&mut results);
    assert_eq!(sentences::headline(&results).replace('\u{a0}', " "), text);
}

#[test]
fn the_headline_says_what_is_known_and_why_the_rest_is_not() {
    check_headline(
        |_| {},
        "The clutch slipped under load for 41.2 s (38.0 to 44.5), 2.74 % of the moving time, \
         and took at least 212 kJ of heat (158 to 266).",
    );
    check_headline(
        |results| set(results, FigureId::HeatTotal, Err("no torque is known")),
        "The clutch slipped under load for 41.2 s (38.0 to 44.5), 2.74 % of the moving time; \
         how much heat it took is not known: no torque is known.",
    );
    check_headline(
        |results| {
            set(
                results,
                FigureId::PartialHeatMaking,
                Err("no clutch.command"),
            )
        },
        "The clutch pack took at least 212 kJ of heat (158 to 266); how long it slipped under load is not \
         known: no clutch.command.",
    );
    check_headline(
        |results| {
            set(
                results,
                FigureId::PartialHeatMaking,
                Err("no rear wheel speeds"),
            );
            set(results, FigureId::HeatTotal, Err("no rear wheel speeds"));
        },
        "Neither the time slipping under load nor heat is known: no rear wheel speeds.",
    );
    check_headline(
        |results| {
            set(
                results,
                FigureId::PartialHeatMaking,
                Ok((0.0, 0.0, 0.0, false)),
            );
            set(results, FigureId::HeatTotal, Ok((1.2, 0.9, 1.5, false)));
        },
        "The clutch never slipped under load and took 1.20 kJ of heat (0.90 to 1.50).",
    );
    check_headline(
        |results| {
            set(
                results,
                FigureId::PartialHeatMaking,
                Ok((612.0, 590.0, 640.0, true)),
            );
            set(results, FigureId::MovingTime, Err("no speed"));
        },
        "The clutch slipped under load for at least 612 s (590 to 640; 10:12 min) and took at \
         least 212 kJ of heat (158 to 266).",
    );
}

#[test]
fn a_provisional_report_says_so_first() {
    let (mut results, notices) = (sample::track_day(), Notices::default());
    let is_said = |results: &Results| {
        let document = sample::document(results, &notices);
        let (page, text) = (
            html::render(&document),
            terminal::render(&document, 80, false),
        );
        (
            page.contains("Provisional: the log goes on"),
            text.contains("Provisional: the log goes on"),
        )
    };
    assert_eq!(is_said(&results), (false, false));
    results.is_provisional = true;
    assert_eq!(is_said(&results), (true, true));
}

#[test]
fn a_missing_figure_shows_its_reason_and_no_zero() {
    let (results, notices) = (sample::track_day(), Notices::default());
    let page = html::render(&sample::document(&results, &notices));
    let at = page.find("Highest oil temperature").unwrap();
    let row = &page[at..at + page[at..].find("</tr>").unwrap()];
    assert!(
        row.contains("No oil.temperature in this log.") && row.contains("–"),
        "{row}"
    );
    assert!(!row.contains("exact") && !row.contains("grade"), "{row}");
}

#[test]
fn a_log_not_fit_says_what_it_lacks_and_not_that_it_is_complete() {
    let (mut results, notices) = (sample::track_day(), Notices::default());
    results.tier.words = "complete";
    results.quality.worst_factor = "2.0 of the 10 minutes of driving that show a unit".to_owned();
    results.findings = vec![Finding {
        id: FindingId::LogNotFit,
        title: "Log not fit for a verdict",
        severity: Severity::Note,
        grade: Grade::D,
        summary: "The log is of grade D".to_owned(),
        evidence: Vec::new(),
        could_also_be: "",
        next_check: "Log again.",
        owner_sees: "Something is not as it should be.",
        owner_does: "Have a workshop look at it.",
        withdrawn_if: "",
    }];
    let results = sample::judged(results);
    let text = terminal::render(&sample::document(&results, &notices), 80, false);
    let verdict = "This log does not show enough for a verdict.\n  2.0 of the 10 minutes of driving that show a unit.";
    assert!(text.contains(verdict), "{text}");
    // A note on the use does not make it fit.
    let mut results = results;
    let note = Finding {
        id: FindingId::HardDriving,
        title: "Driven hard",
        ..results.findings[0].clone()
    };
    results.findings.push(note);
    let results = sample::judged(results);
    let text = terminal::render(&sample::document(&results, &notices), 80, false);
    assert!(text.contains(verdict), "{text}");
}

#[test]
fn a_long_list_of_events_is_capped_and_the_rest_counted() {
    let (mut results, notices) = (sample::track_day(), Notices::default());
    let event = results.events[0].clone();
    results.events = vec![event; 203];
    let page = html::render(&sample::document(&results, &notices));
    let table = &page[page.find("class=\"events\"").unwrap()..];
    let table = &table[..table.find("</table>").unwrap()];
    assert_eq!(table.matches("<tr").count(), 201);
    assert!(page.contains("And 3 more"));
    assert!(page.contains("203 engagements"));
}

#[test]
fn an_empty_document_is_still_a_whole_page() {
    let (results, notices) = (sample::nothing(), Notices::default());
    let mut document = sample::document(&results, &notices);
    document.inputs.clear();
    document.map = Default::default();
    document.command.clear();
    let page = html::render(&document);
    assert!(page.starts_with("<!DOCTYPE html>") && page.trim_end().ends_with("</html>"));
    assert!(page.contains("Unnamed vehicle") && page.contains("There is nothing to draw"));
    assert!(!page.contains("NaN"));
}

#[test]
fn actuator_and_oil_have_a_line_each_where_they_are_known() {
    use halfshaft_health::actuator::{Actuator, Motor};
    use halfshaft_health::limits::OilPolicy;
    use halfshaft_health::oil_life::{OilAgeingRate, OilInput, oil_life};
    use halfshaft_health::response::resolution::{Spread, StatedTime};
    let (mut results, notices) = (sample::track_day(), sample::notices());
    let text = terminal::render(&sample::document(&results, &notices), 100, false);
    assert!(!text.contains("Closes in") && !text.contains("uses the oil like"));
    let mut actuator = Actuator::of(Vec::new(), None, None, Motor::default());
    actuator.engage.transition_time.stated = StatedTime::Singly(Spread {
        n_events: 12,
        median: 0.168,
        p10: 0.15,
        p90: 0.2,
        variation: None,
    });
    actuator.release.transition_time.stated = StatedTime::BelowResolution { below_s: 0.33 };
    results.actuator = Ok(actuator);
    results.oil_life = oil_life(
        &OilPolicy::default(),
        &OilInput {
            rate: Ok(OilAgeingRate {
                mean_rates: [1.0; 3],
                covered_s: 3600.0,
                unseen_s: 0.0,
            }),
            heat_kj_per_km: Ok(Estimate {
                value: 10.0,
                low: 10.0,
                high: 10.0,
                is_at_least: false,
            }),
            distance_km: None,
            sensor_sd_k: 0.0,
            km_per_year: None,
            is_on_circuit: false,
        },
    );
    let text = terminal::render(&sample::document(&results, &notices), 100, false);
    let wanted =
        "Clutch           Closes in 0.168 s and releases in less than 0.330 s after the command.";
    assert!(text.contains(wanted), "{text}");
    // Derived: rate 1 · (1 + 10/10).
    assert!(
        text.contains("One km of this drive uses the oil like 2.00 km of"),
        "{text}"
    );
}
