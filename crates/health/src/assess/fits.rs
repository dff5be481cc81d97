//! What is fitted to the whole drive, each as it was last worked out: results may be asked for many times
//! a second.

use std::mem::{Discriminant, discriminant};

use halfshaft_driveline::held_torque::Held;
use halfshaft_driveline::refit::Refit;
use halfshaft_driveline::thermal::ThermalEstimate;

use crate::laps::Found;
use crate::laps_to_limit::LapsToLimit;
use crate::reason::Reason;
use crate::trust::{Gate, Source, Verdict};

/// What makes another fit at once: the end of the drive, and a source that is judged otherwise.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct FitKey {
    is_finished: bool,
    verdicts: [Discriminant<Verdict>; Source::ALL.len()],
}

impl FitKey {
    /// By what is believed, and whether the drive has ended.
    pub(super) fn of(gate: &Gate, is_finished: bool) -> FitKey {
        FitKey {
            is_finished,
            verdicts: Source::ALL.map(|source| discriminant(gate.verdict(source))),
        }
    }
}

/// The fits.
#[derive(Clone, Debug, Default)]
pub(super) struct Fits {
    /// Temperatures of pack, oil and housing.
    pub(super) thermal: Refit<FitKey, Result<ThermalEstimate, Reason>>,
    /// Torque the pack holds, by the tyres: a grid of curves is tried.
    pub(super) held: Refit<FitKey, Result<Held, Reason>>,
    /// Laps, by what is believed.
    pub(super) laps: Option<(FitKey, Found)>,
    /// Laps left, by the peaks of the laps and the limit.
    pub(super) laps_left: Option<(Vec<f64>, f64, Result<LapsToLimit, Reason>)>,
}

impl Fits {
    /// What was found of laps under the same key; nothing for another one.
    pub(super) fn laps_of(&mut self, key: FitKey) -> &mut Found {
        let kept = self.laps.take().filter(|(of, _)| *of == key);
        let (_, found) = self
            .laps
            .insert(kept.unwrap_or_else(|| (key, Found::default())));
        found
    }
}
