//! How far the log can be trusted, and its time strips for drawing.

use super::Health;
use crate::limits::Slip;
use crate::nouns::{Grade, Quality, Strip, StripSlot};
use crate::reason::Reason;
use crate::ripple::Ripple;
use crate::strips::Envelope;
use crate::sums::is_slipping;
use crate::trust::{Gate, HEAT, Kept};
use halfshaft_driveline::thermal::{ThermalEstimate, TracePoint};
use halfshaft_driveline::{Learned, Row};
use halfshaft_model::{Span, Time};

/// Envelopes of what is drawn over time.
#[derive(Clone, Debug, Default)]
pub(super) struct Strips {
    pub(super) road_speed: Envelope,
    pub(super) difference: Envelope,
    pub(super) command: Envelope,
    pub(super) state: Envelope,
    pub(super) heat_rate: Kept<Envelope, HEAT>,
    pub(super) oil: Envelope,
}

impl Strips {
    /// Takes a row.
    pub(super) fn note(&mut self, row: &Row, slip: &Slip) {
        self.difference.note(row.time, row.difference_mean);
        let heat_rate_w = row.heat_rate_w.map(|watts| {
            if row.is_turning && is_slipping(row, slip) {
                watts
            } else {
                0.0
            }
        });
        let pairs = [
            (&mut self.road_speed, row.road_speed),
            (&mut self.command, row.command),
            (&mut self.state, row.state),
            (self.heat_rate.gather(), heat_rate_w),
        ];
        for (strip, value) in pairs {
            if let Some(value) = value {
                strip.note(row.time, value);
            }
        }
    }
}

impl Health {
    pub(super) fn quality(
        &self,
        learned: &Learned,
        gate: &Gate,
        wheel_coverage: f64,
        resolution: f64,
        ripple: &Result<Option<Ripple>, Reason>,
    ) -> Quality {
        let channels = self.coverage.channels();
        let (gaps, n_gaps) = self.coverage.gaps();
        let mut factors = vec![
            (
                wheel_coverage,
                format!(
                    "the rear wheel speeds cover {:.0} % of the drive",
                    100.0 * wheel_coverage
                ),
            ),
            (resolution, "the rear wheel speeds come slowly".to_owned()),
        ];
        for channel in &channels {
            let matters = channel.name.starts_with("clutch.") && channel.n_samples > 0;
            if matters {
                let text = format!(
                    "{} covers {:.0} % of the drive",
                    channel.name,
                    100.0 * channel.coverage
                );
                factors.push((channel.coverage, text));
            }
        }
        factors.extend(self.exercised(learned, gate));
        if let Ok(Some(ripple)) = ripple {
            let text = format!(
                "a wheel speed ripples {} ({} rear, {:.1} % of its speed), and slip and heat with it",
                ripple.rhythm(),
                ripple.side(),
                100.0 * ripple.share
            );
            factors.push((self.limits.trust.rippling_wheel, text));
        }
        let (factor, words) = factors
            .into_iter()
            .min_by(|one, other| one.0.total_cmp(&other.0))
            .unwrap_or((0.0, String::new()));
        let worst_factor = match factor {
            _ if factor >= 0.99 => "none stands out, every factor is 0.99 or better".to_owned(),
            _ => words,
        };
        Quality {
            grade: Grade::of(factor),
            worst_factor,
            channels,
            gaps,
            n_gaps,
        }
    }

