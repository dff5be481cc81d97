//! Parts the command into engagement events, and sums time open, partial and full.
//!
//! In: the command at its own times. Out: events with hysteresis and merging, and
//! seconds by level without hysteresis. Nothing is carried over a gap: an event that
//! crosses one is marked broken.

use halfshaft_model::channel::name;
use halfshaft_model::{ChannelSpec, Column, SampleOrCut, Span, Time, Vehicle};

mod count;

use self::count::EngagementCount;
use crate::align::full_scale;
use crate::period::Period;
use crate::track::DISORDER_S;

/// Command at and above which the pack counts as commanded. Engineering default.
pub const OPEN_BELOW: f64 = 0.05;
/// Command at and above which the pack counts as asked for all. Engineering default.
pub const FULL_FROM: f64 = 0.95;
/// An event starts when the command rises through this and stays for [`START_HOLD_S`].
pub const START_FROM: f64 = 0.10;
/// See [`START_FROM`]; or two samples, whichever is longer.
pub const START_HOLD_S: f64 = 0.040;
/// An event ends when the command stays below [`OPEN_BELOW`] this long.
pub const END_HOLD_S: f64 = 0.150;
/// Events closer than this are one.
pub const MERGE_S: f64 = 0.300;
/// The same engagement before and after a gap up to this long is one, s. Source: none,
/// engineering guess; over a longer gap it may be two.
pub const LONGEST_BRIDGED_S: f64 = 5.0;
/// An event whose command never reaches this is dropped.
pub const LEAST_PEAK: f64 = 0.15;

/// Seconds by level of the command.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct CommandTime {
    /// Open.
    pub open_s: f64,
    /// Partial.
    pub partial_s: f64,
    /// Full.
    pub full_s: f64,
    /// Time in which the command was missing or in a gap, between its first and last sample.
    pub hidden_s: f64,
    /// Partial if all that the step of the number leaves open was not, and if all of it was.
    pub partial_bounds_s: [f64; 2],
    /// Times the command went from partial to open or full, or back: each is known to a period.
    pub n_edges: u32,
    /// Ends of the log at which it was partial: it may have been for up to a period beyond.
    pub n_partial_ends: u32,
}

impl CommandTime {
    /// A command held for so long, in a number with steps of twice `half_step`.
    fn add(&mut self, held: f64, half_step: f64, length_s: f64) {
        match held {
            _ if held < OPEN_BELOW => self.open_s += length_s,
            _ if held < FULL_FROM => self.partial_s += length_s,
            _ => self.full_s += length_s,
        }
        let [least, most] = &mut self.partial_bounds_s;
        if held - half_step >= OPEN_BELOW && held + half_step < FULL_FROM {
            *least += length_s;
        }
        if held + half_step >= OPEN_BELOW && held - half_step < FULL_FROM {
            *most += length_s;
        }
    }
}

fn is_partial(command: f64) -> bool {
    (OPEN_BELOW..FULL_FROM).contains(&command)
}

/// An event of the command.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CommandEvent {
    /// From the first sample at or above [`START_FROM`] to the first below [`OPEN_BELOW`].
    pub span: Span,
    /// Highest command.
    pub peak: f64,
    /// A gap lies in it or cuts it off.
    pub is_broken: bool,
}

#[derive(Clone, Copy, Debug)]
enum Phase {
    Open,
    // Above the start level since; not yet long enough, or for two samples.
    Rising {
        since: Time,
        peak: f64,
        n: u32,
    },
    Engaged {
        event: CommandEvent,
        n: u32,
    },
    // Below the open level since `event.span.end`; `risen` is a rise that may yet join it.
    Fading {
        event: CommandEvent,
        n: u32,
        risen: Option<(Time, u32)>,
    },
    // A gap fell into it.
    Suspended {
        event: CommandEvent,
        n: u32,
    },
}

/// Watches the command.
#[derive(Clone, Debug)]
pub struct CommandWatch {
    channel: usize,
    full_scale: f64,
    period: Period,
    latest: Option<(Time, Option<f64>, f64)>,
    phase: Phase,
    time: CommandTime,
    half_step: f64,
    was_partial: Option<bool>,
    began_partial: bool,
    count: EngagementCount,
    n_events: u64,
    finished: Vec<CommandEvent>,
    // Nothing is known of the command just before the next sample.
    is_unseen_before: bool,
    // The engagement before that was broken off while it went on.
    was_broken_off: bool,
    n_perhaps_one: u64,
    late_s: f64,
}

