//! The signal map of a car of the fleet, as its owner might have written it.
//!
//! In: a [`Car`]. Out: the text of its map. Every stated value misses the truth by an error
//! drawn from the tolerance stated with it; what the owner does not know is left out.

use super::car::{Car, Place};
use super::draw::{Draw, Purpose};
use super::fault::{Fault, Form};
use super::signals::{FramePlan, Item, Quantity, TorqueFrom};
use halfshaft_model::channel::name;
use std::fmt::Write;

/// One standard deviation of what an owner states, as a share.
const RADIUS_SD: f64 = 0.02;
const TRACK_SD: f64 = 0.01;
const TORQUE_SD: f64 = 0.15;
const FRICTION_SD: f64 = 0.15;
const PRELOAD_SD: f64 = 0.1;
const FORCE_SD: f64 = 0.1;
/// The plant reports what is true; a careful owner trusts it no further than this.
const REPORT_SD: f64 = 0.05;

/// The text of the map.
pub fn map_text(car: &Car) -> String {
    let mut text = String::new();
    write_map(&mut text, car).expect("writing to a string cannot fail");
    text
}

fn write_map(text: &mut String, car: &Car) -> std::fmt::Result {
    // All drives of a car are read by one map.
    let mut draw = Draw::new(car.seed, car.number, Purpose::Map);
    writeln!(text, "map \"car {} of fleet {}\"", car.number, car.seed)?;
    writeln!(text, "  known from \"a simulated car\"\n")?;
    vehicle(text, car, &mut draw)?;
    writeln!(text, "bus main\n  in the log \"{}\"", super::bus::BUS)?;
    for plan in &car.signals.frames {
        frame(text, car, plan)?;
    }
    Ok(())
}

// The value an owner states: the truth lies so many deviations from it.
fn stated(draw: &mut Draw, truth: f64, sd: f64) -> f64 {
    truth / (1.0 + sd * draw.normal().clamp(-3.0, 3.0))
}

fn vehicle(text: &mut String, car: &Car, draw: &mut Draw) -> std::fmt::Result {
    let (body, pack) = (&car.body, &car.pack);
    // All draws first, whatever is written of them.
    let radius_m = stated(draw, body.radius_m, RADIUS_SD);
    let track_m = stated(draw, body.track_m, TRACK_SD);
    let torque = stated(draw, 1.0, TORQUE_SD);
    let friction = stated(draw, pack.friction, FRICTION_SD);
    let preload_nm = stated(draw, pack.preload_nm, PRELOAD_SD);
    let stiffness_n = stated(draw, body.tyre_stiffness_n, 0.15);
    let rated_ms = car.actuator.rated_s() * draw.between(1.0, 1.15) * 1e3;
    let [tells_stiffness, tells_rated, tells_area, tells_preload] =
        [0.4, 0.6, 0.75, 0.85].map(|share| draw.chance(share));
    let is_clamp = car.signals.torque_from == TorqueFrom::Clamp;

    writeln!(
        text,
        "vehicle \"car {}\"\n  unit \"F-{}\"",
        car.number, car.number
    )?;
    writeln!(
        text,
        "  rear track {track_m:.4} m +/- {:.1} %",
        TRACK_SD * 100.0
    )?;
    writeln!(text, "  front track {:.3} m", body.front_track_m)?;
    writeln!(
        text,
        "  rolling radius {radius_m:.4} m +/- {:.1} %",
        RADIUS_SD * 100.0
    )?;
    writeln!(
        text,
        "  final drive {:.3}\n  mass {:.0} kg",
        body.final_ratio, body.mass_kg
    )?;
    if tells_stiffness {
        writeln!(text, "  tyre stiffness {:.1} kN", stiffness_n / 1e3)?;
    }
    match pack.place {
        Place::OneSide => writeln!(text, "  clutch between case and one side gear")?,
        Place::BothSides => writeln!(text, "  clutches between case and both side gears")?,
        Place::Shafts => writeln!(text, "  clutch between left and right shaft")?,
        Place::Geared { slip, is_stated } => {
            writeln!(text, "  clutch geared")?;
            if is_stated {
                writeln!(
                    text,
                    "    slip per difference {slip:.4}\n    slip per case speed 0"
                )?;
                writeln!(text, "    bias per pack torque {:.4}", 2.0 * slip)?;
            }
        }
    }
    if tells_area || is_clamp {
        writeln!(text, "  faces {}", pack.n_faces)?;
        let [outer, inner] = pack.radii_m;
        writeln!(
            text,
            "  outer radius {:.2} mm\n  inner radius {:.2} mm",
            outer * 1e3,
            inner * 1e3
        )?;
        writeln!(text, "  groove share {:.1} %", pack.groove_share * 100.0)?;
        writeln!(
            text,
            "  friction {friction:.4} +/- {:.0} %",
            FRICTION_SD * 100.0
        )?;
    }
    if tells_preload || is_clamp {
        writeln!(
            text,
            "  preload {preload_nm:.1} N.m +/- {:.0} %",
            PRELOAD_SD * 100.0
        )?;
    }
    writeln!(
        text,
        "  oil 0.9 l\n  oil warn at 130 degC\n  oil limit 150 degC"
    )?;
    writeln!(
        text,
        "  motor rated 12 V\n  motor rated {:.1} A",
        car.motor.rated_a
    )?;
    let needs_rated = matches!(
        car.fault,
        Some((Fault::SlowActuator | Fault::DriftingLag, _))
    );
    if tells_rated || needs_rated {
        writeln!(text, "  rated rise time {rated_ms:.0} ms")?;
    }
    torque_source(text, car)?;
    writeln!(text)?;
    table(text, car, torque)
}

