//! Why something is not there, not believed or believed with a caution.
//!
//! A reason is data: what is the case, with its numbers. Its words stand in `words` alone.

mod amount;
mod fact;
mod words;

use halfshaft_driveline::Refusal;
use halfshaft_driveline::response::record::Unusable;

use crate::figure_id::FigureId;
use crate::source::Source;
pub use amount::{Counted, Measured, Moves, Paired};
pub use fact::{DriveFact, MapFact};

/// A reason.
#[derive(Clone, Debug, PartialEq)]
pub enum Reason {
    /// Nothing was made of the source yet.
    NotJudged,
    /// The map has no channel of this name.
    NoChannel(&'static str),
    /// None of these channels gave a value.
    NoValue(Vec<String>),
    /// The map does not state this.
    MapLacks(MapFact),
    /// The drive does not show this.
    DriveLacks(DriveFact),
    /// Something was counted, and there was too little of it.
    TooFew {
        /// What.
        what: Counted,
        /// How many there were.
        found: usize,
        /// How many are needed.
        needed: usize,
    },
    /// Something was counted on two sides, and one had too few.
    TooFewOfEach {
        /// What.
        what: Paired,
        /// How many there were on each side.
        found: [usize; 2],
        /// How many are needed on each.
        needed: usize,
    },
    /// Something was measured, and there was too little of it.
    TooLittle {
        /// What, which has its unit.
        what: Measured,
        /// How much there was.
        found: f64,
        /// How much is needed.
        needed: f64,
    },
    /// It cannot be derived.
    NotDerived(Refusal),
    /// The log holds drives of two cars.
    TwoCars,
    /// Command and state stand under each other's name.
    Swapped,
    /// A signal stood still while it had to move.
    StoodStill(Source),
    /// The torque was read from a signal that stood still.
    TorqueStoodStill(Source),
    /// The torque is read from one of two signals that stand under each other's name.
    TorqueSwapped,
    /// The torque is made from these channels, which never gave a value.
    SilentTorque(Vec<String>),
    /// In open bends the wheels differ by another ratio than track, radius and yaw rate say.
    WrongGeometry {
        /// Measured over stated.
        ratio: f64,
    },
    /// The values do not fit the map and each other.
    FewChecksPassed {
        /// Checks that were passed.
        n_passed: usize,
        /// Of how many.
        n_all: usize,
    },
    /// Too many samples of a rear wheel are bad for a highest value.
    WheelScatters {
        /// Share of its samples left out.
        share: f64,
        /// The share from which none is given.
        most: f64,
    },
    /// Samples of a rear wheel look like others that are bad beyond doubt.
    WheelInDoubt {
        /// Those that are bad beyond doubt.
        n_bad: u64,
        /// Those that look alike.
        n_suspect: u64,
    },
    /// Both rear wheel speeds are one signal.
    SameSignal,
    /// Left and right stand under each other's name.
    SidesSwapped,
    /// The pack slips on although it is commanded.
    NoGrip,
    /// The oil temperature is outside the believed range.
    OilNotBelieved {
        /// Its highest, °C.
        high_c: f64,
        /// The highest that is believed, °C.
        most_c: f64,
    },
    /// The oil temperature took a step that no oil takes.
    OilStepped {
        /// From, °C.
        from_c: f64,
        /// To, °C.
        to_c: f64,
    },
    /// The oil temperature jumps as no oil does.
    OilJumps {
        /// Share of its readings that jump.
        share: f64,
    },
    /// The oil temperature begins at what the air would be in °F, and rises.
    OilInFahrenheit {
        /// Its first reading, °C as the map has it.
        first_c: f64,
        /// The air, °C.
        air_c: f64,
    },
    /// The oil temperature stood still from some time on.
    OilFroze {
        /// Where it stands, °C.
        at_c: f64,
        /// Since when, s.
        since_s: f64,
        /// For how long, s.
        seconds: f64,
    },
    /// Oil and housing are further apart than they can be.
    OilApartFromHousing {
        /// Mean of the oil, °C.
        oil_c: f64,
        /// Mean of the housing, °C.
        housing_c: f64,
        /// The greatest difference that is believed, K.
        most_k: f64,
    },
    /// The air temperature is outside the believed range.
    AirNotBelieved {
        /// Its lowest, °C.
        low_c: f64,
    },
    /// The last lap was not driven as the others.
    LastLapUnlike {
        /// It took, s.
        seconds: f64,
        /// The others took, s.
        usual_s: f64,
    },
    /// The car never passed the start line.
    LineNotReached {
        /// How near it came, m.
        nearest_m: f64,
        /// How near it must come, m.
        reach_m: f64,
    },
    /// The oil is at its limit already.
    LapsOver {
        /// Its highest in the last lap of the pace, °C.
        at_c: f64,
        /// The limit, °C.
        limit_c: f64,
    },
    /// The oil may level off below its limit.
    MayLevelOff {
        /// Likeliest number of laps to the limit.
        laps: f64,
        /// Fewest laps to it.
        least_laps: f64,
        /// The limit, °C.
        limit_c: f64,
    },
    /// The oil levels off below its limit.
    LevelsOff {
        /// Where, °C.
        at_c: f64,
        /// The limit, °C.
        limit_c: f64,
        /// Fewest laps after which the limit may be passed all the same.
        least_laps: Option<f64>,
    },
    /// A number of the life line is not above 0.
    BadLifeLine {
        /// Which.
        name: &'static str,
        /// What it is.
        value: f64,
    },
    /// Levels that cannot be made.
    NoScale {
        /// The lowest.
        lowest: f64,
        /// The highest.
        highest: f64,
        /// Distance of two.
        width: f64,
    },
    /// More levels than are kept.
    TooManyLevels {
        /// The lowest.
        lowest: f64,
        /// The highest.
        highest: f64,
        /// Distance of two.
        width: f64,
        /// The most that are kept.
        most: f64,
    },
    /// The laps of two sessions are not equally long.
    UnlikeLaps {
        /// Length before, m.
        before_m: f64,
        /// Length after, m.
        after_m: f64,
    },
    /// The corners of two sessions are not the same.
    UnlikeCorners {
        /// Corners at the same place that turn alike.
        n_alike: usize,
        /// Of how many.
        n_all: usize,
    },
    /// As a stored record has it, in words.
    Stored(String),
    /// One of two sessions does not show it.
    OfSession {
        /// It is the one before.
        is_before: bool,
        /// Why.
        why: Box<Reason>,
    },
    /// The inner radius of a pack would not be less than the outer one.
    RadiiCrossed {
        /// Inner radius, m.
        inner_m: f64,
        /// Outer radius, m.
        outer_m: f64,
    },
    /// The clutch moves before it is commanded.
    ClutchLeads {
        /// In how many engagements.
        n_leading: usize,
        /// Of how many.
        n_all: usize,
        /// The channel that says what the clutch did.
        response: Option<String>,
    },
    /// A time is shorter than the samples can show.
    BelowResolution {
        /// Shorter than this, s.
        below_s: f64,
        /// Period of the samples, s.
        period_s: f64,
    },
    /// No move of the command was a step of half of full.
    NoHalfStep {
        /// Moves.
        n_moves: usize,
    },
    /// No move of the command gives the time.
    NoMoveUsable {
        /// Moves.
        n_moves: usize,
        /// Why, with how many each.
        causes: Vec<(Unusable, usize)>,
    },
    /// No movement of the pedal was followed by command and response.
    PedalNotFollowed {
        /// Movements.
        n_moves: usize,
    },
    /// The tyre ratio is not known.
    NoTyreRatio(Box<Reason>),
    /// Neither oil temperature nor work is known.
    NoOilAndWork(Box<Reason>),
    /// No sensor holds the temperatures of the model.
    NotAnchored(Refusal),
    /// There is no figure of this name.
    NoFigure(FigureId),
    /// The command was never high for long enough with a state beside it.
    NeverCommanded {
        /// Share of full from which it counts.
        from: f64,
    },
    /// The command comes too seldom.
    SlowCommand {
        /// Its period, s.
        period_s: f64,
        /// The longest that is enough, s.
        most_s: f64,
    },
    /// The rear wheel speeds come too seldom.
    SlowWheels {
        /// How often they must come, 1/s.
        needed_per_s: f64,
    },
    /// Times as short as the limit are not seen.
    SlowSamples {
        /// The shortest that are, s.
        from_s: f64,
        /// The limit, s.
        limit_s: f64,
    },
    /// The car never stood and cooled for long enough.
    NeverStood {
        /// How long it must, s.
        needed_s: f64,
        /// How far above the air, K.
        above_air_k: f64,
    },
    /// A drag of less than this would not show in these bends.
    DragShowsFrom {
        /// The least that would, torque at the axle, N·m; `None` where none would.
        nm: Option<f64>,
    },
    /// A pack that holds more of its torque than this would not show in these bends.
    GripShowsBelow {
        /// Share of the stated torque.
        share: f64,
    },
    /// The axle makes too little difference in most bends of the drive.
    DragsEverywhere {
        /// Share of the bends.
        share: f64,
    },
    /// A wheel speed ripples with the turns of its wheel.
    WheelRipples {
        /// It is the right one.
        is_right: bool,
    },
    /// The ratio of front and rear speed scatters.
    FrontRearScatters {
        /// A quarter lies below, as a share.
        low: f64,
        /// A quarter lies above.
        high: f64,
    },
    /// The oil temperature jumped.
    OilJumped {
        /// When, s from the start.
        at_s: f64,
        /// To, °C.
        to_c: f64,
    },
    /// The oil was never hot while the command was known.
    OilNeverHot {
        /// From where it counts, °C.
        from_c: f64,
    },
    /// The samples lie too far apart to see which of command and state moves first.
    OrderHidden {
        /// So far, s.
        period_s: f64,
    },
    /// The tyre ratio is known too badly.
    VagueTyreRatio {
        /// Its standard deviation.
        sd: f64,
        /// The greatest that is enough.
        needed: f64,
    },
    /// Torque in the pack may hide as much of a difference of the tyres as is looked for.
    TyresHidden {
        /// The greatest difference there may be, as a share.
        most: f64,
        /// The difference looked for.
        limit: f64,
    },
    /// No sensor fixes the model of the temperatures.
    ModelNotFixed(Refusal),
    /// Neither of two ways is open.
    Both(Box<[Reason; 2]>),
    /// A sentence fragment; only tests make one.
    Because(String),
}

impl Reason {
    /// Stable code.
    pub fn code(&self) -> &'static str {
        match self {
            Reason::MapLacks(fact) => fact.code(),
            Reason::DriveLacks(fact) => fact.code(),
            Reason::NotJudged => "not-judged",
            Reason::NoChannel(_) => "no-channel",
            Reason::NoValue(_) => "no-value",
            Reason::TooFew { .. } => "too-few",
            Reason::TooFewOfEach { .. } => "too-few-of-each",
            Reason::TooLittle { .. } => "too-little",
            Reason::NotDerived(_) => "not-derived",
            Reason::TwoCars => "two-cars",
            Reason::Swapped => "command-and-state-swapped",
            Reason::StoodStill(_) => "signal-stood-still",
            Reason::TorqueStoodStill(_) => "torque-stood-still",
            Reason::TorqueSwapped => "torque-swapped",
            Reason::SilentTorque(_) => "torque-silent",
            Reason::WrongGeometry { .. } => "wrong-geometry",
            Reason::FewChecksPassed { .. } => "few-checks-passed",
            Reason::WheelScatters { .. } => "wheel-scatters",
            Reason::WheelInDoubt { .. } => "wheel-in-doubt",
            Reason::SameSignal => "same-signal",
            Reason::SidesSwapped => "sides-swapped",
            Reason::NoGrip => "no-grip",
            Reason::OilNotBelieved { .. } => "oil-not-believed",
            Reason::OilStepped { .. } => "oil-stepped",
            Reason::OilJumps { .. } => "oil-jumps",
            Reason::OilInFahrenheit { .. } => "oil-in-fahrenheit",
            Reason::OilFroze { .. } => "oil-froze",
            Reason::OilApartFromHousing { .. } => "oil-apart-from-housing",
            Reason::AirNotBelieved { .. } => "air-not-believed",
            Reason::LastLapUnlike { .. } => "last-lap-unlike",
            Reason::LineNotReached { .. } => "line-not-reached",
            Reason::LapsOver { .. } => "laps-over",
            Reason::MayLevelOff { .. } => "may-level-off",
            Reason::LevelsOff { .. } => "levels-off",
            Reason::BadLifeLine { .. } => "bad-life-line",
            Reason::NoScale { .. } => "no-scale",
            Reason::TooManyLevels { .. } => "too-many-levels",
            Reason::UnlikeLaps { .. } => "unlike-laps",
            Reason::UnlikeCorners { .. } => "unlike-corners",
            Reason::Stored(_) => "stored",
            Reason::OfSession { .. } => "of-session",
            Reason::RadiiCrossed { .. } => "radii-crossed",
            Reason::ClutchLeads { .. } => "clutch-leads",
            Reason::BelowResolution { .. } => "below-resolution",
            Reason::NoHalfStep { .. } => "no-half-step",
            Reason::NoMoveUsable { .. } => "no-move-usable",
            Reason::PedalNotFollowed { .. } => "pedal-not-followed",
            Reason::NoTyreRatio(_) => "no-tyre-ratio",
            Reason::NoOilAndWork(_) => "no-oil-and-work",
            Reason::NotAnchored(_) => "not-anchored",
            Reason::NoFigure(_) => "no-figure",
            Reason::NeverCommanded { .. } => "never-commanded",
            Reason::SlowCommand { .. } => "slow-command",
            Reason::SlowWheels { .. } => "slow-wheels",
            Reason::SlowSamples { .. } => "slow-samples",
            Reason::NeverStood { .. } => "never-stood",
            Reason::DragShowsFrom { .. } => "drag-shows-from",
            Reason::GripShowsBelow { .. } => "grip-shows-below",
            Reason::DragsEverywhere { .. } => "drags-everywhere",
            Reason::WheelRipples { .. } => "wheel-ripples",
            Reason::FrontRearScatters { .. } => "front-rear-scatters",
            Reason::OilJumped { .. } => "oil-jumped",
            Reason::OilNeverHot { .. } => "oil-never-hot",
            Reason::OrderHidden { .. } => "order-hidden",
            Reason::VagueTyreRatio { .. } => "vague-tyre-ratio",
            Reason::TyresHidden { .. } => "tyres-hidden",
            Reason::ModelNotFixed(_) => "model-not-fixed",
            Reason::Both(_) => "both",
            Reason::Because(_) => "other",
        }
    }

    /// None of these channels gave a value.
    pub fn no_value(channels: &[&str]) -> Reason {
        Reason::NoValue(channels.iter().map(|name| (*name).to_owned()).collect())
    }
}

impl From<MapFact> for Reason {
    fn from(fact: MapFact) -> Reason {
        Reason::MapLacks(fact)
    }
}

impl From<DriveFact> for Reason {
    fn from(fact: DriveFact) -> Reason {
        Reason::DriveLacks(fact)
    }
}

impl From<Refusal> for Reason {
    fn from(refusal: Refusal) -> Reason {
        Reason::NotDerived(refusal)
    }
}

impl From<String> for Reason {
    fn from(words: String) -> Reason {
        Reason::Because(words)
    }
}