    /// Factors of what the log shows at all: as many samples as the map promises, enough
    /// driving, enough engagements, wheels that can be believed.
    fn exercised(&self, learned: &Learned, gate: &Gate) -> Vec<(f64, String)> {
        let limits = &self.limits.trust;
        let mut factors = Vec::new();
        let duration_s = self.coverage.duration_s().max(1e-9);
        let qualities = self.coverage.channels();
        for (spec, quality) in self.channels.iter().zip(&qualities) {
            let is_rear = spec.name.starts_with("wheel.rear.");
            if let Some(period_s) = spec.period_s.filter(|_| is_rear && quality.n_samples > 0) {
                let share = quality.n_samples as f64 * period_s / duration_s;
                let text = format!(
                    "{} came {:.0} % as often as the map states",
                    spec.name,
                    100.0 * share
                );
                factors.push((share.min(1.0), text));
            }
        }
        let motion = self.sums.motion.ask(gate).ok();
        let minutes = motion.map_or(0.0, |motion| motion.moving_s / 60.0);
        factors.push((
            (minutes / limits.enough_moving_min).min(1.0),
            format!(
                "{minutes:.1} of the {} minutes of driving that show a unit",
                limits.enough_moving_min
            ),
        ));
        match self.command_time(learned) {
            Ok(_) => {
                let enough = limits.enough_events;
                let (n, _) = self.events.engagements(gate);
                let text = format!("{n} of the {enough} engagements that show a unit");
                factors.push(((n as f64 / f64::from(enough)).min(1.0), text));
            }
            Err(reason) => factors.push((limits.unseen_command, reason.to_string())),
        }
        if let Some(ratio) = self.wrong_geometry(gate) {
            let text = format!(
                "in open bends the wheels differ {ratio:.2} times as much as the map's geometry says"
            );
            factors.push((limits.wrong_geometry, text));
        }
        let (n_passed, n_all) = self.fit;
        factors.push((
            self.fit_factor(),
            format!(
                "the values passed {n_passed} of {n_all} checks against the map and each other"
            ),
        ));
        if learned.n_doubted > 0 {
            let text = format!(
                "a rear wheel speed was in doubt {} times",
                learned.n_doubted
            );
            factors.push((limits.doubted_wheels, text));
        }
        factors
    }

    pub(super) fn strip_results(
        &self,
        gate: &Gate,
        thermal: Option<&ThermalEstimate>,
    ) -> Vec<Strip> {
        let strips = &self.strips;
        let mut out = Vec::new();
        let mut add = |name, title, unit, envelope: &Envelope, factor: f64| {
            if !envelope.is_empty() {
                out.push(Strip {
                    name,
                    title,
                    unit,
                    slots: envelope.slots(|value| value * factor),
                });
            }
        };
        add("road_speed", "Road speed", "km/h", &strips.road_speed, 3.6);
        add(
            "axle_speed_difference",
            "Axle speed difference, right − left",
            "rad/s",
            &strips.difference,
            1.0,
        );
        add("command", "Command", "%", &strips.command, 100.0);
        add("state", "State", "%", &strips.state, 100.0);
        if let Ok(heat_rate) = strips.heat_rate.ask(gate) {
            add("heat_rate", "Heat in the pack", "kW", heat_rate, 1e-3);
        }
        add("oil_temperature", "Oil temperature", "°C", &strips.oil, 1.0);
        if let Some(thermal) = thermal {
            out.extend(modelled(thermal, &strips.oil.slots(|value| value)));
        }
        out
    }
}

/// Strips of the thermal model: the pack with its band, the oil, and what the oil measured
/// stands off it.
fn modelled(thermal: &ThermalEstimate, measured: &[StripSlot]) -> Vec<Strip> {
    let trace = &thermal.trace;
    let slots = |of: fn(&TracePoint) -> (f64, f64)| -> Vec<StripSlot> {
        let starts = std::iter::once(Time(0)).chain(trace.iter().map(|point| point.time));
        let slot = |(start, point): (Time, &TracePoint)| {
            let (low, high) = of(point);
            let end = point.time;
            let span = Span { start, end };
            (start < end).then_some(StripSlot { span, low, high })
        };
        starts.zip(trace).filter_map(slot).collect()
    };
    let residual = measured
        .iter()
        .filter_map(|slot| {
            let after = trace.partition_point(|point| point.time < slot.span.start);
            let model_c = trace.get(after)?.oil_c;
            let (low, high) = (slot.low - model_c, slot.high - model_c);
            Some(StripSlot { low, high, ..*slot })
        })
        .collect();
    let strip = |name, title, unit, slots| Strip {
        name,
        title,
        unit,
        slots,
    };
    [
        strip(
            "pack_temperature",
            "Pack temperature, estimated, with its band",
            "°C",
            slots(|point| (point.pack_c.low, point.pack_c.high)),
        ),
        strip(
            "oil_temperature_model",
            "Oil temperature by the model",
            "°C",
            slots(|point| (point.oil_c, point.oil_c)),
        ),
        strip(
            "oil_temperature_off_model",
            "Oil temperature, measured less modelled",
            "K",
            residual,
        ),
    ]
    .into_iter()
    .filter(|strip| !strip.slots.is_empty())
    .collect()
}
