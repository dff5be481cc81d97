//! The ladder of delays after the pedal: controller, mechanism, vehicle.
//!
//! In: blocks with throttle, command and response, and rows for the excess difference. Out:
//! one [`Ladder`] for each quick throttle-on and each lift-off, with the part of each rung
//! or `None` where it was not reached. How the log was cut changes nothing. A rung next to
//! a gap is not told. "Controller" and "mechanism" are different people's fault, so they
//! are never summed into one figure here.

use std::collections::VecDeque;

use halfshaft_model::channel::name;
use halfshaft_model::{Block, ChannelSpec, Time, Vehicle};

use crate::align::{follows_command, full_scale};
use crate::engagement::{OPEN_BELOW, START_FROM};
use crate::response::series::{Sample, Series};
use crate::track::DISORDER_S;

/// Throttle-on begins below this throttle, and its clock starts when it is passed.
/// Engineering default.
pub const ON_FROM: f64 = 0.10;
/// And rises by this much within [`ON_WITHIN_S`]. Engineering default.
pub const ON_RISE: f64 = 0.15;
/// See [`ON_RISE`].
pub const ON_WITHIN_S: f64 = 0.3;
/// Lift-off: the clock starts when the throttle falls below this. Engineering default.
pub const LIFTED_BELOW: f64 = 0.05;
/// The throttle is fed at this share of its highest. Source: none, engineering guess.
pub const FED_AT: f64 = 0.9;
/// The mechanism answers at this share of full. Engineering default.
pub const ANSWERS_AT: f64 = 0.10;
/// A rung must be reached within this of the one before. Source: none, engineering guess;
/// later, something else caused it.
pub const RUNG_WITHIN_S: f64 = 2.0;
/// The excess difference must reach this for its peak to mean anything, rad/s, and then
/// fall by [`PEAK_FALLS_BY`] of itself. Source: none, engineering guess.
pub const LEAST_EXCESS: f64 = 1.0;
/// See [`LEAST_EXCESS`].
pub const PEAK_FALLS_BY: f64 = 0.3;

/// Signals that say what the mechanism did, best first: those with a share of full.
pub const SIGNALS: [&str; 4] = [
    name::CLUTCH_POSITION,
    name::CLUTCH_TORQUE,
    name::CLUTCH_PRESSURE,
    name::CLUTCH_FORCE,
];

/// A throttle that was on within so long before is pressed again and not on: a lift of a
/// gear change. Source: none, engineering guess; a slow shift by hand takes 0.6 s.
const SHIFT_S: f64 = 0.8;

/// Rungs are looked for so long after the pedal.
const LOOK_S: f64 = 3.0 * RUNG_WITHIN_S;

/// What the driver did.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pedal {
    /// From below 10 % by at least 15 percentage points within 0.3 s.
    On,
    /// Below 5 %.
    Off,
}

/// Delays after the pedal, s, each from the rung before.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ladder {
    /// When the throttle passed its level.
    pub time: Time,
    /// Which way.
    pub pedal: Pedal,
    /// Pedal to command at 10 %; at lift-off to command below 5 %.
    pub controller_s: Option<f64>,
    /// From there to the response at 10 %; at lift-off below 10 %.
    pub mechanism_s: Option<f64>,
    /// From there to the peak of the excess difference, from which it falls; throttle-on
    /// only. `None` also where the peak came before the mechanism answered.
    pub vehicle_s: Option<f64>,
    /// Time the driver took from [`ON_FROM`] until the throttle was at [`FED_AT`] of the most it
    /// reached before the command came, s; 0 at lift-off. So much of the controller's part may
    /// be the driver's: a controller cannot answer a throttle that is still to come.
    pub feed_s: f64,
}

impl Ladder {
    /// Pedal to response, s: the parts of controller and mechanism, where both are known.
    pub fn whole_s(&self) -> Option<f64> {
        Some(self.controller_s? + self.mechanism_s?)
    }
}

