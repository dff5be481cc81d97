//! Tallies what happened in each engagement.
//!
//! In: events of the command, and rows. Out: one [`Event`] each, with energy, peaks and
//! times; and events of slip that nobody commanded. Rows come later than the command, so
//! the start and end of every event a row can fall into is known when it arrives.

use halfshaft_driveline::engagement::{LEAST_PEAK, MERGE_S};
use halfshaft_driveline::{ClosedHeat, CommandEvent, Derived, HeatByFloor, Row};
use halfshaft_model::{Span, Time};

use crate::close_ups::N_EVENTS;
use crate::limits::Slip;
use crate::nouns::{Event, EventKind};
use crate::part::{Came, Part, Passage};
use crate::partial::{PartialLimits, PartialTime};
use crate::sums::{is_slipping, sharp_rate_w};
use crate::trust::{COMMAND, Gate, HEAT, Kept, SLIP, Source};

/// Sums inside one event.
#[derive(Clone, Debug)]
struct Tally {
    kind: EventKind,
    span: Span,
    command_peak: f64,
    is_broken: bool,
    n_rows: u64,
    heat: Kept<Heat, HEAT>,
    heat_peak_w: Kept<Option<f64>, HEAT>,
    has_heat: bool,
    slip: Kept<SlipOfEvent, SLIP>,
    partial_by_torque: Kept<PartialTime, { HEAT | SLIP }>,
    partial_by_command: Kept<PartialTime, { COMMAND | SLIP }>,
    lacks_torque: bool,
    speed_peak: Option<f64>,
}

/// The heat of an event: while rows may still fall into it, and then, when only the event is kept.
#[derive(Clone, Debug)]
enum Heat {
    Open(Box<HeatByFloor>),
    Closed(ClosedHeat),
}

/// Slip inside one event.
#[derive(Clone, Copy, Debug, Default)]
struct SlipOfEvent {
    peak: f64,
    // Angle slipped, rad.
    angle: f64,
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
    // By the noise known at their end.
    hottest: Vec<(f64, Span)>,
    n_over: usize,
}

/// Hottest events that are remembered while the drive goes on: a few more than are shown, since how hot
/// they were is settled at its end.
const MOST_HOT: usize = 2 * N_EVENTS;

/// Excess slip going on.
#[derive(Clone, Debug)]
struct Slipping {
    tally: Tally,
    // The same up to the last sample above the lower limit, where quiet ones have come since, which
    // count only if it goes on. Copied at the first of them: a tally is large.
    before_quiet: Option<Tally>,
}

impl Heat {
    fn heat_j(&self, slip_sd: f64) -> f64 {
        match self {
            Heat::Open(heat) => heat.heat_j(slip_sd),
            Heat::Closed(heat) => heat.heat_j(slip_sd),
        }
    }
}

impl Tally {
    /// No row will fall into it any more.
    fn close(&mut self) {
        let heat = self.heat.gather();
        if let Heat::Open(open) = heat {
            *heat = Heat::Closed(open.closed());
        }
    }

    /// Its heat by the noise known so far: to choose by, and for nothing else.
    fn heat_j(&mut self, slip_sd: Option<f64>) -> f64 {
        self.heat.gather().heat_j(slip_sd.unwrap_or(0.0))
    }

    fn new(kind: EventKind, span: Span) -> Tally {
        Tally {
            kind,
            span,
            command_peak: 0.0,
            is_broken: false,
            n_rows: 0,
            heat: Kept::new(Heat::Open(Box::default())),
            heat_peak_w: Kept::default(),
            has_heat: false,
            slip: Kept::default(),
            partial_by_torque: Kept::default(),
            partial_by_command: Kept::default(),
            lacks_torque: false,
            speed_peak: None,
        }
    }

    fn follow(&mut self, event: &CommandEvent) {
        self.span = event.span;
        self.command_peak = event.peak;
        self.is_broken |= event.is_broken;
    }

    fn add(&mut self, row: &Row, partial: &PartialLimits) {
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
        let slip = self.slip.gather();
        slip.peak = slip.peak.max(row.slip_sharp.abs());
        if is_slipping(row, &partial.limits.slip) {
            slip.angle += row.slip_mean.abs() * row.seconds;
        }
        let judgement = partial.judge(row);
        self.partial_by_torque
            .gather()
            .add(judgement.by_torque, row.seconds);
        self.partial_by_command
            .gather()
            .add(judgement.by_command, row.seconds);
        match row.work_j {
            Some(work) => {
                self.has_heat = true;
                if let Heat::Open(heat) = self.heat.gather() {
                    heat.add(work, row.impulse_nms, &row.evidence);
                }
            }
            None => self.lacks_torque = true,
        }
        if let Some([_, rate, _]) = sharp_rate_w(row, &partial.limits.slip) {
            higher(self.heat_peak_w.gather(), rate);
        }
    }