impl CommandWatch {
    /// A watch on the command of a map; `None` without one, or where the map does not say
    /// what counts as a full one.
    pub fn of(vehicle: &Vehicle, channels: &[ChannelSpec]) -> Option<CommandWatch> {
        let channel = channels
            .iter()
            .position(|channel| channel.name == name::CLUTCH_COMMAND)?;
        let full = full_scale(&channels[channel], vehicle)?;
        Some(CommandWatch::new(channel, &channels[channel], full))
    }

    /// A watch on channel `channel`, whose full scale is `full_scale`.
    pub fn new(channel: usize, spec: &ChannelSpec, full_scale: f64) -> CommandWatch {
        let step = spec.step.map_or(0.0, |step| (step / full_scale).abs());
        CommandWatch {
            channel,
            full_scale,
            half_step: 0.5 * step,
            was_partial: None,
            began_partial: false,
            count: EngagementCount::new(step),
            n_events: 0,
            period: Period::new(spec.period_s),
            latest: None,
            phase: Phase::Open,
            time: CommandTime::default(),
            finished: Vec::new(),
            is_unseen_before: true,
            was_broken_off: false,
            n_perhaps_one: 0,
            late_s: spec.late_by_s,
        }
    }

    /// Index of the channel in the map.
    pub fn channel(&self) -> usize {
        self.channel
    }

    /// How far the rows may run so that every event edge before them is known, s after
    /// the row: the longest wait that an edge needs.
    pub fn needs_ahead_s(&self) -> f64 {
        END_HOLD_S.max(MERGE_S) + self.period.gap_limit_s() + DISORDER_S + self.late_s
    }

    /// Takes a block's samples and cuts.
    pub fn extend(&mut self, column: &Column, cuts: &[Time]) {
        column.walk(cuts, |met| match met {
            SampleOrCut::Sample(time, value) => {
                self.add(time, value.map(|value| value / self.full_scale));
            }
            SampleOrCut::Cut(_) => self.interrupt(),
        });
    }

    fn interrupt(&mut self) {
        self.latest = None;
        self.was_broken_off = matches!(self.phase, Phase::Engaged { .. } | Phase::Suspended { .. });
        self.is_unseen_before = true;
        self.break_off();
    }

    /// How many engagements fewer and how many more there may be than were counted, for what
    /// period and step of the command leave open.
    pub fn n_off(&self) -> (f64, f64) {
        let going_on = self.going_on().filter(|event| event.peak >= LEAST_PEAK);
        let n = (self.n_events + u64::from(going_on.is_some())) as f64;
        let (fewest, most) = self.count.bounds(self.period.seconds().unwrap_or(0.0));
        ((n - fewest).max(0.0), (most - n).max(0.0))
    }

    /// How many events may be the second half of the one before, over a cut or long gap.
    pub fn n_perhaps_one(&self) -> u64 {
        self.n_perhaps_one
    }

    fn add(&mut self, time: Time, command: Option<f64>) {
        if let Some((since, held, limit_s)) = self.latest {
            let length = time.since(since);
            match held {
                Some(held) if length <= limit_s => self.time.add(held, self.half_step, length),
                _ => {
                    self.time.hidden_s += length;
                    if length <= LONGEST_BRIDGED_S {
                        self.suspend();
                    } else {
                        self.interrupt();
                    }
                }
            }
        }
        self.period.add(time);
        self.latest = Some((time, command, self.period.gap_limit_s()));
        if let Some(command) = command {
            let now = is_partial(command);
            match self.was_partial.replace(now) {
                None => self.began_partial = now,
                Some(before) => self.time.n_edges += u32::from(before != now),
            }
            let period_s = self.period.seconds().unwrap_or(0.0);
            self.count.add(time, command, period_s);
            self.step(time, command);
        }
    }

