//! Tallies what happened in each engagement.
//!
//! In: events of the command, and rows. Out: one [`Event`] each, with energy, peaks and
//! times; and events of slip that nobody commanded. Rows come later than the command, so
//! the start and end of every event a row can fall into is known when it arrives.

use halfshaft_driveline::engagement::{LEAST_PEAK, MERGE_S};
use halfshaft_driveline::{CommandEvent, CommandWatch, HeatByFloor, Row};
use halfshaft_model::{Span, Time};

use crate::limits::Slip;
use crate::result::{Event, EventKind};
use crate::sums::{PartialLimits, PartialTime, is_slipping};

/// What is known only when events are asked for.
#[derive(Clone, Copy, Debug)]
pub struct Settled {
    /// Noise floor of one slip sample, rad/s.
    pub slip_sd: f64,
    /// Heat may be told.
    pub heat_is_known: bool,
    /// Slip may be told.
    pub slip_is_known: bool,
    /// Mean friction radius of the pack, m, when the map states it.
    pub friction_radius_m: Option<f64>,
}

/// Sums inside one event.
#[derive(Clone, Debug)]
struct Tally {
    kind: EventKind,
    span: Span,
    command_peak: f64,
    is_broken: bool,
    n_rows: u64,
    heat: HeatByFloor,
    has_heat: bool,
    slip_peak: f64,
    slip_rad: f64,
    heat_peak_w: Option<f64>,
    partial_by_torque: PartialTime,
    partial_by_command: PartialTime,
    lacks_torque: bool,
    speed_peak: Option<f64>,
}

/// Tallies events.
#[derive(Clone, Debug, Default)]
pub struct EventTally {
    finished: Vec<Tally>,
    // The command event that may still go on, last in time.
    open: Option<Tally>,
    // First finished event that a row may still fall into.
    cursor: usize,
    slip_only: Vec<Tally>,
    slipping: Option<Slipping>,
    // When a command event was last going on.
    latest_commanded: Option<Time>,
}

/// Excess slip going on.
#[derive(Clone, Debug)]
struct Slipping {
    // Up to the last sample above the lower limit.
    tally: Tally,
    // With the quiet samples since, which count only if it goes on.
    ahead: Tally,
}

impl Tally {
    fn new(kind: EventKind, span: Span) -> Tally {
        Tally {
            kind,
            span,
            command_peak: 0.0,
            is_broken: false,
            n_rows: 0,
            heat: HeatByFloor::default(),
            has_heat: false,
            slip_peak: 0.0,
            slip_rad: 0.0,
            heat_peak_w: None,
            partial_by_torque: PartialTime::default(),
            partial_by_command: PartialTime::default(),
            lacks_torque: false,
            speed_peak: None,
        }
    }

    fn follow(&mut self, event: &CommandEvent) {
        self.span = event.span;
        self.command_peak = event.peak;
        self.is_broken |= event.is_broken;
    }

    fn note(&mut self, row: &Row, partial: &PartialLimits) {
        let higher =
            |peak: &mut Option<f64>, value: f64| *peak = Some(peak.unwrap_or(value).max(value));
        self.n_rows += 1;
        self.is_broken |= !row.is_joined;
        if let Some(speed) = row.road_speed {
            higher(&mut self.speed_peak, speed);
        }
        if !row.is_turning {
            return;
        }
        self.slip_peak = self.slip_peak.max(row.slip_sharp.abs());
        if is_slipping(row, &partial.limits.slip) {
            self.slip_rad += row.slip_mean.abs() * row.seconds;
        }
        let judgement = partial.judge(row);
        self.partial_by_torque
            .note(judgement.by_torque, row.seconds);
        self.partial_by_command
            .note(judgement.by_command, row.seconds);
        match row.work_j {
            Some(work) => {
                self.has_heat = true;
                self.heat.add(work, row.impulse_nms, &row.evidence);
            }
            None => self.lacks_torque = true,
        }
        if let Some(rate) = row.heat_rate_w {
            higher(&mut self.heat_peak_w, rate);
        }
    }

