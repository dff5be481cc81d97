//! Brings the channels to common times: where wheels and torque meet.
//!
//! In: blocks of columns at native rates. Out: [`Aligned`] samples at the times of the rear
//! wheels, and of the torque's channel where that is the faster one, so that the product
//! of torque and slip is summed at the rate of the faster. Measured channels are interpolated,
//! commands held, gaps left open. This module derives nothing but the pack torque.

use std::collections::VecDeque;

use halfshaft_model::channel::name;
use halfshaft_model::constants::NS_PER_S;
use halfshaft_model::{Behaviour, Block, ChannelSpec, Meaning, Time, TorqueSource, Vehicle};

use crate::derive::clutch_torque::{pack_capacity, uniform_pressure_radius};
use crate::track::{Answer, Track};

/// A torque source that has been silent for longer than this is given up for the next
/// one, ns: 5 s. Source: none, engineering guess.
const SOURCE_SILENT_NS: i64 = 5 * NS_PER_S;

/// Torque of one pack at a time, and where it came from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PackTorque {
    /// What one pack can carry, N·m.
    pub torque_nm: f64,
    /// Number of the unbroken run it belongs to.
    pub run: u32,
    /// It lasts until the next sample instead of being interpolated.
    pub is_held: bool,
    /// It comes from what was asked, not from what the mechanism reports.
    pub is_by_command: bool,
}

/// All channels at one time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Aligned {
    /// The time.
    pub time: Time,
    /// Rear wheels, rad/s.
    pub left: f64,
    /// Rear wheels, rad/s.
    pub right: f64,
    /// Runs of the left and right wheel signal: equal numbers mean that nothing is missing
    /// between.
    pub wheel_runs: (u32, u32),
    /// The right rear wheel was sampled at this very time, so noise is fresh here.
    pub is_wheel_sample: bool,
    /// Front wheels, left and right, rad/s.
    pub front: Option<(f64, f64)>,
    /// Speed of the car from its own channel, m/s.
    pub speed_m_per_s: Option<f64>,
    /// Yaw rate as measured, rad/s.
    pub yaw_rate: Option<f64>,
    /// Engagement command, 0 to 1.
    pub command: Option<f64>,
    /// Engagement state, 0 to 1.
    pub state: Option<f64>,
    /// Torque of one pack.
    pub torque: Option<PackTorque>,
    /// Brake applied.
    pub is_braking: bool,
    /// Anti-lock, traction or stability control at work.
    pub is_controlled: bool,
}

/// Index of a track among those of the aligner: what two need is looked up once.
type TrackIndex = usize;

/// How to read a torque source of the map.
#[derive(Clone, Debug)]
struct Source {
    track: TrackIndex,
    second: Option<TrackIndex>,
    spoke_last: Option<Time>,
    is_by_command: bool,
    rule: TorqueSource,
}

/// Channel and what counts as full.
#[derive(Clone, Copy, Debug)]
struct Normalised {
    track: TrackIndex,
    full_scale: f64,
}

/// Aligns blocks.
#[derive(Clone, Debug)]
pub struct Aligner {
    tracks: Vec<Track>,
    // What each of them gives at the time that is being aligned.
    answers: Vec<Answer>,
    left: Option<TrackIndex>,
    right: Option<TrackIndex>,
    front_left: Option<TrackIndex>,
    front_right: Option<TrackIndex>,
    speed: Option<TrackIndex>,
    yaw: Option<TrackIndex>,
    brake: Option<TrackIndex>,
    anti_lock: Option<TrackIndex>,
    stability: Option<TrackIndex>,
    command: Option<Normalised>,
    state: Option<Normalised>,
    sources: Vec<Source>,
    clamp_nm_per_n: Option<f64>,
    bias_factor: f64,
    preload_nm: f64,
    // Channels at whose times samples are aligned.
    grid: Vec<usize>,
    pending: VecDeque<Time>,
    // The latest time aligned.
    reached: Time,
}

/// Whether a channel says what was asked of the clutch, or is worked out from that alone.
pub fn follows_command(spec: &ChannelSpec) -> bool {
    spec.name == name::CLUTCH_COMMAND || spec.follows_command
}

