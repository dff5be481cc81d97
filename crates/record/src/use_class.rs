//! The class of use and its needles.

use halfshaft_health::{Results, UseClass};

use crate::macros::stored;
use crate::value::{NOT_FINITE, known, or_reason, why};

/// The word of every class.
fn words() -> Vec<Option<&'static str>> {
    (0..=5).map(|level| Some(UseClass::word(level))).collect()
}

/// The same, and null where there is no class.
fn words_or_null() -> Vec<Option<&'static str>> {
    words().into_iter().chain([None]).collect()
}

stored! {
    /// How the car was used: the class, or why there is none.
    #[schemars(transform = or_reason("level word"))]
    Class of results: &Results;
    {
        let class = results.class.as_ref().ok();
        let stretches = class.map_or(&[][..], |class| &class.stretches);
    }
    /// 0 to 5.
    #[schemars(range(max = 5))]
    level: Option<u8> = class.map(|class| class.level),
    /// The class in a word.
    #[schemars(extend("enum" = words_or_null()))]
    word: Option<String> = class.map(|class| UseClass::word(class.level).to_owned()),
    /// The other class, when the band of a needle that decides crosses an edge.
    #[schemars(range(max = 5))]
    alternative: Option<u8> = class.and_then(|class| class.alternative),
    /// Only two needles are known: the class is this or higher.
    at_least: bool = class.is_some_and(|class| class.is_at_least),
    /// The needles.
    meters: Vec<Meter> = results.meters.iter().map(Meter::of).collect(),
    /// The class to the owner.
    sentence: Option<String> = class.map(|class| class.sentence.clone()),
    /// What the class would be without the hottest events.
    counterfactual: Option<String> = class.and_then(|class| class.counterfactual.clone()),
    /// Way by class, of a drive of mixed use.
    stretches: Vec<Stretch> = stretches.iter().map(Stretch::of).collect(),
    /// Why there is no class.
    why_null: Option<String> = results.class.as_ref().err().map(why),
}

stored! {
    /// One needle.
    #[schemars(transform = or_reason("value low high"))]
    Meter of meter: &halfshaft_health::Meter;
    {
        let reading = meter.reading.as_ref();
        let found = reading.ok().filter(|reading| reading.value.is_finite());
    }
    /// Stable name.
    name: String = meter.name.to_owned(),
    /// What it is called on a page.
    title: String = meter.title.to_owned(),
    /// Unit of its values.
    unit: String = meter.unit.to_owned(),
    /// Upper ends of the first five classes.
    edges: [f64; 5] = meter.edges,
    /// Where it stands.
    value: Option<f64> = found.map(|reading| reading.value),
    /// Lower end of the 90 % interval.
    low: Option<f64> = found.and_then(|reading| known(reading.low)),
    /// Upper end of the 90 % interval.
    high: Option<f64> = found.and_then(|reading| known(reading.high)),
    /// The truth is this or more.
    at_least: bool = found.is_some_and(|reading| reading.is_at_least),
    /// Why it cannot be read.
    why_null: Option<String> = match reading {
        Err(reason) => Some(why(reason)),
        Ok(_) => found.is_none().then(|| NOT_FINITE.to_owned()),
    },
}

stored! {
    /// Way of one class.
    Stretch of stretch: &(u8, f64);
    {
        let &(level, km) = stretch;
    }
    /// 0 to 5.
    #[schemars(range(max = 5))]
    level: u8 = level,
    /// The class in a word.
    #[schemars(extend("enum" = words()))]
    word: String = UseClass::word(level).to_owned(),
    /// Its length.
    km: Option<f64> ["km"] = known(km),
}
