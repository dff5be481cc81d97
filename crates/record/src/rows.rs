//! Rows of the tables that are no part of `report.json`, or stand there otherwise.

use halfshaft_health::EvidenceWindow;
use halfshaft_health::duty::BenchStep;
use halfshaft_health::response;

use crate::figures::Figure;
use crate::findings::Severity;
use crate::macros::{stored, words};
use crate::value::{Grade, known};

stored! {
    /// A figure with its name.
    FigureRow of figure: &halfshaft_health::Figure;
    /// Stable name, the key in report.json.
    name: String = figure.id.word().to_owned(),
    #[serde(flatten)]
    /// The figure.
    figure: Figure = Figure::of(figure),
}

stored! {
    /// A finding and one stretch that shows it.
    FindingRow of found: (&halfshaft_health::Finding, Option<&EvidenceWindow>);
    {
        let (finding, window) = found;
    }
    /// Stable word of the finding.
    id: String = finding.id.word().to_owned(),
    /// What it is called on a page.
    title: String = finding.title.to_owned(),
    /// note, look-soon, act or stop.
    severity: Severity = finding.severity.into(),
    /// How far it can be trusted, A to D.
    grade: Grade = finding.grade.into(),
    /// When the stretch that shows it begins; null for the whole drive.
    start_ns: Option<i64> ["ns"] = window.map(|window| window.span.start.0),
    /// When the stretch ends; null for the whole drive.
    end_ns: Option<i64> ["ns"] = window.map(|window| window.span.end.0),
    /// What was measured in the stretch, with units.
    evidence: Option<String> = window.map(in_words),
    /// What was seen, against which limit.
    text: String = finding.summary.clone(),
    /// What else could look like this.
    could_also_be: String = finding.could_also_be.to_owned(),
    /// What to check next, by hand.
    next_check: String = finding.next_check.to_owned(),
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

words! {
    /// engage or release.
    Direction of response::Direction;
    /// The clutch is to close.
    Engage = response::Direction::Engage,
    /// The clutch is to open.
    Release = response::Direction::Release,
}

stored! {
    /// One answer of the actuator to a command step.
    ResponseRow of response: &response::Response;
    {
        let fit = response.fit.ok();
    }
    /// When the command had gone half its way.
    time_ns: i64 ["ns"] = response.time().0,
    /// engage or release.
    direction: Direction = response.direction().into(),
    /// Command before, a share of full.
    from: Option<f64> ["1"] = known(response.edge.from),
    /// Command after, a share of full.
    to: Option<f64> ["1"] = known(response.edge.to),
    /// From the command to the first movement, by the fit.
    dead_time_s: Option<f64> ["s"] = known(response.dead_time_s()),
    /// Time constant of the fit; null where no reading lies on the way.
    lag_s: Option<f64> ["s"] =
        known(fit.filter(|fit| fit.lag_sd_s.is_some()).map(|fit| fit.lag_s)),
    /// From 10 to 90 % of the way, by the fit.
    rise_time_s: Option<f64> ["s"] = known(response.rise_time_s()),
    /// From a step of the command to 90 % of the way, by the fit.
    transition_time_s: Option<f64> ["s"] = known(response.transition_time_s()),
    /// Standard deviation of what the fit leaves, a share of full.
    residual: Option<f64> ["1"] = known(fit.map(|fit| fit.residual_sd)),
    /// Oil temperature.
    oil_c: Option<f64> ["degC"] = known(response.oil_c),
    /// Supply voltage.
    supply_v: Option<f64> ["V"] = known(response.supply_v),
    /// Why there is no fit; null where there is one.
    reason: Option<String> = response.fit.err().map(|reason| reason.text().to_owned()),
}

stored! {
    /// One step of the bench cycle.
    BenchRow of found: (i64, &BenchStep);
    {
        let (number, step) = found;
    }
    /// Its number, from 1.
    step: i64 = number,
    /// Slip speed.
    slip_rad_per_s: Option<f64> ["rad/s"] = known(step.slip_rad_per_s),
    /// Torque of one pack.
    torque_nm: Option<f64> ["N.m"] = known(step.torque_nm),
    /// How long it slips each time.
    duration_s: Option<f64> ["s"] = known(step.duration_s),
    /// Heat of all packs each time.
    energy_j: Option<f64> ["J"] = known(step.energy_j),
    /// Mean power per net lining area.
    power_w_per_mm2: Option<f64> ["W/mm2"] = known(step.power_w_per_mm2),
    /// Highest power per net lining area that it stands for.
    peak_w_per_mm2: Option<f64> ["W/mm2"] = known(step.peak_w_per_mm2),
    /// How often.
    count: u64 = step.count,
    /// From one such slip to the next; null when none followed.
    pause_s: Option<f64> ["s"] = known(step.pause_s),
    /// Mean oil temperature at the start.
    oil_temp_c: Option<f64> ["degC"] = known(step.oil_temp_c),
}