fn torque_source(text: &mut String, car: &Car) -> std::fmt::Result {
    let table = |channel: &str| format!("table share-to-torque of {channel}");
    let (source, gives, trust) = match car.signals.torque_from {
        TorqueFrom::Position => (table(name::CLUTCH_POSITION), "pack torque", TORQUE_SD),
        TorqueFrom::Command => (table(name::CLUTCH_COMMAND), "pack torque", TORQUE_SD),
        TorqueFrom::Pack => (name::CLUTCH_TORQUE.to_owned(), "pack torque", REPORT_SD),
        TorqueFrom::Bias => (name::CLUTCH_TORQUE.to_owned(), "axle bias", REPORT_SD),
        TorqueFrom::Clamp => {
            writeln!(text, "  torque from clamp force {}", name::CLUTCH_FORCE)?;
            return writeln!(text, "    trust +/- {:.0} %", FORCE_SD * 100.0);
        }
    };
    writeln!(text, "  torque from {source}\n    gives {gives}")?;
    writeln!(text, "    trust +/- {:.0} %", trust * 100.0)
}

fn table(text: &mut String, car: &Car, factor: f64) -> std::fmt::Result {
    let (unit, full) = match car.signals.torque_from {
        TorqueFrom::Position => (position_unit(car), car.signals.position_full),
        TorqueFrom::Command => ("%", 100.0),
        _ => return Ok(()),
    };
    writeln!(
        text,
        "table share-to-torque\n  input {unit}\n  output N.m\n  hold beyond its ends"
    )?;
    for i in 0..=10 {
        let share = f64::from(i) / 10.0;
        writeln!(
            text,
            "  at {:.3} gives {:.2}",
            share * full,
            car.pack.torque_nm(share) * factor
        )?;
    }
    writeln!(text)
}

fn position_unit(car: &Car) -> &'static str {
    let items = car.signals.frames.iter().flat_map(|frame| &frame.items);
    items
        .filter(|item| item.quantity == Quantity::Position)
        .map(|item| item.unit)
        .next()
        .unwrap_or("%")
}

fn frame(text: &mut String, car: &Car, plan: &FramePlan) -> std::fmt::Result {
    writeln!(text, "\nframe 0x{:03X} on main", plan.id)?;
    writeln!(
        text,
        "  length {} bytes\n  every {} ms",
        plan.items.len() * 2,
        plan.period_ms
    )?;
    for (i, item) in plan.items.iter().enumerate() {
        signal(text, car, item, 2 * i)?;
    }
    Ok(())
}

// The quantity the owner takes this item for, and how much too large a step he states.
fn misread(car: &Car, item: &Item) -> (Quantity, f64) {
    use Quantity::{Command, Position, RearLeft, RearRight};
    match (car.fault, item.quantity) {
        (Some((Fault::Swapped, _)), Command) => (Position, 1.0),
        (Some((Fault::Swapped, _)), Position) => (Command, 1.0),
        (Some((Fault::SidesSwapped, _)), RearLeft) => (RearRight, 1.0),
        (Some((Fault::SidesSwapped, _)), RearRight) => (RearLeft, 1.0),
        (Some((Fault::WheelScale, Form::Mild)), RearLeft | RearRight) => (item.quantity, 1.609),
        (Some((Fault::WheelScale, Form::Plain)), RearLeft | RearRight) => (item.quantity, 3.6),
        _ => (item.quantity, 1.0),
    }
}

fn signal(text: &mut String, car: &Car, item: &Item, at: usize) -> std::fmt::Result {
    let (quantity, scale) = misread(car, item);
    let step = item.step * scale;
    writeln!(
        text,
        "  {} in bytes {at} {}\n    signed",
        quantity.channel(),
        at + 1
    )?;
    writeln!(text, "    step {step} {}", item.unit)?;
    if item.zero != 0.0 {
        writeln!(text, "    zero at {} {}", item.zero, item.unit)?;
    }
    match quantity {
        Quantity::Command => writeln!(text, "    means share\n    full at 100 %"),
        Quantity::Position => {
            let full = car.signals.position_full;
            let means = if item.unit == "%" {
                "share"
            } else {
                "position"
            };
            writeln!(text, "    means {means}\n    full at {full} {}", item.unit)
        }
        Quantity::Torque => match car.signals.torque_from {
            TorqueFrom::Bias => writeln!(text, "    means axle bias"),
            _ => writeln!(text, "    means pack torque"),
        },
        Quantity::Oil => writeln!(text, "    sensor in oil"),
        Quantity::Housing => writeln!(text, "    sensor in housing"),
        quantity if quantity.is_wheel() && car.signals.is_cut_off_stated => {
            let from = car.signals.cut_off_km_per_h.max(0.5);
            writeln!(text, "    believed from {from} km/h")
        }
        _ => Ok(()),
    }
}
