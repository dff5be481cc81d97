use super::*;
use crate::decode::Decoder;
use crate::map::*;
use halfshaft_model::{ChannelSpec, FrameFlags, Stamp, Toleranced};
use proptest::prelude::*;

/// An invented car on a winding road, and the map that fits it. Each test spoils one thing.
struct Drive {
    map: Map,
    seconds: u32,
    /// Changes the values before they are put into frames: time, channel, value.
    spoil: fn(f64, usize, f64) -> f64,
    /// Changes a frame's bytes: identifier, running number, bytes; false drops the frame.
    bytes: fn(u32, u32, &mut [u8; 8]) -> bool,
}

const NAMES: [&str; 10] = [
    "wheel.rear.left",
    "wheel.rear.right",
    "wheel.front.left",
    "wheel.front.right",
    "speed.vehicle",
    "yaw.rate",
    "steering.angle",
    "acceleration.lateral",
    "supply.voltage",
    "oil.temperature",
];
const RADIUS_M: f64 = 0.32;
const TRACK_M: f64 = 1.55;

/// SI per step and SI at zero of each channel's 16 bits.
fn scale(channel: usize) -> (f64, f64) {
    let km_h = 0.01 / 3.6;
    match channel {
        0..4 => (km_h / RADIUS_M, 0.0),
        4 => (km_h, 0.0),
        5 => (0.0005, -16.0),
        6 => (0.001, -32.0),
        7 => (0.001, -32.0),
        8 => (0.01, 0.0),
        _ => (0.01, -40.0),
    }
}

impl Drive {
    fn new() -> Drive {
        let frames =
            [(0x100, 0..4), (0x200, 4..8), (0x300, 8..10)].map(|(id, channels)| FrameSpec {
                id: FrameId::standard(id).unwrap(),
                ignored_id_bits: 0,
                bus: None,
                length: 8,
                period_s: Some(0.02),
                counter: None,
                checksum: None,
                signals: channels
                    .clone()
                    .map(|channel| signal(channel, channel - channels.start))
                    .collect(),
                line: id as usize,
            });
        let mut map = Map {
            channels: NAMES.iter().map(|name| ChannelSpec::new(name)).collect(),
            frames: frames.to_vec(),
            ..Map::default()
        };
        for (index, spec) in map.channels.iter_mut().enumerate() {
            spec.step = Some(scale(index).0);
        }
        map.vehicle.rolling_radius_m = Some(Toleranced::exact(RADIUS_M));
        map.vehicle.track_rear_m = Some(Toleranced::exact(TRACK_M));
        Drive {
            map,
            seconds: 60,
            spoil: |_, _, value| value,
            bytes: |_, _, _| true,
        }
    }

    fn value(t: f64, channel: usize) -> f64 {
        let speed = 18.0 + 6.0 * (t / 9.0).sin() + 0.05 * (t * 7.0).sin();
        let yaw = 0.15 * (t / 5.0).sin() + 0.002 * (t * 31.0).sin();
        let side = if channel % 2 == 1 { 0.5 } else { -0.5 };
        match channel {
            0..4 => {
                (speed + side * TRACK_M * yaw + 0.01 * (t * 40.0 + channel as f64).sin()) / RADIUS_M
            }
            4 => speed,
            5 => yaw,
            6 => 15.0 * yaw * 2.7 / speed,
            7 => yaw * speed,
            8 => 13.8 + 0.2 * (t / 3.0).sin(),
            _ => 60.0 + t / 20.0,
        }
    }

    fn survey(&self) -> SurveyReport {
        let mut decoder = Decoder::new(&self.map);
        let mut survey = Survey::new(&self.map);
        let (mut batch, mut block) = (Batch::default(), Block::default());
        let bus = batch.bus("can0");
        for n in 0..self.seconds * 50 {
            for (offset, (id, channels)) in [(0x100, 0..4), (0x200, 4..8), (0x300, 8..10)]
                .into_iter()
                .enumerate()
            {
                let t = f64::from(n) * 0.02 + offset as f64 * 0.001;
                let mut payload = [0u8; 8];
                for (place, channel) in channels.enumerate() {
                    let (step, zero) = scale(channel);
                    let value = (self.spoil)(t, channel, Drive::value(t, channel));
                    let raw = ((value - zero) / step).round().clamp(0.0, 65535.0) as u16;
                    payload[place * 2..place * 2 + 2].copy_from_slice(&raw.to_be_bytes());
                }
                if (self.bytes)(id, n, &mut payload) {
                    let id = FrameId::standard(id).unwrap();
                    batch.push_frame(
                        Stamp::from_seconds(t),
                        bus,
                        id,
                        FrameKind::Data,
                        FrameFlags::default(),
                        &payload,
                    );
                }
            }
            if n % 10 == 0 {
                let id = FrameId::standard(0x700 + n % 40).unwrap();
                let t = f64::from(n) * 0.02 + 0.005;
                batch.push_frame(
                    Stamp::from_seconds(t),
                    bus,
                    id,
                    FrameKind::Data,
                    FrameFlags::default(),
                    &[],
                );
            }
            if n % 100 == 99 {
                decoder.push(&batch, &mut block);
                survey.push(&batch, &block);
                batch.clear();
            }
        }
        decoder.push(&batch, &mut block);
        survey.push(&batch, &block);
        survey.finish();
        survey.report(&decoder.coverage())
    }

