//! What maps mean, in numbers: the checked values against sums done by hand.

#![expect(
    clippy::unwrap_used,
    reason = "a map that is not sound here has failed the test"
)]

use halfshaft_model::channel::{Behaviour, Meaning, Site};
use halfshaft_model::sheet::{Base, ColumnRef, SheetContent, TimeKind};
use halfshaft_model::{Dimension, Layout, TorqueSource};
use halfshaft_signal_map::map::{BitRun, ChecksumRule, CodeRange, Comparison, Formula, Number};
use halfshaft_signal_map::{Map, MistakeCode, parse};

#[track_caller]
fn map(text: &str) -> Map {
    parse("x.map", text)
        .unwrap_or_else(|mistakes| panic!("\n{}", mistakes.render(false)))
        .map
}

#[track_caller]
fn near(got: f64, wanted: f64) {
    assert!(
        (got - wanted).abs() <= 1e-9 * wanted.abs().max(1e-3),
        "{got}, not {wanted}"
    );
}

/// The codes of the mistakes of a text.
fn codes(text: &str) -> Vec<MistakeCode> {
    parse("x.map", text).map_or_else(
        |mistakes| mistakes.iter().map(|mistake| mistake.code).collect(),
        |_| Vec::new(),
    )
}

const LARKSPUR: &str = include_str!("../../../signal-maps/larkspur-40.map");
const BRACKENFORD: &str = include_str!("../../../signal-maps/brackenford-hx.map");

#[test]
fn a_road_speed_is_divided_by_the_rolling_radius() {
    let map = map(LARKSPUR);
    let signal = &map.frames[0].signals[0];
    // 0.01 km/h a step over 3.6 and 0.32 m; raw 0 is −100 km/h.
    near(signal.si_per_step, 0.01 / 3.6 / 0.32);
    near(signal.si_at_zero, -100.0 / 3.6 / 0.32);
    let believe = signal.believe.unwrap();
    near(believe.0, 0.0);
    near(believe.1, 320.0 / 3.6 / 0.32);
    let spec = &map.channels[signal.channel];
    assert!(spec.through_radius && !spec.tyre_corrected);
    assert_eq!(spec.dimension, Dimension::ANGULAR_SPEED);
    near(spec.believable_from_m_per_s.unwrap(), 2.0 / 3.6);
    assert_eq!(
        (spec.period_s, spec.step),
        (Some(0.01), Some(signal.si_per_step))
    );
    assert_eq!(
        signal.absent,
        [CodeRange {
            first: 0xFFFF,
            last: 0xFFFF
        }]
    );
    // `same as` takes all of it over.
    let right = &map.frames[0].signals[1];
    assert_eq!(
        (right.si_per_step, right.si_at_zero, right.believe),
        (signal.si_per_step, signal.si_at_zero, signal.believe)
    );
    assert_eq!(
        (&right.absent, &right.broken),
        (&signal.absent, &signal.broken)
    );
    assert_eq!(
        map.channels[right.channel].believable_from_m_per_s,
        spec.believable_from_m_per_s
    );
}

#[test]
fn byte_order_is_as_written() {
    let map = map(LARKSPUR);
    let whole = |byte| BitRun {
        byte,
        high: 7,
        low: 0,
    };
    assert_eq!(map.frames[0].signals[0].bits.runs, [whole(0), whole(1)]);
    let command = map.channel("clutch.command").unwrap();
    let signal = map.frames[2]
        .signals
        .iter()
        .find(|signal| signal.channel == command)
        .unwrap();
    assert_eq!(signal.bits.runs, [whole(2), whole(1)]);
    let checksum = map.frames[0].checksum.clone().unwrap();
    assert_eq!(
        (
            checksum.rule,
            checksum.first_byte,
            checksum.last_byte,
            checksum.start
        ),
        (ChecksumRule::Xor, 0, 5, Some(0x5A))
    );
    assert_eq!(map.frames[0].counter.clone().unwrap().step, 1);
}

