//! The quick code and the same question answered as plainly as can be written, compared on
//! drives by chance: gaps, cuts, jitter, missing samples, rates and phases of all sorts.

mod align;
mod chance;
mod smooth;
mod track;