#[derive(Clone, Copy, Debug)]
struct Pressed {
    time: Time,
    pedal: Pedal,
}

/// Watches the pedal.
#[derive(Clone, Debug)]
pub struct LadderWatch {
    throttle: Series,
    command: Series,
    responses: Vec<Series>,
    late_s: f64,
    // Throttle samples of the last [`ON_WITHIN_S`] and the one before.
    recent: VecDeque<Sample>,
    was_on: bool,
    is_counted: bool,
    pending: VecDeque<Pressed>,
    excess: VecDeque<(Time, Option<f64>)>,
    finished: Vec<Ladder>,
}

impl LadderWatch {
    /// A watch; `None` when the map has no throttle, or no command with a full scale.
    pub fn new(vehicle: &Vehicle, channels: &[ChannelSpec]) -> Option<LadderWatch> {
        let index = |name: &str| channels.iter().position(|channel| channel.name == name);
        let (throttle, command) = (index(name::THROTTLE)?, index(name::CLUTCH_COMMAND)?);
        let full_command = full_scale(&channels[command], vehicle)?;
        let responses = SIGNALS
            .iter()
            .filter_map(|name| {
                let found = index(name).filter(|&found| !follows_command(&channels[found]))?;
                let full = full_scale(&channels[found], vehicle)?;
                Some(Series::measured(found, &channels[found], full))
            })
            .collect();
        let late_by_s = channels
            .iter()
            .fold(0.0, |late_s: f64, channel| late_s.max(channel.late_by_s));
        Some(LadderWatch {
            throttle: Series::measured(throttle, &channels[throttle], 1.0),
            command: Series::held(command, &channels[command], full_command),
            responses,
            late_s: late_by_s + DISORDER_S,
            recent: VecDeque::new(),
            was_on: false,
            is_counted: false,
            pending: VecDeque::new(),
            excess: VecDeque::new(),
            finished: Vec::new(),
        })
    }

    /// Takes the excess difference of a row, rad/s, in order of time; `None` where it is
    /// not known.
    pub fn note_excess(&mut self, time: Time, excess_rad_per_s: Option<f64>) {
        self.excess.push_back((time, excess_rad_per_s));
    }

    /// Takes a block's columns.
    pub fn push(&mut self, block: &Block) {
        let mut throttle = std::mem::take(&mut self.recent);
        let mut pressed = Vec::new();
        let (mut was_on, mut is_counted) = (self.was_on, self.is_counted);
        let column = &block.columns[self.throttle.channel()];
        self.throttle.extend(column, &block.cuts, |sample| {
            if sample.value.is_some() {
                press(
                    &mut throttle,
                    &mut was_on,
                    &mut is_counted,
                    sample,
                    &mut pressed,
                );
            }
        });
        (self.recent, self.was_on, self.is_counted) = (throttle, was_on, is_counted);
        self.pending.extend(pressed);
        let others = std::iter::once(&mut self.command).chain(&mut self.responses);
        for series in others {
            let column = &block.columns[series.channel()];
            series.extend(column, &block.cuts, |_| {});
        }
    }

    /// Settles what is decided once columns and rows are known up to `until`, or all that is
    /// left when the log has ended (`None`).
    pub fn finish_until(&mut self, until: Option<Time>) {
        let wait_s = LOOK_S + self.late_s;
        while let Some(pressed) = self
            .pending
            .pop_front_if(|pressed| until.is_none_or(|until| until > pressed.time.plus(wait_s)))
        {
            let ladder = self.climb(pressed);
            self.finished.push(ladder);
        }
        if let Some(until) = until {
            let slack_s = wait_s + 2.0 * self.command.gap_limit_s();
            let mut before = until.plus(-slack_s);
            if let Some(first) = self.pending.front() {
                before = before.min(first.time.plus(-SHIFT_S));
            }
            let own = [&mut self.throttle, &mut self.command];
            for series in own.into_iter().chain(&mut self.responses) {
                series.forget(before);
            }
            while self
                .excess
                .pop_front_if(|(time, _)| *time < before)
                .is_some()
            {}
        }
    }