    fn event(&self, settled: &Settled) -> Event {
        let Settled {
            slip_sd,
            heat_is_known,
            slip_is_known,
            friction_radius_m,
        } = *settled;
        let is_command = self.kind == EventKind::Command;
        let partial = [self.partial_by_torque, self.partial_by_command]
            .into_iter()
            .find(|partial| partial.judged_s > 0.0);
        let heat_kj = (self.has_heat && heat_is_known).then(|| self.heat.heat_j(slip_sd) * 1e-3);
        Event {
            kind: self.kind,
            span: self.span,
            command_peak: is_command.then_some(self.command_peak),
            slip_peak: (self.n_rows > 0 && slip_is_known).then_some(self.slip_peak),
            heat_kj,
            heat_peak_kw: self
                .heat_peak_w
                .filter(|_| heat_is_known)
                .map(|watts| watts * 1e-3),
            heat_mean_kw: heat_kj
                .filter(|_| self.span.seconds() > 0.0)
                .map(|heat| heat / self.span.seconds()),
            slip_distance_m: friction_radius_m
                .filter(|_| self.n_rows > 0 && slip_is_known)
                .map(|radius| radius * self.slip_rad),
            partial_heat_making_s: partial
                .filter(|_| slip_is_known)
                .map(|partial| partial.seconds[0]),
            speed_peak_m_per_s: self.speed_peak,
            is_broken: self.is_broken || (self.lacks_torque && self.has_heat),
        }
    }
}

impl EventTally {
    /// Takes note of where the command's events stand.
    pub fn follow(&mut self, watch: &mut CommandWatch) {
        for event in watch.take_finished() {
            let mut tally = match self.open.take() {
                Some(open) if open.span.start == event.span.start => open,
                _ => Tally::new(EventKind::Command, event.span),
            };
            tally.follow(&event);
            self.finished.push(tally);
        }
        self.open = watch.going_on().map(|event| {
            let mut tally = match self.open.take() {
                Some(open) if open.span.start == event.span.start => open,
                _ => Tally::new(EventKind::Command, event.span),
            };
            tally.follow(&event);
            tally
        });
    }

    /// Takes a row.
    pub fn note(&mut self, row: &Row, partial: &PartialLimits) {
        while self
            .finished
            .get(self.cursor)
            .is_some_and(|tally| tally.span.end <= row.time)
        {
            self.cursor += 1;
        }
        let commanded = self.finished.get_mut(self.cursor).or(self.open.as_mut());
        let commanded =
            commanded.filter(|tally| tally.span.start <= row.time && row.time < tally.span.end);
        match commanded {
            Some(tally) => {
                tally.note(row, partial);
                self.latest_commanded = Some(row.time);
                self.close_slip(None, Some(row.time), &partial.limits.slip);
            }
            None => self.note_slip(row, partial),
        }
    }

    fn note_slip(&mut self, row: &Row, partial: &PartialLimits) {
        let limits = &partial.limits.slip;
        let asked = row
            .kinematic_difference
            .filter(|_| row.is_turning && row.is_joined);
        let Some(asked) = asked else {
            self.close_slip(None, None, limits);
            return;
        };
        // What an unlearned tyre mismatch may explain is no excess.
        let excess = (row.road_referred_difference - asked).abs() - row.unknown_mismatch;
        match &mut self.slipping {
            None if excess > limits.event_from_rad_per_s => {
                let span = Span {
                    start: row.time,
                    end: row.time,
                };
                let mut tally = Tally::new(EventKind::SlipOnly, span);
                tally.note(row, partial);
                self.slipping = Some(Slipping {
                    ahead: tally.clone(),
                    tally,
                });
            }
            None => {}
            Some(slipping) => {
                slipping.ahead.note(row, partial);
                if excess >= limits.event_below_rad_per_s {
                    slipping.ahead.span.end = row.time;
                    slipping.tally = slipping.ahead.clone();
                }
                self.close_slip(Some(row.time), None, limits);
            }
        }
    }

    /// Closes the slip event when it has been quiet for long enough, or at once. Slip at
    /// the fringe of a command event belongs to that one, unless it lasts.
    fn close_slip(&mut self, now: Option<Time>, command_begins: Option<Time>, limits: &Slip) {
        let quiet_since = |slipping: &Slipping| slipping.tally.span.end;
        let is_over = |slipping: &mut Slipping| {
            now.is_none_or(|now| now.since(quiet_since(slipping)) >= MERGE_S)
        };
        let Some(Slipping { tally, .. }) = self.slipping.take_if(is_over) else {
            return;
        };
        let is_near = |time: Option<Time>, to: Time| {
            time.is_some_and(|time| time.since(to).abs() < limits.fringe_s)
        };
        let is_fringe = is_near(self.latest_commanded, tally.span.start)
            || is_near(command_begins, tally.span.end);
        if tally.span.seconds()
            >= if is_fringe {
                limits.own_event_s
            } else {
                f64::MIN_POSITIVE
            }
        {
            self.slip_only.push(tally);
        }
    }

