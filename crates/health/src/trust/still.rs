//! Leaves a signal out of the rows in which it stands still while the car goes on.
//!
//! In: rows. Out: the rows in order, without command, state or yaw rate (and the torque read
//! from it) where that did not change by its last digit through a good while of driving in which
//! it had to; and the stretches. A number that does not change is an old one sent again and
//! again, or a sensor that is stuck. Whether it is one is known only when it has lasted: rows are
//! held from where the other signal has moved away until then, some seconds of them. A state at
//! rest reads alike where the mechanism stands at its end stop; only where its last digits moved
//! at rest before, as those of a sensor do, is it the signal that stands. Else it is [`Still::unmoved`], and
//! "Actuator not moving" names both.

use std::collections::VecDeque;

use halfshaft_driveline::{Basis, Row};
use halfshaft_model::{Span, Time};

use super::Source;
use crate::evidence::counts;
use crate::limits::{Frozen, Limits};

/// Change that is rounding, in shares of full and rad/s; steps on a bus are a hundred times it.
const ROUNDING: f64 = 1e-6;

/// Stretches kept of one signal; with more of them it is not believed at all.
const MOST_STRETCHES: usize = 256;

/// The signals, in the order of their bits.
const SIGNALS: [Source; 3] = [Source::Command, Source::State, Source::Turning];

/// A stretch in which a signal is left out.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stretch {
    /// From the first row without it to the last.
    pub span: Span,
    /// Time of driving in which it stood still, s.
    pub seconds: f64,
    /// Where it stood, share of full or rad/s.
    pub value: f64,
}

/// What stood still in a drive.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Still {
    stretches: [Vec<Stretch>; 3],
    left_out_s: [f64; 3],
    known_s: [f64; 3],
    unmoved: Vec<Stretch>,
    commanded_s: f64,
    yaw_alone_s: f64,
}

impl Still {
    fn of(source: Source) -> Option<usize> {
        SIGNALS.iter().position(|signal| *signal == source)
    }

    /// Stretches of a signal, in order of time.
    pub fn stretches(&self, source: Source) -> &[Stretch] {
        Still::of(source).map_or(&[], |signal| &self.stretches[signal])
    }

    /// Stretches in which the state stood at its rest though it was commanded, and nothing tells whether
    /// the mechanism stood or the signal.
    pub fn unmoved(&self) -> &[Stretch] {
        &self.unmoved
    }

    /// Time of driving with a state known and a command from which it must move, s.
    pub fn commanded_s(&self) -> f64 {
        self.commanded_s
    }

    /// Longest driving in which the yaw rate, whose last digits else moved all the time, stood still and
    /// the wheels did not show whether it had to move, s.
    pub fn yaw_alone_s(&self) -> f64 {
        self.yaw_alone_s
    }

    /// Time in which a signal was left out, s.
    pub fn left_out_s(&self, source: Source) -> f64 {
        Still::of(source).map_or(0.0, |signal| self.left_out_s[signal])
    }

    /// Time of driving in which a signal and the one to compare it with were known, s.
    pub fn known_s(&self, source: Source) -> f64 {
        Still::of(source).map_or(0.0, |signal| self.known_s[signal])
    }

    /// Whether so much of a signal is left out that the rest is no drive.
    pub fn is_mostly(&self, source: Source) -> bool {
        Still::of(source).is_some_and(|signal| {
            let (out_s, known_s) = (self.left_out_s[signal], self.known_s[signal]);
            out_s > 0.5 * known_s || self.stretches[signal].len() > MOST_STRETCHES
        })
    }
}

/// A signal that has not changed.
#[derive(Clone, Copy, Debug)]
struct Run {
    start: Time,
    latest: Time,
    value: f64,
    // What the other signal reads beside that value.
    beside: f64,
    moves_by: f64,
    apart_by: f64,
    lasts_apart_s: f64,
    // It is a state at rest.
    is_at_rest: bool,
    seconds: f64,
    apart_s: f64,
    lowest: f64,
    highest: f64,
    // Since when the other signal was plainly elsewhere.
    suspected: Option<Time>,
    is_proved: bool,
}

