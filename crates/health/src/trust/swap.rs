//! Whether command and state stand under each other's name.
//!
//! In: blocks. Out: [`Swap`], how well changes of the one go with later changes of the other. A
//! mechanism moves after it is commanded; when what the map calls the state moves first, over the
//! whole drive, the map has the two swapped. Edge by edge that shows with a quick mechanism
//! ([`crate::actuator::Leading`]); with a slow one what the map calls the command has no edges,
//! and this shows.
//!
//! Changes are taken at the samples: rows interpolate a measured signal, which then moves up to a
//! sample early. They are gathered in bins of time, and what two signals do within their own
//! sample intervals of each other has no order, unless both always came in one frame: then what is a sample
//! later is later. Sums are of whole numbers, so that the order in
//! which blocks bring the samples changes nothing.

use std::collections::VecDeque;

use halfshaft_driveline::align::{full_scale, state_channel};
use halfshaft_driveline::period::Period;
use halfshaft_model::channel::name;
use halfshaft_model::constants::NS_PER_S;
use halfshaft_model::{Block, ChannelSpec, Column, SampleOrCut, Span, Time, Vehicle};

use crate::limits::Swapped;
use crate::part::{Came, Part};

/// Length of a bin, ns.
const BIN_NS: i64 = NS_PER_S / 20;

/// Bins by which the one may be later than the other: a second.
const LAGS: usize = 20;

/// A bin is added up so many bins after its end: what comes later is not counted.
const LATE_BINS: i64 = 2 * LAGS as i64;

/// From intervals of so many bins on, what both do in one bin counts as following: all of a quick
/// mechanism's answers are there.
const COARSE: usize = 3;

/// In one frame a sample later is later only where the command is seen whole: it makes fewer strokes
/// than this in a sample interval. Source: none, engineering guess; one that jumps at every sample goes with any
/// signal at any lag.
const SEEN_WHOLE: f64 = 0.25;

/// Full stroke in whole numbers; a square of it, ten thousand times over, fits.
const PER_FULL: f64 = 1e4;

/// How command and state go together.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Swap {
    /// Full strokes of the command.
    pub strokes: f64,
    /// How well the command goes with the state before it, a correlation.
    pub leads: f64,
    /// How well the state goes with the command before it, or with that of its own time.
    pub follows: f64,
    /// From when to when.
    pub span: Span,
}

/// The samples of one signal.
#[derive(Clone, Debug)]
struct Signal {
    channel: usize,
    full: f64,
    period: Period,
    latest: Option<(Time, f64)>,
    // Time between samples that followed each other, and how many.
    joined: (i64, i64),
}

impl Signal {
    fn new(channel: usize, spec: &ChannelSpec, full: f64) -> Signal {
        Signal {
            channel,
            full,
            period: Period::new(spec.period_s),
            latest: None,
            joined: (0, 0),
        }
    }

    /// Takes a block, and shows each change with its time.
    fn extend(&mut self, block: &Block, mut show: impl FnMut(Time, i64)) {
        block.columns[self.channel].walk(&block.cuts, |met| match met {
            SampleOrCut::Sample(time, Some(value)) => {
                let value = value / self.full;
                if let Some((before, was)) = self.latest.replace((time, value)) {
                    let interval_ns = time.0 - before.0;
                    if (0..=self.period.gap_limit_ns()).contains(&interval_ns) {
                        self.joined.0 += interval_ns;
                        self.joined.1 += 1;
                        show(time, (PER_FULL * (value - was)).round() as i64);
                    }
                }
                self.period.add(time);
            }
            SampleOrCut::Sample(_, None) | SampleOrCut::Cut(_) => self.latest = None,
        });
    }

    /// Bins that a usual interval of it reaches over.
    fn bins(&self) -> usize {
        let (all_ns, n) = self.joined;
        (all_ns / n.max(1)).div_euclid(BIN_NS) as usize + 1
    }
}

/// What both did in one bin.
#[derive(Clone, Copy, Debug, Default)]
struct Bin {
    number: i64,
    command: i64,
    state: i64,
}

/// Watches the samples.
#[derive(Clone, Debug)]
pub struct SwapWatch {
    signals: Option<[Signal; 2]>,
    // So far every sample of the one had one of the other at its time.
    is_one_frame: bool,
    // Bins that are not added up yet, and those before them that still count, in order.
    open: VecDeque<Bin>,
    recent: VecDeque<Bin>,
    // Products of the change of the state with that of the command so many bins before, and of
    // the command with the state.
    follows: [i64; LAGS + 1],
    leads: [i64; LAGS + 1],
    squares: [i64; 2],
    strokes: i64,
    span: Option<Span>,
}

impl Part for SwapWatch {
    fn block(&mut self, came: &Came) {
        self.push(came.block);
    }
}

