//! Step: the temperatures of pack, oil and housing, of this pack or beside the logged one.

use std::mem::{Discriminant, discriminant};

use halfshaft_driveline::refit::Refit;
use halfshaft_driveline::thermal::{ThermalEstimate, UnitFactors};

use super::Health;
use super::settled::Settled;
use crate::reason::Reason;
use crate::trust::{Source, Verdict};

/// What makes another fit of the temperatures at once: the end of the drive, and a source that
/// is judged otherwise.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct ThermalKey {
    is_finished: bool,
    verdicts: [Discriminant<Verdict>; Source::ALL.len()],
}

/// The pack that was logged, for another one to be assessed beside it.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Beside<'a> {
    /// Its assessment.
    pub logged: &'a Health,
    /// Its temperatures.
    pub thermal: &'a Result<ThermalEstimate, Reason>,
    /// What the other unit is thermally, over it.
    pub factors: UnitFactors,
}

impl Settled<'_> {
    /// The temperatures, or why there are none; `fit` is the latest fit to this drive.
    pub(super) fn temperatures(
        &self,
        fit: &mut Refit<ThermalKey, Result<ThermalEstimate, Reason>>,
    ) -> Result<ThermalEstimate, Reason> {
        let (health, gate) = (self.health, &self.gate);
        let heat_sd = health.tolerances_in_use().heat();
        let watch = &health.board.temperature;
        if let Some(beside) = self.beside {
            let logged = &beside.logged.board.temperature;
            return logged.outcome_changed(gate, heat_sd, watch, beside.factors);
        }
        let key = ThermalKey {
            is_finished: health.is_finished,
            verdicts: Source::ALL.map(|source| discriminant(gate.verdict(source))),
        };
        fit.get(health.until.seconds(), key, || watch.outcome(gate, heat_sd))
            .clone()
    }

    /// By how much the oil is warmer than that of the logged pack, K.
    pub(super) fn warmer_k(&self) -> f64 {
        match (self.beside.map(|beside| beside.thermal), &self.thermal) {
            (Some(Ok(logged)), Ok(other)) => {
                other.oil_max.celsius.value - logged.oil_max.celsius.value
            }
            _ => 0.0,
        }
    }
}
