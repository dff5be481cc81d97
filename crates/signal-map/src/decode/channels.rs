//! Where samples end up: the columns of the block, and the freshest value of each channel.
//!
//! In: samples of channels in the order of the log. Out: columns whose times rise
//! strictly, and after every entry the channels worked out from the ones it changed.

use halfshaft_model::constants::NS_PER_S;
use halfshaft_model::{Block, Time};

use super::formula::{Evaluator, Fresh};
use super::period::LogMedian;
use crate::map::Map;

/// A value never counts for less than this after it was taken, s. Source: the gap rule
/// of the timeline, max(0.25 s, three periods).
pub(crate) const SHORTEST_REACH_S: f64 = 0.25;
/// Periods a value counts for.
pub(crate) const REACH_PERIODS: f64 = 3.0;

/// All channels of a map.
#[derive(Clone, Debug)]
pub(crate) struct Channels {
    states: Vec<State>,
    fresh: Vec<Fresh>,
    derived: Vec<(usize, Evaluator)>,
    // No sample may be put before this: it would stand across a cut.
    piece_start: Time,
    entry: u64,
    is_stirred: bool,
}

#[derive(Clone, Debug)]
struct State {
    late_ns: i64,
    latest: Option<Time>,
    period_s: Option<f64>,
    // Only channels that formulas read, and only where the map states no period.
    gaps: Option<LogMedian>,
    feeds: bool,
    // Entry that last gave a sample.
    touched: u64,
}

impl Channels {
    pub(crate) fn new(map: &Map) -> Channels {
        let n = map.channels.len();
        let derived: Vec<(usize, Evaluator)> = map
            .derived
            .iter()
            .filter(|derived| derived.channel < n)
            .map(|derived| {
                (
                    derived.channel,
                    Evaluator::new(&derived.formula, &map.tables),
                )
            })
            .collect();
        let states: Vec<State> = map
            .channels
            .iter()
            .enumerate()
            .map(|(index, spec)| {
                let feeds = derived
                    .iter()
                    .any(|(_, evaluator)| evaluator.inputs.contains(&index));
                State {
                    late_ns: (spec.late_by_s * NS_PER_S as f64).round() as i64,
                    latest: None,
                    period_s: spec.period_s,
                    gaps: (feeds && spec.period_s.is_none()).then(LogMedian::default),
                    feeds,
                    touched: 0,
                }
            })
            .collect();
        let fresh = states
            .iter()
            .map(|state| Fresh {
                sample: None,
                reach_s: state.reach_s(),
            })
            .collect();
        Channels {
            states,
            fresh,
            derived,
            piece_start: Time(i64::MIN),
            entry: 0,
            is_stirred: false,
        }
    }

    pub(crate) fn len(&self) -> usize {
        self.states.len()
    }

    /// Nothing reaches past `time`.
    pub(crate) fn cut(&mut self, time: Time) {
        self.piece_start = time;
        self.fresh.iter_mut().for_each(|fresh| fresh.sample = None);
        self.derived
            .iter_mut()
            .for_each(|(_, evaluator)| evaluator.cut());
    }

    /// A new entry begins.
    pub(crate) fn begin(&mut self) {
        self.entry += 1;
        self.is_stirred = false;
    }

    /// Adds a sample that came at `time`; false when the column already has a later one.
    #[inline(always)]
    pub(crate) fn push(
        &mut self,
        channel: usize,
        time: Time,
        value: Option<f64>,
        block: &mut Block,
    ) -> bool {
        let (Some(state), Some(column)) =
            (self.states.get_mut(channel), block.columns.get_mut(channel))
        else {
            return false;
        };
        let time = Time(time.0.saturating_sub(state.late_ns));
        // What was true before the log or this piece of it began belongs to a stretch nobody saw.
        if time < self.piece_start {
            return true;
        }
        if state.latest.is_some_and(|latest| time <= latest) {
            return false;
        }
        column.push(time, value);
        if state.feeds {
            if let (Some(gaps), Some((latest, _))) = (&mut state.gaps, self.fresh[channel].sample) {
                gaps.add(time.since(latest));
            }
            self.fresh[channel] = Fresh {
                sample: Some((time, value)),
                reach_s: state.reach_s(),
            };
            state.touched = self.entry;
            self.is_stirred = true;
        }
        state.latest = Some(time);
        true
    }

    /// Works out what depends on the samples of this entry.
    #[inline]
    pub(crate) fn finish(&mut self, time: Time, block: &mut Block) {
        if self.is_stirred {
            self.work_out(time, block);
        }
    }

    fn work_out(&mut self, time: Time, block: &mut Block) {
        for index in 0..self.derived.len() {
            let (channel, evaluator) = &mut self.derived[index];
            let is_fed = evaluator
                .inputs
                .iter()
                .any(|&input| self.states[input].touched == self.entry);
            let is_later = self.states[*channel]
                .latest
                .is_none_or(|latest| time > latest);
            if is_fed && is_later {
                let (channel, value) = (*channel, evaluator.value(time, &self.fresh));
                self.push(channel, time, value, block);
            }
        }
    }
}

impl State {
    fn reach_s(&self) -> f64 {
        let learned_s = self.gaps.as_ref().and_then(LogMedian::usual);
        let period_s = self.period_s.or(learned_s).unwrap_or(0.0);
        // A sample that is late is old when it arrives, through no fault of its own.
        (REACH_PERIODS * period_s).max(SHORTEST_REACH_S) + self.late_ns as f64 / NS_PER_S as f64
    }
}
