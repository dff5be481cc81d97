//! A session as it is compared: laps, passes of corners, stretches, times of events.
//!
//! In: [`Results`]. Out: a [`Session`]. What a gap hides in part is left out: "at least" on
//! one side of a difference has no meaning.

use crate::figure_id::FigureId;
use crate::reason::{DriveFact, Reason};
use halfshaft_driveline::response::normal::Measured;
use halfshaft_driveline::response::pool::Pool;
use halfshaft_driveline::response::{Direction, Response};
use halfshaft_model::{Span, Time};

use crate::actuator::Timing;
use crate::figures::actuator::stated_spread;
use crate::limits::Compare;
use crate::nouns::Event;
use crate::results::Results;

/// A temperature or voltage older or younger than this is not known, s. Source: none,
/// engineering guess: both change over minutes.
const NEAR_S: f64 = 60.0;

/// A lap.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LapPart {
    /// Its length, m.
    pub length_m: f64,
    /// Heat, kJ.
    pub heat_kj: Option<f64>,
    /// Rise of the oil from its start to its end, K.
    pub oil_rise_k: Option<f64>,
    /// Highest power per net lining area, W/mm².
    pub peak_w_per_mm2: Option<f64>,
}

/// One pass of a corner in a lap.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pass {
    /// Index of its lap.
    pub lap: usize,
    /// Number of the corner.
    pub corner: u32,
    /// Its middle, m from the start of the lap.
    pub middle_m: f64,
    /// Heading change, deg, positive to the left.
    pub turned_deg: f64,
    /// Speed into it, m/s.
    pub entry_speed_m_per_s: f64,
    /// Oil temperature, °C.
    pub oil_c: Option<f64>,
    /// Supply voltage, V.
    pub supply_v: Option<f64>,
    /// Heat, kJ; `None` when not known in full.
    pub heat_kj: Option<f64>,
    /// No engagement and no slip event touches it.
    pub is_open: bool,
}

/// A stretch of driving: sums of its open corners, and its hottest moment.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Stretch {
    /// Heat in open corners, J.
    pub open_heat_j: f64,
    /// Turned in them, deg.
    pub open_turned_deg: f64,
    /// Highest power per net lining area, W/mm²; `None` without an event.
    pub peak_w_per_mm2: Option<f64>,
}

/// Times of events, each with the number of its block.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Times {
    /// Block and time, s.
    pub events: Vec<(i64, f64)>,
    /// All events alike may be off by this, s.
    pub doubt_s: f64,
    /// They were brought to 60 °C and 13.5 V.
    pub is_normal: bool,
}

/// What is compared of a session.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Session {
    /// Laps in order.
    pub laps: Vec<LapPart>,
    /// Why there are none.
    pub no_laps: Option<Reason>,
    /// Passes of corners in laps, in order.
    pub passes: Vec<Pass>,
    /// Stretches in order, those in which nothing was driven left out.
    pub stretches: Vec<Stretch>,
    /// Dead, rise, transition and release time.
    pub actuator: [Option<Result<Times, Reason>>; 4],
    /// Pedal to response.
    pub throttle_on: Option<Result<Times, Reason>>,
}

