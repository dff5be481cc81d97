//! Findings with their evidence, what could not be checked, and the evidence by failure path.

use halfshaft_health::score_card::PathEvidence;
use halfshaft_health::two_by_two::{Diagnosis as Answer, TwoByTwo as Found};
use halfshaft_health::{EvidenceValue, EvidenceWindow, Severity as Gravity};

use crate::macros::{stored, words};
use crate::value::{Grade, Span, known};

words! {
    /// How grave a finding is.
    Severity of Gravity;
    /// To know.
    Note = Gravity::Note,
    /// To look at soon.
    LookSoon = Gravity::LookSoon,
    /// To act on.
    Act = Gravity::Act,
    /// To stop for.
    Stop = Gravity::Stop,
}

stored! {
    /// What the car shows.
    Finding of finding: &halfshaft_health::Finding;
    /// Stable word of the finding.
    id: String = finding.id.word().to_owned(),
    /// What it is called on a page.
    title: String = finding.title.to_owned(),
    /// How grave it is.
    severity: Severity = finding.severity.into(),
    /// How far it can be trusted, A to D.
    grade: Grade = finding.grade.into(),
    /// What was seen, against which limit.
    summary: String = finding.summary.clone(),
    /// Stretches that show it, at most five; none when it is about the whole drive.
    evidence: Vec<Window> = finding.evidence.iter().map(Window::of).collect(),
    /// What else could look like this.
    could_also_be: String = finding.could_also_be.to_owned(),
    /// What to check next, by hand.
    next_check: String = finding.next_check.to_owned(),
    /// What is the case, in the owner's words; null in reports of older versions.
    owner_sees: Option<String> = Some(finding.owner_sees.to_owned()),
    /// What the owner does, or has done.
    owner_does: Option<String> = Some(finding.owner_does.to_owned()),
    /// What would take the finding back.
    withdrawn_if: String = finding.withdrawn_if.to_owned(),
}

stored! {
    /// A stretch that shows a finding.
    Window of window: &EvidenceWindow;
    #[serde(flatten)]
    /// When it was.
    span: Span = Span::of(window.span),
    /// What was measured in it.
    values: Vec<Measured> = window.values.iter().map(Measured::of).collect(),
}

stored! {
    /// A value that was measured.
    Measured of measured: &EvidenceValue;
    /// What it is.
    name: String = measured.name.to_owned(),
    /// The value.
    value: Option<f64> = known(measured.value),
    /// Its unit.
    unit: String = measured.unit.to_owned(),
}

stored! {
    /// A finding that could not be looked for.
    NotChecked of item: &halfshaft_health::NotChecked;
    /// Stable word of the finding.
    id: String = item.id.word().to_owned(),
    /// What it is called on a page.
    title: String = item.title.to_owned(),
    /// What it would have taken.
    missing: String = crate::value::why(&item.missing),
}

stored! {
    /// A failure path and its evidence.
    Path of path: &PathEvidence;
    /// Stable word.
    id: String = path.id.to_owned(),
    /// What it is called on a page.
    title: String = path.title.to_owned(),
    /// Evidence for it.
    for_it: Vec<String> = path.for_it.clone(),
    /// Evidence against it.
    against: Vec<String> = path.against.clone(),
    /// What the log cannot tell.
    cannot_tell: Vec<String> = path.cannot_tell.clone(),
    /// What to check next, by hand.
    next_check: String = path.next_check.to_owned(),
}

words! {
    /// What mechanism and friction together say.
    Diagnosis of Answer;
    /// The mechanism follows and the slip falls.
    Sound = Answer::Sound,
    /// The mechanism follows and the slip does not fall.
    Friction = Answer::Friction,
    /// The mechanism does not follow and the slip does not fall.
    Actuator = Answer::Actuator,
    /// The mechanism does not follow and the slip falls.
    StateSignal = Answer::StateSignal,
}

stored! {
    /// Whether the mechanism follows the command, and whether slip falls when commanded.
    TwoByTwo of found: &Found;
    /// What both say together.
    diagnosis: Diagnosis = found.diagnosis.into(),
    /// Commands the mechanism followed.
    n_followed: usize = found.n_followed,
    /// Commands with a reading of the mechanism.
    n_asked: usize = found.n_asked,
    /// Commands after which the slip fell.
    n_fell: usize = found.n_fell,
    /// Commands that found the pack slipping.
    n_with_slip: usize = found.n_with_slip,
    /// The same in words.
    sentence: String = found.sentence.clone(),
}