/// Watches the rows.
#[derive(Clone, Debug)]
pub struct StillWatch {
    limits: Limits,
    // Rear track over rolling radius.
    per_yaw: Option<f64>,
    // The torque is read from the state.
    is_torque_of_state: bool,
    runs: [Option<Run>; 3],
    held: VecDeque<Row>,
    still: Still,
    // Longest time for which the last digits of a state at rest stood, and how long it was seen there, s.
    longest_at_rest_s: f64,
    at_rest_s: f64,
    // Longest driving through which the yaw rate stood before, s.
    longest_yaw_s: f64,
}

/// A signal beside the one that moves with it.
#[derive(Clone, Copy, Debug)]
struct Pair {
    value: f64,
    // What the other reads, and would read beside that value.
    other: f64,
    beside: f64,
    // By how much the other must have moved, and been apart from it.
    moves_by: f64,
    apart_by: f64,
    lasts_apart_s: f64,
    is_at_rest: bool,
    // How far apart they must be for a doubt, and how long after it came to stand that counts.
    doubt_from: f64,
    settles_s: f64,
}

impl StillWatch {
    /// Nothing seen yet; the torque may be read from the state.
    pub fn new(basis: &Basis, is_torque_of_state: bool, limits: &Limits) -> StillWatch {
        let geometry = basis.track_rear_m.zip(basis.radius_m);
        StillWatch {
            per_yaw: geometry.map(|(track_m, radius_m)| track_m / radius_m),
            limits: *limits,
            is_torque_of_state,
            runs: [None; 3],
            held: VecDeque::new(),
            still: Still::default(),
            longest_at_rest_s: 0.0,
            at_rest_s: 0.0,
            longest_yaw_s: 0.0,
        }
    }

    /// Watches rows up to the first that does not go on as it is; how many do.
    pub fn n_plain(&mut self, rows: &[Row]) -> usize {
        rows.iter()
            .position(|row| !self.passes(row))
            .unwrap_or(rows.len())
    }

    /// Takes the row at which [`StillWatch::n_plain`] ended, and hands on what is known by now.
    pub fn take(&mut self, row: &Row, hand_on: &mut dyn FnMut(Row)) {
        self.held.push_back(*row);
        self.hand_on(hand_on);
    }

    /// The log has ended: hands on what is still held.
    pub fn finish(&mut self, hand_on: &mut dyn FnMut(Row)) {
        for signal in 0..SIGNALS.len() {
            self.end(signal);
        }
        self.hand_on(hand_on);
    }

    /// What stood still so far.
    pub fn outcome(&self) -> Still {
        let mut copy = self.clone();
        (0..SIGNALS.len()).for_each(|signal| copy.end(signal));
        copy.still
    }

    /// Watches a row: whether it goes on as it is, and does not wait or lose a signal.
    fn passes(&mut self, row: &Row) -> bool {
        let drives = row
            .road_speed
            .is_some_and(|speed| speed > self.limits.driving.moving_from())
            && counts(row, &self.limits.driving);
        let mut passes = self.held.is_empty();
        for (signal, pair) in self.pairs(row).into_iter().enumerate() {
            let Some(pair) = pair else {
                self.end(signal);
                continue;
            };
            if drives {
                self.still.known_s[signal] += row.seconds;
                let is_commanded = pair.other >= self.limits.frozen.rest_moves_by;
                if SIGNALS[signal] == Source::State && is_commanded {
                    self.still.commanded_s += row.seconds;
                }
            }
            let goes_on = self.runs[signal]
                .is_some_and(|run| (pair.value - run.value).abs() <= ROUNDING && row.is_joined);
            if !goes_on {
                self.end(signal);
                self.runs[signal] = Some(Run::at(row.time, &pair));
            }
            let flickers_for_s = self.flickers_for_s();
            let Some(run) = &mut self.runs[signal] else {
                continue;
            };
            run.take(row, &pair, drives, &self.limits.frozen, flickers_for_s);
            passes &= run.suspected.is_none();
        }
        passes
    }

