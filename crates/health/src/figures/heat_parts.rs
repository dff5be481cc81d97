//! Heat in parts: by cause, per degree turned, per lining area.

use super::heat::heat_factor;
use super::{Ingredients, LEAST_TURN_DEG, figure, moving, rows};
use crate::band::relative;
use crate::ledger::Causes;
use crate::result::{Estimate, Figure};

/// A figure per net lining area.
pub(super) struct Specific {
    name: &'static str,
    title: &'static str,
    unit: &'static str,
    of: &'static str,
}

impl Specific {
    pub(super) const ENERGY: Specific = Specific {
        name: "specific_energy_max",
        title: "Highest energy per area",
        unit: "J/mm²",
        of: "heat of the hottest event",
    };
    pub(super) const POWER: Specific = Specific {
        name: "specific_power_max",
        title: "Highest power per area",
        unit: "W/mm²",
        of: "highest heat rate (mean over 0.2 s)",
    };
}

/// Heat in bends, wheelspin left out, over the angle turned in them.
pub(super) fn heat_per_degree(from: &Ingredients) -> Figure {
    let outcome = moving(from).and_then(|sums| {
        from.basis.heat.clone()?;
        from.sides()?;
        from.bends()?;
        let degrees = sums.turned_open_rad.to_degrees();
        if degrees < LEAST_TURN_DEG {
            return Err(format!(
                "{degrees:.0}° turned in bends, {LEAST_TURN_DEG:.0}° wanted"
            ));
        }
        let heat_j = from.bend_ledger.heat_j();
        let causes = from.bend_ledger.causes(from.ratio_log(), heat_j);
        let sd = from.tolerances.heat().hypot(from.limits.trust.yaw_scale_sd);
        Ok(relative((heat_j - causes.spin_j) / degrees, sd))
    });
    let method = "heat in the bends of turn_total while the clutch is open, over the angle turned there, wheelspin left out; free of speed and line".to_owned();
    figure(
        "heat_per_degree",
        "Heat per degree turned",
        "J/deg",
        outcome,
        heat_factor(from).min(from.geometry),
        method,
    )
}

/// The heat split by cause: four figures that sum to the total.
pub(super) fn heat_by_cause(from: &Ingredients, heat: &Figure) -> [Figure; 4] {
    type Part = fn(&Causes) -> f64;
    let parts: [(&'static str, &'static str, Part); 4] = [
        ("heat_preload", "Heat from preload", |causes| {
            causes.preload_j
        }),
        ("heat_commanded", "Heat from the command", |causes| {
            causes.commanded_j
        }),
        ("heat_mismatch", "Heat from mismatched tyres", |causes| {
            causes.mismatch_j
        }),
        ("heat_spin", "Heat from wheelspin", |causes| causes.spin_j),
    ];
    parts.map(|(name, title, part)| {
        let outcome = heat.outcome.clone().and_then(|total| {
            from.bends()?;
            let split = from.ledger.split_share();
            if split < 0.9 {
                return Err(format!("the turning rate is known for {:.0} % of the heat, 90 % wanted", 100.0 * split));
            }
            if name == "heat_mismatch" {
                from.calibration.outcome.as_ref().map_err(|reason| format!("the tyre ratio is not known: {reason}"))?;
            }
            let at = |ratio_log: f64| part(&from.ledger.causes(ratio_log, total.value * 1e3)) * 1e-3;
            let value = at(from.ratio_log());
            // The band of the total, and that of the tyre ratio, add in squares.
            let (low, high) = from.ratio_band();
            let ends = [at(low), at(high), value];
            let (least, most) = (ends.iter().copied().fold(f64::INFINITY, f64::min), ends.iter().copied().fold(0.0, f64::max));
            let share = if total.value > 0.0 { value / total.value } else { 0.0 };
            let below = (share * (total.value - total.low)).hypot(value - least);
            let above = (share * (total.high - total.value)).hypot(most - value);
            Ok(Estimate { value, low: (value - below).max(0.0), high: value + above, is_at_least: total.is_at_least })
        });
        let tyres = match from.calibration.outcome {
            Ok(_) => "",
            Err(_) => "; mismatched tyres are counted with it, their ratio not being known",
        };
        let method = format!("the axle speed difference split into spin, tyres and bend, the bend's part by preload and command torque{tyres}");
        figure(name, title, "kJ", outcome, heat_factor(from).min(from.geometry), method)
    })
}

pub(super) fn specific(from: &Ingredients, what: &Specific, kilo: Option<f64>) -> Figure {
    let outcome = rows(from).and_then(|_| {
        from.basis.heat.clone()?;
        from.sides()?;
        let area = from
            .net_area_m2
            .ok_or_else(|| "the map does not state faces and radii of the pack".to_owned())?;
        let kilo = kilo.ok_or_else(|| format!("no {}", what.of))?;
        let area_mm2 = area * 1e6 * from.basis.n_packs;
        Ok(relative(kilo * 1e3 / area_mm2, from.tolerances.heat()))
    });
    let method = format!("{} over the net lining area of all faces", what.of);
    figure(
        what.name,
        what.title,
        what.unit,
        outcome,
        heat_factor(from),
        method,
    )
}
