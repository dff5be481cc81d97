//! Figures against the truth.
//!
//! In: judged drives. Out: for each figure that has a truth how far off it was and how often
//! its band held the truth.

use halfshaft_health::FigureId;
use halfshaft_simulate::fleet::Truth;

use crate::run::Judged;

/// A figure with its truth; what is too small for a share to mean something is left out.
struct Checked {
    id: FigureId,
    truth: fn(&Truth) -> f64,
    least: f64,
    // Errors in its own unit, not in per cent of the truth.
    is_absolute: bool,
}

const fn checked(id: FigureId, truth: fn(&Truth) -> f64, least: f64) -> Checked {
    Checked {
        id,
        truth,
        least,
        is_absolute: false,
    }
}

const fn absolute(id: FigureId, truth: fn(&Truth) -> f64) -> Checked {
    Checked {
        id,
        truth,
        least: f64::NEG_INFINITY,
        is_absolute: true,
    }
}

const CHECKED: &[Checked] = &[
    checked(FigureId::MovingTime, |truth| truth.moving_s, 10.0),
    checked(FigureId::Distance, |truth| truth.distance_km, 0.1),
    checked(FigureId::TurnTotal, |truth| truth.turned_deg, 90.0),
    checked(FigureId::HeadingTotal, |truth| truth.heading_deg, 90.0),
    checked(FigureId::SlipPeak, |truth| truth.slip_peak, 0.5),
    checked(
        FigureId::PartialByCommand,
        |truth| truth.partial_by_command_s,
        1.0,
    ),
    checked(FigureId::PartialHeatMaking, |truth| truth.partial_s, 1.0),
    absolute(FigureId::Engagements, |truth| truth.engagements),
    checked(FigureId::HeatTotal, |truth| truth.heat_kj, 0.5),
    checked(FigureId::HeatPeak, |truth| truth.heat_peak_kw, 0.05),
    checked(
        FigureId::HeatPerKm,
        |truth| truth.heat_kj / truth.distance_km.max(1e-3),
        0.05,
    ),
    checked(FigureId::HeatPreload, |truth| truth.parts_kj[0], 0.2),
    checked(FigureId::HeatCommanded, |truth| truth.parts_kj[1], 0.2),
    checked(FigureId::HeatMismatch, |truth| truth.parts_kj[2], 0.2),
    checked(FigureId::HeatSpin, |truth| truth.parts_kj[3], 0.2),
    checked(
        FigureId::SpecificEnergyMax,
        |truth| truth.specific_energy,
        1e-3,
    ),
    checked(
        FigureId::SpecificPowerMax,
        |truth| truth.specific_power,
        1e-3,
    ),
    absolute(FigureId::OilTempMax, |truth| truth.oil_max_c),
    absolute(FigureId::PackTempMax, |truth| truth.pack_max_c),
    absolute(FigureId::TyreRatio, |truth| truth.tyre_ratio),
    checked(FigureId::DeadTime, |truth| truth.dead_s, 0.0),
    checked(FigureId::RiseTime, |truth| truth.rise_s, 0.0),
    checked(FigureId::TransitionTime, |truth| truth.transition_s, 0.0),
    checked(FigureId::ReleaseTime, |truth| truth.release_s, 0.0),
];

/// How a figure fared.
#[derive(Clone, Debug)]
pub struct Fared {
    /// Which.
    pub id: FigureId,
    /// Drives with a number and a truth worth comparing.
    pub n: usize,
    /// Errors, lowest first: tenth, half and nine tenths of them; in per cent, or in the unit
    /// of the figure.
    pub errors: [f64; 3],
    /// Whether they are in the unit of the figure.
    pub is_absolute: bool,
    /// How often the band held the truth, below it and above it.
    pub n_held: usize,
    /// The truth lay below the band.
    pub n_below: usize,
    /// The truth lay above the band.
    pub n_above: usize,
    /// How often it was stated as "at least".
    pub n_at_least: usize,
    /// How often it was null.
    pub n_null: usize,
}

/// Whether the band of a drive's figure holds the truth, and the error; for lists.
pub fn misses(one: &Judged) -> Vec<String> {
    let mut found = Vec::new();
    for checked in CHECKED {
        let truth = (checked.truth)(&one.truth);
        let Some(estimate) = one
            .said
            .figure(checked.id)
            .filter(|_| truth >= checked.least)
        else {
            continue;
        };
        if truth < estimate.low || truth > estimate.high && !estimate.is_at_least {
            found.push(format!(
                "{} {:.4} ({:.4} to {:.4}), true {truth:.4}",
                checked.id, estimate.value, estimate.low, estimate.high
            ));
        }
    }
    found
}

/// How every figure fared over these drives.
pub fn fared(drives: &[&Judged]) -> Vec<Fared> {
    CHECKED
        .iter()
        .map(|checked| {
            let mut fared = Fared {
                id: checked.id,
                n: 0,
                errors: [f64::NAN; 3],
                is_absolute: checked.is_absolute,
                n_held: 0,
                n_below: 0,
                n_above: 0,
                n_at_least: 0,
                n_null: 0,
            };
            let mut errors = Vec::new();
            for one in drives {
                let truth = (checked.truth)(&one.truth);
                let Some(estimate) = one.said.figure(checked.id) else {
                    fared.n_null += 1;
                    continue;
                };
                // Not a number where the drive has no such truth.
                if truth.is_nan() || truth < checked.least {
                    continue;
                }
                fared.n += 1;
                fared.n_at_least += usize::from(estimate.is_at_least);
                let error = estimate.value - truth;
                errors.push(match checked.is_absolute {
                    true => error,
                    false => 100.0 * error / truth,
                });
                if truth < estimate.low {
                    fared.n_below += 1;
                } else if truth > estimate.high && !estimate.is_at_least {
                    fared.n_above += 1;
                } else {
                    fared.n_held += 1;
                }
            }
            errors.sort_by(f64::total_cmp);
            if let Some(last) = errors.len().checked_sub(1) {
                fared.errors =
                    [0.1, 0.5, 0.9].map(|share| errors[(share * last as f64).round() as usize]);
            }
            fared
        })
        .collect()
}