impl SwapWatch {
    /// Nothing seen yet.
    pub fn new(vehicle: &Vehicle, channels: &[ChannelSpec]) -> SwapWatch {
        let signal = |found: usize| {
            let full = full_scale(&channels[found], vehicle)?;
            Some(Signal::new(found, &channels[found], full))
        };
        let command = channels
            .iter()
            .position(|channel| channel.name == name::CLUTCH_COMMAND)
            .and_then(signal);
        let state = state_channel(vehicle, channels).and_then(signal);
        SwapWatch {
            signals: command.zip(state).map(|(command, state)| [command, state]),
            is_one_frame: true,
            open: VecDeque::new(),
            recent: VecDeque::new(),
            follows: [0; LAGS + 1],
            leads: [0; LAGS + 1],
            squares: [0; 2],
            strokes: 0,
            span: None,
        }
    }

    /// Takes a block.
    pub fn push(&mut self, block: &Block) {
        let Some(signals) = &mut self.signals else {
            return;
        };
        let [commands, states] = [0, 1].map(|index| &block.columns[signals[index].channel]);
        let times = |column: &Column| column.iter().map(|(time, _)| time).collect::<Vec<_>>();
        self.is_one_frame = self.is_one_frame && times(commands) == times(states);
        let done = self.recent.back().map_or(i64::MIN, |bin| bin.number);
        let open = &mut self.open;
        let mut note = |time: Time, command: i64, state: i64| {
            let number = time.0.div_euclid(BIN_NS);
            if (command, state) == (0, 0) || number <= done {
                return;
            }
            let place = open.partition_point(|bin| bin.number < number);
            if open.get(place).is_none_or(|bin| bin.number != number) {
                let bin = Bin {
                    number,
                    ..Bin::default()
                };
                open.insert(place, bin);
            }
            open[place].command += command;
            open[place].state += state;
        };
        let [command, state] = signals;
        command.extend(block, |time, change| note(time, change, 0));
        state.extend(block, |time, change| note(time, 0, change));
        let until = block.until.0.div_euclid(BIN_NS) - LATE_BINS;
        while let Some(bin) = self.open.front().copied().filter(|bin| bin.number < until) {
            self.open.pop_front();
            self.add(bin);
        }
    }

    /// Adds a bin up, with those before it.
    fn add(&mut self, bin: Bin) {
        let is_far = |before: &Bin| bin.number - before.number > LAGS as i64;
        while self.recent.front().is_some_and(is_far) {
            self.recent.pop_front();
        }
        self.recent.push_back(bin);
        for before in &self.recent {
            let lag = (bin.number - before.number) as usize;
            self.follows[lag] += bin.state * before.command;
            self.leads[lag] += bin.command * before.state;
        }
        self.squares[0] += bin.command * bin.command;
        self.squares[1] += bin.state * bin.state;
        self.strokes += bin.command.abs();
        let start = Time(bin.number * BIN_NS);
        let first = self.span.map_or(start, |span| span.start);
        self.span = Some(Span {
            start: first,
            end: Time(start.0 + BIN_NS),
        });
    }

    /// The same with every bin added up.
    fn settled(&self) -> SwapWatch {
        let mut settled = self.clone();
        while let Some(bin) = settled.open.pop_front() {
            settled.add(bin);
        }
        settled
    }

    /// How they go together, and how far apart the samples lie, in bins, where that hides which moves
    /// first; `None` where neither moved.
    fn found(&self, limits: &Swapped) -> Option<(Swap, Option<usize>)> {
        let settled = self.settled();
        let [command, state] = settled.signals.as_ref()?;
        let size = (settled.squares[0] as f64 * settled.squares[1] as f64).sqrt();
        let best = |sums: &[i64]| sums.iter().fold(0, |most, sum| *sum.max(&most)) as f64 / size;
        let strokes = settled.strokes as f64 / PER_FULL;
        let has_order = self.is_one_frame && strokes < SEEN_WHOLE * command.joined.1 as f64;
        // What leads by less than the samples lie apart may follow.
        let apart = command.bins().max(state.bins()).min(LAGS);
        let (leads_from, follows_from) = match has_order {
            true => (1, 1),
            false => (apart + 1, usize::from(apart < COARSE)),
        };
        let found = Swap {
            strokes,
            leads: best(&settled.leads[leads_from..]),
            follows: best(&settled.follows[follows_from..]),
            span: settled.span.filter(|_| size > 0.0)?,
        };
        // What follows by more than the samples lie apart follows.
        let surely_follows = best(&settled.follows[apart + 1..]);
        let is_hidden = !has_order
            && apart >= COARSE
            && surely_follows < limits.correlation.max(limits.ratio * found.leads);
        Some((found, is_hidden.then_some(apart)))
    }

    /// How they go together when that is the wrong way round.
    pub fn outcome(&self, limits: &Swapped) -> Option<Swap> {
        let (found, _) = self.found(limits)?;
        let is_so = found.strokes >= limits.strokes
            && found.leads >= limits.correlation
            && found.leads > limits.ratio * found.follows;
        is_so.then_some(found)
    }