impl Session {
    /// Of results.
    pub fn of(results: &Results, limits: &Compare) -> Session {
        let oil = |time| oil_at(results, time);
        let supply = |time| supply_at(results, time);
        let per_kw = w_per_mm2_of_kw(results);
        let laps = &results.laps;
        Session {
            laps: laps
                .laps
                .iter()
                .map(|lap| LapPart {
                    length_m: lap.length_m,
                    heat_kj: lap.heat_kj.filter(|_| !lap.is_at_least),
                    oil_rise_k: oil(lap.span.end)
                        .zip(oil(lap.span.start))
                        .map(|(end, start)| end - start),
                    peak_w_per_mm2: per_kw
                        .and_then(|per_kw| Some(per_kw * peak_kw(&results.events, lap.span)?)),
                })
                .collect(),
            no_laps: laps.method.as_ref().err().cloned(),
            passes: laps
                .corners
                .iter()
                .filter_map(|corner| {
                    let lap = corner.lap?.checked_sub(1)? as usize;
                    (lap < laps.laps.len()).then_some(Pass {
                        lap,
                        corner: corner.number,
                        middle_m: corner.start_m + 0.5 * corner.length_m,
                        turned_deg: corner.turned_deg,
                        entry_speed_m_per_s: corner.entry_speed_m_per_s,
                        oil_c: oil(corner.span.start),
                        supply_v: supply(corner.span.start),
                        heat_kj: corner.heat_kj.filter(|_| !corner.is_at_least),
                        is_open: is_open(&results.events, corner.span),
                    })
                })
                .collect(),
            stretches: stretches(results, per_kw, limits.stretch_s),
            actuator: [
                (Direction::Engage, Kind::Dead),
                (Direction::Engage, Kind::Rise),
                (Direction::Engage, Kind::Transition),
                (Direction::Release, Kind::Transition),
            ]
            .map(|(direction, kind)| Some(times(results, direction, kind, limits.stretch_s))),
            throttle_on: Some(delays(results, limits.stretch_s)),
        }
    }
}

fn block_of(time: Time, stretch_s: f64) -> i64 {
    (time.seconds() / stretch_s).floor() as i64
}

fn stretches(results: &Results, per_kw: Option<f64>, stretch_s: f64) -> Vec<Stretch> {
    let mut all: Vec<(i64, Stretch)> = Vec::new();
    let mut at = |time: Time, note: &mut dyn FnMut(&mut Stretch)| {
        let block = block_of(time, stretch_s);
        let index = all.partition_point(|(known, _)| *known < block);
        if all.get(index).is_none_or(|(known, _)| *known != block) {
            all.insert(index, (block, Stretch::default()));
        }
        note(&mut all[index].1);
    };
    for corner in &results.laps.corners {
        let heat_kj = corner.heat_kj.filter(|_| !corner.is_at_least);
        if let Some(heat_kj) = heat_kj.filter(|_| is_open(&results.events, corner.span)) {
            at(corner.span.start, &mut |stretch| {
                stretch.open_heat_j += 1e3 * heat_kj;
                stretch.open_turned_deg += corner.turned_deg.abs();
            });
        }
    }
    for event in results.events.iter().filter(|event| !event.is_broken) {
        let peak = per_kw.zip(event.heat_peak_kw);
        if let Some((per_kw, peak_kw)) = peak {
            at(event.span.start, &mut |stretch| {
                let peak = per_kw * peak_kw;
                stretch.peak_w_per_mm2 = Some(stretch.peak_w_per_mm2.unwrap_or(peak).max(peak));
            });
        }
    }
    all.into_iter().map(|(_, stretch)| stretch).collect()
}

fn touches(event: &Event, span: Span) -> bool {
    event.span.start < span.end && span.start < event.span.end
}

fn is_open(events: &[Event], span: Span) -> bool {
    !events.iter().any(|event| touches(event, span))
}

fn peak_kw(events: &[Event], span: Span) -> Option<f64> {
    events
        .iter()
        .filter(|event| span.start <= event.span.start && event.span.start < span.end)
        .filter_map(|event| event.heat_peak_kw)
        .reduce(f64::max)
}

/// Power per net lining area of 1 kW of heat rate, W/mm²: what the two figures of the drive
/// stand in.
fn w_per_mm2_of_kw(results: &Results) -> Option<f64> {
    let value = |id| Some(results.figure(id)?.outcome.as_ref().ok()?.value);
    let kw = value(FigureId::HeatPeak).filter(|kw| *kw > 0.0)?;
    Some(value(FigureId::SpecificPowerMax)? / kw)
}

fn oil_at(results: &Results, time: Time) -> Option<f64> {
    let oil = results
        .strips
        .iter()
        .find(|strip| strip.name == "oil_temperature")?;
    let slot = nearest(&oil.slots, time, |slot| slot.span.start)?;
    Some(0.5 * (slot.low + slot.high))
}