    fn event(&self, gate: &Gate, friction_radius_m: Option<f64>) -> Event {
        let is_command = self.kind == EventKind::Command;
        let partial = [
            self.partial_by_torque.ask(gate),
            self.partial_by_command.ask(gate),
        ];
        let partial = partial
            .into_iter()
            .flatten()
            .find(|partial| partial.judged_s > 0.0);
        let slip = self.slip.ask(gate).ok().filter(|_| self.n_rows > 0);
        let heat = self.heat.ask(gate).ok().filter(|_| self.has_heat);
        let heat_kj = heat.map(|heat| heat.heat_j(gate.slip_sd()) * 1e-3);
        let heat_peak_w = self.heat_peak_w.ask(gate).ok().copied().flatten();
        Event {
            kind: self.kind,
            span: self.span,
            command_peak: is_command.then_some(self.command_peak),
            slip_peak: slip.map(|slip| slip.peak),
            heat_kj,
            heat_peak_kw: heat_peak_w.map(|watts| watts * 1e-3),
            heat_mean_kw: heat_kj
                .filter(|_| self.span.seconds() > 0.0)
                .map(|heat| heat / self.span.seconds()),
            slip_distance_m: slip
                .zip(friction_radius_m)
                .map(|(slip, radius)| radius * slip.angle),
            partial_heat_making_s: partial.map(|partial| partial.seconds[0]),
            speed_peak_m_per_s: self.speed_peak,
            is_broken: self.is_broken
                || is_cut_short(self, gate)
                || (self.lacks_torque && self.has_heat),
        }
    }
}

/// The command comes to stand still within it: when it ended is not known.
fn is_cut_short(tally: &Tally, gate: &Gate) -> bool {
    tally.kind == EventKind::Command
        && gate.stretches(Source::Command).iter().any(|stretch| {
            tally.span.start < stretch.span.end && stretch.span.start < tally.span.end
        })
}

impl Part for EventTally {
    fn block(&mut self, came: &Came) {
        self.follow(came.derived);
    }

    fn rows(&mut self, passage: &Passage) {
        for row in passage.rows {
            self.add(row, passage.partial);
        }
    }
}

impl EventTally {
    /// Takes the events of the command that have ended, and the one that goes on.
    pub fn follow(&mut self, derived: &Derived) {
        for event in &derived.ended {
            let mut tally = match self.open.take() {
                Some(open) if open.span.start == event.span.start => open,
                _ => Tally::new(EventKind::Command, event.span),
            };
            tally.follow(event);
            self.finished.push(tally);
        }
        self.open = derived.going_on.map(|event| {
            let mut tally = match self.open.take() {
                Some(open) if open.span.start == event.span.start => open,
                _ => Tally::new(EventKind::Command, event.span),
            };
            tally.follow(&event);
            tally
        });
    }

    /// Takes a row.
    pub fn add(&mut self, row: &Row, partial: &PartialLimits) {
        while let Some(passed) = self.finished.get_mut(self.cursor)
            && passed.span.end <= row.time
        {
            passed.close();
            let heat_j = passed.heat_j(row.slip_sd);
            let span = passed.span;
            self.cursor += 1;
            self.note_over(span, heat_j);
        }
        let commanded = self.finished.get_mut(self.cursor).or(self.open.as_mut());
        let commanded =
            commanded.filter(|tally| tally.span.start <= row.time && row.time < tally.span.end);
        match commanded {
            Some(tally) => {
                tally.add(row, partial);
                self.latest_commanded = Some(row.time);
                self.close_slip(None, Some(row.time), &partial.limits.slip, row.slip_sd);
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
            self.close_slip(None, None, limits, row.slip_sd);
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
                tally.add(row, partial);
                self.slipping = Some(Slipping {
                    tally,
                    before_quiet: None,
                });
            }
            None => {}
            Some(slipping) => {
                if excess >= limits.event_below_rad_per_s {
                    slipping.before_quiet = None;
                    slipping.tally.span.end = row.time;
                } else if slipping.before_quiet.is_none() {
                    slipping.before_quiet = Some(slipping.tally.clone());
                }
                slipping.tally.add(row, partial);
                self.close_slip(Some(row.time), None, limits, row.slip_sd);
            }
        }
    }

