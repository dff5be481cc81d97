//! Channels: their names, their facts, and values in their unit.
//!
//! A channel is found by name; the first source creates it and the others must say the
//! same of it. A wheel speed given as a road speed is divided by the rolling radius here
//! and nowhere else.

use super::Check;
use crate::map::Condition;
use crate::mistakes::{MistakeCode, Span};
use crate::syntax::forms::FormName;
use crate::syntax::slots::{MEANINGS, Quantity, Slot, did_you_mean};
use crate::syntax::tree::Fact;
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
                let tail = name
                    .rsplit('.')
                    .next()
                    .filter(|tail| !tail.is_empty())
                    .unwrap_or("name");
                suggestion = format!("name a channel of your own `own.{tail}`");
            }
            let message = format!("the program knows no channel `{name}`");
            self.gathered
                .mistake_with(span, MistakeCode::UnknownChannel, message, suggestion);
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
        let spec = &self.map.channels[channel];
        let name = spec.name.clone();
        let given = quantity.unit.dimension;
        let is_first = self.is_new(channel);
        let _ = self.written_in[channel].get_or_insert(quantity.unit);
        if let Some(role) = spec.role {
            if !self.fits(quantity, role.dimensions, &format!("`{name}`")) {
                return false;
            }
            // Wheel speeds are kept as angular speeds, whichever way they come.
            let kept = if is_wheel(role) {
                Dimension::ANGULAR_SPEED
            } else {
                given
            };
            return self.set_kept(channel, kept, is_first, quantity);
        }
        self.set_kept(channel, given, is_first, quantity)
    }

    fn set_kept(
        &mut self,
        channel: usize,
        kept: Dimension,
        is_first: bool,
        quantity: Quantity,
    ) -> bool {
        let spec = &mut self.map.channels[channel];
        if is_first {
            spec.dimension = kept;
            return true;
        }
        if spec.dimension == kept {
            return true;
        }
        let message = format!(
            "`{}` is {} here and {} where line {} gives it",
            spec.name,
            kept.describe(),
            spec.dimension.describe(),
            self.sources[channel].line
        );
        self.gathered
            .mistake(quantity.unit_span, MistakeCode::UnitMisfit, message);
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
        if let Some(radius) = self.map.vehicle.rolling_radius_m {
            return Some(radius.value);
        }
        if !self.top(FormName::Vehicle).any(|fact| fact.is_damaged) {
            self.gathered.mistake_with(
                span,
                MistakeCode::MissingFact,
                format!("`{name}` is given as a road speed, and the map states no rolling radius to divide it by"),
                "write `tyre 225/45 R17`, `rolling radius 0.31 m` or `roll-out 1.95 m` under `vehicle`",
            );
        }
        None
    }

    /// Takes over what a source says about the channel itself.
    pub(super) fn channel_facts(&mut self, channel: usize, facts: &[&'t Fact]) {
        let mut said = self.map.channels[channel].clone();
        let is_new = self.is_new(channel);
        for fact in facts {
            match (fact.form, fact.slots.as_slice()) {
                (FormName::Means, [Slot::Meaning(meaning, span)])
                    if self.meaning_fits(&said, *meaning, *span) =>
                {
                    said.meaning = Some(*meaning);
                }
                (FormName::Full, [Slot::Quantity(quantity)]) => {
                    said.full_scale = self.in_channel(channel, *quantity, As::Reading);
                    if said.full_scale == Some(0.0) {
                        self.gathered.mistake(
                            quantity.span,
                            MistakeCode::RangeEmpty,
                            "full cannot be at zero",
                        );
                    }
                }
                (FormName::SensorOil, _) => said.site = self.site(&said, Site::Oil, fact),
                (FormName::SensorHousing, _) => said.site = self.site(&said, Site::Housing, fact),
                (FormName::Modelled, _) => said.site = self.site(&said, Site::ModelledByCar, fact),
                (FormName::Corrected, _) if self.wheel_only(&said, fact) => {
                    said.tyre_corrected = true;
                }
                (FormName::BelievedFrom, [Slot::Quantity(quantity)])
                    if self.wheel_only(&said, fact) =>
                {
                    said.believable_from_m_per_s =
                        self.si(*quantity, &[Dimension::SPEED], "this road speed");
                }
                (FormName::Late, [Slot::Quantity(quantity)]) => {
                    let late = self.si(*quantity, &[Dimension::TIME], "a delay");
                    if late.is_some_and(|late| !(0.0..=60.0).contains(&late)) {
                        self.gathered.mistake(
                            quantity.span,
                            MistakeCode::RangeEmpty,
                            "a delay is between 0 and 60 s",
                        );
                    }
                    said.late_by_s = late.unwrap_or(0.0);
                }
                (FormName::Holds, _) => {
                    if said
                        .role
                        .is_some_and(|role| role.behaviour == Behaviour::Continuous)
                    {
                        let message = format!(
                            "`{}` is a measured quantity and does not hold between samples",
                            said.name
                        );
                        self.gathered.mistake_with(
                            fact.span,
                            MistakeCode::WrongPlace,
                            message,
                            "say this of a channel of your own",
                        );
                    } else {
                        said.behaviour = Behaviour::Held;
                    }
                }
                _ => {}
            }
        }
        let before = &self.map.channels[channel];
        let differs = before.meaning.is_some() && before.meaning != said.meaning
            || before.full_scale.is_some() && before.full_scale != said.full_scale
            || before.site.is_some() && before.site != said.site;
        if !is_new && differs {
            let message = format!(
                "line {} says otherwise of `{}`",
                self.sources[channel].line, said.name
            );
            let span = facts
                .first()
                .map_or(self.sources[channel].span, |fact| fact.span);
            self.gathered.mistake(span, MistakeCode::Twice, message);
        }
        said.meaning = said.meaning.or_else(|| plain_meaning(&said));
        self.map.channels[channel] = said;
    }

    fn site(&mut self, spec: &ChannelSpec, site: Site, fact: &Fact) -> Option<Site> {
        if spec.dimension == Dimension::TEMPERATURE || site == Site::ModelledByCar {
            return Some(site);
        }
        let message = format!("`{}` is not a temperature", spec.name);
        self.gathered
            .mistake(fact.span, MistakeCode::WrongPlace, message);
        None
    }

    fn wheel_only(&mut self, spec: &ChannelSpec, fact: &Fact) -> bool {
        let is_it = spec.role.is_some_and(is_wheel);
        if !is_it {
            let message = format!("this is said of wheel speeds, and `{}` is none", spec.name);
            self.gathered
                .mistake(fact.span, MistakeCode::WrongPlace, message);
        }
        is_it
    }

    fn meaning_fits(&mut self, spec: &ChannelSpec, meaning: Meaning, span: Span) -> bool {
        let words = MEANINGS
            .iter()
            .find(|(_, known)| *known == meaning)
            .map_or("", |(words, _)| words);
        let wanted: &[Dimension] = match meaning {
            Meaning::PackTorque | Meaning::AxleBias => &[Dimension::TORQUE],
            Meaning::ClampForce => &[Dimension::FORCE],
            Meaning::Position => &[Dimension::NONE, Dimension::LENGTH],
            Meaning::Pressure => &[Dimension::PRESSURE],
            Meaning::Current => &[Dimension::CURRENT],
            Meaning::Percent => &[Dimension::NONE],
        };
        if wanted.contains(&spec.dimension) {
            return true;
        }
        let message = format!(
            "`{}` is given as {}, which is no {words}",
            spec.name,
            spec.dimension.describe()
        );
        self.gathered
            .mistake(span, MistakeCode::MeaningMisfit, message);
        false
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
        Dimension::NONE if spec.name == "clutch.position" => Some(Meaning::Position),
        Dimension::NONE => Some(Meaning::Percent),
        _ => None,
    }
}

/// Whether a role is the speed of a wheel.
pub(super) fn is_wheel(role: &Role) -> bool {
    role.name.starts_with("wheel.")
}
