//! What is settled of a drive when results are asked for. The steps of [`super::settle`] add to it
//! in order, and a later step reads what the earlier ones left.

use halfshaft_driveline::Learned;
use halfshaft_driveline::derive::clutch_torque::uniform_pressure_radius;
use halfshaft_driveline::held_torque::Held;
use halfshaft_driveline::thermal::ThermalEstimate;

use super::Health;
use super::fits::{FitKey, Fits};
use super::quality::RearWheels;
use super::temperatures::Beside;
use crate::Calibration;
use crate::actuator::{Actuator, Leading};
use crate::driving::NotDriving;
use crate::findings::{Drive, FindingId};
use crate::nouns::{Event, Figure, Quality, UseClass};
use crate::reason::{DriveFact, Reason};
use crate::ripple::Ripple;
use crate::trust::{Doubt, Gate, HEAT, Source, Verdict};

/// All that more than one step needs.
#[derive(Debug)]
pub(super) struct Settled<'h> {
    /// What was gathered.
    pub(super) health: &'h Health,
    /// What the driveline has learned.
    pub(super) learned: &'h Learned,
    /// The logged pack, when this is another one.
    pub(super) beside: Option<&'h Beside<'h>>,
    /// What is believed.
    pub(super) gate: Gate,
    pub(super) calibration: Calibration,
    pub(super) wheels: RearWheels,
    pub(super) ripple: Result<Option<Ripple>, Reason>,
    pub(super) quality: Quality,
    /// Channels that gave a value.
    pub(super) seen: Vec<String>,
    pub(super) actuator: Result<Actuator, Reason>,
    pub(super) leading: Option<Leading>,
    pub(super) held: Result<Held, Reason>,
    pub(super) not_driving: NotDriving,
    // Empty, and not known, until the step that settles it.
    pub(super) events: Vec<Event>,
    pub(super) thermal: Result<ThermalEstimate, Reason>,
    pub(super) figures: Vec<Figure>,
    pub(super) class: Result<UseClass, Reason>,
}

impl<'h> Settled<'h> {
    /// What needs no heat: the sources as they are judged, the log, the actuator.
    pub(super) fn new(
        health: &'h Health,
        learned: &'h Learned,
        beside: Option<&'h Beside<'h>>,
        fits: &mut Fits,
    ) -> Settled<'h> {
        let gate = health.judged(learned);
        let channels = health.board.coverage.channels();
        let wheels = RearWheels::of(&channels, &health.limits.trust);
        let seen = channels.into_iter().filter(|channel| channel.n_samples > 0);
        let ripple = health.board.ripple.outcome();
        Settled {
            health,
            learned,
            beside,
            calibration: calibration(learned, &gate),
            wheels,
            quality: health.quality(learned, &gate, wheels, &ripple),
            ripple,
            seen: seen.map(|channel| channel.name).collect(),
            actuator: health.board.actuator.outcome(&gate),
            leading: health.board.actuator.leading(),
            held: {
                let key = FitKey::of(&gate, health.is_finished);
                let held = fits.held.get(health.until.seconds(), key, || {
                    let held = health.board.held.ask(&gate);
                    held.and_then(|watch| watch.outcome(&health.basis))
                });
                held.clone()
            },
            not_driving: health.sieve.parting.outcome(),
            gate,
            events: Vec::new(),
            thermal: Err(Reason::NotJudged),
            figures: Vec::new(),
            class: Err(DriveFact::Class.into()),
        }
    }

    /// Whether the pack grips decides what its torque is worth, and needs no figure.
    pub(super) fn judge_grip(&mut self) {
        let findings = &self.health.board.findings;
        let slips = findings.fires(FindingId::DoesNotGrip, &self.drive());
        if slips && self.gate.allows(HEAT).is_ok() {
            let doubt = Doubt {
                why: Reason::NoGrip,
                factor: 0.0,
                is_upper_bound: true,
            };
            self.gate.judge(Source::Torque, Verdict::Doubtful(doubt));
        }
    }

    /// What a check may ask for, as far as it is settled.
    pub(super) fn drive(&self) -> Drive<'_> {
        let health = self.health;
        Drive {
            trust: &self.gate,
            vehicle: &health.vehicle,
            channels: &health.channels,
            basis: &health.basis,
            seen: &self.seen,
            figures: &self.figures,
            events: &self.events,
            calibration: &self.calibration,
            actuator: &self.actuator,
            leading: self.leading.as_ref(),
            swap: health.swap(),
            order_hidden_by_s: health.order_hidden_by_s(),
            held: &self.held,
            thermal: &self.thermal,
            ripple: &self.ripple,
            left_out: &health.board.left_out,
            baseline: &health.baseline,
            pieces: health.board.pieces.pieces(),
            class: &self.class,
            quality: &self.quality,
            not_driving: &self.not_driving,
            limits: &health.limits,
            until: health.until,
        }
    }

    /// Oil temperature to warn at, °C.
    pub(super) fn oil_warn_c(&self) -> f64 {
        let health = self.health;
        health
            .vehicle
            .oil_warn_c
            .unwrap_or(health.limits.oil.warn_c)
    }

    /// Mean friction radius, m.
    pub(super) fn friction_radius_m(&self) -> Option<f64> {
        let pack = self.health.vehicle.pack?;
        Some(uniform_pressure_radius(
            pack.outer_radius_m,
            pack.inner_radius_m,
        ))
    }
}

fn calibration(learned: &Learned, gate: &Gate) -> Calibration {
    let calibration = learned.calibration.clone();
    match gate.verdict(Source::Tyres) {
        Verdict::Withheld(why) => calibration.withheld(why.clone()),
        _ => {
            let ratio = calibration.outcome.clone().map_err(Reason::from);
            calibration.with_outcome(ratio)
        }
    }
}
