//! A drive to put checks in front of.

use crate::Calibration;
use crate::figure_id::FigureId;
use crate::reason::{DriveFact, Reason};
use halfshaft_driveline::held_torque::{Found, Held as HeldTorque, Shape};
use halfshaft_driveline::response::ladder::{Ladder, Pedal};
use halfshaft_driveline::response::resolution::Resolution;
use halfshaft_driveline::response::{Direction, Edge, Fit, Response, Unusable};
use halfshaft_driveline::thermal::{
    self, Anchor, FitOutcome, Load, Peak, Temperatures, ThermalEstimate, ThermalParameters,
    UnknownEstimate,
};
use halfshaft_driveline::{Basis, Mode, RatioEstimate};
use halfshaft_model::{
    Beyond, ChannelSpec, Layout, Meaning, Site, Span, Table, Time, Toleranced, TorqueSource,
    Vehicle,
};

use super::{Check, Drive, Entry, Outcome, Setup};
use crate::actuator::{Actuator, Leading, Motor};
use crate::band::relative;
use crate::baseline::Baseline;
use crate::driving::NotDriving;
use crate::left_out::LeftOutTally;
use crate::limits::Limits;
use crate::nouns::{Event, EventKind, Figure, Grade, Quality, UseClass};
use crate::partial::{PartialLimits, Shares};
use crate::pieces::Piece;
use crate::ripple::Ripple;
use crate::testing::gate;
use crate::trust::{Gate, Source, Swap, Verdict};

mod tests;

/// Everything a [`Drive`] borrows from.
#[derive(Clone, Debug)]
pub struct Scene {
    pub trust: Gate,
    pub swap: Option<Swap>,
    pub order_hidden_by_s: Option<f64>,
    pub vehicle: Vehicle,
    pub channels: Vec<ChannelSpec>,
    pub basis: Basis,
    pub seen: Vec<String>,
    pub figures: Vec<Figure>,
    pub events: Vec<Event>,
    pub calibration: Calibration,
    pub quality: Quality,
    pub actuator: Result<Actuator, Reason>,
    pub leading: Option<Leading>,
    pub pieces: Vec<Piece>,
    pub held: Result<HeldTorque, Reason>,
    pub thermal: Result<ThermalEstimate, Reason>,
    pub ripple: Result<Option<Ripple>, Reason>,
    pub left_out: LeftOutTally,
    pub baseline: Baseline,
    pub class: Result<UseClass, Reason>,
    pub not_driving: NotDriving,
    pub limits: Limits,
    pub until: Time,
}

/// Nothing was logged.
impl Default for Scene {
    fn default() -> Scene {
        Scene {
            trust: gate(&[]),
            swap: None,
            order_hidden_by_s: None,
            vehicle: Vehicle::default(),
            channels: Vec::new(),
            basis: Basis::new(&Vehicle::default(), &[]),
            seen: Vec::new(),
            figures: Vec::new(),
            events: Vec::new(),
            calibration: calibration(Err(DriveFact::Turning.into())),
            quality: Quality {
                grade: Grade::D,
                worst_factor: "the rear wheel speeds cover 0 % of the drive".to_owned(),
                channels: Vec::new(),
                gaps: Vec::new(),
                n_gaps: 0,
            },
            actuator: Err(Reason::NoChannel("clutch.command")),
            leading: None,
            pieces: Vec::new(),
            held: Err(DriveFact::HeldUnderCommand.into()),
            thermal: Err(DriveFact::Torque.into()),
            ripple: Err(DriveFact::Motion.into()),
            left_out: LeftOutTally::new(0),
            baseline: Baseline::default(),
            class: Err("too short to class".to_owned().into()),
            not_driving: NotDriving::default(),
            limits: Limits::default(),
            until: Time(0),
        }
    }
}

pub fn calibration(outcome: Result<RatioEstimate, Reason>) -> Calibration {
    Calibration {
        outcome,
        mode: Mode::YawRegression,
        n_windows: 200,
        n_stretches: 4,
        rejected: Vec::new(),
        yaw_bias: None,
        track_found_m: None,
        front_ratio_log: None,
        are_sides_swapped: false,
        are_signals_identical: false,
        hidden_by_preload: 0.0005,
        step: None,
        drift_per_km: None,
        slide: None,
        under_command: None,
        collapses_with_command: None,
        points: Vec::new(),
    }
}

pub fn figure(id: FigureId, outcome: Result<f64, &str>) -> Figure {
    Figure {
        id,
        title: id.word(),
        unit: "",
        grade: outcome.is_ok().then_some(Grade::A),
        outcome: outcome
            .map(|value| relative(value, 0.1))
            .map_err(|why| Reason::from(why.to_owned())),
        method: String::new(),
    }
}

