//! Step: the temperatures of pack, oil and housing, of this pack or beside the logged one.

use halfshaft_driveline::thermal::{ThermalEstimate, UnitFactors};

use super::Health;
use super::fits::{FitKey, Fits};
use super::settled::Settled;
use crate::reason::Reason;

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
    /// The temperatures, or why there are none.
    pub(super) fn temperatures(&self, fits: &mut Fits) -> Result<ThermalEstimate, Reason> {
        let (health, gate) = (self.health, &self.gate);
        let heat_sd = health.tolerances_in_use().heat();
        let watch = &health.board.temperature;
        if let Some(beside) = self.beside {
            let logged = &beside.logged.board.temperature;
            return logged.outcome_changed(gate, heat_sd, watch, beside.factors);
        }
        let key = FitKey::of(gate, health.is_finished);
        let thermal = &mut fits.thermal;
        thermal
            .get(health.until.seconds(), key, || watch.outcome(gate, heat_sd))
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
