//! What a sound map leaves open, and what that will cost.

use super::Check;
use super::tables::is_angle;
use crate::mistakes::{MistakeCode, Span};
use crate::syntax::forms::FormName;
use halfshaft_model::unit::{Dimension, UNITS};
use halfshaft_model::{Layout, TorqueSource};

impl Check<'_> {
    pub(super) fn warnings(&mut self) {
        self.meanings();
        self.full_scales();
        self.heat();
    }

    fn meanings(&mut self) {
        for index in 0..self.map.channels.len() {
            let spec = &self.map.channels[index];
            if spec.name.starts_with("clutch.")
                && spec.dimension == Dimension::TORQUE
                && spec.meaning.is_none()
            {
                let (what, span) = (format!("`{}`", spec.name), self.sources[index].span);
                self.meaning_missing(span, &what, "`means pack torque` or `means axle bias`");
            }
        }
    }

    /// Command and state are shares of full; a ratio in percent is one already.
    fn full_scales(&mut self) {
        for name in ["clutch.command", "clutch.position"] {
            let Some(index) = self.map.channel(name) else {
                continue;
            };
            let is_stated = self.map.channels[index].full_scale.is_some();
            if is_stated {
                continue;
            }
            if self.map.channels[index].dimension == Dimension::NONE
                && !self.written_in[index].is_some_and(is_angle)
            {
                self.map.channels[index].full_scale = Some(1.0);
                continue;
            }
            let dimension = self.map.channels[index].dimension;
            let unit = match dimension {
                Dimension::NONE => "deg",
                other => UNITS
                    .iter()
                    .find(|unit| unit.dimension == other)
                    .map_or("", |unit| unit.symbol),
            };
            self.gathered.warning(
                self.sources[index].span,
                MistakeCode::FullMissing,
                format!(
                    "`{name}` does not say what counts as full, so it gives no share of engagement"
                ),
                format!("write `full at` and a value in {unit} under it"),
            );
        }
    }

    fn heat(&mut self) {
        let vehicle_span = self.top(FormName::Vehicle).next().map(|fact| fact.head);
        let clutch_span = self
            .map
            .channels
            .iter()
            .position(|spec| spec.name.starts_with("clutch."))
            .map(|index| self.sources[index].span);
        let span = vehicle_span.or(clutch_span).unwrap_or_default();
        let vehicle = &self.map.vehicle;
        let (layout, sources) = (vehicle.layout, vehicle.torque_sources.clone());
        if sources.is_empty() {
            if clutch_span.is_some() && !self.gathered.has_warning(MistakeCode::MeaningMissing) {
                let command_is_torque = self
                    .map
                    .channel("clutch.command")
                    .is_some_and(|index| self.map.channels[index].dimension == Dimension::TORQUE);
                let suggestion = if command_is_torque {
                    "write `torque from clutch.command` under `vehicle`"
                } else if self.by_name.contains_key("clutch.force") {
                    "write `torque from clamp force clutch.force` under `vehicle`, with the pack and its friction"
                } else {
                    "write `torque from table … of …` under `vehicle`"
                };
                let message = "the map does not say where the torque of the pack comes from, so heat will be refused";
                self.gathered
                    .warning(span, MistakeCode::NoHeat, message, suggestion);
            }
            return;
        }
        self.wheels_for_heat(span);
        let Some(layout) = layout else {
            let message = "the map does not say where the clutch sits, so slip at the pack and heat will be refused";
            self.gathered.warning(
                span,
                MistakeCode::NoHeat,
                message,
                "write `clutch between case and one side gear` under `vehicle`",
            );
            return;
        };
        if let Layout::Geared {
            per_difference,
            per_case,
            ..
        } = layout
            && (per_difference.is_none() || per_case.is_none())
        {
            let message = "a geared clutch makes known heat only with `slip per difference` and `slip per case speed`";
            self.gathered.warning(
                span,
                MistakeCode::NoHeat,
                message,
                "state both under `clutch geared`",
            );
        }
        let gives_bias = sources.iter().any(|source| match source {
            TorqueSource::Table { is_axle_bias, .. }
            | TorqueSource::Reported { is_axle_bias, .. } => *is_axle_bias,
            TorqueSource::Clamp { .. } => false,
        });
        if gives_bias && layout.bias_factor().is_none() {
            self.gathered.warning(
                span,
                MistakeCode::NoHeat,
                "the torque is an axle bias, and a geared clutch says nothing of it without its factor",
                "state `bias per pack torque` under `clutch geared`",
            );
        }
        let from_pack = sources.iter().any(|source| match source {
            TorqueSource::Table { is_axle_bias, .. }
            | TorqueSource::Reported { is_axle_bias, .. } => !is_axle_bias,
            TorqueSource::Clamp { .. } => true,
        });
        if from_pack {
            let place = self.top(FormName::Vehicle).next().and_then(|fact| {
                fact.facts
                    .iter()
                    .find(|under| super::said_once(under.form) == Some(FormName::ClutchOneSide))
                    .map(|under| under.span)
            });
            self.gathered.warning(
                place.unwrap_or(span),
                MistakeCode::LayoutDecidesHeat,
                "heat comes from pack torque, so if the clutch sits elsewhere heat is wrong by a factor of 2",
                "make sure of it; a source that gives axle bias does not depend on it",
            );
        }
    }

    /// Heat needs the speeds of both rear wheels, as the shafts really turn.
    fn wheels_for_heat(&mut self, span: Span) {
        for name in ["wheel.rear.left", "wheel.rear.right"] {
            let Some(index) = self.by_name.get(name).copied() else {
                let message =
                    format!("the map gives no `{name}`, so slip and heat will be refused");
                self.gathered.warning(
                    span,
                    MistakeCode::NoHeat,
                    message,
                    "both rear wheels are needed",
                );
                continue;
            };
            if self.map.channels[index].tyre_corrected {
                let message = format!(
                    "`{name}` is corrected by the car, which hides the slip of mismatched tyres, so heat will be refused"
                );
                self.gathered.warning(
                    self.sources[index].span,
                    MistakeCode::NoHeat,
                    message,
                    "find the uncorrected speed, if the car sends it",
                );
            }
        }
    }
}
