//! From channels to answers: duty figures, events, and what the log cannot tell.
//!
//! In: blocks of columns. Out: [`Results`]. Works block by block with carried state, so
//! the report of a whole log and the figures of a running one come from the same code;
//! what needs the whole drive is kept as bounded sums and settled when asked. Nothing
//! here reads files or prints.
//!
//! ```text
//! Block -> driveline -> Row -> sums, regions, events -> figures -> Results
//!       -> coverage, strips, oil temperature
//! ```

pub mod actuator;
pub mod band;
pub mod baseline;
pub mod cannot_tell;
mod change;
pub mod comparable;
pub mod compare;
pub mod coverage;
mod drift;
mod driving;
pub mod duty;
pub mod duty_picture;
pub mod events;
mod evidence;
pub mod figure_id;
pub mod figures;
pub mod finding_id;
pub mod findings;
pub mod held;
pub mod highest;
pub mod laps;
pub mod laps_to_limit;
mod lasting;
pub mod ledger;
pub mod left_out;
pub mod limits;
pub mod nouns;
pub mod oil_life;
pub mod outlook;
mod part;
pub mod partial;
pub mod pieces;
pub mod reason;
pub mod regions;
pub mod results;
pub mod ripple;
pub mod score_card;
pub mod sensor;
pub mod settings;
pub mod since_oil;
pub mod source;
pub mod stint;
pub mod strips;
pub mod sums;
pub mod temperature;
#[cfg(test)]
mod testing;
pub mod tier;
pub mod trust;
pub mod turning;
pub mod two_by_two;
pub mod use_class;
pub mod verdict;
pub mod what_if;

mod assess;

pub use assess::Health;
pub use figure_id::FigureId;
pub use findings::FindingId;
pub use halfshaft_driveline::{
    Basis, CommandCollapse, Derived, Driveline, Learned, Mode, RatioEstimate, RatioPoint,
    RatioStep, Row, refusal, response, thermal, track,
};
pub use nouns::*;
pub use reason::Reason;
pub use results::Results;
pub use verdict::Verdict;

/// What the drive says of the rear tyres, and why there is no ratio that is believed.
pub type Calibration = halfshaft_driveline::Calibration<Reason>;
