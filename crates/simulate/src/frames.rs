//! The bytes of every frame the invented car sends. The only place that lays them out.
//!
//! In: what the sensors read. Out: identifiers and payloads; and, for tests that do not
//! want a signal map, the same frames read back. `signal-maps/brindlecote-30.map` says the
//! same in the map language; a test here holds its `prove` lines to these bytes.
//!
//! Bits are written `byte.bit`, byte 0 first, bit 0 the least significant one; runs are
//! listed most significant first.
//!
//! | frame | length | carries |
//! |---|---|---|
//! | `0x1B0` | 8 | rear wheels: left `bytes 0 1`, right `bytes 2 3`, step 0.01 km/h, 0xFFFF not available; noise of an unknown signal in `bytes 4 5`; counter `6.3..6.0`; byte 7 CRC-8 SAE J1850 of bytes 0 to 6 |
//! | `0x1B2` | 6 | front wheels, low byte first: left `bytes 1 0`, right `bytes 3 2`, step 0.01 km/h; counter `4.7..4.4`; byte 5 xor of bytes 0 to 4 from 0x5A |
//! | `0x2C4` | 4 | command `0.1..0.0 1.7..1.0`, step 0.11 %; counter `2.3..2.0`; byte 3 sum of bytes 0 to 2 |
//! | `0x2C5` | 4 | position, low byte first, signed: `bytes 1 0`, step 0.02 deg; valid when `2.0` is 1 |
//! | `0x18FD6A31` | 8 | yaw rate `bytes 0 1`, signed, step 0.01 deg/s; lateral acceleration `bytes 2 3`, longitudinal `bytes 4 5`, signed, step 0.01 m/s²; bytes 6 and 7 unused |
//! | `0x0D2` | 5 | throttle `byte 0`, step 0.4 %; brake pressed `1.0`; brake pressure `bytes 3 2`, step 0.02 bar |
//! | `0x0C8` | 3 | steering: sign `0.7` (1 is right), magnitude `0.6..0.0 1.7..1.0`, step 0.1 deg |
//! | `0x3E0` | 8 | page in `0.3..0.0`. Page 1: supply voltage `byte 1`, step 0.1 V; motor current `bytes 3 2`, signed, step 0.01 A. Page 2: oil `byte 1`, housing `byte 2`, ambient `byte 3`, step 1 degC, zero at −40 degC, 0xFF not available. Page 7: something else |
//! | `0x0F6` | 5 | only when asked for: engine speed `bytes 0 1`, step 0.25 rpm; engine torque `bytes 2 3`, signed, step 0.5 N·m; gear `byte 4`, signed |
//! | `0x2C6` | 3 | only when asked for: torque of the pack as the car reports it `bytes 1 0`, step 0.1 N·m |

use halfshaft_model::FrameId;

/// Bus name in the log.
pub const BUS: &str = "can0";

/// Wheel speeds step, km/h.
pub const WHEEL_STEP_KM_PER_H: f64 = 0.01;
/// Position step, deg.
pub const POSITION_STEP_DEG: f64 = 0.02;
/// Position that counts as full, deg.
pub const POSITION_FULL_DEG: f64 = 210.0;
/// Yaw rate step, deg/s.
pub const YAW_STEP_DEG_PER_S: f64 = 0.01;

/// Step of the torque the car reports, N·m.
pub const TORQUE_STEP_NM: f64 = 0.1;
/// Step of the engine's speed, rpm.
pub const ENGINE_STEP_RPM: f64 = 0.25;
/// Step of the engine's torque, N·m.
pub const ENGINE_STEP_NM: f64 = 0.5;

const fn standard(number: u32) -> FrameId {
    match FrameId::standard(number) {
        Some(id) => id,
        None => panic!("an 11-bit identifier is at most 0x7FF"),
    }
}

const fn extended(number: u32) -> FrameId {
    match FrameId::extended(number) {
        Some(id) => id,
        None => panic!("a 29-bit identifier is at most 0x1FFFFFFF"),
    }
}

/// Rear wheels.
pub const REAR: FrameId = standard(0x1B0);
/// Front wheels.
pub const FRONT: FrameId = standard(0x1B2);
/// Clutch command.
pub const COMMAND: FrameId = standard(0x2C4);
/// Clutch position.
pub const POSITION: FrameId = standard(0x2C5);
/// Yaw rate and accelerations.
pub const MOTION: FrameId = extended(0x18FD_6A31);
/// Throttle and brake.
pub const PEDALS: FrameId = standard(0x0D2);
/// Steering wheel.
pub const STEERING: FrameId = standard(0x0C8);
/// The axle unit's own frame, paged.
pub const UNIT: FrameId = standard(0x3E0);
/// Engine and gear.
pub const ENGINE: FrameId = standard(0x0F6);
/// Torque the car reports for the clutch.
pub const TORQUE: FrameId = standard(0x2C6);
/// Traffic nobody mapped.
pub const OTHERS: [FrameId; 5] = [
    standard(0x310),
    standard(0x41A),
    standard(0x5E4),
    standard(0x0A1),
    extended(0x1C0A_7720),
];