    /// The remarks are these and no others.
    #[track_caller]
    fn check(&self, want: &[(&str, &str)]) -> Vec<Remark> {
        let remarks = self.survey().remarks;
        let got: Vec<(&str, &str)> = remarks
            .iter()
            .map(|remark| (remark.kind.word(), remark.subject.as_str()))
            .collect();
        assert_eq!(got, want, "{remarks:#?}");
        remarks
    }
}

fn signal(channel: usize, place: usize) -> Signal {
    let (si_per_step, si_at_zero) = scale(channel);
    let run = |byte: usize| BitRun {
        byte: byte as u16,
        high: 7,
        low: 0,
    };
    Signal {
        channel,
        bits: BitField {
            runs: vec![run(place * 2), run(place * 2 + 1)],
        },
        number: Number::Unsigned,
        si_per_step,
        si_at_zero,
        absent: vec![CodeRange {
            first: 0xFFFF,
            last: 0xFFFF,
        }],
        broken: Vec::new(),
        believe: None,
        rate_under: None,
        on_pages: Vec::new(),
        valid_when: Vec::new(),
        line: 1,
    }
}

#[test]
fn a_sound_log_gets_no_remark_and_its_facts() {
    let drive = Drive::new();
    drive.check(&[]);
    let report = drive.survey();
    assert_eq!(
        (
            report.n_mapped,
            report.n_entries,
            report.n_unmapped,
            report.n_unmapped_ids
        ),
        (9000, 9300, 300, 4)
    );
    assert_eq!(report.unmapped.len(), 4);
    assert_eq!(report.unmapped[0].2, 75);
    let lines = report.lines();
    assert!(
        lines.contains(
            &"frame 0x100: seen 3000 times on can0, every 20.0 ms (map: 20.0 ms), 8 bytes"
                .to_owned()
        ),
        "{lines:#?}"
    );
    assert!(
        lines.contains(&"channel oil.temperature: 3000 samples, 60 to 63 degC".to_owned()),
        "{lines:#?}"
    );
    assert!(
        lines.contains(&"nothing looks wrong".to_owned()),
        "{lines:#?}"
    );
}

#[test]
fn a_log_of_another_car_says_never_seen() {
    let mut drive = Drive::new();
    drive.map.frames[2].id = FrameId::standard(0x301).unwrap();
    drive.check(&[
        ("never-seen", "frame 0x301"),
        ("never-seen", "oil.temperature"),
        ("never-seen", "supply.voltage"),
    ]);
}

#[test]
fn periods_lengths_counters_and_checksums() {
    let mut drive = Drive::new();
    drive.map.frames[0].period_s = Some(0.01);
    drive.map.frames[1].length = 6;
    let run = |byte, high| BitField {
        runs: vec![BitRun { byte, high, low: 0 }],
    };
    drive.map.frames[2].counter = Some(Counter {
        bits: run(6, 3),
        step: 1,
    });
    let checksum = Checksum {
        bits: run(7, 7),
        rule: ChecksumRule::Xor,
        first_byte: 0,
        last_byte: 6,
        start: None,
    };
    drive.map.frames[2].checksum = Some(checksum);
    drive.bytes = |id, n, bytes| {
        if id == 0x300 {
            bytes[6] = (n % 16) as u8;
            bytes[7] = bytes[..7].iter().fold(0, |sum, byte| sum ^ byte) ^ u8::from(n == 50);
        }
        id != 0x300 || n != 20
    };
    let remarks = drive.check(&[
        ("period-off", "frame 0x100"),
        ("other-length", "frame 0x200"),
        ("counter-skips", "frame 0x300"),
        ("checksum-fails", "frame 0x300"),
    ]);
    let found = remarks[0].numbers[0];
    assert_eq!(found.0, "found_s");
    assert!((found.1 - 0.02).abs() < 1e-6);
    // One frame was lost and one is not trusted: its place in the count is empty, too.
    assert_eq!(remarks[2].numbers, [("skips", 2.0), ("lost", 2.0)]);
    assert_eq!(remarks[3].numbers, [("n", 1.0), ("of", 2999.0)]);
}

