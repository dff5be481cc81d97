//! Channels: their names, their facts, and values in their unit.
//!
//! A channel is found by name; the first source creates it and the others must say the
//! same of it. A wheel speed given as a road speed is divided by the rolling radius here
//! and nowhere else.

use super::Check;
use crate::map::Condition;
use crate::mistakes::MistakeCode::{
    MeaningMisfit, MissingFact, RangeEmpty, Twice, UnitMisfit, UnknownChannel, WrongPlace,
};
use crate::mistakes::Span;
use crate::syntax::forms::FormName;
use crate::syntax::slots::{MEANINGS, Quantity, Slot, did_you_mean};
use crate::syntax::tree::Fact;
use halfshaft_model::channel::name;
use halfshaft_model::channel::{Behaviour, Meaning, ROLES, Role, Site};
use halfshaft_model::{ChannelSpec, Dimension};

/// Where a channel comes from.
#[derive(Clone, Debug, Default)]
pub(super) struct Sources {
    /// Frame and conditions of each signal.
    pub signals: Vec<(usize, Vec<Condition>)>,
    /// Sheets.
    pub sheets: Vec<usize>,
    /// Worked out from others.
    pub is_derived: bool,
    /// Line of the first source.
    pub line: usize,
    /// Place of the first source.
    pub span: Span,
}

/// Whether a value is a reading or a difference between two.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum As {
    Reading,
    Difference,
}

impl<'t> Check<'t> {
    /// The index of a channel by name, created when new; a mistake when it cannot be one.
    pub(super) fn channel(&mut self, name: &str, span: Span, line: usize) -> Option<usize> {
        if let Some(index) = self.by_name.get(name) {
            return Some(*index);
        }
        let is_own = name
            .strip_prefix("own.")
            .is_some_and(|rest| !rest.is_empty());
        if Role::find(name).is_none() && !is_own {
            let mut suggestion = did_you_mean(name, ROLES.iter().map(|role| role.name));
            if suggestion.is_empty() {
                let tail = name.rsplit('.').next().filter(|tail| !tail.is_empty());
                suggestion = format!(
                    "name a channel of your own `own.{}`",
                    tail.unwrap_or("name")
                );
            }
            let message = format!("the program knows no channel `{name}`");
            self.mistake_with(span, UnknownChannel, message, suggestion);
            return None;
        }
        let index = self.map.channels.len();
        self.map.channels.push(ChannelSpec::new(name));
        self.written_in.push(None);
        self.sources.push(Sources {
            line,
            span,
            ..Sources::default()
        });
        self.by_name.insert(name.to_owned(), index);
        Some(index)
    }

    /// Sets the dimension of a channel from the unit its number is given in.
    pub(super) fn set_dimension(&mut self, channel: usize, quantity: Quantity) -> bool {
        let is_first = self.is_new(channel);
        self.written_in[channel].get_or_insert(quantity.unit);
        let role = self.map.channels[channel].role;
        let mut kept = quantity.unit.dimension;
        if let Some(role) = role {
            let what = format!("`{}`", self.map.channels[channel].name);
            if !self.fits(quantity, role.dimensions, &what) {
                return false;
            }
            // Wheel speeds are kept as angular speeds, whichever way they come.
            if is_wheel(role) {
                kept = Dimension::ANGULAR_SPEED;
            }
        }
        let spec = &mut self.map.channels[channel];
        if is_first {
            spec.dimension = kept;
        }
        if spec.dimension == kept {
            return true;
        }
        let (here, there) = (kept.describe(), spec.dimension.describe());
        let (name, line) = (&spec.name, self.sources[channel].line);
        let message = format!("`{name}` is {here} here and {there} where line {line} gives it");
        self.mistake(quantity.unit_span, UnitMisfit, message);
        false
    }

    /// Whether no source of the channel has been accepted yet.
    pub(super) fn is_new(&self, channel: usize) -> bool {
        let sources = &self.sources[channel];
        sources.signals.is_empty() && sources.sheets.is_empty() && !sources.is_derived
    }

    /// A quantity in the channel's SI unit.
    pub(super) fn in_channel(
        &mut self,
        channel: usize,
        quantity: Quantity,
        kind: As,
    ) -> Option<f64> {
        let spec = &self.map.channels[channel];
        let name = spec.name.clone();
        let is_wheel = spec.role.is_some_and(is_wheel);
        let si = match kind {
            As::Reading => quantity.unit.to_si(quantity.value),
            As::Difference => quantity.unit.difference_to_si(quantity.value),
        };
        if is_wheel && quantity.unit.dimension == Dimension::SPEED {
            let radius = self.radius(&name, quantity.span)?;
            return Some(si / radius);
        }
        let wanted = spec.dimension;
        self.fits(quantity, &[wanted], &format!("`{name}`"))
            .then_some(si)
    }

    /// The rolling radius, m; a mistake when the map does not state it.
    pub(super) fn radius(&mut self, name: &str, span: Span) -> Option<f64> {
        let radius = self.map.vehicle.rolling_radius_m.map(|radius| radius.value);
        if radius.is_none() && !self.top(FormName::Vehicle).any(|fact| fact.is_damaged) {
            self.mistake_with(
                span,
                MissingFact,
                format!("`{name}` is given as a road speed, and the map states no rolling radius to divide it by"),
                "write `tyre 225/45 R17`, `rolling radius 0.31 m` or `roll-out 1.95 m` under `vehicle`",
            );
        }
        radius
    }

