//! Proofs: frames whose values the map vouches for, run with the real decoder.

use super::Check;
use super::channels::As;
use crate::decode::bits::{self, Reading};
use crate::decode::checksum;
use crate::map::{Number, Proof, Signal};
use crate::mistakes::MistakeCode::{MissingFact, ProofFailed, UnknownName};
use crate::mistakes::Span;
use crate::syntax::forms::FormName;
use crate::syntax::slots::{Quantity, Slot, did_you_mean, spelled};
use crate::syntax::tree::Fact;
use halfshaft_model::{Dimension, Unit};

impl<'t> Check<'t> {
    pub(super) fn proofs(&mut self) {
        for frame in 0..self.frame_facts.len() {
            for under in self.frame_facts[frame].all(FormName::Prove) {
                self.proof(under, frame);
            }
        }
    }

    fn proof(&mut self, fact: &'t Fact, frame: usize) {
        let [Slot::Bytes(payload, span)] = fact.slots.as_slice() else {
            return;
        };
        let spec = &self.map.frames[frame];
        if payload.len() != usize::from(spec.length) {
            let (n, id, length) = (payload.len(), spec.id, spec.length);
            let message = format!("these are {n} bytes, but frame {id} has {length}");
            let suggestion = "write the whole frame, or state its `length`";
            return self.mistake_with(*span, ProofFailed, message, suggestion);
        }
        let has_checksum = spec.checksum.is_some();
        if let Some(rule) = &spec.checksum
            && checksum::fits(rule, payload) == Some(false)
        {
            let covered = &payload[usize::from(rule.first_byte)..=usize::from(rule.last_byte)];
            let wanted = checksum::compute(rule.rule, rule.start, covered);
            let got = bits::extract(&rule.bits, payload).unwrap_or_default();
            let message = format!(
                "the checksum of these bytes is 0x{wanted:02X}, and they carry 0x{got:02X}"
            );
            let suggestion = "a byte is wrong here, or the checksum's rule is";
            self.mistake_with(*span, ProofFailed, message, suggestion);
        }
        let mut expect = Vec::new();
        for under in &fact.facts {
            let [Slot::Name(name, name_span), wanted @ ..] = under.slots.as_slice() else {
                continue;
            };
            let Some(signals) = self.signals_of(name, *name_span, frame) else {
                continue;
            };
            expect.extend(match wanted {
                [Slot::Quantity(wanted), within @ ..] => {
                    let within = match within {
                        [Slot::Quantity(within)] => Some(*within),
                        _ => None,
                    };
                    self.expect_value(&signals, payload, (name, under.span), *wanted, within)
                }
                _ => self.expect_missing(&signals, payload, (name, under.span)),
            });
        }
        if expect.is_empty() && !fact.is_damaged && fact.facts.is_empty() && !has_checksum {
            let suggestion = "write lines such as `wheel.rear.left is 0 km/h` under it";
            self.mistake_with(
                fact.head,
                MissingFact,
                "the line proves nothing",
                suggestion,
            );
        }
        let (payload, line) = (payload.clone(), fact.line);
        self.map.proofs.push(Proof {
            frame,
            payload,
            expect,
            line,
        });
    }

    /// The signals of a frame that give a channel; a mistake when it gives none.
    fn signals_of(&mut self, name: &str, span: Span, frame: usize) -> Option<Vec<Signal>> {
        let spec = &self.map.frames[frame];
        let channel = self.by_name.get(name).copied();
        let is_of_channel = |signal: &&Signal| Some(signal.channel) == channel;
        let signals: Vec<Signal> = spec.signals.iter().filter(is_of_channel).cloned().collect();
        if !signals.is_empty() {
            return Some(signals);
        }
        // A signal with a mistake of its own is not missed here.
        let elsewhere = self.map.frames.iter().enumerate().any(|(index, spec)| {
            index != frame && spec.signals.iter().any(|signal| is_of_channel(&signal))
        });
        let is_written = self.signals.contains_key(name) || self.tree.lost.contains(name);
        if !is_written || elsewhere {
            let message = format!("frame {} carries no `{name}`", spec.id);
            let names = &self.map.channels;
            let known = spec
                .signals
                .iter()
                .map(|signal| names[signal.channel].name.as_str());
            let suggestion = did_you_mean(name, known);
            self.mistake_with(span, UnknownName, message, suggestion);
        }
        None
    }

