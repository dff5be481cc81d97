//! A signal map for a simulated car, as its owner might have written it.
//!
//! In: a [`Scenario`] and how far the owner's numbers may miss the truth. Out: the text of
//! a map. The frames are those of `signal-maps/brindlecote-30.map`, the vehicle is the
//! scenario's, with every stated value drawn from its stated tolerance.

use crate::frames;
use crate::scenario::Scenario;
use crate::vehicle::{Tolerances, VehicleTrue};
use halfshaft_model::{Layout, Toleranced, TorqueSource, Vehicle};
use std::fmt::Write;

const BRINDLECOTE_30: &str = include_str!("../../../signal-maps/brindlecote-30.map");

/// Frames of a car that sends more than the Brindlecote; the bytes are those of `frames.rs`.
const MORE_FRAMES: &str = "
frame 0x0F6 on main
  length 5 bytes
  EVERY
  engine.speed in bytes 0 1
    step 0.25 rpm
  engine.torque in bytes 2 3
    signed
    step 0.5 N.m
  gear in byte 4
    signed
    unit none
  prove 27 10 FF BD 03
    engine.speed is 2500 rpm
    engine.torque is -33.5 N.m
    gear is 3 none

frame 0x2C6 on main
  length 3 bytes
  EVERY
  clutch.torque in bytes 1 0
    step 0.1 N.m
    means pack torque
  prove D8 10 00
    clutch.torque is 431.2 N.m
";

/// The map of the scenario's car; the vehicle it states is the one
/// [`VehicleTrue::vehicle_within`] gives for the same seed. With [`Tolerances::EXACT`] the
/// values are the truth and no tolerance is stated; the reader of the map may then assume
/// its usual ones.
pub fn map_text(scenario: &Scenario, tolerances: &Tolerances, seed: u64) -> String {
    let mut text = String::new();
    vehicle(&mut text, &scenario.vehicle, tolerances, seed)
        .expect("writing to a string cannot fail");
    let frames_start = BRINDLECOTE_30.find("bus main").unwrap_or(0);
    let mut frame = "";
    let mut page = "";
    for line in BRINDLECOTE_30[frames_start..].lines() {
        let words = line.trim_start();
        if let Some(id) = words.strip_prefix("frame ") {
            (frame, page) = (id, "");
        } else if words.starts_with("page ") {
            page = words;
        }
        match period_ms(scenario, frame, page) {
            Some(period_ms) if words.starts_with("every ") => {
                let blanks = &line[..line.len() - words.len()];
                text.push_str(&format!("{blanks}every {period_ms} ms"));
            }
            _ => text.push_str(line),
        }
        text.push('\n');
    }
    if let Some(more_ms) = scenario.rates.more_ms {
        text.push_str(&MORE_FRAMES.replace("EVERY", &format!("every {more_ms} ms")));
    }
    text
}

fn period_ms(scenario: &Scenario, frame: &str, page: &str) -> Option<u32> {
    let rates = &scenario.rates;
    let is = |id: halfshaft_model::FrameId| frame.starts_with(&id.to_string());
    if is(frames::REAR) {
        Some(rates.rear_ms)
    } else if is(frames::FRONT) {
        rates.front_ms
    } else if is(frames::COMMAND) {
        Some(rates.command_ms)
    } else if is(frames::POSITION) {
        rates.position_ms
    } else if is(frames::MOTION) {
        rates.motion_ms
    } else if is(frames::PEDALS) {
        Some(rates.pedals_ms)
    } else if is(frames::STEERING) {
        Some(rates.steering_ms)
    } else if is(frames::UNIT) && page.ends_with("is 1") {
        Some(rates.unit_ms)
    } else {
        None
    }
}

