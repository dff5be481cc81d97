//! How soon after the command the slip goes away, for a car that says nothing of its mechanism.
//!
//! In: blocks with command and throttle, and rows. Out: [`Apparent`]: times from the command to
//! where slip has fallen to 37 %, and why edges tell none. Named apparent because tyres and
//! driver take part in it; no finding and no figure is made of it. Keeps some seconds.

use std::collections::VecDeque;

use halfshaft_driveline::Row;
use halfshaft_driveline::align::full_scale;
use halfshaft_driveline::response::apparent::{BEFORE_S, NotApparent, Surroundings, apparent_time};
use halfshaft_driveline::response::edges::{Edge, EdgeWatch};
use halfshaft_driveline::response::resolution::{Resolution, StatedTime, spread, stated_time};
use halfshaft_driveline::response::series::{Sample, Series, median_interval_s, readings};
use halfshaft_driveline::response::watch::{AFTER_S, is_measured};
use halfshaft_driveline::response::{Direction, Reading};
use halfshaft_model::channel::name;
use halfshaft_model::{Block, ChannelSpec, Time, Vehicle};

/// Rows further apart than this have a gap between them, s. Source: none, engineering guess; it
/// is the shortest gap of any channel.
const GAP_S: f64 = 0.25;

/// What the slip says of how quickly the clutch answers.
#[derive(Clone, Debug, PartialEq)]
pub struct Apparent {
    /// Engagements asked for by a quick move of the command.
    pub n_edges: u64,
    /// From the command to where the slip has fallen to 37 % of what it was.
    pub stated: StatedTime,
    /// Why engagements tell nothing, with how many of those that were measured.
    pub reasons: Vec<(NotApparent, usize)>,
}

/// A row, as far as it is asked for.
#[derive(Clone, Copy, Debug)]
struct Moment {
    time: Time,
    slip: f64,
    difference: f64,
    is_controlled: bool,
    slip_sd: Option<f64>,
}

/// Gathers while the drive goes by.
#[derive(Clone, Debug)]
pub(super) struct ApparentWatch {
    command: Series,
    command_period_s: Option<f64>,
    edges: EdgeWatch,
    throttle: Option<Series>,
    moments: VecDeque<Moment>,
    pending: VecDeque<Edge>,
    n_edges: u64,
    found: Vec<Result<f64, NotApparent>>,
    row_intervals: Vec<f64>,
}

impl ApparentWatch {
    /// A watch for the channels of a map; `None` where it lacks a command or its full scale.
    pub(super) fn new(vehicle: &Vehicle, channels: &[ChannelSpec]) -> Option<ApparentWatch> {
        let index = |name: &str| channels.iter().position(|channel| channel.name == name);
        let command = index(name::CLUTCH_COMMAND)?;
        let full = full_scale(&channels[command], vehicle)?;
        let throttle =
            index(name::THROTTLE).map(|found| Series::measured(found, &channels[found], 1.0));
        Some(ApparentWatch {
            command: Series::held(command, &channels[command], full),
            command_period_s: channels[command].period_s,
            edges: EdgeWatch::default(),
            throttle,
            moments: VecDeque::new(),
            pending: VecDeque::new(),
            n_edges: 0,
            found: Vec::new(),
            row_intervals: Vec::new(),
        })
    }
}

impl ApparentWatch {
    /// Takes a block.
    pub(super) fn push(&mut self, block: &Block) {
        let edges = &mut self.edges;
        let column = &block.columns[self.command.channel()];
        self.command.extend(column, &block.cuts, |sample| {
            if let Some(value) = sample.value {
                edges.add(sample.time, value, sample.run);
            }
        });
        if self.command.has_fallen_silent(block.until) {
            self.edges.interrupt();
        }
        if let Some(throttle) = &mut self.throttle {
            let column = &block.columns[throttle.channel()];
            throttle.extend(column, &block.cuts, |_| {});
        }
        let engagements = self.edges.take_finished();
        self.pending
            .extend(engagements.filter(|edge| edge.direction == Direction::Engage));
    }

