//! Watches command and response, and yields one record for each edge of the command.
//!
//! In: blocks of columns. Out: [`Response`]s in order of time, each once all that decides
//! it has been read; how the log was cut into blocks changes nothing. Keeps some seconds of
//! samples. Nothing is carried over a gap or a cut: an edge next to one is broken off.

use std::collections::VecDeque;

use halfshaft_model::channel::name;
use halfshaft_model::{Block, ChannelSpec, Time, Vehicle};

use crate::align::{follows_command, full_scale};
use crate::response::edges::{Direction, Edge, EdgeWatch, WITHIN_S};
use crate::response::first_order::held_course;
use crate::response::ladder::SIGNALS;
use crate::response::record::{Around, Response, Unusable, cross_edge, fit_edge, gone_at, own_way};
use crate::response::resolution::Resolution;
use crate::response::series::{Sample, Series, median_interval_s, readings};
use crate::track::{DISORDER_S, Track};

/// The response is looked at from so long before the first change of the command. Source:
/// none, engineering guess; it gives the level before.
pub const BEFORE_S: f64 = 1.0;
/// To so long after it. Source: none, engineering guess; four times a tired actuator's lag.
pub const AFTER_S: f64 = 3.0;
/// A command that moves the other way ends the look, but not before this. Source: none,
/// engineering guess: earlier, the answer to the edge is not there yet.
pub const LEAST_AFTER_S: f64 = 1.0;
/// The lag remembers the command from so long before the first change. Source: none,
/// engineering guess; 1 s of lag has forgotten 95 % of what was before that.
const REMEMBERS_S: f64 = 4.0;
/// The command must have been seen so long before the first change. Source: none,
/// engineering guess.
const SEEN_BEFORE_S: f64 = 0.2;

/// Edges of a direction from which on only some are measured, every second and then ever
/// fewer, evenly over the drive: a median of some hundred is as good as one of all, and
/// time and memory grow with the logarithm of the log.
const THINNED_FROM: u64 = 200;

/// Whether an edge is measured, after so many of its direction.
pub fn is_measured(n_before: u64) -> bool {
    n_before.is_multiple_of(1 + n_before / THINNED_FROM)
}

/// Why there is no watch.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoWatch {
    /// The map has no channel `clutch.command`.
    NoCommand,
    /// The map does not say what counts as a full command.
    NoFullCommand,
    /// The map has none of the signals of a mechanism ([`SIGNALS`]) but such as follow the command.
    NoSignal,
}

#[derive(Clone, Debug)]
struct Signal {
    series: Series,
    has_full_scale: bool,
}

/// Watches for edges and their answers.
#[derive(Clone, Debug)]
pub struct ResponseWatch {
    command: Series,
    command_period_s: Option<f64>,
    edges: EdgeWatch,
    signals: Vec<Signal>,
    oil: Option<Track>,
    supply: Option<Track>,
    // Anti-lock and stability control.
    controls: Vec<Track>,
    // The longest that a sample which decides may come after its time, s.
    late_s: f64,
    pending: VecDeque<Edge>,
    // Of engagements and of releases: edges seen, and dead time and lag of the latest fit.
    n_edges: [u64; 2],
    near: [Option<(f64, f64)>; 2],
    finished: Vec<Response>,
}