fn vehicle(
    text: &mut String,
    truth: &VehicleTrue,
    tolerances: &Tolerances,
    seed: u64,
) -> std::fmt::Result {
    let stated = truth.vehicle_within(tolerances, seed);
    writeln!(
        text,
        "map \"{}\"\n  known from \"a simulated car\"\n",
        truth.name
    )?;
    writeln!(text, "vehicle \"{}\"\n  unit \"BC-R2\"", truth.name)?;
    measure(text, "rear track", stated.track_rear_m, "m")?;
    measure(text, "front track", stated.track_front_m, "m")?;
    measure(text, "rolling radius", stated.rolling_radius_m, "m")?;
    writeln!(text, "  final drive {}", truth.final_ratio)?;
    writeln!(text, "  mass {} kg", truth.mass_kg)?;
    writeln!(text, "  tyre stiffness {} N", truth.tyre_stiffness_n)?;
    let place = match truth.layout {
        Layout::CaseToOneSide => "clutch between case and left side gear",
        Layout::CaseToBothSides => "clutches between case and both side gears",
        Layout::ShaftToShaft => "clutch between left and right shaft",
        Layout::Geared { .. } => "clutch geared",
    };
    writeln!(text, "  {place}")?;
    let pack = &truth.pack;
    writeln!(text, "  faces {}", pack.n_faces)?;
    writeln!(text, "  outer radius {} m", pack.outer_radius_m)?;
    writeln!(text, "  inner radius {} m", pack.inner_radius_m)?;
    writeln!(text, "  groove share {} %", pack.groove_share * 100.0)?;
    measure(
        text,
        "friction",
        stated.pack.and_then(|pack| pack.friction),
        "",
    )?;
    measure(text, "preload", stated.preload_nm, "N.m")?;
    writeln!(
        text,
        "  oil 0.9 l\n  oil named \"75W-90 LS\"\n  oil warn at 130 degC\n  oil limit 150 degC"
    )?;
    writeln!(
        text,
        "  motor rated 12 V\n  motor rated 16 A\n  rated rise time 150 ms"
    )?;
    writeln!(
        text,
        "  torque from table turn-to-torque of clutch.position\n    gives pack torque"
    )?;
    if tolerances.torque > 0.0 {
        writeln!(text, "    trust +/- {} %", tolerances.torque * 100.0)?;
    }
    writeln!(
        text,
        "\ntable turn-to-torque\n  input deg\n  output N.m\n  hold beyond its ends"
    )?;
    for &(share, _) in &truth.torque_points {
        let degrees = share * frames::POSITION_FULL_DEG;
        let torque_nm = torque_at(&stated, degrees.to_radians());
        writeln!(text, "  at {degrees} gives {torque_nm}")?;
    }
    writeln!(text)
}

fn torque_at(stated: &Vehicle, position_rad: f64) -> f64 {
    stated
        .torque_sources
        .iter()
        .find_map(|source| match source {
            TorqueSource::Table { table, .. } => table.at(position_rad, None),
            _ => None,
        })
        .unwrap_or(0.0)
}

fn measure(
    text: &mut String,
    what: &str,
    value: Option<Toleranced>,
    unit: &str,
) -> std::fmt::Result {
    let Some(Toleranced { value, sd }) = value else {
        return Ok(());
    };
    let blank = if unit.is_empty() { "" } else { " " };
    write!(text, "  {what} {value}")?;
    if sd > 0.0 {
        // A bare tolerance is in the unit that follows it.
        return writeln!(text, "{blank}{unit} +/- {sd}{blank}{unit}");
    }
    writeln!(text, "{blank}{unit}")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::channels::Rates;
    use crate::scenario::{RandomRange, random_drive};

    #[test]
    fn frames_are_the_brindlecote_s_and_periods_the_scenario_s() {
        let mut scenario = random_drive(1, &RandomRange::default());
        scenario.rates = Rates::LEAN;
        let tail = |text: &str| {
            text[text.find("bus main").unwrap()..].replace("every 1 s", "every 1000 ms")
        };
        let text = map_text(&scenario, &Tolerances::USUAL, 1);
        assert_eq!(tail(&text), tail(BRINDLECOTE_30));
        scenario.rates = Rates::QUICK;
        let quick = map_text(&scenario, &Tolerances::USUAL, 1);
        let rear = quick
            .split("frame 0x1B0")
            .nth(1)
            .unwrap()
            .split("every ")
            .nth(1)
            .unwrap();
        assert!(rear.starts_with("10 ms"), "{rear}");
    }

    #[test]
    fn more_frames_prove_themselves_with_these_very_bytes() {
        let speed = 2500.0 * std::f64::consts::TAU / 60.0;
        for payload in [frames::engine(speed, -33.5, 3), frames::torque(431.2)] {
            let bytes = payload.as_slice().iter();
            let bytes: Vec<String> = bytes.map(|byte| format!("{byte:02X}")).collect();
            let line = format!("  prove {}\n", bytes.join(" "));
            assert!(MORE_FRAMES.contains(&line), "no line `{}`", line.trim());
        }
        let mut scenario = random_drive(1, &RandomRange::default());
        let plain = map_text(&scenario, &Tolerances::USUAL, 1);
        scenario.rates.more_ms = Some(50);
        let more = map_text(&scenario, &Tolerances::USUAL, 1);
        assert!(
            more.starts_with(&plain)
                && more.contains("frame 0x2C6")
                && more.contains("every 50 ms")
        );
    }
}
