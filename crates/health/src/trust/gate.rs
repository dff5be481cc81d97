//! Which sources are believed, and the one way to what rests on them.

use std::cell::Cell;

use halfshaft_model::Time;

use super::{Kept, Still, Stretch};
use crate::reason::Reason;
use crate::source::{Source, Sources, holds};

/// What is thought of a source.
#[derive(Clone, Debug, PartialEq)]
pub enum Verdict {
    /// It is believed.
    Sound,
    /// It is believed with a caution.
    Doubtful(Doubt),
    /// It is not there, or the map does not say enough to use it.
    Missing(Reason),
    /// It is there and is not believed.
    Withheld(Reason),
}

impl Verdict {
    /// Sound, or missing for a reason.
    pub fn of(outcome: Result<(), impl Into<Reason>>) -> Verdict {
        outcome.map_or_else(|why| Verdict::Missing(why.into()), |()| Verdict::Sound)
    }

    fn reason(&self) -> Option<&Reason> {
        match self {
            Verdict::Sound | Verdict::Doubtful(_) => None,
            Verdict::Missing(why) | Verdict::Withheld(why) => Some(why),
        }
    }
}

/// A caution.
#[derive(Clone, Debug, PartialEq)]
pub struct Doubt {
    /// Why.
    pub why: Reason,
    /// The factor of trust that is left, 0 to 1.
    pub factor: f64,
    /// What is made from it is the truth or more.
    pub is_upper_bound: bool,
}

/// What is believed of a drive, as far as it has gone.
#[derive(Clone, Debug, PartialEq)]
pub struct Gate {
    verdicts: [Verdict; Source::ALL.len()],
    still: Still,
    slip_sd: f64,
}

impl Gate {
    /// A gate at which every source is missing until it is judged; `slip_sd` is the noise of one
    /// slip sample, rad/s.
    pub fn new(slip_sd: f64, still: Still) -> Gate {
        Gate {
            verdicts: std::array::from_fn(|_| Verdict::Missing(Reason::NotJudged)),
            still,
            slip_sd,
        }
    }

    /// Judges a source.
    pub fn judge(&mut self, source: Source, verdict: Verdict) {
        self.verdicts[source as usize] = verdict;
    }

    /// Withholds sources that are not missing anyway.
    pub fn withhold(&mut self, sources: &[Source], why: &Reason) {
        for source in sources {
            let verdict = &mut self.verdicts[*source as usize];
            if verdict.reason().is_none() {
                *verdict = Verdict::Withheld(why.clone());
            }
        }
    }

    /// What is thought of a source.
    pub fn verdict(&self, source: Source) -> &Verdict {
        &self.verdicts[source as usize]
    }

    /// Whether all of these sources are believed, or why one is not.
    pub fn allows(&self, sources: Sources) -> Result<(), Reason> {
        let refusal = Source::ALL
            .iter()
            .filter(|source| holds(sources, **source))
            .find_map(|source| self.verdict(*source).reason());
        refusal.map_or(Ok(()), |why| Err(why.clone()))
    }

    /// Whether one of these sources is there and not believed.
    pub fn withholds(&self, sources: Sources) -> bool {
        self.why_withheld(sources).is_some()
    }

    /// Why one of these sources is there and not believed.
    pub fn why_withheld(&self, sources: Sources) -> Option<&Reason> {
        let mut of_set = Source::ALL.iter().filter(|source| holds(sources, **source));
        of_set.find_map(|source| match self.verdict(*source) {
            Verdict::Withheld(why) => Some(why),
            _ => None,
        })
    }

    /// Cautions about these sources.
    pub fn doubts(&self, sources: Sources) -> impl Iterator<Item = &Doubt> {
        Source::ALL
            .iter()
            .filter(move |source| holds(sources, **source))
            .filter_map(|source| match self.verdict(*source) {
                Verdict::Doubtful(doubt) => Some(doubt),
                _ => None,
            })
    }

    /// Stretches of a source that are left out.
    pub fn stretches(&self, source: Source) -> &[Stretch] {
        self.still.stretches(source)
    }

