//! What the health stage answers about a drive, all of it: `report` and `archive` read this and
//! nothing else.

use crate::Calibration;
use crate::actuator::{Actuator, Apparent};
use crate::duty::{Duty, SeverityIndex};
use crate::figure_id::FigureId;
use crate::figures::named;
use crate::held::Held;
use crate::limits::Limits;
use crate::oil_life::OilLife;
use crate::outlook::Outlook;
use crate::reason::Reason;
use crate::score_card::PathEvidence;
use crate::stint::Stint;
use crate::trust::Gate;
use crate::two_by_two::TwoByTwo;
use crate::verdict::Verdict;
use halfshaft_driveline::thermal::ThermalEstimate;
use halfshaft_model::Time;

use crate::nouns::*;

/// Everything the health stage has to say about a drive.
#[derive(Clone, Debug, PartialEq)]
pub struct Results {
    /// The log goes on: values that need the whole drive may still change.
    pub is_provisional: bool,
    /// Time of the latest entry.
    pub until: Time,
    /// What is believed, and why the rest is not.
    pub trust: Gate,
    /// What the channels allow.
    pub tier: Tier,
    /// The figures, in the order of the report.
    pub figures: Vec<Figure>,
    /// Engagement events in order of time.
    pub events: Vec<Event>,
    /// Regions; `Err` is why there is no picture.
    pub regions: Result<Regions, Reason>,
    /// What this log leaves open.
    pub cannot_tell: Vec<CannotTell>,
    /// Coverage and grade.
    pub quality: Quality,
    /// Noise floor of the slip; `None` when there was too little to learn it from.
    pub noise_floor: Option<NoiseFloor>,
    /// ln(right / left rolling speed) used for the road-referred difference, learned as
    /// the drive went on; `None` when too few straight stretches were seen.
    pub tyre_ratio_log: Option<f64>,
    /// The tyres' rolling ratio as straight running shows it, with its proof.
    pub calibration: Calibration,
    /// Laps and corners.
    pub laps: Laps,
    /// The stint that goes on, or the last one.
    pub stint: Stint,
    /// The findings in one word, what is still open, and by when to act.
    pub verdict: Verdict,
    /// What the vehicle shows, gravest first.
    pub findings: Vec<Finding>,
    /// Findings that could not be looked for.
    pub not_checked: Vec<NotChecked>,
    /// The five needles of the class of use.
    pub meters: Vec<Meter>,
    /// How the car was used, or why that cannot be said.
    pub class: Result<UseClass, Reason>,
    /// Answers of the actuator to the command, or why there are none.
    pub actuator: Result<Actuator, Reason>,
    /// What the slip says, where nothing else says how quickly the clutch answers.
    pub apparent: Option<Apparent>,
    /// The same in a sentence for the owner; `None` where there are none.
    pub actuator_sentence: Option<String>,
    /// Temperatures of pack, oil and housing, or why they cannot be told.
    pub thermal: Result<ThermalEstimate, Reason>,
    /// Whether the mechanism follows the command, against whether slip falls when asked, or
    /// why neither can be said.
    pub two_by_two: Result<TwoByTwo, Reason>,
    /// Torque the pack holds at each command, by the tyres in bends, or why nobody can tell.
    pub held_torque: Result<Held, Reason>,
    /// What comes next if the drive goes on as in its last minute, or why that is not told.
    pub outlook: Result<Outlook, Reason>,
    /// Failure paths: evidence for, against, and what cannot be told.
    pub score_card: Vec<PathEvidence>,
    /// How hard the drive was on the discs.
    pub duty: Duty,
    /// The same as one number from 0 to 100, or why there is none.
    pub severity: Result<SeverityIndex, Reason>,
    /// How fast the oil was used up.
    pub oil_life: OilLife,
    /// Torque against slip: seconds and joules by cell; `Err` is why there is none.
    pub duty_picture: Result<DutyPicture, Reason>,
    /// Time strips for drawing.
    pub strips: Vec<Strip>,
    /// Assumptions the figures rest on, one sentence each.
    pub assumptions: Vec<String>,
    /// The limits it was judged by.
    pub limits: Limits,
    /// Those that were not the usual ones.
    pub settings_changed: Vec<SettingChanged>,
}

impl Results {
    /// The figure of that name.
    pub fn figure(&self, id: FigureId) -> Option<&Figure> {
        named(&self.figures, id)
    }
}
