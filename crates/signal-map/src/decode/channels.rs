//! Where samples end up: the columns of the block, and the freshest value of each channel.
//!
//! In: samples of channels in the order of the log. Out: columns whose times rise
//! strictly, and after every entry the channels worked out from the ones it changed. Where
//! samples are screened, formulas still read what was sampled: what they give is screened too.

use halfshaft_model::channel::name;
use halfshaft_model::constants::NS_PER_S;
use halfshaft_model::{Block, Time};

use super::formula::{Evaluator, Fresh};
use super::period::LogMedian;
use super::screen::{N_ROLLING, Others, Out, Watch};
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
    // Channels that say how fast the car goes, as far as the map has them.
    rolling: [Option<usize>; N_ROLLING],
    // When the first sample that waits is decided without another one.
    deadline: Time,
}

#[derive(Clone, Debug)]
struct State {
    watch: Option<Watch>,
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
                    watch: None,
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
            rolling: [None; N_ROLLING],
            deadline: Time(i64::MAX),
        }
    }

    /// Leaves out from here on what no car can do.
    pub(crate) fn screen(&mut self, map: &Map) {
        for (state, spec) in self.states.iter_mut().zip(&map.channels) {
            state.watch = Watch::new(spec);
        }
        self.rolling = [
            name::WHEEL_REAR_LEFT,
            name::WHEEL_REAR_RIGHT,
            name::WHEEL_FRONT_LEFT,
            name::WHEEL_FRONT_RIGHT,
            name::SPEED_VEHICLE,
        ]
        .map(|name| map.channel(name));
    }

    pub(crate) fn len(&self) -> usize {
        self.states.len()
    }

    /// Nothing reaches past `time`.
    pub(crate) fn cut(&mut self, time: Time, block: &mut Block) {
        self.each_watch(block, |watch, out| watch.cut(out));
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
        let is_plain = match &mut state.watch {
            Some(watch) => watch.passes(time, value),
            None => true,
        };
        if is_plain {
            column.push(time, value);
        }
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
        if !is_plain {
            self.look_at(channel, time, value, block);
        }
        true
    }

    /// A sample that is not plainly sound.
    #[cold]
    fn look_at(&mut self, channel: usize, time: Time, value: Option<f64>, block: &mut Block) {
        let others = self.others(channel);
        let Some(watch) = &mut self.states[channel].watch else {
            return;
        };
        watch.take(time, value, &others, &mut out(channel, block));
        self.note_deadline();
    }

    fn others(&self, channel: usize) -> Others {
        let read = self.rolling.map(|other| {
            let other = other.filter(|other| *other != channel)?;
            Some(self.states[other].watch.as_ref()?.rolling())
        });
        Others {
            speeds: read.map(|read| read.map_or(f64::NAN, |(speed, _)| speed)),
            steps: read.map(|read| read.map_or(0.0, |(_, step)| step)),
        }
    }

    fn watches(&self) -> impl Iterator<Item = &Watch> {
        self.states.iter().filter_map(|state| state.watch.as_ref())
    }

    fn note_deadline(&mut self) {
        let first = self.watches().filter_map(Watch::deadline).min();
        self.deadline = first.unwrap_or(Time(i64::MAX));
    }

    fn each_watch(&mut self, block: &mut Block, mut each: impl FnMut(&mut Watch, &mut Out)) {
        for (channel, state) in self.states.iter_mut().enumerate() {
            if let Some(watch) = &mut state.watch {
                each(watch, &mut out(channel, block));
            }
        }
        self.note_deadline();
    }

    /// The log has ended: nothing comes behind what waits.
    pub(crate) fn end(&mut self, block: &mut Block) {
        self.each_watch(block, |watch, out| watch.end(out));
    }

    /// The oldest sample that waits.
    pub(crate) fn waits_since(&self) -> Option<Time> {
        self.watches().filter_map(Watch::waits_since).min()
    }

    /// Works out what depends on the samples of this entry.
    #[inline]
    pub(crate) fn finish(&mut self, time: Time, block: &mut Block) {
        if self.is_stirred {
            self.work_out(time, block);
        }
        if time >= self.deadline {
            self.each_watch(block, |watch, out| watch.expire(time, out));
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

fn out(channel: usize, block: &mut Block) -> Out<'_> {
    Out {
        channel,
        column: &mut block.columns[channel],
        left_out: &mut block.left_out,
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
