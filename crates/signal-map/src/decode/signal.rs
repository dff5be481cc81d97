//! One signal of a frame at work: whether this frame carries it, and which value counts.
//!
//! In: payloads of frames that count. Out: samples, present or missing, and a notice for
//! every value that was refused.

use halfshaft_model::{Code, LogPlace, Notices, Time};

use super::bits::{self, Plan, Reading};
use super::frame::Arrival;
use super::gate::Gate;
use super::quick::Quick;
use crate::map::{CodeRange, Condition, Number, Signal};

/// A signal with its state.
#[derive(Clone, Debug)]
pub(crate) struct SignalState {
    quick: Quick,
    signal: Signal,
    name: String,
    plan: Plan,
    width: u32,
    on_pages: Vec<(Plan, Vec<CodeRange>)>,
    valid_when: Vec<(Plan, Vec<CodeRange>)>,
    gate: Option<Gate>,
}

impl SignalState {
    pub(crate) fn new(signal: &Signal, name: &str) -> SignalState {
        let compiled = |conditions: &[Condition]| -> Vec<_> {
            conditions
                .iter()
                .map(|condition| (Plan::new(&condition.bits), condition.codes.clone()))
                .collect()
        };
        let step = match signal.number {
            Number::Float => 0.0,
            _ => signal.si_per_step,
        };
        let plan = Plan::new(&signal.bits);
        let on_pages = compiled(&signal.on_pages);
        let valid_when = compiled(&signal.valid_when);
        SignalState {
            quick: Quick::new(signal, &plan, on_pages.iter().chain(&valid_when)),
            plan,
            width: signal.bits.width(),
            on_pages,
            valid_when,
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
            None => self.whole_value(arrival, heads[0], notices),
        }
    }

    /// The same for whatever a signal can be.
    #[inline(never)]
    fn whole_value(
        &mut self,
        arrival: &Arrival,
        head: u64,
        notices: &mut Notices,
    ) -> Option<Option<f64>> {
        if !holds(&self.on_pages, arrival, head) {
            return None;
        }
        let reading = match self.plan.extract(head, arrival.payload) {
            None => Reading::BeyondEnd,
            Some(_) if !holds(&self.valid_when, arrival, head) => Reading::Absent,
            Some(raw) => bits::reading_of(&self.signal, self.width, raw),
        };
        let value = judge(
            reading,
            self.gate.as_mut(),
            arrival.time,
            self.signal.believe,
            notices,
            || (arrival.place(), format!("{} in {}", self.name, arrival.id)),
        );
        Some(value)
    }
}

/// Whether all conditions hold; most signals have none.
#[inline(always)]
fn holds(conditions: &[(Plan, Vec<CodeRange>)], arrival: &Arrival, head: u64) -> bool {
    for (plan, codes) in conditions {
        let code = plan.extract(head, arrival.payload);
        if !code.is_some_and(|code| bits::is_in(codes, code)) {
            return false;
        }
    }
    true
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