/// A payload of at most eight bytes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Payload {
    bytes: [u8; 8],
    length: u8,
}

impl Payload {
    /// The first `length` of `bytes`.
    pub fn new(bytes: [u8; 8], length: u8) -> Payload {
        Payload {
            bytes,
            length: length.min(8),
        }
    }

    /// The bytes.
    pub fn as_slice(&self) -> &[u8] {
        &self.bytes[..usize::from(self.length)]
    }
}

/// Rear wheels, km/h as the car's own radius makes them.
pub fn rear(left_km_per_h: f64, right_km_per_h: f64, other: u16, counter: u8) -> Payload {
    let [a, b] = unsigned(left_km_per_h, WHEEL_STEP_KM_PER_H).to_be_bytes();
    let [c, d] = unsigned(right_km_per_h, WHEEL_STEP_KM_PER_H).to_be_bytes();
    let [e, f] = other.to_be_bytes();
    let mut bytes = [a, b, c, d, e, f, counter & 0x0F, 0];
    bytes[7] = crc_8_j1850(&bytes[..7]);
    Payload::new(bytes, 8)
}

/// Front wheels, km/h.
pub fn front(left_km_per_h: f64, right_km_per_h: f64, counter: u8) -> Payload {
    let [a, b] = unsigned(left_km_per_h, WHEEL_STEP_KM_PER_H).to_le_bytes();
    let [c, d] = unsigned(right_km_per_h, WHEEL_STEP_KM_PER_H).to_le_bytes();
    let mut bytes = [a, b, c, d, counter << 4, 0, 0, 0];
    bytes[5] = bytes[..5].iter().fold(0x5A, |guard, byte| guard ^ byte);
    Payload::new(bytes, 6)
}

/// Clutch command, a share of full.
pub fn command(share: f64, counter: u8) -> Payload {
    let code = unsigned(share, crate::controller::COMMAND_STEP).min(0x3FF);
    let [high, low] = code.to_be_bytes();
    let mut bytes = [high, low, counter & 0x0F, 0, 0, 0, 0, 0];
    bytes[3] = bytes[..3]
        .iter()
        .fold(0, |sum: u8, byte| sum.wrapping_add(*byte));
    Payload::new(bytes, 4)
}

/// Clutch position, a share of full; an invalid one carries the power-on value.
pub fn position(share: f64, is_valid: bool) -> Payload {
    let code = if is_valid {
        signed(share * POSITION_FULL_DEG, POSITION_STEP_DEG)
    } else {
        i16::MIN
    };
    let [low, high] = code.to_le_bytes();
    Payload::new([low, high, u8::from(is_valid), 0, 0, 0, 0, 0], 4)
}

/// Yaw rate and accelerations.
pub fn motion(yaw_deg_per_s: f64, lateral_m_per_s2: f64, longitudinal_m_per_s2: f64) -> Payload {
    let [a, b] = signed(yaw_deg_per_s, YAW_STEP_DEG_PER_S).to_be_bytes();
    let [c, d] = signed(lateral_m_per_s2, 0.01).to_be_bytes();
    let [e, f] = signed(longitudinal_m_per_s2, 0.01).to_be_bytes();
    Payload::new([a, b, c, d, e, f, 0xFF, 0xFF], 8)
}

/// Throttle (a share), brake switch and brake pressure.
pub fn pedals(throttle: f64, is_braking: bool, pressure_bar: f64) -> Payload {
    let [low, high] = unsigned(pressure_bar, 0.02).to_le_bytes();
    let throttle = unsigned(throttle, 0.004).min(250) as u8;
    Payload::new([throttle, u8::from(is_braking), low, high, 0, 0, 0, 0], 5)
}

/// Steering wheel angle, positive to the left.
pub fn steering(angle_deg: f64) -> Payload {
    let magnitude = unsigned(angle_deg.abs(), 0.1).min(0x7FFF);
    let sign = if angle_deg < 0.0 && magnitude > 0 {
        0x8000
    } else {
        0
    };
    let [high, low] = (magnitude | sign).to_be_bytes();
    Payload::new([high, low, 0, 0, 0, 0, 0, 0], 3)
}

/// The unit's page 1: supply and motor.
pub fn unit_electric(supply_v: f64, current_a: f64) -> Payload {
    let volts = unsigned(supply_v, 0.1).min(0xFF) as u8;
    let [low, high] = signed(current_a, 0.01).to_le_bytes();
    Payload::new([1, volts, low, high, 0, 0, 0, 0], 8)
}