#[test]
fn pages_become_conditions_and_have_their_own_period() {
    let map = map(BRACKENFORD);
    let frame = &map.frames[0];
    // Bits 28 to 26 and 7 to 0 of 0x18F00510 are ignored: 0x00F00500 is left.
    assert_eq!(
        (
            frame.id.number(),
            frame.id.is_extended(),
            frame.ignored_id_bits
        ),
        (0x00F0_0500, true, 0x1C00_00FF)
    );
    let command = &frame.signals[0];
    assert_eq!(command.on_pages.len(), 2);
    assert_eq!(
        command.on_pages[0].bits.runs,
        [BitRun {
            byte: 0,
            high: 7,
            low: 6
        }]
    );
    assert_eq!(
        command.on_pages[1].codes,
        [
            CodeRange { first: 0, last: 0 },
            CodeRange { first: 2, last: 2 }
        ]
    );
    assert_eq!(
        command.valid_when[0].bits.runs,
        [BitRun {
            byte: 2,
            high: 7,
            low: 7
        }]
    );
    assert_eq!(frame.signals[1].number, Number::Float);
    let motor = &frame.signals[2];
    assert_eq!(
        (motor.number, motor.on_pages[0].codes[0]),
        (Number::SignMagnitude, CodeRange { first: 2, last: 3 })
    );
    near(motor.si_per_step, 0.01);
    near(motor.rate_under.unwrap(), 400.0);
    assert_eq!(map.channels[motor.channel].period_s, None);
}

#[test]
fn temperatures_know_readings_from_differences() {
    let text = |unit: &str, rest: &str| {
        format!(
            "frame 0x100\n  oil.temperature in byte 0\n    step 1 {unit}\n    changes at most 9 {unit} per min\n{rest}"
        )
    };
    let fahrenheit = map(&text("degF", "    zero at -40 degF\n"));
    let signal = &fahrenheit.frames[0].signals[0];
    near(signal.si_per_step, 5.0 / 9.0);
    // −40 is the same on both scales.
    near(signal.si_at_zero, -40.0);
    near(signal.rate_under.unwrap(), 5.0 / 60.0);
    // Without a zero line, raw 0 is 0 K.
    near(map(&text("K", "")).frames[0].signals[0].si_at_zero, -273.15);
}

#[test]
fn what_clutch_numbers_mean() {
    let map = map(LARKSPUR);
    let spec = |name: &str| &map.channels[map.channel(name).unwrap()];
    assert_eq!(spec("clutch.command").meaning, Some(Meaning::PackTorque));
    assert_eq!(spec("clutch.command").full_scale, Some(1400.0));
    assert_eq!(spec("clutch.position").meaning, Some(Meaning::Position));
    near(
        spec("clutch.position").full_scale.unwrap(),
        240.0_f64.to_radians(),
    );
    near(spec("clutch.position").late_by_s, 0.008);
    assert_eq!(spec("oil.temperature").site, Some(Site::Oil));
    assert_eq!(spec("brake").behaviour, Behaviour::Held);
}

#[test]
fn the_vehicle_in_si() {
    let vehicle = map(LARKSPUR).vehicle;
    let radius = vehicle.rolling_radius_m.unwrap();
    near(radius.value, 0.32);
    near(radius.sd, 0.0064);
    assert_eq!(vehicle.layout, Some(Layout::CaseToOneSide));
    let pack = vehicle.pack.unwrap();
    assert_eq!(pack.n_faces, 12);
    near(pack.outer_radius_m, 0.061);
    near(pack.groove_share, 0.18);
    near(pack.friction.unwrap().sd, 0.02);
    near(vehicle.preload_nm.unwrap().sd, 7.5);
    near(vehicle.oil_volume_m3.unwrap(), 0.95e-3);
    assert_eq!(
        (vehicle.motor_voltage_v, vehicle.motor_current_a),
        (Some(12.0), Some(14.0))
    );
    near(vehicle.rated_rise_s.unwrap(), 0.18);
    let [
        TorqueSource::Table {
            channel,
            table,
            is_axle_bias,
            relative_sd,
            ..
        },
    ] = vehicle.torque_sources.as_slice()
    else {
        panic!("one table: {:?}", vehicle.torque_sources)
    };
    assert_eq!(
        (channel.as_str(), *is_axle_bias, *relative_sd),
        ("clutch.position", false, 0.12)
    );
    // Half way from 120 to 200 degrees: (620 + 1100) / 2.
    near(table.at(160.0_f64.to_radians(), None).unwrap(), 860.0);
}

