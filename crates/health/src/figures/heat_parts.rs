//! Heat in parts: by cause, per degree turned, per lining area.

use super::heat::{by_command_share, heat_factor, with_fit};
use super::{Ingredients, figure};
use crate::band::{Tolerances, relative};
use crate::figure_id::FigureId;
use crate::ledger::{Bends, Causes};
use crate::limits::SDS_OF_90;
use crate::nouns::{Estimate, Figure};
use crate::partial::bend_curvature;
use crate::reason::{DriveFact, Measured, Reason};
use crate::trust::{HEAT, Kept};

/// A figure per net lining area.
pub(super) struct Specific {
    id: FigureId,
    title: &'static str,
    unit: &'static str,
    of: &'static str,
    missing: DriveFact,
}

impl Specific {
    pub(super) const ENERGY: Specific = Specific {
        id: FigureId::SpecificEnergyMax,
        title: "Highest energy per area",
        unit: "J/mm²",
        of: "heat of the hottest event",
        missing: DriveFact::HottestEvent,
    };
}

/// Heat in bends, wheelspin left out, over the angle turned in them.
pub(super) fn heat_per_degree(from: &Ingredients) -> Figure {
    let asked = with_fit(from);
    let outcome = asked.read(from.bend_ledger).and_then(|ledger| {
        let degrees = asked.read(&from.sums.turning)?.turned_open_rad.to_degrees();
        let needed = from.limits.heat.per_degree_from_deg;
        if degrees < needed {
            return Err(Reason::TooLittle {
                what: Measured::Turned,
                found: degrees,
                needed,
            });
        }
        let heat_j = ledger.heat_j();
        let (causes, _) = ledger.causes(from.ratio_log(), Bends::Stated, heat_j);
        let sd = from.tolerances.heat().hypot(from.limits.trust.yaw_scale_sd);
        Ok(relative((heat_j - causes.spin_j) / degrees, sd))
    });
    let radius = 1.0 / bend_curvature(from.basis, &from.limits.driving);
    let degrees = match from.sums.turning.ask(from.gate) {
        Ok(turning) => turning.turned_open_rad.to_degrees(),
        Err(_) => 0.0,
    };
    let method = format!(
        "heat in bends of less than {radius:.0} m radius while the clutch is open, over the {degrees:.0} degrees turned there, wheelspin left out; free of speed and line"
    );
    figure(
        &asked,
        FigureId::HeatPerDegree,
        "Heat per degree turned",
        "J/deg",
        outcome,
        heat_factor(from),
        method,
    )
}

/// Standard deviation of one cause by the map's tolerances of torque and preload, J.
///
/// An open pack rubs with the torque that the table has for it. Under command the preload is
/// the map's, P = T_pre·∫|s|dt, and the command has the rest of the bend's heat, B − P: it
/// takes the error of the torque on B and that of the preload on P, and a small difference of
/// large ones is known badly. Spin and mismatch go with the torque.
fn own_sd(id: FigureId, causes: &Causes, value_j: f64, tolerances: &Tolerances) -> f64 {
    let under_command_j = causes.preload_j - causes.idle_j;
    let of_preload = under_command_j * tolerances.preload;
    let of_slip = value_j * tolerances.slip;
    match id {
        FigureId::HeatPreload => (causes.idle_j * tolerances.torque)
            .hypot(of_preload)
            .hypot(of_slip),
        FigureId::HeatCommanded if tolerances.preload_with_torque => value_j * tolerances.heat(),
        FigureId::HeatCommanded => ((under_command_j + causes.commanded_j) * tolerances.torque)
            .hypot(of_preload)
            .hypot(of_slip),
        _ => value_j * tolerances.heat(),
    }
}

