//! How well the pack holds for what it is asked.

use super::figure;
use crate::figure_id::FigureId;
use crate::held::commanded;
use crate::limits::{Limits, SDS_OF_90};
use crate::nouns::{Estimate, Figure, Grade};
use crate::reason::Reason;
use crate::trust::Gate;
use halfshaft_driveline::held_torque::Held;

/// Torque the pack holds by the tyres over the torque the map states: of the curve that all bends of the drive
/// lie on, so that few of them need be steady.
pub(crate) fn held_over_stated(
    gate: &Gate,
    held: &Result<Held, Reason>,
    limits: &Limits,
    of_log: Grade,
) -> Figure {
    let shape = held
        .as_ref()
        .map_err(Clone::clone)
        .and_then(|held| commanded(held, limits.grip.held_pieces as usize));
    let n_commanded = shape.as_ref().map_or(0, |shape| shape.n_commanded);
    let over = shape.map(|shape| {
        let factor = (SDS_OF_90 * shape.over_stated_sd).exp();
        Estimate {
            value: shape.over_stated,
            low: shape.over_stated / factor,
            high: shape.over_stated * factor,
            is_at_least: false,
        }
    });
    let figure = figure(
        &gate.asking(),
        FigureId::HeldOverStated,
        "Torque held over torque stated",
        "ratio",
        over,
        limits.grades.usual_tyres,
        format!(
            "the difference that bends lack, as a share of the rolling speed, fitted as torque of the map over stiffness \
             and radius of usual tyres or those of the map, beside load, unlike tyres and geometry; {n_commanded} half \
             seconds under command"
        ),
    );
    Figure {
        grade: figure.grade.map(|grade| grade.max(of_log)),
        ..figure
    }
}
