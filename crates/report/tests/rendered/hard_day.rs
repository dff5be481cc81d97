//! A hard track day with all there can be: findings of each severity, laps, needles.

use crate::sample::{self, span, strip};
use halfshaft_health::FigureId;
use halfshaft_health::findings::about;
use halfshaft_health::refusal::Under;
use halfshaft_health::*;
use halfshaft_model::Time;

fn estimate(value: f64, low: f64, high: f64) -> Estimate {
    Estimate {
        value,
        low,
        high,
        is_at_least: false,
    }
}

fn value(name: &'static str, value: f64, unit: &'static str) -> EvidenceValue {
    EvidenceValue { name, value, unit }
}

fn findings() -> Vec<Finding> {
    vec![
        Finding {
            id: FindingId::LosingPressure,
            title: "Losing pressure in this drive",
            severity: Severity::Stop,
            grade: Grade::B,
            summary: "The right rear tyre rolls 0.62 % less far than it did, within 1.4 km, and stays there; 0.3 % is the limit.".to_owned(),
            evidence: vec![EvidenceWindow {
                span: span(900.0, 980.0),
                values: vec![value("change of tyre ratio", 0.62, "%"), value("length", 1.4, "km")],
            }],
            could_also_be: "a changed load, or a tyre that still warms up",
            next_check: "pressure gauge on both rear tyres, cold, and a look at the valves",
            owner_sees: about(FindingId::LosingPressure).owner_sees,
            owner_does: about(FindingId::LosingPressure).owner_does,
            withdrawn_if: "the pressures are equal and the ratio goes back by itself",
        },
        Finding {
            id: FindingId::TyresMismatched,
            title: "Left and right tyres mismatched",
            severity: Severity::Act,
            grade: Grade::A,
            summary: "In straight running the right rear wheel turns 1.24 % faster than the left (1.19 to 1.29); 1 % is the limit, so the clutch slips all the time".to_owned(),
            evidence: vec![EvidenceWindow {
                span: span(0.0, 890.0),
                values: vec![value("tyre ratio", 1.0124, "ratio")],
            }],
            could_also_be: "a yaw sensor with a bias, or a space-saver wheel",
            next_check: "size, pressure and tread depth of both rear tyres",
            owner_sees: about(FindingId::TyresMismatched).owner_sees,
            owner_does: about(FindingId::TyresMismatched).owner_does,
            withdrawn_if: "the ratio is below 0.5 % with the tyres exchanged",
        },
        Finding {
            id: FindingId::HardHit,
            title: "Single hard hit",
            severity: Severity::LookSoon,
            grade: Grade::C,
            summary: "Two events put more than 1.0 J/mm² into the lining, 1.31 at most".to_owned(),
            evidence: [400.0, 790.0, 1_330.0, 1_600.0, 1_610.0]
                .map(|at| EvidenceWindow {
                    span: span(at, at + 4.2),
                    values: vec![value("energy per area", 1.31, "J/mm²"), value("power per area", 0.62, "W/mm²")],
                })
                .to_vec(),
            could_also_be: "a torque table that overstates",
            next_check: "feel for judder in slow tight turns, smell the oil",
            owner_sees: about(FindingId::HardHit).owner_sees,
            owner_does: about(FindingId::HardHit).owner_does,
            withdrawn_if: "the torque table is found to be a quarter too high",
        },
        Finding {
            id: FindingId::HeavyPreload,
            title: "Heavy preload in bends",
            severity: Severity::Note,
            grade: Grade::C,
            summary: "Bends cost 11.8 J per degree, 2.3 times what the stated preload asks".to_owned(),
            evidence: Vec::new(),
            could_also_be: "cold oil",
            next_check: "break-away torque with one wheel lifted",
            owner_sees: about(FindingId::HeavyPreload).owner_sees,
            owner_does: about(FindingId::HeavyPreload).owner_does,
            withdrawn_if: "the break-away torque is as stated",
        },
    ]
}