#[test]
fn bytes_the_other_way_round_are_noticed() {
    let mut drive = Drive::new();
    drive.map.frames[0].signals[1].bits.runs.reverse();
    let remarks = drive.survey().remarks;
    let swapped: Vec<&Remark> = remarks
        .iter()
        .filter(|remark| remark.kind == Kind::ByteSwapped)
        .collect();
    assert_eq!(swapped.len(), 1, "{remarks:#?}");
    assert_eq!(swapped[0].subject, "wheel.rear.right");
    assert!(swapped[0].numbers[0].1 > 20.0);
}

#[test]
fn a_twelve_bit_signed_number_is_compared_both_ways() {
    // Low four bits of byte 0, then byte 1, as against byte 1, then the four bits.
    let spoil = |swap: bool| {
        let run = |byte, high| BitRun { byte, high, low: 0 };
        let mut runs = vec![run(0, 3), run(1, 7)];
        if swap {
            runs.reverse();
        }
        let mut signal = Signal {
            bits: BitField { runs },
            number: Number::Signed,
            ..signal(0, 0)
        };
        signal.absent.clear();
        let mut watch = RawWatch::new(&signal);
        for n in 0..1000 {
            let raw = (600.0 * (f64::from(n) / 100.0).sin()).round() as i16;
            let (payload, time) = (raw.to_be_bytes(), Time(i64::from(n) * 10_000_000));
            watch.add(&signal, &payload, time);
        }
        watch.order.unwrap().times_rougher(100)
    };
    // The right way round it does not run far enough to be the other.
    assert_eq!(spoil(false), None);
    let rougher = spoil(true).unwrap();
    assert!(rougher > 2.0 * limits::BYTES_ROUGHER, "{rougher}");
}

#[test]
fn a_voltage_that_trembles_about_a_full_byte_is_not_swapped() {
    // 12.80 V is 0x0500 at 10 mV: now and then the high byte is 4, which read the other way round
    // is a step of the whole range, and all else is smooth beside it.
    let mut watch = RawWatch::new(&signal(0, 0));
    for n in 0..4000_u32 {
        let raw = 0x0501_u16 + (n % 3) as u16 - if n % 400 < 20 { 3 } else { 0 };
        let time = Time(i64::from(n) * 10_000_000);
        watch.add(&signal(0, 0), &raw.to_be_bytes(), time);
    }
    assert_eq!(watch.order.unwrap().times_rougher(100), None);
}

#[test]
fn one_wheel_in_miles_and_all_wheels_in_miles() {
    let mut drive = Drive::new();
    drive.map.frames[0].signals[2].si_per_step *= 1.609_344;
    let remarks = drive.check(&[("wrongly-scaled", "wheel.front.left")]);
    assert!((remarks[0].numbers[0].1 - 1.609).abs() < 0.05);
    assert!(
        remarks[0].text.contains("miles and kilometres"),
        "{}",
        remarks[0].text
    );
    let mut drive = Drive::new();
    drive.map.frames[1].signals[0].si_per_step *= 3.6;
    drive.map.frames[1].signals[3].si_per_step *= 3.6;
    let remarks = drive.survey().remarks;
    assert_eq!(
        (remarks[0].kind, remarks[0].subject.as_str()),
        (Kind::WronglyScaled, "speed.vehicle")
    );
    assert!(
        remarks[0].text.contains("km/h and m/s"),
        "{}",
        remarks[0].text
    );
}

#[test]
fn a_yaw_rate_in_degrees_is_noticed() {
    let mut drive = Drive::new();
    let yaw = &mut drive.map.frames[1].signals[1];
    yaw.si_per_step *= 57.295_78;
    yaw.si_at_zero *= 57.295_78;
    let remarks = drive.check(&[
        ("wrongly-scaled", "acceleration.lateral"),
        ("wrongly-scaled", "yaw.rate"),
    ]);
    assert!((remarks[1].numbers[0].1 - 57.3).abs() < 3.0, "{remarks:#?}");
}

