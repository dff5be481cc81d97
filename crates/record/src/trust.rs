//! What of the log is not believed, and why.

use halfshaft_health::trust::{Gate, Source, Stretch, Verdict};

use crate::macros::stored;
use crate::value::{Span, known};

/// A source as it was judged.
pub struct JudgedSource<'a> {
    source: Source,
    gate: &'a Gate,
}

stored! {
    /// A source that is not believed, in a stretch or as a whole, or with a caution.
    Judged of judged: &JudgedSource<'_>;
    {
        let verdict = judged.gate.verdict(judged.source);
        let (why, doubt) = match verdict {
            Verdict::Withheld(why) => (Some(why), None),
            Verdict::Doubtful(doubt) => (Some(&doubt.why), Some(doubt)),
            _ => (None, None),
        };
    }
    /// Stable word of the source.
    source: String = judged.source.word().to_owned(),
    /// Nothing is made from it; else only from it where it is believed.
    withheld: bool = matches!(verdict, Verdict::Withheld(_)),
    /// What is made from it is the truth or more.
    is_upper_bound: bool = doubt.is_some_and(|doubt| doubt.is_upper_bound),
    /// Trust that is left, 0 to 1; null where there is no caution.
    factor: Option<f64> ["1"] = doubt.and_then(|doubt| known(doubt.factor)),
    /// Why; null where only stretches of it are left out, in which it stood still.
    why: Option<String> = why.map(crate::value::why),
    /// Stretches in which it stood still and is left out.
    stretches: Vec<Span> = left_out(judged).iter().map(|stretch| Span::of(stretch.span)).collect(),
}

fn left_out<'a>(judged: &JudgedSource<'a>) -> &'a [Stretch] {
    judged.gate.stretches(judged.source)
}

/// Every source that is not simply believed.
pub(crate) fn judged(gate: &Gate) -> Vec<Judged> {
    let is_judged = |source: &Source| {
        let verdict = gate.verdict(*source);
        matches!(verdict, Verdict::Withheld(_) | Verdict::Doubtful(_))
            || !gate.stretches(*source).is_empty()
    };
    let sources = Source::ALL.into_iter().filter(is_judged);
    sources
        .map(|source| Judged::of(&JudgedSource { source, gate }))
        .collect()
}
