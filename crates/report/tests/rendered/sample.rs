//! Hand-made results for the tests: an ordinary track day, and a log that shows nothing.

use halfshaft_health::FigureId;
use halfshaft_health::duty::{Duty, DutyInput, DutyWatch};
use halfshaft_health::limits::{DutyLimits, Limits, OilPolicy, VerdictLimits};
use halfshaft_health::oil_life::{OilInput, OilLife, oil_life};
use halfshaft_health::stint::Stint;
use halfshaft_health::trust::{Gate, Still};
use halfshaft_health::verdict::Grounds;
use halfshaft_health::*;
use halfshaft_model::{Code, LogPlace, Notices, Span, Stamp, Time};
use halfshaft_report::{ClockKind, ClockRecord, Document, InputRecord, MapRecord};

const SLOT_S: f64 = 2.0;
const UNTIL_S: f64 = 1634.0;

pub fn span(start_s: f64, end_s: f64) -> Span {
    Span {
        start: Time::from_seconds(start_s),
        end: Time::from_seconds(end_s),
    }
}

fn exact(value: f64) -> Estimate {
    Estimate {
        value,
        low: value,
        high: value,
        is_at_least: false,
    }
}

fn banded(value: f64, low: f64, high: f64) -> Estimate {
    Estimate {
        value,
        low,
        high,
        is_at_least: false,
    }
}

pub fn figure(
    id: FigureId,
    title: &'static str,
    unit: &'static str,
    outcome: Result<Estimate, &str>,
    grade: Grade,
) -> Figure {
    let grade = outcome.is_ok().then_some(grade);
    let method = format!("{title}, as the test made it up");
    Figure {
        id,
        title,
        unit,
        outcome: outcome.map_err(|why| why.to_owned().into()),
        grade,
        method,
    }
}

fn event(start_s: f64, length_s: f64, heat_kj: f64) -> Event {
    Event {
        kind: EventKind::Command,
        span: span(start_s, start_s + length_s),
        command_peak: Some(0.85),
        slip_peak: Some(4.0 + heat_kj / 4.0),
        heat_kj: Some(heat_kj),
        heat_peak_kw: Some(1.8 * heat_kj / length_s),
        heat_mean_kw: None,
        slip_distance_m: None,
        partial_heat_making_s: Some(0.6 * length_s),
        speed_peak_m_per_s: Some(28.0),
        is_broken: false,
    }
}

/// Slots every 2 s from a smooth invented curve, silent from 10:00 to 10:41.
pub fn strip(
    name: &'static str,
    title: &'static str,
    unit: &'static str,
    curve: impl Fn(f64) -> (f64, f64),
    is_silent: impl Fn(f64) -> bool,
) -> Strip {
    let slots = (0..(UNTIL_S / SLOT_S) as usize)
        .map(|index| index as f64 * SLOT_S)
        .filter(|&start| !(600.0..641.0).contains(&start) && !is_silent(start))
        .map(|start| {
            let (low, high) = curve(start);
            StripSlot {
                span: span(start, start + SLOT_S),
                low,
                high,
            }
        })
        .collect();
    Strip {
        name,
        title,
        unit,
        slots,
    }
}

fn channel(
    name: &str,
    n_samples: u64,
    period_s: Option<f64>,
    coverage: f64,
    n_gaps: u64,
    gap_s: f64,
) -> ChannelQuality {
    ChannelQuality {
        name: name.to_owned(),
        n_samples,
        n_missing: 0,
        period_s,
        coverage,
        n_gaps,
        gap_s,
    }
}

fn no_calibration(why: &str) -> Calibration {
    Calibration {
        outcome: Err(why.to_owned().into()),
        mode: Mode::ShortestThird,
        n_windows: 0,
        n_stretches: 0,
        rejected: Vec::new(),
        yaw_bias: None,
        track_found_m: None,
        front_ratio_log: None,
        are_sides_swapped: false,
        are_signals_identical: false,
        hidden_by_preload: 0.0,
        step: None,
        drift_per_km: None,
        slide: None,
        under_command: None,
        collapses_with_command: None,
        points: Vec::new(),
    }
}

fn no_stint() -> Stint {
    Stint {
        number: 1,
        start: Time(0),
        heat_kj: Err("not summed".to_owned().into()),
    }
}

fn no_laps() -> Laps {
    Laps {
        method: Err("no path repeats in this drive".to_owned().into()),
        laps: Vec::new(),
        going_on: None,
        corners: Vec::new(),
        n_corners: 0,
        course: None,
    }
}

