//! What the actuator's motor draws, and what that does to its supply.
//!
//! In: blocks with `motor.current`, `motor.voltage`, `supply.voltage`, command and state, and
//! the edges of the command. Out: [`Motor`]: the current while a closed pack is held still,
//! the drop of the supply at each edge of closing, and stalls with the winding's resistance.
//! Nothing is carried over a gap. It refuses a drop of the voltage *at the motor*, which its
//! controller varies on purpose, and a resistance from a voltage measured elsewhere.

use std::collections::VecDeque;

use halfshaft_driveline::align::{follows_command, full_scale};
use halfshaft_driveline::response::edges::{Direction, Edge};
use halfshaft_driveline::response::motor::{COPPER_REFERENCE_C, winding_temperature};
use halfshaft_driveline::response::resolution::{Spread, spread};
use halfshaft_driveline::track::{Answer, Track};
use halfshaft_model::channel::name;
use halfshaft_model::{Block, ChannelSpec, Span, Time, Vehicle};

use crate::limits::MotorLimits;

/// A longer hold or stall is parted, s, which bounds memory.
const LONGEST_S: f64 = 10.0;
/// Samples of the supply are kept so long, s: an edge is settled some 4 s after it began.
const KEEPS_S: f64 = 20.0;

/// The pack held closed and still.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hold {
    /// When.
    pub span: Span,
    /// Median current, A, without sign.
    pub current_a: f64,
    /// Mean state, a share of full.
    pub state: f64,
}

/// The supply at an edge of closing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Supply {
    /// From the edge to the end of the look.
    pub span: Span,
    /// Median before, V.
    pub before_v: f64,
    /// Lowest after, V.
    pub lowest_v: f64,
}

impl Supply {
    /// Drop, V; never below 0.
    pub fn drop_v(&self) -> f64 {
        (self.before_v - self.lowest_v).max(0.0)
    }
}

/// The motor draws nearly its rated current or more and does not get where it should.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stall {
    /// When.
    pub span: Span,
    /// Median current, A, without sign.
    pub current_a: f64,
    /// Mean state, a share of full.
    pub state: f64,
    /// Resistance of the winding with brushes and cable, V/I, ohm; only where the voltage is
    /// that at the motor.
    pub resistance_ohm: Option<f64>,
    /// Temperature of a copper winding of that resistance, °C, where the map states what it
    /// is at 20 °C.
    pub winding_c: Option<f64>,
}

/// What the drive says of the motor.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Motor {
    /// Each time the pack was held closed and still.
    pub holds: Vec<Hold>,
    /// Mean current shown while the pack is open and nothing is asked, A: offset of the
    /// sensor, or what the motor draws to keep it open.
    pub idle_a: Option<f64>,
    /// Supply at each edge of closing at which it was sampled well enough.
    pub supply: Vec<Supply>,
    /// Stalls; none are looked for where the map states no rated current.
    pub stalls: Vec<Stall>,
}

impl Motor {
    /// Current of the holds, A: the spread's fields are amperes here.
    pub fn hold_current(&self) -> Option<Spread> {
        let currents: Vec<f64> = self.holds.iter().map(|hold| hold.current_a).collect();
        spread(&currents)
    }
}

/// State and current at one time.
#[derive(Clone, Copy, Debug)]
struct Moment {
    time: Time,
    // Runs of all that was needed.
    runs: (u32, u32, u32),
    current_a: f64,
    command: f64,
    state: f64,
    motor_v: Option<f64>,
}

/// Moments with the state standing still.
#[derive(Clone, Debug)]
struct Stretch {
    first: Moment,
    latest: Moment,
    lowest: f64,
    highest: f64,
    state_sum: f64,
    currents_a: Vec<f64>,
    resistances_ohm: Vec<f64>,
}

impl Stretch {
    fn new(moment: Moment) -> Stretch {
        let mut stretch = Stretch {
            first: moment,
            latest: moment,
            lowest: moment.state,
            highest: moment.state,
            state_sum: 0.0,
            currents_a: Vec::new(),
            resistances_ohm: Vec::new(),
        };
        stretch.take(moment);
        stretch
    }