    /// Whether a source is left out at a time.
    pub fn leaves_out(&self, source: Source, time: Time) -> bool {
        self.stretches(source)
            .iter()
            .any(|stretch| stretch.span.start <= time && time <= stretch.span.end)
    }

    /// What stood still.
    pub fn still(&self) -> &Still {
        &self.still
    }

    /// Noise floor of one slip sample, rad/s.
    pub fn slip_sd(&self) -> f64 {
        self.slip_sd
    }

    /// Begins to ask for a figure.
    pub fn asking(&self) -> Asked<'_> {
        Asked {
            gate: self,
            on: Cell::new(0),
        }
    }
}

/// What one figure was made from: it remembers every source that was asked for, so that the
/// cautions about them reach the figure without being named again.
#[derive(Debug)]
pub struct Asked<'a> {
    gate: &'a Gate,
    on: Cell<Sources>,
}

impl<'a> Asked<'a> {
    /// What is in a sum, or why that is not believed.
    pub fn read<'k, T, const ON: Sources>(&self, kept: &'k Kept<T, ON>) -> Result<&'k T, Reason> {
        self.on.set(self.on.get() | ON);
        kept.ask(self.gate)
    }

    /// These sources are used, or why they cannot be.
    pub fn rest_on(&self, sources: Sources) -> Result<(), Reason> {
        self.on.set(self.on.get() | sources);
        self.gate.allows(sources)
    }

    /// Every source that was asked for.
    pub fn sources(&self) -> Sources {
        self.on.get()
    }

    /// Cautions about what was asked for.
    pub fn doubts(&self) -> impl Iterator<Item = &'a Doubt> {
        self.gate.doubts(self.on.get())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::trust::on;

    const HEAT: Sources = on(&[Source::Wheels, Source::Torque]);

    fn gate(torque: Verdict) -> Gate {
        let mut gate = Gate::new(0.01, Still::default());
        gate.judge(Source::Wheels, Verdict::Sound);
        gate.judge(Source::Torque, torque);
        gate
    }

    /// One of which the torque is doubted.
    fn doubted() -> (Gate, Doubt) {
        let doubt = Doubt {
            why: Reason::NoGrip,
            factor: 0.1,
            is_upper_bound: true,
        };
        (gate(Verdict::Doubtful(doubt.clone())), doubt)
    }

    #[test]
    fn a_sum_opens_only_where_all_it_rests_on_is_believed() {
        let sum = Kept::<f64, HEAT>::new(4.0);
        assert_eq!(sum.ask(&gate(Verdict::Sound)), Ok(&4.0));
        let withheld = gate(Verdict::Withheld(Reason::TwoCars));
        assert_eq!(sum.ask(&withheld), Err(Reason::TwoCars));
        // What was never judged is not believed.
        let unjudged = Gate::new(0.01, Still::default());
        assert_eq!(sum.ask(&unjudged), Err(Reason::NotJudged));
    }

    #[test]
    fn a_caution_about_any_source_asked_for_comes_along() {
        let (gate, doubt) = doubted();
        let asked = gate.asking();
        assert_eq!(asked.doubts().count(), 0);
        let sum = Kept::<f64, HEAT>::new(4.0);
        assert_eq!(asked.read(&sum), Ok(&4.0));
        assert_eq!(asked.doubts().collect::<Vec<_>>(), [&doubt]);
        assert_eq!(asked.sources(), HEAT);
    }

    #[test]
    fn a_caution_comes_along_where_a_source_is_only_named() {
        let (gate, doubt) = doubted();
        let asked = gate.asking();
        assert_eq!(asked.rest_on(on(&[Source::Wheels])), Ok(()));
        assert_eq!(asked.doubts().count(), 0);
        // What was asked for first is not forgotten.
        assert_eq!(asked.rest_on(on(&[Source::Torque])), Ok(()));
        assert_eq!(asked.doubts().collect::<Vec<_>>(), [&doubt]);
        assert_eq!(asked.sources(), HEAT);
    }
}