/// The results with the verdict on what they hold by now.
pub fn judged(mut results: Results) -> Results {
    let grounds = Grounds {
        findings: &results.findings,
        not_checked: &results.not_checked,
        n_checks: halfshaft_health::findings::n_checks(),
        figures: &results.figures,
        tier: &results.tier,
        quality: &results.quality,
    };
    results.verdict = Verdict::of(&grounds, &VerdictLimits::default());
    results
}

/// The verdict on nothing at all.
fn no_verdict() -> Verdict {
    let grounds = Grounds {
        findings: &[],
        not_checked: &[],
        n_checks: 0,
        figures: &[],
        tier: &Tier {
            number: None,
            words: "no rear wheel speeds",
            next_step: String::new(),
        },
        quality: &Quality {
            grade: Grade::D,
            worst_factor: String::new(),
            channels: Vec::new(),
            gaps: Vec::new(),
            n_gaps: 0,
        },
    };
    Verdict::of(&grounds, &VerdictLimits::default())
}

/// A track day with a gap, one broken event and no oil temperature.
pub fn track_day() -> Results {
    let lap = |t: f64| (t / 94.0 * std::f64::consts::TAU).sin();
    let fast = |t: f64| (t / 11.0).sin() * (t / 3.7).cos();
    let corner = move |t: f64| (0.5 - 0.5 * lap(t) + 0.3 * fast(t)).clamp(0.0, 1.0);
    let mut events: Vec<Event> = (0..23)
        .map(|index| {
            event(
                70.0 + 65.0 * f64::from(index),
                2.0 + f64::from(index % 4),
                3.0 + f64::from(index * 7 % 13),
            )
        })
        .collect();
    events[8].is_broken = true;
    events[8].span = span(597.5, 643.2);
    events[15].kind = EventKind::SlipOnly;
    events[15].command_peak = None;
    judged(Results {
        verdict: no_verdict(),
        actuator: Err("the map has no channel clutch.command".to_owned().into()),
        apparent: None,
        actuator_sentence: None,
        held_torque: Err("no steady bends".to_owned().into()),
        two_by_two: Err("0 times there was something to lock".to_owned().into()),
        thermal: Err("the drive is too short".to_owned().into()),
        outlook: Err("the drive is too short".to_owned().into()),
        score_card: Vec::new(),
        duty: no_duty(),
        severity: Err("none of four ramps is known, 2 are needed".to_owned().into()),
        oil_life: no_oil_life(),
        trust: Gate::new(0.01, Still::default()),
        is_provisional: false,
        until: Time::from_seconds(UNTIL_S),
        tier: Tier {
            number: Some(2),
            words: "wheel speeds, command and torque",
            next_step: "oil.temperature at 1 Hz would show how the oil takes the heat".to_owned(),
        },
        figures: vec![
            figure(FigureId::Duration, "Length of the log", "s", Ok(exact(UNTIL_S)), Grade::A),
            figure(FigureId::MovingTime, "Moving time", "s", Ok(banded(1502.4, 1501.9, 1502.9)), Grade::A),
            figure(FigureId::Distance, "Distance", "km", Ok(banded(24.31, 23.83, 24.79)), Grade::A),
            figure(FigureId::TurnTotal, "Turning, both ways together", "deg", Err("no yaw.rate and no front wheel speeds in this log"), Grade::A),
            figure(FigureId::SlipPeak, "Highest slip of the pack", "rad/s", Ok(banded(6.914, 6.72, 7.11)), Grade::B),
            figure(FigureId::PartialByCommand, "Partly engaged by command", "s", Ok(banded(88.34, 87.9, 88.8)), Grade::A),
            figure(FigureId::PartialHeatMaking, "Time slipping under load", "s", Ok(banded(41.24, 38.03, 44.51)), Grade::B),
            figure(FigureId::Engagements, "Engagements asked for", "count", Ok(exact(22.0)), Grade::B),
            figure(
                FigureId::HeatTotal,
                "Heat in the pack",
                "kJ",
                Ok(Estimate { value: 212.4, low: 158.3, high: 266.2, is_at_least: true }),
                Grade::C,
            ),
            figure(FigureId::HeatPeak, "Highest heat rate", "kW", Ok(banded(6.124, 4.31, 7.93)), Grade::C),
            figure(FigureId::HeatPerKm, "Heat per distance", "kJ/km", Ok(banded(8.737, 6.4, 11.13)), Grade::C),
            figure(FigureId::OilTempMax, "Highest oil temperature", "°C", Err("no oil.temperature in this log"), Grade::A),
        ],
        events,
        regions: Ok(Regions {
            seconds: [1190.4, 152.2, 39.1, 61.3, 2.1, 0.0, 57.3],
            joules: Some([1_210.0, 22_400.0, 171_300.0, 9_800.0, 7_690.0, 0.0, 0.0]),
        }),
        cannot_tell: vec![
            CannotTell {
                code: "oil-headroom",
                question: "How close did the oil come to its limit?",
                why: "no oil.temperature in this log".to_owned(),
                next_time: "oil.temperature at 1 Hz, and ambient.temperature".to_owned(),
            },
            CannotTell {
                code: "lock-in-bends",
                question: "Does the pack hold when there is something to hold?",
                why: "without yaw.rate or front wheel speeds nothing says what the bend asks".to_owned(),
                next_time: "yaw.rate at 20 Hz or more, or both front wheel speeds".to_owned(),
            },
        ],
        quality: Quality {
            grade: Grade::C,
            worst_factor: "torque is known to ±15 % only, from the table of the map".to_owned(),
            channels: vec![
                channel("wheel.rear.left", 79_650, Some(0.02), 0.975, 1, 41.0),
                channel("wheel.rear.right", 79_648, Some(0.02), 0.975, 1, 41.0),
                channel("clutch.command", 68_402, Some(0.02), 0.871, 12, 211.4),
                channel("oil.temperature", 0, None, 0.0, 0, 0.0),
            ],
            gaps: vec![
                Gap { channel: "clutch.command".to_owned(), span: span(1200.0, 1298.5) },
                Gap { channel: "whole log".to_owned(), span: span(600.0, 641.0) },
            ],
            n_gaps: 14,
        },
        noise_floor: Some(NoiseFloor { slip_sd: 0.031_2, slip_step: 0.0043, smallest_slip: 0.029_6, n_samples: 20_113 }),
        tyre_ratio_log: Some(0.001_84),
        calibration: no_calibration("12 windows of 40 wanted"),
        laps: no_laps(),
        stint: no_stint(),
        findings: Vec::new(),
        not_checked: Vec::new(),
        meters: Vec::new(),
        class: Err("two needles of three wanted".to_owned().into()),
        duty_picture: Err("no torque is known".to_owned().into()),
        strips: vec![
            strip("road_speed", "Road speed", "km/h", move |t| {
                let v = 95.0 + 55.0 * lap(t) + 9.0 * fast(t);
                let v = if t < 60.0 { v * t / 60.0 } else { v };
                (v - 3.0 * t.min(1.0), v + 3.0)
            }, |_| false),
            strip("axle_speed_difference", "Axle speed difference", "rad/s", move |t| {
                let d = 3.0 * fast(t) * corner(t);
                (d - 0.8 * corner(t), d + 0.8 * corner(t))
            }, |_| false),
            strip("command", "Command", "%", move |t| {
                let u = (corner(t) * 1.7 - 0.7).max(0.0) * 100.0;
                (u * 0.6, u)
            }, |t| (1200.0..1298.0).contains(&t)),
            strip("heat_rate", "Heat rate in the pack", "kW", move |t| (0.0, 6.1 * (corner(t) * 1.7 - 0.9).max(0.0)), |_| false),
        ],
        assumptions: vec![
            "The pack sits between the case and one side gear, as the map says.".to_owned(),
            "Torque comes from the table of the map, entered with the command: there is no position or pressure.".to_owned(),
        ],
        limits: Limits::default(),
        settings_changed: Vec::new(),
    })
}

