//! How well the pack holds for what it is asked.

use super::figure;
use crate::baseline::Reference;
use crate::figure_id::FigureId;
use crate::holding::Holding;
use crate::nouns::{Figure, Grade};
use crate::reason::Reason;
use crate::trust::Gate;

/// The holding index.
pub(crate) fn holding_index(
    gate: &Gate,
    holding: &Result<Holding, Reason>,
    past: Option<&Reference>,
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