#[test]
fn a_wheel_that_stands_still_while_the_car_moves_is_stuck() {
    let mut drive = Drive::new();
    drive.spoil = |t, channel, value| {
        if channel == 3 && (20.0..26.0).contains(&t) {
            55.0
        } else {
            value
        }
    };
    let remarks = drive.check(&[("stuck", "wheel.front.right")]);
    assert!((remarks[0].numbers[1].1 - 6.0).abs() < 0.1);
    // A coarse speed on a steady road is not stuck.
    let mut drive = Drive::new();
    drive.spoil = |t, channel, value| {
        if channel < 5 {
            Drive::value(18.0 + t / 1000.0, channel)
        } else {
            value
        }
    };
    let kinds: Vec<Kind> = drive
        .survey()
        .remarks
        .iter()
        .map(|remark| remark.kind)
        .collect();
    assert!(!kinds.contains(&Kind::Stuck), "{kinds:?}");
}

#[test]
fn wheels_that_spin_and_a_car_that_slides_are_no_mistake_of_the_map() {
    // For two thirds of the drive the rear wheels spin on ice, now the one more, now the other, while
    // the road speed stands at a number and the driver steers against the slide.
    let mut drive = Drive::new();
    drive.spoil = |t, channel, value| {
        if t % 6.0 > 4.0 {
            return value;
        }
        let spun = 1.3 + 0.4 * (t * 1.3).sin();
        match channel {
            0 => value * spun,
            1 => value * (2.6 - spun),
            2..4 => 55.0 + 0.2 * (t * 3.0 + channel as f64).sin(),
            4 => 17.6,
            6 => -value,
            _ => value,
        }
    };
    drive.check(&[]);
}

#[test]
fn nothing_is_stuck_across_a_cut() {
    let mut motion = Motion::new(&Drive::new().map);
    let mut block = Block::new(NAMES.len());
    for (n, speed) in [(0, 10.0), (1, 20.0), (2, 10.0), (3, 20.0)] {
        let time = Time::from_seconds(f64::from(n));
        block.columns[0].push(time, Some(30.0));
        block.columns[4].push(time, Some(speed));
    }
    motion.add(&block, Parts::Whole);
    let mut cut = motion.clone();
    motion.finish(Parts::Whole);
    assert_eq!(motion.stuck[0].n, 1);
    // The same once more after a cut, and after a cut in the middle.
    cut.stuck[0] = motion::Stuck::default();
    let mut again = Block::new(NAMES.len());
    again.cuts = vec![Time::from_seconds(100.0), Time::from_seconds(101.5)];
    for n in 0..4 {
        again.columns[0].push(Time::from_seconds(100.0 + f64::from(n)), Some(30.0));
    }
    cut.add(&again, Parts::Whole);
    cut.finish(Parts::Whole);
    let (_, seconds, _) = cut.stuck[0].longest.unwrap();
    assert_eq!((cut.stuck[0].n, seconds), (1, 3.0));
}

#[test]
fn a_copy_on_another_bus_is_remarked_and_not_surveyed() {
    let drive = Drive::new();
    let mut decoder = Decoder::new(&drive.map);
    let mut survey = Survey::new(&drive.map);
    let (mut batch, mut block) = (Batch::default(), Block::default());
    let id = FrameId::standard(0x300).unwrap();
    for n in 0..200u8 {
        for name in ["can0", "can1"] {
            let bus = batch.bus(name);
            let time = Stamp(i64::from(n) * 20_000_000);
            // A smooth number on one bus, something else on the other.
            let payload = if name == "can0" {
                [5, n, 40, 0, 0, 0, 0, 0]
            } else {
                [n.wrapping_mul(37), n, 0, 0, 0, 0, 0, 0]
            };
            batch.push_frame(
                time,
                bus,
                id,
                FrameKind::Data,
                FrameFlags::default(),
                &payload,
            );
        }
    }
    decoder.push(&batch, &mut block);
    survey.push(&batch, &block);
    assert_eq!(survey.codes[8].n, 200);
    let remarks = survey.report(&decoder.coverage()).remarks;
    let kinds: Vec<Kind> = remarks.iter().map(|remark| remark.kind).collect();
    assert!(
        kinds.contains(&Kind::OnTwoBuses) && !kinds.contains(&Kind::ByteSwapped),
        "{remarks:#?}"
    );
}

#[test]
fn a_yaw_sensor_that_never_trembles_is_stuck() {
    let mut drive = Drive::new();
    drive.spoil = |_, channel, value| if channel == 5 { 0.0 } else { value };
    drive.check(&[("stuck", "yaw.rate")]);
}

