//! The nouns of the assessment: grades, estimates, figures, events, findings and what they are
//! made of. They know nothing of how they come about.

use halfshaft_model::Span;

use crate::figure_id::FigureId;
use crate::finding_id::FindingId;
use crate::limits::LimitValue;
use crate::reason::Reason;

/// How far a figure or a log can be trusted. Grade is the worst of its factors:
/// A at 0.9 and above, B at 0.7, C at 0.4, D below.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Grade {
    /// Worst factor at least 0.9.
    A,
    /// Worst factor at least 0.7.
    B,
    /// Worst factor at least 0.4.
    C,
    /// Worst factor below 0.4.
    D,
}

impl Grade {
    /// The grade of a factor between 0 and 1.
    pub fn of(factor: f64) -> Grade {
        // A share that is 0.4 but for rounding is a C.
        let factor = factor + 1e-9;
        match factor {
            _ if factor >= 0.9 => Grade::A,
            _ if factor >= 0.7 => Grade::B,
            _ if factor >= 0.4 => Grade::C,
            _ => Grade::D,
        }
    }

    /// The letter.
    pub fn letter(self) -> &'static str {
        match self {
            Grade::A => "A",
            Grade::B => "B",
            Grade::C => "C",
            Grade::D => "D",
        }
    }
}

/// A number with its 90 % interval.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Estimate {
    /// The value, in the figure's unit.
    pub value: f64,
    /// Lower end of the 90 % interval.
    pub low: f64,
    /// Upper end of the 90 % interval.
    pub high: f64,
    /// Something was hidden from the sum (a gap): the truth is this or more.
    pub is_at_least: bool,
}

/// One figure of the report.
#[derive(Clone, Debug, PartialEq)]
pub struct Figure {
    /// Which it is.
    pub id: FigureId,
    /// What it is called on a page.
    pub title: &'static str,
    /// Its unit.
    pub unit: &'static str,
    /// The number, or why there is none (a sentence fragment in words).
    pub outcome: Result<Estimate, Reason>,
    /// How far it can be trusted; `None` when there is no number.
    pub grade: Option<Grade>,
    /// How it was made: from which channels, by which rule; one sentence.
    pub method: String,
}

/// What began an event.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum EventKind {
    /// The controller asked for engagement.
    Command,
    /// The pack slipped beyond what the bend asks, with no command.
    SlipOnly,
}

/// One engagement.
#[derive(Clone, Debug, PartialEq)]
pub struct Event {
    /// What began it.
    pub kind: EventKind,
    /// From its start to its end.
    pub span: Span,
    /// Highest command in it, 0 to 1; `None` for a slip-only event.
    pub command_peak: Option<f64>,
    /// Highest slip speed of the pack, rad/s.
    pub slip_peak: Option<f64>,
    /// Heat, kJ; `None` when torque is unknown.
    pub heat_kj: Option<f64>,
    /// Highest heat rate of the moment, kW.
    pub heat_peak_kw: Option<f64>,
    /// Mean heat rate over it, kW.
    pub heat_mean_kw: Option<f64>,
    /// Way the linings slid at their mean radius, m; `None` when the map does not state it.
    pub slip_distance_m: Option<f64>,
    /// Time in slipping under load inside it, s.
    pub partial_heat_making_s: Option<f64>,
    /// Highest road speed in it, m/s.
    pub speed_peak_m_per_s: Option<f64>,
    /// A gap lies in it, its torque is missing in part, or the log cuts it off: its
    /// length, heat and times are lower bounds.
    pub is_broken: bool,
}

/// A question this log leaves open.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CannotTell {
    /// Stable kebab-case code.
    pub code: &'static str,
    /// The question a person asks.
    pub question: &'static str,
    /// Why this log does not answer it.
    pub why: String,
    /// What to log next time (channels and rates), or to add to the map.
    pub next_time: String,
}

/// A stretch in which a channel, or the whole log, was silent.
#[derive(Clone, Debug, PartialEq)]
pub struct Gap {
    /// Channel name, or `whole log`.
    pub channel: String,
    /// From the last sample before it to the first after it.
    pub span: Span,
}