    /// Takes a row.
    pub(super) fn add(&mut self, row: &Row) {
        self.moments.push_back(Moment {
            time: row.time,
            slip: row.slip_sharp,
            difference: row.difference_mean,
            is_controlled: row.is_controlled,
            slip_sd: row.slip_sd,
        });
    }

    /// Blocks and rows are known up to a time; `None` when the log has ended.
    pub(super) fn finish_until(&mut self, until: Option<Time>) {
        let is_over = |edge: &Edge| until.is_none_or(|until| until.since(edge.half) > AFTER_S);
        while let Some(edge) = self.pending.pop_front_if(|edge| is_over(edge)) {
            if is_measured(self.n_edges) {
                let found = self.measure(&edge);
                self.found.push(found);
            }
            self.n_edges += 1;
        }
        let Some(until) = until else { return };
        // An edge may be known only when it has ended.
        let moving = self.edges.moving_since().map(|(began, _)| began);
        let oldest = self.pending.front().map(|edge| edge.began);
        let oldest = [oldest, moving]
            .into_iter()
            .flatten()
            .fold(until, Time::min);
        let before = oldest.plus(-2.0 * AFTER_S);
        while self
            .moments
            .front()
            .is_some_and(|moment| moment.time < before)
        {
            self.moments.pop_front();
        }
        self.command.forget(before);
        if let Some(throttle) = &mut self.throttle {
            throttle.forget(before);
        }
    }

    fn measure(&mut self, edge: &Edge) -> Result<f64, NotApparent> {
        let (start, end) = (edge.half.plus(-BEFORE_S), edge.half.plus(AFTER_S));
        let first = self.moments.partition_point(|moment| moment.time < start);
        let n = self.moments.partition_point(|moment| moment.time <= end);
        let around: Vec<Moment> = self.moments.range(first..n.max(first)).copied().collect();
        let series = |of: fn(&Moment) -> f64| -> Vec<Reading> {
            let reading = |moment: &Moment| Reading {
                time_s: moment.time.since(edge.half),
                value: of(moment),
            };
            around.iter().map(reading).collect()
        };
        let slip = series(|moment| moment.slip);
        let throttle = self.throttle.as_ref().and_then(|series| {
            let samples: Vec<Sample> = series
                .stretch(series.run_at(edge.began)?, start, end)
                .collect();
            Some(readings(&samples, edge.half))
        });
        self.row_intervals.extend(median_interval_s(&slip));
        apparent_time(&Surroundings {
            edge_s: 0.0,
            slip: &slip,
            difference: &series(|moment| moment.difference),
            throttle: &throttle.unwrap_or_default(),
            is_controlled: around.iter().any(|moment| moment.is_controlled),
            slip_sd: around.last().and_then(|moment| moment.slip_sd),
            gap_limit_s: GAP_S,
        })
    }

    /// What there is so far.
    pub(super) fn outcome(&self) -> Apparent {
        let times: Vec<f64> = self.found.iter().filter_map(|found| found.ok()).collect();
        let answer_period_s = spread(&self.row_intervals).map(|spread| spread.median);
        // Samples of command and wheels come from different boxes; but nothing shows that they
        // fall anywhere against each other, so no pooling rescues a time they hide.
        let stated = match answer_period_s {
            Some(answer_period_s) if !times.is_empty() => {
                let cause_period_s = self.command_period_s.unwrap_or(answer_period_s);
                let resolution = Resolution {
                    cause_period_s,
                    answer_period_s,
                };
                stated_time(&times, resolution, false)
            }
            _ => StatedTime::NoEvent,
        };
        let mut reasons: Vec<(NotApparent, usize)> = Vec::new();
        for reason in self.found.iter().filter_map(|found| found.err()) {
            match reasons.iter_mut().find(|(known, _)| *known == reason) {
                Some((_, n)) => *n += 1,
                None => reasons.push((reason, 1)),
            }
        }
        Apparent {
            n_edges: self.n_edges,
            stated,
            reasons,
        }
    }
}