pub fn event(start_s: f64, end_s: f64, heat_kj: f64) -> Event {
    Event {
        kind: EventKind::Command,
        span: Span {
            start: Time::from_seconds(start_s),
            end: Time::from_seconds(end_s),
        },
        command_peak: Some(0.8),
        slip_peak: Some(3.0),
        heat_kj: Some(heat_kj),
        heat_peak_kw: Some(heat_kj),
        heat_mean_kw: Some(heat_kj / (end_s - start_s)),
        slip_distance_m: None,
        partial_heat_making_s: Some(end_s - start_s),
        speed_peak_m_per_s: Some(20.0),
        is_broken: false,
    }
}

/// Answers to `n` steps of one direction, one a second, sampled every 10 ms; of each its dead
/// time, lag, oil temperature and supply voltage.
pub fn answers(
    n: usize,
    direction: Direction,
    of: impl Fn(usize) -> (f64, f64, f64, f64),
) -> Result<Actuator, Reason> {
    let found = (0..n).map(|index| {
        let (dead_time_s, lag_s, oil_c, supply_v) = of(index);
        answer(index, direction, (dead_time_s, lag_s), (oil_c, supply_v))
    });
    Ok(Actuator::of(
        found.collect(),
        None,
        Some("clutch.position".to_owned()),
        Motor::default(),
    ))
}

pub fn answer(
    index: usize,
    direction: Direction,
    (dead_time_s, lag_s): (f64, f64),
    (oil_c, supply_v): (f64, f64),
) -> Response {
    let time = Time::from_seconds(index as f64);
    let (from, to) = match direction {
        Direction::Engage => (0.0, 0.8),
        Direction::Release => (0.8, 0.0),
    };
    Response {
        edge: Edge {
            direction,
            began: time,
            half: time,
            ended: time,
            first_new: time,
            from,
            to,
            quickest: 0.8,
            run: 1,
        },
        signal: Some(0),
        resolution: Some(Resolution {
            cause_period_s: 0.01,
            answer_period_s: 0.01,
        }),
        phase: Some((index as f64 * 0.618).fract()),
        gone_before: None,
        fit: Ok(Fit {
            gain: 1.0,
            offset: 0.0,
            dead_time_s,
            dead_time_sd_s: Some(0.001),
            lag_s,
            lag_sd_s: Some(0.001),
            residual_sd: 0.002,
            span: 0.8,
            n_readings: 200,
        }),
        crossings: Err(Unusable::CommandMovedOn),
        steady_error: Some(0.01),
        oil_c: Some(oil_c),
        supply_v: Some(supply_v),
    }
}

/// An actuator of which only the motor is known.
pub fn with_motor(motor: Motor) -> Result<Actuator, Reason> {
    Ok(Actuator::of(Vec::new(), None, None, motor))
}

/// An actuator of which `n` movements of a pedal are known: parts of controller and
/// mechanism, and the driver's own time.
pub fn climbs(
    n: usize,
    pedal: Pedal,
    (controller_s, mechanism_s, feed_s): (f64, f64, f64),
) -> Result<Actuator, Reason> {
    let ladders = (0..n).map(|index| Ladder {
        time: Time::from_seconds(5.0 * index as f64),
        pedal,
        controller_s: Some(controller_s),
        mechanism_s: Some(mechanism_s),
        vehicle_s: None,
        feed_s,
    });
    let ladders = Some(ladders.collect());
    Ok(Actuator::of(Vec::new(), ladders, None, Motor::default()))
}

impl Scene {
    /// A whole log of a whole map: 12 faces of 61 to 44.5 mm with 18 % of grooves.
    pub fn whole() -> Scene {
        let names = [
            "wheel.rear.left",
            "wheel.rear.right",
            "wheel.front.left",
            "wheel.front.right",
            "yaw.rate",
            "clutch.command",
            "clutch.torque",
            "oil.temperature",
            "ambient.temperature",
        ];
        let channels: Vec<ChannelSpec> = names.into_iter().map(ChannelSpec::new).collect();
        let vehicle = Vehicle {
            track_rear_m: Some(Toleranced::exact(1.55)),
            rolling_radius_m: Some(Toleranced::exact(0.32)),
            layout: Some(Layout::CaseToOneSide),
            pack: Some(halfshaft_model::vehicle::Pack {
                n_faces: 12,
                outer_radius_m: 0.061,
                inner_radius_m: 0.0445,
                groove_share: 0.18,
                friction: None,
            }),
            preload_nm: Some(Toleranced::exact(80.0)),
            torque_sources: vec![TorqueSource::Reported {
                channel: "clutch.torque".to_owned(),
                is_axle_bias: false,
                relative_sd: 0.1,
            }],
            ..Vehicle::default()
        };
        Scene {
            basis: Basis::new(&vehicle, &channels),
            vehicle,
            channels,
            seen: names.iter().map(|name| (*name).to_owned()).collect(),
            figures: vec![
                figure(FigureId::Distance, Ok(50.0)),
                figure(FigureId::Engagements, Ok(40.0)),
                figure(FigureId::HeatTotal, Ok(20.0)),
                figure(FigureId::OilTempMax, Ok(110.0)),
            ],
            quality: Quality {
                grade: Grade::A,
                worst_factor: "none".to_owned(),
                ..Scene::default().quality
            },
            ripple: Ok(None),
            not_driving: NotDriving {
                can_be_told: true,
                ..NotDriving::default()
            },
            until: Time::from_seconds(3000.0),
            ..Scene::default()
        }
    }