/// The unit's page 2: temperatures, `None` before a sensor has woken.
pub fn unit_temperatures(oil_c: Option<f64>, housing_c: Option<f64>, ambient_c: f64) -> Payload {
    let code = |temperature: Option<f64>| {
        temperature.map_or(0xFF, |celsius| {
            unsigned(celsius + 40.0, 1.0).min(0xFE) as u8
        })
    };
    Payload::new(
        [
            2,
            code(oil_c),
            code(housing_c),
            code(Some(ambient_c)),
            0,
            0,
            0,
            0,
        ],
        8,
    )
}

/// Engine speed and torque, and the gear.
pub fn engine(speed_rad_per_s: f64, torque_nm: f64, gear: i8) -> Payload {
    let rpm = speed_rad_per_s * 60.0 / std::f64::consts::TAU;
    let [a, b] = unsigned(rpm, ENGINE_STEP_RPM).to_be_bytes();
    let [c, d] = signed(torque_nm, ENGINE_STEP_NM).to_be_bytes();
    Payload::new([a, b, c, d, gear as u8, 0, 0, 0], 5)
}

/// Torque of one pack as the car reports it.
pub fn torque(torque_nm: f64) -> Payload {
    let [low, high] = unsigned(torque_nm, TORQUE_STEP_NM).to_le_bytes();
    Payload::new([low, high, 0, 0, 0, 0, 0, 0], 3)
}

/// The unit's page 7, which nobody mapped.
pub fn unit_other(bits: u64) -> Payload {
    let mut bytes = bits.to_le_bytes();
    bytes[0] = 7;
    Payload::new(bytes, 8)
}

fn unsigned(value: f64, step: f64) -> u16 {
    // The top two codes mean "broken" and "not available".
    (value / step).round().clamp(0.0, 65_533.0) as u16
}

fn signed(value: f64, step: f64) -> i16 {
    (value / step).round().clamp(-32_767.0, 32_767.0) as i16
}

/// CRC-8 SAE J1850: polynomial 0x1D, start 0xFF, result inverted.
fn crc_8_j1850(bytes: &[u8]) -> u8 {
    let crc = bytes.iter().fold(0xFF, |crc: u8, byte| {
        (0..8).fold(crc ^ byte, |crc, _| {
            if crc & 0x80 == 0 {
                crc << 1
            } else {
                crc << 1 ^ 0x1D
            }
        })
    });
    !crc
}