#[test]
fn rolling_radius_by_tyre_size_or_roll_out() {
    let radius = |line: &str| {
        map(&format!("vehicle \"x\"\n  {line}\n"))
            .vehicle
            .rolling_radius_m
            .unwrap()
    };
    // Source: ETRTO, from memory: 225/45 R17 has 634.3 mm outer diameter, rolls 1934.6 mm.
    near(
        radius("tyre 225/45 R17").value,
        3.05 * 0.6343 / std::f64::consts::TAU,
    );
    assert!((radius("tyre 225/45 R17").value - 0.307_90).abs() < 5e-6);
    near(radius("tyre 225/45 R17").relative_sd(), 0.02);
    // Derived: one turn rolls 2πr out, and its tolerance is the radius' too.
    near(
        radius("roll-out 2.011 m +/- 1 %").value,
        2.011 / std::f64::consts::TAU,
    );
    near(radius("roll-out 2.011 m +/- 1 %").relative_sd(), 0.01);
    near(radius("rolling radius 0.32 m +/- 0 %").sd, 0.0);
    near(
        radius("tyre 225/45 R17\n  rolling radius 31 cm").value,
        0.31,
    );
}

#[test]
fn preload_from_break_away_at_one_wheel() {
    // Derived: the case is free, so the axle bias is twice the wheel's torque, and one
    // pack carries that over its bias factor: 1 to one side gear, else 2.
    for (place, wanted) in [
        ("clutch between case and one side gear", 120.0),
        ("clutches between case and both side gears", 60.0),
        ("clutch between left and right shaft", 60.0),
        ("clutch geared\n    bias per pack torque 1.5", 80.0),
    ] {
        let vehicle = map(&format!(
            "vehicle \"x\"\n  {place}\n  break-away at one wheel 60 N.m +/- 10 %\n"
        ))
        .vehicle;
        near(vehicle.preload_nm.unwrap().value, wanted);
        near(vehicle.preload_nm.unwrap().relative_sd(), 0.1);
    }
    assert_eq!(
        codes("vehicle \"x\"\n  break-away at one wheel 60 N.m\n"),
        [MistakeCode::MissingFact]
    );
}

const WHEELS: &str = "frame 0x200\n  wheel.rear.left in bytes 0 1\n    step 0.1 rpm\n    absent 0xFFFF\n  wheel.rear.right in bytes 2 3\n    step 0.1 rpm\n    believe 0 to 3000 rpm\n";

/// The codes of the warnings about a sound text.
fn warned(text: &str) -> Vec<MistakeCode> {
    parse("x.map", text)
        .unwrap()
        .warnings
        .iter()
        .map(|warning| warning.code)
        .collect()
}

#[test]
fn heat_needs_both_rear_wheels_as_they_turn() {
    let text = |wheels: &str| {
        format!(
            "vehicle \"x\"\n  clutch between case and one side gear\n{wheels}frame 0x100\n  clutch.torque in bytes 0 1\n    step 1 N.m\n    means axle bias\n"
        )
    };
    assert!(warned(&text(WHEELS)).is_empty());
    assert_eq!(
        warned(&text("")),
        [MistakeCode::NoHeat, MistakeCode::NoHeat]
    );
    assert_eq!(
        warned(&text(&format!("{WHEELS}    corrected by the car\n"))),
        [MistakeCode::NoHeat]
    );
}