fn meters() -> Vec<Meter> {
    let meter = |name, title, unit, edges, reading: Result<Estimate, &str>| Meter {
        name,
        title,
        unit,
        edges,
        reading: reading.map_err(|why| why.to_owned().into()),
    };
    vec![
        meter(
            "partial_heat_making_per_100_km",
            "Time slipping under load",
            "s/100 km",
            [5.0, 20.0, 60.0, 180.0, 600.0],
            Ok(estimate(169.6, 156.0, 183.0)),
        ),
        meter(
            FigureId::HeatPerKm.word(),
            "Heat per distance",
            "kJ/km",
            [0.3, 1.0, 3.0, 8.0, 25.0],
            Ok(estimate(8.74, 6.4, 11.13)),
        ),
        meter(
            "events_per_100_km",
            "Engagements",
            "1/100 km",
            [10.0, 40.0, 120.0, 300.0, 800.0],
            Ok(estimate(90.5, 88.0, 93.0)),
        ),
        meter(
            "oil_temp_p99",
            "Oil temperature, passed 1 % of the time",
            "°C",
            [80.0, 90.0, 100.0, 115.0, 130.0],
            Ok(estimate(124.0, 120.0, 128.0)),
        ),
        meter(
            "specific_power_p99",
            "Peak power per area, passed by 1 % of the events",
            "W/mm²",
            [0.05, 0.15, 0.3, 0.7, 1.5],
            Err("the map does not state the lining's area"),
        ),
    ]
}

fn laps() -> Laps {
    let lap_s = 94.0;
    let shapes = [
        (180.0, 92.0, 140.0, 1.9),
        (520.0, -48.0, 90.0, 0.4),
        (890.0, 171.0, 260.0, 4.4),
        (1_420.0, -88.0, 120.0, 2.2),
        (1_760.0, 33.0, 95.0, 0.2),
    ];
    let mut laps = Vec::new();
    let mut corners = Vec::new();
    for number in 1..=6 {
        let start_s = 120.0 + lap_s * f64::from(number - 1);
        let scale = 1.0 + 0.06 * f64::from(number) - 0.1 * f64::from(number % 2);
        let is_at_least = number == 6;
        laps.push(Lap {
            number,
            span: span(start_s, start_s + lap_s),
            length_m: 2_030.0 + 3.0 * f64::from(number),
            heat_kj: Some(11.0 * scale),
            oil_max_c: Some(88.0 + 5.5 * f64::from(number)),
            oil_rise_k: Some(5.5),
            throttle: Some(0.41),
            is_at_least,
        });
        for (index, &(start_m, turned_deg, length_m, heat)) in shapes.iter().enumerate() {
            let at = start_s + start_m / 22.0;
            corners.push(Corner {
                span: span(at, at + length_m / 20.0),
                lap: Some(number),
                number: index as u32 + 1,
                start_m,
                length_m,
                turned_deg,
                entry_speed_m_per_s: 31.0,
                least_speed_m_per_s: 19.0,
                heat_kj: Some(heat * scale),
                oil_c: Some(85.0 + 5.5 * f64::from(number)),
                supply_v: Some(13.8),
                is_at_least: is_at_least && index == 4,
            });
        }
    }
    Laps {
        method: Ok("by the repeated path"),
        going_on: None,
        n_corners: corners.len() as u64,
        course: None,
        laps,
        corners,
    }
}

fn calibration() -> Calibration {
    let points = (0..240).map(|index| {
        let x = f64::from(index);
        let is_accepted = index % 4 != 0;
        let wander = (x * 1.7).sin() * 0.0008
            + if is_accepted {
                0.0
            } else {
                (x * 0.9).cos() * 0.006
            };
        RatioPoint {
            km: 0.1 * x,
            time: Time::from_seconds(6.8 * x),
            ratio_log: 0.0123 + wander,
            heading_per_m: Some((x * 0.9).cos() * if is_accepted { 0.0004 } else { 0.003 }),
            is_accepted,
        }
    });
    Calibration {
        outcome: Ok(RatioEstimate {
            ratio_log: 0.012_32,
            sd: 0.000_12,
            low: 0.0118,
            high: 0.0128,
            grade_factor: 0.93,
        }),
        mode: Mode::YawRegression,
        n_windows: 180,
        n_stretches: 9,
        rejected: vec![
            (Under::Bend, 41),
            (Under::Braking, 12),
            (Under::Commanded, 7),
        ],
        yaw_bias: Some(0.003),
        track_found_m: Some((1.554, 0.004)),
        front_ratio_log: None,
        are_sides_swapped: false,
        are_signals_identical: false,
        hidden_by_preload: 0.0029,
        step: Some(RatioStep {
            km: 14.2,
            time: Time::from_seconds(930.0),
            before: 0.0123,
            after: 0.0061,
        }),
        drift_per_km: Some((0.000_02, 0.000_01)),
        slide: None,
        under_command: None,
        collapses_with_command: Some(CommandCollapse {
            open: 0.0123,
            commanded: 0.002,
            n_commanded: 44,
            is_collapsed: true,
        }),
        points: points.collect(),
    }
}

