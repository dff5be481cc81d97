//! Pools the answers to many edges: median, spread, by oil temperature and by voltage.
//!
//! In: records, and which time of theirs is meant. Out: what may be said of it, for each
//! direction on its own, with the sample period that decided. It mixes no directions, and
//! says nothing that the sample periods cannot tell.

use crate::response::edges::Direction;
use crate::response::median_error::{Timed, edge_doubt_s, error_s};
use crate::response::normal::{Measured, Slopes};
pub use crate::response::record::Quantity;
use crate::response::record::{Response, Unusable};
use crate::response::resolution::{
    LOCKED_FROM, Resolution, Spread, StatedTime, phase_agreement, spread, stated_time,
};

/// Upper ends of the bands of oil temperature but for the last, °C. Source: none,
/// engineering guess: where oil is thick, where it is warming, in use, hot.
pub const OIL_BANDS_C: [f64; 4] = [0.0, 20.0, 60.0, 100.0];

/// Upper ends of the bands of supply voltage but for the last, V. Source: none,
/// engineering guess: weak, resting, weakly charged, charging.
pub const SUPPLY_BANDS_V: [f64; 3] = [12.0, 13.0, 14.0];

/// Share of the edges that must have a fit. Below it the few that fit by chance are no sample
/// of the rest, and nothing is told. Source: none, engineering guess.
const LEAST_FITTED: f64 = 0.1;

/// Times in one band.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Band {
    /// From, included; `None` when it has no lower end.
    pub from: Option<f64>,
    /// To, excluded; `None` when it has no upper end.
    pub to: Option<f64>,
    /// Times in it.
    pub spread: Spread,
}

/// What is known of one time over many edges.
#[derive(Clone, Debug, PartialEq)]
pub struct Pool {
    /// What may be said of the time as measured.
    pub stated: StatedTime,
    /// The median periods that decided; `None` without an event.
    pub resolution: Option<Resolution>,
    /// Dead time, and with it the transition time, may be off by so much either way, s, and
    /// the median of many does not help: the scatter shows that edges fall at one place of
    /// the command's period, so they are not midway on the average. A controller that sends
    /// its command the moment it changes it makes dead times come out longer by this. `None`
    /// where edges fall anywhere, too few stated_time, or the time does not hang on the edge.
    pub edge_doubt_s: Option<f64>,
    /// The median is known to so much either way, s: half of a 90 % interval. By the scatter of
    /// the events or what a single one is known to at the best, by what the command's period
    /// leaves open, and by the shape of an answer that is no lag of first order.
    pub error_s: f64,
    /// Edges of this direction that give no such time.
    pub n_unusable: usize,
    /// By oil temperature, coldest first; empty bands left out.
    pub by_oil_c: Vec<Band>,
    /// By supply voltage, lowest first; empty bands left out.
    pub by_supply_v: Vec<Band>,
    /// How the time changes with both.
    pub slopes: Slopes,
    /// Brought to 60 °C and 13.5 V, of the edges where both were known.
    pub normal: Option<Spread>,
}

impl Pool {
    /// Whether the sample periods allow a time to be stated.
    pub fn is_stated(&self) -> bool {
        matches!(
            self.stated,
            StatedTime::Singly(_) | StatedTime::Pooled { .. }
        )
    }
}

/// Pools one time over the edges of one direction.
pub fn pool(responses: &[Response], direction: Direction, quantity: Quantity) -> Pool {
    let edges = || {
        responses
            .iter()
            .filter(move |response| response.direction() == direction)
    };
    let (n_edges, n_fitted) = (
        edges().count(),
        edges().filter(|response| response.fit.is_ok()).count(),
    );
    let is_sample = n_fitted as f64 >= LEAST_FITTED * n_edges as f64;
    let timed: Vec<Timed> = edges()
        .filter(|_| is_sample)
        .filter_map(|response| Some((response, quantity.of(response)?)))
        .collect();
    let times: Vec<f64> = timed.iter().map(|(_, time_s)| *time_s).collect();
    let median = |of: fn(Resolution) -> f64| {
        let periods: Vec<f64> = timed
            .iter()
            .filter_map(|(response, _)| response.resolution.map(of))
            .collect();
        spread(&periods).map(|spread| spread.median)
    };
    let resolution = median(|resolution| resolution.cause_period_s)
        .zip(median(|resolution| resolution.answer_period_s))
        .map(|(cause_period_s, answer_period_s)| Resolution {
            cause_period_s,
            answer_period_s,
        });
    let is_unsynchronised =
        phase_agreement(timed.iter().filter_map(|(response, _)| response.phase))
            .is_some_and(|agreement| agreement < LOCKED_FROM);
    let measured: Vec<Measured> = timed
        .iter()
        .filter_map(|(response, time_s)| {
            Some(Measured {
                time_s: *time_s,
                oil_c: response.oil_c?,
                supply_v: response.supply_v?,
            })
        })
        .collect();
    let slopes = Slopes::learned(&measured);
    let normal: Vec<f64> = measured
        .iter()
        .filter_map(|measured| slopes.normal_s(measured))
        .collect();
    Pool {
        stated: resolution.map_or(StatedTime::NoEvent, |resolution| {
            stated_time(&times, resolution, is_unsynchronised)
        }),
        resolution,
        edge_doubt_s: edge_doubt_s(&timed, resolution).filter(|_| quantity != Quantity::RiseTime),
        error_s: resolution.map_or(0.0, |resolution| error_s(&timed, resolution, quantity)),
        n_unusable: n_edges - timed.len(),
        by_oil_c: bands(&OIL_BANDS_C, &timed, |response| response.oil_c),
        by_supply_v: bands(&SUPPLY_BANDS_V, &timed, |response| response.supply_v),
        slopes,
        normal: spread(&normal),
    }
}

fn bands(ends: &[f64], timed: &[Timed], of: fn(&Response) -> Option<f64>) -> Vec<Band> {
    (0..=ends.len())
        .filter_map(|index| {
            let from = index.checked_sub(1).map(|index| ends[index]);
            let to = ends.get(index).copied();
            let is_in = |value: f64| {
                from.is_none_or(|from| from <= value) && to.is_none_or(|to| value < to)
            };
            let times: Vec<f64> = timed
                .iter()
                .filter(|(response, _)| of(response).is_some_and(is_in))
                .map(|(_, time_s)| *time_s)
                .collect();
            let spread = spread(&times)?;
            Some(Band { from, to, spread })
        })
        .collect()
}

/// Why edges of a direction have no fit, with counts, in the order of [`Unusable`].
pub fn reasons(responses: &[Response], direction: Direction) -> Vec<(Unusable, usize)> {
    let mut found: Vec<Unusable> = responses
        .iter()
        .filter(|response| response.direction() == direction)
        .filter_map(|response| response.fit.err())
        .collect();
    found.sort_unstable();
    let mut counted: Vec<(Unusable, usize)> = Vec::new();
    for reason in found {
        match counted.last_mut() {
            Some((last, n)) if *last == reason => *n += 1,
            _ => counted.push((reason, 1)),
        }
    }
    counted
}