    /// Ladders settled since the last call.
    pub fn take_finished(&mut self) -> impl Iterator<Item = Ladder> + '_ {
        self.finished.drain(..)
    }

    fn climb(&self, pressed: Pressed) -> Ladder {
        let is_on = pressed.pedal == Pedal::On;
        let mut ladder = Ladder {
            time: pressed.time,
            pedal: pressed.pedal,
            controller_s: None,
            mechanism_s: None,
            vehicle_s: None,
            feed_s: 0.0,
        };
        if is_on && self.was_on_before(pressed.time) {
            return ladder;
        }
        let asked = |command: f64| match is_on {
            true => command >= START_FROM,
            false => command < OPEN_BELOW,
        };
        let Some(commanded) = passes(&self.command, pressed.time, asked, Between::Midway) else {
            return ladder;
        };
        if !self.stays(pressed, commanded) {
            return ladder;
        }
        ladder.controller_s = Some(commanded.since(pressed.time));
        if is_on {
            ladder.feed_s = self.feed_s(pressed.time, commanded);
        }
        let answered = |response: f64| match is_on {
            true => response >= ANSWERS_AT,
            false => response < ANSWERS_AT,
        };
        let response = self
            .responses
            .iter()
            .find(|series| series.run_at(commanded).is_some());
        let Some(moved) = response
            .and_then(|series| passes(series, commanded, answered, Between::Straight(ANSWERS_AT)))
        else {
            return ladder;
        };
        if !self.stays(pressed, moved) {
            return ladder;
        }
        ladder.mechanism_s = Some(moved.since(commanded));
        if is_on {
            ladder.vehicle_s = self.peak(pressed.time, moved).map(|peak| peak.since(moved));
        }
        ladder
    }

    /// Whether the throttle was on just before it passed its level: a lift between gears.
    fn was_on_before(&self, time: Time) -> bool {
        let from = time.plus(-SHIFT_S);
        self.throttle.run_at(time).is_some_and(|run| {
            self.throttle
                .stretch(run, from, time)
                .filter(|sample| from <= sample.time && sample.time < time)
                .any(|sample| sample.value.is_some_and(|value| value >= ON_FROM))
        })
    }

    /// Time from `pressed` until the throttle was at [`FED_AT`] of its highest before
    /// `commanded`, s.
    fn feed_s(&self, pressed: Time, commanded: Time) -> f64 {
        let Some(run) = self.throttle.run_at(pressed) else {
            return 0.0;
        };
        let fed = || {
            self.throttle
                .stretch(run, pressed, commanded)
                .filter(|sample| sample.time >= pressed)
                .filter_map(|sample| Some((sample.time, sample.value?)))
        };
        let highest = fed().map(|(_, value)| value).fold(0.0, f64::max);
        fed()
            .find(|(_, value)| *value >= FED_AT * highest)
            .map_or(0.0, |(time, _)| time.since(pressed))
    }

    /// Whether the pedal kept to its side until `until`: what comes after the driver has
    /// changed his mind answers another movement.
    fn stays(&self, pressed: Pressed, until: Time) -> bool {
        self.throttle.run_at(pressed.time).is_some_and(|run| {
            self.throttle
                .stretch(run, pressed.time, until)
                .filter(|sample| sample.time > pressed.time && sample.time < until)
                .filter_map(|sample| sample.value)
                .all(|value| match pressed.pedal {
                    Pedal::On => value >= LIFTED_BELOW,
                    Pedal::Off => value < ON_FROM,
                })
        })
    }

    /// When |excess| is greatest between the pedal and [`RUNG_WITHIN_S`] after the mechanism
    /// moved, if it then falls and nothing is missing.
    fn peak(&self, pressed: Time, moved: Time) -> Option<Time> {
        let end = moved.plus(RUNG_WITHIN_S);
        let mut peak: Option<(Time, f64)> = None;
        let mut least_since = f64::INFINITY;
        for &(time, excess) in &self.excess {
            if time < pressed || time > end {
                continue;
            }
            let size = excess?.abs();
            if peak.is_none_or(|(_, highest)| size > highest) {
                peak = Some((time, size));
                least_since = size;
            }
            least_since = least_since.min(size);
        }
        let (time, highest) = peak?;
        let falls = least_since <= (1.0 - PEAK_FALLS_BY) * highest;
        (highest >= LEAST_EXCESS && falls && time >= moved).then_some(time)
    }
}