/// What counts as full for a clutch channel, SI; `None` when nothing says.
///
/// The map's `full at`, else the end of a torque table entered with the channel, else 1
/// for a channel that is a share of full.
pub fn full_scale(spec: &ChannelSpec, vehicle: &Vehicle) -> Option<f64> {
    let from_table = vehicle
        .torque_sources
        .iter()
        .find_map(|source| match source {
            TorqueSource::Table { channel, table, .. } if *channel == spec.name => {
                Some(table.x_range().1)
            }
            _ => None,
        });
    let share = (spec.meaning == Some(Meaning::Percent)).then_some(1.0);
    spec.full_scale
        .or(share)
        .or(from_table)
        .filter(|full| *full > 0.0)
}

/// The channel that says what the mechanism does: the first of these that does not follow from
/// the command and whose full value is known.
pub fn state_channel(vehicle: &Vehicle, channels: &[ChannelSpec]) -> Option<usize> {
    let of_mechanism = [
        name::CLUTCH_POSITION,
        name::CLUTCH_PRESSURE,
        name::CLUTCH_FORCE,
        name::CLUTCH_TORQUE,
    ];
    of_mechanism.into_iter().find_map(|name| {
        let found = channels.iter().position(|channel| channel.name == name)?;
        let is_state =
            !follows_command(&channels[found]) && full_scale(&channels[found], vehicle).is_some();
        is_state.then_some(found)
    })
}

/// Channels at whose times samples are aligned: a rear wheel, what is faster than it (a
/// channel whose period the map does not state may be), and what steps instead of moving,
/// since a step must be met where it is.
fn grid(vehicle: &Vehicle, channels: &[ChannelSpec]) -> Vec<usize> {
    let index = |name: &str| channels.iter().position(|channel| channel.name == name);
    let period = |channel: &usize| channels[*channel].period_s;
    let mut grid: Vec<usize> = index(name::WHEEL_REAR_RIGHT).into_iter().collect();
    let wheel_s = grid.first().and_then(period);
    let others = vehicle.torque_sources.iter().map(TorqueSource::channel);
    for channel in std::iter::once(name::WHEEL_REAR_LEFT)
        .chain(others)
        .filter_map(index)
    {
        let is_slower = match (period(&channel), wheel_s) {
            (Some(period), Some(wheel)) => {
                channels[channel].behaviour == Behaviour::Continuous && period > 0.9 * wheel
            }
            _ => false,
        };
        if !is_slower && !grid.contains(&channel) {
            grid.push(channel);
        }
    }
    grid
}

