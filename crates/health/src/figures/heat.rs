//! Heat: total, peak, per distance, and the oil that took it.

use super::{Ingredients, figure, moving, rows};
use crate::band::{absolute, relative};
use crate::limits::SDS_OF_90;
use crate::result::{Estimate, Figure};
use crate::sums::Sums;
use halfshaft_driveline::SIGNIFICANT_SDS;
use halfshaft_driveline::smooth::{DEFINITION, WINDOWS_S};

/// Heat and its band.
pub(super) fn heat_total(from: &Ingredients) -> Figure {
    let outcome = rows(from).and_then(|sums| {
        from.basis.heat.clone()?;
        from.sides()?;
        if sums.with_torque_s == 0.0 {
            return Err(from.torque_never_known.clone());
        }
        let joules = sums.heat.heat_j(from.slip_sd);
        let noise = sums.impulse_square.sqrt() * from.slip_sd;
        let sd = joules * from.tolerances.heat();
        let mut estimate = absolute(joules, sd.hypot(noise));
        // What had no sign at this floor may have been slip just below it. That is
        // independent of the map's tolerances, so it adds to the upper side in squares.
        let unsigned = sums.heat.unsigned_nms(from.slip_sd) * smallest(from);
        estimate.high = joules + (estimate.high - joules).hypot(unsigned);
        if by_command_share(sums) > 0.1 {
            estimate.low = joules / from.limits.trust.command_heat_excess
                * (1.0 - SDS_OF_90 * from.tolerances.heat()).max(0.0);
        }
        let peak = sums.heat_peak.map_or(0.0, |(watts, _)| watts);
        // Without torque the slip is known and the torque bounded; in a gap of the wheels
        // nothing is known but the hottest moment of the drive.
        let without_torque = from.basis.n_packs * sums.torque_peak_nm * sums.without_torque_rad;
        let hidden = from.hidden_s * peak
            + if without_torque > 1e-3 * joules {
                without_torque
            } else {
                0.0
            };
        let mut estimate = estimate.hiding(hidden);
        estimate.is_at_least |= from.basis.is_preload_only;
        Ok(estimate.scaled(1e-3))
    });
    let method = format!(
        "torque times slip with the sign of the mean slip, summed over time; torque {}",
        from.torque_words
    );
    figure(
        "heat_total",
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
    (SIGNIFICANT_SDS * from.slip_sd / n.sqrt()).max(from.basis.slip_step)
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
        0.6
    } else {
        1.0
    };
    from.wheel_coverage
        .min(known)
        .min(from.geometry)
        .min(source)
        .min(from.resolution)
}

pub(super) fn heat_peak(from: &Ingredients) -> Figure {
    let outcome = rows(from).and_then(|sums| {
        from.basis.heat.clone()?;
        from.sides()?;
        if sums.with_torque_s == 0.0 {
            return Err(from.torque_never_known.clone());
        }
        // A pack that never slipped above the noise made no heat.
        let watts = sums.heat_peak.map_or(0.0, |(watts, _)| watts);
        let mut estimate = relative(watts, from.tolerances.heat());
        // A highest value picks the noise that points its way: only the low end moves.
        let n = (WINDOWS_S[DEFINITION] / from.resolution_period()).max(1.0);
        let noise = SIGNIFICANT_SDS * from.slip_sd / n.sqrt() * from.basis.n_packs;
        estimate.low = (estimate.low - noise * sums.torque_peak_nm).max(0.0);
        if by_command_share(sums) > 0.1 {
            estimate.low /= from.limits.trust.command_heat_excess;
        }
        estimate.is_at_least = from.hidden_s > 0.0 || from.basis.is_preload_only;
        Ok(estimate.scaled(1e-3))
    });
    let method = format!(
        "highest mean over 0.2 s of torque times slip; torque {}",
        from.torque_words
    );
    figure(
        "heat_peak",
        "Highest heat rate",
        "kW",
        outcome,
        heat_factor(from),
        method,
    )
}

pub(super) fn heat_per_km(from: &Ingredients, heat: &Figure) -> Figure {
    let outcome = heat.outcome.clone().and_then(|total| {
        let sums = moving(from)?;
        let km = sums.distance_m * 1e-3;
        if km < 0.1 {
            return Err(format!("the drive is too short: {km:.2} km, 0.1 km wanted"));
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
        "heat_per_km",
        "Heat per distance",
        "kJ/km",
        outcome,
        heat_factor(from),
        "heat over distance".to_owned(),
    )
}

pub(super) fn oil_temp_max(from: &Ingredients) -> Figure {
    let outcome = from.oil.clone().map(|(celsius, _)| {
        let half = SDS_OF_90 * from.limits.trust.oil_sensor_sd_k;
        Estimate {
            value: celsius,
            low: celsius - half,
            high: celsius + half,
            is_at_least: false,
        }
    });
    let site = from.oil.as_ref().map_or("", |(_, site)| site);
    let method = format!(
        "highest value of oil.temperature{site}; sensor taken as ±{} K (engineering guess)",
        from.limits.trust.oil_sensor_sd_k
    );
    figure(
        "oil_temp_max",
        "Highest oil temperature",
        "°C",
        outcome,
        1.0,
        method,
    )
}