    fn goes_on(&self, moment: &Moment, limits: &MotorLimits) -> bool {
        let spread = self.highest.max(moment.state) - self.lowest.min(moment.state);
        self.first.runs == moment.runs
            && spread <= limits.still_within
            && moment.time.since(self.first.time) <= LONGEST_S
    }

    fn take(&mut self, moment: Moment) {
        self.latest = moment;
        self.lowest = self.lowest.min(moment.state);
        self.highest = self.highest.max(moment.state);
        self.state_sum += moment.state;
        let current_a = moment.current_a.abs();
        self.currents_a.push(current_a);
        if let Some(volts) = moment.motor_v.filter(|_| current_a > 0.0) {
            self.resistances_ohm.push(volts.abs() / current_a);
        }
    }

    fn lasts(&self, limits: &MotorLimits) -> bool {
        self.latest.time.since(self.first.time) >= limits.least_s
    }

    fn span(&self) -> Span {
        Span {
            start: self.first.time,
            end: self.latest.time,
        }
    }

    fn state(&self) -> f64 {
        self.state_sum / self.currents_a.len() as f64
    }
}

/// Takes a moment into a stretch or begins one where `fits`; yields the stretch that ended
/// and lasted.
fn follow(
    open: &mut Option<Stretch>,
    moment: Moment,
    fits: bool,
    limits: &MotorLimits,
) -> Option<Stretch> {
    if let Some(stretch) = open.as_mut().filter(|_| fits)
        && stretch.goes_on(&moment, limits)
    {
        stretch.take(moment);
        return None;
    }
    let ended = open.take().filter(|stretch| stretch.lasts(limits));
    *open = fits.then(|| Stretch::new(moment));
    ended
}

/// Watches current, command and state.
#[derive(Clone, Debug)]
struct CurrentWatch {
    current: Track,
    command: (Track, f64),
    state: (Track, f64),
    motor_voltage: Option<Track>,
    waiting: VecDeque<Time>,
    hold: Option<Stretch>,
    stall: Option<Stretch>,
    idle: (f64, f64),
}

/// Watches the motor.
#[derive(Clone, Debug)]
pub struct MotorWatch {
    limits: MotorLimits,
    currents: Option<CurrentWatch>,
    supply: Option<usize>,
    recent: VecDeque<(Time, f64)>,
    rated_a: Option<f64>,
    rated_ohm: Option<f64>,
    found: Motor,
}

impl MotorWatch {
    /// A watch for the channels of a map; what the map lacks is not watched.
    pub fn new(vehicle: &Vehicle, channels: &[ChannelSpec], limits: &MotorLimits) -> MotorWatch {
        let index = |name: &str| channels.iter().position(|channel| channel.name == name);
        let share = |name: &str| {
            let found = index(name)?;
            let full = full_scale(&channels[found], vehicle)?;
            Some((Track::new(found, &channels[found]), full))
        };
        let held = |name: &str| index(name).map(|found| Track::held(found, &channels[found]));
        let state = [
            name::CLUTCH_POSITION,
            name::CLUTCH_TORQUE,
            name::CLUTCH_PRESSURE,
            name::CLUTCH_FORCE,
        ]
        .into_iter()
        .filter(|name| index(name).is_some_and(|found| !follows_command(&channels[found])))
        .find_map(share);
        let currents = || {
            Some(CurrentWatch {
                current: held(name::MOTOR_CURRENT)?,
                command: share(name::CLUTCH_COMMAND)?,
                state: state?,
                motor_voltage: held(name::MOTOR_VOLTAGE),
                waiting: VecDeque::new(),
                hold: None,
                stall: None,
                idle: (0.0, 0.0),
            })
        };
        MotorWatch {
            limits: *limits,
            currents: currents(),
            supply: index(name::SUPPLY_VOLTAGE),
            recent: VecDeque::new(),
            rated_a: vehicle.motor_current_a.filter(|rated| *rated > 0.0),
            rated_ohm: vehicle.motor_resistance_ohm,
            found: Motor::default(),
        }
    }