fn duty_picture() -> DutyPicture {
    let torque_edges_nm = vec![
        50.0, 100.0, 150.0, 200.0, 300.0, 400.0, 600.0, 800.0, 1000.0, 1250.0, 1500.0,
    ];
    let slip_edges = vec![0.05, 0.1, 0.3, 0.6, 1.0, 2.0, 5.0, 10.0, 20.0];
    let (mut seconds, mut joules) = (Vec::new(), Vec::new());
    for torque in 0..=torque_edges_nm.len() {
        for slip in 0..=slip_edges.len() {
            let (t, s) = (torque as f64, slip as f64);
            let time = 420.0 * (-0.55 * t - 0.6 * (s - 1.0).abs()).exp();
            let time = if torque > 9 || slip > 7 || time < 0.05 {
                0.0
            } else {
                time
            };
            seconds.push(time);
            joules.push(time * (60.0 + 95.0 * t) * 0.03 * (1.9_f64).powf(s));
        }
    }
    DutyPicture {
        torque_edges_nm,
        slip_edges,
        seconds,
        joules,
        not_turning_s: 63.0,
        torque_unknown_s: 4.5,
        gap_s: 12.0,
    }
}

/// The day.
pub fn hard_day() -> Results {
    let mut results = sample::track_day();
    results.findings = findings();
    results.not_checked = vec![
        NotChecked {
            id: FindingId::RepeatedLaunches,
            title: "Repeated launches or burnout",
            missing: "no front wheel speeds".to_owned().into(),
        },
        NotChecked {
            id: FindingId::SidesExchanged,
            title: "Left and right look swapped",
            missing: "no yaw.rate in this log".to_owned().into(),
        },
    ];
    results.meters = meters();
    results.class = Ok(UseClass {
        level: 3,
        alternative: Some(4),
        is_at_least: false,
        sentence: "In 24.3 km the clutch worked against slip for 41 s (170 s per 100 km); a gentle car does less than 20 s in that distance. 78 % of the heat came in 58 s of 9 events out of 22. Highest are oil temperature (124 °C) and heat per distance (8.7 kJ/km): that is why this use is called brisk, close to hard, and why the oil goes 40,000 miles (64,000 km) and not the life of the axle (practice of the trade, not a measurement).".to_owned(),
        counterfactual: Some("Without the 4 hottest events it would be normal.".to_owned()),
        stretches: vec![(2, 9.1), (4, 15.2)],
    });
    results.calibration = calibration();
    results.laps = laps();
    results.duty_picture = Ok(duty_picture());
    let parts = [
        (FigureId::HeatPreload, "Heat from preload", 32.1, 22.0, 42.5),
        (
            FigureId::HeatCommanded,
            "Heat from the command",
            118.4,
            86.0,
            149.0,
        ),
        (
            FigureId::HeatMismatch,
            "Heat from mismatched tyres",
            50.2,
            36.0,
            65.0,
        ),
        (FigureId::HeatSpin, "Heat from wheelspin", 11.7, 8.0, 15.0),
    ];
    for (id, title, value, low, high) in parts {
        results.figures.push(sample::figure(
            id,
            title,
            "kJ",
            Ok(estimate(value, low, high)),
            Grade::C,
        ));
    }
    let oil = estimate(124.2, 120.9, 127.5);
    if let Some(figure) = results
        .figures
        .iter_mut()
        .find(|figure| figure.id == FigureId::OilTempMax)
    {
        *figure = sample::figure(
            FigureId::OilTempMax,
            "Highest oil temperature",
            "°C",
            Ok(oil),
            Grade::A,
        );
    }
    results.strips.push(strip(
        "oil_temperature",
        "Oil temperature",
        "°C",
        |t| {
            let c = 124.0 - 62.0 * (-t / 520.0).exp() + 2.0 * (t / 40.0).sin();
            (c, c + 0.4)
        },
        |_| false,
    ));
    sample::judged(results)
}
