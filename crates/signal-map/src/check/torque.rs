//! Where torque comes from, best source first.
//!
//! A source whose meaning is not stated (pack torque or axle bias) is left out, and the
//! user is told: heat would be wrong by a factor of 2, so it is refused.

use super::Check;
use crate::mistakes::{MistakeCode, Span};
use crate::syntax::forms::FormName;
use crate::syntax::slots::{Slot, did_you_mean, spelled};
use crate::syntax::tree::Fact;
use halfshaft_model::channel::Meaning;
use halfshaft_model::{Dimension, TorqueSource};

/// Most sources of torque.
const MOST_SOURCES: usize = 8;
/// Tolerance of a torque that states none, as a share. Source: none, engineering guess.
const TORQUE_SHARE: f64 = 0.15;
/// Tolerance of a clamp force that states none, as a share. Source: none, engineering guess.
const FORCE_SHARE: f64 = 0.1;

/// Whether a channel can say what torque the pack carries: what the clutch is asked, what
/// it reports, what its motor draws, or one of the user's own.
fn speaks_of_clutch(channel: &str) -> bool {
    channel.starts_with("clutch.") || channel.starts_with("own.") || channel == "motor.current"
}

/// No clutch pack of a car's axle carries more, N·m. Source: none, engineering guess.
const BELIEVED_TO_NM: f64 = 20_000.0;

impl<'t> Check<'t> {
    pub(super) fn torque_sources(&mut self) {
        let Some(vehicle) = self.top(FormName::Vehicle).next() else {
            return;
        };
        let mut any_stated = false;
        for fact in &vehicle.facts {
            let source = match (fact.form, fact.slots.as_slice()) {
                (
                    FormName::TorqueTable,
                    [Slot::Name(table, table_span), Slot::Name(channel, span)],
                ) => self.by_table(fact, (table, *table_span), (channel, *span), None),
                (
                    FormName::TorqueTable,
                    [
                        Slot::Name(table, table_span),
                        Slot::Name(channel, span),
                        Slot::Name(second, second_span),
                    ],
                ) => self.by_table(
                    fact,
                    (table, *table_span),
                    (channel, *span),
                    Some((second, *second_span)),
                ),
                (FormName::TorqueReported, [Slot::Name(channel, span)]) => {
                    self.reported(fact, channel, *span)
                }
                (FormName::TorqueClamp, [Slot::Name(channel, span)]) => {
                    self.clamp(fact, channel, *span)
                }
                _ => continue,
            };
            any_stated = true;
            if self.map.vehicle.torque_sources.len() == MOST_SOURCES {
                let message = format!("a vehicle has at most {MOST_SOURCES} sources of torque");
                self.gathered
                    .mistake(fact.span, MistakeCode::TooLarge, message);
                break;
            }
            self.map.vehicle.torque_sources.extend(source);
        }
        if !any_stated && !vehicle.is_damaged {
            self.plain_source();
        }
    }

    /// A torque the car reports, with its meaning stated, needs no further word.
    fn plain_source(&mut self) {
        let Some(spec) = self
            .map
            .channels
            .iter()
            .find(|spec| spec.name == "clutch.torque")
        else {
            return;
        };
        let is_axle_bias = match spec.meaning {
            Some(Meaning::PackTorque) => false,
            Some(Meaning::AxleBias) => true,
            _ => return,
        };
        let channel = spec.name.clone();
        self.map
            .vehicle
            .torque_sources
            .push(TorqueSource::Reported {
                channel,
                is_axle_bias,
                relative_sd: TORQUE_SHARE,
            });
    }

    fn trust(&mut self, fact: &'t Fact, default: f64) -> f64 {
        let Some([Slot::Quantity(quantity)]) = fact.slots_of(FormName::Trust) else {
            return default;
        };
        if quantity.unit.symbol != "%" {
            let message = format!(
                "`{}` is no share; how far a torque is trusted is said in `%`",
                spelled(quantity.unit)
            );
            self.gathered.mistake_with(
                quantity.unit_span,
                MistakeCode::UnitMisfit,
                message,
                "write `trust +/- 15 %`",
            );
            return default;
        }
        let share = quantity.unit.to_si(quantity.value);
        if !(0.0..=2.0).contains(&share) {
            self.gathered.mistake(
                quantity.span,
                MistakeCode::RangeEmpty,
                "a tolerance is between 0 and 200 %",
            );
        }
        share
    }

    fn stated_bias(fact: &Fact) -> Option<bool> {
        match (
            fact.find(FormName::GivesPack),
            fact.find(FormName::GivesBias),
        ) {
            (Some(_), _) => Some(false),
            (None, Some(_)) => Some(true),
            (None, None) => None,
        }
    }

    fn torque_channel(
        &mut self,
        name: &str,
        span: Span,
        wanted: Dimension,
        what: &str,
    ) -> Option<String> {
        let index = self.known_channel(name, span)?;
        let found = self.map.channels[index].dimension;
        if found == wanted {
            return Some(name.to_owned());
        }
        let message = format!(
            "`{name}` is given as {}, but {what} {}",
            found.describe(),
            wanted.describe()
        );
        self.gathered
            .mistake(span, MistakeCode::UnitMisfit, message);
        None
    }

