//! Engagement and slip: how often, how long, how far apart the wheels ran.

use super::{Ingredients, SHORTEST_PAIR_S, figure};
use crate::band::{absolute, relative};
use crate::figure_id::FigureId;
use crate::nouns::{Estimate, Figure};
use crate::partial::PartialTime;
use crate::reason::{DriveFact, Reason};
use crate::trust::{Asked, SLIP, Source, Verdict};
use halfshaft_driveline::{CommandTime, SIGNIFICANT_SDS};
use halfshaft_model::channel::name;

pub(super) fn slip_peak(from: &Ingredients) -> Figure {
    let asked = from.gate.asking();
    let outcome = asked.read(&from.sums.slip_peak).and_then(|peak| {
        let (peak, _) = peak.ok_or(DriveFact::FastWheel)?;
        from.peaks.clone()?;
        // A highest value picks the noise that points its way: only the low end moves.
        let mut estimate = relative(peak, from.tolerances.slip);
        estimate.low = (estimate.low - SIGNIFICANT_SDS * from.gate.slip_sd()).max(0.0);
        estimate.is_at_least = from.hidden_s > 0.0;
        Ok(estimate)
    });
    let factor = from.wheel_coverage.min(from.resolution);
    let method = "highest slip of the pack, from the raw difference of the rear wheels, as sharp in time as the noise allows".to_owned();
    figure(
        &asked,
        FigureId::SlipPeak,
        "Highest slip",
        "rad/s",
        outcome,
        factor,
        method,
    )
}

/// Seconds by level of the command.
fn command_time(from: &Ingredients, asked: &Asked) -> Result<CommandTime, Reason> {
    let time = asked.read(from.command)?;
    time.ok_or(Reason::NoChannel(name::CLUTCH_COMMAND))
}

pub(super) fn partial_by_command(from: &Ingredients) -> Figure {
    let asked = from.gate.asking();
    let command = command_time(from, &asked);
    let outcome = command.clone().map(|time| {
        // Each engagement has two edges, each known to within one period.
        let n_edges = 2.0 * from.engagements.0 as f64;
        let sd = from.command_period_s * (n_edges / 12.0).sqrt();
        absolute(time.partial_s, sd).hiding(time.hidden_s)
    });
    let coverage = command.as_ref().map_or(0.0, |time| {
        let known = time.open_s + time.partial_s + time.full_s;
        known / (known + time.hidden_s).max(1e-9)
    });
    let method = "time with the command from 5 % to below 95 %, moving or not".to_owned();
    figure(
        &asked,
        FigureId::PartialByCommand,
        "Commanded partial engagement",
        "s",
        outcome,
        coverage,
        method,
    )
}

pub(super) fn partial_heat_making(from: &Ingredients) -> Figure {
    let sums = from.sums;
    let asked = from.gate.asking();
    // By torque only where it was ever known and is more than the preload.
    let is_judged = |time: &PartialTime| time.judged_s > 0.0;
    let by_torque = sums.partial_by_torque.ask(from.gate).is_ok_and(is_judged);
    let time = match by_torque {
        true => asked.read(&sums.partial_by_torque),
        false => asked.read(&sums.partial_by_command),
    };
    // That there is no command says half of it: the torque would have done.
    let neither = Reason::from(DriveFact::TorqueOrCommand);
    let time = match from.gate.verdict(Source::Command) {
        Verdict::Missing(_) => time.map_err(|_| neither.clone()),
        _ => time,
    };
    let outcome = asked.rest_on(SLIP).and(time).and_then(|time| {
        if !is_judged(time) {
            return Err(neither);
        }
        let [value, low, high] = time.seconds;
        let estimate = Estimate {
            value,
            low: low.min(value),
            high: high.max(value),
            is_at_least: false,
        };
        Ok(estimate.hiding(
            from.hidden_s
                + if by_torque {
                    sums.without_torque_s
                } else {
                    0.0
                },
        ))
    });
    let limit = match by_torque {
        true => {
            let floor = from
                .limits
                .slip
                .torque_floor_nm
                .max(from.limits.slip.torque_floor_preloads * from.basis.preload_nm);
            format!("pack torque above {floor:.0} N.m")
        }
        false => "by command, from 10 % on, the torque not being known".to_owned(),
    };
    let method = format!("time with slip above 0.3 rad/s and {limit}");
    let known = match by_torque {
        true => sums.with_torque_s / (sums.with_torque_s + sums.without_torque_s).max(1e-9),
        // The command says what was asked, not what the pack did: never better than B.
        false => 0.8,
    };
    figure(
        &asked,
        FigureId::PartialHeatMaking,
        "Heat-making partial engagement",
        "s",
        outcome,
        from.wheel_coverage.min(from.resolution).min(known),
        method,
    )
}

pub(super) fn engagements(from: &Ingredients) -> Figure {
    let (n, n_broken, n_perhaps_one) = from.engagements;
    let asked = from.gate.asking();
    let outcome = command_time(from, &asked).map(|time| {
        let mut estimate = absolute(n as f64, 0.0);
        // A cut may have made two of one, and a gap may hide some.
        estimate.low -= n_perhaps_one as f64;
        if time.hidden_s > 0.0 {
            estimate.high += (time.hidden_s / SHORTEST_PAIR_S).ceil();
            estimate.is_at_least = n_perhaps_one == 0;
        }
        estimate
    });
    let coverage = if n_broken > 0 { 0.8 } else { 1.0 };
    let method = "times the command rose through 10 % for 40 ms, ended below 5 % for 150 ms; closer than 300 ms are one".to_owned();
    figure(
        &asked,
        FigureId::Engagements,
        "Engagements",
        "count",
        outcome,
        coverage,
        method,
    )
}