#[test]
fn a_wheel_that_nothing_guards_is_remarked_on() {
    let wheel = |more: &str| {
        let of_frame = if more.contains("checksum") { more } else { "" };
        let of_signal = if more.contains("checksum") { "" } else { more };
        warned(&format!(
            "frame 0x200\n  length 8 bytes\n{of_frame}  wheel.front.left in bytes 0 1\n    step 0.1 rpm\n{of_signal}"
        ))
    };
    assert_eq!(wheel(""), [MistakeCode::WheelUnguarded]);
    for guard in [
        "    believe 0 to 3000 rpm\n",
        "    absent 0xFFFF\n",
        "    broken 0xFFFE\n",
        "  checksum byte 7 is xor of bytes 0 to 6\n",
    ] {
        assert!(wheel(guard).is_empty(), "{guard}");
    }
}

#[test]
fn an_angle_is_not_a_share() {
    let text = |unit: &str, formula: &str| {
        format!(
            "table t\n  input deg\n  output N.m\n  hold beyond its ends\n  at 0 gives 1\n  at 5 gives 2\nframe 0x100\n  clutch.position in byte 0\n    unit {unit}\n    full at 5 {unit}\n{formula}"
        )
    };
    let by_formula = "work out own.torque = t(clutch.position)\n";
    let by_source =
        "vehicle \"x\"\n  torque from table t of clutch.position\n    gives axle bias\n";
    for source in [by_formula, by_source] {
        assert!(codes(&text("deg", source)).is_empty());
        assert!(codes(&text("rad", source)).is_empty());
        assert_eq!(codes(&text("%", source)), [MistakeCode::UnitMisfit]);
    }
}

#[test]
fn a_torque_without_meaning_is_no_source() {
    let text = |means: &str| {
        format!(
            "vehicle \"x\"\n  clutch between case and one side gear\n{WHEELS}frame 0x100\n  clutch.torque in bytes 0 1\n    step 1 N.m\n{means}"
        )
    };
    assert!(map(&text("")).vehicle.torque_sources.is_empty());
    assert_eq!(warned(&text("")), [MistakeCode::MeaningMissing]);
    // Stated, it is one without a further word; bias does not depend on the layout.
    let stated = parse("x.map", &text("    means axle bias\n")).unwrap();
    assert!(matches!(
        stated.map.vehicle.torque_sources.as_slice(),
        [TorqueSource::Reported {
            is_axle_bias: true,
            ..
        }]
    ));
    assert!(stated.warnings.is_empty());
    assert_eq!(
        warned(&text("    means pack torque\n")),
        [MistakeCode::LayoutDecidesHeat]
    );
}

#[test]
fn tables_of_two_inputs_keep_their_corners() {
    let map = map(BRACKENFORD);
    let table = &map.tables[0].table;
    for (duty, temperature, torque) in [
        (0.0, 20.0, 120.0),
        (1.0, 20.0, 2200.0),
        (0.0, 120.0, 100.0),
        (0.6, 80.0, 1120.0),
    ] {
        near(table.at(duty, Some(temperature)).unwrap(), torque);
    }
}