/// How one channel was covered.
#[derive(Clone, Debug, PartialEq)]
pub struct ChannelQuality {
    /// Its name.
    pub name: String,
    /// Samples with a value.
    pub n_samples: u64,
    /// Samples the car or the map declared missing.
    pub n_missing: u64,
    /// Median time between samples, s.
    pub period_s: Option<f64>,
    /// Share of the drive covered by samples within the gap limit, 0 to 1.
    pub coverage: f64,
    /// Number of gaps.
    pub n_gaps: u64,
    /// Time in gaps, s.
    pub gap_s: f64,
}

/// How far this log as a whole can be trusted.
#[derive(Clone, Debug, PartialEq)]
pub struct Quality {
    /// The worst of its factors.
    pub grade: Grade,
    /// The worst factor in words.
    pub worst_factor: String,
    /// Channels in map order, those never seen included.
    pub channels: Vec<ChannelQuality>,
    /// The longest gaps, longest first, at most [`MAX_GAPS`].
    pub gaps: Vec<Gap>,
    /// Number of all gaps.
    pub n_gaps: u64,
}

/// How many gaps are listed one by one.
pub const MAX_GAPS: usize = 50;

/// The seven regions of the picture of torque against slip.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Region {
    /// R1: open, the wheels turn as the bend asks.
    Free,
    /// R2: open, heat from preload.
    PreloadDrag,
    /// R3: commanded and slipping: heat-making partial.
    WorkingSlip,
    /// R4: commanded and holding, with something to hold.
    Held,
    /// R5: commanded nearly fully and not holding.
    AskedNotHolding,
    /// R6: holding without command.
    HoldingUnasked,
    /// R7: nothing to judge by.
    NotObservable,
}

impl Region {
    /// All regions, R1 to R7.
    pub const ALL: [Region; 7] = [
        Region::Free,
        Region::PreloadDrag,
        Region::WorkingSlip,
        Region::Held,
        Region::AskedNotHolding,
        Region::HoldingUnasked,
        Region::NotObservable,
    ];

    /// Stable kebab-case word.
    pub fn word(self) -> &'static str {
        match self {
            Region::Free => "free",
            Region::PreloadDrag => "preload-drag",
            Region::WorkingSlip => "working-slip",
            Region::Held => "held",
            Region::AskedNotHolding => "asked-not-holding",
            Region::HoldingUnasked => "holding-unasked",
            Region::NotObservable => "not-observable",
        }
    }

    /// What it means, for a page.
    pub fn meaning(self) -> &'static str {
        match self {
            Region::Free => "open, the wheels turn as the bend asks",
            Region::PreloadDrag => "open, the preload rubs",
            Region::WorkingSlip => "commanded and slipping: this makes the heat",
            Region::Held => "commanded and holding",
            Region::AskedNotHolding => "commanded nearly fully and not holding",
            Region::HoldingUnasked => "holding without command",
            Region::NotObservable => "nothing to judge by",
        }
    }
}

/// Seconds and joules in each region, in the order of [`Region::ALL`].
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Regions {
    /// Seconds; they sum to the moving time that wheels and command cover.
    pub seconds: [f64; 7],
    /// Joules; `None` when torque is unknown.
    pub joules: Option<[f64; 7]>,
}

/// What a log's channels allow: tier 0 (wheel speeds only) to 5 (cause of each event).
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Tier {
    /// 0 to 5; `None` when not even both rear wheel speeds are there.
    pub number: Option<u8>,
    /// In words: `wheel speeds only`, `wheel speeds and command`, …
    pub words: &'static str,
    /// What the next channel would buy.
    pub next_step: String,
}

/// The learned noise floor of the slip speed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NoiseFloor {
    /// Standard deviation of one slip sample, rad/s.
    pub slip_sd: f64,
    /// Slip of one step of the wheel-speed number, rad/s; 0 when unknown.
    pub slip_step: f64,
    /// Slip mean (over 0.2 s) below which no sign is taken from it alone, rad/s.
    pub smallest_slip: f64,
    /// How many samples it was learned from.
    pub n_samples: u64,
}

/// A time series thinned for drawing: lowest and highest value in each slot of time.
#[derive(Clone, Debug, PartialEq)]
pub struct Strip {
    /// Stable name: `road_speed`, `axle_speed_difference`, `command`, `state`, `heat_rate`, `oil_temperature`.
    pub name: &'static str,
    /// What it is called on a page.
    pub title: &'static str,
    /// Unit of the values (already converted for the page).
    pub unit: &'static str,
    /// Slots in order of time, none where there was no sample.
    pub slots: Vec<StripSlot>,
}