    /// Takes a block.
    pub fn push(&mut self, block: &Block) {
        if let Some(supply) = self.supply {
            let samples = block.columns[supply].iter();
            self.recent
                .extend(samples.filter_map(|(time, volts)| Some((time, volts?))));
        }
        if let Some(watch) = &mut self.currents {
            let column = &block.columns[watch.current.channel];
            watch.waiting.extend(column.iter().map(|(time, _)| time));
            let own = [&mut watch.current, &mut watch.command.0, &mut watch.state.0];
            for track in own.into_iter().chain(watch.motor_voltage.as_mut()) {
                track.extend(&block.columns[track.channel], &block.cuts);
            }
        }
        self.finish_until(Some(block.until));
        // Where no current comes the rest is not read, and it would pile up.
        if let Some(watch) = &mut self.currents
            && watch.waiting.is_empty()
        {
            let (before, until) = (block.until.plus(-KEEPS_S), Some(block.until));
            let own = [&mut watch.current, &mut watch.command.0, &mut watch.state.0];
            for track in own.into_iter().chain(watch.motor_voltage.as_mut()) {
                track.at(before, until);
            }
        }
    }

    /// The log has ended.
    pub fn finish(&mut self) {
        self.finish_until(None);
        self.end_stretches();
    }

    /// An edge of the command whose surroundings are known.
    pub fn note_edge(&mut self, edge: &Edge) {
        if edge.direction != Direction::Engage {
            return;
        }
        let limits = &self.limits;
        let end = edge.began.plus(limits.supply_after_s);
        let within = |from: Time, to: Time| -> Vec<f64> {
            let samples = self.recent.iter();
            samples
                .filter(|(time, _)| from <= *time && *time < to)
                .map(|(_, volts)| *volts)
                .collect()
        };
        let before = within(edge.began.plus(-limits.supply_before_s), edge.began);
        let after = within(edge.began, end);
        let least = limits.least_supply_samples as usize;
        if after.len() < least || before.len() < least / 2 {
            return;
        }
        let Some(before) = spread(&before) else {
            return;
        };
        self.found.supply.push(Supply {
            span: Span {
                start: edge.began,
                end,
            },
            before_v: before.median,
            lowest_v: after.into_iter().fold(f64::INFINITY, f64::min),
        });
    }

    /// Forgets what no edge will ask for any more.
    pub fn forget(&mut self, until: Time) {
        let before = until.plus(-KEEPS_S);
        while self
            .recent
            .pop_front_if(|(time, _)| *time < before)
            .is_some()
        {}
    }

    /// What there is so far.
    pub fn outcome(&self) -> Motor {
        let mut settled = self.clone();
        settled.end_stretches();
        let (sum_a, n) = settled.currents.map_or((0.0, 0.0), |watch| watch.idle);
        Motor {
            idle_a: (n > 0.0).then(|| sum_a / n),
            ..settled.found
        }
    }

    fn finish_until(&mut self, until: Option<Time>) {
        while let Some(moment) = self
            .currents
            .as_mut()
            .and_then(|watch| watch.next_moment(until))
        {
            match moment {
                Ok(moment) => self.take(moment),
                Err(()) => self.end_stretches(),
            }
        }
    }

    fn take(&mut self, moment: Moment) {
        let limits = &self.limits;
        let Some(watch) = &mut self.currents else {
            return;
        };
        if moment.command < limits.open_below && moment.state < limits.open_below {
            watch.idle.0 += moment.current_a;
            watch.idle.1 += 1.0;
        }
        let is_held = moment.state >= limits.closed_from;
        let is_stalled = self
            .rated_a
            .is_some_and(|rated_a| moment.current_a.abs() >= limits.stalled_from * rated_a)
            && moment.command - moment.state >= limits.short_by;
        let ended = follow(&mut watch.hold, moment, is_held, limits);
        let stalled = follow(&mut watch.stall, moment, is_stalled, limits);
        self.keep_hold(ended);
        self.keep_stall(stalled);
    }