impl Aligner {
    /// An aligner for the channels of a map.
    pub fn new(vehicle: &Vehicle, channels: &[ChannelSpec]) -> Aligner {
        let index = |name: &str| channels.iter().position(|channel| channel.name == name);
        let mut tracks: Vec<Track> = Vec::new();
        let mut place = |track: Track| {
            let is_same = |other: &Track| {
                (other.channel, other.is_held()) == (track.channel, track.is_held())
            };
            tracks.iter().position(is_same).unwrap_or_else(|| {
                tracks.push(track);
                tracks.len() - 1
            })
        };
        let mut track = |name: &str| {
            let found = index(name)?;
            Some(place(Track::new(found, &channels[found])))
        };
        let [left, right] = [name::WHEEL_REAR_LEFT, name::WHEEL_REAR_RIGHT].map(&mut track);
        let [front_left, front_right] =
            [name::WHEEL_FRONT_LEFT, name::WHEEL_FRONT_RIGHT].map(&mut track);
        let [speed, yaw, brake] =
            [name::SPEED_VEHICLE, name::YAW_RATE, name::BRAKE].map(&mut track);
        let [anti_lock, stability] = [name::ABS_ACTIVE, name::STABILITY_ACTIVE].map(&mut track);
        let mut normalised = |name: &str| {
            let full_scale = full_scale(&channels[index(name)?], vehicle)?;
            Some(Normalised {
                track: track(name)?,
                full_scale,
            })
        };
        let command = normalised(name::CLUTCH_COMMAND);
        let state =
            state_channel(vehicle, channels).and_then(|found| normalised(&channels[found].name));
        let mut sources: Vec<Source> = vehicle
            .torque_sources
            .iter()
            .filter_map(|rule| {
                let second = match rule {
                    TorqueSource::Table {
                        second: Some(name), ..
                    } => Some(place(Track::held(index(name)?, &channels[index(name)?]))),
                    _ => None,
                };
                let found = index(rule.channel())?;
                Some(Source {
                    track: place(Track::new(found, &channels[found])),
                    second,
                    spoke_last: None,
                    is_by_command: follows_command(&channels[found]),
                    rule: rule.clone(),
                })
            })
            .collect();
        // What the mechanism reports goes before what was asked of it, whatever the map's order.
        sources.sort_by_key(|source| source.is_by_command);
        let clamp_nm_per_n = vehicle.pack.and_then(|pack| {
            let radius = uniform_pressure_radius(pack.outer_radius_m, pack.inner_radius_m);
            Some(pack_capacity(
                pack.friction?.value,
                1.0,
                f64::from(pack.n_faces),
                radius,
            ))
        });
        Aligner {
            answers: vec![Answer::Missing; tracks.len()],
            tracks,
            left,
            right,
            front_left,
            front_right,
            speed,
            yaw,
            brake,
            anti_lock,
            stability,
            command,
            state,
            sources,
            clamp_nm_per_n,
            bias_factor: vehicle
                .layout
                .and_then(|layout| layout.bias_factor())
                .unwrap_or(1.0),
            preload_nm: vehicle.preload_nm.map_or(0.0, |preload| preload.value),
            grid: grid(vehicle, channels),
            pending: VecDeque::new(),
            reached: Time(-1),
        }
    }

    /// Takes a block and shows what can be aligned by now.
    pub fn push(&mut self, block: &Block, show: &mut impl FnMut(&Aligned)) {
        let mut times: Vec<Time> = self.pending.drain(..).collect();
        let known = times.len();
        for &channel in &self.grid {
            times.extend(block.columns[channel].iter().map(|(time, _)| time));
        }
        if times.len() > known {
            times.sort();
            times.dedup();
        }
        self.pending = times.into();
        for track in &mut self.tracks {
            track.extend(&block.columns[track.channel], &block.cuts);
        }
        self.drain(Some(block.until), show);
    }

    /// The log has ended: aligns what is left.
    pub fn finish(&mut self, show: &mut impl FnMut(&Aligned)) {
        self.drain(None, show);
    }

    fn drain(&mut self, until: Option<Time>, show: &mut impl FnMut(&Aligned)) {
        while let Some(&next) = self.pending.front() {
            let time = self.edge_before(next, until).unwrap_or(next);
            if time < next {
                self.pending.push_front(time);
            }
            match self.align(time, until) {
                Ok(Some(aligned)) => show(&aligned),
                Ok(None) => {}
                Err(NotYet) => {
                    // A late sample of another channel, or the end of a torque's run, may yet
                    // make a time before this one.
                    for track in &mut self.tracks {
                        track.go_back_to(self.reached);
                    }
                    return;
                }
            }
            self.reached = time;
            self.pending.pop_front();
        }
    }

    /// Where the torque begins or ends between the last sample and `next`.
    fn edge_before(&self, next: Time, until: Option<Time>) -> Option<Time> {
        self.sources
            .iter()
            .filter_map(|source| self.tracks[source.track].edge_between(self.reached, next, until))
            .min()
    }

