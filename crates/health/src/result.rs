//! What the health stage answers: figures, events, regions, quality, and what this log
//! cannot tell. `report` and `archive` read these and nothing else.

use halfshaft_model::{Span, Time};

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
    /// Stable name, snake case: the key in `report.json`.
    pub name: &'static str,
    /// What it is called on a page.
    pub title: &'static str,
    /// Its unit.
    pub unit: &'static str,
    /// The number, or why there is none (a sentence fragment in words).
    pub outcome: Result<Estimate, String>,
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
    /// Highest heat rate (mean over 0.2 s), kW.
    pub heat_peak_kw: Option<f64>,
    /// Time in heat-making partial engagement inside it, s.
    pub partial_heat_making_s: Option<f64>,
    /// Highest road speed in it, m/s.
    pub speed_peak_m_per_s: Option<f64>,
    /// It crosses a gap: excluded from times, its energy is a lower bound.
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
    /// R3: asked to engage and slipping: heat-making partial.
    WorkingSlip,
    /// R4: asked to engage and holding, with something to hold.
    Held,
    /// R5: asked for nearly all and not holding.
    AskedNotHolding,
    /// R6: holding without being asked.
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
            Region::WorkingSlip => "asked to engage and slipping: this makes the heat",
            Region::Held => "asked to engage and holding",
            Region::AskedNotHolding => "asked for nearly all and not holding",
            Region::HoldingUnasked => "holding without being asked",
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

/// Everything the health stage has to say about a drive.
#[derive(Clone, Debug, PartialEq)]
pub struct Results {
    /// The log goes on: values that need the whole drive may still change.
    pub is_provisional: bool,
    /// Time of the latest entry.
    pub until: Time,
    /// What the channels allow.
    pub tier: Tier,
    /// The figures, in the order of the report.
    pub figures: Vec<Figure>,
    /// Engagement events in order of time.
    pub events: Vec<Event>,
    /// Regions; `Err` is why there is no picture.
    pub regions: Result<Regions, String>,
    /// What this log leaves open.
    pub cannot_tell: Vec<CannotTell>,
    /// Coverage and grade.
    pub quality: Quality,
    /// Noise floor of the slip; `None` when there was too little to learn it from.
    pub noise_floor: Option<NoiseFloor>,
    /// ln(right / left rolling speed) used for the road-referred difference, learned as
    /// the drive went on; `None` when too few straight stretches were seen.
    pub tyre_ratio_log: Option<f64>,
    /// Time strips for drawing.
    pub strips: Vec<Strip>,
    /// Assumptions the figures rest on, one sentence each.
    pub assumptions: Vec<String>,
}

impl Results {
    /// The figure of that name.
    pub fn figure(&self, name: &str) -> Option<&Figure> {
        self.figures.iter().find(|figure| figure.name == name)
    }
}
