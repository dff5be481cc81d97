//! Where torque comes from, best source first.
//!
//! A source whose meaning is not stated (pack torque or axle bias) is left out, with a
//! warning: heat would be wrong by a factor of 2, so it is refused.

use super::Check;
use crate::mistakes::MistakeCode::{
    FormulaInputs, MeaningMisfit, MeaningMissing, RangeEmpty, TooLarge, Twice, UnitMisfit,
};
use crate::mistakes::{Fault, Span};
use crate::syntax::forms::FormName;
use crate::syntax::slots::{Slot, spelled};
use crate::syntax::tree::Fact;
use halfshaft_model::channel::Meaning;
use halfshaft_model::channel::name;
use halfshaft_model::{ChannelSpec, Dimension, TorqueSource};

/// Most sources of torque.
const MOST_SOURCES: usize = 8;
/// Tolerance of a torque that states none, as a share. Source: none, engineering guess.
const TORQUE_SHARE: f64 = 0.15;
/// Tolerance of a clamp force that states none, as a share. Source: none, engineering guess.
const FORCE_SHARE: f64 = 0.1;

/// Whether a channel can stand for the torque of the pack: its command, what
/// it reports, what its motor draws, or one of the user's own.
fn is_of_clutch(channel: &str) -> bool {
    channel.starts_with("clutch.") || channel.starts_with("own.") || channel == name::MOTOR_CURRENT
}

/// No clutch pack of a car's axle carries more, N·m. Source: none, engineering guess.
const BELIEVED_TO_NM: f64 = 20_000.0;

/// A name in a line and where it stands.
type Named<'n> = (&'n str, Span);

