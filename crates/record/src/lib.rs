//! What is stored of a drive: one record, written and read by one definition.
//!
//! In: [`Results`] and the facts of the run, joined in a [`Document`]; or the bytes of a
//! `report.json` of this or an older version. Out: a [`Record`], and the same as text. Keys stand
//! in the order of the fields; numbers have full precision; what is not known is null and never 0,
//! and so is what is not finite. The text above a field is its description in the schema and in
//! the tables, the brackets behind its type hold its unit. Nothing here computes a figure or opens
//! a file.
//!
//! ```text
//! document  what a report is made of
//! read      bytes to a record, and old versions to this one
//! schema    the JSON schema, and the columns of a table, out of the definition
//! keys      the keys as a page to read, out of the same
//! value     numbers that may be unknown, results or reasons, stretches
//! session   what two drives are compared by
//! rows      rows of the tables that are no part of report.json
//! the rest  the parts of the record, a file each
//! ```

mod macros;

pub mod actuator;
pub mod calibration;
pub mod document;
pub mod duty;
pub mod figures;
pub mod findings;
pub mod for_comparison;
pub mod held;
pub mod keys;
pub mod laps;
pub mod oil;
pub mod outlook;
pub mod quality;
pub mod read;
pub mod rows;
pub mod run;
pub mod schema;
mod session;
pub mod thermal;
pub mod trust;
pub mod use_class;
pub mod value;
pub mod verdict;

pub use document::Document;
pub use read::Error;

use halfshaft_health::Results;

use crate::actuator::{Actuator, Apparent};
use crate::calibration::Calibration;
use crate::duty::{Duty, SeverityIndex};
use crate::figures::{DutyPicture, Event, Figure, Regions};
use crate::findings::{Finding, NotChecked, Path, TwoByTwo};
use crate::for_comparison::ForComparison;
use crate::held::HeldTorque;
use crate::laps::{Laps, Mark};
use crate::macros::stored;
use crate::oil::Oil;
use crate::outlook::Outlook;
use crate::quality::{CannotTell, NoiseFloor, Quality, Tier};
use crate::run::{Clock, Input, Map, Notice, Setting, Workshop};
use crate::thermal::Thermal;
use crate::trust::{Judged, judged};
use crate::use_class::Class;
use crate::value::{Ordered, Outcome, foreign, known};
use crate::verdict::Verdict;

/// Name and version of the form. A change that breaks a reader raises it: the new number, and in
/// [`read`] the step from the old one.
pub const SCHEMA: &str = "halfshaft-report/3";