    /// The sample at `time`; `Ok(None)` where a rear wheel is missing.
    fn align(&mut self, time: Time, until: Option<Time>) -> Result<Option<Aligned>, NotYet> {
        for (track, answer) in self.tracks.iter_mut().zip(&mut self.answers) {
            *answer = track.at(time, until);
            if *answer == Answer::NotYet {
                return Err(NotYet);
            }
        }
        let torque = self.torque(time);
        let answers = &self.answers;
        let answer =
            |track: Option<TrackIndex>| track.map_or(Answer::Missing, |place| answers[place]);
        let value = |track: Option<TrackIndex>| answer(track).value();
        let (left, right) = (answer(self.left), answer(self.right));
        let front = value(self.front_left).zip(value(self.front_right));
        let speed = value(self.speed);
        let share = |channel: Option<Normalised>| {
            let Normalised { track, full_scale } = channel?;
            Some(value(Some(track))? / full_scale)
        };
        let (command, state) = (share(self.command), share(self.state));
        let is_on = |track: Option<TrackIndex>| value(track).is_some_and(|number| number > 0.5);
        let is_braking = is_on(self.brake);
        let is_controlled = is_on(self.anti_lock) || is_on(self.stability);
        let yaw_rate = value(self.yaw);
        let (
            Answer::Value {
                value: left,
                run: left_run,
            },
            Answer::Value {
                value: right,
                run: right_run,
            },
        ) = (left, right)
        else {
            return Ok(None);
        };
        Ok(Some(Aligned {
            time,
            left,
            right,
            wheel_runs: (left_run, right_run),
            is_wheel_sample: self
                .right
                .is_some_and(|right| self.tracks[right].has_sample_at(time)),
            front,
            speed_m_per_s: speed,
            yaw_rate,
            command,
            state,
            torque,
            is_braking,
            is_controlled,
        }))
    }

    /// Torque by the answers at `time`.
    fn torque(&mut self, time: Time) -> Option<PackTorque> {
        let mut answer = None;
        let mut is_decided = false;
        for source in &mut self.sources {
            let value = self.answers[source.track];
            let second = source.second.map(|place| self.answers[place].value());
            if value.value().is_some() {
                source.spoke_last = Some(time);
            }
            // A gap of a source is a gap; a source that has been silent for long is not there.
            let is_there = source
                .spoke_last
                .is_some_and(|last| time.0 - last.0 <= SOURCE_SILENT_NS);
            if is_decided || !is_there {
                continue;
            }
            is_decided = true;
            answer = value.value().zip(value.run()).and_then(|(input, run)| {
                let torque_nm = match &source.rule {
                    TorqueSource::Table {
                        table,
                        is_axle_bias,
                        ..
                    } => {
                        let second = match second {
                            Some(second) => Some(second?),
                            None => None,
                        };
                        table.at(input, second)?
                            / if *is_axle_bias { self.bias_factor } else { 1.0 }
                    }
                    // A bias has the sign of the side it is pushed to; a pack torque has none,
                    // and what is reported below 0 is noise.
                    TorqueSource::Reported {
                        is_axle_bias: true, ..
                    } => input.abs() / self.bias_factor,
                    TorqueSource::Reported { .. } => input,
                    // The force of the actuator adds to that of the preload springs.
                    TorqueSource::Clamp { .. } => {
                        input.max(0.0) * self.clamp_nm_per_n? + self.preload_nm
                    }
                };
                let (is_held, is_by_command) =
                    (self.tracks[source.track].is_held(), source.is_by_command);
                Some(PackTorque {
                    torque_nm: torque_nm.max(0.0),
                    run,
                    is_held,
                    is_by_command,
                })
            });
        }
        if self.sources.is_empty() && self.preload_nm > 0.0 {
            // No source at all: the preload is what the pack carries at the least.
            answer = Some(PackTorque {
                torque_nm: self.preload_nm,
                run: 0,
                is_held: false,
                is_by_command: false,
            });
        }
        answer
    }
}

/// A sample that decides may still come.
struct NotYet;

#[cfg(test)]
mod tests {
    use super::*;
    use halfshaft_model::{Beyond, Layout, Table};

    fn column(block: &mut Block, channel: usize, samples: &[(f64, f64)]) {
        for &(time, value) in samples {
            block.columns[channel].push(Time::from_seconds(time), Some(value));
        }
    }