    /// Closes the slip event when it has been quiet for long enough, or at once. Slip at
    /// the fringe of a command event belongs to that one, unless it lasts.
    fn close_slip(
        &mut self,
        now: Option<Time>,
        command_begins: Option<Time>,
        limits: &Slip,
        slip_sd: Option<f64>,
    ) {
        let quiet_since = |slipping: &Slipping| slipping.tally.span.end;
        let is_over = |slipping: &mut Slipping| {
            now.is_none_or(|now| now.since(quiet_since(slipping)) >= MERGE_S)
        };
        let Some(slipping) = self.slipping.take_if(is_over) else {
            return;
        };
        let mut tally = slipping.before_quiet.unwrap_or(slipping.tally);
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
            tally.close();
            let heat_j = tally.heat_j(slip_sd);
            self.note_over(tally.span, heat_j);
            self.slip_only.push(tally);
        }
    }

    /// An event is over.
    fn note_over(&mut self, span: Span, heat_j: f64) {
        self.n_over += 1;
        let place = self.hottest.partition_point(|(kept, _)| *kept >= heat_j);
        self.hottest.insert(place, (heat_j, span));
        self.hottest.truncate(MOST_HOT);
    }

    /// How many events are over, and which of them were hottest by what is known of the noise.
    pub fn hottest(&self) -> (usize, impl Iterator<Item = Span>) {
        (self.n_over, self.hottest.iter().map(|(_, span)| *span))
    }

    /// Engagements the command asked for, those still going on included, and how many of them
    /// are broken by a gap; none of a command that is not believed.
    pub fn engagements(&self, gate: &Gate) -> (u64, u64) {
        let n_broken = self
            .commanded(gate)
            .filter(|tally| tally.is_broken || is_cut_short(tally, gate));
        (self.commanded(gate).count() as u64, n_broken.count() as u64)
    }

    /// Engagements of a command that is believed where they begin.
    fn commanded(&self, gate: &Gate) -> impl Iterator<Item = &Tally> {
        let open = self
            .open
            .as_ref()
            .filter(|tally| tally.command_peak >= LEAST_PEAK);
        let is_believed = gate.allows(COMMAND).is_ok();
        self.finished
            .iter()
            .chain(open)
            .filter(move |tally| is_believed && !gate.leaves_out(Source::Command, tally.span.start))
    }

    /// All events in order of time.
    pub fn events(&self, gate: &Gate, friction_radius_m: Option<f64>) -> Vec<Event> {
        // Slip that goes on at the end of the log is cut off there.
        let cut_off = self.slipping.as_ref().map(|slipping| Tally {
            is_broken: true,
            ..slipping
                .before_quiet
                .as_ref()
                .unwrap_or(&slipping.tally)
                .clone()
        });
        let mut events: Vec<Event> = self
            .commanded(gate)
            .chain(&self.slip_only)
            .chain(cut_off.as_ref().filter(|tally| tally.span.seconds() > 0.0))
            .map(|tally| tally.event(gate, friction_radius_m))
            .collect();
        events.sort_by_key(|event| event.span.start);
        events
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::limits::Limits;
    use crate::partial::Shares;
    use crate::testing::row;
    use halfshaft_driveline::{Basis, CommandWatch};
    use halfshaft_model::{ChannelSpec, Column, Vehicle};

    /// Everything is believed but the torque.
    fn gate() -> Gate {
        crate::testing::gate(&[Source::Torque])
    }

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
        tally.follow(&Derived {
            ended: watch.take_finished().collect(),
            going_on: watch.going_on(),
            ..Derived::default()
        });
        let basis = Basis::new(&Vehicle::default(), &[]);
        let partial = PartialLimits::new(&basis, Shares::default(), &Limits::default());
        for index in 0..600 {
            let mut row = row(f64::from(index) * 0.01);
            row.command = Some(0.5);
            row.slip_sharp = if index < 250 { 2.0 } else { 1.0 };
            tally.add(&row, &partial);
        }
        let events = tally.events(&gate(), None);
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
        assert_eq!(tally.engagements(&gate()).0, 2);
    }

    #[test]
    fn excess_slip_without_command_is_its_own_event() {
        let basis = Basis::new(&Vehicle::default(), &[]);
        let partial = PartialLimits::new(&basis, Shares::default(), &Limits::default());
        let mut tally = EventTally::default();
        for index in 0..600 {
            let mut row = row(f64::from(index) * 0.01);
            row.road_referred_difference = if (100..150).contains(&index) {
                3.0
            } else {
                0.2
            };
            tally.add(&row, &partial);
        }
        let events = tally.events(&gate(), None);
        assert_eq!(events.len(), 1);
        assert_eq!(events[0].kind, EventKind::SlipOnly);
        assert!((events[0].span.seconds() - 0.49).abs() < 1e-9);
        assert_eq!(tally.engagements(&gate()).0, 0);
    }
}
