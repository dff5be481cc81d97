//! One signal of a frame at work: whether this frame carries it, and which value counts.
//!
//! In: payloads of frames that count. Out: samples, present or missing, and a notice for
//! every value that was refused.

use halfshaft_model::{Code, LogPlace, Notices, Time};

use super::bits::{self, Reading};
use super::frame::Arrival;
use super::gate::Gate;
use super::quick::Quick;
use crate::map::{Number, Signal};

/// A signal with its state.
#[derive(Clone, Debug)]
pub(crate) struct SignalState {
    quick: Quick,
    signal: Signal,
    name: String,
    gate: Option<Gate>,
}

impl SignalState {
    pub(crate) fn new(signal: &Signal, name: &str) -> SignalState {
        let step = match signal.number {
            Number::Float => 0.0,
            _ => signal.si_per_step,
        };
        SignalState {
            quick: Quick::new(signal),
            gate: signal
                .rate_under
                .map(|rate_per_s| Gate::new(rate_per_s, step)),
            name: name.to_owned(),
            signal: signal.clone(),
        }
    }

    pub(crate) fn channel(&self) -> usize {
        self.signal.channel
    }

    /// Forgets what may not be compared across a cut.
    pub(crate) fn cut(&mut self) {
        if let Some(gate) = &mut self.gate {
            gate.cut();
        }
    }

    /// The sample: `None` when this frame carries none, `Some(None)` when it is missing.
    #[inline(always)]
    pub(crate) fn value(
        &mut self,
        arrival: &Arrival,
        heads: [u64; 2],
        notices: &mut Notices,
    ) -> Option<Option<f64>> {
        match self.quick.value(arrival.payload, heads) {
            Some(value) => Some(Some(value)),
            None => self.whole_value(arrival, notices),
        }
    }

    /// The same for whatever a signal can be.
    #[inline(never)]
    fn whole_value(&mut self, arrival: &Arrival, notices: &mut Notices) -> Option<Option<f64>> {
        if !bits::is_on_page(&self.signal, arrival.payload) {
            return None;
        }
        let value = judge(
            bits::value(&self.signal, arrival.payload),
            self.gate.as_mut(),
            arrival.time,
            self.signal.believe,
            notices,
            || (arrival.place(), format!("{} in {}", self.name, arrival.id)),
        );
        Some(value)
    }
}

/// From a reading to a sample, refusals counted. `first` gives the place and the name of
/// the source.
#[inline(always)]
pub(crate) fn judge(
    reading: Reading,
    gate: Option<&mut Gate>,
    time: Time,
    believe: Option<(f64, f64)>,
    notices: &mut Notices,
    first: impl FnOnce() -> (LogPlace, String),
) -> Option<f64> {
    let (code, what) = match reading {
        Reading::Value(value) => {
            if gate.is_none_or(|gate| gate.admits(time, value)) {
                return Some(value);
            }
            (Code::ValueTooFast, Some(value))
        }
        missing => {
            if let Some(gate) = gate {
                gate.miss();
            }
            match missing {
                Reading::Broken => (Code::SignalBroken, None),
                Reading::NotFinite => (Code::ValueNotFinite, None),
                Reading::BeyondBelief(value) => (Code::ValueBeyondBelief, Some(value)),
                _ => return None,
            }
        }
    };
    notices.count(code, || {
        let (place, name) = first();
        let range = believe.filter(|_| code == Code::ValueBeyondBelief);
        let range = range.map_or(String::new(), |(low, high)| {
            format!(", believed {low:.6} to {high:.6}")
        });
        let value = what.map_or(String::new(), |value| {
            // In full a giant number is three hundred digits.
            match value.abs() < 1e9 {
                true => format!(": {value:.6}{range}, in SI"),
                false => format!(": {value:.2e}{range}, in SI"),
            }
        });
        (place, format!("{name}{value}"))
    });
    None
}