    /// Engagements the command asked for, those still going on included.
    pub fn n_engagements(&self) -> u64 {
        self.finished.len() as u64 + u64::from(self.open_that_counts().is_some())
    }

    /// How many of them are broken by a gap.
    pub fn n_broken(&self) -> u64 {
        self.finished.iter().filter(|tally| tally.is_broken).count() as u64
    }

    fn open_that_counts(&self) -> Option<&Tally> {
        self.open
            .as_ref()
            .filter(|tally| tally.command_peak >= LEAST_PEAK)
    }

    /// All events in order of time.
    pub fn events(&self, settled: &Settled) -> Vec<Event> {
        // Slip that goes on at the end of the log is cut off there.
        let cut_off = self.slipping.as_ref().map(|slipping| Tally {
            is_broken: true,
            ..slipping.tally.clone()
        });
        let mut events: Vec<Event> = self
            .finished
            .iter()
            .chain(self.open_that_counts())
            .chain(&self.slip_only)
            .chain(cut_off.as_ref().filter(|tally| tally.span.seconds() > 0.0))
            .map(|tally| tally.event(settled))
            .collect();
        events.sort_by_key(|event| event.span.start);
        events
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::limits::Limits;
    use crate::testing::row;
    use halfshaft_driveline::Basis;
    use halfshaft_model::{ChannelSpec, Column, Vehicle};

    const SETTLED: Settled = Settled {
        slip_sd: 0.0,
        heat_is_known: false,
        slip_is_known: true,
        friction_radius_m: None,
    };

    #[test]
    fn rows_fall_into_the_event_of_their_time() {
        let spec = ChannelSpec {
            period_s: Some(0.01),
            ..ChannelSpec::new("clutch.command")
        };
        let mut watch = CommandWatch::new(0, &spec, 1.0);
        let mut column = Column::default();
        for index in 0..600 {
            let is_asked = (100..200).contains(&index) || (300..350).contains(&index);
            column.push(
                Time::from_seconds(f64::from(index) * 0.01),
                Some(if is_asked { 0.5 } else { 0.0 }),
            );
        }
        watch.extend(&column, &[]);
        let mut tally = EventTally::default();
        tally.follow(&mut watch);
        let basis = Basis::new(&Vehicle::default(), &[]);
        let partial = PartialLimits::new(&basis, 0.0, 0.0, &Limits::default());
        for index in 0..600 {
            let mut row = row(f64::from(index) * 0.01);
            row.command = Some(0.5);
            row.slip_sharp = if index < 250 { 2.0 } else { 1.0 };
            tally.note(&row, &partial);
        }
        let events = tally.events(&SETTLED);
        let seen: Vec<_> = events
            .iter()
            .map(|event| {
                (
                    event.span.start.seconds(),
                    event.span.end.seconds(),
                    event.slip_peak,
                    event.partial_heat_making_s.map(|s| (s * 1e6).round() / 1e6),
                )
            })
            .collect();
        assert_eq!(
            seen,
            [
                (1.0, 2.0, Some(2.0), Some(1.0)),
                (3.0, 3.5, Some(1.0), Some(0.5))
            ]
        );
        assert_eq!(tally.n_engagements(), 2);
    }

    #[test]
    fn excess_slip_without_command_is_its_own_event() {
        let basis = Basis::new(&Vehicle::default(), &[]);
        let partial = PartialLimits::new(&basis, 0.0, 0.0, &Limits::default());
        let mut tally = EventTally::default();
        for index in 0..600 {
            let mut row = row(f64::from(index) * 0.01);
            row.road_referred_difference = if (100..150).contains(&index) {
                3.0
            } else {
                0.2
            };
            tally.note(&row, &partial);
        }
        let events = tally.events(&SETTLED);
        assert_eq!(events.len(), 1);
        assert_eq!(events[0].kind, EventKind::SlipOnly);
        assert!((events[0].span.seconds() - 0.49).abs() < 1e-9);
        assert_eq!(tally.n_engagements(), 0);
    }
}
