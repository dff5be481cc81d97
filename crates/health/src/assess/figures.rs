//! Steps: the figures, first those of the sums, then those that are made of figures.

use super::fits::Fits;
use super::settled::Settled;
use crate::duty::{SeverityIndex, severity_index};
use crate::figure_id::FigureId;
use crate::figures::{self, Ingredients, all, estimate_of};
use crate::findings::drive::lining_area_mm2;
use crate::laps_to_limit::{self, LapsToLimit, lap_peaks};
use crate::nouns::{ChannelQuality, Laps};
use crate::oil_life::{OilInput, OilLife, oil_life};
use crate::reason::{DriveFact, Reason};
use crate::trust::{Kept, Source, Verdict};
use halfshaft_model::channel::name;

impl Settled<'_> {
    /// Adds the figures of the sums.
    pub(super) fn add_figures(&mut self) {
        let (health, board) = (self.health, &self.health.board);
        let warmer_k = self.warmer_k();
        let command = Kept::new(health.command_time_left(self.learned, &self.gate));
        let of_command = |channel: &&ChannelQuality| channel.name == name::CLUTCH_COMMAND;
        let command_quality = self.quality.channels.iter().find(of_command);
        let heats = self.events.iter().filter_map(|event| event.heat_kj);
        let (n_engagements, n_broken) = board.events.engagements(&self.gate);
        let with_rows_s = board.sums.covered_s + self.not_driving.seconds;
        let highest_c = health.sensors.oil.watch.highest_c();
        let ingredients = Ingredients {
            gate: &self.gate,
            actuator: &self.actuator,
            baseline: &health.baseline,
            vehicle: &health.vehicle,
            thermal: &self.thermal,
            oil_warn_c: self.oil_warn_c(),
            calibration: &self.calibration,
            ledger: &board.ledgers.all,
            bend_ledger: &board.ledgers.bends,
            hottest_event_kj: Kept::new(heats.reduce(f64::max)),
            area_mm2: lining_area_mm2(&health.vehicle),
            basis: &health.basis,
            sums: &board.sums,
            tolerances: health.tolerances_in_use(),
            duration_s: board.coverage.duration_s(),
            command: &command,
            command_period_s: command_quality
                .and_then(|channel| channel.period_s)
                .unwrap_or(0.0),
            engagements_off: self.learned.n_engagements_off,
            torque_floor_nm: health.sieve.torque_floor_nm(),
            standing_yaw: self.learned.standing_yaw,
            wheel_period_s: self.wheels.period_s.unwrap_or(0.0),
            engagements: (n_engagements, n_broken, self.learned.n_perhaps_one),
            hidden_s: health.uncovered(with_rows_s, self.wheels.period_s)
                + board.sums.silent_moving_s,
            peaks: board
                .left_out
                .allows_peaks(&health.channels, &health.limits.sensor),
            oil_c: highest_c.map(|highest_c| highest_c.map(|celsius| celsius + warmer_k)),
            oil_site: health.oil_site(),
            wheel_coverage: self.wheels.coverage,
            turning_words: health.turning_source().unwrap_or("yaw rate"),
            resolution: self.wheels.resolution,
            torque_words: health.torque_words(),
            limits: &health.limits,
        };
        self.figures = all(&ingredients);
    }

    /// Adds the severity index, each of its figures taken where it is known.
    pub(super) fn add_severity(&mut self) -> Result<SeverityIndex, Reason> {
        let oil_p99_c = self.health.board.usage.oil_p99_c(&self.gate).ok();
        let value = |id| self.value_of(id).ok();
        let partial = value(FigureId::PartialHeatMaking)
            .zip(value(FigureId::MovingTime))
            .filter(|(_, moving_s)| *moving_s > 0.0)
            .map(|(partial_s, moving_s)| 100.0 * partial_s / moving_s);
        let severity = severity_index(
            &self.health.limits.severity,
            value(FigureId::SpecificPowerMax),
            value(FigureId::HeatPerKm),
            oil_p99_c.map(|celsius| celsius + self.warmer_k()),
            partial,
        );
        let figure = figures::duty::severity(&self.gate, &severity, &self.figures);
        self.figures.push(figure);
        severity
    }

    /// Adds the life of the oil.
    pub(super) fn add_oil_life(&mut self, is_on_circuit: bool) -> OilLife {
        let (gate, limits) = (&self.gate, &self.health.limits);
        let ageing = self.health.board.oil_ageing.ask(gate);
        let rate = ageing.and_then(|ageing| ageing.rate().ok_or(DriveFact::OilAging.into()));
        let input = OilInput {
            rate,
            heat_kj_per_km: estimate_of(&self.figures, FigureId::HeatPerKm),
            distance_km: estimate_of(&self.figures, FigureId::Distance).ok(),
            sensor_sd_k: limits.trust.oil_sensor_sd_k,
            km_per_year: None,
            is_on_circuit,
        };
        let oil_life = oil_life(&limits.oil_distance, &input);
        self.figures
            .push(figures::duty::oil_distance_factor(gate, &oil_life));
        oil_life
    }

    /// Adds the laps that are left until the oil is at its warning.
    pub(super) fn add_laps_left(
        &mut self,
        laps: &Laps,
        fits: &mut Fits,
    ) -> Result<LapsToLimit, Reason> {
        let limits = &self.health.limits.laps_left;
        let peaks = match self.gate.verdict(Source::Oil) {
            Verdict::Withheld(why) => Err(why.clone()),
            _ => lap_peaks(&laps.laps, limits),
        };
        let limit_c = self.oil_warn_c();
        let left = peaks.and_then(|celsius| match &fits.laps_left {
            Some((of, to_c, left)) if *of == celsius && *to_c == limit_c => left.clone(),
            _ => {
                let left = laps_to_limit::laps_to_limit(&celsius, limit_c, limits);
                fits.laps_left = Some((celsius, limit_c, left.clone()));
                left
            }
        });
        self.figures.push(laps_to_limit::figure(&left, limits));
        left
    }

    /// Adds how the pack holds in bends.
    pub(super) fn add_holding(&mut self) {
        let limits = &self.health.limits;
        let held =
            figures::holding::held_over_stated(&self.gate, &self.held, limits, self.quality.grade);
        self.figures.push(held);
    }

    /// The value of a figure, or why it has none.
    pub(super) fn value_of(&self, id: FigureId) -> Result<f64, Reason> {
        estimate_of(&self.figures, id).map(|estimate| estimate.value)
    }
}