impl ResponseWatch {
    /// A watch for the channels of a map.
    pub fn new(vehicle: &Vehicle, channels: &[ChannelSpec]) -> Result<ResponseWatch, NoWatch> {
        let index = |name: &str| channels.iter().position(|channel| channel.name == name);
        let command = index(name::CLUTCH_COMMAND).ok_or(NoWatch::NoCommand)?;
        let full = full_scale(&channels[command], vehicle).ok_or(NoWatch::NoFullCommand)?;
        let signals: Vec<Signal> = SIGNALS
            .iter()
            .filter_map(|name| {
                let found = index(name)?;
                let spec = &channels[found];
                let full = full_scale(spec, vehicle);
                (!follows_command(spec)).then(|| Signal {
                    series: Series::measured(found, spec, full.unwrap_or(1.0)),
                    has_full_scale: full.is_some(),
                })
            })
            .collect();
        if signals.is_empty() {
            return Err(NoWatch::NoSignal);
        }
        let track = |name: &str| index(name).map(|found| Track::held(found, &channels[found]));
        let late_by_s = channels
            .iter()
            .fold(0.0, |late_s: f64, channel| late_s.max(channel.late_by_s));
        Ok(ResponseWatch {
            command: Series::held(command, &channels[command], full),
            command_period_s: channels[command].period_s,
            edges: EdgeWatch::default(),
            signals,
            oil: track(name::OIL_TEMPERATURE),
            supply: track(name::SUPPLY_VOLTAGE),
            controls: [name::ABS_ACTIVE, name::STABILITY_ACTIVE]
                .into_iter()
                .filter_map(track)
                .collect(),
            late_s: late_by_s + DISORDER_S,
            pending: VecDeque::new(),
            n_edges: [0; 2],
            near: [None; 2],
            finished: Vec::new(),
        })
    }

    /// Takes a block.
    pub fn push(&mut self, block: &Block) {
        let edges = &mut self.edges;
        let column = &block.columns[self.command.channel()];
        self.command.extend(column, &block.cuts, |sample| {
            if let Some(value) = sample.value {
                edges.add(sample.time, value, sample.run);
            }
        });
        for signal in &mut self.signals {
            let column = &block.columns[signal.series.channel()];
            signal.series.extend(column, &block.cuts, |_| {});
        }
        for track in [&mut self.oil, &mut self.supply]
            .into_iter()
            .flatten()
            .chain(&mut self.controls)
        {
            track.extend(&block.columns[track.channel], &block.cuts);
        }
        if self.command.has_fallen_silent(block.until) {
            self.edges.interrupt();
        }
        self.finish_until(Some(block.until));
        self.forget(block.until);
    }

    /// The log has ended.
    pub fn finish(&mut self) {
        self.edges.interrupt();
        self.finish_until(None);
    }

    /// Edges seen in a direction, measured or not.
    pub fn n_edges(&self, direction: Direction) -> u64 {
        self.n_edges[usize::from(direction == Direction::Release)]
    }

