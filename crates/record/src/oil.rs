//! How fast the oil was used up.

use halfshaft_health::oil_life::{OilLife, factor::Factor};

use crate::macros::stored;
use crate::value::{Estimate, Grade};

stored! {
    /// How fast the oil was used up: a rule of thumb, not an oil test.
    Oil of oil: &OilLife;
    /// How many km of ordinary driving one km of this drive was for the oil.
    factor: Estimate ["1"] = Estimate::of(&oil.factor),
    /// What the factor is the product of.
    parts: OilParts = OilParts::of(oil),
    /// This drive as km of ordinary driving.
    km_equivalent: Option<Estimate> ["km"] = oil.km_equivalent.as_ref().map(Estimate::of),
    /// Way from one change to the next if the car went on like this.
    distance_km: Estimate ["km"] = Estimate::of(&oil.distance_km),
    /// How far it can be trusted, A to D.
    grade: Grade = oil.grade.into(),
    /// What it rests on.
    basis: String = oil.basis.clone(),
}

stored! {
    /// What the factor is the product of.
    OilParts of oil: &OilLife;
    /// Of temperature.
    temperature: OilPart = OilPart::of(&oil.temperature),
    /// Of work.
    work: OilPart = OilPart::of(&oil.work),
    /// Of age.
    calendar: Estimate ["1"] = Estimate::of(&oil.calendar),
}

stored! {
    /// One part of the factor.
    OilPart of part: &Factor;
    /// The part.
    factor: Estimate ["1"] = Estimate::of(&part.factor),
    /// Why it is a guess; null when it rests on something measured.
    why_guessed: Option<String> = part.why_guessed.as_ref().map(crate::value::why),
}
