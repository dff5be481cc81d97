//! What the drive was for discs and oil: severity and the oil's distance factor.

use super::figure;
use crate::duty::SeverityIndex;
use crate::figure_id::FigureId;
use crate::nouns::{Estimate, Figure, Grade};
use crate::oil_life::OilLife;
use crate::reason::Reason;
use crate::trust::{Gate, HEAT, OIL};

/// The severity of the drive. The grade is the worst of what it is made of.
pub(crate) fn severity(
    gate: &Gate,
    index: &Result<SeverityIndex, Reason>,
    made_of: &[Figure],
) -> Figure {
    let outcome = index.as_ref().map_err(Clone::clone).map(|index| Estimate {
        value: index.value,
        low: index.value,
        high: index.value,
        is_at_least: index.is_at_least,
    });
    let parts = [
        FigureId::SpecificPowerMax,
        FigureId::HeatPerKm,
        FigureId::OilTempMax,
        FigureId::PartialHeatMaking,
    ];
    let grade = made_of
        .iter()
        .filter(|figure| parts.contains(&figure.id))
        .filter_map(|figure| figure.grade)
        .max();
    let winner = index.as_ref().ok().and_then(|index| {
        let winner = index.winner?;
        index.ramps.iter().find(|ramp| ramp.name == winner)
    });
    let method = format!(
        "the steepest of four ramps, power per area, heat per km, oil temperature and partial time; {} decides",
        winner.map_or("none", |ramp| ramp.title)
    );
    let asked = gate.asking();
    // Where heat is refused the oil may decide alone; a caution about heat comes along.
    let _ = asked.rest_on(HEAT);
    let severity = figure(
        &asked,
        FigureId::Severity,
        "Severity of the drive",
        "0 to 100",
        outcome,
        1.0,
        method,
    );
    Figure {
        grade: severity
            .grade
            .map(|doubted| doubted.max(grade.unwrap_or(Grade::D))),
        ..severity
    }
}

/// Km of ordinary driving that one km of this drive was for the oil.
pub(crate) fn oil_distance_factor(gate: &Gate, oil: &OilLife) -> Figure {
    // One guess on another is no figure.
    let outcome = match (&oil.temperature.why_guessed, &oil.work.why_guessed) {
        (Some(why), Some(_)) => Err(Reason::NoOilAndWork(Box::new(why.clone()))),
        _ => Ok(oil.factor),
    };
    let asked = gate.asking();
    let _ = asked.rest_on(HEAT | OIL);
    let factor = figure(
        &asked,
        FigureId::OilDistanceFactor,
        "Oil distance factor",
        "ratio",
        outcome,
        1.0,
        format!(
            "ageing by temperature times work of the pack: {}",
            oil.basis
        ),
    );
    Figure {
        grade: factor.grade.map(|doubted| doubted.max(oil.grade)),
        ..factor
    }
}
