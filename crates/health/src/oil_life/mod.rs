//! How fast the oil was used up, as a policy that anyone can recompute.
//!
//! In: samples of the oil temperature, heat per km, km a year. Out: how many km of ordinary
//! driving one of these km was for the oil, with a band, and the distance to the next
//! change. It is an editable policy and no chemical test: no log sees water, wear metal or
//! spent additive, and nothing here says that the oil is good.
//!
//! It is the only interval of the report: the class of use names none beside it. The practice of
//! the trade falls out of it. Where hard use begins, 8 kJ/km with oil at 82 to 84 °C, is a factor
//! of 2.0 to 2.3, which lies within 40,000 to 48,000 km; competition, 40 kJ/km with oil at
//! 140 °C, is one of 160, three track days of 200 km.
//!
//! ```text
//! samples -> temperature (mean ageing rate) -> factor (by temperature, work, calendar)
//!                       ageing (doubling, activation energy) as closed forms
//! ```

pub mod ageing;
pub mod factor;
pub mod temperature;

pub use factor::{Factor, OilInput, OilLife, basis_note, oil_life};
pub use temperature::{OilAgeing, OilAgeingRate};