impl<'t> Check<'t> {
    pub(super) fn torque_sources(&mut self) {
        let Some(vehicle) = self.top(FormName::Vehicle).next() else {
            return;
        };
        let mut any_stated = false;
        for fact in &vehicle.facts {
            let names = fact.slots.iter().filter_map(|slot| match slot {
                Slot::Name(name, span) => Some((name.as_str(), *span)),
                _ => None,
            });
            let names: Vec<Named> = names.collect();
            let source = match (fact.form, names.as_slice()) {
                (FormName::TorqueTable, [table, channel, second @ ..]) => {
                    self.by_table(fact, *table, *channel, second.first().copied())
                }
                (FormName::TorqueReported, [channel]) => self.reported(fact, *channel),
                (FormName::TorqueClamp, [channel]) => self.clamp(fact, *channel),
                _ => continue,
            };
            any_stated = true;
            if self.map.vehicle.torque_sources.len() == MOST_SOURCES {
                let message = format!("a vehicle has at most {MOST_SOURCES} sources of torque");
                self.mistake(fact.span, TooLarge, message);
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
        let index = self.map.channel(name::CLUTCH_TORQUE);
        let is_axle_bias = index.and_then(|index| bias_of_channel(&self.map.channels[index]));
        let source = is_axle_bias.map(|is_axle_bias| TorqueSource::Reported {
            channel: name::CLUTCH_TORQUE.to_owned(),
            is_axle_bias,
            relative_sd: TORQUE_SHARE,
        });
        self.map.vehicle.torque_sources.extend(source);
    }

    fn trust(&mut self, fact: &'t Fact, default: f64) -> f64 {
        let Some(quantity) = fact.quantity(FormName::Trust) else {
            return default;
        };
        if quantity.unit.symbol != "%" {
            let symbol = spelled(quantity.unit);
            let message =
                format!("`{symbol}` is no share; how far a torque is trusted is said in `%`");
            self.mistake_with(
                quantity.unit_span,
                UnitMisfit,
                message,
                "write `trust +/- 15 %`",
            );
            return default;
        }
        let share = quantity.unit.to_si(quantity.value);
        if !(0.0..=2.0).contains(&share) {
            self.mistake(
                quantity.span,
                RangeEmpty,
                "a tolerance is between 0 and 200 %",
            );
        }
        share
    }

    fn torque_channel(
        &mut self,
        (name, span): Named,
        wanted: Dimension,
        what: &str,
    ) -> Option<String> {
        let index = self.known_channel(name, span)?;
        let found = self.map.channels[index].dimension;
        if found == wanted {
            return Some(name.to_owned());
        }
        let (found, wanted) = (found.describe(), wanted.describe());
        let message = format!("`{name}` is given as {found}, but {what} {wanted}");
        self.mistake(span, UnitMisfit, message);
        None
    }

    fn by_table(
        &mut self,
        fact: &'t Fact,
        (table_name, table_span): Named,
        channel: Named,
        second: Option<Named>,
    ) -> Option<TorqueSource> {
        if !is_of_clutch(channel.0) && self.by_name.contains_key(channel.0) {
            self.mistake_with(
                channel.1,
                UnitMisfit,
                format!(
                    "`{}` says nothing of the torque a clutch can carry",
                    channel.0
                ),
                "take what the clutch is asked or reports, `clutch.…`, or the current of its motor",
            );
            return None;
        }
        let relative_sd = self.trust(fact, TORQUE_SHARE);
        let Some(known) = self.tables.get(table_name).copied() else {
            let message = format!("this map has no table `{table_name}`");
            let known = self.tables.keys().map(String::as_str);
            let fault = self
                .tree
                .unknown_name(table_name, table_span, message, known, "");
            self.gathered.mistakes(fault);
            return None;
        };
        let known = known?;
        let gives = known.output.dimension;
        if gives != Dimension::TORQUE {
            let (found, wanted) = (gives.describe(), Dimension::TORQUE.describe());
            let message = format!("table `{table_name}` gives {found}, expected {wanted}");
            self.mistake(table_span, UnitMisfit, message);
            return None;
        }
        if known.second.is_some() != second.is_some() {
            let n = if known.second.is_some() { 2 } else { 1 };
            let message = format!("table `{table_name}` has {n} inputs");
            let suggestion = "write `of channel`, or `of channel and channel`";
            self.mistake_with(table_span, FormulaInputs, message, suggestion);
            return None;
        }
        let what = format!("table `{table_name}` is entered with");
        let first = self.torque_channel(channel, known.input.dimension, &what);
        let second = match second.zip(known.second) {
            Some((second, unit)) => Some(self.torque_channel(second, unit.dimension, &what)?),
            None => None,
        };
        let channel = first?;
        if let Some(of) = self.by_name.get(&channel).copied() {
            self.angle_or_ratio(of, known.input, table_name, fact.span);
        }
        let is_axle_bias = self.bias_or_warning(fact, None, &format!("table `{table_name}`"))?;
        let table = self.map.tables[known.index].table.clone();
        let highest_nm = table.highest();
        if highest_nm > BELIEVED_TO_NM {
            let message = format!(
                "table `{table_name}` gives up to {highest_nm} N.m, expected at most {BELIEVED_TO_NM} N.m: another \
                 unit, or a digit too many?"
            );
            self.mistake(table_span, RangeEmpty, message);
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

    fn reported(&mut self, fact: &'t Fact, named: Named) -> Option<TorqueSource> {
        let relative_sd = self.trust(fact, TORQUE_SHARE);
        let channel = self.torque_channel(named, Dimension::TORQUE, "a torque source is")?;
        let index = self.map.channel(&channel);
        let of_channel = index.and_then(|index| bias_of_channel(&self.map.channels[index]));
        let stated = stated_bias(fact);
        if stated
            .zip(of_channel)
            .is_some_and(|(stated, of_channel)| stated != of_channel)
        {
            let message = format!("`{channel}` itself says otherwise of what it means");
            self.mistake(fact.span, Twice, message);
            return None;
        }
        let is_axle_bias = self.bias_or_warning(fact, of_channel, &format!("`{channel}`"))?;
        Some(TorqueSource::Reported {
            channel,
            is_axle_bias,
            relative_sd,
        })
    }

    fn clamp(&mut self, fact: &'t Fact, named: Named) -> Option<TorqueSource> {
        let relative_sd = self.trust(fact, FORCE_SHARE);
        if fact.states(FormName::GivesBias) {
            let message = "clamp force and friction give the torque of the pack";
            self.mistake(fact.span, MeaningMisfit, message);
        }
        if self
            .map
            .vehicle
            .pack
            .is_none_or(|pack| pack.friction.is_none())
        {
            self.missing(
                fact,
                "torque from clamp force needs the pack: `faces`, `outer radius`, `inner radius` and `friction`",
                "state them under `vehicle`",
            );
        }
        let channel = self.torque_channel(named, Dimension::FORCE, "a clamp force is")?;
        Some(TorqueSource::Clamp {
            channel,
            relative_sd,
        })
    }

    /// Whether a source gives axle bias: as stated under it, else as its channel has it.
    fn bias_or_warning(
        &mut self,
        fact: &'t Fact,
        of_channel: Option<bool>,
        what: &str,
    ) -> Option<bool> {
        let known = stated_bias(fact).or(of_channel);
        if known.is_none() && !fact.is_damaged {
            self.meaning_missing(fact.span, what, "`gives pack torque` or `gives axle bias`");
        }
        known
    }

    pub(super) fn meaning_missing(&mut self, span: Span, what: &str, lines: &str) {
        self.gathered.warning(Fault::with(
            span,
            MeaningMissing,
            format!("{what} does not say whether it is pack torque or axle bias, so heat will be refused"),
            format!("write {lines} under it"),
        ));
    }
}

fn stated_bias(fact: &Fact) -> Option<bool> {
    let stated = [(FormName::GivesPack, false), (FormName::GivesBias, true)];
    let found = stated.into_iter().find(|(form, _)| fact.states(*form));
    found.map(|(_, is_bias)| is_bias)
}

fn bias_of_channel(spec: &ChannelSpec) -> Option<bool> {
    match spec.meaning {
        Some(Meaning::PackTorque) => Some(false),
        Some(Meaning::AxleBias) => Some(true),
        _ => None,
    }
}