    fn vehicle() -> Vehicle {
        Vehicle {
            layout: Some(Layout::CaseToOneSide),
            torque_sources: vec![TorqueSource::Table {
                channel: "clutch.position".to_owned(),
                second: None,
                table: Table::one(vec![0.0, 10.0], vec![0.0, 1000.0], Beyond::Hold).unwrap(),
                is_axle_bias: false,
                relative_sd: 0.1,
            }],
            ..Vehicle::default()
        }
    }

    /// Wheels every 100 ms, the position every 50 ms: it is the faster one.
    fn channels() -> Vec<ChannelSpec> {
        [
            ("wheel.rear.left", 0.1),
            ("wheel.rear.right", 0.1),
            ("clutch.position", 0.05),
        ]
        .iter()
        .map(|(name, period_s)| ChannelSpec {
            period_s: Some(*period_s),
            ..ChannelSpec::new(name)
        })
        .collect()
    }

    #[test]
    fn torque_and_wheels_meet_at_the_times_of_both() {
        let mut aligner = Aligner::new(&vehicle(), &channels());
        let mut block = Block::new(3);
        column(&mut block, 0, &[(0.0, 10.0), (0.1, 10.0)]);
        column(&mut block, 1, &[(0.0, 10.0), (0.1, 12.0)]);
        column(&mut block, 2, &[(0.0, 0.0), (0.05, 1.0), (0.15, 3.0)]);
        block.until = Time::from_seconds(0.15);
        let mut out = Vec::new();
        aligner.push(&block, &mut |row| out.push(*row));
        aligner.finish(&mut |row| out.push(*row));
        let seen: Vec<_> = out
            .iter()
            .map(|row| {
                (
                    row.time.seconds(),
                    row.right,
                    row.torque.map(|torque| torque.torque_nm.round()),
                )
            })
            .collect();
        assert_eq!(
            seen,
            [
                (0.0, 10.0, Some(0.0)),
                (0.05, 11.0, Some(100.0)),
                (0.1, 12.0, Some(200.0))
            ]
        );
    }

    #[test]
    fn a_late_wheel_sample_is_aligned_though_a_later_time_was_tried_before() {
        let mut aligner = Aligner::new(&vehicle(), &channels());
        let mut out = Vec::new();
        let mut push = |samples: [&[(f64, f64)]; 3], until_s: f64| {
            let mut block = Block::new(3);
            for (channel, samples) in samples.into_iter().enumerate() {
                column(&mut block, channel, samples);
            }
            block.until = Time::from_seconds(until_s);
            aligner.push(&block, &mut |row| out.push(row.time.seconds()));
        };
        let left = [(0.0, 10.0), (0.1, 10.0), (0.115, 10.0), (0.15, 10.0)];
        push([&left, &[(0.0, 10.0)], &[(0.0, 1.0), (0.12, 1.0)]], 0.15);
        // Sampled before 0.12 s, where the position was, and read behind it.
        push(
            [&[(0.2, 10.0)], &[(0.11, 10.0), (0.2, 10.0)], &[(0.2, 1.0)]],
            0.2,
        );
        push([&[(0.3, 10.0)], &[(0.3, 10.0)], &[(0.3, 1.0)]], 0.3);
        assert_eq!(out, [0.0, 0.11, 0.12, 0.2]);
    }

    #[test]
    fn blocks_may_be_cut_anywhere() {
        let samples: Vec<(f64, f64)> = (0..200)
            .map(|index| (f64::from(index) * 0.013, f64::from(index % 17)))
            .collect();
        let run = |n_per_block: usize| {
            let mut aligner = Aligner::new(&vehicle(), &channels());
            let mut out = Vec::new();
            for chunk in samples.chunks(n_per_block) {
                let mut block = Block::new(3);
                for &(time, value) in chunk {
                    column(&mut block, 0, &[(time, value)]);
                    column(&mut block, 1, &[(time + 0.002, value)]);
                    column(&mut block, 2, &[(time + 0.001, value)]);
                    block.until = Time::from_seconds(time + 0.002);
                }
                aligner.push(&block, &mut |row| out.push(*row));
            }
            aligner.finish(&mut |row| out.push(*row));
            out
        };
        assert_eq!(run(1), run(200));
        assert!(run(7).len() > 390);
    }
}
