//! Where a number of the other pack stands: carried over, worked out, a bound, or not known.
//!
//! In: what a figure is made of, which way a change moves the torques, what it does to the temperatures. Out: the
//! standing, and the number as it may then be read. More torque never leaves more slip on average, and less never
//! less: that alone is known of tyres, driver and controller.

use super::Moves;
use crate::reason::{DriveFact, Reason};

/// Where a number of the other pack stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Standing {
    /// As logged: the change leaves it as it was.
    CarriedOver,
    /// Worked out for the other pack.
    WorkedOut,
    /// The highest it can be.
    AtMost,
    /// The lowest it can be.
    AtLeast,
    /// What the other pack would make of it is not known.
    Unknown,
}

impl Standing {
    /// Stable words, as on a page.
    pub fn words(self) -> &'static str {
        match self {
            Standing::CarriedOver => "carried over",
            Standing::WorkedOut => "worked out",
            Standing::AtMost => "at most",
            Standing::AtLeast => "at least",
            Standing::Unknown => "not known",
        }
    }

    /// Of what is the less, the more this is.
    fn mirrored(self) -> Standing {
        match self {
            Standing::AtMost => Standing::AtLeast,
            Standing::AtLeast => Standing::AtMost,
            same => same,
        }
    }
}

/// A value, or why there is none.
pub type Value = Result<f64, Reason>;

/// By how much of itself the modelled difference of a temperature may be off. Derived: heat capacities are good to
/// 20 % and conductances to 25 %, 32 % together, of which 1.645 times are a 90 % band.
const MODEL_DOUBT: f64 = 0.5;

/// A number of the other pack.
#[derive(Clone, Debug, PartialEq)]
pub struct Other {
    /// The number; of a bound the bound.
    pub value: Value,
    /// Where it stands.
    pub standing: Standing,
    /// Ends of the temperature that was worked out.
    pub band: Option<[f64; 2]>,
}

impl Other {
    /// Lowest and highest it can be; nothing where it is not known.
    pub fn range(&self) -> Option<[f64; 2]> {
        let value = *self.value.as_ref().ok()?;
        Some(match (self.standing, self.band) {
            (_, Some(band)) => band,
            (Standing::AtMost, None) => [f64::NEG_INFINITY, value],
            (Standing::AtLeast, None) => [value, f64::INFINITY],
            _ => [value; 2],
        })
    }
}

/// What a figure is made of, as far as another pack concerns it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Made {
    /// Heat.
    Heat,
    /// Heat per lining area.
    PerArea,
    /// What one moment decides, or the controller.
    ByController,
    /// A temperature.
    Temperature,
    /// Room to a temperature.
    Headroom,
    /// Heat, temperatures and time in one.
    OfAll,
}

/// What a change moves: the torques, and the temperatures beside them.
#[derive(Clone, Copy, Debug)]
pub(super) struct Moved {
    /// The torques.
    pub torque: Moves,
    /// Temperatures are worked out on the hot side.
    pub is_hot_side: bool,
    /// The housing gives off more, or less.
    pub is_cooled: bool,
}

impl Moved {
    fn standing(self, made: Made) -> Standing {
        match (made, self.torque) {
            (Made::Headroom, _) => self.standing(Made::Temperature).mirrored(),
            (_, Moves::Both) => Standing::Unknown,
            (Made::ByController | Made::OfAll, Moves::Up | Moves::Down) => Standing::Unknown,
            (Made::Temperature | Made::OfAll, Moves::Not) if self.is_hot_side => Standing::AtMost,
            (Made::Temperature | Made::OfAll, Moves::Not) if self.is_cooled => Standing::WorkedOut,
            (Made::PerArea, Moves::Not) => Standing::WorkedOut,
            (_, Moves::Not) => Standing::CarriedOver,
            (Made::Temperature, Moves::Down) if self.is_hot_side => Standing::Unknown,
            (_, Moves::Up) => Standing::AtMost,
            (_, Moves::Down) => Standing::AtLeast,
        }
    }

    /// The number as it may be read.
    pub fn other(self, made: Made, logged: &Value, value: Value) -> Other {
        let standing = self.standing(made);
        let value = match standing {
            Standing::Unknown => value.and(Err(DriveFact::SlipOfOtherPack.into())),
            _ => value,
        };
        let is_modelled = matches!(made, Made::Temperature | Made::Headroom);
        let (Ok(logged), Ok(now), true) = (logged, &value, is_modelled) else {
            return Other {
                value,
                standing,
                band: None,
            };
        };
        let half = MODEL_DOUBT * (now - logged).abs();
        let (value, band) = match standing {
            Standing::AtMost => (now + half, None),
            Standing::AtLeast => (now - half, None),
            _ => (*now, (half > 0.0).then_some([now - half, now + half])),
        };
        Other {
            value: Ok(value),
            standing,
            band,
        }
    }
}