    fn end_stretches(&mut self) {
        let Some(watch) = &mut self.currents else {
            return;
        };
        let (hold, stall) = (watch.hold.take(), watch.stall.take());
        let limits = self.limits;
        self.keep_hold(hold.filter(|stretch| stretch.lasts(&limits)));
        self.keep_stall(stall.filter(|stretch| stretch.lasts(&limits)));
    }

    fn keep_hold(&mut self, ended: Option<Stretch>) {
        self.found.holds.extend(ended.and_then(|stretch| {
            Some(Hold {
                span: stretch.span(),
                current_a: spread(&stretch.currents_a)?.median,
                state: stretch.state(),
            })
        }));
    }

    fn keep_stall(&mut self, ended: Option<Stretch>) {
        let rated_ohm = self.rated_ohm;
        self.found.stalls.extend(ended.and_then(|stretch| {
            let resistance_ohm = spread(&stretch.resistances_ohm).map(|spread| spread.median);
            let winding_c = resistance_ohm
                .zip(rated_ohm)
                .and_then(|(ohm, rated)| winding_temperature(ohm, rated, COPPER_REFERENCE_C));
            Some(Stall {
                span: stretch.span(),
                current_a: spread(&stretch.currents_a)?.median,
                state: stretch.state(),
                resistance_ohm,
                winding_c,
            })
        }));
    }
}