    fn expect_missing(
        &mut self,
        signals: &[Signal],
        payload: &[u8],
        (name, span): (&str, Span),
    ) -> Option<Expected> {
        let channel = signals.first()?.channel;
        let on_page = signals
            .iter()
            .find(|signal| bits::is_on_page(signal, payload));
        if let Some(got) = on_page.and_then(|signal| bits::value(signal, payload).value()) {
            let (got, unit) = (short(got), self.map.channels[channel].si_unit());
            let message = format!("wanted `{name}` to be missing, got {got} {unit}");
            self.mistake(span, ProofFailed, message);
        }
        Some((channel, None, 0.0))
    }

    fn expect_value(
        &mut self,
        signals: &[Signal],
        payload: &[u8],
        (name, span): (&str, Span),
        wanted: Quantity,
        within: Option<Quantity>,
    ) -> Option<Expected> {
        let first = signals.first()?;
        let channel = first.channel;
        let si = self.in_channel(channel, wanted, As::Reading)?;
        let tolerance = match within {
            Some(within) => self.in_channel(channel, within, As::Difference)?.abs(),
            // Half a step: another code would be a whole step away. A float has steps
            // far below its unit, so there it is the precision of 32 bits.
            None if first.number == Number::Float => si.abs() * 1e-6 + 1e-12,
            None => first.si_per_step.abs() / 2.0,
        };
        let on_page = signals
            .iter()
            .find(|signal| bits::is_on_page(signal, payload));
        let unit = spelled(wanted.unit);
        let in_unit = |got: f64| short(self.in_unit(channel, got, wanted.unit));
        let got = match on_page.map(|signal| bits::value(signal, payload)) {
            None => "nothing: the signal is not on this page".to_owned(),
            Some(Reading::Value(got)) if (got - si).abs() <= tolerance * (1.0 + 1e-9) + 1e-12 => {
                return Some((channel, Some(si), tolerance));
            }
            Some(Reading::Value(got)) => format!("{} {unit}", in_unit(got)),
            Some(Reading::Absent) => {
                "the code for absent, or a condition that does not hold".to_owned()
            }
            Some(Reading::Broken) => "the code for broken".to_owned(),
            Some(Reading::BeyondBelief(got)) => {
                format!(
                    "{} {unit}, which is outside the believed range",
                    in_unit(got)
                )
            }
            Some(Reading::NotFinite) => "a number that is not finite".to_owned(),
            Some(Reading::BeyondEnd) => "nothing: the frame is too short".to_owned(),
        };
        let raw = on_page.and_then(|signal| bits::extract(&signal.bits, payload));
        let raw = raw.map_or(String::new(), |raw| format!(" (raw 0x{raw:X})"));
        let wanted = short(wanted.value);
        let message = format!("wanted `{name}` to be {wanted} {unit}, got {got}{raw}");
        self.mistake(span, ProofFailed, message);
        None
    }

    fn in_unit(&self, channel: usize, si: f64, unit: &Unit) -> f64 {
        let is_road_speed =
            self.map.channels[channel].through_radius && unit.dimension == Dimension::SPEED;
        let radius = self.map.vehicle.rolling_radius_m.filter(|_| is_road_speed);
        unit.from_si(si * radius.map_or(1.0, |radius| radius.value))
    }
}

/// What is expected of a channel: its index, its value in SI (`None` is missing), a tolerance.
type Expected = (usize, Option<f64>, f64);

/// A number as people write it, six digits at most.
fn short(value: f64) -> String {
    let rounded = format!("{value:.6}");
    let trimmed = rounded.trim_end_matches('0').trim_end_matches('.');
    if trimmed == "-0" {
        "0".to_owned()
    } else {
        trimmed.to_owned()
    }
}
