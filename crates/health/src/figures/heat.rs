//! Heat: total, peak, per distance, and the oil that took it.

use super::{Ingredients, figure};
use crate::band::{absolute, relative};
use crate::figure_id::FigureId;
use crate::limits::SDS_OF_90;
use crate::nouns::{Estimate, Figure};
use crate::reason::{Measured, Reason};
use crate::sums::Sums;
use crate::trust::{Asked, HEAT, Source, on};
use halfshaft_driveline::SIGNIFICANT_SDS;
use halfshaft_driveline::smooth::WINDOWS_S;
use halfshaft_model::channel::name;

/// Begins to ask for a figure of motion, slip or heat: it goes with the fit of the map as well.
pub(super) fn with_fit<'a>(from: &Ingredients<'a>) -> Asked<'a> {
    let asked = from.gate.asking();
    // Never refused: a map that does not fit lowers the grade.
    let _ = asked.rest_on(on(&[Source::Fit]));
    asked
}

/// Heat and its band.
pub(super) fn heat_total(from: &Ingredients) -> Figure {
    let (sums, slip_sd) = (from.sums, from.gate.slip_sd());
    let asked = with_fit(from);
    let outcome = asked.read(&sums.heat).map(|heat| {
        let joules = heat.heat.heat_j(slip_sd);
        let noise = heat.impulse_square.sqrt() * slip_sd;
        let sd = joules * from.tolerances.heat();
        let mut estimate = absolute(joules, sd.hypot(noise));
        // What had no sign at this floor may have been slip just below it. That is
        // independent of the map's tolerances, so it adds to the upper side in squares.
        let unsigned = heat.heat.unsigned_nms(slip_sd) * smallest(from);
        estimate.high = joules + (estimate.high - joules).hypot(unsigned);
        if by_command_share(sums) > 0.1 {
            estimate.low = joules / from.limits.trust.command_heat_excess
                * (1.0 - SDS_OF_90 * from.tolerances.heat()).max(0.0);
        }
        let peak = heat.mean_peak_w;
        // Without torque the slip is known and the torque bounded; in a gap of the wheels
        // nothing is known but the hottest moment of the drive.
        let without_torque = from.basis.n_packs * heat.torque_peak_nm * heat.without_torque_rad;
        let mut estimate = estimate.hiding(from.hidden_s * peak);
        if without_torque > 1e-3 * joules {
            estimate.high += without_torque;
            estimate.is_at_least |= sums.without_torque_s > from.limits.driving.uncovered_from_s;
        }
        estimate.is_at_least |= from.basis.is_preload_only;
        estimate.scaled(1e-3)
    });
    let method = format!(
        "torque times slip with the sign of the mean slip, summed over time; torque {}",
        from.torque_words
    );
    figure(
        &asked,
        FigureId::HeatTotal,
        "Heat in the pack",
        "kJ",
        outcome,
        heat_factor(from),
        method,
    )
}

/// Mean slip that noise may hide in the longest window: that of a few hundred samples.
pub(super) fn smallest(from: &Ingredients) -> f64 {
    let n = (WINDOWS_S[3] / from.resolution_period()).max(1.0);
    (SIGNIFICANT_SDS * from.gate.slip_sd() / n.sqrt()).max(from.basis.slip_step)
}

pub(super) fn by_command_share(sums: &Sums) -> f64 {
    if sums.with_torque_s > 0.0 {
        sums.torque_by_command_s / sums.with_torque_s
    } else {
        0.0
    }
}

pub(super) fn heat_factor(from: &Ingredients) -> f64 {
    let sums = from.sums;
    let known = sums.with_torque_s / (sums.with_torque_s + sums.without_torque_s).max(1e-9);
    // By command the sum reads high by an unknown amount: never better than C.
    let source = if by_command_share(sums) > 0.1 || from.basis.is_preload_only {
        from.limits.grades.heat_by_command
    } else {
        1.0
    };
    from.wheel_coverage
        .min(known)
        .min(source)
        .min(from.resolution)
}

pub(super) fn heat_peak(from: &Ingredients) -> Figure {
    let asked = with_fit(from);
    let outcome = asked.read(&from.sums.heat).and_then(|heat| {
        from.peaks.clone()?;
        let tolerance = from.tolerances.heat();
        // A pack that never slipped above the noise made no heat.
        let mut estimate = from
            .highest(&heat.peak, tolerance, heat.peak_ends_w)
            .unwrap_or(absolute(0.0, 0.0));
        estimate.is_at_least |= from.basis.is_preload_only;
        Ok(estimate.scaled(1e-3))
    });
    let method = format!(
        "highest product of slip, as sharp in time as the noise allows, and torque at the samples of the wheels; torque {}",
        from.torque_words
    );
    figure(
        &asked,
        FigureId::HeatPeak,
        "Highest heat rate",
        "kW",
        outcome,
        heat_factor(from),
        method,
    )
}

pub(super) fn heat_per_km(from: &Ingredients, heat: &Figure) -> Figure {
    let asked = with_fit(from);
    let outcome = heat.outcome.clone().and_then(|total| {
        asked.rest_on(HEAT)?;
        let km = asked.read(&from.sums.motion)?.distance_m * 1e-3;
        let needed = from.limits.heat.per_km_from_km;
        if km < needed {
            return Err(Reason::TooLittle {
                what: Measured::HeatDistance,
                found: km,
                needed,
            });
        }
        let sd = from.tolerances.heat().hypot(from.tolerances.distance);
        let mut estimate = relative(total.value / km, sd);
        estimate.low = estimate.low.min(total.low / km);
        estimate.high = estimate.high.max(total.high / km);
        // Gaps hide heat and road alike: they make the ratio no lower bound.
        estimate.is_at_least = from.basis.is_preload_only;
        Ok(estimate)
    });
    figure(
        &asked,
        FigureId::HeatPerKm,
        "Heat per distance",
        "kJ/km",
        outcome,
        heat_factor(from),
        "heat over distance".to_owned(),
    )
}

pub(super) fn oil_temp_max(from: &Ingredients) -> Figure {
    let asked = from.gate.asking();
    let outcome = asked.read(&from.oil_c).and_then(|highest_c| {
        let celsius = highest_c.ok_or_else(|| Reason::no_value(&[name::OIL_TEMPERATURE]))?;
        let half = SDS_OF_90 * from.limits.trust.oil_sensor_sd_k;
        Ok(Estimate {
            value: celsius,
            low: celsius - half,
            high: celsius + half,
            is_at_least: false,
        })
    });
    let site = match outcome.is_ok() {
        true => from.oil_site,
        false => "",
    };
    let method = format!(
        "highest value of oil.temperature{site}; sensor taken as ±{} K (engineering guess)",
        from.limits.trust.oil_sensor_sd_k
    );
    figure(
        &asked,
        FigureId::OilTempMax,
        "Highest oil temperature",
        "°C",
        outcome,
        1.0,
        method,
    )
}