/// Reads a frame back: calls `found` with each channel's index in
/// [`crate::channels::CHANNELS`] and its value in SI, `None` when not available.
pub fn read_back(
    id: FrameId,
    bytes: &[u8],
    radius_m: f64,
    found: &mut dyn FnMut(usize, Option<f64>),
) {
    let byte = |i: usize| bytes.get(i).copied().unwrap_or(0);
    let big = |i: usize| u16::from_be_bytes([byte(i), byte(i + 1)]);
    let little = |i: usize| u16::from_le_bytes([byte(i), byte(i + 1)]);
    let wheel = |code: u16| {
        (code < 0xFFFE).then_some(f64::from(code) * WHEEL_STEP_KM_PER_H / 3.6 / radius_m)
    };
    let celsius = |code: u8| (code != 0xFF).then_some(f64::from(code) - 40.0);
    match id {
        REAR => {
            found(0, wheel(big(0)));
            found(1, wheel(big(2)));
        }
        FRONT => {
            found(2, wheel(little(0)));
            found(3, wheel(little(2)));
        }
        COMMAND => found(
            4,
            Some(f64::from(big(0) & 0x3FF) * crate::controller::COMMAND_STEP),
        ),
        POSITION => {
            let degrees = f64::from(little(0) as i16) * POSITION_STEP_DEG;
            found(5, (byte(2) & 1 == 1).then_some(degrees.to_radians()));
        }
        MOTION => {
            found(
                6,
                Some((f64::from(big(0) as i16) * YAW_STEP_DEG_PER_S).to_radians()),
            );
            found(7, Some(f64::from(big(2) as i16) * 0.01));
            found(8, Some(f64::from(big(4) as i16) * 0.01));
        }
        PEDALS => {
            found(9, Some(f64::from(byte(0)) * 0.004));
            found(10, Some(f64::from(byte(1) & 1)));
            found(11, Some(f64::from(little(2)) * 0.02e5));
        }
        STEERING => {
            let magnitude = f64::from(big(0) & 0x7FFF) * 0.1;
            let angle = if big(0) & 0x8000 == 0 {
                magnitude
            } else {
                -magnitude
            };
            found(12, Some(angle.to_radians()));
        }
        UNIT if byte(0) & 0x0F == 1 => {
            found(13, Some(f64::from(byte(1)) * 0.1));
            found(14, Some(f64::from(little(2) as i16) * 0.01));
        }
        UNIT if byte(0) & 0x0F == 2 => {
            found(15, celsius(byte(1)));
            found(16, celsius(byte(2)));
            found(17, celsius(byte(3)));
        }
        TORQUE => found(18, Some(f64::from(little(0)) * TORQUE_STEP_NM)),
        ENGINE => {
            let rpm = f64::from(big(0)) * ENGINE_STEP_RPM;
            found(19, Some(rpm * std::f64::consts::TAU / 60.0));
            found(20, Some(f64::from(big(2) as i16) * ENGINE_STEP_NM));
            found(21, Some(f64::from(byte(4) as i8)));
        }
        _ => {}
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn back(id: FrameId, payload: Payload) -> Vec<(usize, Option<f64>)> {
        let mut out = Vec::new();
        read_back(id, payload.as_slice(), 0.32, &mut |channel, value| {
            out.push((channel, value))
        });
        out
    }

    #[test]
    fn crc_is_the_j1850_one() {
        // Source: the check value of CRC-8/SAE-J1850 in the public catalogue of CRC
        // parameters, from memory: "123456789" gives 0x4B.
        assert_eq!(crc_8_j1850(b"123456789"), 0x4B);
    }

    #[test]
    fn what_is_written_is_read_back_to_half_a_step() {
        #[track_caller]
        fn check(got: &[(usize, Option<f64>)], wanted: &[(usize, f64, f64)]) {
            assert_eq!(got.len(), wanted.len());
            for (&(channel, value), &(want_channel, want, tolerance)) in got.iter().zip(wanted) {
                assert_eq!(channel, want_channel);
                let value = value.unwrap();
                assert!(
                    (value - want).abs() <= tolerance * 1.000_001,
                    "channel {channel}: {value}, not {want}"
                );
            }
        }
        let half = 0.005 / 3.6 / 0.32;
        check(
            &back(REAR, rear(100.004, 101.2, 7, 3)),
            &[(0, 86.8090, half), (1, 87.8472, half)],
        );
        check(
            &back(FRONT, front(50.0, 300.0, 3)),
            &[(2, 43.402_78, half), (3, 260.416_67, half)],
        );
        check(&back(COMMAND, command(0.73, 1)), &[(4, 0.73, 0.00055)]);
        check(
            &back(POSITION, position(0.5, true)),
            &[(5, 105f64.to_radians(), 0.01f64.to_radians())],
        );
        check(
            &back(MOTION, motion(-12.345, -3.2, 1.5)),
            &[
                (6, -12.345f64.to_radians(), 0.005f64.to_radians()),
                (7, -3.2, 0.005),
                (8, 1.5, 0.005),
            ],
        );
        check(
            &back(PEDALS, pedals(0.402, true, 42.0)),
            &[(9, 0.402, 0.002), (10, 1.0, 0.0), (11, 42e5, 1e3)],
        );
        check(
            &back(STEERING, steering(-123.4)),
            &[(12, -123.4f64.to_radians(), 0.05f64.to_radians())],
        );
        check(
            &back(UNIT, unit_electric(13.8, -2.5)),
            &[(13, 13.8, 0.05), (14, -2.5, 0.005)],
        );
        check(
            &back(ENGINE, engine(261.8, -33.3, 3)),
            &[(19, 261.8, 0.0131), (20, -33.3, 0.25), (21, 3.0, 0.0)],
        );
        check(&back(TORQUE, torque(431.24)), &[(18, 431.24, 0.05)]);
        assert_eq!(back(POSITION, position(0.5, false)), [(5, None)]);
        assert_eq!(
            back(UNIT, unit_temperatures(None, Some(55.0), -3.0)),
            [(15, None), (16, Some(55.0)), (17, Some(-3.0))]
        );
        assert_eq!(back(UNIT, unit_other(u64::MAX)), []);
    }

    #[test]
    fn the_map_proves_itself_with_these_very_bytes() {
        let map = include_str!("../../../signal-maps/brindlecote-30.map");
        for payload in [
            rear(86.4, 87.65, 0x0102, 9),
            front(50.01, 51.3, 4),
            command(0.55, 6),
            position(0.5, true),
            position(0.5, false),
            motion(-12.5, -3.2, 1.5),
            pedals(0.40, true, 42.0),
            steering(-123.4),
            unit_electric(13.8, -2.5),
            unit_temperatures(None, Some(55.0), -3.0),
        ] {
            let bytes: Vec<String> = payload
                .as_slice()
                .iter()
                .map(|byte| format!("{byte:02X}"))
                .collect();
            let line = format!("  prove {}\n", bytes.join(" "));
            assert!(map.contains(&line), "no line `{}` in the map", line.trim());
        }
    }
}