#[test]
fn formulas_in_si_and_in_order() {
    let text = "frame 0x100\n  throttle in byte 0\n    step 0.5 %\n  yaw.rate in bytes 1 2\n    signed\n    step 0.01 deg/s\n\
        work out own.b = -own.a + 3 deg/s\n\
        work out own.a = if(throttle >= 50 %, yaw.rate * 2, low-pass(yaw.rate, 500 ms))\n";
    let map = map(text);
    let names: Vec<&str> = map
        .derived
        .iter()
        .map(|derived| map.channels[derived.channel].name.as_str())
        .collect();
    assert_eq!(names, ["own.a", "own.b"]);
    let yaw = || Box::new(Formula::Channel(map.channel("yaw.rate").unwrap()));
    let throttle = Formula::Channel(map.channel("throttle").unwrap());
    assert_eq!(
        map.derived[0].formula,
        Formula::If(
            // a ≥ b is b ≤ a.
            Box::new(Comparison::LessOrEqual(Formula::Number(0.5), throttle)),
            Box::new(Formula::Product(yaw(), Box::new(Formula::Number(2.0)))),
            Box::new(Formula::LowPass(yaw(), 0.5)),
        )
    );
    assert_eq!(
        map.channels[map.channel("own.b").unwrap()].dimension,
        Dimension::ANGULAR_SPEED
    );
}

#[test]
fn a_wheel_worked_out_from_a_road_speed_is_divided_as_well() {
    let text = "vehicle \"x\"\n  rolling radius 0.3 m\nframe 0x100\n  speed.vehicle in bytes 0 1\n    step 0.01 km/h\nwork out wheel.front.left = speed.vehicle\n";
    let map = map(text);
    let wheel = &map.channels[map.channel("wheel.front.left").unwrap()];
    assert!(wheel.through_radius && wheel.dimension == Dimension::ANGULAR_SPEED);
    assert!(
        matches!(&map.derived[0].formula, Formula::Quotient(_, radius) if **radius == Formula::Number(0.3))
    );
}

#[test]
fn sheets_as_readers_want_them() {
    let map = map(BRACKENFORD);
    let channels = &map.sheets[0].spec;
    assert_eq!(
        (channels.delimiter, channels.decimal_mark, channels.unit_row),
        (Some(';'), Some(','), true)
    );
    assert_eq!(
        channels.time_kind,
        TimeKind::Number {
            seconds_per_unit: 1.0
        }
    );
    assert_eq!(channels.missing_marks, ["-", "n/a"]);
    assert_eq!(channels.comment.as_deref(), Some("//"));
    let SheetContent::Channels(columns) = &channels.content else {
        panic!("channels")
    };
    assert_eq!(columns.len(), map.sheets[0].columns.len());
    assert_eq!(
        columns[0],
        ColumnRef::Header(vec!["Rad HL".to_owned(), "Wheel RL".to_owned()])
    );
    assert_eq!(columns[6], ColumnRef::Position(9));
    near(
        map.sheets[0].columns[0].si_per_unit,
        std::f64::consts::TAU / 60.0,
    );
    // The roll-out divides the front wheels' road speed.
    near(
        map.sheets[0].columns[2].si_per_unit,
        1.0 / 3.6 / (2.205 / std::f64::consts::TAU),
    );
    let SheetContent::Frames {
        id_base,
        payload,
        payload_base,
        bus,
        length,
        extended,
        ..
    } = &map.sheets[1].spec.content
    else {
        panic!("frames")
    };
    assert_eq!(
        (*id_base, *payload_base, payload.len()),
        (Base::Hexadecimal, Base::Hexadecimal, 8)
    );
    assert_eq!(payload[7], ColumnRef::Position(13));
    assert!(bus.is_some() && length.is_some() && extended.is_some());
    assert_eq!(map.sheets[1].spec.time_kind, TimeKind::Iso8601);
}

#[test]
fn checksums_of_published_check_values_prove_themselves() {
    // Source: SAE J1850, from the published check value of "123456789": 4B.
    let frame = |bytes: &str, rule: &str| {
        format!(
            "frame 0x100\n  length 12 bytes\n  checksum byte 9 is {rule} of bytes 0 to 8\n  prove {bytes}\n"
        )
    };
    assert!(codes(&frame("31 32 33 34 35 36 37 38 39 4B 00 00", "crc-8-j1850")).is_empty());
    assert_eq!(
        codes(&frame("31 32 33 34 35 36 37 38 39 4A 00 00", "crc-8-j1850")),
        [MistakeCode::ProofFailed]
    );
    // 0x31 ^ … ^ 0x39 = 0x31; 0x31 + … + 0x39 = 477 = 0x1DD.
    assert!(codes(&frame("31 32 33 34 35 36 37 38 39 31 00 00", "xor")).is_empty());
    assert!(codes(&frame("31 32 33 34 35 36 37 38 39 DD 00 00", "sum")).is_empty());
}