    /// Records settled since the last call.
    pub fn take_finished(&mut self) -> impl Iterator<Item = Response> + '_ {
        self.finished.drain(..)
    }

    fn finish_until(&mut self, until: Option<Time>) {
        self.pending.extend(self.edges.take_finished());
        // A later edge that ends the look is known once it has changed enough.
        let wait_s = AFTER_S + WITHIN_S + self.command.gap_limit_s() + self.late_s;
        while let Some(edge) = self
            .pending
            .pop_front_if(|edge| until.is_none_or(|until| until > edge.began.plus(wait_s)))
        {
            let seen = &mut self.n_edges[usize::from(edge.direction == Direction::Release)];
            let is_taken = is_measured(*seen);
            *seen += 1;
            if is_taken {
                let response = self.record(edge, until);
                self.finished.push(response);
            }
        }
    }

    fn forget(&mut self, until: Time) {
        let slack_s = self.late_s + 2.0 * self.command.gap_limit_s() + WITHIN_S;
        let oldest = [
            self.pending.front().map(|edge| edge.began),
            self.edges.moving_since().map(|(began, _)| began),
        ]
        .into_iter()
        .flatten()
        .fold(until.plus(-slack_s), Time::min);
        let before = oldest.plus(-REMEMBERS_S);
        self.command.forget(before);
        for signal in &mut self.signals {
            signal.series.forget(before);
        }
        for track in [&mut self.oil, &mut self.supply]
            .into_iter()
            .flatten()
            .chain(&mut self.controls)
        {
            // Asking moves the track along; the answer is of no interest.
            track.at(before, Some(until));
        }
    }

    /// The end of the look: the command moves the other way, or the time is over.
    fn looks_until(&self, edge: &Edge) -> Time {
        let later = self
            .pending
            .iter()
            .map(|later| (later.began, later.direction));
        let turns = later
            .chain(self.edges.moving_since())
            .filter(|(began, direction)| {
                *direction != edge.direction && began.since(edge.began) >= LEAST_AFTER_S
            })
            .map(|(began, _)| began);
        turns.fold(edge.began.plus(AFTER_S), Time::min)
    }

    fn record(&mut self, edge: Edge, until: Option<Time>) -> Response {
        let context = |track: &mut Option<Track>| track.as_mut()?.at(edge.half, until).value();
        let (oil_c, supply_v) = (context(&mut self.oil), context(&mut self.supply));
        let mut response = Response {
            edge,
            signal: None,
            resolution: None,
            phase: None,
            gone_before: None,
            fit: Err(Unusable::ResponseNotSeen),
            crossings: Err(Unusable::ResponseNotSeen),
            steady_error: None,
            oil_c,
            supply_v,
        };
        let is_on = |track: &mut Track| track.at(edge.half, until).value() > Some(0.5);
        if self.controls.iter_mut().any(is_on) {
            return refused(response, Unusable::Controlled);
        }
        let end = self.looks_until(&edge);
        let commands = self
            .command
            .stretch(edge.run, edge.began.plus(-REMEMBERS_S), end);
        let commands = readings(commands, edge.began);
        let (Some(first), Some(last)) = (commands.first(), commands.last()) else {
            return refused(response, Unusable::NotSeenBefore);
        };
        if first.time_s > -SEEN_BEFORE_S {
            return refused(response, Unusable::NotSeenBefore);
        }
        let Some((signal, run)) = self
            .signals
            .iter()
            .find_map(|signal| Some((signal, signal.series.run_at(edge.began)?)))
        else {
            return refused(response, Unusable::ResponseNotSeen);
        };
        // A sample beyond the last command seen is not driven by a known command.
        let command_ends = edge.began.plus(last.time_s);
        let samples: Vec<Sample> = signal
            .series
            .stretch(run, edge.began.plus(-BEFORE_S.min(-first.time_s)), end)
            .filter(|sample| sample.time <= command_ends)
            .collect();
        let read = readings(&samples, edge.began);
        response.signal = Some(signal.series.channel());
        let Some(known_until_s) = read.last().map(|reading| reading.time_s) else {
            return refused(response, Unusable::ResponseNotSeen);
        };
        response.resolution = self
            .command_period_s
            .or_else(|| median_interval_s(&commands))
            .zip(median_interval_s(&read))
            .map(|(cause_period_s, answer_period_s)| Resolution {
                cause_period_s,
                answer_period_s,
            });
        // The command may have stepped right after its last old sample.
        let early_s = response
            .resolution
            .map_or(0.0, |resolution| 0.5 * resolution.cause_period_s);
        let half_s = edge.half.since(edge.began) - early_s;
        let command_way = edge.to - edge.from;
        // Newton metres compared with a share of full would always have gone all the way.
        let way = match signal.has_full_scale {
            true => Some(command_way),
            false => own_way(&read, command_way),
        };
        response.gone_before = way.and_then(|way| gone_at(&read, half_s, way));
        let first_new_s = edge.first_new.since(edge.began);
        response.phase = read
            .iter()
            .find(|reading| reading.time_s >= first_new_s)
            .zip(response.resolution)
            .map(|(reading, resolution)| {
                ((reading.time_s - first_new_s) / resolution.answer_period_s).fract()
            });
        let slowest_s = response
            .resolution
            .map_or(0.0, Resolution::deciding_period_s);
        let is_broken =
            known_until_s + slowest_s < end.since(edge.began) && known_until_s < LEAST_AFTER_S;
        if is_broken {
            return refused(response, Unusable::BrokenOff);
        }
        let course = held_course(&commands);
        let around = Around {
            course: &course,
            readings: &read,
            known_until_s,
            has_missing: samples.iter().any(|sample| sample.value.is_none()),
        };
        let near = &mut self.near[usize::from(edge.direction == Direction::Release)];
        response.fit = fit_edge(&around, edge.direction, *near);
        if let Ok(fit) = response.fit {
            *near = Some((fit.dead_time_s, fit.lag_s));
        }
        response.crossings = cross_edge(&edge, &around);
        response.steady_error = response
            .crossings
            .ok()
            .filter(|_| signal.has_full_scale)
            .map(|crossings| edge.to - crossings.new_level);
        response
    }
}

