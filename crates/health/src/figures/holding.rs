//! How well the pack holds for what it is asked.

use super::figure;
use crate::baseline::Reference;
use crate::figure_id::FigureId;
use crate::holding::Holding;
use crate::limits::{Grades, SDS_OF_90};
use crate::nouns::{Estimate, Figure, Grade};
use crate::reason::{DriveFact, Reason};
use crate::trust::Gate;
use halfshaft_driveline::held_torque::Held;

/// The holding index.
pub(crate) fn holding_index(
    gate: &Gate,
    holding: &Result<Holding, Reason>,
    past: Option<Reference>,
    factor: f64,
    of_log: Grade,
) -> Figure {
    let beside = match (holding, past) {
        (Ok(holding), Some(past)) if past.value > 0.0 => format!(
            "; {:.2} times {}",
            holding.index.value / past.value,
            past.source()
        ),
        _ => "; nothing earlier of this car to compare with".to_owned(),
    };
    let method = format!(
        "share of the difference a bend asks for that the clutch takes away per full command, pieces of half a second in bends of like radius, wheelspin left out{beside}"
    );
    let figure = figure(
        &gate.asking(),
        FigureId::HoldingIndex,
        "Holding index",
        "ratio",
        holding
            .as_ref()
            .map(|holding| holding.index)
            .map_err(Clone::clone),
        factor,
        method,
    );
    Figure {
        grade: figure.grade.map(|grade| grade.max(of_log)),
        ..figure
    }
}

/// Torque the pack holds by the tyres over the torque the map states.
pub(crate) fn held_over_stated(
    gate: &Gate,
    held: &Result<Held, Reason>,
    grades: &Grades,
    of_log: Grade,
) -> Figure {
    let over = held.as_ref().map_err(Clone::clone).and_then(|held| {
        let over = held.over_stated.ok_or(DriveFact::HeldUnderCommand)?;
        let half = SDS_OF_90 * over.sd;
        Ok(Estimate {
            value: over.value,
            low: over.value - half,
            high: over.value + half,
            is_at_least: false,
        })
    });
    let is_calibrated = held.as_ref().is_ok_and(|held| held.is_calibrated);
    let by = match is_calibrated {
        true => "bends of this drive without command, where the preload is known",
        false => "the stiffness of the map or of usual tyres",
    };
    let figure = figure(
        &gate.asking(),
        FigureId::HeldOverStated,
        "Torque held over torque stated",
        "ratio",
        over,
        if is_calibrated {
            grades.like_bends
        } else {
            grades.usual_tyres
        },
        format!(
            "median over half seconds of steady bends under command: the difference the bend lacks, \
             as a share of the rolling speed, times stiffness and radius of the tyres, calibrated by {by}; over the \
             torque of the map"
        ),
    );
    Figure {
        grade: figure.grade.map(|grade| grade.max(of_log)),
        ..figure
    }
}
