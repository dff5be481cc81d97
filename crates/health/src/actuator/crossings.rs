//! Which times by crossings may be stated: those that the samples do not hide.
//!
//! In: a direction's [`Timing`]. Out: [`StatedCrossings`]. A crossing is read off the samples
//! its pool is read off, so what hides a time of the fits hides the crossing, too.

use halfshaft_driveline::response::pool::Pool;
use halfshaft_driveline::response::resolution::Spread;

use super::Timing;

/// A time by crossings.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum CrossedTime {
    /// Its spread.
    Stated(Spread),
    /// The sample periods hide it.
    Hidden,
    /// No edge gave it.
    None,
}

impl CrossedTime {
    /// The spread, where it may be stated.
    pub fn spread(self) -> Option<Spread> {
        match self {
            CrossedTime::Stated(spread) => Some(spread),
            CrossedTime::Hidden | CrossedTime::None => None,
        }
    }
}

/// Times and shares by crossings of one direction.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StatedCrossings {
    /// Edges.
    pub n: usize,
    /// From the command to 5 % of the way, beyond the noise.
    pub dead_time: CrossedTime,
    /// From 10 to 90 % of the way.
    pub rise_time: CrossedTime,
    /// From the command to 90 % of the way.
    pub transition_time: CrossedTime,
    /// From the command to within 5 % of its end.
    pub settle_time: CrossedTime,
    /// Lag of the fits of these edges.
    pub lag_fitted: CrossedTime,
    /// Lag by two crossings after Smith.
    pub lag_smith: CrossedTime,
    /// Lag by two crossings after Sundaresan and Krishnaswamy.
    pub lag_sundaresan_krishnaswamy: CrossedTime,
    /// Beyond its end, share of the way.
    pub overshoot: f64,
    /// Short of the command when settled, share of full.
    pub steady_error: Option<f64>,
}

impl Timing {
    /// The times by crossings that may be stated; `None` when no edge gave any.
    pub fn stated_crossings(&self) -> Option<StatedCrossings> {
        let found = self.crossings?;
        let of = |pool: &Pool, spread: Option<Spread>| match spread {
            None => CrossedTime::None,
            Some(_) if !pool.is_stated() => CrossedTime::Hidden,
            Some(spread) => CrossedTime::Stated(spread),
        };
        let lag = |spread| of(&self.rise_time, spread);
        Some(StatedCrossings {
            n: found.dead_time.n_events,
            dead_time: of(&self.dead_time, Some(found.dead_time)),
            rise_time: of(&self.rise_time, Some(found.rise_time)),
            transition_time: of(&self.transition_time, Some(found.transition_time)),
            settle_time: of(&self.transition_time, Some(found.settle_time)),
            lag_fitted: lag(found.lag_fitted),
            lag_smith: lag(Some(found.lag_smith)),
            lag_sundaresan_krishnaswamy: lag(Some(found.lag_sundaresan_krishnaswamy)),
            overshoot: found.overshoot,
            steady_error: found.steady_error,
        })
    }
}