impl CurrentWatch {
    /// The next time a current was sampled at, once all is known of it; `Err` where
    /// something is missing there.
    fn next_moment(&mut self, until: Option<Time>) -> Option<Result<Moment, ()>> {
        let time = *self.waiting.front()?;
        let answers = [
            self.current.at(time, until),
            self.command.0.at(time, until),
            self.state.0.at(time, until),
        ];
        let voltage = self
            .motor_voltage
            .as_mut()
            .map(|track| track.at(time, until));
        if answers.contains(&Answer::NotYet) || voltage == Some(Answer::NotYet) {
            return None;
        }
        self.waiting.pop_front();
        let [
            Answer::Value {
                value: current_a,
                run: first,
            },
            Answer::Value {
                value: command,
                run: second,
            },
            Answer::Value {
                value: state,
                run: third,
            },
        ] = answers
        else {
            return Some(Err(()));
        };
        Some(Ok(Moment {
            time,
            runs: (first, second, third),
            current_a,
            command: command / self.command.1,
            state: state / self.state.1,
            motor_v: voltage.and_then(Answer::value),
        }))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const NAMES: [&str; 5] = [
        "clutch.command",
        "clutch.position",
        "motor.current",
        "motor.voltage",
        "supply.voltage",
    ];

    fn watch() -> MotorWatch {
        let channels: Vec<ChannelSpec> = NAMES
            .iter()
            .map(|name| ChannelSpec {
                full_scale: Some(1.0),
                period_s: Some(0.02),
                ..ChannelSpec::new(name)
            })
            .collect();
        let vehicle = Vehicle {
            motor_current_a: Some(16.0),
            motor_resistance_ohm: Some(0.5),
            ..Vehicle::default()
        };
        MotorWatch::new(&vehicle, &channels, &MotorLimits::default())
    }

    fn edge(at_s: f64, direction: Direction) -> Edge {
        let time = Time::from_seconds(at_s);
        Edge {
            direction,
            began: time,
            half: time,
            ended: time,
            first_new: time,
            from: 0.0,
            to: 0.9,
            quickest: 0.9,
            run: 1,
        }
    }

    /// Values by time of all channels, every 20 ms for 10 s, in blocks of so many samples; an
    /// edge of closing at 4 s.
    fn motor(values: impl Fn(f64) -> [Option<f64>; 5], n_per_block: usize) -> Motor {
        let mut watch = watch();
        let times: Vec<f64> = (0..500).map(|index| f64::from(index) * 0.02).collect();
        for chunk in times.chunks(n_per_block) {
            let mut block = Block::new(NAMES.len());
            for &time in chunk {
                for (column, value) in block.columns.iter_mut().zip(values(time)) {
                    column.push(Time::from_seconds(time), value);
                }
                block.until = Time::from_seconds(time);
            }
            watch.push(&block);
        }
        watch.finish();
        watch.note_edge(&edge(4.0, Direction::Engage));
        watch.note_edge(&edge(6.0, Direction::Release));
        watch.outcome()
    }

    /// Asked for 0.9 from 4 to 6 s; closes in 0.2 s with 9 A and holds with 5 A; the sensor
    /// shows 0.4 A of nothing; the supply drops by 2 V for 0.2 s.
    fn sound(time: f64) -> [Option<f64>; 5] {
        let is_asked = (4.0..6.0).contains(&time);
        let position = match is_asked {
            true => (0.9 * (time - 4.0) / 0.2).min(0.9),
            false => 0.0,
        };
        let is_moving = is_asked && position < 0.9;
        let current = if is_moving { 9.0 } else { 5.0 * position / 0.9 };
        let supply = if is_moving { 11.8 } else { 13.8 };
        let command = if is_asked { 0.9 } else { 0.0 };
        [
            Some(command),
            Some(position),
            Some(current + 0.4),
            Some(12.0),
            Some(supply),
        ]
    }

    #[test]
    fn holds_and_drops() {
        let got = motor(sound, 1000);
        assert_eq!(got.holds.len(), 1, "{got:?}");
        assert!((got.holds[0].current_a - 5.4).abs() < 1e-9, "{got:?}");
        assert!((got.holds[0].state - 0.9).abs() < 0.01);
        assert!((got.idle_a.unwrap() - 0.4).abs() < 1e-9);
        assert_eq!(got.supply.len(), 1);
        assert!((got.supply[0].drop_v() - 2.0).abs() < 1e-9);
        assert_eq!(got.stalls, []);
    }

    #[test]
    fn blocks_may_be_cut_anywhere() {
        let whole = motor(sound, 1000);
        assert_eq!(motor(sound, 1), whole);
        assert_eq!(motor(sound, 7), whole);
    }

    #[test]
    fn a_gap_parts_a_hold_and_none_is_carried_over() {
        let broken = |time: f64| {
            let mut values = sound(time);
            if (4.6..4.9).contains(&time) {
                values[1] = None;
            }
            values
        };
        let spans: Vec<(f64, f64)> = motor(broken, 1000)
            .holds
            .iter()
            .map(|hold| (hold.span.start.seconds(), hold.span.end.seconds()))
            .collect();
        assert_eq!(spans.len(), 2, "{spans:?}");
        assert!(spans[0].1 < 4.6 && spans[1].0 >= 4.9, "{spans:?}");
    }

    #[test]
    fn a_stall_tells_the_winding() {
        // Sticks at 0.3 of the 0.9 asked, 18 A at 12 V.
        let stuck = |time: f64| {
            let mut values = sound(time);
            if values[0] > Some(0.0) {
                (values[1], values[2]) = (Some(0.3), Some(18.0));
            }
            values
        };
        let got = motor(stuck, 1000);
        assert_eq!(got.stalls.len(), 1, "{got:?}");
        // Derived: 12/18 = 0.6667 Ω; (0.6667/0.5 − 1)/0.00393 + 20 = 104.8 °C.
        let stall = got.stalls[0];
        assert!((stall.resistance_ohm.unwrap() - 0.6667).abs() < 1e-4);
        assert!((stall.winding_c.unwrap() - 104.8).abs() < 0.1);
        // The same current at the place asked for is a hold, and 12 A are no stall.
        let held = |time: f64| {
            let mut values = sound(time);
            values[2] = values[2].map(|current| current * 4.0);
            values
        };
        assert_eq!(motor(held, 1000).stalls, []);
        let weak = |time: f64| {
            let mut values = stuck(time);
            values[2] = values[2].map(|current| current.min(12.0));
            values
        };
        assert_eq!(motor(weak, 1000).stalls, []);
    }

    #[test]
    fn a_supply_sampled_slowly_tells_no_drop() {
        let slow = |time: f64| {
            let mut values = sound(time);
            if (time * 50.0).round() % 20.0 != 0.0 {
                values[4] = None;
            }
            values
        };
        assert_eq!(motor(slow, 1000).supply, []);
    }
}