/// Takes a throttle sample and appends what the driver did to `pressed`.
fn press(
    recent: &mut VecDeque<Sample>,
    was_on: &mut bool,
    is_counted: &mut bool,
    sample: Sample,
    pressed: &mut Vec<Pressed>,
) {
    if recent.back().is_some_and(|last| last.run != sample.run) {
        recent.clear();
        *was_on = false;
        *is_counted = false;
    }
    let value = sample.value.unwrap_or(0.0);
    let before = recent.back().copied();
    recent.push_back(sample);
    while recent
        .get(1)
        .is_some_and(|second| sample.time.since(second.time) >= ON_WITHIN_S)
    {
        recent.pop_front();
    }
    // Counted once until the throttle is below its level again.
    if value < ON_FROM {
        *is_counted = false;
    }
    let low = recent
        .iter()
        .filter(|earlier| sample.time.since(earlier.time) <= ON_WITHIN_S)
        .filter_map(|earlier| earlier.value)
        .filter(|&earlier| earlier < ON_FROM)
        .fold(f64::INFINITY, f64::min);
    if !*is_counted && value >= ON_FROM && value - low >= ON_RISE - 1e-9 {
        *is_counted = true;
        let crossed = recent
            .iter()
            .zip(recent.iter().skip(1))
            .rev()
            .find(|(one, other)| {
                one.value.is_some_and(|one| one < ON_FROM)
                    && other.value.is_some_and(|other| other >= ON_FROM)
            });
        if let Some((one, other)) = crossed {
            let time = between(*one, *other, ON_FROM);
            pressed.push(Pressed {
                time,
                pedal: Pedal::On,
            });
        }
    }
    *was_on |= value >= ON_FROM;
    if let Some(before) = before.filter(|_| *was_on && value < LIFTED_BELOW) {
        *was_on = false;
        // Cleared above when the run was another, so this pair is of one run.
        if before.run == sample.run {
            let time = between(before, sample, LIFTED_BELOW);
            pressed.push(Pressed {
                time,
                pedal: Pedal::Off,
            });
        }
    }
}

/// When the straight line between two samples passes a level.
fn between(one: Sample, other: Sample, level: f64) -> Time {
    let (Some(low), Some(high)) = (one.value, other.value) else {
        return other.time;
    };
    if low == high {
        return other.time;
    }
    let share = ((level - low) / (high - low)).clamp(0.0, 1.0);
    Time(one.time.0 + (share * (other.time.0 - one.time.0) as f64).round() as i64)
}

/// Where between two samples a level is passed.
#[derive(Clone, Copy)]
enum Between {
    /// Midway: what is held changes anywhere between.
    Midway,
    /// On the straight line, at this level.
    Straight(f64),
}

