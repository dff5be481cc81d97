//! The newest of what the car does, and how old it is.
//!
//! In: what each batch brought. Out: [`Now`]. Command, state, road speed and oil come from the
//! samples themselves; slip and heat from rows, which come some seconds late and say so. A signal
//! that stands still is no live value, however often it is sent.

use std::collections::VecDeque;
use std::time::Instant;

use halfshaft_drive::Drive;
use halfshaft_driveline::align::{full_scale, state_channel};
use halfshaft_driveline::{Period, Row};
use halfshaft_health::regions::RegionSorter;
use halfshaft_health::sums::is_slipping;
use halfshaft_health::trust::{Gate, Source, Verdict};
use halfshaft_health::{Reason, Region};
use halfshaft_model::channel::name;
use halfshaft_model::{Block, Time};
use halfshaft_signal_map::Map;
use halfshaft_signal_map::decode::Coverage;

use super::words::reason;
use crate::snapshot::{Now, Value};

/// Heat is the mean of so much time, s.
const HEAT_S: f64 = 1.0;

/// Kilometres an hour in a metre a second.
const KM_PER_H: f64 = 3.6;

/// Whatever came before this is no live value, s. Source: none, engineering guess: a corner lasts as long.
const LATEST_S: f64 = 10.0;

/// A stretch without a signal goes on when its last row is no older than this, s: results are asked for
/// that often, and rows come in handfuls.
const STANDS_WITHIN_S: f64 = 2.0;

/// Time of the drive and of the world: how far the log has got, and when it was heard.
#[derive(Clone, Copy, Debug)]
pub struct Clock {
    until: Time,
    heard: Instant,
}

impl Clock {
    /// Nothing heard yet.
    pub fn new() -> Clock {
        Clock {
            until: Time(0),
            heard: Instant::now(),
        }
    }

    /// The log has got this far.
    pub fn hear(&mut self, until: Time) {
        *self = Clock {
            until: self.until.max(until),
            heard: Instant::now(),
        };
    }

    /// Time of the drive now: it goes on while nothing is heard.
    pub fn now(&self) -> Time {
        self.until.plus(self.heard.elapsed().as_secs_f64())
    }

    /// How far the log has got.
    pub fn until(&self) -> Time {
        self.until
    }
}

/// The newest sample of a channel.
#[derive(Clone, Debug)]
struct Newest {
    channel: usize,
    source: Source,
    // What the value is divided by.
    full: f64,
    sample: Option<(Time, Option<f64>)>,
    period: Period,
}

impl Newest {
    fn take(&mut self, block: &Block) {
        let column = &block.columns[self.channel];
        for (time, value) in column.iter() {
            self.period.add(time);
            self.sample = Some((time, value));
        }
    }

    /// Judged by a gate, and by how far rows have come: they show what stands still.
    fn value(
        &self,
        clock: &Clock,
        judged: Option<(&Gate, Time)>,
        unit: &'static str,
        times: f64,
    ) -> Value {
        let Some((time, value)) = self.sample else {
            return Value::missing(unit, "no sample yet");
        };
        let aged = aged(time, self.period.gap_limit_s(), clock, unit);
        let Some(value) = value else {
            return aged.withheld("the car says that it is not available");
        };
        match judged.and_then(|(gate, rows)| not_live(gate, self.source, rows)) {
            Some(why) => aged.withheld(why),
            None => Value {
                value: Some(value / self.full * times),
                ..aged
            },
        }
    }
}

/// Why a source is not believed now, where rows have come so far.
fn not_live(gate: &Gate, source: Source, rows_until: Time) -> Option<String> {
    if let Verdict::Withheld(why) = gate.verdict(source) {
        return Some(reason(why));
    }
    // The stretch that goes on reaches to the newest row.
    let latest = gate.stretches(source).last()?;
    let stands = rows_until.since(latest.span.end) < STANDS_WITHIN_S;
    stands.then(|| reason(&Reason::StoodStill(source)))
}

/// A value of that age, still without its number.
fn aged(time: Time, stale_from_s: f64, clock: &Clock, unit: &'static str) -> Value {
    let age_s = clock.now().since(time).max(0.0);
    Value {
        unit,
        at_s: Some(time.seconds()),
        age_s: Some(age_s),
        stale_from_s: Some(stale_from_s),
        is_stale: age_s > stale_from_s,
        is_provisional: true,
        ..Value::default()
    }
}

