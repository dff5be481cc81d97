//! Proofs: frames whose values the map vouches for, run with the real decoder.

use super::Check;
use super::channels::As;
use crate::decode::{bits, checksum};
use crate::map::{Proof, Signal};
use crate::mistakes::{MistakeCode, Span};
use crate::syntax::forms::FormName;
use crate::syntax::slots::{Quantity, Slot, did_you_mean, spelled};
use crate::syntax::tree::Fact;
use halfshaft_model::Unit;

impl<'t> Check<'t> {
    pub(super) fn proofs(&mut self) {
        for frame in 0..self.frame_facts.len() {
            let fact = self.frame_facts[frame];
            for under in fact
                .facts
                .iter()
                .filter(|under| under.form == FormName::Prove)
            {
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
            let message = format!(
                "these are {} bytes, but frame {} has {}",
                payload.len(),
                spec.id,
                spec.length
            );
            self.gathered.mistake_with(
                *span,
                MistakeCode::ProofFailed,
                message,
                "write the whole frame, or state its `length`",
            );
            return;
        }
        if let Some(rule) = spec.checksum.clone()
            && checksum::fits(&rule, payload) == Some(false)
        {
            let covered = &payload[usize::from(rule.first_byte)..=usize::from(rule.last_byte)];
            let wanted = checksum::compute(rule.rule, rule.start, covered);
            let got = bits::extract(&rule.bits, payload).unwrap_or_default();
            let message = format!(
                "the checksum of these bytes is 0x{wanted:02X}, and they carry 0x{got:02X}"
            );
            self.gathered.mistake_with(
                *span,
                MistakeCode::ProofFailed,
                message,
                "a byte is wrong here, or the checksum's rule is",
            );
        }
        let mut expect = Vec::new();
        for under in &fact.facts {
            match (under.form, under.slots.as_slice()) {
                (FormName::ProofMissing, [Slot::Name(name, name_span)]) => {
                    if let Some(signals) = self.signals_of(name, *name_span, frame)
                        && let Some(channel) = signals.first().map(|signal| signal.channel)
                    {
                        self.expect_missing(&signals, payload, under, name);
                        expect.push((channel, None, 0.0));
                    }
                }
                (
                    FormName::ProofValue,
                    [
                        Slot::Name(name, name_span),
                        Slot::Quantity(wanted),
                        rest @ ..,
                    ],
                ) => {
                    let within = match rest {
                        [Slot::Quantity(within)] => Some(*within),
                        _ => None,
                    };
                    if let Some(signals) = self.signals_of(name, *name_span, frame) {
                        expect.extend(
                            self.expect_value(&signals, payload, under.span, name, *wanted, within),
                        );
                    }
                }
                _ => {}
            }
        }
        if expect.is_empty()
            && !fact.is_damaged
            && fact.facts.is_empty()
            && self.map.frames[frame].checksum.is_none()
        {
            self.gathered.mistake_with(
                fact.head,
                MistakeCode::MissingFact,
                "the line proves nothing",
                "write lines such as `wheel.rear.left is 0 km/h` under it",
            );
        }
        self.map.proofs.push(Proof {
            frame,
            payload: payload.clone(),
            expect,
            line: fact.line,
        });
    }

    fn signals_of(&mut self, name: &str, span: Span, frame: usize) -> Option<Vec<Signal>> {
        let spec = &self.map.frames[frame];
        let channel = self.by_name.get(name).copied();
        let signals: Vec<Signal> = spec
            .signals
            .iter()
            .filter(|signal| Some(signal.channel) == channel)
            .cloned()
            .collect();
        if !signals.is_empty() {
            return Some(signals);
        }
        // A signal with a mistake of its own is not missed here.
        let is_written = self.signals.contains_key(name) || self.tree.lost.contains(name);
        let elsewhere = channel.is_some_and(|channel| {
            self.map.frames.iter().enumerate().any(|(index, spec)| {
                index != frame && spec.signals.iter().any(|signal| signal.channel == channel)
            })
        });
        if !is_written || elsewhere {
            let known: Vec<&str> = spec
                .signals
                .iter()
                .map(|signal| self.map.channels[signal.channel].name.as_str())
                .collect();
            let suggestion = did_you_mean(name, known);
            let id = spec.id;
            self.gathered.mistake_with(
                span,
                MistakeCode::UnknownName,
                format!("frame {id} carries no `{name}`"),
                suggestion,
            );
        }
        None
    }

    fn expect_missing(&mut self, signals: &[Signal], payload: &[u8], fact: &'t Fact, name: &str) {
        let got = signals
            .iter()
            .find(|signal| bits::is_on_page(signal, payload))
            .and_then(|signal| bits::value(signal, payload).value());
        if let Some(got) = got {
            let unit = self.map.channels[signals[0].channel].si_unit();
            let message = format!("wanted `{name}` to be missing, got {} {unit}", short(got));
            self.gathered
                .mistake(fact.span, MistakeCode::ProofFailed, message);
        }
    }

    fn expect_value(
        &mut self,
        signals: &[Signal],
        payload: &[u8],
        span: Span,
        name: &str,
        wanted: Quantity,
        within: Option<Quantity>,
    ) -> Option<(usize, Option<f64>, f64)> {
        let channel = signals.first()?.channel;
        let si = self.in_channel(channel, wanted, As::Reading)?;
        let step = signals.first()?.si_per_step.abs();
        let tolerance = match within {
            Some(within) => self.in_channel(channel, within, As::Difference)?.abs(),
            // Half a step: another code would be a whole step away. A float has steps
            // far below its unit, so there it is the precision of 32 bits.
            None if signals[0].number == crate::map::Number::Float => si.abs() * 1e-6 + 1e-12,
            None => step / 2.0,
        };
        let on_page = signals
            .iter()
            .find(|signal| bits::is_on_page(signal, payload));
        let reading = on_page.map(|signal| bits::value(signal, payload));
        let unit = spelled(wanted.unit);
        let got = match reading {
            None => "nothing: the signal is not on this page".to_owned(),
            Some(bits::Reading::Value(got))
                if (got - si).abs() <= tolerance * (1.0 + 1e-9) + 1e-12 =>
            {
                return Some((channel, Some(si), tolerance));
            }
            Some(bits::Reading::Value(got)) => {
                format!("{} {unit}", short(self.in_unit(channel, got, wanted.unit)))
            }
            Some(bits::Reading::Absent) => {
                "the code for absent, or a condition that does not hold".to_owned()
            }
            Some(bits::Reading::Broken) => "the code for broken".to_owned(),
            Some(bits::Reading::BeyondBelief(got)) => {
                format!(
                    "{} {unit}, which is beyond belief",
                    short(self.in_unit(channel, got, wanted.unit))
                )
            }
            Some(bits::Reading::NotFinite) => "a number that is not finite".to_owned(),
            Some(bits::Reading::BeyondEnd) => "nothing: the frame is too short".to_owned(),
        };
        let raw = on_page.and_then(|signal| bits::extract(&signal.bits, payload));
        let raw = raw.map_or(String::new(), |raw| format!(" (raw 0x{raw:X})"));
        let message = format!(
            "wanted `{name}` to be {} {unit}, got {got}{raw}",
            short(wanted.value)
        );
        self.gathered
            .mistake(span, MistakeCode::ProofFailed, message);
        None
    }

    fn in_unit(&self, channel: usize, si: f64, unit: &Unit) -> f64 {
        let is_road_speed = self.map.channels[channel].through_radius
            && unit.dimension == halfshaft_model::Dimension::SPEED;
        let radius = self
            .map
            .vehicle
            .rolling_radius_m
            .map_or(1.0, |radius| radius.value);
        unit.from_si(if is_road_speed { si * radius } else { si })
    }
}

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
