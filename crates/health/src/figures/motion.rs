//! Length, motion and tyres: how long, how far, how much turning, and how the tyres roll.

use super::heat::with_fit;
use super::{Ingredients, figure};
use crate::band::{absolute, relative};
use crate::figure_id::FigureId;
use crate::limits::SDS_OF_90;
use crate::nouns::{Estimate, Figure};
use crate::sums::MotionSums;
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
    let asked = with_fit(from);
    let outcome = asked
        .read(&from.sums.motion)
        .map(|motion| moving(motion, from).hiding(from.hidden_s));
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

/// Moving time with its band. The road speed may be off in proportion, at every start and stop
/// alike; by noise, at each its own way; each falls somewhere between two samples, and the log
/// may begin and end a sample away from one.
fn moving(motion: &MotionSums, from: &Ingredients) -> Estimate {
    let [least_s, most_s] = motion.moving_bounds_s;
    let n_edges = f64::from(motion.n_edges);
    let by_samples_s = from.wheel_period_s * (n_edges / 12.0).sqrt();
    // The time spent near the limit over how much of the speed that is: the sum of 1/acceleration
    // over all edges. Noise moves each by its own.
    let moving_from = from.limits.driving.moving_from();
    let near = 2.0 * SDS_OF_90 * from.tolerances.speed() * moving_from;
    let by_noise_s = match near > 0.0 && n_edges > 0.0 {
        true => from.speed_noise() * (most_s - least_s) / near / n_edges.sqrt(),
        false => 0.0,
    };
    let by_chance_s = SDS_OF_90 * by_samples_s.hypot(by_noise_s);
    let n_ends = u32::from(motion.began_moving) + u32::from(motion.is_moving);
    Estimate {
        value: motion.moving_s,
        low: (motion.moving_s - by_chance_s.hypot(motion.moving_s - least_s)).max(0.0),
        high: motion.moving_s
            + by_chance_s.hypot(most_s - motion.moving_s)
            + f64::from(n_ends) * from.wheel_period_s,
        is_at_least: false,
    }
}

pub(super) fn distance(from: &Ingredients) -> Figure {
    let sd = from.tolerances.speed();
    let asked = with_fit(from);
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

/// Angle turned in bends, whatever the preload, and in all.
pub(super) fn turned(from: &Ingredients) -> [Figure; 2] {
    let source = from.turning_words;
    let radius = from.limits.driving.bend_radius_m;
    let moving_from = from.limits.driving.moving_from_km_per_h;
    let methods = [
        format!(
            "angle turned in bends of less than {radius:.0} m radius, left and right added, from {source}"
        ),
        format!(
            "angle turned above {moving_from} km/h, in bends or not, left and right added, from {source}"
        ),
    ];
    let ids = [
        (FigureId::TurnTotal, "Angle turned in bends"),
        (FigureId::HeadingTotal, "Angle turned in all"),
    ];
    [0, 1].map(|which| {
        let asked = with_fit(from);
        let outcome = asked.read(&from.sums.turning).and_then(|turning| {
            let moving_s = asked.read(&from.sums.motion)?.moving_s;
            let Some(turned) = &turning.turned else {
                return Ok(absolute(0.0, 0.0));
            };
            let scale_sd = match turned.is_of_wheels() {
                true => from.tolerances.bends,
                false => from.limits.trust.yaw_scale_sd,
            };
            let estimate = turned.turned(from.standing_yaw, scale_sd)[which];
            let mean = match turning.with_yaw_s > 0.0 {
                true => estimate.value / turning.with_yaw_s,
                false => 0.0,
            };
            let without_yaw_s = match moving_s - turning.with_yaw_s {
                missing if missing > from.limits.driving.uncovered_from_s => missing,
                _ => 0.0,
            };
            Ok(estimate
                .hiding(mean * (from.hidden_s + without_yaw_s))
                .scaled(180.0 / std::f64::consts::PI))
        });
        let (id, title) = ids[which];
        figure(
            &asked,
            id,
            title,
            "deg",
            outcome,
            from.wheel_coverage,
            methods[which].clone(),
        )
    })
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
