//! The record of one edge of the command and what answered it.
//!
//! In: an edge, the course of the command around it, and the readings of the response. Out:
//! a [`Response`] with its fit and crossings, or why they do not stand. It refuses figures
//! where the response is lost in its noise or does not look like a lag.

use halfshaft_model::Time;

use crate::response::Reading;
use crate::response::crossings::{Crossings, NoCrossings, Step, crossings};
use crate::response::edges::{Direction, Edge};
use crate::response::fit::{Fit, NoFit, SearchRange, fit_near};
use crate::response::resolution::Resolution;

/// The fit must leave less than this share of the span. Source: none, engineering guess: a
/// motor that runs at its greatest speed all the way leaves 5 %.
pub const RESIDUAL_BELOW: f64 = 0.10;

/// Range searched. Source: none, engineering guess: what 3 s after the edge can show.
const RANGE: SearchRange = SearchRange {
    longest_dead_time_s: 2.0,
    shortest_lag_s: 0.002,
    longest_lag_s: 3.0,
};

/// The command counts as held while within this share of its step. Engineering default.
const HOLDS_WITHIN: f64 = 0.05;

/// A move whose quickest part is this share of all of it is a step and no ramp. Source:
/// none, engineering guess.
const RAMP_BELOW: f64 = 0.9;

/// Why a figure of an edge does not stand.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Unusable {
    /// The command was not seen long enough before the edge.
    NotSeenBefore,
    /// A gap, a cut of the clock or the end of the log came too soon.
    BrokenOff,
    /// No signal says what the mechanism did.
    ResponseNotSeen,
    /// Too few samples of the response.
    TooFewReadings,
    /// The response stands still or goes against the command.
    DoesNotFollow,
    /// Slower than the stretch looked at can show.
    TooSlow,
    /// What the fit leaves is too much against the span: noise, or no lag at all.
    NoLag,
    /// The command moved on before the response had settled.
    CommandMovedOn,
    /// The command came as a ramp.
    CommandRamped,
    /// Anti-lock or stability control was at work.
    Controlled,
}

impl Unusable {
    /// The reason in words, for after "not told:".
    pub fn text(self) -> &'static str {
        match self {
            Unusable::NotSeenBefore => "the command was not seen just before",
            Unusable::BrokenOff => "a gap or the end of the log broke it off",
            Unusable::ResponseNotSeen => "no signal said what the mechanism did",
            Unusable::TooFewReadings => "too few samples of the response",
            Unusable::DoesNotFollow => "the response did not follow the command",
            Unusable::TooSlow => "slower than the three seconds looked at can show",
            Unusable::NoLag => "the response stood too little above its noise, or was no lag",
            Unusable::CommandMovedOn => {
                "the command moved on before the response had settled within 5 %"
            }
            Unusable::CommandRamped => "the command came as a ramp",
            Unusable::Controlled => "anti-lock or stability control was at work",
        }
    }
}

/// One edge of the command and what answered it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Response {
    /// The edge.
    pub edge: Edge,
    /// Channel of the signal that answered, index in the map; `None` when none did.
    pub signal: Option<usize>,
    /// Sample periods of command and response around the edge.
    pub resolution: Option<Resolution>,
    /// Where the first response sample fell after the first new command sample, as a share
    /// of the response period, 0 to 1.
    pub phase: Option<f64>,
    /// Way of the response when the command had gone half of its own, as a share of all of
    /// that, or, where its full scale is not known, of the furthest it then went: about 0 of a mechanism that follows, near 1 where the two are swapped.
    pub gone_before: Option<f64>,
    /// The lag driven by the logged command, in shares of full response per full command.
    pub fit: Result<Fit, Unusable>,
    /// Crossings, where the command held.
    pub crossings: Result<Crossings, Unusable>,
    /// Command less settled response, as a share of full: positive when it stays short.
    /// `None` where crossings do not stand or nothing says what a full response is.
    pub steady_error: Option<f64>,
    /// Oil temperature, °C.
    pub oil_c: Option<f64>,
    /// Supply voltage, V.
    pub supply_v: Option<f64>,
}

impl Response {
    /// Time of the edge: when the command had gone half its way.
    pub fn time(&self) -> Time {
        self.edge.half
    }

    /// Which way.
    pub fn direction(&self) -> Direction {
        self.edge.direction
    }

    /// Dead time θ of the fit, s, counted from the command, whatever its shape.
    pub fn dead_time_s(&self) -> Option<f64> {
        self.fit.ok().map(|fit| fit.dead_time_s)
    }

    /// Rise from 10 to 90 % by the fit, s: 2.197·τ. `None` where no reading lies on the way.
    pub fn rise_time_s(&self) -> Option<f64> {
        let fit = self.fit.ok()?;
        fit.lag_sd_s.map(|_| fit.rise_time_s())
    }

