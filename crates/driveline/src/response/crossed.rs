//! Pools the crossings of many edges, to stand beside the fits of the same edges.
//!
//! In: records. Out: [`Crossed`] for a direction, of the edges after which the command held
//! until the response had settled. It mixes no directions. Where the sample periods hide a
//! time they hide it from crossings, too: the pool of the fits decides whether they may be shown.

use crate::median::median;
use crate::response::crossings::Crossings;
use crate::response::edges::Direction;
use crate::response::record::Response;
use crate::response::resolution::{Spread, spread};

/// Times by crossings, interpolated between readings, and lags three ways, of one direction.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Crossed {
    /// Edge to where the response leaves its old level.
    pub dead_time: Spread,
    /// From 10 to 90 % of the way.
    pub rise_time: Spread,
    /// Edge to 90 % of the way; of a release, to the last 10 %.
    pub transition_time: Spread,
    /// Edge to where it stays within 5 % of its end.
    pub settle_time: Spread,
    /// How far it went beyond its end, as a share of the way: the median.
    pub overshoot: f64,
    /// Command less settled response, as a share of full: the median; `None` where nothing
    /// says what a full response is.
    pub steady_error: Option<f64>,
    /// Lag τ by two crossings after Smith.
    pub lag_smith: Spread,
    /// Lag τ by two crossings after Sundaresan and Krishnaswamy.
    pub lag_sundaresan_krishnaswamy: Spread,
    /// Lag τ of the fits of the same edges; `None` where none stands.
    pub lag_fitted: Option<Spread>,
}

/// Pools the edges of a direction; `None` where no crossings stand.
pub fn crossed(responses: &[Response], direction: Direction) -> Option<Crossed> {
    let edges: Vec<(&Response, Crossings)> = responses
        .iter()
        .filter(|response| response.direction() == direction)
        .filter_map(|response| Some((response, response.crossings.ok()?)))
        .collect();
    let of = |time_s: fn(&Crossings) -> f64| {
        let times: Vec<f64> = edges.iter().map(|(_, found)| time_s(found)).collect();
        spread(&times)
    };
    let lags: Vec<f64> = edges
        .iter()
        .filter_map(|(response, _)| Some(response.fit.ok()?.lag_s))
        .collect();
    let mut overshoots: Vec<f64> = edges.iter().map(|(_, found)| found.overshoot).collect();
    let mut errors: Vec<f64> = edges
        .iter()
        .filter_map(|(response, _)| response.steady_error)
        .collect();
    Some(Crossed {
        dead_time: of(|found| found.dead_time_s)?,
        rise_time: of(|found| found.rise_time_s)?,
        transition_time: of(|found| found.transition_time_s)?,
        settle_time: of(|found| found.settle_time_s)?,
        overshoot: median(&mut overshoots)?,
        steady_error: median(&mut errors),
        lag_smith: of(|found| found.smith.lag_s)?,
        lag_sundaresan_krishnaswamy: of(|found| found.sundaresan_krishnaswamy.lag_s)?,
        lag_fitted: spread(&lags),
    })
}