/// What is kept of a row.
#[derive(Clone, Copy, Debug)]
struct Latest {
    time: Time,
    speed: Option<f64>,
    difference: Option<f64>,
    slip: Option<f64>,
    engagement: Option<Region>,
    is_standing: bool,
}

/// Keeps the newest of everything.
#[derive(Clone, Debug)]
pub struct Newests {
    command: Option<Newest>,
    state: Option<Newest>,
    oil: Option<Newest>,
    no_slip: Option<Reason>,
    no_heat: Option<Reason>,
    moving_from: f64,
    sorter: RegionSorter,
    slip: halfshaft_health::limits::Slip,
    row: Option<Latest>,
    // How late the newest row came, s.
    late_s: f64,
    rows: Period,
    // Time, seconds and heat rate of the last second, W.
    heats: VecDeque<(Time, f64, Option<f64>)>,
}

impl Newests {
    /// Nothing seen yet of a drive of this car.
    pub fn new(map: &Map, drive: &Drive) -> Newests {
        let (vehicle, channels) = (&map.vehicle, &map.channels);
        let limits = drive.health().limits();
        let newest = |channel: Option<usize>, source, full: Option<f64>| {
            let channel = channel?;
            Some(Newest {
                channel,
                source,
                full: full?,
                sample: None,
                period: Period::new(channels[channel].period_s),
            })
        };
        let index = |name| channels.iter().position(|channel| channel.name == name);
        let of_full = |channel: Option<usize>, source| {
            let full = channel.and_then(|channel| full_scale(&channels[channel], vehicle));
            newest(channel, source, full)
        };
        let basis = drive.health().basis();
        Newests {
            command: of_full(index(name::CLUTCH_COMMAND), Source::Command),
            state: of_full(state_channel(vehicle, channels), Source::State),
            oil: newest(index(name::OIL_TEMPERATURE), Source::Oil, Some(1.0)),
            no_slip: basis.slip.clone().err().map(Reason::from),
            no_heat: basis.heat.clone().err().map(Reason::from),
            moving_from: limits.driving.moving_from(),
            sorter: RegionSorter::new(limits),
            slip: limits.slip,
            row: None,
            late_s: 0.0,
            rows: Period::default(),
            heats: VecDeque::new(),
        }
    }

    /// Takes what the latest batch brought.
    pub fn take(&mut self, drive: &Drive) {
        let block = drive.block();
        let all = [&mut self.command, &mut self.state, &mut self.oil];
        all.into_iter().flatten().for_each(|one| one.take(block));
        let rows = drive.health().believed();
        rows.iter().for_each(|row| self.take_row(row));
        if let Some(row) = rows.last() {
            self.late_s = block.until.since(row.time);
        }
    }

    fn take_row(&mut self, row: &Row) {
        self.rows.add(row.time);
        let speed = row.road_speed;
        let is_moving = speed.is_some_and(|speed| speed > self.moving_from);
        self.row = Some(Latest {
            time: row.time,
            speed,
            difference: row.is_turning.then_some(row.difference_mean),
            slip: row.is_turning.then_some(row.slip_mean),
            engagement: is_moving.then(|| self.sorter.sort(row)),
            is_standing: speed.is_some() && !is_moving,
        });
        // Without a torque there is no rate, and noise makes no heat.
        let rate_w = match row.is_turning && is_slipping(row, &self.slip) {
            true => row.heat_rate_w,
            false => row.work_j.map(|_| 0.0),
        };
        self.heats.push_back((row.time, row.seconds, rate_w));
        while self
            .heats
            .front()
            .is_some_and(|(time, ..)| row.time.since(*time) >= HEAT_S)
        {
            self.heats.pop_front();
        }
    }

    /// Time of the newest row.
    pub fn rows_until(&self) -> Option<Time> {
        self.row.map(|row| row.time)
    }