#[test]
fn one_channel_from_two_places() {
    let two = |extra: &str| {
        format!(
            "frame 0x100\n  throttle in byte 0\n    unit %\nframe 0x101\n  throttle in byte 0\n    unit %\n{extra}"
        )
    };
    assert_eq!(codes(&two("")), [MistakeCode::DoubleSource]);
    assert!(codes(&two("    another source\n")).is_empty());
    let pages = |second: &str| {
        format!(
            "frame 0x100\n  page 0.1..0.0 is 1\n    throttle in byte 1\n      unit %\n  page 0.1..0.0 is {second}\n    throttle in byte 2\n      unit %\n"
        )
    };
    assert!(codes(&pages("2 or 3")).is_empty());
    assert_eq!(codes(&pages("0 to 2")), [MistakeCode::DoubleSource]);
}

#[test]
fn one_identifier_on_two_buses() {
    let two = |first: &str, second: &str| {
        let frame = |bus: &str, name: &str| {
            format!("frame 0x100{bus}\n  own.{name} in byte 0\n    unit none\n")
        };
        format!("bus a\nbus b\n{}{}", frame(first, "x"), frame(second, "y"))
    };
    assert!(codes(&two(" on a", " on b")).is_empty());
    assert_eq!(codes(&two(" on a", " on a")), [MistakeCode::DoubleFrame]);
    // A frame without a bus answers on any.
    assert_eq!(codes(&two(" on a", "")), [MistakeCode::DoubleFrame]);
    // 11 and 29 bits of one number are two identifiers, and ignored bits meet.
    let pair = |a: &str, b: &str| {
        format!(
            "frame {a}\n  own.x in byte 0\n    unit none\nframe {b}\n  ignore id bits 3..0\n  own.y in byte 0\n    unit none\n"
        )
    };
    assert!(codes(&pair("0x123", "0x00000123")).is_empty());
    assert!(codes(&pair("0x113", "0x123")).is_empty());
    assert_eq!(codes(&pair("0x123", "0x12F")), [MistakeCode::DoubleFrame]);
}

#[test]
fn sharing_bits() {
    let two = |extra: &str| {
        format!(
            "frame 0x100\n  own.a in byte 0\n    unit none\n  own.b in 0.3..0.0\n    unit none\n{extra}"
        )
    };
    assert_eq!(codes(&two("")), [MistakeCode::BitOverlap]);
    assert!(codes(&two("    shares its bits\n")).is_empty());
    // A signal may read exactly the page number or the counter, and not a part of it.
    let on_page = |bits: &str| {
        format!("frame 0x100\n  page 0.3..0.0 is 1\n    own.page in {bits}\n      unit none\n")
    };
    assert!(codes(&on_page("0.3..0.0")).is_empty());
    assert_eq!(codes(&on_page("0.2..0.0")), [MistakeCode::BitOverlap]);
}

#[test]
fn a_broken_line_does_not_make_others_wrong() {
    // The step is not understood: nobody then says that a step is missing, or that the
    // proof names a channel that does not exist.
    let text = "frame 0x100\n  throttle in byte 0\n    stepp 1 %\n  oil.temperature inn byte 1\n    unit degC\n  prove 00 00 00 00 00 00 00 00\n    throttle is 0 %\n    oil.temperature is 0 degC\n";
    assert_eq!(
        codes(text),
        [MistakeCode::UnknownWord, MistakeCode::UnknownWord]
    );
}
