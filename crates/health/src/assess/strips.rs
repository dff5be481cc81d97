//! Time strips for drawing: what was measured, and what the thermal model makes of it.

use halfshaft_driveline::Row;
use halfshaft_driveline::thermal::{ThermalEstimate, TracePoint};
use halfshaft_model::{Span, Time};

use crate::limits::Slip;
use crate::nouns::{Strip, StripSlot};
use crate::part::{Came, Part, Passage};
use crate::strips::Envelope;
use crate::sums::is_slipping;
use crate::trust::{Gate, HEAT, Kept};

/// Envelopes of what is drawn over time.
#[derive(Clone, Debug, Default)]
pub(super) struct Strips {
    road_speed: Envelope,
    difference: Envelope,
    command: Envelope,
    state: Envelope,
    heat_rate: Kept<Envelope, HEAT>,
    oil: Envelope,
}

impl Strips {
    fn add(&mut self, row: &Row, slip: &Slip) {
        self.difference.add(row.time, row.difference_mean);
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
                strip.add(row.time, value);
            }
        }
    }

    /// All that there is to draw.
    pub(super) fn outcome(&self, gate: &Gate, thermal: Option<&ThermalEstimate>) -> Vec<Strip> {
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
        add("road_speed", "Road speed", "km/h", &self.road_speed, 3.6);
        add(
            "axle_speed_difference",
            "Axle speed difference, right − left",
            "rad/s",
            &self.difference,
            1.0,
        );
        add("command", "Command", "%", &self.command, 100.0);
        add("state", "State", "%", &self.state, 100.0);
        if let Ok(heat_rate) = self.heat_rate.ask(gate) {
            add("heat_rate", "Heat in the pack", "kW", heat_rate, 1e-3);
        }
        add("oil_temperature", "Oil temperature", "°C", &self.oil, 1.0);
        if let Some(thermal) = thermal {
            out.extend(modelled(thermal, &self.oil.slots(|value| value)));
        }
        out
    }
}

impl Part for Strips {
    fn block(&mut self, came: &Came) {
        // A jump is drawn, too.
        for reading in came.oil {
            self.oil.add(reading.time, reading.celsius);
        }
    }

    fn rows(&mut self, passage: &Passage) {
        let slip = &passage.partial.limits.slip;
        passage.rows.iter().for_each(|row| self.add(row, slip));
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