    fn step(&mut self, time: Time, command: f64) {
        let began_unseen = std::mem::take(&mut self.is_unseen_before) && command >= START_FROM;
        if began_unseen && self.was_broken_off {
            self.n_perhaps_one += 1;
        }
        self.phase = match self.phase {
            Phase::Open if began_unseen => {
                let span = Span {
                    start: time,
                    end: time,
                };
                let event = CommandEvent {
                    span,
                    peak: command,
                    is_broken: true,
                };
                Phase::Engaged { event, n: 1 }
            }
            Phase::Open if command >= START_FROM => self.rise(time, command, 1, time),
            Phase::Open => Phase::Open,
            Phase::Rising { .. } if command < START_FROM => Phase::Open,
            Phase::Rising { since, peak, n } => self.rise(since, peak.max(command), n + 1, time),
            Phase::Engaged { mut event, n } => {
                event.span.end = time;
                event.peak = event.peak.max(command);
                match command < OPEN_BELOW {
                    true => Phase::Fading {
                        event,
                        n: n + 1,
                        risen: None,
                    },
                    false => Phase::Engaged { event, n: n + 1 },
                }
            }
            Phase::Fading { event, n, risen } => {
                let quiet_s = |at: Time| at.since(event.span.end);
                let risen = match risen {
                    _ if command < START_FROM => None,
                    Some((since, n)) => Some((since, n + 1)),
                    None => Some((time, 1)),
                };
                match risen {
                    // Only what would start an event of its own can join the one before.
                    Some((since, n_risen)) if is_start(since, n_risen, time) => {
                        let peak = event.peak.max(command);
                        if quiet_s(since) < MERGE_S {
                            let span = Span {
                                end: time,
                                ..event.span
                            };
                            Phase::Engaged {
                                event: CommandEvent {
                                    span,
                                    peak,
                                    ..event
                                },
                                n: n + n_risen,
                            }
                        } else {
                            self.close(event, n);
                            self.rise(since, command, n_risen, time)
                        }
                    }
                    Some(_) => Phase::Fading { event, n, risen },
                    // Not yet closed: a flicker above the open level goes on with the event.
                    None if command >= OPEN_BELOW && quiet_s(time) < END_HOLD_S => {
                        let span = Span {
                            end: time,
                            ..event.span
                        };
                        Phase::Engaged {
                            event: CommandEvent { span, ..event },
                            n,
                        }
                    }
                    None if quiet_s(time) >= MERGE_S => {
                        self.close(event, n);
                        Phase::Open
                    }
                    None => Phase::Fading { event, n, risen },
                }
            }
            Phase::Suspended { event, n } => {
                // The same engagement on both sides of a gap is one, and broken.
                if command >= OPEN_BELOW {
                    let span = Span {
                        end: time,
                        ..event.span
                    };
                    let peak = event.peak.max(command);
                    Phase::Engaged {
                        event: CommandEvent {
                            span,
                            peak,
                            ..event
                        },
                        n: n + 1,
                    }
                } else {
                    self.close(event, n);
                    Phase::Open
                }
            }
        };
    }

    fn rise(&self, since: Time, peak: f64, n: u32, time: Time) -> Phase {
        if is_start(since, n, time) {
            let event = CommandEvent {
                span: Span {
                    start: since,
                    end: time,
                },
                peak,
                is_broken: false,
            };
            return Phase::Engaged { event, n };
        }
        Phase::Rising { since, peak, n }
    }

    /// A gap inside a stretch of log: what was going on may go on after it.
    fn suspend(&mut self) {
        self.phase = match self.phase {
            Phase::Engaged { mut event, n } => {
                event.is_broken = true;
                Phase::Suspended { event, n }
            }
            _ => {
                self.break_off();
                Phase::Open
            }
        };
    }

    fn close(&mut self, event: CommandEvent, n: u32) {
        if event.peak >= LEAST_PEAK && n >= 2 {
            self.n_events += 1;
            self.finished.push(event);
        }
    }

    /// A gap or a cut: what was going on is broken off.
    fn break_off(&mut self) {
        self.count.interrupt();
        match std::mem::replace(&mut self.phase, Phase::Open) {
            Phase::Engaged { mut event, n } => {
                event.is_broken = true;
                self.close(event, n);
            }
            Phase::Fading { event, n, .. } => self.close(event, n),
            Phase::Suspended { event, n } => self.close(event, n),
            Phase::Open | Phase::Rising { .. } => {}
        }
    }

    /// The log has ended: an event still going on is broken off.
    pub fn finish(&mut self) {
        self.break_off();
    }

    /// Events that have ended since the last call.
    pub fn take_finished(&mut self) -> impl Iterator<Item = CommandEvent> + '_ {
        self.finished.drain(..)
    }

    /// The event going on now, with what is known of it so far; it may still turn out too
    /// weak to count.
    pub fn going_on(&self) -> Option<CommandEvent> {
        match self.phase {
            Phase::Engaged { event, .. }
            | Phase::Fading { event, .. }
            | Phase::Suspended { event, .. } => Some(event),
            Phase::Open | Phase::Rising { .. } => None,
        }
    }

    /// Seconds by level so far.
    pub fn time(&self) -> CommandTime {
        let n_partial_ends =
            u32::from(self.began_partial) + u32::from(self.was_partial == Some(true));
        CommandTime {
            n_partial_ends,
            ..self.time
        }
    }
}