/// What is left when a log has nothing to say.
pub fn nothing() -> Results {
    Results {
        verdict: no_verdict(),
        actuator: Err("the map has no channel clutch.command".to_owned().into()),
        apparent: None,
        actuator_sentence: None,
        held_torque: Err("no steady bends".to_owned().into()),
        two_by_two: Err("0 times there was something to lock".to_owned().into()),
        thermal: Err("the drive is too short".to_owned().into()),
        outlook: Err("the drive is too short".to_owned().into()),
        score_card: Vec::new(),
        duty: no_duty(),
        severity: Err("none of four ramps is known, 2 are needed"
            .to_owned()
            .into()),
        oil_life: no_oil_life(),
        trust: Gate::new(0.01, Still::default()),
        is_provisional: true,
        until: Time(0),
        tier: Tier {
            number: None,
            words: "no rear wheel speeds",
            next_step: String::new(),
        },
        figures: Vec::new(),
        events: Vec::new(),
        regions: Err("no rear wheel speeds".to_owned().into()),
        cannot_tell: Vec::new(),
        quality: Quality {
            grade: Grade::D,
            worst_factor: String::new(),
            channels: Vec::new(),
            gaps: Vec::new(),
            n_gaps: 0,
        },
        noise_floor: None,
        tyre_ratio_log: None,
        calibration: no_calibration("no rear wheel speeds"),
        laps: no_laps(),
        stint: no_stint(),
        findings: Vec::new(),
        not_checked: Vec::new(),
        meters: Vec::new(),
        class: Err("no rear wheel speeds".to_owned().into()),
        duty_picture: Err("no rear wheel speeds".to_owned().into()),
        strips: Vec::new(),
        assumptions: Vec::new(),
        limits: Limits::default(),
        settings_changed: Vec::new(),
    }
}

