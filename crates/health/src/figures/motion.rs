//! Length, motion and tyres: how long, how far, how much turning, and how the tyres roll.

use super::{Ingredients, figure};
use crate::band::{absolute, relative};
use crate::figure_id::FigureId;
use crate::nouns::{Estimate, Figure};
use crate::trust::{Source, on};

pub(super) fn duration(from: &Ingredients) -> Figure {
    let outcome = Ok(absolute(from.duration_s, 0.0));
    let method =
        "first to last entry of the log, silences of the whole log over 30 s left out".to_owned();
    let asked = from.gate.asking();
    figure(
        &asked,
        FigureId::Duration,
        "Length of the log",
        "s",
        outcome,
        1.0,
        method,
    )
}

pub(super) fn moving_time(from: &Ingredients) -> Figure {
    let asked = from.gate.asking();
    let outcome = asked
        .read(&from.sums.motion)
        .map(|motion| absolute(motion.moving_s, 0.0).hiding(from.hidden_s));
    let method = format!(
        "time above {} km/h where both rear wheels are covered",
        from.limits.driving.moving_from_km_per_h
    );
    figure(
        &asked,
        FigureId::MovingTime,
        "Moving time",
        "s",
        outcome,
        from.wheel_coverage,
        method,
    )
}

pub(super) fn distance(from: &Ingredients) -> Figure {
    let sd = if from.tolerances.distance > 0.0 {
        from.tolerances.distance
    } else {
        from.limits.trust.usual_radius_sd
    };
    let asked = from.gate.asking();
    let outcome = asked.read(&from.sums.motion).map(|motion| {
        let mean = if motion.with_speed_s > 0.0 {
            motion.distance_m / motion.with_speed_s
        } else {
            0.0
        };
        relative(motion.distance_m, sd)
            .hiding(mean * from.hidden_s)
            .scaled(1e-3)
    });
    let method = "road speed summed over time: front wheels where they are there, else the car's speed, else the rear wheels".to_owned();
    figure(
        &asked,
        FigureId::Distance,
        "Distance",
        "km",
        outcome,
        from.wheel_coverage,
        method,
    )
}

pub(super) fn turn_total(from: &Ingredients) -> Figure {
    let asked = from.gate.asking();
    let outcome = asked.read(&from.sums.turning).and_then(|turning| {
        let moving_s = asked.read(&from.sums.motion)?.moving_s;
        let mean = if turning.with_yaw_s > 0.0 {
            turning.turned_rad / turning.with_yaw_s
        } else {
            0.0
        };
        let without_yaw_s = match moving_s - turning.with_yaw_s {
            missing if missing > from.limits.driving.uncovered_from_s => missing,
            _ => 0.0,
        };
        Ok(relative(turning.turned_rad, from.limits.trust.yaw_scale_sd)
            .hiding(mean * (from.hidden_s + without_yaw_s))
            .scaled(180.0 / std::f64::consts::PI))
    });
    let source = from.turning_words;
    let radius = 1.0 / crate::partial::bend_curvature(from.basis, &from.limits.driving);
    let method = format!(
        "angle turned in bends of less than {radius:.0} m radius, left and right added, from {source}"
    );
    figure(
        &asked,
        FigureId::TurnTotal,
        "Turned in bends",
        "deg",
        outcome,
        from.wheel_coverage,
        method,
    )
}

pub(super) fn tyre_ratio(from: &Ingredients) -> Figure {
    let ratio = &from.calibration.outcome;
    let asked = from.gate.asking();
    let believed = asked.rest_on(on(&[Source::Tyres]));
    let outcome = believed.and_then(|()| ratio.clone()).map(|ratio| Estimate {
        value: ratio.ratio_log.exp(),
        low: ratio.low.exp(),
        high: ratio.high.exp(),
        is_at_least: false,
    });
    let factor = ratio.as_ref().map_or(0.0, |ratio| ratio.grade_factor);
    let method = "right over left rolling speed as straight running at low command shows it; the preload can hide some of a mismatch, which the band includes".to_owned();
    figure(
        &asked,
        FigureId::TyreRatio,
        "Tyre ratio, right over left",
        "ratio",
        outcome,
        factor,
        method,
    )
}
