//! How hot it became, and how much room was left.

use crate::figure_id::FigureId;
use crate::limits::SDS_OF_90;
use crate::reason::Reason;
use halfshaft_driveline::thermal::Anchor;

use super::heat::{heat_factor, with_fit};
use super::{Ingredients, figure};
use crate::nouns::{Estimate, Figure};
use crate::trust::HEAT;

/// Highest temperature of the pack.
pub(super) fn pack_temp_max(from: &Ingredients) -> Figure {
    let asked = with_fit(from);
    // The estimate is refused already where the heat is; a caution about that comes along.
    let _ = asked.rest_on(HEAT);
    let outcome = from.thermal.as_ref().map_err(Clone::clone).map(|thermal| {
        let pack = thermal.pack_max.celsius;
        // A model fitted to a sensor is off by what that is.
        let by_sensor_k = match thermal.anchor {
            Anchor::Fitted(_) => SDS_OF_90 * from.limits.trust.oil_sensor_sd_k,
            Anchor::Open(_) => 0.0,
        };
        Estimate {
            value: pack.value,
            low: pack.value - (pack.value - pack.low).hypot(by_sensor_k),
            high: pack.value + (pack.high - pack.value).hypot(by_sensor_k),
            is_at_least: thermal.pack_unknown_s > 1.0,
        }
    });
    let grades = &from.limits.grades;
    let (factor, anchor) = match from.thermal.as_ref().map(|thermal| &thermal.anchor) {
        Ok(Anchor::Fitted(_)) => (
            grades.fitted_pack,
            "fitted to the logged temperature".to_owned(),
        ),
        Ok(Anchor::Open(why)) => (
            grades.model_alone,
            format!("not held by any sensor: {}", Reason::from(why.clone())),
        ),
        Err(_) => (0.0, "not made".to_owned()),
    };
    let method = format!(
        "a model of three heat stores, pack, oil and housing, heated by the slip of the pack and by the gears; {anchor}"
    );
    figure(
        &asked,
        FigureId::PackTempMax,
        "Highest pack temperature, estimated",
        "°C",
        outcome,
        factor.min(heat_factor(from)),
        method,
    )
}

/// Least distance of the oil from the temperature to warn at.
pub(super) fn oil_headroom(from: &Ingredients, oil_temp_max: &Figure) -> Figure {
    let warn_c = from.oil_warn_c;
    let outcome = oil_temp_max.outcome.clone().map(|oil| Estimate {
        value: warn_c - oil.value,
        low: warn_c - oil.high,
        high: warn_c - oil.low,
        is_at_least: false,
    });
    let method = format!(
        "{warn_c:.0} °C, at which to warn, less the highest oil temperature; below 0 it was passed"
    );
    Figure {
        grade: oil_temp_max.grade,
        ..figure(
            &from.gate.asking(),
            FigureId::OilHeadroom,
            "Smallest margin to the oil warning",
            "°C",
            outcome,
            0.0,
            method,
        )
    }
}