/// One slot of a strip.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StripSlot {
    /// Its stretch of time.
    pub span: Span,
    /// Lowest value.
    pub low: f64,
    /// Highest value.
    pub high: f64,
}

/// A limit that was not the usual one.
#[derive(Clone, Debug, PartialEq)]
pub struct SettingChanged {
    /// Its name in a settings file, table and key: `oil.warn_c`.
    pub key: String,
    /// The usual value.
    pub default: LimitValue,
    /// The value that was used.
    pub value: LimitValue,
    /// Unit, `share`, `ratio` or `count`.
    pub unit: &'static str,
}

/// A corner: a stretch of road that bends one way.
#[derive(Clone, Debug, PartialEq)]
pub struct Corner {
    /// When it was driven.
    pub span: Span,
    /// Which lap it belongs to, from 1; `None` outside laps.
    pub lap: Option<u32>,
    /// Its number within the lap, from 1, the same in every lap; outside laps in order of
    /// driving.
    pub number: u32,
    /// Where it begins, m from the start of the lap, or of the drive outside laps.
    pub start_m: f64,
    /// Its length, m.
    pub length_m: f64,
    /// Heading change, deg, positive to the left.
    pub turned_deg: f64,
    /// Road speed where it begins, m/s.
    pub entry_speed_m_per_s: f64,
    /// Lowest road speed in it, m/s.
    pub least_speed_m_per_s: f64,
    /// Heat of the pack in it, kJ; `None` when torque is unknown.
    pub heat_kj: Option<f64>,
    /// Oil temperature where it begins, °C.
    pub oil_c: Option<f64>,
    /// Supply voltage at the move of the command nearest to where it begins, V.
    pub supply_v: Option<f64>,
    /// A gap hides a part of it: the heat is this or more.
    pub is_at_least: bool,
}

/// A lap.
#[derive(Clone, Debug, PartialEq)]
pub struct Lap {
    /// Its number, from 1.
    pub number: u32,
    /// When it was driven.
    pub span: Span,
    /// Its length, m.
    pub length_m: f64,
    /// Heat of the pack in it, kJ; `None` when torque is unknown.
    pub heat_kj: Option<f64>,
    /// Highest oil temperature in it, °C.
    pub oil_max_c: Option<f64>,
    /// Oil temperature at its end less that at its start, K.
    pub oil_rise_k: Option<f64>,
    /// How far the throttle was open in it on the average, share.
    pub throttle: Option<f64>,
    /// A gap hides a part of it: the heat is this or more.
    pub is_at_least: bool,
}

/// Laps and corners of a drive.
#[derive(Clone, Debug, PartialEq)]
pub struct Laps {
    /// How laps were found, in words (`by the marker of the driver`, `by the repeated path`), or why there are none.
    pub method: Result<&'static str, Reason>,
    /// Laps in order.
    pub laps: Vec<Lap>,
    /// The lap that goes on behind the last of them, as far as it was driven; of a drive that has
    /// ended what is left of it, which is no lap.
    pub going_on: Option<Lap>,
    /// Corners in order of driving; none of a drive too long to keep.
    pub corners: Vec<Corner>,
    /// How many corners there were, those not listed included.
    pub n_corners: u64,
    /// The course, where laps close.
    pub course: Option<Course>,
}

/// The course, lap over lap, for drawing.
#[derive(Clone, Debug, PartialEq)]
pub struct Course {
    /// Length of a cell, m.
    pub cell_m: f64,
    /// Ends of the cells from the start of the lap, m ahead of it and m to the left of it; the last is
    /// the first.
    pub outline_m: Vec<[f64; 2]>,
    /// Heat of each cell, mean of the laps, J/m; nothing where it is not believed.
    pub heat_j_per_m: Option<Vec<f64>>,
    /// The same of single laps.
    pub by_lap: Vec<Vec<f64>>,
}

/// How grave a finding is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    /// Worth knowing.
    Note,
    /// Look at it before long.
    LookSoon,
    /// Do something.
    Act,
    /// Stop the car.
    Stop,
}