    /// How far apart the samples lie, s, where that hides which of the two moves first: a quick mechanism
    /// then answers between two samples of the one, before its turn as often as after it.
    pub fn hidden_by_s(&self, limits: &Swapped) -> Option<f64> {
        let (_, hidden) = self.found(limits)?;
        hidden.map(|bins| (bins as i64 * BIN_NS) as f64 / NS_PER_S as f64)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn channels(names: [&str; 2]) -> Vec<ChannelSpec> {
        let spec = |name| ChannelSpec {
            full_scale: Some(1.0),
            ..ChannelSpec::new(name)
        };
        names.map(spec).to_vec()
    }

    fn block(columns: [&[(f64, f64)]; 2], until_s: f64) -> Block {
        let mut block = Block::new(2);
        for (column, samples) in block.columns.iter_mut().zip(columns) {
            for &(time_s, value) in samples {
                column.push(Time::from_seconds(time_s), Some(value));
            }
        }
        block.until = Time::from_seconds(until_s);
        block
    }

    /// A command of steps (or of quick pulses) at `rate_hz` and a mechanism of one lag, its samples
    /// `phase` of a period later; under each other's name or not.
    fn outcome(
        rate_hz: f64,
        lag_s: f64,
        phase: f64,
        pulse_s: f64,
        is_swapped: bool,
    ) -> Option<Swap> {
        let names = match is_swapped {
            true => [name::CLUTCH_POSITION, name::CLUTCH_COMMAND],
            false => [name::CLUTCH_COMMAND, name::CLUTCH_POSITION],
        };
        let mut watch = SwapWatch::new(&Vehicle::default(), &channels(names));
        let (mut slow, mut t, step_s) = (0.0, 0.0, 0.001);
        let (mut due, mut commands, mut states) = ([0.0, phase / rate_hz], Vec::new(), Vec::new());
        while t < 120.0 {
            let phase_of_pulse = (t / pulse_s).fract();
            // Pulses of unlike length, as driving makes them.
            let on = 0.35 + 0.3 * ((t / pulse_s).floor() * 0.618).fract();
            let command = f64::from(u8::from(phase_of_pulse < on));
            slow += (command - slow) * step_s / lag_s;
            if t >= due[0] {
                commands.push((t, command));
                due[0] += 1.0 / rate_hz;
            }
            if t >= due[1] {
                states.push((t, slow));
                due[1] += 1.0 / rate_hz;
            }
            t += step_s;
        }
        watch.push(&block([&commands, &states], 121.0));
        watch.outcome(&Swapped::default())
    }

    #[test]
    fn a_slow_mechanism_under_the_commands_name_is_seen_over_the_whole_drive() {
        for rate_hz in [20.0, 50.0, 100.0] {
            for lag_s in [0.2, 0.3] {
                let swap = outcome(rate_hz, lag_s, 0.4, 3.0, true);
                let swap = swap.unwrap_or_else(|| panic!("{rate_hz} {lag_s}"));
                assert!(swap.leads > 0.1, "{swap:?}");
            }
        }
    }

    #[test]
    fn the_right_way_round_at_any_rate_and_rhythm_it_is_sound() {
        for rate_hz in [4.0, 5.0, 8.0, 10.0, 20.0, 50.0, 100.0] {
            for lag_s in [0.02, 0.06, 0.2, 0.5] {
                for phase in [0.0, 0.3, 0.9] {
                    for pulse_s in [0.4, 0.9, 3.0] {
                        let swap = outcome(rate_hz, lag_s, phase, pulse_s, false);
                        assert_eq!(swap, None, "{rate_hz} {lag_s} {phase} {pulse_s}");
                    }
                }
            }
        }
    }

    #[test]
    fn in_one_frame_a_sample_later_is_later() {
        // 4 Hz, and a lag shorter than the time between two samples.
        assert!(outcome(4.0, 0.1, 0.0, 3.0, true).is_some());
    }

    #[test]
    fn blocks_of_any_size_give_the_same() {
        let names = [name::CLUTCH_COMMAND, name::CLUTCH_POSITION];
        let wave = |t: f64| (0.5 + 0.5 * (t * 1.7).sin()).max(0.1);
        let times = || (0..3000).map(|index| f64::from(index) * 0.02);
        let commands: Vec<(f64, f64)> = times().map(|t| (t, wave(t))).collect();
        let states: Vec<(f64, f64)> = times().map(|t| (t + 0.007, wave(t - 0.3))).collect();
        let mut found = Vec::new();
        for n in [3000, 700, 13] {
            let mut watch = SwapWatch::new(&Vehicle::default(), &channels(names));
            for (one, two) in commands.chunks(n).zip(states.chunks(n)) {
                watch.push(&block([one, two], two[two.len() - 1].0));
            }
            let watch = watch.settled();
            found.push((watch.strokes, watch.follows, watch.leads, watch.squares));
        }
        assert!(found[0].0 > 0);
        assert!(found.iter().all(|sums| *sums == found[0]));
    }
}