stored! {
    /// What `halfshaft report` writes to report.json. What is not known is null, never 0.
    /// docs/report.md explains it.
    #[schemars(title = "halfshaft report")]
    Record of document: &Document;
    {
        let results: &Results = document.results;
    }
    /// Name and version of the form.
    #[schemars(extend("const" = SCHEMA))]
    schema: String = SCHEMA.to_owned(),
    /// Version of the program.
    tool_version: String = document.program_version.to_owned(),
    /// The signal map.
    map: Map = Map::of(&document.map),
    /// The logs, in the order they were given.
    inputs: Vec<Input> =
        document.inputs.iter().map(|input| Input::of((input, &document.clock))).collect(),
    /// What the stamps count from.
    clock: Clock = Clock::of(&document.clock),
    /// The log still goes on: values that need the whole drive may change.
    provisional: bool = results.is_provisional,
    /// Time of the latest entry, since the first.
    until_ns: i64 ["ns"] = results.until.0,
    /// The same in seconds.
    until_s: f64 ["s"] = results.until.seconds(),
    /// What the channels allow.
    tier: Tier = Tier::of(&results.tier),
    /// How good the log is.
    quality: Quality = Quality::of(&results.quality),
    /// What of the log is not believed, or with a caution; empty when all is.
    trust: Vec<Judged> = judged(&results.trust),
    /// Figures by name.
    figures: Ordered<Figure> =
        results.figures.iter().map(|figure| (figure.id.word(), Figure::of(figure))).collect(),
    /// Engagement events in order of time.
    events: Vec<Event> = results.events.iter().map(Event::of).collect(),
    /// Time and heat by region.
    regions: Regions = Regions::of(&results.regions),
    /// The noise of the slip; null when there was too little to learn from.
    noise_floor: Option<NoiseFloor> = results.noise_floor.as_ref().map(NoiseFloor::of),
    /// ln(right / left rolling speed) learned from this drive.
    tyre_ratio_log: Option<f64> ["1"] = known(results.tyre_ratio_log),
    /// Questions left open.
    cannot_tell: Vec<CannotTell> = results.cannot_tell.iter().map(CannotTell::of).collect(),
    /// What looks wrong when log and map are compared; empty when nothing does.
    sanity: Vec<String> = document.remarks.iter().map(|remark| foreign(remark)).collect(),
    /// Damaged data by kind.
    notices: Vec<Notice> = document.notices.iter().map(Notice::of).collect(),
    /// The findings in one word, what is still open, and by when to act; left out of a report made
    /// before the verdict was stored.
    #[serde(skip_serializing_if = "Option::is_none")]
    verdict: Option<Verdict> = Some(Verdict::of(&results.verdict)),
    /// What the car shows, gravest first.
    findings: Vec<Finding> = results.findings.iter().map(Finding::of).collect(),
    /// Findings that could not be looked for.
    not_checked: Vec<NotChecked> = results.not_checked.iter().map(NotChecked::of).collect(),
    /// How the car was used.
    class: Class = Class::of(results),
    /// What straight running shows of the rear tyres.
    calibration: Calibration = Calibration::of(&results.calibration),
    /// Laps and corners.
    laps: Laps = Laps::of(&results.laps),
    /// Notes of whoever was there, in order of time; missing in a report made before they were stored.
    #[serde(default)]
    marks: Vec<Mark> = results.marks.iter().map(Mark::of).collect(),
    /// Time and heat by torque and slip.
    duty_picture: DutyPicture = DutyPicture::of(&results.duty_picture),
    /// How quickly the clutch answers.
    actuator: Outcome<Actuator> = Outcome::of(&results.actuator, Actuator::of),
    /// From the command to where the slip has fallen, where nothing else says how quickly the clutch
    /// answers; else null.
    apparent: Option<Apparent> = results.apparent.as_ref().map(Apparent::of),
    /// Temperatures of pack, oil and housing.
    thermal: Outcome<Thermal> = Outcome::of(&results.thermal, Thermal::of),
    /// How hard the drive was on the discs.
    duty: Duty = Duty::of(results),
    /// The same as one number.
    severity: Outcome<SeverityIndex> = Outcome::of(&results.severity, SeverityIndex::of),
    /// How fast the oil was used up.
    oil: Oil = Oil::of(&results.oil_life),
    /// What comes next if the drive goes on as in its last minute.
    outlook: Outcome<Outlook> = Outcome::of(&results.outlook, Outlook::of),
    /// Failure paths: evidence for, against, and what cannot be told.
    score_card: Vec<Path> = results.score_card.iter().map(Path::of).collect(),
    /// Torque the pack holds at each command, by the tyres in steady bends.
    held_torque: Outcome<HeldTorque> = Outcome::of(&results.held_torque, HeldTorque::of),
    /// Whether mechanism and friction follow the command.
    two_by_two: Outcome<TwoByTwo> = Outcome::of(&results.two_by_two, TwoByTwo::of),
    /// What the figures rest on.
    assumptions: Vec<String> = results.assumptions.iter().map(|text| foreign(text)).collect(),
    /// What later reports of the same car compare with.
    for_comparison: ForComparison = ForComparison::of(document),
    /// With which earlier drives this one was compared; null when with none.
    compared_with: Option<String> = document.compared_with.as_deref().map(foreign),
    /// Limits that were not the usual ones.
    settings_changed: Vec<Setting> = results.settings_changed.iter().map(Setting::of).collect(),
    /// What a workshop stated with the options; null when nothing.
    workshop: Option<Workshop> = document.workshop.as_ref().map(Workshop::of),
    /// The command that makes this report again.
    command: String = foreign(&document.command),
}

impl Record {
    /// The record as text, pretty printed, with a newline at its end.
    pub fn write(&self) -> String {
        let mut text = serde_json::to_string_pretty(self).expect(
            "a record holds only numbers, text, lists and objects with text keys, written to memory",
        );
        text.push('\n');
        text
    }
}