impl Severity {
    /// Stable kebab-case word.
    pub fn word(self) -> &'static str {
        match self {
            Severity::Note => "note",
            Severity::LookSoon => "look-soon",
            Severity::Act => "act",
            Severity::Stop => "stop",
        }
    }

    /// In words, for a page.
    pub fn words(self) -> &'static str {
        match self {
            Severity::Note => "note",
            Severity::LookSoon => "look soon",
            Severity::Act => "act",
            Severity::Stop => "stop",
        }
    }
}

/// One number of a finding's evidence.
#[derive(Clone, Debug, PartialEq)]
pub struct EvidenceValue {
    /// What was measured, in words.
    pub name: &'static str,
    /// The number.
    pub value: f64,
    /// Its unit.
    pub unit: &'static str,
}

/// A stretch that shows what a finding says.
#[derive(Clone, Debug, PartialEq)]
pub struct EvidenceWindow {
    /// When.
    pub span: Span,
    /// What was measured there.
    pub values: Vec<EvidenceValue>,
}

/// Something the vehicle shows.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    /// Which it is.
    pub id: FindingId,
    /// Trade name, for a page.
    pub title: &'static str,
    /// How grave.
    pub severity: Severity,
    /// How far it can be trusted.
    pub grade: Grade,
    /// What was seen, with its numbers, against which limit; one or two sentences.
    pub summary: String,
    /// At most five stretches that show it.
    pub evidence: Vec<EvidenceWindow>,
    /// What else could look like this.
    pub could_also_be: &'static str,
    /// What to check next, by hand.
    pub next_check: &'static str,
    /// What is the case, for the owner.
    pub owner_sees: &'static str,
    /// What the owner does, or has done.
    pub owner_does: &'static str,
    /// What would withdraw it.
    pub withdrawn_if: &'static str,
}

/// A finding that could not be looked for.
#[derive(Clone, Debug, PartialEq)]
pub struct NotChecked {
    /// Which finding.
    pub id: FindingId,
    /// Its title.
    pub title: &'static str,
    /// What was missing.
    pub missing: Reason,
}

/// One of the five needles of the class of use.
#[derive(Clone, Debug, PartialEq)]
pub struct Meter {
    /// Stable name, snake case.
    pub name: &'static str,
    /// For a page.
    pub title: &'static str,
    /// Unit.
    pub unit: &'static str,
    /// Upper edges of the levels U0 to U4; above the last is U5.
    pub edges: [f64; 5],
    /// The reading with its band, or why there is none.
    pub reading: Result<Estimate, Reason>,
}

impl Meter {
    /// The level of a reading, 0 to 5; an edge belongs to the level above.
    pub fn level(&self, reading: f64) -> u8 {
        self.edges.iter().filter(|edge| reading >= **edge).count() as u8
    }
}

/// How the car was used.
#[derive(Clone, Debug, PartialEq)]
pub struct UseClass {
    /// 0 (idle) to 5 (competition).
    pub level: u8,
    /// The other class, when the band of a needle that decides crosses an edge.
    pub alternative: Option<u8>,
    /// Only two needles are known: the class is this or higher.
    pub is_at_least: bool,
    /// In plain words with its numbers: the owner's sentence.
    pub sentence: String,
    /// What the class would be without the few hottest events, when they decide.
    pub counterfactual: Option<String>,
    /// Kilometres by class, for a drive of mixed use: level and km.
    pub stretches: Vec<(u8, f64)>,
}

impl UseClass {
    /// The word of a level.
    pub fn word(level: u8) -> &'static str {
        ["idle", "gentle", "normal", "brisk", "hard", "competition"][usize::from(level.min(5))]
    }
}

/// Time and heat by pack torque and slip: the two-dimensional picture.
#[derive(Clone, Debug, PartialEq)]
pub struct DutyPicture {
    /// Upper edges of the torque cells, N·m; the last cell is open.
    pub torque_edges_nm: Vec<f64>,
    /// Upper edges of the slip cells, rad/s; the last cell is open.
    pub slip_edges: Vec<f64>,
    /// Seconds, torque cell by torque cell, slip rising within.
    pub seconds: Vec<f64>,
    /// Joules in the same order.
    pub joules: Vec<f64>,
    /// Time in which the wheels did not turn fast enough to be believed, s.
    pub not_turning_s: f64,
    /// Turning time in which the torque is not known, s.
    pub torque_unknown_s: f64,
    /// Time without rows: gaps, and before the first row and after the latest, s.
    pub gap_s: f64,
}