#[test]
fn swapped_rear_wheels_are_noticed_by_yaw() {
    let mut drive = Drive::new();
    drive.spoil = |t, channel, value| {
        if channel < 2 {
            Drive::value(t, 1 - channel)
        } else {
            value
        }
    };
    let remarks = drive.check(&[("left-right-exchanged", "wheel.rear")]);
    assert!(remarks[0].numbers[0].1 < -0.9);
    // Slope is minus the track.
    assert!((remarks[0].numbers[1].1 + TRACK_M).abs() < 0.1);
}

#[test]
fn a_reversed_yaw_rate_differs_from_swapped_wheels() {
    let mut drive = Drive::new();
    drive.spoil = |_, channel, value| if channel == 5 { -value } else { value };
    drive.check(&[("sign-reversed", "yaw.rate")]);
    let mut drive = Drive::new();
    drive.spoil = |_, channel, value| if channel == 6 { -value } else { value };
    drive.check(&[("sign-reversed", "steering.angle")]);
}

#[test]
fn two_channels_with_one_source_are_noticed() {
    let mut drive = Drive::new();
    drive.map.frames[0].signals[3].bits = drive.map.frames[0].signals[2].bits.clone();
    let remarks = drive.survey().remarks;
    assert_eq!(
        (remarks[0].kind, remarks[0].subject.as_str()),
        (Kind::SameSignal, "wheel.front.right")
    );
}

#[test]
fn odd_voltages_and_jumping_temperatures() {
    let mut drive = Drive::new();
    drive.spoil = |_, channel, value| if channel == 8 { value * 2.0 } else { value };
    let remarks = drive.check(&[("voltage-odd", "supply.voltage")]);
    assert_eq!(remarks[0].numbers[0], ("share", 1.0));
    let mut drive = Drive::new();
    drive.spoil = |t, channel, value| {
        if channel == 9 && t > 30.0 && t < 30.1 {
            215.0
        } else {
            value
        }
    };
    let remarks = drive.check(&[("temperature-jumps", "oil.temperature")]);
    assert_eq!(remarks[0].numbers[0], ("n", 2.0));
}

#[test]
fn values_beyond_belief_put_the_map_in_doubt() {
    let mut drive = Drive::new();
    drive.map.frames[2].signals[1].believe = Some((0.0, 62.0));
    let remarks = drive.check(&[("beyond-belief", "oil.temperature")]);
    // 60 + t/20 passes 62 at 40 of 60 s.
    assert!((remarks[0].numbers[0].1 - 1.0 / 3.0).abs() < 0.01);
}

#[test]
fn an_empty_log_gives_a_report_without_numbers_made_up() {
    let mut drive = Drive::new();
    drive.seconds = 0;
    let report = drive.survey();
    assert!(
        report
            .remarks
            .iter()
            .all(|remark| remark.kind == Kind::NeverSeen)
    );
    assert!(
        report
            .channels
            .iter()
            .all(|channel| channel.range.is_none())
    );
    assert_eq!(report.remarks.len(), 13);
}

proptest! {
    #[test]
    fn noise_gets_remarks_and_no_panic(
        frames in prop::collection::vec((any::<i64>(), 0..3u32, prop::collection::vec(any::<u8>(), 0..12)), 0..200),
    ) {
        let mut map = Drive::new().map;
        map.vehicle.rolling_radius_m = None;
        map.frames[2].signals[1].channel = 9999;
        map.channels.truncate(9);
        let mut decoder = Decoder::new(&map);
        let mut survey = Survey::new(&map);
        let (mut batch, mut block) = (Batch::default(), Block::default());
        let mut stamp = 0i64;
        for (step, number, payload) in frames {
            let bus = batch.bus("can0");
            stamp = if step % 50 == 0 { step } else { stamp.saturating_add(step % 100_000_000) };
            let id = FrameId::standard((number + 1) * 0x100).unwrap();
            batch.push_frame(Stamp(stamp), bus, id, FrameKind::Data, FrameFlags::default(), &payload);
            if batch.entries.len() > 20 {
                decoder.push(&batch, &mut block);
                survey.push(&batch, &block);
                batch.clear();
            }
        }
        survey.finish();
        let report = survey.report(&decoder.coverage());
        for remark in &report.remarks {
            prop_assert!(remark.numbers.iter().all(|(_, number)| number.is_finite()), "{remark}");
        }
        prop_assert!(report.lines().iter().all(|line| !line.contains("NaN")));
    }
}