/// Notices with two codes.
pub fn notices() -> Notices {
    let mut notices = Notices::default();
    let place = |line| LogPlace {
        source: "tuesday.log.zst".to_owned(),
        line,
    };
    for line in 0..12 {
        notices.count(Code::LineUnreadable, || {
            (place(4411 + line), "(1715000000.12 can0 3C0#".to_owned())
        });
    }
    notices.count(Code::ClockSilence, || (place(512_007), "41.0 s".to_owned()));
    notices
}

/// A document around results.
pub fn document<'a>(results: &'a Results, notices: &'a Notices) -> Document<'a> {
    Document {
        results,
        inputs: vec![InputRecord {
            name: "tuesday.log.zst".to_owned(),
            format: "SocketCAN log text".to_owned(),
            compression: Some("zstd".to_owned()),
            size_bytes: 1_934_112,
            fingerprint: "9f2c6a1e00d4b7f3".to_owned(),
            n_entries: 812_440,
            n_lines_skipped: 12,
            first_stamp: Some(Stamp(1_715_004_764_000_000_000)),
            last_stamp: Some(Stamp(1_715_006_398_000_000_000)),
            trouble: None,
        }],
        notices,
        compared_with: None,
        map: MapRecord {
            title: "Tarnwick Q4, rear axle".to_owned(),
            identity: vec![
                ("written by".to_owned(), "the workshop".to_owned()),
                ("version".to_owned(), "3".to_owned()),
            ],
            fingerprint: "51be0cc2a98d7744".to_owned(),
            vehicle: "Tarnwick Q4".to_owned(),
            unit: Some("TQ-2".to_owned()),
        },
        program_version: "0.1.0",
        command: "halfshaft report tuesday.log.zst --map tarnwick-q4.map --out report".to_owned(),
        clock: ClockRecord {
            set_ahead_ns: 0,
            first_stamp: Stamp(1_715_004_764_000_000_000),
            last_stamp: Stamp(1_715_006_398_000_000_000),
            kind: ClockKind::Unix,
            words: "seconds since 1970, UTC, as the logger wrote them".to_owned(),
        },
        remarks: vec![
            "wheel.rear.left: 31 times as rough as with its bytes swapped [byte-swapped]"
                .to_owned(),
        ],
        workshop: None,
        files_written: vec![
            "report/report.json".to_owned(),
            "report/report.html".to_owned(),
        ],
    }
}

fn no_duty() -> Duty {
    let none = Err("too short".to_owned().into());
    let gate = Gate::new(0.01, Still::default());
    DutyWatch::new(&DutyLimits::default()).outcome(DutyInput {
        gate: &gate,
        events: &[],
        area_mm2: Err("the map does not state faces and radii of the pack"
            .to_owned()
            .into()),
        n_packs: 1.0,
        heat_kj: Err("no torque".to_owned().into()),
        distance_km: Err("no road speed".to_owned().into()),
        least_km: 10.0,
        life_line: Default::default(),
        thermal: &none,
    })
}

fn no_oil_life() -> OilLife {
    let input = OilInput {
        rate: Err("the map has no channel oil.temperature".to_owned().into()),
        heat_kj_per_km: Err("no torque".to_owned().into()),
        distance_km: None,
        sensor_sd_k: 2.0,
        km_per_year: None,
        is_on_circuit: false,
    };
    oil_life(&OilPolicy::default(), &input)
}
