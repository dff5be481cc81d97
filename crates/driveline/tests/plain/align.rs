//! The aligner against every channel asked by itself at every time: all in one piece, nothing
//! carried along but what a wheel in doubt and a silent torque source remember. The arithmetic is
//! the same, so the samples are equal bit for bit.

use halfshaft_driveline::align::{Aligned, Aligner, PackTorque};
use halfshaft_model::{Behaviour, Beyond, ChannelSpec, Layout, Table, Time, TorqueSource, Vehicle};
use proptest::prelude::*;

use crate::chance::{Samples, blocks, cuts, ends, samples};
use crate::track::PlainTrack;

const NAMES: [&str; 9] = [
    "wheel.rear.left",
    "wheel.rear.right",
    "wheel.front.left",
    "wheel.front.right",
    "speed.vehicle",
    "yaw.rate",
    "brake",
    "clutch.command",
    "clutch.position",
];
const COMMAND: usize = 7;
const POSITION: usize = 8;
// Interpolated for itself, held where it corrects the torque.
const SECOND: usize = 5;

/// By the command, and by the position with a second channel, in this order in the map.
fn vehicle() -> Vehicle {
    let source = |channel: &str, second: Option<&str>, table: Option<Table>| TorqueSource::Table {
        channel: channel.to_owned(),
        second: second.map(str::to_owned),
        table: table.expect("the axes rise"),
        is_axle_bias: second.is_some(),
        relative_sd: 0.1,
    };
    let command = Table::one(vec![0.0, 60.0], vec![20.0, 900.0], Beyond::Hold);
    let position = Table::two(
        vec![0.0, 30.0, 70.0],
        vec![0.0, 50.0],
        vec![30.0, 400.0, 1100.0, 10.0, 300.0, 900.0],
        Beyond::Refuse,
    );
    Vehicle {
        layout: Some(Layout::ShaftToShaft),
        torque_sources: vec![
            source("clutch.command", None, command),
            source("clutch.position", Some("yaw.rate"), position),
        ],
        ..Vehicle::default()
    }
}

fn plain(channels: &[ChannelSpec], data: &[Samples], cuts: &[i64]) -> Vec<Aligned> {
    let vehicle = vehicle();
    let track = |index: usize, is_held: bool| {
        PlainTrack::new(&channels[index], is_held, &data[index], cuts)
    };
    let tracks: Vec<PlainTrack> = channels
        .iter()
        .enumerate()
        .map(|(index, spec)| track(index, spec.behaviour == Behaviour::Held))
        .collect();
    let second = track(SECOND, true);
    // Times of the right rear wheel; of the left one and the position where they are not known to
    // be slower; of the command, which steps.
    let is_slower = |index: usize| match (channels[index].period_s, channels[1].period_s) {
        (Some(period_s), Some(wheel_s)) => period_s > 0.9 * wheel_s,
        _ => false,
    };
    let mut times: Vec<i64> = data[1]
        .iter()
        .chain(&data[COMMAND])
        .map(|sample| sample.0)
        .collect();
    for index in [0, POSITION].into_iter().filter(|&index| !is_slower(index)) {
        times.extend(data[index].iter().map(|sample| sample.0));
    }
    // And wherever the torque begins or ends in between.
    let last = times.iter().copied().max().unwrap_or(-1);
    for source in [COMMAND, POSITION] {
        let edges =
            (0..tracks[source].samples.len()).filter(|&index| tracks[source].is_edge(index));
        times.extend(
            edges
                .map(|index| tracks[source].samples[index].time)
                .filter(|time| *time < last),
        );
    }
    times.sort_unstable();
    times.dedup();
    let mut spoke_last = [None; 2];
    let mut aligned = Vec::new();
    for time in times {
        let answer = |index: usize| tracks[index].at(time, i64::MAX);
        let value = |index: usize| answer(index).value();
        // What the mechanism reports first; a source silent for 5 s is not there.
        let mut sources = [(POSITION, 1), (COMMAND, 0)]
            .into_iter()
            .zip(&mut spoke_last);
        let source = sources
            .by_ref()
            .fold(None, |found, ((channel, rule), spoke)| {
                if value(channel).is_some() {
                    *spoke = Some(time);
                }
                let is_there = spoke.is_some_and(|last| time - last <= 5_000_000_000);
                found.or(is_there.then_some((channel, rule)))
            });
        let torque = source.and_then(|(channel, rule)| {
            let TorqueSource::Table { table, .. } = &vehicle.torque_sources[rule] else {
                return None;
            };
            let torque_nm = match channel {
                // Table of axle bias, of which a pack between the shafts carries half.
                POSITION => {
                    table.at(value(POSITION)?, Some(second.at(time, i64::MAX).value()?))? / 2.0
                }
                _ => table.at(value(COMMAND)?, None)?,
            };
            Some(PackTorque {
                torque_nm: torque_nm.max(0.0),
                run: answer(channel).run()?,
                is_held: channel == COMMAND,
                is_by_command: channel == COMMAND,
            })
        });
        let (Some(left), Some(right)) = (value(0), value(1)) else {
            continue;
        };
        let front = value(2).zip(value(3));
        aligned.push(Aligned {
            time: Time(time),
            left,
            right,
            wheel_runs: (answer(0).run().unwrap_or(0), answer(1).run().unwrap_or(0)),
            is_wheel_sample: tracks[1].has_sample_at(time),
            front,
            speed_m_per_s: value(4),
            yaw_rate: value(5),
            command: value(COMMAND).map(|command| command / 60.0),
            state: value(POSITION).map(|state| state / 70.0),
            torque,
            is_braking: value(6).is_some_and(|brake| brake > 0.5),
            is_controlled: false,
        });
    }
    aligned
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, failure_persistence: None, ..ProptestConfig::default() })]
    #[test]
    fn samples_are_what_every_channel_says_by_itself(
        data in prop::collection::vec(samples(160), NAMES.len()),
        stated in prop::collection::vec(prop::option::of(0.01..0.1_f64), NAMES.len()),
        cuts in cuts(),
        ends in ends(),
        late_ms in prop::collection::vec(0..60_i64, NAMES.len()),
    ) {
        let channels: Vec<ChannelSpec> = NAMES
            .iter()
            .zip(stated)
            .map(|(name, period_s)| ChannelSpec { period_s, ..ChannelSpec::new(name) })
            .collect();
        // What is late may stand before a cut that was read already: either, not both.
        let is_late = i64::from(cuts.is_empty());
        let late_ns: Vec<i64> = late_ms.iter().map(|late| is_late * late * 1_000_000).collect();
        let wanted = plain(&channels, &data, &cuts);
        let mut aligner = Aligner::new(&vehicle(), &channels);
        let mut got: Vec<Aligned> = Vec::new();
        for block in blocks(&data, &cuts, &ends, &late_ns) {
            aligner.push(&block, &mut |aligned| got.push(*aligned));
        }
        aligner.finish(&mut |aligned| got.push(*aligned));
        for (got, wanted) in got.iter().zip(&wanted) {
            prop_assert_eq!(got, wanted);
        }
        prop_assert_eq!(got.len(), wanted.len());
    }
}