fn refused(mut response: Response, reason: Unusable) -> Response {
    response.fit = Err(reason);
    response.crossings = Err(reason);
    response
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::response::Fit;
    use crate::response::edges::Direction::{Engage, Release};
    use crate::response::pool::{Quantity, pool, reasons};
    use crate::response::resolution::StatedTime;
    use crate::response::testing::Chance;

    const NAMES: [&str; 4] = [
        "clutch.command",
        "clutch.position",
        "oil.temperature",
        "supply.voltage",
    ];

    fn channels() -> Vec<ChannelSpec> {
        NAMES
            .iter()
            .map(|name| ChannelSpec {
                full_scale: Some(1.0),
                ..ChannelSpec::new(name)
            })
            .collect()
    }

    /// A drive: the true command by time, a lag behind it, and how each is sampled.
    struct Drive<'a> {
        command: &'a dyn Fn(f64) -> f64,
        lag: (f64, f64),
        length_s: f64,
        command_every: (f64, f64),
        response_every: (f64, f64),
        noise: f64,
        // Seconds in which the position, and the command, are not logged.
        silent: (f64, f64),
        command_silent: (f64, f64),
    }

    impl Drive<'_> {
        /// All samples: time, channel, value.
        fn samples(&self) -> Vec<(f64, usize, f64)> {
            let mut all: Vec<(f64, usize, f64)> = Vec::new();
            let times = |(period_s, phase_s): (f64, f64)| {
                let n = ((self.length_s - phase_s) / period_s) as u32;
                (0..n).map(move |index| phase_s + f64::from(index) * period_s)
            };
            all.extend(
                times(self.command_every)
                    .filter(|&time| {
                        !(self.command_silent.0 <= time && time < self.command_silent.1)
                    })
                    .map(|time| (time, 0, (self.command)(time))),
            );
            let n = (self.length_s * 1e3) as u32;
            let fine: Vec<_> = (0..n)
                .map(|step| f64::from(step) * 1e-3)
                .map(|time_s| crate::response::Reading {
                    time_s,
                    value: (self.command)(time_s),
                })
                .collect();
            let mut answers = Vec::new();
            let (theta, tau) = self.lag;
            crate::response::first_order::respond(
                &held_course(&fine),
                theta,
                [tau; 2],
                times(self.response_every),
                &mut answers,
            );
            let mut chance = Chance(17);
            for (time, answer) in times(self.response_every).zip(answers) {
                let noisy = answer.value + self.noise * chance.normal();
                if !(self.silent.0 <= time && time < self.silent.1) {
                    all.push((time, 1, noisy));
                }
            }
            all.extend(times((1.0, 0.3)).map(|time| (time, 2, 40.0 + time)));
            all.extend(times((0.1, 0.0)).map(|time| (time, 3, 13.0)));
            all.sort_by(|one, other| one.0.total_cmp(&other.0));
            all
        }

        fn watch_in_blocks(&self, n_per_block: usize) -> Vec<Response> {
            let mut watch = ResponseWatch::new(&Vehicle::default(), &channels()).unwrap();
            for chunk in self.samples().chunks(n_per_block) {
                let mut block = Block::new(NAMES.len());
                for &(time, channel, value) in chunk {
                    block.columns[channel].push(Time::from_seconds(time), Some(value));
                    block.until = Time::from_seconds(time);
                }
                watch.push(&block);
            }
            watch.finish();
            watch.take_finished().collect()
        }

        fn watch(&self) -> Vec<Response> {
            self.watch_in_blocks(1000)
        }
    }

    fn square(time: f64) -> f64 {
        if (time % 4.0) < 1.9871 { 0.0 } else { 0.8 }
    }

    fn steps() -> Drive<'static> {
        Drive {
            command: &square,
            lag: (0.18, 0.1457),
            length_s: 40.0,
            command_every: (0.01, 0.0),
            response_every: (0.01, 0.004),
            noise: 0.002,
            silent: (-1.0, -1.0),
            command_silent: (-1.0, -1.0),
        }
    }

    #[track_caller]
    fn near(got: f64, wanted: f64, tolerance: f64) {
        assert!((got - wanted).abs() <= tolerance, "{got} is not {wanted}");
    }

    #[test]
    fn every_edge_gives_its_lag_both_ways() {
        let got = steps().watch();
        assert_eq!(got.len(), 19);
        for response in &got {
            let fit = response.fit.unwrap();
            near(fit.dead_time_s, 0.18, 0.006);
            near(response.rise_time_s().unwrap(), 0.32, 0.006);
            near(
                response.transition_time_s().unwrap(),
                0.18 + 2.303 * 0.1457,
                0.01,
            );
            near(fit.gain, 1.0, 0.01);
            let crossings = response.crossings.unwrap();
            near(crossings.rise_time_s, 0.32, 0.01);
            near(crossings.smith.lag_s, 0.1457, 0.01);
            near(response.steady_error.unwrap(), 0.0, 0.002);
            near(
                response.oil_c.unwrap(),
                40.0 + response.time().seconds(),
                1.0,
            );
            assert_eq!(response.supply_v, Some(13.0));
        }
        let pooled = pool(&got, Release, Quantity::DeadTime);
        assert!(matches!(pooled.stated, StatedTime::Singly(spread) if spread.n_events == 9));
        assert_eq!(pooled.by_supply_v[0].from, Some(13.0));
        assert_eq!(pooled.by_oil_c.len(), 2);
        // Every edge falls at the same place of the command's period: 10 ms, half of it.
        let doubt = pool(&got, Engage, Quantity::DeadTime).edge_doubt_s;
        near(doubt.unwrap(), 0.005, 1e-6);
        assert_eq!(pool(&got, Engage, Quantity::RiseTime).edge_doubt_s, None);
        // 13.0 V instead of 13.5: a release at 13.5 V is quicker by 13/13.5.
        near(pooled.normal.unwrap().median, 0.18 * 13.0 / 13.5, 0.006);
    }

    #[test]
    fn a_response_in_newton_metres_has_not_gone_before_a_command_in_shares() {
        // Steps of full, answered after 0.1 s, and the same with both names swapped.
        let gone = |is_swapped: bool| {
            let mut specs = channels();
            specs[1].full_scale = None;
            let mut watch = ResponseWatch::new(&Vehicle::default(), &specs).unwrap();
            let mut block = Block::new(NAMES.len());
            for index in 0..3000 {
                let time = f64::from(index) * 0.01;
                let step = |time: f64| f64::from(u8::from(time.rem_euclid(4.0) > 2.0));
                let (mut command, mut torque) = (step(time), step(time - 0.1));
                if is_swapped {
                    (command, torque) = (torque, command);
                }
                let at = Time::from_seconds(time);
                block.columns[0].push(at, Some(command));
                block.columns[1].push(at, Some(20.0 + 500.0 * torque));
                block.until = at;
            }
            watch.push(&block);
            watch.finish();
            let found = watch.take_finished();
            found
                .filter(|response| response.direction() == Engage)
                .map(|response| response.gone_before.unwrap())
                .collect::<Vec<f64>>()
        };
        let (sound, swapped) = (gone(false), gone(true));
        assert!(
            sound.len() >= 6 && sound.iter().all(|gone| *gone < 0.05),
            "{sound:?}"
        );
        assert!(
            swapped.len() >= 6 && swapped.iter().all(|gone| *gone > 0.95),
            "{swapped:?}"
        );
    }

    #[test]
    fn blocks_may_be_cut_anywhere() {
        // Levels and holds by chance, so that edges fall at all distances, and two silences.
        let mut chance = Chance(31);
        let mut changes = vec![(0.0, 0.0)];
        while let Some(&(time, _)) = changes.last().filter(|last| last.0 < 118.0) {
            let hold_s = 0.05 + 3.6 * chance.even() * chance.even();
            changes.push((time + hold_s, (chance.even() * 10.0).round() / 10.0));
        }
        let command = |time: f64| {
            let next = changes.partition_point(|change| change.0 <= time);
            changes[next.saturating_sub(1)].1
        };
        let drive = Drive {
            command: &command,
            length_s: 120.0,
            silent: (13.0, 14.5),
            command_silent: (40.0, 42.0),
            ..steps()
        };
        let whole = drive.watch_in_blocks(usize::MAX);
        assert!(whole.len() > 60, "{}", whole.len());
        for n_per_block in [1, 7, 250] {
            assert_eq!(drive.watch_in_blocks(n_per_block), whole, "{n_per_block}");
        }
        // And every fit that stands is near the truth, whatever the shapes around it.
        let fitted: Vec<Fit> = whole
            .iter()
            .filter_map(|response| response.fit.ok())
            .collect();
        assert!(2 * fitted.len() > whole.len(), "{}", fitted.len());
        for fit in fitted {
            near(fit.dead_time_s, 0.18, 0.02);
            near(fit.lag_s, 0.1457, 0.03);
        }
    }

    #[test]
    fn a_controller_that_backs_off_early_does_not_look_quick() {
        // Given up after 0.25 s, when the response has gone 38 % of its way.
        let command = |time: f64| match time % 4.0 {
            within if within < 1.9871 => 0.0,
            within if within < 2.2371 => 0.9,
            within if within < 3.5 => 0.3,
            _ => 0.0,
        };
        let drive = Drive {
            command: &command,
            ..steps()
        };
        let got = drive.watch();
        let engaging: Vec<&Response> = got
            .iter()
            .filter(|response| response.direction() == Engage)
            .collect();
        assert_eq!(engaging.len(), 10);
        for response in engaging {
            near(response.fit.unwrap().dead_time_s, 0.18, 0.008);
            near(response.rise_time_s().unwrap(), 0.32, 0.01);
            assert_eq!(response.crossings, Err(Unusable::CommandMovedOn));
        }
    }

    #[test]
    fn edges_at_one_place_of_the_period_are_known_to_that_period() {
        // A controller that steps right after its frame, or right before: the edge is taken
        // midway, and forty edges tell no better. The bands hold the truth.
        for after_s in [0.002, 0.01, 0.018] {
            let command = move |time: f64| match (time - after_s).rem_euclid(4.0) {
                within if within < 2.0 => 0.0,
                _ => 0.8,
            };
            let drive = Drive {
                command: &command,
                length_s: 160.0,
                command_every: (0.02, 0.0),
                ..steps()
            };
            let pooled = pool(&drive.watch(), Engage, Quantity::DeadTime);
            let StatedTime::Singly(spread) = pooled.stated else {
                panic!("{pooled:?}");
            };
            assert!(
                (spread.median - 0.18).abs() <= pooled.error_s,
                "{after_s}: {pooled:?}"
            );
            assert!(pooled.error_s < 0.011, "{after_s}: {pooled:?}");
        }
    }

    #[test]
    fn anti_lock_at_work_times_nothing() {
        let mut watched = channels();
        watched.push(ChannelSpec::new("abs.active"));
        let mut watch = ResponseWatch::new(&Vehicle::default(), &watched).unwrap();
        let mut block = Block::new(watched.len());
        for (time, channel, value) in steps().samples() {
            block.columns[channel].push(Time::from_seconds(time), Some(value));
        }
        // At work around the second engagement, at 5.99 s.
        for tenth in 0..400 {
            let time = 0.1 * f64::from(tenth);
            let is_on = f64::from(u8::from((5.5..6.5).contains(&time)));
            block.columns[4].push(Time::from_seconds(time), Some(is_on));
        }
        block.until = Time::from_seconds(40.0);
        watch.push(&block);
        watch.finish();
        let got: Vec<Response> = watch.take_finished().collect();
        let is_refused = |response: &&Response| response.fit == Err(Unusable::Controlled);
        assert_eq!(got.iter().filter(is_refused).count(), 1);
        assert_eq!(got[2].fit, Err(Unusable::Controlled));
    }

    #[test]
    fn a_ramp_is_timed_by_the_fit_and_not_by_crossings() {
        let command = |time: f64| match time % 6.0 {
            within if within < 2.0 => 0.0,
            within if within < 5.0 => (1.6 * (within - 2.0)).min(0.8),
            _ => 0.0,
        };
        let drive = Drive {
            command: &command,
            ..steps()
        };
        let got = drive.watch();
        let ramps: Vec<&Response> = got
            .iter()
            .filter(|response| response.direction() == Engage)
            .collect();
        assert_eq!(ramps.len(), 7);
        for response in ramps {
            near(response.fit.unwrap().dead_time_s, 0.18, 0.01);
            near(response.rise_time_s().unwrap(), 0.32, 0.02);
            assert_eq!(response.crossings, Err(Unusable::CommandRamped));
            assert_eq!(response.transition_time_s(), None);
        }
    }

    #[test]
    fn a_gap_breaks_off_and_is_not_bridged() {
        // Edges at 1.99, 4, 5.99, 8 s…: one silence ends 0.4 s after an edge, one begins then.
        let mut drive = steps();
        drive.silent = (5.5, 6.4);
        let got = drive.watch();
        assert_eq!(got[2].fit, Err(Unusable::BrokenOff));
        assert!(got[1].fit.is_ok() && got[3].fit.is_ok());
        drive.silent = (6.4, 9.9);
        let got = drive.watch();
        assert_eq!(got[2].fit, Err(Unusable::BrokenOff));
        assert_eq!(reasons(&got, Engage), [(Unusable::BrokenOff, 1)]);
        // A response that goes on while the command is silent is driven by something not logged.
        drive.silent = (-1.0, -1.0);
        drive.command_silent = (6.4, 9.9);
        let got = drive.watch();
        assert_eq!(got[2].fit, Err(Unusable::BrokenOff));
    }

    #[test]
    fn a_cut_of_the_clock_breaks_off() {
        let mut watch = ResponseWatch::new(&Vehicle::default(), &channels()).unwrap();
        let mut block = Block::new(NAMES.len());
        for (time, channel, value) in steps().samples() {
            block.columns[channel].push(Time::from_seconds(time), Some(value));
        }
        block.cuts.push(Time::from_seconds(2.3));
        block.until = Time::from_seconds(40.0);
        watch.push(&block);
        watch.finish();
        let got: Vec<Response> = watch.take_finished().collect();
        assert_eq!(got[0].fit, Err(Unusable::BrokenOff));
        assert!(got[1].fit.is_ok());
    }

    #[test]
    fn a_signal_of_noise_alone_gives_no_time() {
        let drive = Drive {
            lag: (0.18, 1e6),
            noise: 0.05,
            ..steps()
        };
        assert!(drive.watch().iter().all(|response| response.fit.is_err()));
    }

    #[test]
    fn a_known_lag_is_found_from_unsynchronised_samples() {
        // Derived: 180 ms dead and 320 ms rise at 100, 50, 20 and 10 Hz, 200 events: medians
        // within half a period of the truth, the sampling's deviation 0.41 of a period.
        for period_s in [0.01, 0.02, 0.05, 0.1] {
            let starts: Vec<f64> = {
                let mut chance = Chance(23);
                (0..200)
                    .map(|event| 8.0 * f64::from(event) + 2.0 + chance.even())
                    .collect()
            };
            let command = |time: f64| {
                let start = starts[((time / 8.0) as usize).min(199)];
                if start <= time && time < start + 3.0 {
                    0.8
                } else {
                    0.0
                }
            };
            let drive = Drive {
                command: &command,
                lag: (0.18, 0.32 / 2.197),
                length_s: 1600.0,
                command_every: (period_s, 0.0),
                // A clock of its own, 0.13 % slow: it passes through all phases.
                response_every: (period_s * 1.0013, 0.0),
                noise: 0.001,
                silent: (-1.0, -1.0),
                command_silent: (-1.0, -1.0),
            };
            let got = drive.watch();
            let dead = pool(&got, Engage, Quantity::DeadTime);
            let rise = pool(&got, Engage, Quantity::RiseTime);
            for (pooled, truth) in [(&dead, 0.18), (&rise, 0.32)] {
                let spread = match pooled.stated {
                    StatedTime::Singly(spread) | StatedTime::Pooled { spread, .. } => spread,
                    _ => panic!("{period_s}: {pooled:?}"),
                };
                assert_eq!(spread.n_events, 200);
                assert_eq!(pooled.edge_doubt_s, None);
                near(spread.median, truth, 0.5 * period_s);
                // The band holds it, and is no wider than two hundred events and an unknown
                // shape of the answer make it: 7 % of a rise, half a tick of a controller.
                assert!(
                    (spread.median - truth).abs() <= pooled.error_s,
                    "{pooled:?}"
                );
                assert!(
                    pooled.error_s < 0.08 * truth + 0.005 + 0.09 * period_s,
                    "{pooled:?}"
                );
                let printed = pooled.resolution.unwrap().delay_sd_s();
                near(printed / period_s, 0.41, 0.005);
                // The edge lies anywhere in a period of the command; nothing else is lost.
                assert!(spread.p90 - spread.p10 < 0.9 * period_s + 0.003);
            }
        }
    }

    #[test]
    fn a_second_between_polls_tells_no_tenths() {
        let drive = Drive {
            length_s: 200.0,
            command_every: (1.0, 0.0),
            response_every: (1.003, 0.2),
            ..steps()
        };
        let pooled = pool(&drive.watch(), Engage, Quantity::RiseTime);
        assert!(
            !matches!(pooled.stated, StatedTime::Singly(_)),
            "{:?}",
            pooled.stated
        );
    }

    #[test]
    fn what_a_map_must_have() {
        let of = |names: &[&str]| {
            let channels: Vec<ChannelSpec> =
                names.iter().map(|name| ChannelSpec::new(name)).collect();
            ResponseWatch::new(&Vehicle::default(), &channels).err()
        };
        assert_eq!(of(&["clutch.position"]), Some(NoWatch::NoCommand));
        assert_eq!(of(&["clutch.command"]), Some(NoWatch::NoFullCommand));
        let mut only = channels();
        only.truncate(1);
        let got = ResponseWatch::new(&Vehicle::default(), &only).err();
        assert_eq!(got, Some(NoWatch::NoSignal));
        // A position worked out from the command says nothing of the mechanism.
        let mut echo = channels();
        echo[1].follows_command = true;
        let got = ResponseWatch::new(&Vehicle::default(), &echo).err();
        assert_eq!(got, Some(NoWatch::NoSignal));
    }
}
