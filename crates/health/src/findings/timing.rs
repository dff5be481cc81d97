//! What the checks of the actuator's times share: which moves of the command count, what
//! may be said of them, and what they are compared with.

use crate::reason::{Counted, Moves, Reason};
use halfshaft_driveline::response::normal::{Measured, Slopes};
use halfshaft_driveline::response::pool::{Pool, Quantity, pool};
use halfshaft_driveline::response::resolution::{Spread, StatedTime};
use halfshaft_driveline::response::{Direction, Response};
use halfshaft_model::channel::name;

use super::Drive;
use crate::evidence::{Strongest, window};
use crate::limits::ActuatorLimits;
use crate::nouns::Grade;

/// A median of times, or what they are all below.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Judged {
    /// Median and spread, and whether only many together tell it.
    Median(Spread, bool),
    /// Below this, s: the samples cannot tell how much.
    Below(f64),
}

/// Moves of one direction with the oil warm and the supply up. Where the voltage is not
/// logged it is taken for enough: the engine runs; where the oil temperature is not, cold oil
/// cannot be told from a lazy actuator.
pub fn warm(drive: &Drive, direction: Direction) -> Result<Vec<Response>, Reason> {
    let actuator = drive.actuator.as_ref().map_err(Clone::clone)?;
    drive.all_of(&[name::OIL_TEMPERATURE])?;
    let limits = &drive.limits.actuator;
    Ok(actuator
        .responses
        .iter()
        .filter(|response| response.direction() == direction)
        .filter(|response| response.oil_c.is_some_and(|oil| oil > limits.warm_from_c))
        .filter(|response| {
            response
                .supply_v
                .is_none_or(|volts| volts > limits.voltage_from_v)
        })
        .copied()
        .collect())
}

/// What may be said of one time over enough moves.
pub fn judge(found: &Pool, limits: &ActuatorLimits, what: Moves) -> Result<Judged, Reason> {
    let least = limits.least_steps as usize;
    let few = |n: usize| {
        Err(Reason::TooFew {
            what: Counted::TimedMoves(what),
            found: n,
            needed: least,
        })
    };
    match found.stated {
        StatedTime::NoEvent => few(0),
        StatedTime::Singly(spread) if spread.n_events < least => few(spread.n_events),
        StatedTime::Singly(spread) => Ok(Judged::Median(spread, false)),
        StatedTime::Pooled { spread, .. } => Ok(Judged::Median(spread, true)),
        StatedTime::BelowResolution { below_s } => Ok(Judged::Below(below_s)),
    }
}

/// The time that stands for the whole way: edge to 90 % where there are enough steps, else
/// the rise from 10 to 90 %, which is never longer.
pub struct WholeWay {
    /// What is said of it.
    pub judged: Judged,
    /// Its name in a sentence.
    pub name: &'static str,
    /// It is the rise alone.
    pub is_rise: bool,
    /// Its events, each with its time.
    pub timed: Vec<(Response, f64)>,
}

/// The whole way of a direction.
pub fn whole_way(drive: &Drive, direction: Direction) -> Result<WholeWay, Reason> {
    let found = warm(drive, direction)?;
    let limits = &drive.limits.actuator;
    let of = |quantity, what| judge(&pool(&found, direction, quantity), limits, what);
    let timed = |time: fn(&Response) -> Option<f64>| {
        found
            .iter()
            .filter_map(|response| Some((*response, time(response)?)))
            .collect()
    };
    if let Ok(judged) = of(Quantity::TransitionTime, Moves::HalfSteps) {
        return Ok(WholeWay {
            judged,
            name: match direction {
                Direction::Engage => "command to 90 %",
                Direction::Release => "command to the last 10 %",
            },
            is_rise: false,
            timed: timed(Response::transition_time_s),
        });
    }
    let judged = of(Quantity::RiseTime, Moves::OfCommand)?;
    Ok(WholeWay {
        judged,
        name: "the way between 10 and 90 %",
        is_rise: true,
        timed: timed(Response::rise_time_s),
    })
}

/// A median at 60 °C and 13.5 V by the usual slopes; as measured where voltage or temperature
/// are not known.
pub fn normal_s(timed: &[(Response, f64)], median_s: f64) -> f64 {
    let slopes = Slopes::default();
    let normal: Option<Vec<f64>> = timed
        .iter()
        .map(|(response, time_s)| {
            slopes.normal_s(&Measured {
                time_s: *time_s,
                oil_c: response.oil_c?,
                supply_v: response.supply_v?,
            })
        })
        .collect();
    let found = normal.and_then(|times| halfshaft_driveline::response::resolution::spread(&times));
    found.map_or(median_s, |spread| spread.median)
}

/// The moves that took longest.
pub fn longest(timed: &[(Response, f64)]) -> Strongest {
    let mut strongest = Strongest::default();
    for (response, time_s) in timed {
        let mut values = vec![
            ("time", *time_s, "s"),
            ("command after", response.edge.to, ""),
        ];
        values.extend(response.oil_c.map(|oil| ("oil", oil, "°C")));
        values.extend(response.supply_v.map(|volts| ("supply", volts, "V")));
        let end = response.edge.began.plus(*time_s);
        strongest.add(*time_s, window(response.edge.began, end, &values));
    }
    strongest
}

/// Trust in a median of so many events.
pub fn grade(drive: &Drive, judged: Judged, least: usize) -> Grade {
    let own = match judged {
        Judged::Median(spread, false) if spread.n_events >= 2 * least => Grade::A,
        Judged::Median(_, false) => Grade::B,
        _ => Grade::C,
    };
    own.max(drive.quality.grade)
}