    /// Edge to 90 % of the way by the fit, s: θ + 2.303·τ; to the last 10 % when releasing.
    /// Told for steps only.
    pub fn transition_time_s(&self) -> Option<f64> {
        let fit = self.fit.ok().filter(|_| self.edge.is_step())?;
        Some(fit.transition_time_s())
    }
}

/// Which time of a response.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Quantity {
    /// Dead time of the fit.
    DeadTime,
    /// Rise from 10 to 90 % of the fit.
    RiseTime,
    /// Edge to 90 % of the way by the fit, of steps; for releases the release time.
    TransitionTime,
}

impl Quantity {
    /// It, s, where the response tells it.
    pub fn of(self, response: &Response) -> Option<f64> {
        match self {
            Quantity::DeadTime => response.dead_time_s(),
            Quantity::RiseTime => response.rise_time_s(),
            Quantity::TransitionTime => response.transition_time_s(),
        }
    }
}

/// Way of the response from the first reading to a time, as a share of `way`.
pub fn gone_at(readings: &[Reading], time_s: f64, way: f64) -> Option<f64> {
    let first = readings.first()?.value;
    let at = readings
        .iter()
        .take_while(|reading| reading.time_s <= time_s)
        .last()?;
    Some((at.value - first) / way)
}

/// The furthest that readings go from the first of them, in the direction of the command: all
/// that is known of the way of a response in a unit of its own, such as N·m. `None` where it
/// does not go that way.
pub fn own_way(readings: &[Reading], command_way: f64) -> Option<f64> {
    let first = readings.first()?.value;
    let gone = |reading: &Reading| (reading.value - first) * command_way.signum();
    let furthest = readings.iter().map(gone).fold(0.0, f64::max);
    (furthest > 0.0).then_some(furthest * command_way.signum())
}

/// What is known around an edge; times are s from the edge's first change.
#[derive(Clone, Copy, Debug)]
pub struct Around<'a> {
    /// Course of the command from well before the edge.
    pub course: &'a [Reading],
    /// Readings of the response.
    pub readings: &'a [Reading],
    /// Up to when both are known without a break.
    pub known_until_s: f64,
    /// Response readings that follow on one the car called "not available".
    pub has_missing: bool,
}

/// Fit of an edge, judged; `near` are dead time and lag of an edge before it, s.
pub fn fit_edge(
    around: &Around,
    direction: Direction,
    near: Option<(f64, f64)>,
) -> Result<Fit, Unusable> {
    let found = fit_near(around.course, around.readings, RANGE, direction, near);
    let found = found.map_err(|refusal| match refusal {
        NoFit::TooFewReadings => Unusable::TooFewReadings,
        NoFit::CommandStandsStill | NoFit::DoesNotFollow => Unusable::DoesNotFollow,
        NoFit::BeyondRange => Unusable::TooSlow,
    })?;
    if found.residual_sd > RESIDUAL_BELOW * found.span {
        return Err(Unusable::NoLag);
    }
    Ok(found)
}

/// Crossings of an edge, where the command held until the response had settled.
pub fn cross_edge(edge: &Edge, around: &Around) -> Result<Crossings, Unusable> {
    let way = edge.to - edge.from;
    if edge.quickest < RAMP_BELOW * way.abs() {
        return Err(Unusable::CommandRamped);
    }
    if around.has_missing {
        return Err(Unusable::BrokenOff);
    }
    let seconds = |time: Time| time.since(edge.began);
    let is_off = |level: f64, wanted: f64| (level - wanted).abs() > HOLDS_WITHIN * way.abs();
    let ended_s = seconds(edge.ended);
    let gives_up = around
        .course
        .iter()
        .find(|change| change.time_s > ended_s && is_off(change.value, edge.to));
    let holds_until_s = gives_up.map_or(around.known_until_s, |change| change.time_s);
    // The command held before from the last change away from the level it started at.
    let before = around
        .course
        .iter()
        .enumerate()
        .take_while(|(_, change)| change.time_s < 0.0)
        .filter(|(_, change)| is_off(change.value, edge.from))
        .last()
        .and_then(|(index, _)| around.course.get(index + 1));
    let step = Step {
        before_s: before.map_or(f64::NEG_INFINITY, |change| change.time_s),
        edge_s: seconds(edge.half),
        holds_until_s,
    };
    crossings(step, around.readings).map_err(|refusal| match refusal {
        NoCrossings::TooFewReadings => Unusable::TooFewReadings,
        NoCrossings::HardlyMoves => Unusable::NoLag,
        NoCrossings::NotSettled if gives_up.is_some() => Unusable::CommandMovedOn,
        NoCrossings::NotSettled => Unusable::TooSlow,
    })
}