    /// Without a channel.
    pub fn without(mut self, name: &str) -> Scene {
        self.seen.retain(|seen| seen != name);
        if name == "oil.temperature" {
            let why = format!("no value of {name}");
            self.trust.judge(Source::Oil, Verdict::Missing(why.into()));
        }
        self
    }

    pub fn setup(&self) -> Setup<'_> {
        Setup {
            vehicle: &self.vehicle,
            channels: &self.channels,
            basis: &self.basis,
            partial: PartialLimits::new(&self.basis, Shares::default(), &self.limits),
            limits: &self.limits,
        }
    }

    pub fn drive(&self) -> Drive<'_> {
        Drive {
            vehicle: &self.vehicle,
            channels: &self.channels,
            basis: &self.basis,
            seen: &self.seen,
            figures: &self.figures,
            events: &self.events,
            calibration: &self.calibration,
            quality: &self.quality,
            actuator: &self.actuator,
            leading: self.leading.as_ref(),
            pieces: &self.pieces,
            thermal: &self.thermal,
            ripple: &self.ripple,
            left_out: &self.left_out,
            baseline: &self.baseline,
            trust: &self.trust,
            swap: self.swap,
            order_hidden_by_s: self.order_hidden_by_s,
            held: &self.held,
            class: &self.class,
            not_driving: &self.not_driving,
            limits: &self.limits,
            until: self.until,
        }
    }

    /// A check at the start of this drive.
    pub fn check(&self, entry: &Entry) -> Box<dyn Check> {
        (entry.begin)(&self.setup())
    }

    /// What a check that needs no rows says.
    pub fn outcome(&self, entry: &Entry) -> Outcome {
        self.check(entry).outcome(&self.drive())
    }
}

/// Whether a text says a word; else the text.
#[track_caller]
pub fn says(text: &impl std::fmt::Display, word: &str) {
    let text = text.to_string();
    assert!(text.contains(word), "{text:?} does not say {word:?}");
}

/// Temperatures of a drive fitted to a sensor in the oil, the unit as by default.
pub fn thermal() -> ThermalEstimate {
    let parameters = ThermalParameters::default();
    let exactly = |value: f64| thermal::Estimate {
        value,
        low: 0.9 * value,
        high: 1.1 * value,
    };
    let peak = |celsius: f64| Peak {
        celsius: exactly(celsius),
        time: Time::from_seconds(1000.0),
    };
    ThermalEstimate {
        anchor: Anchor::Fitted(Site::Oil),
        parameters,
        unknowns: vec![UnknownEstimate {
            name: "conductance from pack to oil",
            unit: "W/K",
            prior: 60.0,
            prior_sd: 15.0,
            value: 60.0,
            sd: 3.0,
            outcome: FitOutcome::Fitted,
        }],
        residual_sd_k: Some(0.3),
        n_readings: 3000,
        trace: Vec::new(),
        pack_max: peak(150.0),
        oil_max: peak(110.0),
        end: Temperatures {
            pack_c: 130.0,
            oil_c: 110.0,
            housing_c: 100.0,
        },
        recent: Load {
            pack_w: 2000.0,
            gear_w: 500.0,
            air_flow: 1.0,
            ambient_c: 20.0,
        },
        pack_share: Ok(exactly(0.7)),
        equalisation_s: exactly(8.4),
        rise_k_per_kj: Ok(0.05),
        pack_unknown_s: 0.0,
        notes: Vec::new(),
    }
}

/// What the tyres show of a pack, of whose curve this is known.
pub(crate) fn found_held(shape: Option<Shape>, wide_shape: Option<Shape>) -> HeldTorque {
    HeldTorque {
        stiffness_nm: Found {
            value: 25_600.0,
            sd: 2_560.0,
        },
        is_calibrated: true,
        without_command_nm: None,
        points: Vec::new(),
        shape,
        wide_shape,
        n_commanded: 60,
    }
}

/// A whole log whose torque a table gives by position, and the car itself.
pub fn torque_by_table_and_car() -> Scene {
    let mut scene = Scene::whole();
    scene.channels.push(ChannelSpec::new("clutch.position"));
    scene.seen.push("clutch.position".to_owned());
    for channel in &mut scene.channels {
        if channel.name == "clutch.torque" {
            channel.meaning = Some(Meaning::PackTorque);
        }
    }
    scene.vehicle.torque_sources = vec![TorqueSource::Table {
        channel: "clutch.position".to_owned(),
        second: None,
        table: Table::one(vec![0.0, 1.0], vec![0.0, 1000.0], Beyond::Hold)
            .expect("the table rises"),
        is_axle_bias: false,
        relative_sd: 0.1,
    }];
    scene
}
