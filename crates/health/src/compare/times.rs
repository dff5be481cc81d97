//! Each time of the actuator, as two sessions are compared by them.
//!
//! In: [`Results`]. Out: [`Times`] by figure, or why there are none.

use halfshaft_driveline::response::normal::Measured;
use halfshaft_driveline::response::pool::Pool;
use halfshaft_driveline::response::{Direction, Response};

use super::session::{Event, Times};
use crate::actuator::Timing;
use crate::figure_id::FigureId;
use crate::figures::actuator::stated_spread;
use crate::reason::{DriveFact, Reason};
use crate::results::Results;

/// Dead, rise, transition and release time, and pedal to response.
pub fn each_time(results: &Results) -> [(FigureId, Result<Times, Reason>); 5] {
    let of = |direction, kind| times(results, direction, kind);
    [
        (FigureId::DeadTime, of(Direction::Engage, Kind::Dead)),
        (FigureId::RiseTime, of(Direction::Engage, Kind::Rise)),
        (
            FigureId::TransitionTime,
            of(Direction::Engage, Kind::Transition),
        ),
        (
            FigureId::ReleaseTime,
            of(Direction::Release, Kind::Transition),
        ),
        (FigureId::ThrottleOnDelay, delays(results)),
    ]
}

#[derive(Clone, Copy)]
enum Kind {
    Dead,
    Rise,
    Transition,
}

impl Kind {
    fn pool(self, timing: &Timing) -> &Pool {
        match self {
            Kind::Dead => &timing.dead_time,
            Kind::Rise => &timing.rise_time,
            Kind::Transition => &timing.transition_time,
        }
    }

    fn time_s(self, response: &Response) -> Option<f64> {
        match self {
            Kind::Dead => response.dead_time_s(),
            Kind::Rise => response.rise_time_s(),
            Kind::Transition => response.transition_time_s(),
        }
    }
}

/// Times of one direction, brought to 60 °C and 13.5 V where oil and voltage were known at
/// any of them.
fn times(results: &Results, direction: Direction, kind: Kind) -> Result<Times, Reason> {
    let actuator = results.actuator.as_ref().map_err(Clone::clone)?;
    let timing = match direction {
        Direction::Engage => &actuator.engage,
        Direction::Release => &actuator.release,
    };
    let pool = kind.pool(timing);
    stated_spread(pool, timing)?;
    let is_normal = pool.normal.is_some();
    let events = actuator
        .responses
        .iter()
        .filter(|response| response.direction() == direction)
        .filter_map(|response| {
            let time_s = kind.time_s(response)?;
            let time_s = match is_normal {
                true => pool.slopes.normal_s(&Measured {
                    time_s,
                    oil_c: response.oil_c?,
                    supply_v: response.supply_v?,
                })?,
                false => time_s,
            };
            let edge = &response.edge;
            Some(Event {
                drive: 0,
                at: response.time(),
                time_s,
                oil_c: response.oil_c,
                step: Some((edge.to - edge.from).abs()),
                ramp_s: Some(edge.ended.since(edge.began)),
            })
        })
        .collect();
    Ok(Times {
        events,
        doubt_s: pool.edge_doubt_s.unwrap_or(0.0),
        is_normal,
    })
}

fn delays(results: &Results) -> Result<Times, Reason> {
    let actuator = results.actuator.as_ref().map_err(Clone::clone)?;
    let delay = actuator.throttle_on.as_ref().ok_or(DriveFact::Pedal)?;
    Ok(Times {
        events: delay
            .wholes
            .iter()
            .map(|&(at, time_s)| Event::plain(at, time_s))
            .collect(),
        doubt_s: 0.0,
        is_normal: false,
    })
}