    /// Takes over what a source states of the channel itself.
    pub(super) fn channel_facts(&mut self, channel: usize, facts: &[&'t Fact]) {
        let mut spec = self.map.channels[channel].clone();
        for fact in facts {
            match (fact.form, fact.slots.as_slice()) {
                (FormName::Means, [Slot::Meaning(meaning, span)])
                    if self.meaning_fits(&spec, *meaning, *span) =>
                {
                    spec.meaning = Some(*meaning);
                }
                (FormName::Full, [Slot::Quantity(quantity)]) => {
                    spec.full_scale = self.in_channel(channel, *quantity, As::Reading);
                    if spec.full_scale == Some(0.0) {
                        self.mistake(quantity.span, RangeEmpty, "full cannot be at zero");
                    }
                }
                (FormName::SensorOil, _) => spec.site = self.site(&spec, Site::Oil, fact),
                (FormName::SensorHousing, _) => spec.site = self.site(&spec, Site::Housing, fact),
                (FormName::Modelled, _) => spec.site = self.site(&spec, Site::ModelledByCar, fact),
                (FormName::Corrected, _) if self.wheel_only(&spec, fact) => {
                    spec.tyre_corrected = true;
                }
                (FormName::BelievedFrom, _) if self.wheel_only(&spec, fact) => {
                    spec.believable_from_m_per_s = self.figure(fact).map(|speed| speed.value);
                }
                (FormName::Late, _) => {
                    spec.late_by_s = self.figure(fact).map_or(0.0, |late| late.value);
                }
                (FormName::Holds, _) => {
                    let behaviour = spec.role.map(|role| role.behaviour);
                    if behaviour != Some(Behaviour::Continuous) {
                        spec.behaviour = Behaviour::Held;
                        continue;
                    }
                    let message = format!(
                        "`{}` is a measured quantity and does not hold between samples",
                        spec.name
                    );
                    let suggestion = "say this of a channel of your own";
                    self.mistake_with(fact.span, WrongPlace, message, suggestion);
                }
                _ => {}
            }
        }
        let before = &self.map.channels[channel];
        let differs = before.meaning.is_some() && before.meaning != spec.meaning
            || before.full_scale.is_some() && before.full_scale != spec.full_scale
            || before.site.is_some() && before.site != spec.site;
        if differs && !self.is_new(channel) {
            let (line, name) = (self.sources[channel].line, &spec.name);
            let message = format!("line {line} says otherwise of `{name}`");
            let span = facts
                .first()
                .map_or(self.sources[channel].span, |fact| fact.span);
            self.mistake(span, Twice, message);
        }
        spec.meaning = spec.meaning.or_else(|| plain_meaning(&spec));
        self.map.channels[channel] = spec;
    }

    fn site(&mut self, spec: &ChannelSpec, site: Site, fact: &Fact) -> Option<Site> {
        if spec.dimension == Dimension::TEMPERATURE || site == Site::ModelledByCar {
            return Some(site);
        }
        self.mistake(
            fact.span,
            WrongPlace,
            format!("`{}` is not a temperature", spec.name),
        );
        None
    }

    fn wheel_only(&mut self, spec: &ChannelSpec, fact: &Fact) -> bool {
        let is_it = spec.role.is_some_and(is_wheel);
        if !is_it {
            let message = format!("this is said of wheel speeds, and `{}` is none", spec.name);
            self.mistake(fact.span, WrongPlace, message);
        }
        is_it
    }

    fn meaning_fits(&mut self, spec: &ChannelSpec, meaning: Meaning, span: Span) -> bool {
        let fitting: &[Dimension] = match meaning {
            Meaning::PackTorque | Meaning::AxleBias => &[Dimension::TORQUE],
            Meaning::ClampForce => &[Dimension::FORCE],
            Meaning::Position => &[Dimension::NONE, Dimension::LENGTH],
            Meaning::Pressure => &[Dimension::PRESSURE],
            Meaning::Current => &[Dimension::CURRENT],
            Meaning::Percent => &[Dimension::NONE],
        };
        let fits = fitting.contains(&spec.dimension);
        if !fits {
            let words = MEANINGS.iter().find(|(_, known)| *known == meaning);
            let (words, found) = (
                words.map_or("", |(words, _)| words),
                spec.dimension.describe(),
            );
            let message = format!("`{}` is given as {found}, which is no {words}", spec.name);
            self.mistake(span, MeaningMisfit, message);
        }
        fits
    }
}

/// What the number of a clutch channel means where its unit leaves no doubt. A torque is
/// never plain: it may be the pack's or the axle's.
fn plain_meaning(spec: &ChannelSpec) -> Option<Meaning> {
    if !spec.name.starts_with("clutch.") {
        return None;
    }
    match spec.dimension {
        Dimension::FORCE => Some(Meaning::ClampForce),
        Dimension::PRESSURE => Some(Meaning::Pressure),
        Dimension::CURRENT => Some(Meaning::Current),
        Dimension::LENGTH => Some(Meaning::Position),
        Dimension::NONE if spec.name == name::CLUTCH_POSITION => Some(Meaning::Position),
        Dimension::NONE => Some(Meaning::Percent),
        _ => None,
    }
}

/// Whether a role is the speed of a wheel.
pub(super) fn is_wheel(role: &Role) -> bool {
    role.name.starts_with("wheel.")
}