/// When a series first passes after `from` within [`RUNG_WITHIN_S`], in one run, having not
/// been there at `from`. `None` when it was there already: the pedal did not cause it.
fn passes(
    series: &Series,
    from: Time,
    is_there: impl Fn(f64) -> bool,
    place: Between,
) -> Option<Time> {
    let run = series.run_at(from)?;
    let mut before: Option<Sample> = None;
    for sample in series.stretch(run, from, from.plus(RUNG_WITHIN_S)) {
        let value = sample.value?;
        if is_there(value) {
            let before = before?;
            let time = match place {
                Between::Midway => Time(before.time.0 + (sample.time.0 - before.time.0) / 2),
                Between::Straight(level) => between(before, sample, level),
            };
            return Some(time.max(from));
        }
        before = Some(sample);
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    const NAMES: [&str; 3] = ["throttle", "clutch.command", "clutch.position"];

    fn channels() -> Vec<ChannelSpec> {
        NAMES
            .iter()
            .map(|name| ChannelSpec {
                full_scale: Some(1.0),
                period_s: Some(0.01),
                ..ChannelSpec::new(name)
            })
            .collect()
    }

    /// Straight between points of (s, value).
    fn course(points: &'static [(f64, f64)]) -> impl Fn(f64) -> f64 {
        move |time| {
            let next = points.partition_point(|point| point.0 <= time);
            match (next.checked_sub(1).map(|i| points[i]), points.get(next)) {
                (Some(one), Some(other)) => {
                    one.1 + (time - one.0) / (other.0 - one.0) * (other.1 - one.1)
                }
                (Some(last), None) => last.1,
                (None, _) => points[0].1,
            }
        }
    }

    // On at 5.02 s: 0 to 0.5 in 0.1 s; command at 5.10; position from 5.15 at 2 per s; the
    // excess peaks at 5.40. Off at 8 s: 0.5 to 0 in 0.1 s, below 5 % at 8.09; command gone at
    // 8.30; position from 8.35 at −2 per s, below 10 % at 8.70.
    const THROTTLE: &[(f64, f64)] = &[(5.0, 0.0), (5.1, 0.5), (8.0, 0.5), (8.1, 0.0)];
    const POSITION: &[(f64, f64)] = &[(5.15, 0.0), (5.55, 0.8), (8.35, 0.8), (8.75, 0.0)];
    const EXCESS: &[(f64, f64)] = &[(5.0, 0.0), (5.4, -4.0), (5.8, -0.2)];

    fn command(time: f64) -> f64 {
        if (5.0999..8.2999).contains(&time) {
            0.8
        } else {
            0.0
        }
    }

    fn watch(n_per_block: usize, silent: (f64, f64), excess_scale: f64) -> Vec<Ladder> {
        watch_excess(n_per_block, silent, excess_scale, EXCESS)
    }

    fn watch_excess(
        n_per_block: usize,
        silent: (f64, f64),
        excess_scale: f64,
        excess: &'static [(f64, f64)],
    ) -> Vec<Ladder> {
        let mut watch = LadderWatch::new(&Vehicle::default(), &channels()).unwrap();
        let (throttle, position, excess) = (course(THROTTLE), course(POSITION), course(excess));
        let steps: Vec<i64> = (0..2000).collect();
        for chunk in steps.chunks(n_per_block) {
            let mut block = Block::new(3);
            for &step in chunk {
                let time = Time(step * 10_000_000);
                let at = time.seconds();
                block.columns[0].push(time, Some(throttle(at)));
                block.columns[1].push(time, Some(command(at)));
                if !(silent.0 <= at && at < silent.1) {
                    block.columns[2].push(time, Some(position(at)));
                }
                watch.note_excess(time, Some(excess_scale * excess(at)));
                block.until = time;
            }
            watch.push(&block);
            watch.finish_until(Some(block.until));
        }
        watch.finish_until(None);
        watch.take_finished().collect()
    }

    #[track_caller]
    fn near(got: Option<f64>, wanted: f64) {
        // Half a sample of the held command and of the row at the peak.
        let got = got.expect("told");
        assert!((got - wanted).abs() <= 0.0101, "{got} is not {wanted}");
    }

    #[test]
    fn parts_of_the_delay() {
        let got = watch(100, (0.0, 0.0), 1.0);
        let pedals: Vec<Pedal> = got.iter().map(|ladder| ladder.pedal).collect();
        assert_eq!(pedals, [Pedal::On, Pedal::Off]);
        assert!((got[0].time.seconds() - 5.02).abs() < 1e-6);
        near(got[0].controller_s, 0.08);
        near(got[0].mechanism_s, 0.10);
        near(got[0].vehicle_s, 0.20);
        assert!((got[1].time.seconds() - 8.09).abs() < 1e-6);
        near(got[1].controller_s, 0.21);
        near(got[1].mechanism_s, 0.40);
        assert_eq!(got[1].vehicle_s, None);
    }

    #[test]
    fn blocks_may_be_cut_anywhere() {
        let whole = watch(2000, (8.4, 9.0), 1.0);
        assert_eq!(watch(1, (8.4, 9.0), 1.0), whole);
        assert_eq!(watch(13, (8.4, 9.0), 1.0), whole);
        assert_eq!(whole[1].mechanism_s, None);
    }

    #[test]
    fn a_rung_not_reached_is_not_told() {
        let gap = watch(100, (5.0, 5.5), 1.0);
        assert!(gap[0].controller_s.is_some());
        assert_eq!((gap[0].mechanism_s, gap[0].vehicle_s), (None, None));
        // Hardly any excess: its peak means nothing.
        assert_eq!(watch(100, (0.0, 0.0), 0.2)[0].vehicle_s, None);
        // The slip was falling before the mechanism moved: that was not the clutch.
        let early = &[(5.0, 0.0), (5.12, -4.0), (5.4, -0.2)];
        let got = watch_excess(100, (0.0, 0.0), 1.0, early);
        assert!(got[0].mechanism_s.is_some());
        assert_eq!(got[0].vehicle_s, None);
    }

    /// Throttle and command by time, the position following the command at once.
    fn ladders(throttle: &'static [(f64, f64)], command: impl Fn(f64) -> f64) -> Vec<Ladder> {
        let mut watch = LadderWatch::new(&Vehicle::default(), &channels()).unwrap();
        let throttle = course(throttle);
        for step in 0..1000 {
            let time = Time(step * 10_000_000);
            let at = time.seconds();
            let mut block = Block::new(3);
            block.columns[0].push(time, Some(throttle(at)));
            block.columns[1].push(time, Some(command(at)));
            block.columns[2].push(time, Some(command(at - 0.05)));
            block.until = time;
            watch.push(&block);
            watch.finish_until(Some(time));
        }
        watch.finish_until(None);
        watch.take_finished().collect()
    }

    #[test]
    fn a_lift_between_gears_delays_nothing() {
        // Off for 0.25 s from 5 s; the command releases late and comes back later still.
        const SHIFT: &[(f64, f64)] = &[
            (1.0, 0.0),
            (1.1, 0.5),
            (5.0, 0.5),
            (5.04, 0.0),
            (5.29, 0.0),
            (5.33, 0.5),
        ];
        let command = |time: f64| match time {
            time if (1.2..5.5).contains(&time) || time >= 5.9 => 0.8,
            _ => 0.0,
        };
        let got = ladders(SHIFT, command);
        let told: Vec<bool> = got
            .iter()
            .map(|ladder| ladder.controller_s.is_some())
            .collect();
        assert_eq!(told, [true, false, false], "{got:?}");
    }

    #[test]
    fn the_driver_s_own_time_is_told() {
        // Pressed at 0.5 per s from 1 s on: at 10 % at 1.04 s. The command comes at 1.5 s, when
        // the throttle is at 0.33; 90 % of that it had at 1.434 s.
        const SLOW: &[(f64, f64)] = &[(1.0, 0.08), (1.84, 0.5)];
        let got = ladders(SLOW, |time| if time >= 1.5 { 0.8 } else { 0.0 });
        assert_eq!(got.len(), 1, "{got:?}");
        assert!((got[0].feed_s - 0.394).abs() < 0.021, "{got:?}");
        // Pressed at once, the wait is the controller's alone.
        const QUICK: &[(f64, f64)] = &[(1.0, 0.0), (1.1, 0.5)];
        let got = ladders(QUICK, |time| if time >= 1.5 { 0.8 } else { 0.0 });
        assert!((got[0].feed_s - 0.07).abs() < 0.011, "{got:?}");
        assert_eq!(watch(100, (0.0, 0.0), 1.0)[1].feed_s, 0.0);
    }
}