    /// A value that rests on all rows so far.
    pub fn of_rows(&self, clock: &Clock, unit: &'static str) -> Value {
        let Some(row) = self.row else {
            return Value::missing(unit, "nothing derived yet");
        };
        // Rows come late, all of them: what is stale is one behind which none came when it should.
        let stale_from_s = (self.late_s + self.rows.gap_limit_s()).min(LATEST_S);
        aged(row.time, stale_from_s, clock, unit)
    }

    fn judged<'g>(&self, gate: Option<&'g Gate>) -> Option<(&'g Gate, Time)> {
        Some((gate?, self.rows_until().unwrap_or(Time(0))))
    }

    /// The oil by its sensor; `None` where the car has none.
    pub fn oil(&self, clock: &Clock, gate: Option<&Gate>) -> Option<Value> {
        let oil = self.oil.as_ref()?;
        Some(oil.value(clock, self.judged(gate), "degC", 1.0))
    }

    /// What the car does now.
    pub fn now(&self, clock: &Clock, gate: Option<&Gate>) -> Now {
        let sampled = |newest: &Option<Newest>, unit, times, missing: &str| match newest {
            Some(newest) => newest.value(clock, self.judged(gate), unit, times),
            None => Value::missing(unit, missing),
        };
        let sources = |unit, sources, refusal: &Option<Reason>| {
            let value = self.of_rows(clock, unit);
            let withheld = gate
                .and_then(|gate| gate.why_withheld(sources))
                .or(refusal.as_ref());
            (value, withheld.map(reason))
        };
        let of = |(value, withheld): (Value, Option<String>),
                  number: Option<f64>,
                  missing: &str| {
            match (withheld, number) {
                (Some(why), _) => value.withheld(why),
                (None, None) if value.why.is_none() => value.withheld(missing),
                (None, number) => Value {
                    value: number,
                    ..value
                },
            }
        };
        let row = self.row;
        let slip = sources("rad/s", halfshaft_health::trust::SLIP, &self.no_slip);
        let heat = sources("kW", halfshaft_health::trust::HEAT, &self.no_heat);
        let difference = (self.of_rows(clock, "rad/s"), None);
        Now {
            road_speed: of(
                (self.of_rows(clock, "km/h"), None),
                row.and_then(|row| row.speed).map(|speed| speed * KM_PER_H),
                "the road speed is not known",
            ),
            axle_speed_difference: of(
                difference,
                row.and_then(|row| row.difference),
                "the wheels stand",
            ),
            slip: of(slip, row.and_then(|row| row.slip), "the wheels stand"),
            command: sampled(
                &self.command,
                "%",
                100.0,
                "the map has no command with its full value",
            ),
            state: sampled(
                &self.state,
                "%",
                100.0,
                "the map has nothing that the mechanism says of itself",
            ),
            engagement: self.engagement(clock),
            heat: of(heat, self.heat_kw(), "the torque is not known"),
        }
    }

    fn heat_kw(&self) -> Option<f64> {
        let known = self
            .heats
            .iter()
            .filter_map(|(_, seconds, watts)| Some((*seconds, (*watts)?)));
        let (seconds, joules) = known.fold((0.0, 0.0), |(all_s, all_j), (seconds, watts)| {
            (all_s + seconds, all_j + seconds * watts)
        });
        (seconds > 0.0).then(|| joules / seconds * 1e-3)
    }

    fn engagement(&self, clock: &Clock) -> Value {
        let value = self.of_rows(clock, "");
        let Some(row) = self.row else { return value };
        let words = match row.engagement {
            Some(Region::Free | Region::PreloadDrag) => "open",
            Some(Region::WorkingSlip) => "partial",
            Some(Region::Held) => "locked",
            Some(Region::AskedNotHolding) => "commanded, not holding",
            Some(Region::HoldingUnasked) => "holding without command",
            Some(Region::NotObservable) => {
                return value.withheld("straight on: nothing to judge by");
            }
            None if row.is_standing => return value.withheld("the car stands"),
            None => return value.withheld("the road speed is not known"),
        };
        Value {
            words: Some(words),
            ..value
        }
    }
}

/// Seconds since 1970 at which a drive began, where its stamps are dates.
pub fn began_s(coverage: &Coverage) -> Option<f64> {
    let first = coverage.first?;
    first.is_date().then(|| first.seconds())
}