fn supply_at(results: &Results, time: Time) -> Option<f64> {
    let responses = &results.actuator.as_ref().ok()?.responses;
    nearest(responses, time, Response::time)?.supply_v
}

/// The nearest in time of things in order of time, if near at all.
fn nearest<T>(all: &[T], time: Time, when: impl Fn(&T) -> Time) -> Option<&T> {
    let after = all.partition_point(|one| when(one) < time);
    let apart = |one: &T| when(one).since(time).abs();
    let around = [after.checked_sub(1), Some(after)];
    around
        .into_iter()
        .filter_map(|index| all.get(index?))
        .min_by(|one, other| apart(one).total_cmp(&apart(other)))
        .filter(|one| apart(one) <= NEAR_S)
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
fn times(
    results: &Results,
    direction: Direction,
    kind: Kind,
    stretch_s: f64,
) -> Result<Times, Reason> {
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
            Some((block_of(response.time(), stretch_s), time_s))
        })
        .collect();
    Ok(Times {
        events,
        doubt_s: pool.edge_doubt_s.unwrap_or(0.0),
        is_normal,
    })
}

fn delays(results: &Results, stretch_s: f64) -> Result<Times, Reason> {
    let actuator = results.actuator.as_ref().map_err(Clone::clone)?;
    let delay = actuator.throttle_on.as_ref().ok_or(DriveFact::Pedal)?;
    Ok(Times {
        events: delay
            .wholes
            .iter()
            .map(|(time, delay_s)| (block_of(*time, stretch_s), *delay_s))
            .collect(),
        doubt_s: 0.0,
        is_normal: false,
    })
}

#[cfg(test)]
pub(super) mod testing {
    use super::*;
    use halfshaft_driveline::random::Random;

    /// Corners of an invented circuit of 2000 m: middle and heading change.
    pub const CORNERS: [(f64, f64); 6] = [
        (200.0, 90.0),
        (500.0, -60.0),
        (800.0, 120.0),
        (1100.0, -45.0),
        (1500.0, 170.0),
        (1800.0, 85.0),
    ];

    /// About normal, mean 0 and standard deviation 1: twelve uniform numbers less 6.
    pub fn normal(random: &mut Random) -> f64 {
        let sum: f64 = (0..12).map(|_| random.below(1 << 30) as f64).sum();
        sum / f64::from(1 << 30) - 6.0
    }

    /// A session of laps; `heat` gives kJ by lap and corner, with a scatter of 5 % by lap and
    /// of 5 % by pass.
    pub fn session(n_laps: usize, seed: u64, heat: impl Fn(usize, usize) -> f64) -> Session {
        let mut random = Random::new(seed);
        let mut session = Session::default();
        for lap in 0..n_laps {
            let of_lap = 1.0 + 0.05 * normal(&mut random);
            let mut sum = 0.0;
            for (index, (middle_m, turned_deg)) in CORNERS.into_iter().enumerate() {
                let of_pass = 1.0 + 0.05 * normal(&mut random);
                let heat_kj = heat(lap, index) * of_lap * of_pass;
                sum += heat_kj;
                session.passes.push(Pass {
                    lap,
                    corner: index as u32 + 1,
                    middle_m: middle_m + 3.0 * normal(&mut random),
                    turned_deg,
                    entry_speed_m_per_s: 30.0 + 0.5 * normal(&mut random),
                    oil_c: Some(90.0 + lap as f64),
                    supply_v: Some(13.8),
                    heat_kj: Some(heat_kj),
                    is_open: index % 2 == 0,
                });
            }
            session.laps.push(LapPart {
                length_m: 2000.0,
                heat_kj: Some(sum),
                oil_rise_k: Some(1.0),
                peak_w_per_mm2: Some(0.1 * of_lap),
            });
        }
        session
    }
}