    /// How long a state at rest must stand to its last digit for it to be no sensor's; `None` where
    /// none was seen to move there.
    fn flickers_for_s(&self) -> Option<f64> {
        let limits = &self.limits.frozen;
        (self.at_rest_s >= limits.lasts_s)
            .then_some((limits.flicker_times * self.longest_at_rest_s).max(limits.lasts_s))
    }

    /// Whether the last digits of the yaw rate moved all the time: then it need not move far to be missed.
    fn yaw_is_lively(&self) -> bool {
        let limits = &self.limits.frozen;
        Still::of(Source::Turning).is_some_and(|yaw| self.still.known_s[yaw] >= limits.lively_s)
            && limits.flicker_times * self.longest_yaw_s <= limits.lasts_s
    }

    /// Each signal of a row beside the one that moves with it.
    fn pairs(&self, row: &Row) -> [Option<Pair>; 3] {
        let limits = &self.limits.frozen;
        let lever = row.command.zip(row.state);
        // From its lowest to its highest a mean goes by noise alone.
        let noise = 2.0 * row.slip_sd.map_or(0.0, |slip_sd| row.mean_noise(slip_sd));
        let is_bend = |per_yaw: f64| {
            let speed = row.road_speed.unwrap_or(0.0);
            let most = per_yaw * (speed / limits.tightest_m).min(limits.sideways_m_per_s2 / speed);
            row.difference_mean.abs() <= most
        };
        [
            lever.map(|(command, state)| Pair {
                value: command,
                other: state,
                beside: command,
                moves_by: limits.command_apart_by,
                apart_by: limits.command_apart_by,
                lasts_apart_s: limits.apart_s,
                is_at_rest: false,
                doubt_from: limits.doubt_from,
                settles_s: limits.settles_s,
            }),
            lever.map(|(command, state)| Pair {
                value: state,
                other: command,
                beside: state,
                // From its rest it must come, at its other end it need not follow.
                moves_by: match state < limits.rest_below {
                    true => limits.rest_moves_by,
                    false => limits.moves_by,
                },
                apart_by: limits.apart_by,
                lasts_apart_s: limits.state_apart_s,
                is_at_rest: state < limits.rest_below,
                doubt_from: limits.doubt_from,
                // A command steps: what follows it is late by less than proves anything.
                settles_s: 0.0,
            }),
            row.yaw_rate.zip(self.per_yaw).map(|(yaw, per_yaw)| {
                let bends_by = match self.yaw_is_lively() {
                    true => limits.lively_bends_by_rad_per_s.max(noise),
                    false => limits.bends_by_rad_per_s,
                };
                Pair {
                    value: yaw,
                    // A spinning wheel moves the difference and turns nothing.
                    other: match is_bend(per_yaw) {
                        true => row.difference_mean,
                        false => per_yaw * yaw,
                    },
                    beside: per_yaw * yaw,
                    moves_by: bends_by,
                    apart_by: bends_by,
                    lasts_apart_s: limits.apart_s,
                    is_at_rest: false,
                    doubt_from: bends_by,
                    settles_s: limits.settles_s,
                }
            }),
        ]
    }

    /// A run is over.
    fn end(&mut self, signal: usize) {
        let Some(run) = self.runs[signal].take() else {
            return;
        };
        // What was never asked for anything shows how a state at rest reads.
        let length_s = run.latest.since(run.start);
        if run.is_at_rest && run.apart_s == 0.0 {
            self.longest_at_rest_s = self.longest_at_rest_s.max(length_s);
            self.at_rest_s += length_s;
        }
        let stood = run.has_stood(&self.limits.frozen);
        if SIGNALS[signal] == Source::Turning && !stood {
            if self.yaw_is_lively() {
                self.still.yaw_alone_s = self.still.yaw_alone_s.max(run.seconds);
            }
            self.longest_yaw_s = self.longest_yaw_s.max(run.seconds);
        }
        if !stood {
            return;
        }
        let start = run.suspected.filter(|_| run.is_proved);
        let stretches = match start {
            Some(_) => &mut self.still.stretches[signal],
            None => &mut self.still.unmoved,
        };
        if stretches.len() <= MOST_STRETCHES {
            stretches.push(Stretch {
                span: Span {
                    start: start.unwrap_or(run.start),
                    end: run.latest,
                },
                seconds: run.seconds,
                value: run.value,
            });
        }
        if start.is_some() {
            self.leave_out(signal, &run);
        }
    }

