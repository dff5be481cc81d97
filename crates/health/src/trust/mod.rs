//! What can be believed, settled before anything is computed from it.
//!
//! In: rows, and what the watchers of single signals saw. Out: rows without the signals that
//! stood still ([`StillWatch`]), and a [`Gate`]: for each [`Source`] sound, doubtful, missing or
//! withheld, with the reason. Sums that rest on sources are [`Kept`]: whoever wants a number from
//! one must ask the gate, and the compiler sees to it. The log is read once, so the gate decides
//! when results are asked for, as the noise floor does.
//!
//! ```text
//! Row -> StillWatch -> rows without what is false -> sums (Kept)
//!                   -> judged signals             -> Gate -> Asked -> figures
//! ```

mod gate;
mod kept;
mod still;
mod swap;

pub use crate::source::{
    AIR, BENDS, CAUSES, COMMAND, HEAT, MOTION, NOTHING, OIL, SLIP, STATE, Source, Sources, TURNING,
    TYRES, on,
};
pub use gate::{Asked, Doubt, Gate, Verdict};
pub use kept::Kept;
pub use still::{Still, StillWatch, Stretch};
pub use swap::{Swap, SwapWatch};