    fn by_table(
        &mut self,
        fact: &'t Fact,
        table: (&str, Span),
        channel: (&str, Span),
        second: Option<(&str, Span)>,
    ) -> Option<TorqueSource> {
        let (table_name, table_span) = table;
        if !speaks_of_clutch(channel.0) && self.by_name.contains_key(channel.0) {
            self.gathered.mistake_with(
                channel.1,
                MistakeCode::UnitMisfit,
                format!(
                    "`{}` says nothing of the torque a clutch can carry",
                    channel.0
                ),
                "take what the clutch is asked or reports, `clutch.…`, or the current of its motor",
            );
            return None;
        }
        let relative_sd = self.trust(fact, TORQUE_SHARE);
        let Some(info) = self.tables.get(table_name).cloned() else {
            if !self.tree.lost.contains(table_name) {
                let suggestion = did_you_mean(table_name, self.tables.keys().map(String::as_str));
                self.gathered.mistake_with(
                    table_span,
                    MistakeCode::UnknownName,
                    format!("this map has no table `{table_name}`"),
                    suggestion,
                );
            }
            return None;
        };
        let index = info.index?;
        if info.output != Dimension::TORQUE {
            let message = format!(
                "table `{table_name}` gives {}, wanted {}",
                info.output.describe(),
                Dimension::TORQUE.describe()
            );
            self.gathered
                .mistake(table_span, MistakeCode::UnitMisfit, message);
            return None;
        }
        if info.second.is_some() != second.is_some() {
            let n = if info.second.is_some() { 2 } else { 1 };
            let message = format!("table `{table_name}` has {n} inputs");
            self.gathered.mistake_with(
                table_span,
                MistakeCode::FormulaInputs,
                message,
                "write `of channel`, or `of channel and channel`",
            );
            return None;
        }
        let what = format!("table `{table_name}` is entered with");
        let first = self.torque_channel(channel.0, channel.1, info.input, &what);
        let second = match (second, info.second) {
            (Some((name, span)), Some(dimension)) => {
                Some(self.torque_channel(name, span, dimension, &what)?)
            }
            _ => None,
        };
        let channel = first?;
        if let Some(of) = self.by_name.get(&channel).copied() {
            self.angle_or_ratio(of, info.input_unit, table_name, fact.span);
        }
        let Some(is_axle_bias) = Self::stated_bias(fact) else {
            if !fact.is_damaged {
                self.meaning_missing(
                    fact.span,
                    &format!("table `{table_name}`"),
                    "`gives pack torque` or `gives axle bias`",
                );
            }
            return None;
        };
        let table = self.map.tables[index].table.clone();
        let highest_nm = table.highest();
        if highest_nm > BELIEVED_TO_NM {
            self.gathered.mistake(
                table_span,
                MistakeCode::RangeEmpty,
                format!(
                    "table `{table_name}` gives up to {highest_nm} N.m, wanted at most {BELIEVED_TO_NM} N.m: another \
                     unit, or a digit too many?"
                ),
            );
            return None;
        }
        Some(TorqueSource::Table {
            channel,
            second,
            table,
            is_axle_bias,
            relative_sd,
        })
    }

    fn reported(&mut self, fact: &'t Fact, name: &str, span: Span) -> Option<TorqueSource> {
        let relative_sd = self.trust(fact, TORQUE_SHARE);
        let channel = self.torque_channel(name, span, Dimension::TORQUE, "a torque source is")?;
        let of_channel = match self
            .map
            .channel(name)
            .and_then(|index| self.map.channels[index].meaning)
        {
            Some(Meaning::PackTorque) => Some(false),
            Some(Meaning::AxleBias) => Some(true),
            _ => None,
        };
        let stated = Self::stated_bias(fact);
        if let (Some(a), Some(b)) = (of_channel, stated)
            && a != b
        {
            self.gathered.mistake(
                fact.span,
                MistakeCode::Twice,
                format!("`{name}` itself says otherwise of what it means"),
            );
            return None;
        }
        let Some(is_axle_bias) = stated.or(of_channel) else {
            if !fact.is_damaged {
                self.meaning_missing(
                    fact.span,
                    &format!("`{name}`"),
                    "`gives pack torque` or `gives axle bias`",
                );
            }
            return None;
        };
        Some(TorqueSource::Reported {
            channel,
            is_axle_bias,
            relative_sd,
        })
    }

    fn clamp(&mut self, fact: &'t Fact, name: &str, span: Span) -> Option<TorqueSource> {
        let relative_sd = self.trust(fact, FORCE_SHARE);
        if fact.find(FormName::GivesBias).is_some() {
            self.gathered.mistake(
                fact.span,
                MistakeCode::MeaningMisfit,
                "clamp force and friction give the torque of the pack",
            );
        }
        let has_friction = self
            .map
            .vehicle
            .pack
            .is_some_and(|pack| pack.friction.is_some());
        if !has_friction {
            self.missing(
                fact,
                "torque from clamp force needs the pack: `faces`, `outer radius`, `inner radius` and `friction`".to_owned(),
                "state them under `vehicle`",
            );
        }
        let channel = self.torque_channel(name, span, Dimension::FORCE, "a clamp force is")?;
        Some(TorqueSource::Clamp {
            channel,
            relative_sd,
        })
    }

    pub(super) fn meaning_missing(&mut self, span: Span, what: &str, lines: &str) {
        self.gathered.warning(
            span,
            MistakeCode::MeaningMissing,
            format!("{what} does not say whether it is pack torque or axle bias, so heat will be refused"),
            format!("write {lines} under it"),
        );
    }
}