    /// Takes a signal out of the held rows of a proved run.
    fn leave_out(&mut self, signal: usize, run: &Run) {
        let Some(since) = run.suspected else { return };
        let is_torque_of_state = self.is_torque_of_state;
        let of_run = self
            .held
            .iter_mut()
            .filter(|row| since <= row.time && row.time <= run.latest);
        for row in of_run {
            let takes_torque = match SIGNALS[signal] {
                Source::Command => {
                    self.still.left_out_s[signal] +=
                        row.command.take().map_or(0.0, |_| row.seconds);
                    row.is_torque_by_command
                }
                Source::State => {
                    self.still.left_out_s[signal] += row.state.take().map_or(0.0, |_| row.seconds);
                    is_torque_of_state && !row.is_torque_by_command
                }
                _ => {
                    self.still.left_out_s[signal] +=
                        row.yaw_rate.take().map_or(0.0, |_| row.seconds);
                    (row.kinematic_difference, row.openness) = (None, None);
                    false
                }
            };
            if takes_torque {
                (row.torque_nm, row.work_j) = (None, None);
                (row.heat_rate_w, row.heat_rate_sharp_w) = (None, None);
                row.impulse_nms = 0.0;
            }
        }
    }

    /// Hands on every held row of which all is known.
    fn hand_on(&mut self, hand_on: &mut dyn FnMut(Row)) {
        for signal in 0..SIGNALS.len() {
            if let Some(run) = self.runs[signal].filter(|run| run.is_proved) {
                self.leave_out(signal, &run);
            }
        }
        let is_open = |run: &Run| run.suspected.is_some() && !run.is_proved;
        let oldest = self.runs.iter().flatten().filter(|run| is_open(run));
        let open_since = oldest.filter_map(|run| run.suspected).min();
        let latest = self.held.back().map(|row| row.time);
        let held_s = self.limits.frozen.proved_within_s;
        while let Some(row) = self.held.front() {
            let is_old = latest.is_some_and(|latest| latest.since(row.time) > held_s);
            if open_since.is_some_and(|since| row.time >= since) && !is_old {
                return;
            }
            self.held.pop_front().into_iter().for_each(&mut *hand_on);
        }
    }
}

impl Run {
    fn at(start: Time, pair: &Pair) -> Run {
        Run {
            start,
            latest: start,
            value: pair.value,
            beside: pair.beside,
            moves_by: pair.moves_by,
            apart_by: pair.apart_by,
            lasts_apart_s: pair.lasts_apart_s,
            is_at_rest: pair.is_at_rest,
            seconds: 0.0,
            apart_s: 0.0,
            lowest: f64::INFINITY,
            highest: f64::NEG_INFINITY,
            suspected: None,
            is_proved: false,
        }
    }

    /// `flickers_for_s`: a state at rest that stands longer than this is no sensor's.
    fn take(
        &mut self,
        row: &Row,
        pair: &Pair,
        drives: bool,
        limits: &Frozen,
        flickers_for_s: Option<f64>,
    ) {
        self.latest = row.time;
        // A car that stands, or is driven straight, moves nothing.
        if !drives || row.time.since(self.start) < pair.settles_s {
            return;
        }
        self.seconds += row.seconds;
        self.lowest = self.lowest.min(pair.other);
        self.highest = self.highest.max(pair.other);
        let apart = (pair.other - self.beside).abs();
        if apart >= self.apart_by {
            self.apart_s += row.seconds;
        }
        let can_be_told = !self.is_at_rest || flickers_for_s.is_some();
        if apart >= pair.doubt_from && can_be_told {
            self.suspected.get_or_insert(row.time);
        }
        let is_the_signal =
            !self.is_at_rest || flickers_for_s.is_some_and(|s| row.time.since(self.start) >= s);
        self.is_proved |= is_the_signal && self.suspected.is_some() && self.has_stood(limits);
    }