/// The heat split by cause: four figures that sum to the total.
pub(super) fn heat_by_cause(from: &Ingredients, heat: &Figure) -> [Figure; 4] {
    type Part = fn(&Causes) -> f64;
    let parts: [(FigureId, &'static str, Part); 4] = [
        (FigureId::HeatPreload, "Heat from preload", |causes| {
            causes.preload_j
        }),
        (FigureId::HeatCommanded, "Heat from the command", |causes| {
            causes.commanded_j
        }),
        (
            FigureId::HeatMismatch,
            "Heat from mismatched tyres",
            |causes| causes.mismatch_j,
        ),
        (FigureId::HeatSpin, "Heat from wheelspin", |causes| {
            causes.spin_j
        }),
    ];
    parts.map(|(id, title, part)| {
        let asked = with_fit(from);
        let mut unexplained = 0.0;
        let outcome = heat.outcome.clone().and_then(|total| {
            let ledger = asked.read(from.ledger)?;
            let split = ledger.split_share();
            let needed = from.limits.heat.split_share;
            if split < needed {
                return Err(Reason::TooLittle { what: Measured::HeatWithTurning, found: split, needed });
            }
            if let (FigureId::HeatMismatch, Err(why)) = (id, &from.calibration.outcome) {
                return Err(Reason::NoTyreRatio(Box::new(why.clone())));
            }
            let total_j = total.value * 1e3;
            let (stated, unexplained_j) = ledger.causes(from.ratio_log(), Bends::Stated, total_j);
            let value = part(&stated);
            // What the tyres' ratio and the geometry may be off by move heat from one cause
            // to another. Both bands add in squares.
            let (low, high) = from.ratio_band();
            let at = |ratio_log, bends| part(&ledger.causes(ratio_log, bends, total_j).0) - value;
            let moved = |to: &[f64]| {
                to.iter().fold((0.0_f64, 0.0_f64), |(least, most), to| (least.min(*to), most.max(*to)))
            };
            let ratios = [0.0, 0.25, 0.5, 0.75, 1.0].map(|share| low + share * (high - low));
            let by_tyres = moved(&ratios.map(|ratio| at(ratio, Bends::Stated)));
            let by_bends = moved(&[Bends::Less, Bends::More].map(|bends| at(from.ratio_log(), bends)));
            let by_map = SDS_OF_90 * own_sd(id, &stated, value, &from.tolerances);
            // What a gap hides may be of any cause.
            let hidden = (total.high - total.value) - (total.value - total.low);
            // What the causes leave unexplained may be of any of them, or too much of any.
            let below = by_map.hypot(by_tyres.0).hypot(by_bends.0) + (-unexplained_j).max(0.0);
            let above = by_map.hypot(by_tyres.1).hypot(by_bends.1)
                + (hidden * 1e3).max(0.0)
                + unexplained_j.max(0.0);
            unexplained = unexplained_j / total_j.max(1e-9);
            let mut estimate = Estimate { value, low: (value - below).max(0.0), high: value + above, is_at_least: total.is_at_least };
            // The command is ahead of the pack: what it says of slip at its edges is the slip of
            // a pack that is still open, or still closed, and another cause has the heat.
            if by_command_share(from.sums) > 0.1 && id != FigureId::HeatPreload {
                let excess = from.limits.trust.command_heat_excess;
                estimate.low /= excess;
                estimate.high *= if id == FigureId::HeatCommanded { excess } else { 1.0 };
            }
            Ok(estimate.scaled(1e-3))
        });
        let tyres = match from.calibration.outcome {
            Ok(_) => "",
            Err(_) => "; mismatched tyres are counted with it, their ratio not being known",
        };
        let rest = match unexplained {
            0.0 => String::new(),
            share => format!("; they leave {:.0} % of the heat unexplained", share * 100.0),
        };
        let method = format!("the axle speed difference split into spin, tyres and bend, the bend's part by preload and command torque{tyres}{rest}");
        figure(&asked, id, title, "kJ", outcome, heat_factor(from).min(from.split_factor()), method)
    })
}

pub(super) fn specific(
    from: &Ingredients,
    what: &Specific,
    kilo: Kept<Option<f64>, HEAT>,
) -> Figure {
    let asked = with_fit(from);
    let outcome = asked.read(&kilo).and_then(|kilo| {
        let area_mm2 = from.area_mm2.clone()?;
        let kilo = kilo.ok_or(what.missing)?;
        let mut estimate = relative(kilo * 1e3 / area_mm2, from.tolerances.heat());
        if what.id == FigureId::SpecificEnergyMax {
            // An event by the command has the slip of a pack that is behind it, and without a
            // turning rate slip that nobody commanded is no event.
            if by_command_share(from.sums) > 0.1 {
                estimate.low /= from.limits.trust.command_heat_excess;
            }
            estimate.is_at_least = from.sums.turning.ask(from.gate).is_err();
        }
        Ok(estimate)
    });
    let method = format!("{} over the net lining area of all faces", what.of);
    figure(
        &asked,
        what.id,
        what.title,
        what.unit,
        outcome,
        heat_factor(from),
        method,
    )
}

/// The highest heat rate over the lining area, with its band.
pub(super) fn specific_power(from: &Ingredients, peak: &Figure) -> Figure {
    let asked = with_fit(from);
    let outcome = peak.outcome.clone().and_then(|peak| {
        asked.rest_on(HEAT)?;
        Ok(peak.scaled(1e3 / from.area_mm2.clone()?))
    });
    figure(
        &asked,
        FigureId::SpecificPowerMax,
        "Highest power per area",
        "W/mm²",
        outcome,
        heat_factor(from),
        "highest heat rate over the net lining area of all faces".to_owned(),
    )
}