/// Whether a rise since `since`, `n` samples long, is one that starts an event.
fn is_start(since: Time, n: u32, now: Time) -> bool {
    n >= 2 && now.since(since) >= START_HOLD_S - 1e-9
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Commands every 20 ms in hundredths, as `level x count` words.
    fn watch(words: &str) -> (Vec<(f64, f64, f64, bool)>, CommandTime) {
        let spec = ChannelSpec {
            period_s: Some(0.02),
            ..ChannelSpec::new("clutch.command")
        };
        let mut watch = CommandWatch::new(0, &spec, 1.0);
        let mut column = Column::default();
        let mut time = 0.0;
        for word in words.split_whitespace() {
            let (level, count) = word.split_once('x').unwrap();
            for _ in 0..count.parse::<u32>().unwrap() {
                if level != "gap" {
                    column.push(
                        Time::from_seconds(time),
                        Some(level.parse::<f64>().unwrap() / 100.0),
                    );
                }
                time += 0.02;
            }
        }
        watch.extend(&column, &[]);
        watch.finish();
        let round = |value: f64| (value * 1e3).round() / 1e3;
        let events = watch
            .take_finished()
            .map(|event| {
                (
                    round(event.span.start.seconds()),
                    round(event.span.end.seconds()),
                    event.peak,
                    event.is_broken,
                )
            })
            .collect();
        let time = watch.time();
        (events, time)
    }

    #[track_caller]
    fn check(words: &str, wanted: &[(f64, f64, f64, bool)]) {
        assert_eq!(watch(words).0, wanted, "{words}");
    }

    #[test]
    fn events() {
        check("0x10 50x10 0x50", &[(0.2, 0.4, 0.5, false)]);
        // Two samples at 20 ms span less than 40 ms: too short to start.
        check("0x10 50x2 0x50", &[]);
        check("0x10 50x3 0x50", &[(0.2, 0.26, 0.5, false)]);
        // Never above 0.15: dropped.
        check("0x10 12x20 0x50", &[]);
        // A quarter second open: one event; half a second: two.
        check("0x5 50x10 0x12 60x10 0x50", &[(0.1, 0.74, 0.6, false)]);
        check(
            "0x5 50x10 0x25 60x10 0x50",
            &[(0.1, 0.3, 0.5, false), (0.8, 1.0, 0.6, false)],
        );
        // Between open and start level it goes on.
        check("0x5 50x10 7x50 0x50", &[(0.1, 1.3, 0.5, false)]);
        // A blip too short to start an event does not prolong one.
        check("0x5 50x10 0x12 60x1 0x50", &[(0.1, 0.3, 0.5, false)]);
        // A gap breaks it; the same engagement on both sides is one.
        check("0x5 50x10 gapx50 50x10 0x50", &[(0.1, 1.5, 0.5, true)]);
        // Across a longer one nobody knows: two, and the second began unseen.
        check(
            "0x5 50x10 gapx500 50x10 0x50",
            &[(0.1, 0.28, 0.5, true), (10.3, 10.5, 0.5, true)],
        );
        check("50x10 0x50", &[(0.0, 0.2, 0.5, true)]);
        check("0x5 50x10", &[(0.1, 0.28, 0.5, true)]);
    }

    #[test]
    fn time_by_level_has_no_hysteresis_and_no_gap() {
        let (_, time) = watch("0x10 5x10 94x10 95x10 4x1 gapx50 4x1");
        let round = |value: f64| (value * 1e3).round() / 1e3;
        assert_eq!(round(time.open_s), 0.2);
        assert_eq!(round(time.partial_s), 0.4);
        assert_eq!(round(time.full_s), 0.2);
        assert_eq!(round(time.hidden_s), 1.02);
        assert_eq!((time.n_edges, time.n_partial_ends), (2, 0));
    }

    #[test]
    fn what_rests_on_a_level_may_be_on_either_side_of_it() {
        // A number with steps of 1 % that reads 5 was from 4.5 on, one that reads 94 below 94.5.
        let spec = ChannelSpec {
            period_s: Some(0.02),
            step: Some(0.01),
            ..ChannelSpec::new("clutch.command")
        };
        let mut watch = CommandWatch::new(0, &spec, 1.0);
        let mut column = Column::default();
        for index in 0..=200 {
            let level = [0.05, 0.50, 0.94, 0.95][(index / 50).min(3)];
            column.push(Time::from_seconds(index as f64 * 0.02), Some(level));
        }
        watch.extend(&column, &[]);
        let time = watch.time();
        let round = |value: f64| (value * 1e3).round() / 1e3;
        assert_eq!(round(time.partial_s), 3.0);
        assert_eq!(time.partial_bounds_s.map(round), [2.0, 4.0]);
        assert_eq!((time.n_edges, time.n_partial_ends), (1, 1));
    }
}