    /// Whether it stood for long enough while the other moved far enough.
    fn has_stood(&self, limits: &Frozen) -> bool {
        self.highest - self.lowest >= self.moves_by
            && self.seconds >= limits.lasts_s
            && self.apart_s >= self.lasts_apart_s
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::row;
    use halfshaft_model::{Toleranced, Vehicle};

    fn basis() -> Basis {
        let vehicle = Vehicle {
            track_rear_m: Some(Toleranced::exact(1.55)),
            rolling_radius_m: Some(Toleranced::exact(0.32)),
            ..Vehicle::default()
        };
        Basis::new(&vehicle, &[])
    }

    /// Rows of `seconds` at 100 Hz through a watch: what comes out, and what stood still.
    fn watched(seconds: f64, make: impl Fn(f64, &mut Row)) -> (Vec<Row>, Still) {
        let mut watch = StillWatch::new(&basis(), true, &Limits::default());
        let mut out = Vec::new();
        let rows: Vec<Row> = (0..(seconds * 100.0) as i32)
            .map(|index| {
                let time_s = f64::from(index) * 0.01;
                let mut row = row(time_s);
                row.yaw_rate = Some(0.3 * time_s.sin());
                (row.torque_nm, row.work_j) = (Some(300.0), Some(1.0));
                make(time_s, &mut row);
                row
            })
            .collect();
        for chunk in rows.chunks(37) {
            let mut rest = chunk;
            while !rest.is_empty() {
                let n = watch.n_plain(rest);
                out.extend_from_slice(&rest[..n]);
                rest = &rest[n..];
                if let Some((row, more)) = rest.split_first() {
                    watch.take(row, &mut |row| out.push(row));
                    rest = more;
                }
            }
        }
        watch.finish(&mut |row| out.push(row));
        let times: Vec<Time> = rows.iter().map(|row| row.time).collect();
        assert_eq!(out.iter().map(|row| row.time).collect::<Vec<_>>(), times);
        (out, watch.outcome())
    }

    fn waves(time_s: f64) -> f64 {
        0.5 + 0.4 * (0.7 * time_s).sin()
    }

    fn n_stretches(state: fn(f64, f64) -> f64, command: fn(f64) -> f64) -> [usize; 2] {
        let (_, still) = watched(60.0, |time_s, row| {
            row.command = Some(command(time_s));
            row.state = Some(state(time_s, command(time_s)));
        });
        [Source::State, Source::Command].map(|source| still.stretches(source).len())
    }

    #[test]
    fn a_state_or_a_command_that_stands_still_while_the_other_moves() {
        assert_eq!(n_stretches(|_, _| 0.6, waves), [1, 0]);
        assert_eq!(n_stretches(|time_s, _| waves(time_s), |_| 0.3), [0, 1]);
    }

    #[test]
    fn what_moves_is_at_rest_or_is_asked_for_nothing_is_sound() {
        let follows = |_: f64, command: f64| 0.9 * command;
        assert_eq!(n_stretches(follows, waves), [0, 0]);
        // Held by the driver: neither moves.
        assert_eq!(n_stretches(follows, |_| 0.8), [0, 0]);
        // At its end stop it need not follow.
        let high = |time_s: f64| 0.85 + 0.12 * (0.7 * time_s).sin();
        assert_eq!(n_stretches(|_, _| 1.0, high), [0, 0]);
        // Of a state that always read the same at rest nobody can tell.
        assert_eq!(n_stretches(|_, _| 0.02, waves), [0, 0]);
    }

    #[test]
    fn a_state_at_rest_stands_still_where_its_last_digits_moved_before() {
        let at_rest = |is_noisy: bool| {
            let (out, still) = watched(90.0, |time_s, row| {
                row.command = Some(if time_s < 30.0 { 0.0 } else { waves(time_s) });
                let digit = match is_noisy && time_s < 30.0 {
                    true => 0.001 * (time_s * 3.0).floor() % 0.003,
                    false => 0.0,
                };
                row.state = Some(0.02 + digit);
            });
            let lacks = out.iter().filter(|row| row.state.is_none()).count();
            (
                still.stretches(Source::State).len(),
                still.unmoved().len(),
                lacks,
            )
        };
        let (n_frozen, n_unmoved, lacks) = at_rest(true);
        assert_eq!((n_frozen, n_unmoved), (1, 0));
        assert!(lacks > 5900, "{lacks}");
        assert_eq!(at_rest(false), (0, 1, 0));
    }

    /// Whether a state is found to stand from 40 s on to `until_s`; before, at rest, its last digit moves every
    /// `moves_every_s`.
    fn stands(until_s: f64, moves_every_s: f64, command: impl Fn(f64) -> f64) -> bool {
        let (_, still) = watched(until_s + 5.0, |time_s, row| {
            let (is_before, is_after) = (time_s < 40.0, time_s >= until_s);
            row.command = Some(if is_before || is_after {
                0.0
            } else {
                command(time_s)
            });
            row.state = Some(match is_before {
                true => 0.001 * ((time_s / moves_every_s).floor() % 3.0),
                false => {
                    if is_after {
                        0.003
                    } else {
                        0.0005
                    }
                }
            });
        });
        !still.stretches(Source::State).is_empty()
    }

    #[test]
    fn each_limit_of_a_state_at_rest_just_above_and_just_below() {
        // From 0.6 up by so much, limit 0.3.
        let by = |more: f64| {
            stands(
                80.0,
                0.5,
                |time_s| if time_s % 8.0 < 4.0 { 0.6 } else { 0.6 + more },
            )
        };
        assert!(!by(0.28) && by(0.32));
        // Away for so long in all, limit 1.5 s.
        let away = |seconds: f64| {
            stands(80.0, 0.5, |time_s| {
                f64::from(u8::from((50.0..50.0 + seconds).contains(&time_s)))
            })
        };
        assert!(!away(1.4) && away(1.6));
        // Five times 6 s.
        let pulses = |time_s: f64| if time_s % 4.0 < 2.0 { 0.9 } else { 0.0 };
        assert!(!stands(68.5, 6.0, pulses) && stands(71.5, 6.0, pulses));
    }

    #[test]
    fn a_state_a_fifth_away_from_a_command_that_stands() {
        let stands = |away: f64| {
            let (_, still) = watched(60.0, |time_s, row| {
                row.command = Some(0.3);
                row.state = Some(if time_s % 10.0 < 5.0 { 0.3 } else { 0.3 + away });
            });
            !still.stretches(Source::Command).is_empty()
        };
        assert!(!stands(0.19) && stands(0.21));
    }

    #[test]
    fn a_mechanism_that_comes_late_does_not_stand_still() {
        // A second late, and noise-free at rest: it comes all the same.
        let late = |time_s: f64| if time_s % 10.0 < 5.0 { 0.0 } else { 0.8 };
        let (_, still) = watched(120.0, |time_s, row| {
            row.command = Some(late(time_s));
            row.state = Some(late((time_s - 1.0).max(0.0)));
        });
        assert!(still.unmoved().is_empty() && still.stretches(Source::State).is_empty());
    }

    #[test]
    fn a_command_that_rests_after_a_release_is_sound() {
        let (out, still) = watched(60.0, |time_s, row| {
            let command = if time_s < 5.0 { 0.9 } else { 0.0 };
            row.command = Some(command);
            // On its way back for a second.
            row.state = Some(0.9 * (6.0 - time_s).clamp(0.0, 1.0));
        });
        assert!(still.stretches(Source::Command).is_empty());
        assert!(out.iter().all(|row| row.command.is_some()));
    }

    #[test]
    fn a_yaw_rate_that_stands_still_through_bends_and_not_through_wheelspin() {
        let n_stretches = |difference: f64| {
            let (_, still) = watched(60.0, |time_s, row| {
                row.yaw_rate = Some(0.0);
                row.difference_mean = difference * time_s.sin();
            });
            still.stretches(Source::Turning).len()
        };
        // At 20 m/s 1.55/0.32·12/20 = 2.9 rad/s are the most that a bend makes.
        assert_eq!(n_stretches(2.5), 1);
        let (_, spun) = watched(60.0, |time_s, row| {
            row.yaw_rate = Some(0.0);
            row.difference_mean = if time_s % 4.0 < 2.0 { 20.0 } else { 0.0 };
        });
        assert!(spun.stretches(Source::Turning).is_empty());
    }

    #[test]
    fn a_yaw_rate_whose_digits_always_moved_is_missed_in_gentle_bends_too() {
        // Until 70 s it moves; then it stands, through bends of so much or none.
        let stood = |moves_until_s: f64, difference: f64| {
            let (_, still) = watched(moves_until_s + 45.0, |time_s, row| {
                if time_s >= moves_until_s {
                    row.yaw_rate = Some(0.0);
                }
                row.difference_mean = difference * (0.5 * time_s).sin();
            });
            (still.stretches(Source::Turning).len(), still.yaw_alone_s())
        };
        // From 0.4 rad/s to one side, limit; 1.5 rad/s where nothing is known of it yet.
        assert_eq!(stood(70.0, 0.55).0, 1);
        assert_eq!(stood(70.0, 0.35).0, 0);
        assert_eq!(stood(50.0, 0.55).0, 0);
        let alone_s = stood(70.0, 0.0).1;
        assert!((41.0..43.0).contains(&alone_s), "{alone_s}");
    }

    #[test]
    fn only_the_stretch_loses_the_signal_and_its_torque() {
        let (out, still) = watched(120.0, |time_s, row| {
            let command = waves(time_s);
            row.command = Some(command);
            let stands = (30.0..90.0).contains(&time_s);
            row.state = Some(if stands { waves(30.0) } else { command });
        });
        let [stretch] = still.stretches(Source::State) else {
            panic!("{still:?}");
        };
        let (start, end) = (stretch.span.start.seconds(), stretch.span.end.seconds());
        // From where the command is a tenth away: 0.4·0.7 of full a second at the most.
        assert!((30.0..31.0).contains(&start) && (89.9..90.1).contains(&end));
        for row in &out {
            let is_in = stretch.span.start <= row.time && row.time <= stretch.span.end;
            assert_eq!(row.state.is_none(), is_in, "{:?}", row.time);
            assert_eq!(row.torque_nm.is_none(), is_in);
            assert_eq!(row.work_j.is_none(), is_in);
            assert!(row.command.is_some() && row.yaw_rate.is_some());
        }
        assert!((still.left_out_s(Source::State) - (end - start)).abs() < 0.02);
        assert!(!still.is_mostly(Source::State) || end - start > 60.0);
    }

    #[test]
    fn memory_is_bounded_and_what_is_not_proved_is_believed() {
        // The car stands with a state that is elsewhere: nothing is driven, nothing proved.
        let (out, still) = watched(200.0, |time_s, row| {
            row.command = Some(if time_s < 8.0 { waves(time_s) } else { 0.0 });
            row.state = Some(0.6);
            row.road_speed = Some(if time_s < 8.5 { 20.0 } else { 0.0 });
        });
        assert!(still.stretches(Source::State).is_empty());
        assert!(out.iter().all(|row| row.state == Some(0.6)));
    }

    #[test]
    fn the_time_left_out_is_that_of_the_rows_without_the_signal() {
        // Derived: rows of 10 ms, so a hundredth of how many lack the signal.
        let (out, still) = watched(60.0, |time_s, row| {
            (row.command, row.state) = (Some(0.3), Some(waves(time_s)));
            row.yaw_rate = Some(0.0);
            row.difference_mean = 2.5 * time_s.sin();
        });
        let lacks = |is_none: fn(&Row) -> bool| out.iter().filter(|row| is_none(row)).count();
        for (source, n_rows) in [
            (Source::Command, lacks(|row| row.command.is_none())),
            (Source::Turning, lacks(|row| row.yaw_rate.is_none())),
        ] {
            assert!(n_rows > 1000, "{source:?}");
            assert!(
                (still.left_out_s(source) - 0.01 * n_rows as f64).abs() < 1e-6,
                "{source:?}"
            );
        }
        assert!(out.iter().all(|row| row.state.is_some()));
    }
}
