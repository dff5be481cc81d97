//! What a sound map leaves open, and what that will cost.

use super::Check;
use super::tables::is_angle;
use crate::mistakes::MistakeCode::{
    FullMissing, LayoutDecidesHeat, MeaningMissing, NoHeat, WheelUnguarded,
};
use crate::mistakes::{Fault, MistakeCode, Span};
use crate::syntax::forms::FormName;
use halfshaft_model::channel::name;
use halfshaft_model::unit::{Dimension, UNITS};
use halfshaft_model::{Layout, TorqueSource};

impl Check<'_> {
    pub(super) fn warnings(&mut self) {
        self.meanings();
        self.full_scales();
        self.heat();
        self.wheels_unguarded();
    }

    /// Wheels whose bad samples only the defaults of the program can find.
    fn wheels_unguarded(&mut self) {
        let frames = self
            .map
            .frames
            .iter()
            .filter(|frame| frame.checksum.is_none());
        let signals = frames.flat_map(|frame| &frame.signals);
        let open = signals.filter(|signal| {
            let name = &self.map.channels[signal.channel].name;
            let codes = signal.absent.len() + signal.broken.len();
            name.starts_with("wheel.") && signal.believe.is_none() && codes == 0
        });
        let open: Vec<usize> = open.map(|signal| signal.channel).collect();
        let Some(first) = open.first() else { return };
        let names: Vec<String> = open
            .iter()
            .map(|channel| format!("`{}`", self.map.channels[*channel].name))
            .collect();
        self.warning(
            self.sources[*first].span,
            WheelUnguarded,
            format!(
                "{} has no range, no code for absent and no checksum: bad samples are found by what a car can do alone",
                names.join(", ")
            ),
            "write `believe 0 to 320 km/h`, `absent 0xFFFF` or `checksum …`, as the car has it",
        );
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
        for name in [name::CLUTCH_COMMAND, name::CLUTCH_POSITION] {
            let Some(index) = self.map.channel(name) else {
                continue;
            };
            let spec = &mut self.map.channels[index];
            if spec.full_scale.is_some() {
                continue;
            }
            let is_angle = self.written_in[index].is_some_and(is_angle);
            if spec.dimension == Dimension::NONE && !is_angle {
                spec.full_scale = Some(1.0);
                continue;
            }
            let dimension = spec.dimension;
            let unit = match dimension {
                Dimension::NONE => "deg",
                _ => {
                    let of_it = UNITS.iter().find(|unit| unit.dimension == dimension);
                    of_it.map_or("", |unit| unit.symbol)
                }
            };
            self.warning(
                self.sources[index].span,
                FullMissing,
                format!(
                    "`{name}` does not say what counts as full, so it gives no share of engagement"
                ),
                format!("write `full at` and a value in {unit} under it"),
            );
        }
    }

    fn warning(
        &mut self,
        span: Span,
        code: MistakeCode,
        message: impl Into<String>,
        suggestion: impl Into<String>,
    ) {
        self.gathered
            .warning(Fault::with(span, code, message, suggestion));
    }

    fn heat(&mut self) {
        let vehicle = self.top(FormName::Vehicle).next();
        let is_clutch = |name: &str| name.starts_with("clutch.");
        let clutch = self
            .map
            .channels
            .iter()
            .position(|spec| is_clutch(&spec.name));
        let clutch_span = clutch.map(|index| self.sources[index].span);
        let span = vehicle
            .map(|fact| fact.head)
            .or(clutch_span)
            .unwrap_or_default();
        let sources = self.map.vehicle.torque_sources.clone();
        if sources.is_empty() {
            if clutch_span.is_some() && !self.gathered.has_warning(MeaningMissing) {
                self.no_torque(span);
            }
            return;
        }
        self.wheels_for_heat(span);
        let Some(layout) = self.map.vehicle.layout else {
            let message = "the map does not say where the clutch sits, so slip at the pack and heat will be refused";
            let suggestion = "write `clutch between case and one side gear` under `vehicle`";
            return self.warning(span, NoHeat, message, suggestion);
        };
        if let Layout::Geared {
            per_difference,
            per_case,
            ..
        } = layout
            && (per_difference.is_none() || per_case.is_none())
        {
            let message = "a geared clutch makes known heat only with `slip per difference` and `slip per case speed`";
            self.warning(span, NoHeat, message, "state both under `clutch geared`");
        }
        let is_bias = |source: &TorqueSource| match source {
            TorqueSource::Table { is_axle_bias, .. }
            | TorqueSource::Reported { is_axle_bias, .. } => *is_axle_bias,
            TorqueSource::Clamp { .. } => false,
        };
        if sources.iter().any(is_bias) && layout.bias_factor().is_none() {
            self.warning(
                span,
                NoHeat,
                "the torque is an axle bias, and a geared clutch says nothing of it without its factor",
                "state `bias per pack torque` under `clutch geared`",
            );
        }
        if !sources.iter().all(is_bias) {
            let layout = vehicle.and_then(|fact| {
                let is_layout = |form: FormName| form.form().once == Some(FormName::ClutchOneSide);
                fact.facts.iter().find(|under| is_layout(under.form))
            });
            self.warning(
                layout.map_or(span, |fact| fact.span),
                LayoutDecidesHeat,
                "heat comes from pack torque, so if the clutch sits elsewhere heat is wrong by a factor of 2",
                "make sure of it; a source that gives axle bias does not depend on it",
            );
        }
    }

    fn no_torque(&mut self, span: Span) {
        let command = self
            .map
            .channel(name::CLUTCH_COMMAND)
            .map(|index| &self.map.channels[index]);
        let suggestion = if command.is_some_and(|spec| spec.dimension == Dimension::TORQUE) {
            "write `torque from clutch.command` under `vehicle`"
        } else if self.by_name.contains_key(name::CLUTCH_FORCE) {
            "write `torque from clamp force clutch.force` under `vehicle`, with the pack and its friction"
        } else {
            "write `torque from table … of …` under `vehicle`"
        };
        let message =
            "the map does not say where the torque of the pack comes from, so heat will be refused";
        self.warning(span, NoHeat, message, suggestion);
    }

    /// Heat needs the speeds of both rear wheels, as the shafts really turn.
    fn wheels_for_heat(&mut self, span: Span) {
        for name in [name::WHEEL_REAR_LEFT, name::WHEEL_REAR_RIGHT] {
            let Some(index) = self.by_name.get(name).copied() else {
                let message =
                    format!("the map gives no `{name}`, so slip and heat will be refused");
                self.warning(span, NoHeat, message, "both rear wheels are needed");
                continue;
            };
            if self.map.channels[index].tyre_corrected {
                let message = format!(
                    "`{name}` is corrected by the car, which hides the slip of mismatched tyres, so heat will be refused"
                );
                let suggestion = "find the uncorrected speed, if the car sends it";
                self.warning(self.sources[index].span, NoHeat, message, suggestion);
            }
        }
    }
}
